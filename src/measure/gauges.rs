//! Quantity: where an undercut gauge rests on each surface of an abutment.
//!
//! The gauge's shank touches the height of contour, its head the tooth below it (trade facts, section 3.1, published).
//!
//! Definition: for each surface the deepest undercut above the margin; and for each gauge the place where the undercut
//! depth first reaches it below the survey line: the middle of that isoline, in each third of the surface apart. A
//! third is preferred where the clasp tip would lie, away from the rest.
//!
//! Frame and units: `below_survey_line_mm` and `above_margin_mm` along the withdrawal direction; the convergence angle
//! is that between the direction and the tooth's surface.
//!
//! Method and its error: isolines between the depths of the vertices propose; on the edge of the mesh that crosses the
//! isoline nearest to its middle the exact depth is brought to the gauge by bisection, to 0.0005 mm. The place lies up
//! to half an edge from the middle of the isoline.
//!
//! Not covered: whether a clasp's arm can reach the place; enamel.
//!
//! Checked by: spheres and a barrel as crowns, a leaning crown, below.

use rayon::prelude::*;

use super::survey_line::SurveyLine;
use super::tooth_axes::ToothAxes;
use super::undercut::{DepthAt, TiltedCast, UndercutField};
use crate::anatomy::Crown;
use crate::case::Surface;
use crate::mesh::{FaceId, Mesh, Topology, VertexId};
use crate::report::Zone;
use crate::space::{Direction, Point, Vector, asin, atan2};

/// The depth at a place is brought this near to the gauge, mm.
const CLOSE_MM: f64 = 0.0005;

/// The cast, surveyed.
#[derive(Clone, Copy, Debug)]
pub struct Surveyed<'a, 's> {
    /// Its surface.
    pub mesh: &'a Mesh,
    /// Its adjacency.
    pub topology: &'a Topology,
    /// Normals of its vertices.
    pub normals: &'a [Vector],
    /// Set up along the path.
    pub cast: &'a TiltedCast<'s>,
    /// Depth of each vertex along the path.
    pub field: &'a UndercutField,
    /// Its survey line.
    pub line: &'a SurveyLine,
    /// Set up along the occlusal normal, where that is known and is not the path itself.
    pub along_normal: Option<&'a TiltedCast<'s>>,
}

/// An abutment and what is asked of it.
#[derive(Clone, Copy, Debug)]
pub struct GaugeAsked<'a> {
    /// The crown.
    pub crown: &'a Crown,
    /// Its axes.
    pub axes: &'a ToothAxes,
    /// Gauges, mm, ascending.
    pub gauges_mm: &'a [f64],
    /// The third of the buccal and lingual surface that is away from the rest, where one is asked for.
    pub away_from_rest: Option<Zone>,
}

/// A place where a gauge rests.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GaugePlace {
    /// Third of the surface.
    pub zone: Zone,
    /// The place, mm.
    pub at: Point,
    /// A triangle there.
    pub face: FaceId,
    /// The exact depth there.
    pub depth: DepthAt,
    /// Below the survey line along the path, mm; `None` where no line stands above.
    pub below_survey_line_mm: Option<f64>,
    /// Above the gingival margin along the path, mm; `None` where the margin is not known.
    pub above_margin_mm: Option<f64>,
    /// Angle between the path and the surface, degrees; positive where the surface recedes below.
    pub convergence_deg: f64,
    /// Depth at the place along the occlusal normal, mm; `None` where that is not known.
    pub along_normal_mm: Option<f64>,
}

/// One gauge on one surface.
#[derive(Clone, Debug, PartialEq)]
pub struct GaugeOn {
    /// The gauge, mm.
    pub gauge_mm: f64,
    /// Its places, the preferred third first; empty where the depth is not reached.
    pub places: Vec<GaugePlace>,
}

/// What one surface offers.
#[derive(Clone, Debug, PartialEq)]
pub struct SurfaceUndercut {
    /// Which surface.
    pub surface: Surface,
    /// Deepest vertex above the margin: depth, mm, and its vertex; `None` where the crown has no vertex on this side.
    pub deepest: Option<(f64, VertexId)>,
    /// The gauges.
    pub gauges: Vec<GaugeOn>,
    /// Whether a depth of this surface depends on the closing of a hole in the scan.
    pub closed_hole: bool,
}

/// The four surfaces of an abutment.
pub fn surfaces(cast: &Surveyed<'_, '_>, asked: &GaugeAsked<'_>) -> Vec<SurfaceUndercut> {
    let on: Vec<Surface> =
        asked.crown.vertices.iter().map(|&v| asked.axes.surface(&cast.mesh.vertex(v))).collect();
    let faces_on: Vec<Surface> =
        asked.crown.faces.iter().map(|&f| asked.axes.surface(&cast.mesh.face_centre(f))).collect();
    Surface::ALL
        .into_par_iter()
        .map(|surface| {
            let here =
                || asked.crown.vertices.iter().zip(&on).filter(|(_, s)| **s == surface).map(|(v, _)| *v);
            let mut deepest: Option<(f64, VertexId)> = None;
            for v in here() {
                if let Some(depth) =
                    depth_of(cast.field, v).filter(|d| deepest.is_none_or(|(most, _)| *d > most))
                {
                    deepest = Some((depth, v));
                }
            }
            let flagged = |v: VertexId| cast.field.closed_hole.get(v as usize) == Some(&true);
            let faces = asked.crown.faces.iter().zip(&faces_on);
            let faces: Vec<FaceId> = faces.filter(|(_, s)| **s == surface).map(|(f, _)| *f).collect();
            let gauge = |&mm: &f64| gauge_on(cast, asked, (surface, &faces), mm);
            SurfaceUndercut {
                surface,
                deepest,
                gauges: asked.gauges_mm.iter().map(gauge).collect(),
                closed_hole: here().any(flagged),
            }
        })
        .collect()
}

fn depth_of(field: &UndercutField, v: VertexId) -> Option<f64> {
    field.depth_mm.get(v as usize).copied().flatten()
}

/// An edge of the mesh on which the depth passes the gauge.
#[derive(Clone, Copy, Debug)]
struct Crossing {
    face: FaceId,
    /// The shallower and the deeper end.
    ends: [VertexId; 2],
    /// Where the isoline meets it, by the depths of its ends.
    at: Point,
}

/// A gauge on one surface of a crown, whose triangles are given.
fn gauge_on(
    cast: &Surveyed<'_, '_>,
    asked: &GaugeAsked<'_>,
    (surface, faces): (Surface, &[FaceId]),
    gauge_mm: f64,
) -> GaugeOn {
    let d = cast.field.direction;
    let mut by_zone: Vec<(Zone, Vec<(Crossing, Crossing)>)> = Vec::new();
    for &face in faces {
        // The first place below the line: where the depth grows downward.
        if let Some(pair) = isoline(cast, &d, face, gauge_mm) {
            let at = nalgebra::center(&pair.0.at, &pair.1.at);
            let not_above =
                |p: &Point| above_margin_mm(asked.crown, asked.axes, &d, p).is_some_and(|above| above <= 0.0);
            if not_above(&pair.0.at) || not_above(&pair.1.at) {
                continue;
            }
            let zone = asked.axes.zone(surface, &at);
            match by_zone.iter_mut().find(|(z, _)| *z == zone) {
                Some((_, list)) => list.push(pair),
                None => by_zone.push((zone, vec![pair])),
            }
        }
    }
    let prefer = |zone: Zone| match asked.away_from_rest {
        Some(away) if zone == away => 0,
        None if zone == Zone::Middle => 0,
        _ => 1 + zone as usize,
    };
    by_zone.sort_by_key(|(zone, _)| prefer(*zone));
    let places = by_zone
        .iter()
        .filter_map(|(zone, pairs)| place(cast, asked, *zone, &middle(asked.axes, surface, pairs)?, gauge_mm))
        .filter(|place| place.above_margin_mm.is_none_or(|above| above > 0.0))
        .collect();
    GaugeOn { gauge_mm, places }
}

/// The two edges of a triangle that the isoline of a depth meets, where the depth grows downward.
fn isoline(
    cast: &Surveyed<'_, '_>,
    d: &Direction,
    face: FaceId,
    gauge_mm: f64,
) -> Option<(Crossing, Crossing)> {
    let corners = cast.mesh.faces()[face as usize];
    let depth = [0, 1, 2].map(|k| depth_of(cast.field, corners[k]));
    let depth = [depth[0]?, depth[1]?, depth[2]?];
    let mut met = (0..3).filter_map(|k| {
        let (a, b) = (k, (k + 1) % 3);
        if (depth[a] < gauge_mm) == (depth[b] < gauge_mm) {
            return None;
        }
        let (a, b) = if depth[a] < gauge_mm { (a, b) } else { (b, a) };
        let t = (gauge_mm - depth[a]) / (depth[b] - depth[a]);
        let (p, q) = (cast.mesh.vertex(corners[a]), cast.mesh.vertex(corners[b]));
        Some(Crossing { face, ends: [corners[a], corners[b]], at: p + (q - p) * t })
    });
    let pair = (met.next()?, met.next()?);
    let height = |deep: bool| -> f64 {
        let (mut sum, mut n) = (0.0, 0.0);
        for k in 0..3 {
            if (depth[k] >= gauge_mm) == deep {
                sum += cast.mesh.vertex(corners[k]).coords.dot(d);
                n += 1.0;
            }
        }
        sum / n
    };
    (height(true) < height(false)).then_some(pair)
}

/// The crossing nearest to the middle of the isoline: half of its length on either side, ordered along the surface.
fn middle(axes: &ToothAxes, surface: Surface, pairs: &[(Crossing, Crossing)]) -> Option<Crossing> {
    let along = |p: &Point| {
        let [m, b, _] = axes.local(p);
        // Angle round the crown, from the middle of the surface.
        let (out, side) = match surface {
            Surface::Buccal => (b, m),
            Surface::Lingual => (-b, m),
            Surface::Mesial => (m, b),
            Surface::Distal => (-m, b),
        };
        atan2(side, out)
    };
    let mut pieces: Vec<(f64, f64, Crossing, Crossing)> = pairs
        .iter()
        .map(|(a, b)| {
            let ((ta, tb), length) = ((along(&a.at), along(&b.at)), (a.at - b.at).norm());
            if ta <= tb { (ta, length, *a, *b) } else { (tb, length, *b, *a) }
        })
        .collect();
    pieces.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.2.face.cmp(&b.2.face)));
    let whole: f64 = pieces.iter().map(|p| p.1).sum();
    let mut passed = 0.0;
    for (_, length, a, b) in &pieces {
        if passed + length >= whole / 2.0 {
            return Some(if passed + length / 2.0 >= whole / 2.0 { *a } else { *b });
        }
        passed += length;
    }
    pieces.last().map(|p| p.3)
}

/// The exact place on an edge, and all that is read there.
fn place(
    cast: &Surveyed<'_, '_>,
    asked: &GaugeAsked<'_>,
    zone: Zone,
    crossing: &Crossing,
    gauge_mm: f64,
) -> Option<GaugePlace> {
    let [shallow, deep] = crossing.ends.map(|v| cast.mesh.vertex(v));
    let on = |t: f64| shallow + (deep - shallow) * t;
    let [from, to] = crossing.ends.map(|v| depth_of(cast.field, v));
    let (mut lo, mut hi) = (0.0f64, 1.0f64);
    let mut t = ((gauge_mm - from?) / (to? - from?)).clamp(0.0, 1.0);
    let mut depth = cast.cast.depth_at(&on(t), crossing.face);
    for _ in 0..40 {
        if (depth.depth_mm - gauge_mm).abs() <= CLOSE_MM {
            break;
        }
        if depth.depth_mm < gauge_mm {
            lo = t
        } else {
            hi = t
        }
        t = 0.5 * (lo + hi);
        depth = cast.cast.depth_at(&on(t), crossing.face);
    }
    let at = on(t);
    let d = cast.field.direction;
    let [n0, n1] = crossing.ends.map(|v| cast.normals.get(v as usize).copied().unwrap_or_else(Vector::zeros));
    let normal = n0 + (n1 - n0) * t;
    let lean = if normal.norm() > 0.0 { -normal.dot(&d) / normal.norm() } else { 0.0 };
    Some(GaugePlace {
        zone,
        at,
        face: crossing.face,
        depth,
        below_survey_line_mm: cast.line.above_mm(&at, &depth),
        above_margin_mm: above_margin_mm(asked.crown, asked.axes, &d, &at),
        convergence_deg: asin(lean).to_degrees(),
        along_normal_mm: cast.along_normal.map(|other| other.depth_at(&at, crossing.face).depth_mm),
    })
}

/// Height of a place above the gingival margin, along `d`, mm: above where the margin passes next below it, seen from the
/// crown's middle; negative where it passes only above. `None` where the margin is not known or does not go round the crown.
pub fn above_margin_mm(crown: &Crown, axes: &ToothAxes, d: &Direction, at: &Point) -> Option<f64> {
    let plan = |p: &Point| {
        let [m, b, _] = axes.local(p);
        (m, b)
    };
    let (m, b) = plan(at);
    let n = crown.margin.len();
    let (mut below, mut over): (Option<f64>, Option<f64>) = (None, None);
    for i in 0..n {
        let (p, q) = (crown.margin[i], crown.margin[(i + 1) % n]);
        let ((pm, pb), (qm, qb)) = (plan(&p), plan(&q));
        // Sides of the ray from the crown's middle through the place.
        let (s, t) = (m * pb - b * pm, m * qb - b * qm);
        if (s < 0.0) == (t < 0.0) {
            continue;
        }
        let x = p + (q - p) * (s / (s - t));
        let (xm, xb) = plan(&x);
        if xm * m + xb * b > 0.0 {
            let above = (at - x).dot(d);
            if above >= 0.0 {
                below = Some(below.map_or(above, |a| a.min(above)));
            } else {
                over = Some(over.map_or(above, |a| a.max(above)));
            }
        }
    }
    below.or(over)
}

#[cfg(test)]
mod tests {
    use super::super::tooth_axes::tests::{anatomy, part};
    use super::*;
    use crate::measure::undercut::Surveyor;
    use crate::phantom::solids::{self, Barrel};
    use crate::space::{cos, direction, hypot, sin};
    use std::f64::consts::PI;

    /// Surfaces of a solid as tooth 35 (mandible, alone): mesial is mostly +y, buccal mostly -x.
    fn of(mesh: &Mesh, crown: &Crown, d: &Direction, away: Option<Zone>) -> Vec<SurfaceUndercut> {
        let topology = Topology::new(mesh);
        let surveyor = Surveyor::new(mesh, &topology);
        let cast = surveyor.tilted(d);
        let field = cast.field();
        let line = SurveyLine::new(mesh, &topology, &field);
        let normals = mesh.vertex_normals();
        let along = surveyor.tilted(&direction(Vector::z()).unwrap());
        let surveyed = Surveyed {
            mesh,
            topology: &topology,
            normals,
            cast: &cast,
            field: &field,
            line: &line,
            along_normal: Some(&along),
        };
        let known = anatomy(true, vec![crown.clone()], mesh.vertices().len());
        let axes = ToothAxes::of(mesh, crown, &known).unwrap();
        let asked = GaugeAsked { crown, axes: &axes, gauges_mm: &[0.25, 0.50, 0.75], away_from_rest: away };
        surfaces(&surveyed, &asked)
    }

    fn with_margin(mesh: &Mesh, faces: Vec<u32>, radius: f64, z: f64) -> Crown {
        let mut crown = part(mesh, 35, faces);
        crown.margin = (0..48)
            .map(|k| {
                let a = 2.0 * PI * f64::from(k) / 48.0;
                Point::new(radius * cos(a), radius * sin(a), z)
            })
            .collect();
        crown
    }

    #[test]
    fn a_spherical_crown_reads_the_taught_heights_on_every_surface() {
        let mesh = solids::icosphere(5.0, 0.2);
        let crown = with_margin(
            &mesh,
            (0..mesh.faces().len() as u32).filter(|&f| mesh.face_centre(f).z > -3.5).collect(),
            3.57,
            -3.5,
        );
        let d = direction(Vector::z()).unwrap();
        let all = of(&mesh, &crown, &d, Some(Zone::Distal));
        assert_eq!(all.len(), 4);
        for s in &all {
            let (deepest, v) = s.deepest.unwrap();
            let p = mesh.vertex(v);
            assert!((deepest - (5.0 - hypot(p.x, p.y))).abs() < 0.01 && deepest > 1.2, "{deepest}");
            for (gauge, (wanted, below)) in s.gauges.iter().zip([(0.25, 1.561), (0.50, 2.179), (0.75, 2.634)])
            {
                let first = &gauge.places[0];
                let on_side = matches!(s.surface, Surface::Buccal | Surface::Lingual);
                assert_eq!(first.zone, if on_side { Zone::Distal } else { Zone::Middle });
                assert_eq!(gauge.places.len(), if on_side { 3 } else { 1 });
                for place in &gauge.places {
                    assert!((place.depth.depth_mm - wanted).abs() < 0.001);
                    let got = place.below_survey_line_mm.unwrap();
                    // Slope of depth over height at the place carries the facets' chord error into the height.
                    assert!((got - below).abs() < 0.03, "{:?} {wanted}: {got}, not {below}", s.surface);
                    let margin = place.above_margin_mm.unwrap();
                    assert!((margin - (3.5 - below)).abs() < 0.05, "{margin}");
                    let angle = asin(below / 5.0).to_degrees();
                    assert!((place.convergence_deg - angle).abs() < 0.7, "{}", place.convergence_deg);
                    assert!((place.along_normal_mm.unwrap() - wanted).abs() < 0.001);
                }
            }
        }
    }

    #[test]
    fn what_is_not_reached_above_the_margin_has_no_place() {
        let barrel = Barrel { belly_mm: 4.0, belly_at_mm: 3.0, height_mm: 6.0, wall_mm: 6.0 };
        let mesh = solids::barrel_on_plate(&barrel, 9.0, 0.25, false);
        // The margin lies 2 mm under the belly: 0.34 mm is the deepest there.
        let faces = (0..mesh.faces().len() as u32).filter(|&f| mesh.face_centre(f).z > 1.0).collect();
        let crown = with_margin(&mesh, faces, barrel.radius_mm(1.0), 1.0);
        let d = direction(Vector::z()).unwrap();
        for s in of(&mesh, &crown, &d, None) {
            let [a, b, c] = [0, 1, 2].map(|k| &s.gauges[k].places);
            assert!(!a.is_empty() && b.is_empty() && c.is_empty());
            assert_eq!(a[0].zone, Zone::Middle);
            let below = barrel.gauge_below_mm(0.25).unwrap();
            assert!((a[0].below_survey_line_mm.unwrap() - below).abs() < 0.03);
            assert!((s.deepest.unwrap().0 - barrel.depth_mm(1.0)).abs() < 0.06);
        }
    }

    #[test]
    fn undercut_made_by_tilting_alone_is_not_there_along_the_normal() {
        // A plain cylinder has none; tilted by 12 degrees toward buccal its lingual side is undercut.
        let mesh = solids::cylinder(4.0, 7.0, 0.3, true);
        let faces = (0..mesh.faces().len() as u32).filter(|&f| mesh.face_centre(f).z > 0.01).collect();
        let crown = with_margin(&mesh, faces, 4.0, 0.0);
        let t = 12f64.to_radians();
        let known = anatomy(true, vec![crown.clone()], mesh.vertices().len());
        let buccal = ToothAxes::of(&mesh, &crown, &known).unwrap().buccal;
        let d = direction(buccal * sin(t) + Vector::z() * cos(t)).unwrap();
        let all = of(&mesh, &crown, &d, None);
        let reached =
            |s: Surface| all.iter().find(|x| x.surface == s).unwrap().gauges[1].places.first().copied();
        assert!(reached(Surface::Buccal).is_none());
        let place = reached(Surface::Lingual).unwrap();
        assert_eq!(place.along_normal_mm, Some(0.0));
        // The wall leans by 12 degrees from the path there: 0.50 lies 0.5 / sin along it, by its cosine along the path.
        let wanted = 0.5 / crate::space::tan(t);
        assert!((place.below_survey_line_mm.unwrap() - wanted).abs() < 0.1, "{place:?} {wanted}");
    }
}
