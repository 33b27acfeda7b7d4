//! Edges collapsed one by one, cheapest first, as long as the surface stays a manifold that faces as it did.

use super::{border_vertices, finished};
use crate::mesh::{Mesh, Topology, VertexId};
use crate::space::{Point, Vector};
use std::cmp::Reverse;
use std::collections::BinaryHeap;

/// What an edge costs.
enum Cost<'a> {
    /// Its length against what is wanted at its ends, mm; only edges shorter than that go.
    Length(&'a [f64]),
    /// How far the surface would move: squared distances from the planes that have met in each vertex.
    Planes(Vec<Planes>),
}

/// Sum of squared distances from planes, weighted by area: a quadratic form in (x, y, z, 1), upper half.
#[derive(Clone, Copy, Default)]
struct Planes([f64; 10]);

impl Planes {
    fn of(normal: &Vector, at: &Point, weight: f64) -> Planes {
        let (n, d) = (normal, -normal.dot(&at.coords));
        let q = [
            n.x * n.x,
            n.x * n.y,
            n.x * n.z,
            n.x * d,
            n.y * n.y,
            n.y * n.z,
            n.y * d,
            n.z * n.z,
            n.z * d,
            d * d,
        ];
        Planes(q.map(|c| c * weight))
    }

    fn and(&self, other: &Planes) -> Planes {
        Planes(std::array::from_fn(|i| self.0[i] + other.0[i]))
    }

    fn at(&self, p: &Point) -> f64 {
        let [xx, xy, xz, x, yy, yz, y, zz, z, one] = self.0;
        let square = xx * p.x * p.x + yy * p.y * p.y + zz * p.z * p.z;
        let mixed = xy * p.x * p.y + xz * p.x * p.z + yz * p.y * p.z;
        (square + 2.0 * (mixed + x * p.x + y * p.y + z * p.z) + one).max(0.0)
    }
}

/// A surface whose edges are being collapsed; vertices stay where they are or go.
pub(super) struct Collapse<'a> {
    vertices: &'a [Point],
    cost: Cost<'a>,
    /// Triangles at which to stop.
    least: usize,
    left: usize,
    /// Most neighbours that both ends of an edge may have together.
    most_around: usize,
    /// Least height of a new triangle as a share of its longest side.
    slimmest: f64,
    border: Vec<bool>,
    faces: Vec<Option<[VertexId; 3]>>,
    around: Vec<Vec<u32>>,
    /// Cost as the bits of a number over zero, then the vertex that stays and the one that goes.
    queue: BinaryHeap<Reverse<(u64, VertexId, VertexId)>>,
}

/// Share of the wanted length under which an edge goes: the mean of what stays is then about what was wanted.
const SHORT: f64 = 0.64;
/// Cost of a long edge where the surface is flat, so that triangles grow evenly there: mm2 of area times this.
const EVEN: f64 = 1e-3;

/// A mesh thinned to about `triangles`, where it is flattest first; border vertices stay as they are.
pub fn thinned(mesh: &Mesh, triangles: usize) -> Mesh {
    let mut planes = vec![Planes::default(); mesh.vertices().len()];
    let middle = mesh.bounds().map_or(Vector::zeros(), |(low, high)| 0.5 * (low.coords + high.coords));
    // Forms about the middle of the mesh keep their digits.
    let centred: Vec<Point> = mesh.vertices().iter().map(|p| p - middle).collect();
    for (f, corners) in mesh.faces().iter().enumerate() {
        let Some(normal) = mesh.face_normal(f as u32) else { continue };
        let own = Planes::of(&normal, &centred[corners[0] as usize], mesh.face_area_mm2(f as u32));
        for v in corners {
            planes[*v as usize] = planes[*v as usize].and(&own);
        }
    }
    let (thin, _) = Collapse::new(mesh, &centred, Cost::Planes(planes), triangles).run();
    let back = thin.vertices().iter().map(|p| p + middle).collect();
    finished(back, thin.faces().to_vec())
}

impl<'a> Collapse<'a> {
    /// Collapses what is shorter than `size` (mm, of each vertex).
    pub(super) fn to_lengths(mesh: &'a Mesh, size: &'a [f64]) -> Collapse<'a> {
        Collapse::new(mesh, mesh.vertices(), Cost::Length(size), 0)
    }

    fn new(mesh: &Mesh, vertices: &'a [Point], cost: Cost<'a>, least: usize) -> Collapse<'a> {
        let topology = Topology::new(mesh);
        let n = mesh.vertices().len();
        let thins = matches!(cost, Cost::Planes(_));
        let mut this = Collapse {
            vertices,
            cost,
            least,
            left: mesh.faces().len(),
            most_around: if thins { 18 } else { 15 },
            slimmest: if thins { 0.06 } else { 0.2 },
            border: border_vertices(&topology, n),
            faces: mesh.faces().iter().copied().map(Some).collect(),
            around: (0..n as u32).map(|v| topology.faces_of_vertex(v).to_vec()).collect(),
            queue: BinaryHeap::new(),
        };
        for e in topology.edges() {
            this.push(e.ends[0], e.ends[1]);
        }
        this
    }

    /// Queues again every edge that is left.
    fn refill(&mut self) {
        for f in 0..self.faces.len() {
            if let Some([a, b, c]) = self.faces[f] {
                for (p, q) in [(a, b), (b, c), (c, a)] {
                    // An edge inside is met from both sides, once in each direction.
                    if p < q || self.border[p as usize] && self.border[q as usize] {
                        self.push(p, q);
                    }
                }
            }
        }
    }

    /// What it costs to move `gone` into `kept`; `None` where that is not wanted.
    fn cost(&self, kept: VertexId, gone: VertexId) -> Option<f64> {
        let (a, b) = (kept as usize, gone as usize);
        let length = (self.vertices[a] - self.vertices[b]).norm();
        match &self.cost {
            Cost::Length(size) => {
                let ratio = length / (0.5 * (size[a] + size[b]));
                (ratio < SHORT).then_some(ratio)
            }
            Cost::Planes(planes) => {
                let moved = planes[a].and(&planes[b]).at(&self.vertices[a]);
                (!self.border[b]).then_some(moved + EVEN * length * length * length * length)
            }
        }
    }

    fn push(&mut self, a: VertexId, b: VertexId) {
        let (low, high) = (a.min(b), a.max(b));
        let both = matches!(self.cost, Cost::Planes(_));
        for (kept, gone) in [(low, high), (high, low)].into_iter().take(if both { 2 } else { 1 }) {
            if let Some(cost) = self.cost(kept, gone) {
                self.queue.push(Reverse((cost.to_bits(), kept, gone)));
            }
        }
    }

    fn ring(&self, v: VertexId) -> Vec<VertexId> {
        let mut ring: Vec<VertexId> = self.around[v as usize]
            .iter()
            .filter_map(|f| self.faces[*f as usize])
            .flatten()
            .filter(|w| *w != v)
            .collect();
        ring.sort_unstable();
        ring.dedup();
        ring
    }

    /// Collapses all that may go: the mesh that is left, and for each of its vertices the old one.
    pub(super) fn run(mut self) -> (Mesh, Vec<VertexId>) {
        let mut before = usize::MAX;
        self.empty_queue();
        while self.left > self.least && self.left < before && matches!(self.cost, Cost::Planes(_)) {
            // What was refused at first may go now that its neighbourhood has changed.
            before = self.left;
            self.slimmest = (0.7 * self.slimmest).max(0.01);
            self.refill();
            self.empty_queue();
        }
        let faces = self.faces.into_iter().flatten().collect();
        finished(self.vertices.to_vec(), faces).part(|_| true)
    }

    fn empty_queue(&mut self) {
        while let Some(Reverse((was, a, b))) = self.queue.pop() {
            if self.left <= self.least {
                break;
            }
            if self.around[a as usize].is_empty() || self.around[b as usize].is_empty() {
                continue;
            }
            if let Cost::Planes(_) = self.cost {
                // Planes have gathered since the edge was queued: it goes back to where it belongs now.
                match self.cost(a, b).map(f64::to_bits) {
                    Some(now) if now > was => self.queue.push(Reverse((now, a, b))),
                    Some(_) => {
                        let _ = self.try_collapse(a, b);
                    }
                    None => {}
                }
            } else {
                let _ = self.try_collapse(a, b) || self.try_collapse(b, a);
            }
        }
        self.queue.clear();
    }

    /// Moves `gone` into `kept` where the surface allows it.
    fn try_collapse(&mut self, kept: VertexId, gone: VertexId) -> bool {
        let shared: Vec<u32> = self.around[gone as usize]
            .iter()
            .copied()
            .filter(|f| self.faces[*f as usize].is_some_and(|c| c.contains(&kept)))
            .collect();
        let on_border = self.border[gone as usize];
        if shared.is_empty() || on_border && !(self.border[kept as usize] && shared.len() == 1) {
            return false;
        }
        let (ring_kept, ring_gone) = (self.ring(kept), self.ring(gone));
        // The ends may share only the corners opposite to the edge, else the surface would be pinched.
        let common = ring_gone.iter().filter(|v| ring_kept.binary_search(v).is_ok()).count();
        if common != shared.len() || ring_kept.len() + ring_gone.len() > self.most_around {
            return false;
        }
        // Nor may a chord come to join two vertices of a border.
        let chord =
            |v: &VertexId| self.border[*v as usize] && *v != kept && ring_kept.binary_search(v).is_err();
        if matches!(self.cost, Cost::Planes(_)) && self.border[kept as usize] && ring_gone.iter().any(chord) {
            return false;
        }
        if !self.keeps_facing(kept, gone) {
            return false;
        }
        for f in std::mem::take(&mut self.around[gone as usize]) {
            if shared.contains(&f) {
                self.left -= 1;
                for v in self.faces[f as usize].take().into_iter().flatten() {
                    self.around[v as usize].retain(|g| *g != f);
                }
            } else if let Some(corners) = &mut self.faces[f as usize] {
                for v in corners.iter_mut().filter(|v| **v == gone) {
                    *v = kept;
                }
                self.around[kept as usize].push(f);
            }
        }
        if let Cost::Planes(planes) = &mut self.cost {
            planes[kept as usize] = planes[kept as usize].and(&planes[gone as usize]);
        }
        for v in ring_gone {
            if v != kept {
                self.push(kept, v);
            }
        }
        true
    }

    /// Whether no triangle around `gone` turns by more than about 40 degrees or becomes a sliver.
    fn keeps_facing(&self, kept: VertexId, gone: VertexId) -> bool {
        let at = |v: VertexId| self.vertices[v as usize];
        let doubled = |c: [Point; 3]| (c[1] - c[0]).cross(&(c[2] - c[0]));
        let longest2 =
            |c: &[Point; 3]| (0..3).map(|k| (c[(k + 1) % 3] - c[k]).norm_squared()).fold(0.0, f64::max);
        let corners_around =
            |v: VertexId| self.around[v as usize].iter().filter_map(|f| self.faces[*f as usize]);
        let middle: Vector =
            corners_around(gone).chain(corners_around(kept)).map(|c| doubled(c.map(at))).sum();
        corners_around(gone).all(|corners| {
            if corners.contains(&kept) {
                return true;
            }
            let p = corners.map(at);
            let q = corners.map(|v| if v == gone { at(kept) } else { at(v) });
            let (before, after) = (doubled(p), doubled(q));
            // The normal of a sliver says nothing: there the mean of the neighbourhood stands for it.
            let sliver = before.norm() < 0.12 * longest2(&p);
            let (facing, least) = if sliver { (middle, 0.6) } else { (before, 0.77) };
            after.norm() > self.slimmest * longest2(&q)
                && after.dot(&facing) > least * after.norm() * facing.norm()
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phantom::contour::{Grid, cut_off, zero_set};

    #[test]
    fn a_thinned_dome_has_the_count_asked_for_its_border_and_nearly_its_surface() {
        let (low, high) = (Point::new(-9.0, -9.0, -9.0), Point::new(9.0, 9.0, 9.0));
        let ball = |p: &Point| p.coords.norm() - 8.0;
        let whole = zero_set(&Grid { low, high, cell_mm: 0.3 }, &ball, &|_: &Point| -1.0);
        let dome = cut_off(&whole, &|p: &Point| 0.3 - p.z);
        let thin = thinned(&dome, 4000);
        assert!(thin.faces().len() <= 4000 && thin.faces().len() >= 3990, "{}", thin.faces().len());
        let topology = Topology::new(&thin);
        assert!(topology.edges().iter().all(|e| e.faces <= 2) && topology.border_loops(&thin).len() == 1);
        let border =
            |m: &Mesh| border_vertices(&Topology::new(m), m.vertices().len()).iter().filter(|b| **b).count();
        assert_eq!(border(&thin), border(&dome));
        // The dome has 402 mm2: half of the triangles off its dense border have sides near 0.7 mm, whose middles lie
        // 0.01 mm inside; with a side three times as long 0.09 mm.
        let off = (0..thin.faces().len() as u32).map(|f| 8.0 - thin.face_centre(f).coords.norm());
        let (sum, worst) = off.fold((0.0, 0.0f64), |(sum, worst), d| (sum + d, worst.max(d)));
        assert!(worst < 0.09 && sum / (thin.faces().len() as f64) < 0.015, "{worst} {sum}");
    }
}
