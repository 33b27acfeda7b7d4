//! Quantity: sections of a major connector, its relief, and the distance of its border from the gingival margins.
//!
//! Definition: a *bar's* sections are found at the stations of the lingual way, and cut every 0.5 mm along the line through their
//! middles, square to its course; loops that reach a crown are minor connectors and left out. Its *thickness* is how far its
//! outer side stands off its fitting side at the
//! most, its *height* that of the section (`sections`). A *strap's* sections are cut square to the line by
//! least squares through the middles of sections from front to back; its *width* is half
//! of its outline less its thickness, that is along its middle as far as it is bent, its *thickness* the median of the inscribed
//! balls that
//! touch its fitting side more than a millimetre from its borders. The *border's distance* is that of the fitting surface over
//! tissue from
//! the nearest gingival margin, where the framework does not cross that margin. The *relief* is the distance of the fitting
//! surface from tissue.
//!
//! Frame and units: mm.
//!
//! Method and its error: exact on the triangles; the margins are followed in steps of 0.2 mm.
//!
//! Checked by: `tests/framework.rs` on generated frameworks; sections in `sections`; a plate and a bent band as straps, below.

use rayon::prelude::*;

use super::margins::Margins;
use super::parts::Over;
use super::sections::{Loop, Sizes, loops};
use super::{Cast, Framework, Near, thickness};
use crate::anatomy::curves;
use crate::case::Tooth;
use crate::mesh::{FaceId, VertexId};
use crate::space::{Direction, Frame, Plane, Point, Vector, direction};

/// A station looks at metal within this of its wall, mm.
const AROUND_MM: f64 = 3.0;
/// Metal within this of a margin belongs to what crosses it, mm.
const AT_MARGIN_MM: f64 = 0.8;
/// Part of the framework that is cut about a station, mm.
const PART_MM: f64 = 16.0;
/// Spacing of places on a section, mm.
const LOOP_STEP_MM: f64 = 0.1;
/// So near to its borders a strap is rounded, mm, and spacing of places between them.
const BORDER_MM: f64 = 1.0;
const FITTING_STEP_MM: f64 = 0.5;
/// Spacing of a strap's sections, mm.
const STRAP_STEP_MM: f64 = 1.0;
/// Spacing of a bar's sections, mm; sections to both sides through whose middles its course is laid.
const BAR_STEP_MM: f64 = 0.5;
const COURSE: usize = 5;
/// Middles of sections farther apart than this belong to different stretches of a bar, mm.
const STRETCH_MM: f64 = 4.0;

/// A section of a connector.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ConnectorSection {
    /// Its middle, mm.
    pub at: Point,
    /// Thickness off the tissue, mm.
    pub thickness_mm: f64,
    /// Height of a bar, width of a strap, mm.
    pub height_mm: f64,
}

/// A station at which a bar is cut.
#[derive(Clone, Debug)]
pub struct BarStation {
    /// Gingival margin, mm.
    pub margin: Point,
    /// The wall below it, from the margin down, mm.
    pub wall: Vec<Point>,
}

/// Where a border comes nearest to a margin.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Border {
    /// Distance along the straight line, mm.
    pub distance_mm: f64,
    /// The place of the framework, mm.
    pub at: Point,
    /// The tooth whose margin it is.
    pub tooth: Tooth,
}

/// Fitting surface over tissue, away from what crosses a margin: vertex, gap, nearest margin.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OverTissue {
    /// The vertex.
    pub vertex: VertexId,
    /// Distance from the tissue, mm.
    pub gap_mm: f64,
    /// Distance of the tissue below it from the nearest margin, mm; infinite without any.
    pub margin_mm: f64,
    /// Tooth of that margin.
    pub tooth: Option<Tooth>,
    /// Whether the framework crosses the margin there.
    pub crossed: bool,
}

/// The connector's fitting surface: over tissue, and nearer to a margin that is not crossed than to one that is, or
/// farther than `corridor_mm` from all.
pub fn over_tissue(
    framework: &Framework,
    near: &[Option<Near>],
    over: &[Over],
    margins: &Margins,
    corridor_mm: f64,
) -> Vec<OverTissue> {
    let all: Vec<VertexId> = (0..framework.mesh().vertices().len() as VertexId).collect();
    all.par_iter()
        .filter_map(|&v| {
            let n = near[v as usize].filter(|n| n.fitting && over[v as usize] == Over::Tissue)?;
            let (margin_mm, tooth, crossed) = match margins.nearest(&n.at) {
                Some((mm, tooth, crossed)) => (mm, Some(tooth), crossed),
                None => (f64::INFINITY, None, false),
            };
            let kept = !crossed || margin_mm > corridor_mm;
            kept.then_some(OverTissue { vertex: v, gap_mm: n.signed_mm, margin_mm, tooth, crossed })
        })
        .collect()
}

/// Where the connector's border comes nearest to a margin that it does not cross.
pub fn border(framework: &Framework, over_tissue: &[OverTissue]) -> Option<Border> {
    over_tissue
        .iter()
        .filter(|o| !o.crossed)
        .filter_map(|o| {
            let at = framework.mesh().vertex(o.vertex);
            Some(Border { distance_mm: o.margin_mm, at, tooth: o.tooth? })
        })
        .min_by(|a, b| a.distance_mm.total_cmp(&b.distance_mm))
}

/// Sections of a bar: found at the stations of the lingual way, and cut again along the line through the middles of those,
/// square to its course.
pub fn bar(
    framework: &Framework,
    cast: &Cast<'_>,
    stations: &[BarStation],
    d: &Direction,
    margins: &Margins,
) -> Vec<ConnectorSection> {
    let found = (0..stations.len()).into_par_iter().filter_map(|i| {
        let station = &stations[i];
        let [before, after] =
            [i.saturating_sub(2), (i + 2).min(stations.len() - 1)].map(|k| stations[k].margin);
        let way = after - before;
        let plane = Plane { point: station.margin, normal: direction(way - d.into_inner() * way.dot(d))? };
        let at_wall =
            |l: &Loop| curves::distance_mm(&station.wall, &l.middle).is_some_and(|d| d <= AROUND_MM);
        let all = about(framework, &plane, d).into_iter().filter(|l| l.closed && at_wall(l));
        let best = all.filter(|l| stands_on_tissue(cast, l, margins));
        best.max_by(|a, b| a.places.len().cmp(&b.places.len())).map(|l| l.middle)
    });
    let found: Vec<Point> = found.collect();
    let planes: Vec<Plane> = stretches(&found).iter().flat_map(|line| square_to(line, d)).collect();
    planes
        .par_iter()
        .filter_map(|plane| {
            let near = |l: &Loop| (l.middle - plane.point).norm();
            let all = about(framework, plane, d).into_iter().filter(|l| l.closed && near(l) <= AROUND_MM);
            let of_tissue = all.filter(|l| stands_on_tissue(cast, l, margins));
            let found = of_tissue.min_by(|a, b| near(a).total_cmp(&near(b)))?;
            let Sizes { thickness_mm, height_mm, .. } = found.sizes(plane)?;
            let thickness_mm = stands_off(framework, cast, &found, &|_| true)
                .map_or(thickness_mm, |mm| mm.min(thickness_mm));
            Some(ConnectorSection { at: found.middle, thickness_mm, height_mm })
        })
        .collect()
}

/// The loops of the metal about a place of a plane.
fn about(framework: &Framework, plane: &Plane, d: &Direction) -> Vec<Loop> {
    let across = plane.normal.cross(d);
    let wall = |way: Vector, mm: f64| Some(Plane { point: plane.point + way * mm, normal: direction(way)? });
    let (normal, up) = (plane.normal.into_inner(), d.into_inner());
    let walls = [(normal, 0.0), (-normal, 0.0)]
        .into_iter()
        .chain([across, -across, up, -up].into_iter().map(|way| (way, PART_MM)));
    let walls: Vec<Plane> = walls.filter_map(|(way, mm)| wall(way, mm)).collect();
    let part = framework.mesh().part_of(&framework.surface.faces_within(&walls)).0;
    loops(&part, plane)
}

/// The line through places in order, torn where two are far apart.
fn stretches(places: &[Point]) -> Vec<Vec<Point>> {
    let mut all: Vec<Vec<Point>> = Vec::new();
    for p in places {
        match all.last_mut() {
            Some(line) if line.last().is_some_and(|q| (p - q).norm() <= STRETCH_MM) => line.push(*p),
            _ => all.push(vec![*p]),
        }
    }
    all
}

/// Planes along a line, each square to its course there.
fn square_to(line: &[Point], d: &Direction) -> Vec<Plane> {
    let places = curves::evenly(line, BAR_STEP_MM);
    let at = |i: usize| {
        let reach = i.saturating_sub(COURSE)..(i + COURSE + 1).min(places.len());
        Some(Plane { point: places[i], normal: course(&places[reach], d)? })
    };
    (0..places.len()).filter_map(at).collect()
}

/// How far the outer side of a section stands off its fitting side at the most, mm; `None` where one of them was not made out.
/// What faces a triangle of the cast that is not `wanted` counts as outer side.
pub(super) fn stands_off(
    framework: &Framework,
    cast: &Cast<'_>,
    found: &Loop,
    wanted: &(dyn Fn(FaceId) -> bool + Sync),
) -> Option<f64> {
    let mut closed = found.places.clone();
    closed.extend(found.places.first().copied());
    let (mut fitting, mut outer) = (Vec::new(), Vec::new());
    for p in curves::evenly(&closed, LOOP_STEP_MM) {
        let Some(own) = framework.surface.closest(&p) else { continue };
        let normal = super::normal_at(framework.mesh(), &framework.normals, own.face, &own.at);
        match cast.near(&p, &normal) {
            Some(near) if near.fitting && wanted(near.face) => fitting.push(p),
            _ => outer.push(p),
        }
    }
    let off = |p: &Point| fitting.iter().map(|q| (p - q).norm()).fold(f64::INFINITY, f64::min);
    outer.iter().map(off).filter(|mm| mm.is_finite()).max_by(f64::total_cmp)
}

/// No place of a bar's section lies over a crown, at a margin or over a residual ridge.
fn stands_on_tissue(cast: &Cast<'_>, found: &Loop, margins: &Margins) -> bool {
    let on_a_ridge = |face| cast.anatomy.spans.iter().any(|s| s.faces.binary_search(&face).is_ok());
    found.places.iter().all(|p| {
        cast.surface.closest(p).is_some_and(|c| {
            cast.tooth_at(c.face) == 0
                && !on_a_ridge(c.face)
                && margins.nearest(&c.at).is_none_or(|(mm, _, _)| mm > AT_MARGIN_MM)
        })
    })
}

/// Sections of a strap from the patient's right to left of the midline, as far as it is one band: cut from front to back, and
/// again square to the line through the middles of those, which a strap that runs obliquely follows.
pub fn strap(framework: &Framework, cast: &Cast<'_>, frame: &Frame, half_mm: f64) -> Vec<ConnectorSection> {
    let steps = (half_mm / STRAP_STEP_MM) as i32;
    let planes = (-steps..=steps).map(|k| {
        let point = frame.origin + frame.left.into_inner() * (f64::from(k) * STRAP_STEP_MM);
        Plane { point, normal: frame.left }
    });
    let middles = of_band(framework, cast, &planes.collect::<Vec<_>>(), middle_of);
    // One line by least squares: the borders are uneven, and lines through few sections lean with them.
    let normal = course(&middles, &frame.occlusal).unwrap_or(frame.left);
    let square = middles.iter().map(|point| Plane { point: *point, normal });
    of_band(framework, cast, &square.collect::<Vec<_>>(), |l, plane| {
        band(framework, cast, l, &direction(frame.occlusal.cross(&plane.normal))?)
    })
}

/// The direction, across `d`, of the line by least squares through places at equal distances.
fn course(places: &[Point], d: &Direction) -> Option<Direction> {
    let middle = 0.5 * places.len().checked_sub(1)? as f64;
    let way: Vector = places.iter().enumerate().map(|(k, p)| p.coords * (k as f64 - middle)).sum();
    direction(way - d.into_inner() * way.dot(d))
}

fn middle_of(l: &Loop, _: &Plane) -> Option<Point> {
    Some(l.middle)
}

/// What is read of the band in each plane.
fn of_band<T: Send>(
    framework: &Framework,
    cast: &Cast<'_>,
    planes: &[Plane],
    read: impl Fn(&Loop, &Plane) -> Option<T> + Sync,
) -> Vec<T> {
    let one = |plane: &Plane| {
        let found = loops(framework.mesh(), plane)
            .into_iter()
            .filter(|l| l.closed)
            .filter(|l| cast.surface.closest(&l.middle).is_some_and(|c| cast.tooth_at(c.face) == 0))
            .max_by(|a, b| perimeter(a).total_cmp(&perimeter(b)))?;
        read(&found, plane)
    };
    planes.par_iter().filter_map(one).collect()
}

fn perimeter(l: &Loop) -> f64 {
    (0..l.places.len()).map(|i| (l.places[i] - l.places[(i + 1) % l.places.len()]).norm()).sum()
}

/// Width, along `across` as far as it is bent, and thickness of a band.
fn band(
    framework: &Framework,
    cast: &Cast<'_>,
    found: &Loop,
    across: &Direction,
) -> Option<ConnectorSection> {
    let n = found.places.len();
    let along = |p: &Point| p.coords.dot(across);
    let by = |a: &usize, b: &usize| along(&found.places[*a]).total_cmp(&along(&found.places[*b]));
    let (front, rear) = ((0..n).max_by(by)?, (0..n).min_by(by)?);
    let chain = |from: usize, to: usize| -> Vec<Point> {
        let count = (to + n - from) % n;
        (0..=count).map(|k| found.places[(from + k) % n]).collect()
    };
    let (one, other) = (chain(front, rear), chain(rear, front));
    let off = |line: &[Point]| {
        let of: Vec<f64> = line.iter().filter_map(|p| Some(cast.near_within(p, 8.0)?.signed_mm)).collect();
        super::median(of).unwrap_or(f64::INFINITY)
    };
    let fitting = if off(&one) <= off(&other) { &one } else { &other };
    let thick = curves::evenly(fitting, FITTING_STEP_MM).into_iter().filter(|p| {
        let border = |end: Option<&Point>| end.is_some_and(|e| (p - e).norm() < BORDER_MM);
        !border(fitting.first()) && !border(fitting.last())
    });
    let ball = |p: Point| {
        let own = framework.surface.closest(&p)?;
        let normal = super::normal_at(framework.mesh(), &framework.normals, own.face, &own.at);
        Some(thickness::at(framework, &own.at, &direction(-normal)?)?.sphere_mm)
    };
    let thickness_mm = super::median(thick.filter_map(ball).collect())?;
    let width = perimeter(found) / 2.0 - thickness_mm;
    (width > 0.0).then_some(ConnectorSection { at: found.middle, thickness_mm, height_mm: width })
}

#[cfg(test)]
mod tests {
    use super::super::tests::fine_box;
    use super::*;
    use crate::anatomy::Anatomy;
    use crate::estimate::NotMeasured;
    use crate::locate::Surface;
    use crate::mesh::Mesh;
    use crate::space::{cos, sin};

    fn frame() -> Frame {
        let along = Direction::new_unchecked;
        let (occlusal, anterior) = (along(-Vector::z()), along(Vector::y()));
        Frame { origin: Point::origin(), occlusal, anterior, left: along(Vector::x()) }
    }

    fn sections(cast: &Mesh, plate: &Mesh, half_mm: f64) -> Vec<ConnectorSection> {
        let surface = Surface::new(cast);
        let normals = cast.vertex_normals();
        let anatomy = Anatomy::bare(Err(NotMeasured::only("none")), cast.vertices().len());
        let cast = Cast { surface: &surface, normals, anatomy: &anatomy };
        strap(&Framework::new(plate), &cast, &frame(), half_mm)
    }

    #[test]
    fn a_plate_is_as_wide_and_thick_as_it_is_at_every_millimetre_that_it_reaches() {
        let cast = fine_box([-20.0, -20.0, -8.0], [20.0, 20.0, 0.0], 2.0);
        let plate = fine_box([-6.6, -4.5, 0.3], [6.6, 4.5, 0.9], 0.5);
        let all = sections(&cast, &plate, 10.5);
        // The planes stand at -10 .. 10 mm from the midline; those at -6 .. 6 meet it.
        let places: Vec<f64> = all.iter().map(|s| s.at.x.round()).collect();
        assert_eq!(places, (-6..=6).map(f64::from).collect::<Vec<_>>());
        for s in all {
            assert!((s.thickness_mm - 0.6).abs() < 1e-6, "{s:?}");
            // An end wall of 0.6 mm may be counted with the side at each of its two borders.
            assert!((8.9..9.0 + 2.0 * 0.6 + 1e-6).contains(&s.height_mm), "{s:?}");
        }
    }

    /// A shell about the x axis between two radii, from -40 to 40 degrees about the top.
    fn shell(half_mm: f64, radii: [f64; 2], edge_mm: f64) -> Mesh {
        let flat = fine_box([-half_mm, -40.0, radii[0]], [half_mm, 40.0, radii[1]], edge_mm);
        let bend = |p: &Point| {
            let a = p.y.to_radians();
            Point::new(p.x, p.z * sin(a), p.z * cos(a))
        };
        Mesh::new(flat.vertices().iter().map(bend).collect(), flat.faces().to_vec()).unwrap()
    }

    #[test]
    fn the_width_of_a_bent_band_is_read_along_its_fitting_side() {
        // A vault: the cast below, the band on it. The arc on the fitting side is R a, its chord 2 R sin (a / 2).
        let (inner, degrees) = (15.3, 80.0_f64);
        let vault = shell(14.0, [9.0, 15.0], 3.0);
        let band = shell(5.2, [inner, inner + 0.7], 1.0);
        let all = sections(&vault, &band, 4.0);
        assert_eq!(all.len(), 9);
        let arc = inner * degrees.to_radians();
        for s in all {
            assert!((s.thickness_mm - 0.7).abs() < 0.02, "{s:?}");
            assert!((s.height_mm - arc).abs() < 2.0 * 0.7 + 0.02, "{s:?} and {arc}");
            assert!(s.height_mm > 2.0 * inner * sin((degrees / 2.0).to_radians()) + 0.9, "not the chord");
        }
    }

    #[test]
    fn a_strap_that_runs_obliquely_is_cut_square_to_its_course() {
        let cast = fine_box([-30.0, -30.0, -8.0], [30.0, 30.0, 0.0], 2.0);
        let turn = crate::space::Motion::rotation(Vector::z() * 25.0_f64.to_radians());
        let plate = fine_box([-16.0, -4.5, 0.3], [16.0, 4.5, 0.9], 0.5).moved(&turn);
        let all = sections(&cast, &plate, 8.0);
        assert_eq!(all.len(), 17);
        for s in all {
            // From front to back it would be 9 / cos 25 = 9.93 mm.
            assert!((8.9..9.0 + 2.0 * 0.6 + 1e-6).contains(&s.height_mm), "{s:?}");
            assert!((s.thickness_mm - 0.6).abs() < 1e-6, "{s:?}");
        }
    }

    #[test]
    fn a_line_is_torn_where_a_bar_is_missing_and_cut_square_to_its_course() {
        let up = Direction::new_normalize(Vector::z());
        let places: Vec<Point> =
            [0.0, 2.0, 4.0, 9.0, 11.0].map(|x: f64| Point::new(x, 0.5 * x, 0.3 * (x % 4.0))).to_vec();
        let lines = stretches(&places);
        assert_eq!(lines.iter().map(Vec::len).collect::<Vec<_>>(), [3, 2]);
        let planes = square_to(&lines[0], &up);
        assert!(planes.windows(2).all(|two| (two[1].point - two[0].point).norm() <= 0.5 + 1e-9));
        let course = Vector::new(2.0, 1.0, 0.0).normalize();
        assert!(
            planes.iter().all(|p| (p.normal.into_inner() - course).norm() < 1e-9),
            "level, whatever it climbs"
        );
        assert!(square_to(&places[..1], &up).is_empty());
    }

    #[test]
    fn a_strap_that_does_not_reach_the_midline_has_no_section_there() {
        let cast = fine_box([-20.0, -20.0, -8.0], [20.0, 20.0, 0.0], 2.0);
        let plate = fine_box([3.5, -4.5, 0.3], [8.5, 4.5, 0.9], 0.5);
        let all = sections(&cast, &plate, 10.0);
        let places: Vec<f64> = all.iter().map(|s| s.at.x.round()).collect();
        assert_eq!(places, [4.0, 5.0, 6.0, 7.0, 8.0]);
    }
}
