//! A cast with fewer triangles, true to the scan within a bound, on which many tilts can be tried.
//!
//! A vertex is drawn into a neighbour (its triangles follow) where every vertex of the scan that has been drawn away
//! around it still lies within the bound of the new triangles, where the middles and sides of these lie as near to the
//! triangles before, where none turns over and where the shape stays a manifold. Borders and places where the scan is no manifold stay as they are. What is left are vertices of the scan, so
//! every one of them keeps its number, region and tooth. Rounds with a growing bound take the flat places first.

use crate::mesh::{Mesh, Topology, VertexId};
use crate::space::{Point, Vector};

/// How far from the scan, and how coarse, the reduced cast may be.
#[derive(Clone, Copy, Debug)]
pub struct Reduction<'a> {
    /// Greatest distance of a vertex of the scan from the reduced cast, mm.
    pub within_mm: f64,
    /// What each vertex belongs to: a vertex is drawn into its like only.
    pub kind: &'a [u8],
    /// Longest edge that a kind may get, mm, by its number; kinds beyond the end may get any.
    pub longest_mm: &'a [f64],
}

/// A reduced cast.
#[derive(Clone, Debug)]
pub struct Reduced {
    /// Its surface.
    pub mesh: Mesh,
    /// The vertex of the scan that each of its vertices is.
    pub from: Vec<VertexId>,
}

/// Shares of the bound in the rounds, one after the other.
const ROUNDS: [f64; 5] = [0.1, 0.3, 1.0, 1.0, 1.0];
/// A triangle may turn by no more than this (cosine of 50 degrees) when one of its corners moves.
const TURN: f64 = 0.64;
/// A vertex keeps no more triangles than this.
const MOST_FACES: usize = 12;
/// Neighbours that are tried in full, the nearest to the surface first.
const TRIED: usize = 2;

/// Reduces a cast; `None` where nothing is left of it.
pub fn reduced(mesh: &Mesh, topology: &Topology, how: &Reduction<'_>) -> Option<Reduced> {
    let mut work = Work::new(mesh, topology, how);
    for share in ROUNDS {
        work.round(share * how.within_mm);
    }
    work.result()
}

struct Work<'a> {
    points: &'a [Point],
    how: &'a Reduction<'a>,
    faces: Vec<[u32; 3]>,
    alive: Vec<bool>,
    /// Triangles around each vertex.
    around: Vec<Vec<u32>>,
    /// Vertices of the scan that were drawn away and lie nearest to this triangle.
    carried: Vec<Vec<u32>>,
    kept: Vec<bool>,
    gone: Vec<bool>,
    /// Moves made so far.
    moves: u32,
    /// The last move that changed a triangle around each vertex.
    changed: Vec<u32>,
    /// How each vertex was last tried in vain.
    vain: Vec<Vain>,
}

/// A vertex was tried in vain: after how many moves, within which bound, and how near it could have come, mm.
#[derive(Clone, Copy)]
struct Vain {
    moves: u32,
    within_mm: f64,
    least_mm: f64,
}

impl Vain {
    const NEVER: Vain = Vain { moves: 0, within_mm: f64::NEG_INFINITY, least_mm: f64::NEG_INFINITY };
}

/// A triangle before a move.
struct Facet {
    corners: [u32; 3],
    places: [Point; 3],
    normal: Vector,
    length: f64,
}

/// Room for what is listed around one vertex, used again for the next.
#[derive(Default)]
struct Lists {
    ring: Vec<u32>,
    other: Vec<u32>,
    before: Vec<Facet>,
    tries: Vec<(f64, u32)>,
    forms: Vec<[Point; 3]>,
}

/// A move that was found to be allowed.
struct Move {
    into: u32,
    /// Triangles that go.
    lost: Vec<u32>,
    /// Triangles that stay, and their corners afterwards.
    turned: Vec<(u32, [u32; 3])>,
    /// Who is carried by which of them.
    carried: Vec<(usize, u32)>,
}

impl<'a> Work<'a> {
    fn new(mesh: &'a Mesh, topology: &Topology, how: &'a Reduction<'a>) -> Work<'a> {
        let n = mesh.vertices().len();
        let mut kept = vec![false; n];
        for (i, edge) in topology.edges().iter().enumerate() {
            if topology.faces_of_edge(i as u32).len() != 2 {
                edge.ends.iter().for_each(|&v| kept[v as usize] = true);
            }
        }
        let around: Vec<Vec<u32>> = (0..n as u32).map(|v| topology.faces_of_vertex(v).to_vec()).collect();
        Work {
            points: mesh.vertices(),
            how,
            faces: mesh.faces().to_vec(),
            alive: vec![true; mesh.faces().len()],
            carried: vec![Vec::new(); mesh.faces().len()],
            gone: around.iter().map(Vec::is_empty).collect(),
            around,
            kept,
            moves: 0,
            changed: vec![0; n],
            vain: vec![Vain::NEVER; n],
        }
    }

    fn round(&mut self, within_mm: f64) {
        let mut lists = Lists::default();
        for u in 0..self.points.len() as u32 {
            if self.kept[u as usize] || self.gone[u as usize] {
                continue;
            }
            if let Some(found) = self.best(u, within_mm, &mut lists) {
                self.make(u, found);
            }
        }
    }

    /// Neighbours of a vertex, ascending.
    fn neighbours(&self, u: u32, all: &mut Vec<u32>) {
        all.clear();
        for corners in self.around[u as usize].iter().map(|&f| self.faces[f as usize]) {
            all.extend(corners.into_iter().filter(|&v| v != u));
        }
        all.sort_unstable();
        all.dedup();
    }

    /// Where a vertex is drawn to; what is not allowed is kept in mind until something near it changes.
    fn best(&mut self, u: u32, within_mm: f64, lists: &mut Lists) -> Option<Move> {
        let vain = self.vain[u as usize];
        let as_then = |v: u32| self.changed[v as usize] <= vain.moves;
        if vain.least_mm > within_mm && as_then(u) {
            return None;
        }
        self.neighbours(u, &mut lists.ring);
        let same_bound = vain.within_mm.to_bits() == within_mm.to_bits();
        if same_bound && as_then(u) && lists.ring.iter().all(|&v| as_then(v)) {
            return None;
        }
        let least_mm = self.list_tries(u, within_mm, lists);
        let tries = std::mem::take(&mut lists.tries);
        let found = tries.iter().take(TRIED).find_map(|&(_, v)| self.allowed(u, v, within_mm, lists));
        lists.tries = tries;
        if found.is_none() {
            self.vain[u as usize] = Vain { moves: self.moves, within_mm, least_mm };
        }
        found
    }

    /// Lists the neighbours of `u` to be tried, and tells how far off the nearest of all would be, mm.
    fn list_tries(&self, u: u32, within_mm: f64, lists: &mut Lists) -> f64 {
        let kind = self.how.kind.get(u as usize);
        let longest = kind.and_then(|k| self.how.longest_mm.get(usize::from(*k))).copied();
        lists.before.clear();
        lists.before.extend(self.around[u as usize].iter().map(|&f| self.facet(f)));
        lists.tries.clear();
        let mut least_mm = f64::INFINITY;
        for &v in lists.ring.iter().filter(|&&v| self.how.kind.get(v as usize) == kind) {
            let Some(off) = self.off_mm(u, v, longest, &lists.before) else { continue };
            least_mm = least_mm.min(off);
            if off <= within_mm {
                lists.tries.push((off, v));
            }
        }
        lists.tries.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        least_mm
    }

    /// Triangles around `u` after it has been drawn into `v`, with their numbers.
    fn after(&self, u: u32, v: u32) -> impl Iterator<Item = (u32, [u32; 3])> + '_ {
        self.around[u as usize]
            .iter()
            .filter(move |&&f| !self.faces[f as usize].contains(&v))
            .map(move |&f| (f, self.faces[f as usize].map(|c| if c == u { v } else { c })))
    }

    fn facet(&self, f: u32) -> Facet {
        let corners = self.faces[f as usize];
        let places = self.corners(corners);
        let [a, b, c] = &places;
        let normal = (b - a).cross(&(c - a));
        Facet { corners, places, normal, length: normal.norm() }
    }

    fn corners(&self, t: [u32; 3]) -> [Point; 3] {
        t.map(|v| self.points[v as usize])
    }

    /// How far `u` itself would lie from the new triangles, mm; `None` where one turns over or grows too long.
    fn off_mm(&self, u: u32, v: u32, longest: Option<f64>, before: &[Facet]) -> Option<f64> {
        let at = self.points[u as usize];
        let target = self.points[v as usize];
        let mut least = f64::INFINITY;
        for old in before.iter().filter(|old| !old.corners.contains(&v)) {
            let mut corners = old.places;
            for (place, corner) in corners.iter_mut().zip(old.corners) {
                if corner == u {
                    *place = target;
                }
            }
            let [a, b, c] = &corners;
            let now = (b - a).cross(&(c - a));
            if now.dot(&old.normal) <= TURN * now.norm() * old.length {
                return None;
            }
            let far = || corners.iter().map(|p| (p - target).norm()).fold(0.0, f64::max);
            if longest.is_some_and(|most| far() > most) {
                return None;
            }
            least = least.min(distance2_across(&at, &corners, &now));
        }
        least.is_finite().then(|| least.sqrt())
    }

    /// Draws `u` into `v`, where that is allowed; `lists` hold the ring and the triangles around `u`.
    fn allowed(&self, u: u32, v: u32, within_mm: f64, lists: &mut Lists) -> Option<Move> {
        let Lists { ring, other, before, forms, .. } = lists;
        self.neighbours(v, other);
        let shared = ring.iter().filter(|w| other.binary_search(w).is_ok()).count();
        let lost = before.iter().filter(|old| old.corners.contains(&v)).count();
        // Only two triangles go, and v keeps a number of triangles that can be looked through.
        let count = self.around[v as usize].len() + before.len() - 2 * lost;
        if shared != 2 || lost != 2 || count > MOST_FACES {
            return None;
        }
        forms.clear();
        forms.extend(self.after(u, v).map(|(_, t)| self.corners(t)));
        let stay = before.iter().filter(|old| !old.corners.contains(&v));
        let most2 = within_mm * within_mm;
        // The other way: the new triangles' middles and sides must not leave the old ones, as where a corner is cut.
        for ([a, b, c], own) in forms.iter().zip(stay) {
            let middles = [
                nalgebra::center(a, b),
                nalgebra::center(b, c),
                nalgebra::center(c, a),
                Point::from((a.coords + b.coords + c.coords) / 3.0),
            ];
            // The triangle that it was is the likeliest to be near.
            let far = |m: &Point, t: &Facet| distance2_across(m, &t.places, &t.normal) > most2;
            let off = |m: &Point| far(m, own) && before.iter().all(|t| far(m, t));
            if middles.iter().any(off) {
                return None;
            }
        }
        let mut carried = Vec::new();
        let riders = self.around[u as usize].iter().flat_map(|&f| &self.carried[f as usize]);
        for &rider in std::iter::once(&u).chain(riders) {
            let at = self.points[rider as usize];
            let mut nearest = (f64::INFINITY, 0);
            for (k, form) in forms.iter().enumerate() {
                let d2 = distance2(&at, form);
                if d2 < nearest.0 {
                    nearest = (d2, k);
                }
            }
            if nearest.0 > most2 {
                return None;
            }
            carried.push((nearest.1, rider));
        }
        let lost = self.around[u as usize].iter().copied().filter(|&f| self.faces[f as usize].contains(&v));
        Some(Move { into: v, lost: lost.collect(), turned: self.after(u, v).collect(), carried })
    }

    fn make(&mut self, u: u32, found: Move) {
        self.moves += 1;
        for &f in self.around[u as usize].iter() {
            for v in self.faces[f as usize] {
                self.changed[v as usize] = self.moves;
            }
        }
        for &f in &found.lost {
            self.alive[f as usize] = false;
            self.carried[f as usize].clear();
            for w in self.faces[f as usize].into_iter().filter(|&w| w != u) {
                self.around[w as usize].retain(|&g| g != f);
            }
        }
        for (f, corners) in &found.turned {
            self.faces[*f as usize] = *corners;
            self.carried[*f as usize].clear();
            self.around[found.into as usize].push(*f);
        }
        for (k, rider) in found.carried {
            self.carried[found.turned[k].0 as usize].push(rider);
        }
        self.around[u as usize].clear();
        self.gone[u as usize] = true;
    }

    fn result(&self) -> Option<Reduced> {
        let mut number = vec![None; self.points.len()];
        let (mut vertices, mut from) = (Vec::new(), Vec::new());
        for (v, p) in self.points.iter().enumerate().filter(|(v, _)| !self.gone[*v]) {
            number[v] = Some(vertices.len() as u32);
            vertices.push(*p);
            from.push(v as u32);
        }
        let faces = self
            .faces
            .iter()
            .zip(&self.alive)
            .filter(|(_, alive)| **alive)
            .filter_map(|(t, _)| {
                let [a, b, c] = t.map(|v| number[v as usize]);
                Some([a?, b?, c?])
            })
            .collect();
        Some(Reduced { mesh: Mesh::new(vertices, faces).ok()?, from })
    }
}

/// Squared distance of a point from a triangle, mm2.
fn distance2(p: &Point, corners: &[Point; 3]) -> f64 {
    let [a, b, c] = corners;
    distance2_across(p, corners, &(b - a).cross(&(c - a)))
}

/// The same where the triangle's normal, as long as twice its area, is known.
fn distance2_across(p: &Point, [a, b, c]: &[Point; 3], n: &Vector) -> f64 {
    let (ab, ac, ap) = (b - a, c - a, p - a);
    let n2 = n.norm_squared();
    let inside = n2 > 0.0 && {
        let v = ap.cross(&ac).dot(n);
        let w = ab.cross(&ap).dot(n);
        v >= 0.0 && w >= 0.0 && v + w <= n2
    };
    if inside {
        let h = ap.dot(n);
        return h * h / n2;
    }
    let side = |from: &Point, along: Vector| {
        let l2 = along.norm_squared();
        let t = if l2 > 0.0 { ((p - from).dot(&along) / l2).clamp(0.0, 1.0) } else { 0.0 };
        (p - from - along * t).norm_squared()
    };
    side(a, ab).min(side(a, ac)).min(side(b, c - b))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::locate::Surface;
    use crate::phantom::solids::{self, Barrel};

    #[test]
    fn a_reduced_cast_stays_within_its_bound_both_ways_and_keeps_its_border() {
        let barrel = Barrel { belly_mm: 3.5, belly_at_mm: 3.5, height_mm: 7.0, wall_mm: 6.0 };
        for mesh in [solids::icosphere(5.0, 0.2), solids::barrel_row(&[barrel; 3], 7.2, 0.2)] {
            let topology = Topology::new(&mesh);
            let kind = vec![0; mesh.vertices().len()];
            let how = Reduction { within_mm: 0.02, kind: &kind, longest_mm: &[1.5] };
            let small = reduced(&mesh, &topology, &how).unwrap();
            let share = small.mesh.faces().len() as f64 / mesh.faces().len() as f64;
            assert!(share < 0.35, "{share}");
            let (here, there) = (Surface::new(&small.mesh), Surface::new(&mesh));
            for p in mesh.vertices() {
                assert!(here.closest(p).unwrap().distance_mm <= 0.0201);
            }
            // The other way, at places inside the triangles that are left.
            for f in 0..small.mesh.faces().len() as u32 {
                let c = small.mesh.face_centre(f);
                let off = there.closest(&c).unwrap().distance_mm;
                assert!(off <= 0.04, "{c}: {off}");
                let longest = small.mesh.corners(f);
                assert!((longest[0] - longest[1]).norm() <= 1.5 + 1e-9);
            }
            let borders = |m: &Mesh| {
                let t = Topology::new(m);
                t.edges().iter().filter(|e| e.faces == 1).count()
            };
            assert_eq!(borders(&mesh), borders(&small.mesh));
            for (v, &from) in small.from.iter().enumerate() {
                assert_eq!(small.mesh.vertex(v as u32), mesh.vertex(from));
            }
        }
    }

    #[test]
    fn a_vertex_is_drawn_into_its_like_only() {
        let mesh = solids::icosphere(5.0, 0.4);
        let kind: Vec<u8> = mesh.vertices().iter().map(|p| u8::from(p.z > 0.0)).collect();
        let how = Reduction { within_mm: 0.05, kind: &kind, longest_mm: &[] };
        let small = reduced(&mesh, &Topology::new(&mesh), &how).unwrap();
        // No triangle of one kind reaches over their border: each kind loses only the strip of triangles on it.
        let area = |wanted: u8| -> f64 {
            (0..small.mesh.faces().len() as u32)
                .filter(|&f| {
                    let corners = small.mesh.faces()[f as usize];
                    corners.iter().all(|&v| kind[small.from[v as usize] as usize] == wanted)
                })
                .map(|f| small.mesh.face_area_mm2(f))
                .sum()
        };
        let half = 2.0 * std::f64::consts::PI * 25.0;
        let [lower, upper] = [area(0) / half, area(1) / half];
        assert!(lower > 0.8 && upper > 0.8 && lower < 1.0 && upper < 1.0, "{lower} {upper}");
    }

    #[test]
    fn distances_from_a_triangle_are_those_to_its_inside_sides_and_corners() {
        let t = [Point::new(0.0, 0.0, 0.0), Point::new(4.0, 0.0, 0.0), Point::new(0.0, 4.0, 0.0)];
        for (p, wanted) in [([1.0, 1.0, 2.0], 4.0), ([2.0, -3.0, 0.0], 9.0), ([7.0, 0.0, 4.0], 25.0)] {
            assert!((distance2(&Point::from(p), &t) - wanted).abs() < 1e-12);
        }
    }
}
