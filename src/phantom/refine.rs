//! A contour made into a good scan: short edges collapsed where less is enough, vertices pulled onto the exact zero set.

use super::cast::gradient;
use super::contour::mesh as finished;
use crate::mesh::{Mesh, Topology, VertexId};
use crate::space::{Point, Vector};
use rayon::prelude::*;
use std::cmp::Reverse;
use std::collections::BinaryHeap;

/// A field value that counts as zero, about mm.
const ZERO: f64 = 1e-8;

/// Newton steps of a point onto the zero set of `field`; halving where a crease keeps them from settling.
pub fn onto(field: &impl Fn(&Point) -> f64, p: &Point) -> Point {
    let mut q = *p;
    for _ in 0..12 {
        let f = field(&q);
        if f.abs() < ZERO {
            return q;
        }
        let g = gradient(field, &q);
        let step = f / g.norm_squared().max(0.05);
        // A step is kept short: near a crease the gradient is that of the other side.
        let move_by = g * step;
        let length = move_by.norm();
        q -= if length > 0.3 { move_by * (0.3 / length) } else { move_by };
    }
    halved(field, &q).unwrap_or(q)
}

/// The zero on the line through `q` along the gradient there, within 0.3 mm. `None` where the sign does not change.
fn halved(field: &impl Fn(&Point) -> f64, q: &Point) -> Option<Point> {
    let f = field(q);
    let downhill = gradient(field, q).try_normalize(1e-12)? * -f.signum();
    let (mut near, mut far) = (
        *q,
        [0.001, 0.01, 0.03, 0.1, 0.3].into_iter().map(|t| q + downhill * t).find(|r| field(r) * f <= 0.0)?,
    );
    for _ in 0..40 {
        let middle = near + (far - near) * 0.5;
        if field(&middle) * f > 0.0 { near = middle } else { far = middle }
    }
    Some(far)
}

/// Every vertex onto the zero set.
pub fn pulled(mesh: &Mesh, field: &(impl Fn(&Point) -> f64 + Sync)) -> Mesh {
    finished(mesh.vertices().par_iter().map(|p| onto(field, p)).collect(), mesh.faces().to_vec())
}

/// Collapses edges shorter than `wanted` (mm, at a place), shortest first, until none is left that may go, then relaxes
/// the vertices in the surface. Borders keep their course.
pub fn coarsened(
    mesh: &Mesh,
    field: &(impl Fn(&Point) -> f64 + Sync),
    wanted: &(impl Fn(&Point) -> f64 + Sync),
) -> Mesh {
    let size: Vec<f64> = mesh.vertices().par_iter().map(wanted).collect();
    let mut mesh = Collapse::new(mesh, &size).run();
    for round in 0..4 {
        mesh = relaxed(&mesh, field);
        if round < 2 {
            // Relaxed triangles let edges go that slivers held back.
            let size: Vec<f64> = mesh.vertices().par_iter().map(wanted).collect();
            mesh = Collapse::new(&mesh, &size).run();
        }
    }
    mesh
}

fn border_vertices(topology: &Topology, n: usize) -> Vec<bool> {
    let mut border = vec![false; n];
    for e in topology.edges().iter().filter(|e| e.faces != 2) {
        border[e.ends[0] as usize] = true;
        border[e.ends[1] as usize] = true;
    }
    border
}

/// A surface whose edges are being collapsed; vertices stay where they are or go.
struct Collapse<'a> {
    vertices: &'a [Point],
    size: &'a [f64],
    border: Vec<bool>,
    faces: Vec<Option<[VertexId; 3]>>,
    around: Vec<Vec<u32>>,
    /// Length against what is wanted (as whole millionths), then the ends.
    queue: BinaryHeap<Reverse<(u64, VertexId, VertexId)>>,
}

/// Share of the wanted length under which an edge goes: the mean of what stays is then about what was wanted.
const SHORT: f64 = 0.95;

impl<'a> Collapse<'a> {
    fn new(mesh: &'a Mesh, size: &'a [f64]) -> Collapse<'a> {
        let topology = Topology::new(mesh);
        let n = mesh.vertices().len();
        let mut this = Collapse {
            vertices: mesh.vertices(),
            size,
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

    fn push(&mut self, a: VertexId, b: VertexId) {
        let length = (self.vertices[a as usize] - self.vertices[b as usize]).norm();
        let ratio = length / (0.5 * (self.size[a as usize] + self.size[b as usize]));
        if ratio < SHORT {
            self.queue.push(Reverse(((ratio * 1e6) as u64, a.min(b), a.max(b))));
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

    fn run(mut self) -> Mesh {
        while let Some(Reverse((_, a, b))) = self.queue.pop() {
            if !self.around[a as usize].is_empty() && !self.around[b as usize].is_empty() {
                let _ = self.try_collapse(a, b) || self.try_collapse(b, a);
            }
        }
        let faces = self.faces.into_iter().flatten().collect();
        finished(self.vertices.to_vec(), faces).part(|_| true).0
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
        if common != shared.len() || ring_kept.len() + ring_gone.len() > 15 {
            return false;
        }
        if !self.keeps_facing(kept, gone) {
            return false;
        }
        for f in std::mem::take(&mut self.around[gone as usize]) {
            if shared.contains(&f) {
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
            after.norm() > 0.2 * longest2(&q) && after.dot(&facing) > least * after.norm() * facing.norm()
        })
    }
}

/// Each inner vertex half way to the middle of its neighbours within the surface, then back onto the zero set.
fn relaxed(mesh: &Mesh, field: &(impl Fn(&Point) -> f64 + Sync)) -> Mesh {
    let topology = Topology::new(mesh);
    let n = mesh.vertices().len();
    let border = border_vertices(&topology, n);
    let normals = mesh.vertex_normals();
    let mut sum = vec![(Vector::zeros(), 0.0); n];
    for e in topology.edges() {
        let [a, b] = e.ends.map(|v| v as usize);
        for (v, w) in [(a, b), (b, a)] {
            if !border[v] || border[w] && e.faces == 1 {
                sum[v].0 += mesh.vertices()[w] - mesh.vertices()[v];
                sum[v].1 += 1.0;
            }
        }
    }
    let moved: Vec<Point> = (0..n)
        .into_par_iter()
        .map(|v| {
            let p = mesh.vertices()[v];
            let d = if sum[v].1 > 0.0 { sum[v].0 / sum[v].1 * 0.5 } else { Vector::zeros() };
            onto(field, &(p + d - normals[v] * d.dot(&normals[v])))
        })
        .collect();
    finished(moved, mesh.faces().to_vec())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phantom::contour::{Grid, zero_set};

    #[test]
    fn coarsening_keeps_the_surface_closed_on_the_zero_set_and_thins_it() {
        let field = |p: &Point| p.coords.norm() - 4.0;
        let grid = Grid { low: Point::new(-5.0, -5.0, -5.0), high: Point::new(5.0, 5.0, 5.0), cell_mm: 0.4 };
        let fine = zero_set(&grid, &field, &|_: &Point| -1.0);
        let mesh = coarsened(&fine, &field, &|p: &Point| if p.z > 0.0 { 0.4 } else { 0.9 });
        let topology = Topology::new(&mesh);
        assert!(topology.edges().iter().all(|e| e.faces == 2));
        assert!(mesh.faces().len() * 3 < fine.faces().len());
        assert!(mesh.vertices().iter().all(|p| field(p).abs() < 1e-6));
        let mean = |up: bool| {
            let lengths: Vec<f64> = topology
                .edges()
                .iter()
                .filter(|e| (mesh.vertex(e.ends[0]).z > 0.0) == up)
                .map(|e| (mesh.vertex(e.ends[0]) - mesh.vertex(e.ends[1])).norm())
                .collect();
            lengths.iter().sum::<f64>() / lengths.len() as f64
        };
        assert!(mean(false) > 1.5 * mean(true));
    }
}
