//! Quantity: tripod marks.
//!
//! Three marks on a cast in one plane across the path, by which it is set up again in the same tilt (Glossary of
//! Prosthodontic Terms, ninth edition: "tripoding").
//!
//! Definition: three places of the surface at the same height along the withdrawal direction. Of all heights and places
//! allowed the three that span the triangle of the greatest area in plan, less for places that are hard to mark.
//!
//! Frame and units: mm, in the file's own axes.
//!
//! Method and its error: levels 0.25 mm apart; places on the mesh's edges that cross the level, the height exact. Only
//! surface that the rod reaches from above (nothing stands over it) and that leans from the path by 20 to 75 degrees: on
//! flatter surface the level is met nowhere in particular, on steeper surface the rod slides along the wall. Crowns on
//! their lingual surface first, elsewhere if need be; tissue where fewer than three crowns are known. Surface that the
//! caller keeps for the design is left out, and so is what lies near the scan's border.
//!
//! Not covered: whether the marker's lead is thick or the plaster rough.
//!
//! Checked by: three and more cones on a plate (height alike, the outer ones taken), a covered place, below.

use super::undercut::UndercutField;
use crate::case::{Surface, Tooth};
use crate::estimate::{Measured, NotMeasured};
use crate::mesh::{FaceId, Mesh, Topology};
use crate::space::{Direction, Point, across, cos};

/// Distance between the levels that are tried, mm.
const LEVEL_MM: f64 = 0.25;
/// No more levels than this are tried.
const MOST_LEVELS: f64 = 400.0;
/// Least and greatest angle between the surface's normal and the path, degrees; and the one that marks best.
const SLOPE_DEG: [f64; 2] = [20.0, 75.0];
/// Marks closer together than this do not set up a cast, mm.
const APART_MM: f64 = 8.0;
/// Side of the plan squares that stand for crowns where these are not known, mm.
const SQUARE_MM: f64 = 12.0;
/// A place other than a lingual surface counts by this share of its triangle.
const ELSEWHERE: f64 = 0.7;

/// Surface on which a mark may lie.
#[derive(Clone, Debug, PartialEq)]
pub struct MarkArea {
    /// Its triangles.
    pub faces: Vec<FaceId>,
    /// The tooth, where it is a crown.
    pub tooth: Option<Tooth>,
    /// Its surface.
    pub surface: Option<Surface>,
}

/// What is asked.
#[derive(Clone, Copy, Debug)]
pub struct TripodAsked<'a> {
    /// The cast.
    pub mesh: &'a Mesh,
    /// Its adjacency.
    pub topology: &'a Topology,
    /// Its undercut along the path, which gives the direction too.
    pub field: &'a UndercutField,
    /// Where marks may lie.
    pub areas: &'a [MarkArea],
}

/// One mark.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mark {
    /// The place, mm.
    pub at: Point,
    /// The tooth.
    pub tooth: Option<Tooth>,
    /// Its surface.
    pub surface: Option<Surface>,
}

/// Three marks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tripod {
    /// The marks, in the order of the areas given.
    pub marks: [Mark; 3],
    /// Their common height along the path, mm from the file's origin.
    pub height_mm: f64,
    /// Area of their triangle, mm2.
    pub area_mm2: f64,
}

/// Areas of a cast whose crowns are not known: squares of its plan.
pub fn areas_by_plan(mesh: &Mesh, direction: &Direction) -> Vec<MarkArea> {
    let (u, v) = across(direction);
    let mut squares: std::collections::BTreeMap<(i64, i64), Vec<FaceId>> = std::collections::BTreeMap::new();
    for f in 0..mesh.faces().len() as u32 {
        let p = mesh.face_centre(f).coords;
        let square = |axis| (p.dot(axis) / SQUARE_MM).floor() as i64;
        squares.entry((square(&u), square(&v))).or_default().push(f);
    }
    squares.into_values().map(|faces| MarkArea { faces, tooth: None, surface: None }).collect()
}

/// A place of one area at one level, and how well it can be marked, 0 to 1.
#[derive(Clone, Copy)]
struct Spot {
    area: usize,
    at: Point,
    worth: f64,
}

/// An edge of an area that a mark may lie on.
struct Rise {
    area: usize,
    ends: [Point; 2],
    heights: [f64; 2],
    worth: f64,
}

/// Finds the marks.
///
/// # Errors
/// Where no level has three places far enough apart.
pub fn find(asked: &TripodAsked<'_>) -> Measured<Tripod> {
    let rises = rises(asked);
    let low = rises.iter().map(|r| r.heights[0].min(r.heights[1])).fold(f64::INFINITY, f64::min);
    let high = rises.iter().map(|r| r.heights[0].max(r.heights[1])).fold(f64::NEG_INFINITY, f64::max);
    let mut best: Option<(f64, Tripod)> = None;
    let step = LEVEL_MM.max((high - low) / MOST_LEVELS);
    let levels = if high > low { ((high - low) / step).floor() as usize } else { 0 };
    for i in 0..levels {
        let level = low + (i as f64 + 0.5) * step;
        let spots = spots(&rises, level, asked.areas.len());
        for (worth, tripod) in triples(asked, &spots, level) {
            if best.as_ref().is_none_or(|(most, _)| worth > *most) {
                best = Some((worth, tripod));
            }
        }
    }
    best.map(|(_, tripod)| tripod).ok_or_else(|| {
        NotMeasured::only(
            "no three places, far enough apart and reached by the rod, lie in one plane across the path",
        )
    })
}

fn rises(asked: &TripodAsked<'_>) -> Vec<Rise> {
    let d = asked.field.direction;
    let free = |v: u32| asked.field.depth_mm.get(v as usize).is_some_and(|x| *x == Some(0.0));
    let (steepest, flattest) = (cos(SLOPE_DEG[1].to_radians()), cos(SLOPE_DEG[0].to_radians()));
    let middle = (steepest + flattest) / 2.0;
    let mut all = Vec::new();
    for (area, given) in asked.areas.iter().enumerate() {
        let place = match given.surface {
            Some(Surface::Lingual) | None => 1.0,
            Some(_) => ELSEWHERE,
        };
        for &f in &given.faces {
            let Some(n) = asked.mesh.face_normal(f) else { continue };
            // Turned so that an inside-out scan reads the same: a place that is free looks up.
            let up = n.dot(&d).abs();
            let corners = asked.mesh.faces()[f as usize];
            let inner =
                asked.topology.edges_of_face(f).iter().all(|&e| asked.topology.faces_of_edge(e).len() == 2);
            if !(steepest..=flattest).contains(&up) || !inner || !corners.iter().all(|&v| free(v)) {
                continue;
            }
            for k in 0..3 {
                let ends = [corners[k], corners[(k + 1) % 3]].map(|v| asked.mesh.vertex(v));
                let slope = 1.0 - 0.3 * (up - middle).abs() / (flattest - middle);
                all.push(Rise { area, ends, heights: ends.map(|p| p.coords.dot(&d)), worth: place * slope });
            }
        }
    }
    all
}

/// The best place of each area at a level: the worthiest, then the first.
fn spots(rises: &[Rise], level: f64, areas: usize) -> Vec<Spot> {
    let mut best: Vec<Option<Spot>> = vec![None; areas];
    for r in rises {
        let [a, b] = r.heights;
        if (a < level) == (b < level) {
            continue;
        }
        let Some(slot) = best.get_mut(r.area) else { continue };
        if slot.is_none_or(|s| r.worth > s.worth) {
            let at = r.ends[0] + (r.ends[1] - r.ends[0]) * ((level - a) / (b - a));
            *slot = Some(Spot { area: r.area, at, worth: r.worth });
        }
    }
    best.into_iter().flatten().collect()
}

/// Squares of the plan may be many; those farthest from the middle make the largest triangles, so that a level needs no
/// more than a few dozen.
fn outermost(spots: &[Spot]) -> Vec<&Spot> {
    const MOST: usize = 40;
    let sum: crate::space::Vector = spots.iter().map(|s| s.at.coords).sum();
    let middle = Point::from(sum / spots.len().max(1) as f64);
    let far = |i: &usize| (spots[*i].at - middle).norm();
    let mut order: Vec<usize> = (0..spots.len()).collect();
    order.sort_by(|a, b| far(b).total_cmp(&far(a)).then(a.cmp(b)));
    order.truncate(MOST);
    order.sort_unstable();
    order.into_iter().map(|i| &spots[i]).collect()
}

/// All triples of places of a level that stand apart, with the worth of their triangles.
fn triples(asked: &TripodAsked<'_>, spots: &[Spot], level: f64) -> Vec<(f64, Tripod)> {
    let spots = outermost(spots);
    let apart = |a: &Spot, b: &Spot| (a.at - b.at).norm() >= APART_MM;
    let mut all = Vec::new();
    for (i, a) in spots.iter().enumerate() {
        for (j, b) in spots.iter().enumerate().skip(i + 1).filter(|(_, b)| apart(a, b)) {
            for c in spots.iter().skip(j + 1).filter(|c| apart(a, c) && apart(b, c)) {
                let area_mm2 = (b.at - a.at).cross(&(c.at - a.at)).norm() / 2.0;
                let sides = [(b.at - a.at).norm(), (c.at - b.at).norm(), (a.at - c.at).norm()];
                let longest = sides.into_iter().fold(0.0, f64::max);
                // Three marks almost in a line leave the cast free to rock about it.
                if 2.0 * area_mm2 / longest < APART_MM {
                    continue;
                }
                let marks = [a, b, c].map(|s| {
                    let area = asked.areas.get(s.area);
                    Mark {
                        at: s.at,
                        tooth: area.and_then(|m| m.tooth),
                        surface: area.and_then(|m| m.surface),
                    }
                });
                all.push((
                    area_mm2 * a.worth * b.worth * c.worth,
                    Tripod { marks, height_mm: level, area_mm2 },
                ));
            }
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::undercut::Surveyor;
    use crate::phantom::solids;
    use crate::space::{Motion, Vector, direction};

    /// Cones of 45 degrees on their base, at places of the plan.
    fn cones(at: &[[f64; 3]]) -> (Mesh, Vec<MarkArea>) {
        let cone = solids::cone([4.0, 1.0], 3.0, 0.3, true);
        let (mut vertices, mut faces, mut areas) = (Vec::new(), Vec::new(), Vec::new());
        for [x, y, z] in at {
            let part = cone.moved(&Motion::translation(*x, *y, *z));
            let (v0, f0) = (vertices.len() as u32, faces.len() as u32);
            vertices.extend_from_slice(part.vertices());
            faces.extend(part.faces().iter().map(|f| f.map(|v| v + v0)));
            areas.push(MarkArea {
                faces: (f0..faces.len() as u32).collect(),
                tooth: None,
                surface: Some(Surface::Lingual),
            });
        }
        (Mesh::new(vertices, faces).unwrap(), areas)
    }

    fn marks(mesh: &Mesh, areas: &[MarkArea], d: &Direction) -> Measured<Tripod> {
        let topology = Topology::new(mesh);
        let field = Surveyor::new(mesh, &topology).field(d);
        find(&TripodAsked { mesh, topology: &topology, field: &field, areas })
    }

    #[test]
    fn the_outer_cones_carry_the_marks_at_one_height() {
        let (mesh, areas) = cones(&[[0.0, 0.0, 0.0], [30.0, 0.0, 0.0], [0.0, 30.0, 0.0], [12.0, 10.0, 0.0]]);
        for v in [Vector::z(), Vector::new(0.03, -0.02, 1.0)] {
            let d = direction(v).unwrap();
            let tripod = marks(&mesh, &areas, &d).unwrap();
            for m in &tripod.marks {
                assert!((m.at.coords.dot(&d) - tripod.height_mm).abs() < 1e-9);
                let reach = (m.at.coords - Vector::new(12.0, 10.0, m.at.z)).norm();
                assert!(reach > 8.0, "the inner cone is not taken: {:?}", m.at);
            }
            // Centres span 450 mm2; places lie up to 4 mm from them.
            assert!(tripod.area_mm2 > 380.0 && tripod.area_mm2 < 720.0, "{}", tripod.area_mm2);
        }
    }

    #[test]
    fn places_in_a_line_covered_or_too_near_make_no_tripod() {
        let up = direction(Vector::z()).unwrap();
        let (line, areas) = cones(&[[0.0, 0.0, 0.0], [15.0, 0.0, 0.0], [30.0, 0.0, 0.0]]);
        assert!(marks(&line, &areas, &up).is_err());
        // A cone far above the third one covers it; from above only the cover is seen, which is at another height.
        let (covered, mut areas) =
            cones(&[[0.0, 0.0, 0.0], [30.0, 0.0, 0.0], [0.0, 30.0, 0.0], [0.0, 30.0, 20.0]]);
        areas.truncate(3);
        assert!(marks(&covered, &areas, &up).is_err());
        let (two, areas) = cones(&[[0.0, 0.0, 0.0], [30.0, 0.0, 0.0]]);
        assert!(marks(&two, &areas, &up).unwrap_err().because.contains("no three places"));
    }

    #[test]
    fn without_known_crowns_the_plan_is_divided() {
        let (mesh, _) = cones(&[[0.0, 0.0, 0.0], [30.0, 0.0, 0.0], [0.0, 30.0, 0.0]]);
        let up = direction(Vector::z()).unwrap();
        let areas = areas_by_plan(&mesh, &up);
        assert_eq!(areas.iter().map(|a| a.faces.len()).sum::<usize>(), mesh.faces().len());
        let tripod = marks(&mesh, &areas, &up).unwrap();
        assert!(tripod.area_mm2 > 300.0);
    }
}
