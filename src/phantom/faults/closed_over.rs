//! Undercuts closed over as scanner software closes what the camera does not see.

use crate::mesh::{Mesh, MeshError, Topology, VertexId};
use crate::space::{Direction, Point, Vector, across};
use std::collections::BTreeSet;

/// Side of a cell of the plan, mm.
const CELL_MM: f64 = 0.1;
/// See [`super::LEAST_OPEN_MM`].
pub(super) const LEAST_OPEN_MM: f64 = 0.2;
/// What lies deeper under the surface than this is no undercut but the other side of the cast (mm).
const UNDERSIDE_MM: f64 = 7.0;
/// What rises less than this over a place does not cover it, mm: floors under an overhang are uneven too.
const STEP_MM: f64 = 0.1;
/// Rounds of the bridge. A patch of 60 vertices across has settled by then.
const ROUNDS: usize = 200;
/// Rounds that take the steps of the plan's cells out of it.
const SMOOTHING: usize = 4;
/// Over-relaxation of a round.
const OVER: f64 = 1.8;

/// Highest surface over each cell of a plan across the withdrawal direction.
struct Plan {
    axes: [Vector; 3],
    low: [f64; 2],
    size: [usize; 2],
    top: Vec<f64>,
}

impl Plan {
    fn new(mesh: &Mesh, withdrawal: &Direction) -> Plan {
        let (u, v) = across(withdrawal);
        let axes = [u, v, withdrawal.into_inner()];
        let mut low = [f64::INFINITY; 2];
        let mut high = [f64::NEG_INFINITY; 2];
        for p in mesh.vertices() {
            for k in 0..2 {
                low[k] = low[k].min(axes[k].dot(&p.coords));
                high[k] = high[k].max(axes[k].dot(&p.coords));
            }
        }
        // Two cells of margin; a plan is kept below 4,000 cells a side, more than any cast needs.
        let size = [0, 1].map(|k| (((high[k] - low[k]) / CELL_MM).clamp(0.0, 4000.0)) as usize + 5);
        let low = low.map(|l| l - 2.0 * CELL_MM);
        let mut plan = Plan { axes, low, size, top: vec![f64::NEG_INFINITY; size[0] * size[1]] };
        for f in 0..mesh.faces().len() as u32 {
            plan.cover(mesh.corners(f));
        }
        plan
    }

    /// A position as (cells along u, cells along v, height).
    fn local(&self, p: &Point) -> [f64; 3] {
        let [a, b, h] = self.axes.map(|e| e.dot(&p.coords));
        [(a - self.low[0]) / CELL_MM, (b - self.low[1]) / CELL_MM, h]
    }

    /// Raises the cells whose middles a triangle covers.
    fn cover(&mut self, corners: [Point; 3]) {
        let [a, b, c] = corners.map(|p| self.local(&p));
        let area = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
        if area.abs() < 1e-12 {
            return;
        }
        let range = |k: usize| {
            let (low, high) = (a[k].min(b[k]).min(c[k]), a[k].max(b[k]).max(c[k]));
            (low - 0.5).ceil().max(0.0) as usize..=((high - 0.5).floor().max(-1.0) + 1.0) as usize
        };
        for j in range(1) {
            for i in range(0) {
                if i >= self.size[0] || j >= self.size[1] {
                    continue;
                }
                let (x, y) = (i as f64 + 0.5, j as f64 + 0.5);
                let wb = ((x - a[0]) * (c[1] - a[1]) - (y - a[1]) * (c[0] - a[0])) / area;
                let wc = ((b[0] - a[0]) * (y - a[1]) - (b[1] - a[1]) * (x - a[0])) / area;
                // A middle that lies on a side belongs to both triangles.
                if wb >= -1e-6 && wc >= -1e-6 && wb + wc <= 1.0 + 2e-6 {
                    let height = a[2] + wb * (b[2] - a[2]) + wc * (c[2] - a[2]);
                    let slot = &mut self.top[j * self.size[0] + i];
                    *slot = slot.max(height);
                }
            }
        }
    }

    /// Way in plan from a position to the nearest place that nothing covers from above; `None` where it lies open or
    /// nothing is open within reach.
    fn way_out(&self, p: &Point) -> Option<Vector> {
        let [x, y, height] = self.local(p);
        let open = |i: i64, j: i64| {
            let inside = i >= 0 && j >= 0 && (i as usize) < self.size[0] && (j as usize) < self.size[1];
            !inside || self.top[j as usize * self.size[0] + i as usize] <= height + STEP_MM
        };
        let (ci, cj) = (x.floor() as i64, y.floor() as i64);
        if open(ci, cj) {
            return None;
        }
        let mut best: Option<(f64, [f64; 2])> = None;
        for ring in 1..=(UNDERSIDE_MM / CELL_MM) as i64 {
            if best.is_some_and(|(far, _)| far < ring as f64 - 1.0) {
                break;
            }
            for (i, j) in around(ci, cj, ring) {
                if open(i, j) {
                    let d = [i as f64 + 0.5 - x, j as f64 + 0.5 - y];
                    let far = (d[0] * d[0] + d[1] * d[1]).sqrt();
                    if best.is_none_or(|(b, _)| far < b) {
                        best = Some((far, d));
                    }
                }
            }
        }
        best.map(|(_, d)| (self.axes[0] * d[0] + self.axes[1] * d[1]) * CELL_MM)
    }
}

/// Cells at `ring` cells from a middle one, along the sides of a square.
fn around(ci: i64, cj: i64, ring: i64) -> impl Iterator<Item = (i64, i64)> {
    (-ring..=ring).flat_map(move |j| {
        let step = if j.abs() == ring { 1 } else { 2 * ring };
        (-ring..=ring).step_by(step as usize).map(move |i| (ci + i, cj + j))
    })
}

/// Every patch that is undercut deeper than `open_mm` replaced by an even bridge between its edges: from just under the
/// survey line down to where the surface comes out again. All other vertices stay where they are.
pub(super) fn closed_over(mesh: &Mesh, withdrawal: &Direction, open_mm: f64) -> Result<Mesh, MeshError> {
    let plan = Plan::new(mesh, withdrawal);
    let open_mm = open_mm.max(LEAST_OPEN_MM);
    let topology = Topology::new(mesh);
    let border: BTreeSet<VertexId> =
        topology.edges().iter().filter(|e| e.faces != 2).flat_map(|e| e.ends).collect();
    let mut vertices = mesh.vertices().to_vec();
    let mut patch: Vec<VertexId> = Vec::new();
    for v in 0..vertices.len() {
        let Some(way) = plan.way_out(&vertices[v]) else { continue };
        let depth = way.norm();
        if depth > open_mm {
            // Where the scan itself ends under the overhang, its border moves out to the curtain.
            vertices[v] += way * ((depth - open_mm) / depth);
            if !border.contains(&(v as VertexId)) {
                patch.push(v as VertexId);
            }
        }
    }
    let neighbours: Vec<Vec<VertexId>> = patch.iter().map(|&v| topology.neighbours(mesh, v)).collect();
    even_out(&mut vertices, &patch, &neighbours, (ROUNDS, OVER));
    // A bridge around a barrel hangs inward like a soap film: it is drawn out to the curtain at its own heights.
    for &v in &patch {
        let p = &mut vertices[v as usize];
        if let Some(way) = plan.way_out(p) {
            *p += way * (1.0 - open_mm / way.norm()).max(0.0);
        }
    }
    even_out(&mut vertices, &patch, &neighbours, (SMOOTHING, 0.5));
    Mesh::new(vertices, mesh.faces().to_vec())
}

/// Each vertex of a patch toward the middle of its neighbours, in rounds.
fn even_out(
    vertices: &mut [Point],
    patch: &[VertexId],
    neighbours: &[Vec<VertexId>],
    (rounds, share): (usize, f64),
) {
    for _ in 0..rounds {
        for (&v, near) in patch.iter().zip(neighbours) {
            let sum: Vector = near.iter().map(|w| vertices[*w as usize].coords).sum();
            let p = &mut vertices[v as usize];
            *p += (sum / near.len().max(1) as f64 - p.coords) * share;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phantom::contour::{Grid, cut_off, zero_set};
    use crate::phantom::faults::{Fault, apply};
    use crate::phantom::field::smin;

    /// A barrel of 4 mm radius at mid height on a plate, undercut by more than 1 mm where it meets the plate.
    fn barrel() -> Mesh {
        let field = |p: &Point| {
            let ball = (p - Point::new(0.0, 0.0, 3.4)).norm() - 4.0;
            smin(ball, p.z, 0.2)
        };
        let (low, high) = (Point::new(-9.0, -9.0, -2.0), Point::new(9.0, 9.0, 8.0));
        let whole = zero_set(&Grid { low, high, cell_mm: 0.35 }, &field, &|_: &Point| -1.0);
        cut_off(&whole, &|p: &Point| (p.x * p.x + p.y * p.y).sqrt() - 8.0)
    }

    #[test]
    fn a_barrel_closed_over_has_a_wall_down_from_its_survey_line_and_is_the_same_elsewhere() {
        let mesh = barrel();
        let fault = Fault::ClosedOver { withdrawal: Vector::z_axis(), deeper_than_mm: 0.3 };
        let closed = apply(&mesh, &[fault], 1).unwrap().mesh;
        let depth = |p: &Point| if p.z < 3.4 { 4.0 - (p.x * p.x + p.y * p.y).sqrt() } else { 0.0 };
        let deepest = |m: &Mesh| m.vertices().iter().map(depth).fold(0.0, f64::max);
        assert!(deepest(&mesh) > 1.0, "{}", deepest(&mesh));
        // What is left open, a cell of the plan and the sag of a bridge over facets.
        assert!(deepest(&closed) < 0.3 + 0.15, "{}", deepest(&closed));
        for (p, q) in mesh.vertices().iter().zip(closed.vertices()) {
            // Not undercut by more than the cell: outside of the curtain, or over the greatest circle.
            if depth(p) < 0.2 {
                assert!((p - q).norm() < 1e-12);
            }
        }
        // The bridge stands upright all round: hardly any of its area is turned inward.
        let (mut inward, mut all) = (0.0, 0.0);
        for f in 0..closed.faces().len() as u32 {
            let (n, c) = (closed.doubled_area_normal(f), closed.face_centre(f));
            if c.z > 0.3 && c.z < 3.0 {
                all += n.norm();
                if n.dot(&Vector::new(c.x, c.y, 0.0)) < 0.0 {
                    println!("{c} {}", n.norm());
                    inward += n.norm();
                }
            }
        }
        assert!(inward < 0.01 * all, "{inward} of {all}");
    }
}
