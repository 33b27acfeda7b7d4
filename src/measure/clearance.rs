//! Quantity: interarch distance, the vertical distance between the arches under stated conditions (Glossary of
//! Prosthodontic Terms, ninth edition); here of every point of the tissue, in the relation in which the scans stand.
//!
//! Definition: for a tissue point p and the opening direction o, `along` is the least t >= 0 with p + t o on the
//! opposing surface; `nearest` is the least |p - q| over all q of that surface. Where p lies inside the opposing arch
//! both are negative: `along` the depth back to the surface that was passed through, `nearest` the least way out.
//!
//! Frame and units: the file's own axes, mm; o points from the restored tissue toward the opposing arch.
//!
//! Method and its error: rays and closest points on the triangles themselves (see `locate`), exact to 1e-9 mm of the
//! mesh. Scans are open, so inside and outside are told by the facing of what a ray meets: the occluding side faces
//! against o. A point is inside where the ray against o meets that side from behind within [`REACH_MM`], and nothing
//! faces it nearer along o. Which way the scan's normals point is found once, by rays from the tissue's side.
//!
//! Not covered: motion of the mandible; a point deeper than [`REACH_MM`] in the opposing arch; a point under a
//! hole has no `along`, which says nothing of the tooth that is missing from the scan.
//!
//! Checked by: plates, spheres and domes below; every triangle in `locate`; `tests/reference/clearance.py`.

use rayon::prelude::*;

use crate::locate::{Closest, Hit, Surface};
use crate::mesh::{FaceId, VertexId};
use crate::space::{Direction, Point};

/// Deepest overlap that is looked for. The clinical crown of a molar is about as high; two scans deeper in each other
/// are not a bite but two files in different places.
pub const REACH_MM: f64 = 10.0;

/// Depth of a fold of the surface that is passed over when its sides are told: under the trueness of scans.
const FOLD_MM: f64 = 0.05;

/// Clearance at one tissue point.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Clearance {
    /// Along the opening direction, mm; negative where the arches overlap; `None` where nothing is there.
    pub along_mm: Option<f64>,
    /// Where the ray meets the opposing surface, mm.
    pub along_at: Option<Point>,
    /// Its triangle.
    pub along_face: Option<FaceId>,
    /// Nearest in any direction, mm; negative where the arches overlap.
    pub nearest_mm: Option<f64>,
    /// The nearest opposing point, mm.
    pub nearest_at: Option<Point>,
}

/// The opposing surface, with the direction and the facing by which it is read.
#[derive(Clone, Copy, Debug)]
pub struct Antagonist<'s> {
    surface: &'s Surface,
    opening: Direction,
    inside_out: bool,
}

/// A reading along the opening direction.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Along {
    /// Distance, mm; negative where the arches overlap.
    pub mm: f64,
    /// Where the opposing surface is, mm.
    pub at: Point,
    /// Its triangle.
    pub face: FaceId,
}

impl<'s> Antagonist<'s> {
    /// The surface opposite tissue that opens toward `opening`.
    pub fn new(surface: &'s Surface, opening: &Direction) -> Antagonist<'s> {
        Antagonist { surface, opening: *opening, inside_out: is_inside_out(surface, opening) }
    }

    /// A piece of the same scan in its place.
    pub fn of_piece<'p>(&self, piece: &'p Surface) -> Antagonist<'p> {
        Antagonist { surface: piece, opening: self.opening, inside_out: self.inside_out }
    }

    /// The surface.
    pub fn surface(&self) -> &'s Surface {
        self.surface
    }

    /// The opening direction.
    pub fn opening(&self) -> &Direction {
        &self.opening
    }

    /// Whether the scan's triangles face away from its outside.
    pub fn inside_out(&self) -> bool {
        self.inside_out
    }

    /// Distance along the opening direction; `None` where nothing faces the point.
    pub fn along(&self, p: &Point) -> Option<Along> {
        let faces_tissue = self.first(p, &self.opening, f64::INFINITY, self.inside_out);
        let reach = faces_tissue.map_or(REACH_MM, |h| h.distance_mm.min(REACH_MM));
        let passed = self
            .first(p, &-self.opening, reach, !self.inside_out)
            .filter(|h| faces_tissue.is_none_or(|a| h.distance_mm < a.distance_mm));
        match (passed, faces_tissue) {
            (Some(h), _) => Some(Along { mm: -h.distance_mm, at: h.at, face: h.face }),
            (None, Some(h)) => Some(Along { mm: h.distance_mm, at: h.at, face: h.face }),
            (None, None) => None,
        }
    }

    /// Whether the distance of a point along the opening direction is less than `than_mm`: what [`Antagonist::along`]
    /// tells, but sooner.
    pub fn is_nearer(&self, p: &Point, than_mm: f64) -> bool {
        let behind = self.first(p, &-self.opening, REACH_MM, !self.inside_out);
        if behind.is_some() {
            return self.along(p).is_some_and(|a| a.mm < than_mm);
        }
        // Nothing was passed through, so the distance is not negative.
        than_mm > 0.0
            && self.first(p, &self.opening, than_mm, self.inside_out).is_some_and(|h| h.distance_mm < than_mm)
    }

    /// First hit of a ray where it meets the wanted side of the surface; `None` where it meets the other side first. A
    /// fold no deeper than [`FOLD_MM`], as noise and thinning out leave them, does not count as the other side.
    fn first(&self, p: &Point, d: &Direction, most_mm: f64, from_behind: bool) -> Option<Hit> {
        let first = self.surface.cast(p, d, most_mm)?;
        if first.from_behind == from_behind {
            return Some(first);
        }
        let most_mm = most_mm.min(first.distance_mm + FOLD_MM);
        self.surface.cast_facing(p, d, most_mm, from_behind)
    }

    /// Both distances of a point.
    pub fn at(&self, p: &Point) -> Clearance {
        self.joined(p, self.surface.closest(p))
    }

    fn joined(&self, p: &Point, closest: Option<Closest>) -> Clearance {
        let along = self.along(p);
        let inside = along.is_some_and(|a| a.mm < 0.0);
        Clearance {
            along_mm: along.map(|a| a.mm),
            along_at: along.map(|a| a.at),
            along_face: along.map(|a| a.face),
            nearest_mm: closest.map(|c| if inside { -c.distance_mm } else { c.distance_mm }),
            nearest_at: closest.map(|c| c.at),
        }
    }
}

/// Whether the outside of a surface, seen from the side that `opening` comes from, shows the backs of its triangles.
fn is_inside_out(surface: &Surface, opening: &Direction) -> bool {
    let mesh = surface.mesh();
    let Some((low, high)) = mesh.bounds() else { return false };
    let back = opening.into_inner() * ((high - low).norm() + 1.0);
    let step = mesh.faces().len().div_ceil(400).max(1);
    let (mut backs, mut fronts) = (0, 0);
    for f in (0..mesh.faces().len()).step_by(step) {
        match surface.cast(&(mesh.face_centre(f as u32) - back), opening, f64::INFINITY) {
            Some(h) if h.from_behind => backs += 1,
            Some(_) => fronts += 1,
            None => {}
        }
    }
    backs > fronts
}

/// Clearance of every vertex of `tissue`, in their order.
pub fn map(tissue: &Surface, opposing: &Surface, opening: &Direction) -> Vec<Clearance> {
    let antagonist = Antagonist::new(opposing, opening);
    let vertices = tissue.mesh().vertices();
    opposing
        .closest_each(vertices)
        .into_par_iter()
        .zip(vertices)
        .map(|(closest, p)| antagonist.joined(p, closest))
        .collect()
}

/// What a map says in a few figures.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Summary {
    /// Vertices read.
    pub vertices: usize,
    /// Vertices with nothing above them along the opening direction.
    pub nothing_above: usize,
    /// Least distance along the opening direction, mm, and its vertex (the lowest index among equals).
    pub least_along: Option<(f64, VertexId)>,
    /// Least distance in any direction, mm, and its vertex.
    pub least_nearest: Option<(f64, VertexId)>,
}

/// Sums up a map.
pub fn summary(map: &[Clearance]) -> Summary {
    let least = |figure: fn(&Clearance) -> Option<f64>| {
        let mut best: Option<(f64, VertexId)> = None;
        for (v, c) in map.iter().enumerate() {
            if let Some(mm) = figure(c)
                && best.is_none_or(|b| mm < b.0)
            {
                best = Some((mm, v as u32));
            }
        }
        best
    };
    Summary {
        vertices: map.len(),
        nothing_above: map.iter().filter(|c| c.along_mm.is_none()).count(),
        least_along: least(|c| c.along_mm),
        least_nearest: least(|c| c.nearest_mm),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::shapes::{sheet, sphere, up};
    use crate::mesh::Mesh;
    use crate::space::{Motion, Vector, cos, tan};

    fn inner(p: &Point, half: f64) -> bool {
        p.x.abs() < half && p.y.abs() < half
    }

    #[test]
    fn nearer_is_told_as_the_distance_tells_it() {
        let dome = |x: f64, y: f64| 2.0 - 0.05 * (x * x + y * y);
        let over = Surface::new(&sheet(12.0, 0.4, false, |x, y| 1.5 + 0.1 * x + 0.02 * y * y));
        let antagonist = Antagonist::new(&over, &up());
        for p in sheet(20.0, 0.7, true, dome).vertices() {
            let along = antagonist.along(p).map(|a| a.mm);
            for than_mm in [-1.0, -0.2, 0.0, 0.3, 5.0] {
                let nearer = along.is_some_and(|mm| mm < than_mm);
                assert_eq!(antagonist.is_nearer(p, than_mm), nearer, "{p}: {along:?} against {than_mm}");
            }
        }
    }

    #[test]
    fn plates_read_their_distance_and_their_overlap() {
        let tissue = Surface::new(&sheet(10.0, 0.4, true, |_, _| 0.0));
        for gap in [6.0, 0.2, 0.0, -0.5, -5.0] {
            for turned in [false, true] {
                let plate = sheet(14.0, 0.3, turned, |_, _| gap);
                let map = map(&tissue, &Surface::new(&plate), &up());
                for c in &map {
                    assert!((c.along_mm.unwrap() - gap).abs() < 1e-12, "{gap} {turned} {c:?}");
                    assert!((c.nearest_mm.unwrap() - gap).abs() < 1e-12);
                }
            }
        }
    }

    #[test]
    fn overlap_beyond_reach_is_not_a_reading() {
        let tissue = Surface::new(&sheet(4.0, 0.4, true, |_, _| 0.0));
        let plate = Surface::new(&sheet(8.0, 0.4, false, |_, _| -REACH_MM - 1.0));
        assert!(map(&tissue, &plate, &up()).iter().all(|c| c.along_mm.is_none()));
    }

    #[test]
    fn a_tilted_plate_is_nearer_than_it_is_high() {
        let slope = tan(20.0_f64.to_radians());
        let tissue = Surface::new(&sheet(6.0, 0.3, true, |_, _| 0.0));
        let plate = Surface::new(&sheet(30.0, 0.3, false, |x, _| 5.0 + slope * x));
        for (p, c) in tissue.mesh().vertices().iter().zip(map(&tissue, &plate, &up())) {
            let along = 5.0 + slope * p.x;
            assert!((c.along_mm.unwrap() - along).abs() < 1e-9);
            assert!((c.nearest_mm.unwrap() - along * cos(20.0_f64.to_radians())).abs() < 1e-9);
        }
    }

    #[test]
    fn a_sphere_over_a_plate_reads_within_its_chord_error() {
        let (radius, gap) = (4.0, 1.5);
        for edge in [0.1, 0.2, 0.4] {
            let allowed = edge * edge / (4.0 * radius) + 0.005;
            let ball = Surface::new(&sphere(Point::new(0., 0., gap + radius), radius, edge));
            let tissue = Surface::new(&sheet(5.0, 0.5, true, |_, _| 0.0));
            let (mut worst_along, mut worst_nearest) = (0.0_f64, 0.0_f64);
            for (p, c) in tissue.mesh().vertices().iter().zip(map(&tissue, &ball, &up())) {
                let r2 = p.x * p.x + p.y * p.y;
                let along = gap + radius - (radius * radius - r2).sqrt();
                let nearest = (r2 + (gap + radius) * (gap + radius)).sqrt() - radius;
                worst_nearest = worst_nearest.max((c.nearest_mm.unwrap() - nearest).abs());
                worst_along = worst_along.max((c.along_mm.unwrap() - along).abs());
                assert!((c.nearest_mm.unwrap() - nearest).abs() < allowed);
                // Along the ray the chord counts by the slope it is met at.
                let slope = radius / (radius * radius - r2).sqrt();
                assert!((c.along_mm.unwrap() - along).abs() < allowed * slope, "{edge} {p:?}");
            }
            println!("edge {edge} mm: along within {worst_along:e}, nearest within {worst_nearest:e} mm");
        }
    }

    #[test]
    fn a_closed_ball_pushed_into_the_tissue_reads_the_way_back_not_the_far_side() {
        let ball = Surface::new(&sphere(Point::new(0., 0., 3.0), 4.0, 0.2));
        let tissue = Surface::new(&sheet(1.0, 0.1, true, |_, _| 0.0));
        for (p, c) in tissue.mesh().vertices().iter().zip(map(&tissue, &ball, &up())) {
            let depth = (16.0 - p.x * p.x - p.y * p.y).sqrt() - 3.0;
            assert!((c.along_mm.unwrap() + depth).abs() < 0.01, "{c:?} {depth}");
            assert!((-1.01..0.0).contains(&c.nearest_mm.unwrap()));
        }
    }

    #[test]
    fn a_dome_under_a_plane_is_nearest_at_its_summit() {
        let dome = |x: f64, y: f64| (100.0 - x * x - y * y).sqrt() - 10.0;
        let tissue = Surface::new(&sheet(6.0, 0.2, true, dome));
        let plane = Surface::new(&sheet(12.0, 0.4, false, |_, _| 3.0));
        let map = map(&tissue, &plane, &up());
        let (least, at) = summary(&map).least_along.unwrap();
        assert!((least - 3.0).abs() < 1e-12);
        assert!(tissue.mesh().vertex(at).coords.norm() < 1e-9);
    }

    #[test]
    fn nothing_is_read_over_a_missing_antagonist_or_through_a_hole() {
        let tissue = Surface::new(&sheet(10.0, 0.5, true, |_, _| 0.0));
        let over = sheet(10.0, 0.5, false, |_, _| 4.0);
        let (holed, _) = over.part(|f| !inner(&over.face_centre(f), 1.5));
        for (p, c) in tissue.mesh().vertices().iter().zip(map(&tissue, &Surface::new(&holed), &up())) {
            assert_eq!(c.along_mm.is_none(), inner(p, 1.4), "{p:?}");
            assert!(c.nearest_mm.unwrap() > 3.9);
        }
        // The same hole in a model with a back: the ray meets the back from inside, and says nothing.
        let ball = sphere(Point::new(0., 0., 8.0), 4.0, 0.2);
        let (open, _) = ball.part(|f| !(inner(&ball.face_centre(f), 1.0) && ball.face_centre(f).z < 8.0));
        let c = Antagonist::new(&Surface::new(&open), &up()).at(&Point::origin());
        assert_eq!((c.along_mm, c.along_at), (None, None));
        assert!(c.nearest_mm.unwrap() > 4.0);
    }

    /// A level sheet about the axis, its normals up or down.
    fn level(z: f64, up: bool) -> Mesh {
        sheet(8.0, 1.0, up, move |_, _| z)
    }

    #[test]
    fn the_nearer_of_what_was_passed_and_what_lies_ahead_is_read() {
        for (passed, ahead, along) in [(1.0, 5.0, -1.0), (5.0, 2.0, 2.0), (2.0, 2.0, 2.0)] {
            let scan = Surface::new(&Mesh::together(&[level(-passed, false), level(ahead, false)]));
            let c = Antagonist::new(&scan, &up()).at(&Point::new(0.3, 0.2, 0.0));
            assert!((c.along_mm.unwrap() - along).abs() < 1e-12, "{passed} {ahead} {c:?}");
            assert!((c.along_at.unwrap() - Point::new(0.3, 0.2, along)).norm() < 1e-12);
            assert!((c.nearest_mm.unwrap() - along).abs() < 1e-12, "it bears the sign of the other");
            let face = scan.mesh().faces()[c.along_face.unwrap() as usize];
            assert!(face.iter().all(|v| (scan.mesh().vertex(*v).z - along).abs() < 1e-12));
        }
    }

    #[test]
    fn a_fold_as_noise_leaves_it_is_passed_over_and_a_deeper_one_hides_what_is_behind() {
        for (fold, read) in [(0.03, true), (0.07, false)] {
            // The outer wall is far greater, so that it settles which way the scan faces.
            let wall = sheet(30.0, 1.0, false, |_, _| 4.0);
            let raised = sheet(2.0, 1.0, true, |_, _| 4.0 - fold);
            let scan = Surface::new(&Mesh::together([&wall, &raised]));
            let antagonist = Antagonist::new(&scan, &up());
            let found = antagonist.along(&Point::new(0.3, 0.2, 0.0));
            assert_eq!(found.is_some(), read, "{fold}");
            assert!(found.is_none_or(|a| (a.mm - 4.0).abs() < 1e-12));
        }
    }

    #[test]
    fn a_scan_faces_as_most_of_what_is_seen_of_it_does() {
        let aside = |z: f64, up: bool, x: f64| {
            level(z, up).moved(&Motion::new(Vector::new(x, 0.0, 0.0), Vector::zeros()))
        };
        let facing = |pieces: &[Mesh]| {
            let scan = Surface::new(&Mesh::together(pieces));
            let antagonist = Antagonist::new(&scan, &up());
            assert_eq!(antagonist.surface().mesh().faces().len(), scan.mesh().faces().len());
            assert_eq!(antagonist.opening(), &up());
            antagonist.inside_out()
        };
        // Seen from below, normals that point up show their backs.
        assert!(facing(&[level(0.0, true)]) && !facing(&[level(0.0, false)]));
        // What lies behind something else is not seen, however much it is.
        assert!(facing(&[level(0.0, true), level(1.0, false), level(2.0, false)]));
        // Beside each other: the greater number counts, and where they are even it is taken as it is.
        assert!(facing(&[aside(0.0, true, -20.0), aside(0.0, true, 0.0), aside(3.0, false, 20.0)]));
        assert!(!facing(&[aside(0.0, true, -20.0), aside(0.0, false, 0.0), aside(3.0, false, 20.0)]));
        assert!(!facing(&[aside(0.0, true, -20.0), aside(0.0, false, 20.0)]));
        // Far more triangles than are looked at.
        let fine = |up| sheet(40.0, 0.5, up, |x, y| 0.01 * x * y);
        assert!(facing(&[fine(true)]) && !facing(&[fine(false)]));
    }

    #[test]
    fn a_map_is_summed_up_by_its_least_figures_and_what_has_nothing_above() {
        let read = |along: Option<f64>, nearest: f64| Clearance {
            along_mm: along,
            nearest_mm: Some(nearest),
            ..Clearance::default()
        };
        let map = [read(Some(3.0), 2.5), read(None, 1.0), read(Some(2.0), 1.5), read(Some(2.0), 1.0)];
        let told = summary(&map);
        assert_eq!((told.vertices, told.nothing_above), (4, 1));
        assert_eq!((told.least_along, told.least_nearest), (Some((2.0, 2)), Some((1.0, 1))));
        assert_eq!(summary(&[]), Summary::default());
    }

    #[test]
    fn a_rigid_motion_of_the_pair_changes_nothing() {
        let tissue = sheet(6.0, 0.3, true, |x, y| 0.1 * x * y);
        let over = sheet(9.0, 0.35, false, |x, y| 4.0 + 0.2 * (x * x - y));
        let motion = Motion::new(Vector::new(1e5, -3.0, 12.0), Vector::new(0.4, -1.0, 0.3));
        let before = map(&Surface::new(&tissue), &Surface::new(&over), &up());
        let moved = (tissue.moved(&motion), over.moved(&motion));
        let after = map(&Surface::new(&moved.0), &Surface::new(&moved.1), &(motion.rotation * up()));
        for (a, b) in before.iter().zip(&after) {
            assert!((a.along_mm.unwrap() - b.along_mm.unwrap()).abs() < 1e-8);
            assert!((a.nearest_mm.unwrap() - b.nearest_mm.unwrap()).abs() < 1e-8);
        }
    }
}
