//! A contour made into a good scan: short edges collapsed where less is enough, vertices pulled onto the exact zero set.

mod collapse;
mod flip;

use super::cast::gradient;
use super::contour::mesh as finished;
use crate::mesh::{Mesh, Topology};
use crate::space::{Point, Vector};
use collapse::Collapse;
pub use collapse::thinned;
use flip::flipped;
use rayon::prelude::*;

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

/// The zero near `p` on the line along `along` (a unit vector, about the normal), by secants: about four looks at the
/// field. `None` where they do not settle within 0.3 mm.
fn along_line(field: &impl Fn(&Point) -> f64, p: &Point, along: &Vector, rounds: usize) -> Option<Point> {
    let (mut t, mut f) = (0.0, field(p));
    let mut steep = 1.0;
    for _ in 0..rounds {
        if f.abs() < ZERO {
            break;
        }
        let next = t - f / steep;
        if (next - t).abs() > 0.3 || next.abs() > 0.6 {
            return None;
        }
        let there = field(&(p + along * next));
        // Where the line runs along the surface the secant says nothing.
        let slope = (there - f) / (next - t);
        steep = if slope > 0.1 { slope } else { 1.0 };
        (t, f) = (next, there);
    }
    (rounds < SETTLED || f.abs() < ZERO).then(|| p + along * t)
}

/// The change of sign nearest to `p` on the line along `along`, within 0.6 mm: for creases and steps of the field.
fn nearest_change(field: &impl Fn(&Point) -> f64, p: &Point, along: &Vector) -> Option<Point> {
    const STEP_MM: f64 = 0.01;
    let side = field(p) > 0.0;
    // Inside is looked for against the normal, outside along it; then the other way.
    let first = if side { -along } else { *along };
    let (mut near, mut far) = (1..=60).find_map(|i| {
        [first, -first].into_iter().find_map(|d| {
            let (from, to) = (p + d * (STEP_MM * f64::from(i - 1)), p + d * (STEP_MM * f64::from(i)));
            ((field(&to) > 0.0) != side).then_some((from, to))
        })
    })?;
    for _ in 0..40 {
        let middle = nalgebra::center(&near, &far);
        if (field(&middle) > 0.0) == side { near = middle } else { far = middle }
    }
    Some(far)
}

/// Secants after which a vertex must have settled.
const SETTLED: usize = 8;

/// Every vertex onto the zero set.
pub fn pulled(mesh: &Mesh, field: &(impl Fn(&Point) -> f64 + Sync)) -> Mesh {
    let normals = mesh.vertex_normals();
    let moved = mesh.vertices().par_iter().zip(normals);
    let moved = moved.map(|(p, n)| {
        along_line(field, p, n, SETTLED)
            .or_else(|| Some(onto(field, p)).filter(|q| field(q).abs() < 1e-6))
            .or_else(|| nearest_change(field, p, n))
            .unwrap_or_else(|| onto(field, p))
    });
    finished(moved.collect(), mesh.faces().to_vec())
}

/// Collapses edges shorter than `wanted` (mm, at a place), shortest first, until none is left that may go; turns edges
/// and relaxes vertices in the surface by turns. Borders keep their course.
pub fn coarsened(
    mesh: &Mesh,
    field: &(impl Fn(&Point) -> f64 + Sync),
    wanted: &(impl Fn(&Point) -> f64 + Sync),
) -> Mesh {
    let size = mesh.vertices().par_iter().map(wanted).collect();
    refined(mesh, field, size, ROUNDS)
}

/// A contour with sides of about `edge_mm` everywhere made even: what is much shorter goes.
pub fn evened(mesh: &Mesh, field: &(impl Fn(&Point) -> f64 + Sync), edge_mm: f64) -> Mesh {
    refined(mesh, field, vec![0.9 * edge_mm; mesh.vertices().len()], 1)
}

fn refined(mesh: &Mesh, field: &(impl Fn(&Point) -> f64 + Sync), mut size: Vec<f64>, rounds: usize) -> Mesh {
    let mut mesh = mesh.clone();
    for _ in 0..rounds {
        let (left, kept) = Collapse::to_lengths(&mesh, &size).run();
        size = kept.iter().map(|v| size[*v as usize]).collect();
        mesh = relaxed(&flipped(&left), field);
    }
    pulled(&flipped(&mesh), field)
}

/// Rounds of collapsing, turning and relaxing: relaxed triangles let edges go that slivers held back.
const ROUNDS: usize = 3;

fn border_vertices(topology: &Topology, n: usize) -> Vec<bool> {
    let mut border = vec![false; n];
    for e in topology.edges().iter().filter(|e| e.faces != 2) {
        border[e.ends[0] as usize] = true;
        border[e.ends[1] as usize] = true;
    }
    border
}

/// Each inner vertex half way to the middle of its neighbours within the surface, then back toward the zero set.
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
            let beside = p + d - normals[v] * d.dot(&normals[v]);
            along_line(field, &beside, &normals[v], 1).unwrap_or(beside)
        })
        .collect();
    finished(moved, mesh.faces().to_vec())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phantom::contour::{Grid, zero_set};

    #[test]
    fn an_even_mesh_has_sides_of_the_length_asked_for_and_no_slivers() {
        let field = |p: &Point| p.coords.norm() - 4.0;
        let grid = Grid { low: Point::new(-5.0, -5.0, -5.0), high: Point::new(5.0, 5.0, 5.0), cell_mm: 0.5 };
        let mesh = evened(&zero_set(&grid, &field, &|_: &Point| -1.0), &field, 0.5);
        assert!((mesh.mean_edge_mm() / 0.5 - 1.0).abs() < 0.1, "{}", mesh.mean_edge_mm());
        for f in 0..mesh.faces().len() as u32 {
            let [a, b, c] = mesh.corners(f);
            let least = [(a, b, c), (b, c, a), (c, a, b)]
                .map(|(p, q, r)| crate::space::angle_deg(&(q - p), &(r - p)))
                .into_iter()
                .fold(180.0, f64::min);
            assert!(least > 15.0, "{least}");
        }
        assert!(Topology::new(&mesh).edges().iter().all(|e| e.faces == 2));
        assert!(mesh.vertices().iter().all(|p| field(p).abs() < 1e-6));
    }

    #[test]
    fn a_step_of_the_field_is_found_where_secants_do_not_settle() {
        let step = |p: &Point| if p.z > 0.123 { 0.4 } else { -0.2 + 0.1 * p.z };
        let q = nearest_change(&step, &Point::new(1.0, 2.0, 0.0), &Vector::z()).unwrap();
        assert!((q - Point::new(1.0, 2.0, 0.123)).norm() < 1e-9);
    }

    #[test]
    fn coarsening_keeps_the_surface_closed_on_the_zero_set_and_thins_it() {
        let field = |p: &Point| p.coords.norm() - 4.0;
        let grid = Grid { low: Point::new(-5.0, -5.0, -5.0), high: Point::new(5.0, 5.0, 5.0), cell_mm: 0.25 };
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
