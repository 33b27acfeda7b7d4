//! The zero set of a field as triangles: marching tetrahedra on a regular grid, cut off at a border field.
//!
//! Each grid cube is six tetrahedra around one diagonal, the same way everywhere, so the surface is a manifold whose
//! only borders are those of the border field.

use crate::mesh::{Mesh, VertexId};
use crate::space::Point;
use rayon::prelude::*;
use std::collections::BTreeMap;

/// What to contour.
#[derive(Clone, Copy, Debug)]
pub struct Grid {
    /// Least corner, mm.
    pub low: Point,
    /// Greatest corner, mm.
    pub high: Point,
    /// Length of a cube, mm.
    pub cell_mm: f64,
}

/// Cubes along the side of a block that is left out where the field is far from zero.
const BLOCK: usize = 4;
/// Bound on the steepness of the field.
const STEEP: f64 = 1.6;

/// Triangles of the zero set of `field` inside the box, facing where it grows; vertices on the grid's edges.
///
/// Where `border` is well over zero nothing is contoured.
pub fn zero_set(
    grid: &Grid,
    field: &(impl Fn(&Point) -> f64 + Sync),
    border: &(impl Fn(&Point) -> f64 + Sync),
) -> Mesh {
    let h = grid.cell_mm;
    let size = grid.high - grid.low;
    let blocks: [usize; 3] =
        [size.x, size.y, size.z].map(|s| (s / (h * BLOCK as f64)).ceil().max(1.0) as usize);
    let at = |i: [usize; 3]| {
        Point::new(grid.low.x + h * i[0] as f64, grid.low.y + h * i[1] as f64, grid.low.z + h * i[2] as f64)
    };
    let half_diagonal = 0.5 * 3.0f64.sqrt() * h * BLOCK as f64;
    let pieces: Vec<Vec<Corner3>> = (0..blocks[0] * blocks[1] * blocks[2])
        .into_par_iter()
        .map(|b| {
            let block = [b % blocks[0], b / blocks[0] % blocks[1], b / (blocks[0] * blocks[1])];
            let first = block.map(|k| k * BLOCK);
            let middle = at(first) + nalgebra::Vector3::repeat(0.5 * h * BLOCK as f64);
            if border(&middle) > STEEP * half_diagonal || field(&middle).abs() > STEEP * half_diagonal {
                return Vec::new();
            }
            march(first, &at, field)
        })
        .collect();
    let mut id_of: BTreeMap<u64, VertexId> = BTreeMap::new();
    let (mut vertices, mut faces) = (Vec::new(), Vec::new());
    for triangle in pieces.iter().flatten() {
        let ids = triangle.map(|(key, p)| {
            *id_of.entry(key).or_insert_with(|| {
                vertices.push(p);
                vertices.len() as u32 - 1
            })
        });
        if ids[0] != ids[1] && ids[1] != ids[2] && ids[2] != ids[0] {
            faces.push(ids);
        }
    }
    mesh(vertices, faces)
}

/// Key of a grid edge and the point on it, for each corner of a triangle.
type Corner3 = [(u64, Point); 3];

const CUBE: [[usize; 3]; 8] =
    [[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0], [0, 0, 1], [1, 0, 1], [1, 1, 1], [0, 1, 1]];
/// Tetrahedra around the diagonal from corner 0 to corner 6, each right-handed.
const TETRAHEDRA: [[usize; 4]; 6] =
    [[0, 1, 2, 6], [0, 2, 3, 6], [0, 3, 7, 6], [0, 7, 4, 6], [0, 4, 5, 6], [0, 5, 1, 6]];

fn march(
    first: [usize; 3],
    at: &impl Fn([usize; 3]) -> Point,
    field: &impl Fn(&Point) -> f64,
) -> Vec<Corner3> {
    const N: usize = BLOCK + 1;
    let mut values = [0.0; N * N * N];
    for (i, value) in values.iter_mut().enumerate() {
        let f = field(&at([first[0] + i % N, first[1] + i / N % N, first[2] + i / (N * N)]));
        // A corner on the surface counts as outside, so that no triangle loses its area.
        *value = if f == 0.0 { 1e-12 } else { f };
    }
    let mut out = Vec::new();
    for cube in 0..BLOCK * BLOCK * BLOCK {
        let c = [cube % BLOCK, cube / BLOCK % BLOCK, cube / (BLOCK * BLOCK)];
        let corner = CUBE.map(|o| [c[0] + o[0], c[1] + o[1], c[2] + o[2]]);
        let value = corner.map(|k| values[k[0] + N * (k[1] + N * k[2])]);
        if value.iter().all(|v| *v > 0.0) || value.iter().all(|v| *v < 0.0) {
            continue;
        }
        for tet in TETRAHEDRA {
            cut(tet.map(|k| (std::array::from_fn(|a| first[a] + corner[k][a]), value[k])), at, &mut out);
        }
    }
    out
}

fn cut(tet: [([usize; 3], f64); 4], at: &impl Fn([usize; 3]) -> Point, out: &mut Vec<Corner3>) {
    let inside: Vec<usize> = (0..4).filter(|&k| tet[k].1 < 0.0).collect();
    let outside: Vec<usize> = (0..4).filter(|&k| tet[k].1 > 0.0).collect();
    let on = |a: usize, b: usize| {
        let (a, b) = if tet[a].0 < tet[b].0 { (a, b) } else { (b, a) };
        let ((ka, fa), (kb, fb)) = (tet[a], tet[b]);
        // An edge is named by its lower corner and its step, each step 0 or 1.
        let step = (0..3).fold(0, |n, i| 2 * n + u64::from(kb[i] != ka[i]));
        let key = ka.iter().fold(0u64, |n, i| (n << 18) | *i as u64) << 3 | step;
        let (pa, pb) = (at(ka), at(kb));
        let t = (fa / (fa - fb)).clamp(1e-3, 1.0 - 1e-3);
        (key, pa + (pb - pa) * t)
    };
    let mut push = |a: (u64, Point), b: (u64, Point), c: (u64, Point)| {
        // Facing outward: away from an inside corner.
        let seed = at(tet[inside[0]].0);
        let away = (b.1 - a.1).cross(&(c.1 - a.1)).dot(&(a.1 - seed)) > 0.0;
        out.push(if away { [a, b, c] } else { [a, c, b] });
    };
    match (inside.as_slice(), outside.as_slice()) {
        ([a], [b, c, d]) => push(on(*a, *b), on(*a, *c), on(*a, *d)),
        ([a, b, c], [d]) => push(on(*a, *d), on(*b, *d), on(*c, *d)),
        ([a, b], [c, d]) => {
            push(on(*a, *c), on(*a, *d), on(*b, *d));
            push(on(*a, *c), on(*b, *d), on(*b, *c));
        }
        _ => {}
    }
}

/// The part of `mesh` where `border` is negative, cut cleanly along its zero line; only its largest piece.
pub fn cut_off(mesh: &Mesh, border: &(impl Fn(&Point) -> f64 + Sync)) -> Mesh {
    let value: Vec<f64> = mesh
        .vertices()
        .par_iter()
        .map(|p| {
            let b = border(p);
            if b == 0.0 { 1e-12 } else { b }
        })
        .collect();
    let mut vertices = mesh.vertices().to_vec();
    let mut between: BTreeMap<(VertexId, VertexId), VertexId> = BTreeMap::new();
    let mut faces = Vec::new();
    for corners in mesh.faces() {
        let kept: Vec<usize> = (0..3).filter(|&k| value[corners[k] as usize] < 0.0).collect();
        let mut on = |a: VertexId, b: VertexId| {
            *between.entry((a.min(b), a.max(b))).or_insert_with(|| {
                let (lo, hi) = (a.min(b) as usize, a.max(b) as usize);
                let t = (value[lo] / (value[lo] - value[hi])).clamp(0.02, 0.98);
                let p = vertices[lo] + (vertices[hi] - vertices[lo]) * t;
                vertices.push(p);
                vertices.len() as u32 - 1
            })
        };
        match kept.as_slice() {
            [_, _, _] => faces.push(*corners),
            [k] => {
                let [a, b, c] = [0, 1, 2].map(|i| corners[(k + i) % 3]);
                faces.push([a, on(a, b), on(a, c)]);
            }
            [i, j] => {
                let lost = 3 - i - j;
                let [a, b, c] = [0, 1, 2].map(|i| corners[(lost + i) % 3]);
                let (ab, ac) = (on(a, b), on(a, c));
                faces.push([ab, b, c]);
                faces.push([ab, c, ac]);
            }
            _ => {}
        }
    }
    largest_piece(&mesh_of_used(vertices, faces))
}

fn largest_piece(m: &Mesh) -> Mesh {
    let mut root: Vec<u32> = (0..m.vertices().len() as u32).collect();
    fn find(root: &mut [u32], mut v: u32) -> u32 {
        while root[v as usize] != v {
            root[v as usize] = root[root[v as usize] as usize];
            v = root[v as usize];
        }
        v
    }
    for [a, b, c] in m.faces() {
        for (p, q) in [(a, b), (b, c)] {
            let (p, q) = (find(&mut root, *p), find(&mut root, *q));
            root[p.max(q) as usize] = p.min(q);
        }
    }
    let mut count = vec![0usize; root.len()];
    for f in m.faces() {
        count[find(&mut root, f[0]) as usize] += 1;
    }
    let most = (0..count.len()).rev().max_by_key(|&v| count[v]).unwrap_or(0) as u32;
    m.part(|f| find(&mut root, m.faces()[f as usize][0]) == most).0
}

fn mesh_of_used(vertices: Vec<Point>, faces: Vec<[VertexId; 3]>) -> Mesh {
    mesh(vertices, faces).part(|_| true).0
}

pub(crate) fn mesh(vertices: Vec<Point>, faces: Vec<[VertexId; 3]>) -> Mesh {
    Mesh::new(vertices, faces).expect("contours are finite and indexed in range")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::Topology;

    fn grid(h: f64) -> Grid {
        Grid { low: Point::new(-5.0, -5.0, -5.0), high: Point::new(5.0, 5.0, 5.0), cell_mm: h }
    }

    #[test]
    fn a_sphere_is_contoured_watertight_and_facing_outward() {
        let mesh = zero_set(&grid(0.4), &|p: &Point| p.coords.norm() - 4.0, &|_: &Point| -1.0);
        assert!(Topology::new(&mesh).edges().iter().all(|e| e.faces == 2));
        let volume = 4.0 / 3.0 * std::f64::consts::PI * 64.0;
        assert!((mesh.signed_volume_mm3() / volume - 1.0).abs() < 0.01);
    }

    #[test]
    fn a_cut_leaves_one_clean_border() {
        let mesh = zero_set(&grid(0.4), &|p: &Point| p.coords.norm() - 4.0, &|_: &Point| -1.0);
        let cap = cut_off(&mesh, &|p: &Point| 1.0 - p.z);
        let topology = Topology::new(&cap);
        assert!(topology.edges().iter().all(|e| e.faces <= 2));
        for e in topology.edges().iter().filter(|e| e.faces == 1) {
            assert!((cap.vertex(e.ends[0]).z - 1.0).abs() < 0.05);
        }
    }
}
