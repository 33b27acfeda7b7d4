//! Quantity: how the two arches stand to each other: occluding, apart, overlapping. Interarch distance means something
//! only under stated conditions (Glossary of Prosthodontic Terms, ninth edition), so this stands before every figure
//! of room.
//!
//! Definition: a contact is a connected patch of the restored surface where the signed nearest distance to the
//! opposing surface is at most the contact gap and both surfaces face each other. Deepest overlap is the greatest
//! depth along the opening direction, least gap the least distance along it where nothing touches. Overlapping: the
//! deepest overlap is over what is allowed; occluding: at least one contact; apart: none; unknown: nothing stands over
//! anything.
//!
//! Frame and units: the file's own axes, mm; the opening direction points from the restored arch to the other one.
//!
//! Method and its error: the clearance of every restored vertex, and of every opposing vertex that is met near a
//! contact or where the restored arch has no reading; the surface between the vertices is not searched, which misses at
//! most the chord error of the mesh. Surfaces steeper than 72 degrees to the opening direction do not face each
//! other.
//!
//! Not covered: whether the relation is the patient's; contacts that the scanner has smoothed away; a bite taken in
//! motion.
//!
//! Checked by: plate pairs below; pairs of the phantom 40 mm apart and 5 mm in each other.

use crate::locate::Surface;
use crate::measure::clearance::{self, Antagonist, Clearance};
use crate::mesh::Mesh;
use crate::report::ArticulationState;
use crate::space::{Direction, Point, Point2, across, hypot, tan};

/// Least cosine between a normal and the opening direction for a surface that faces the other arch.
const FACING: f64 = 0.3;

/// State of a pair of arches.
#[derive(Clone, Debug, PartialEq)]
pub struct ArticulationFact {
    /// The state.
    pub state: ArticulationState,
    /// Contact patches: centre of each, mm.
    pub contacts: Vec<Point>,
    /// Deepest overlap along the opening direction, mm, and where.
    pub deepest_overlap: Option<(f64, Point)>,
    /// Least gap along the opening direction, mm, and where, where nothing touches.
    pub least_gap: Option<(f64, Point)>,
}

/// What counts as contact and as overlap, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ContactLimits {
    /// Gap up to which opposing surfaces count as in contact.
    pub contact_gap_mm: f64,
    /// Deepest overlap still taken for contact.
    pub overlap_allowed_mm: f64,
}

impl ArticulationFact {
    /// Nothing is known: one arch only.
    pub fn unknown() -> ArticulationFact {
        ArticulationFact {
            state: ArticulationState::Unknown,
            contacts: Vec::new(),
            deepest_overlap: None,
            least_gap: None,
        }
    }

    /// Distance of `p` from the polygon of the contacts in the plane across `opening`, mm; 0 inside it, `None` without
    /// a contact.
    pub fn beyond_contacts_mm(&self, opening: &Direction, p: &Point) -> Option<f64> {
        let (u, v) = across(opening);
        let flat = |q: &Point| Point2::new(q.coords.dot(&u), q.coords.dot(&v));
        let polygon = convex_hull(self.contacts.iter().map(flat).collect());
        distance_outside(&polygon, &flat(p))
    }

    /// Standard uncertainty of the arches' relation at `p`, mm: `base_mm` between the contacts; beyond their polygon
    /// the arches can rock by `lever_deg`, which adds in quadrature.
    pub fn articulation_mm_at(&self, opening: &Direction, p: &Point, base_mm: f64, lever_deg: f64) -> f64 {
        let beyond = self.beyond_contacts_mm(opening, p).unwrap_or(0.0);
        hypot(base_mm, beyond * tan(lever_deg.to_radians()))
    }
}

/// State of `restored` against `opposing`; `opening` points from the restored tissue toward the opposing arch.
pub fn state(
    restored: &Surface,
    opposing: &Surface,
    opening: &Direction,
    contact_gap_mm: f64,
    overlap_allowed_mm: f64,
) -> ArticulationFact {
    let map = clearance::map(restored, opposing, opening);
    let limits = ContactLimits { contact_gap_mm, overlap_allowed_mm };
    of_map(&Pair { restored, opposing, opening: *opening, map: &map }, &limits)
}

/// A pair of arches with the clearance of every vertex of the restored one.
#[derive(Clone, Copy, Debug)]
pub struct Pair<'a> {
    /// The restored arch.
    pub restored: &'a Surface,
    /// The other arch.
    pub opposing: &'a Surface,
    /// From the restored tissue toward the opposing arch.
    pub opening: Direction,
    /// [`clearance::map`] of the two.
    pub map: &'a [Clearance],
}

/// State of a pair whose clearance is known.
pub fn of_map(pair: &Pair<'_>, limits: &ContactLimits) -> ArticulationFact {
    let faces_up = facing(pair.restored.mesh(), &pair.opening);
    let read: Vec<Option<f64>> = pair
        .map
        .iter()
        .zip(&faces_up)
        .map(|(c, &up)| c.along_mm.filter(|_| up && faces_back(pair, c)))
        .collect();
    let touches: Vec<bool> = pair
        .map
        .iter()
        .zip(&read)
        .map(|(c, r)| r.is_some() && c.nearest_mm.is_some_and(|d| d <= limits.contact_gap_mm))
        .collect();
    let mut contacts = patches(pair.restored.mesh(), &touches);
    let mut least: Option<(f64, Point)> = None;
    let mut take = |mm: f64, at: Point| {
        if least.is_none_or(|l| mm < l.0) {
            least = Some((mm, at));
        }
    };
    for (r, p) in read.iter().zip(pair.restored.mesh().vertices()) {
        r.iter().for_each(|&mm| take(mm, *p));
    }
    for (mm, nearest, at) in from_opposing(pair, &read, limits.contact_gap_mm) {
        take(mm, at);
        if contacts.is_empty() && nearest <= limits.contact_gap_mm {
            contacts.push(at);
        }
    }
    let deepest_overlap = least.filter(|l| l.0 < 0.0).map(|(mm, at)| (-mm, at));
    let state = match least {
        None => ArticulationState::Unknown,
        Some((mm, _)) if -mm > limits.overlap_allowed_mm => ArticulationState::Overlapping,
        Some(_) if contacts.is_empty() => ArticulationState::Apart,
        Some(_) => ArticulationState::Occluding,
    };
    let least_gap = least.filter(|l| l.0 >= 0.0 && contacts.is_empty());
    ArticulationFact { state, contacts, deepest_overlap, least_gap }
}

/// Vertices whose normal is not square to the opening direction.
fn facing(mesh: &Mesh, opening: &Direction) -> Vec<bool> {
    mesh.vertex_normals().iter().map(|n| n.dot(opening).abs() >= FACING).collect()
}

fn faces_back(pair: &Pair<'_>, c: &Clearance) -> bool {
    let normal = c.along_face.and_then(|f| pair.opposing.mesh().face_normal(f));
    normal.is_some_and(|n| n.dot(&pair.opening).abs() >= FACING)
}

/// Distance along the opening direction, nearest distance and place of opposing vertices: those of triangles met near
/// a contact, or all where no restored vertex reads anything (a coarse plate over a fine one).
fn from_opposing(pair: &Pair<'_>, read: &[Option<f64>], near_mm: f64) -> Vec<(f64, f64, Point)> {
    let mesh = pair.opposing.mesh();
    let none_read = read.iter().all(Option::is_none);
    let mut wanted = vec![none_read; mesh.vertices().len()];
    for (c, r) in pair.map.iter().zip(read) {
        if let (Some(mm), Some(face)) = (r, c.along_face)
            && *mm <= near_mm
        {
            mesh.faces()[face as usize].iter().for_each(|&v| wanted[v as usize] = true);
        }
    }
    let faces_down = facing(mesh, &pair.opening);
    let antagonist = Antagonist::new(pair.restored, &-pair.opening);
    (0..mesh.vertices().len())
        .filter(|&v| wanted[v] && faces_down[v])
        .filter_map(|v| {
            let c = antagonist.at(&mesh.vertices()[v]);
            Some((c.along_mm?, c.nearest_mm?, mesh.vertices()[v]))
        })
        .collect()
}

/// Centres of the connected patches of marked vertices, in the order of their lowest vertex.
fn patches(mesh: &Mesh, marked: &[bool]) -> Vec<Point> {
    let mut root: Vec<u32> = (0..marked.len() as u32).collect();
    fn find(root: &mut [u32], mut v: u32) -> u32 {
        while root[v as usize] != v {
            root[v as usize] = root[root[v as usize] as usize];
            v = root[v as usize];
        }
        v
    }
    for corners in mesh.faces() {
        for k in 0..3 {
            let (a, b) = (corners[k], corners[(k + 1) % 3]);
            if marked[a as usize] && marked[b as usize] {
                let (a, b) = (find(&mut root, a), find(&mut root, b));
                root[a.max(b) as usize] = a.min(b);
            }
        }
    }
    let mut sums: std::collections::BTreeMap<u32, (Point, f64)> = std::collections::BTreeMap::new();
    for v in (0..marked.len() as u32).filter(|&v| marked[v as usize]) {
        let entry = sums.entry(find(&mut root, v)).or_insert((Point::origin(), 0.0));
        entry.0 += mesh.vertex(v).coords;
        entry.1 += 1.0;
    }
    sums.into_values().map(|(sum, n)| sum / n).collect()
}

/// Corners of the smallest convex polygon around the points, counter-clockwise.
fn convex_hull(mut points: Vec<Point2>) -> Vec<Point2> {
    points.sort_by(|a, b| a.x.total_cmp(&b.x).then(a.y.total_cmp(&b.y)));
    points.dedup();
    if points.len() < 3 {
        return points;
    }
    let turn = |a: &Point2, b: &Point2, c: &Point2| (b - a).perp(&(c - a));
    let half = |points: &mut dyn Iterator<Item = &Point2>| {
        let mut chain: Vec<Point2> = Vec::new();
        for p in points {
            while chain.len() > 1 && turn(&chain[chain.len() - 2], &chain[chain.len() - 1], p) <= 0.0 {
                chain.pop();
            }
            chain.push(*p);
        }
        chain.pop();
        chain
    };
    let mut hull = half(&mut points.iter());
    hull.extend(half(&mut points.iter().rev()));
    hull
}

/// Distance from a convex polygon (a segment, a point), 0 inside; `None` for none.
fn distance_outside(polygon: &[Point2], p: &Point2) -> Option<f64> {
    let n = polygon.len();
    let sides = (0..n).map(|k| (polygon[k], polygon[(k + 1) % n]));
    if n > 2 && sides.clone().all(|(a, b)| (b - a).perp(&(p - a)) >= 0.0) {
        return Some(0.0);
    }
    sides
        .map(|(a, b)| {
            let ab = b - a;
            let length2 = ab.norm_squared();
            let t = if length2 > 0.0 { ((p - a).dot(&ab) / length2).clamp(0.0, 1.0) } else { 0.0 };
            (p - (a + ab * t)).norm()
        })
        .min_by(f64::total_cmp)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::shapes::{sheet, up};

    /// A plate with four bumps, 2 mm high and 10 mm from the middle, whose tops touch a plate at `gap` above them.
    fn pair(gap: f64) -> (Surface, Surface) {
        let bumps = |x: f64, y: f64| {
            let r2 = (x.abs() - 10.0).powi(2) + (y.abs() - 10.0).powi(2);
            (2.0 - 0.5 * r2).max(0.0)
        };
        let over = sheet(40.0, 0.5, false, |_, _| 2.0 + gap);
        (Surface::new(&sheet(40.0, 0.5, true, bumps)), Surface::new(&over))
    }

    fn state_of(gap: f64) -> ArticulationFact {
        let (a, b) = pair(gap);
        state(&a, &b, &up(), 0.2, 0.3)
    }

    #[test]
    fn four_bumps_are_four_contacts() {
        let fact = state_of(0.05);
        assert_eq!((fact.state, fact.contacts.len()), (ArticulationState::Occluding, 4));
        assert!(
            fact.contacts.iter().all(|c| (c.x.abs() - 10.0).abs() < 0.1 && (c.y.abs() - 10.0).abs() < 0.1)
        );
        assert_eq!((fact.deepest_overlap, fact.least_gap), (None, None));
    }

    #[test]
    fn arches_apart_or_in_each_other_say_how_far() {
        let apart = state_of(40.0);
        assert_eq!(apart.state, ArticulationState::Apart);
        assert!((apart.least_gap.unwrap().0 - 40.0).abs() < 1e-9 && apart.contacts.is_empty());
        let deep = state_of(-5.0);
        assert_eq!(deep.state, ArticulationState::Overlapping);
        assert!((deep.deepest_overlap.unwrap().0 - 5.0).abs() < 1e-9);
        let slight = state_of(-0.2);
        assert_eq!(slight.state, ArticulationState::Occluding);
        assert!((slight.deepest_overlap.unwrap().0 - 0.2).abs() < 1e-9);
    }

    #[test]
    fn arches_side_by_side_are_unknown() {
        let far = crate::space::Motion::translation(100.0, 0.0, 0.0);
        let (a, b) = pair(0.0);
        let b = Surface::new(&b.mesh().moved(&far));
        assert_eq!(state(&a, &b, &up(), 0.2, 0.3).state, ArticulationState::Unknown);
    }

    #[test]
    fn a_cusp_between_the_vertices_of_a_coarse_plate_is_met() {
        // The bumps belong to the opposing arch; the restored plate has corners only.
        let (bumpy, _) = pair(0.0);
        let turned = bumpy.mesh().turned_over();
        let flat: Vec<Point> = turned.vertices().iter().map(|p| Point::new(p.x, p.y, -p.z)).collect();
        let over = Surface::new(&Mesh::new(flat, turned.faces().to_vec()).unwrap());
        let plate = Surface::new(&sheet(60.0, 60.0, true, |_, _| -2.0 + 0.1));
        let fact = state(&plate, &over, &up(), 0.2, 0.3);
        assert_eq!(fact.state, ArticulationState::Occluding);
        assert!((fact.deepest_overlap.unwrap().0 - 0.1).abs() < 1e-9);
    }

    #[test]
    fn the_relation_is_less_sure_beyond_the_contacts() {
        let fact = state_of(0.05);
        let at = |x: f64| fact.articulation_mm_at(&up(), &Point::new(x, 0.0, 5.0), 0.10, 0.1);
        assert!((at(3.0) - 0.10).abs() < 1e-12);
        // 0.1 degree over the 20 mm from the polygon's side at x = 10.
        let lever = 20.0 * tan(0.1_f64.to_radians());
        assert!((at(30.0) - hypot(0.10, lever)).abs() < 1e-4);
        assert!(ArticulationFact::unknown().beyond_contacts_mm(&up(), &Point::origin()).is_none());
    }
}
