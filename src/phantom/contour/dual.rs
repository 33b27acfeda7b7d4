//! One vertex for each patch of surface in a cell of the grid, one square for each edge of the grid that is cut.
//!
//! No face of a cell may be cut in all four sides: such faces are filled beforehand. Then each face holds one stretch of
//! surface or none, each patch is one ring of cut edges, and the squares make a manifold.

use super::samples::{BLOCK, Samples};
use crate::mesh::VertexId;
use crate::space::{Point, Vector};
use rayon::prelude::*;

/// Corners of a cell: bit `a` of the number is the step along axis `a`.
fn corner(c: [usize; 3], k: usize) -> [usize; 3] {
    [c[0] + (k & 1), c[1] + (k >> 1 & 1), c[2] + (k >> 2 & 1)]
}

/// Edges of a cell by their ends: four along each axis.
const EDGES: [[usize; 2]; 12] =
    [[0, 1], [2, 3], [4, 5], [6, 7], [0, 2], [1, 3], [4, 6], [5, 7], [0, 4], [1, 5], [2, 6], [3, 7]];
/// Faces of a cell: corners around, and the edges between them.
const FACES: [([usize; 4], [usize; 4]); 6] = [
    ([0, 2, 6, 4], [4, 10, 6, 8]),
    ([1, 3, 7, 5], [5, 11, 7, 9]),
    ([0, 1, 5, 4], [0, 9, 2, 8]),
    ([2, 3, 7, 6], [1, 11, 3, 10]),
    ([0, 1, 3, 2], [0, 5, 1, 4]),
    ([4, 5, 7, 6], [2, 7, 3, 6]),
];

/// A patch: its cell within the block, the edges of the cell that it cuts, its middle.
struct Patch {
    cell: usize,
    edges: u16,
    middle: Point,
}

fn values(samples: &Samples, c: [usize; 3]) -> Option<[f64; 8]> {
    let mut v = [0.0; 8];
    for (k, slot) in v.iter_mut().enumerate() {
        *slot = samples.value(corner(c, k))?;
    }
    Some(v)
}

fn is_cut(v: &[f64; 8]) -> bool {
    v.iter().any(|f| *f < 0.0) && v.iter().any(|f| *f > 0.0)
}

fn cells(samples: &Samples, block: usize) -> impl Iterator<Item = (usize, [usize; 3])> {
    let b = place(samples, block);
    (0..BLOCK * BLOCK * BLOCK).map(move |i| {
        let c = [i % BLOCK, i / BLOCK % BLOCK, i / (BLOCK * BLOCK)];
        (i, std::array::from_fn(|a| b[a] * BLOCK + c[a]))
    })
}

fn place(samples: &Samples, block: usize) -> [usize; 3] {
    let [x, y, _] = samples.blocks;
    [block % x, block / x % y, block / (x * y)]
}

/// Fills corners until no face of a cell is cut in all four sides. Only ever adds to the inside, so it ends.
fn without_ambiguous_faces(samples: &mut Samples, blocks: &[usize]) {
    loop {
        let known: &Samples = samples;
        let mut fill: Vec<[usize; 3]> = blocks
            .par_iter()
            .map(|&b| cells(known, b).flat_map(|(_, c)| ambiguous(known, c)).collect::<Vec<_>>())
            .flatten()
            .collect();
        fill.sort_unstable();
        fill.dedup();
        if fill.is_empty() {
            return;
        }
        fill.into_iter().for_each(|c| samples.fill(c));
    }
}

/// For each face of a cell that is cut in all four sides its outer corner that is nearer to the surface.
fn ambiguous(samples: &Samples, c: [usize; 3]) -> Vec<[usize; 3]> {
    let Some(v) = values(samples, c).filter(is_cut) else { return Vec::new() };
    let mut out = Vec::new();
    for (around, _) in FACES {
        let f = around.map(|k| v[k]);
        let [a, b] = match f.map(|x| x > 0.0) {
            [true, false, true, false] => [0, 2],
            [false, true, false, true] => [1, 3],
            _ => continue,
        };
        out.push(corner(c, around[if f[b] < f[a] { b } else { a }]));
    }
    out
}

/// Patches of the cells of a block.
fn patches(samples: &Samples, block: usize) -> Vec<Patch> {
    let mut out = Vec::new();
    for (cell, c) in cells(samples, block) {
        let Some(v) = values(samples, c).filter(is_cut) else { continue };
        let cut = |e: usize| v[EDGES[e][0]] * v[EDGES[e][1]] < 0.0;
        let mut left: u16 = (0..12).filter(|e| cut(*e)).fold(0, |m, e| m | 1 << e);
        while left != 0 {
            let mut edges = 1u16 << left.trailing_zeros();
            loop {
                let mut grown = edges;
                for (_, around) in FACES {
                    let here: u16 = around.iter().filter(|e| cut(**e)).fold(0, |m, e| m | 1 << e);
                    if here & grown != 0 {
                        grown |= here;
                    }
                }
                if grown == edges {
                    break;
                }
                edges = grown;
            }
            left &= !edges;
            let sum: Vector = (0..12)
                .filter(|e| edges >> e & 1 == 1)
                .map(|e| {
                    let [a, b] = EDGES[e];
                    let (p, q) = (samples.at(corner(c, a)), samples.at(corner(c, b)));
                    (p + (q - p) * (v[a] / (v[a] - v[b]))).coords
                })
                .sum();
            out.push(Patch { cell, edges, middle: Point::from(sum / f64::from(edges.count_ones())) });
        }
    }
    out
}

/// Vertices and triangles of the surface between the inside and the outside of sampled values.
pub(super) fn surface(samples: &mut Samples) -> (Vec<Point>, Vec<[VertexId; 3]>) {
    let blocks: Vec<usize> =
        (0..samples.blocks.iter().product()).filter(|b| !samples.is_far(place(samples, *b))).collect();
    without_ambiguous_faces(samples, &blocks);
    let samples: &Samples = samples;
    let found: Vec<Vec<Patch>> = blocks.par_iter().map(|b| patches(samples, *b)).collect();
    let mut row_of = vec![usize::MAX; samples.blocks.iter().product()];
    let mut first = Vec::with_capacity(found.len());
    let mut count = 0usize;
    for (row, list) in found.iter().enumerate() {
        row_of[blocks[row]] = row;
        first.push(count);
        count += list.len();
    }
    let vertices: Vec<Point> = found.iter().flatten().map(|p| p.middle).collect();
    // The vertex of the patch that cuts an edge of a cell.
    let vertex = |c: [usize; 3], edge: usize| -> Option<VertexId> {
        let b = c.map(|k| k / BLOCK);
        let block = b[0] + samples.blocks[0] * (b[1] + samples.blocks[1] * b[2]);
        let row = *row_of.get(block)?;
        let list = found.get(row)?;
        let cell = c[0] % BLOCK + BLOCK * (c[1] % BLOCK + BLOCK * (c[2] % BLOCK));
        let start = list.partition_point(|p| p.cell < cell);
        let at =
            list[start..].iter().take_while(|p| p.cell == cell).position(|p| p.edges >> edge & 1 == 1)?;
        Some((first[row] + start + at) as VertexId)
    };
    let faces = blocks
        .par_iter()
        .map(|&b| {
            squares(samples, b, &vertex).into_iter().flat_map(|q| halves(q, &vertices)).collect::<Vec<_>>()
        })
        .flatten()
        .collect();
    (vertices, faces)
}

/// Squares across the edges that start in the corners of a block.
fn squares(
    samples: &Samples,
    block: usize,
    vertex: &impl Fn([usize; 3], usize) -> Option<VertexId>,
) -> Vec<[VertexId; 4]> {
    let mut out = Vec::new();
    for (_, c) in cells(samples, block) {
        let Some(near) = samples.value(c) else { continue };
        for axis in 0..3 {
            let Some(far) = samples.value(corner(c, 1 << axis)) else { continue };
            if near * far > 0.0 {
                continue;
            }
            let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
            // Cells around the edge, turning by the right hand about the axis.
            let ring = [[1, 1], [0, 1], [0, 0], [1, 0]].map(|[du, dv]| {
                let mut cell = c;
                cell[u] = cell[u].checked_sub(du)?;
                cell[v] = cell[v].checked_sub(dv)?;
                let start = du << u | dv << v;
                let edge = EDGES.iter().position(|e| *e == [start, start | 1 << axis])?;
                vertex(cell, edge)
            });
            if let [Some(p), Some(q), Some(r), Some(s)] = ring {
                out.push(if near < 0.0 { [p, q, r, s] } else { [s, r, q, p] });
            }
        }
    }
    out
}

/// A square as two triangles along its shorter diagonal.
fn halves([p, q, r, s]: [VertexId; 4], vertices: &[Point]) -> [[VertexId; 3]; 2] {
    let length = |a: VertexId, b: VertexId| (vertices[a as usize] - vertices[b as usize]).norm_squared();
    if length(p, r) <= length(q, s) { [[p, q, r], [p, r, s]] } else { [[q, r, s], [q, s, p]] }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::{Mesh, Topology};
    use crate::phantom::contour::Grid;
    use crate::phantom::field::Variety;

    #[test]
    fn values_by_chance_make_a_closed_manifold() {
        let grid = Grid { low: Point::new(0.0, 0.0, 0.0), high: Point::new(16.0, 16.0, 16.0), cell_mm: 1.0 };
        let noise = |p: &Point| {
            let c = [p.x, p.y, p.z];
            if c.iter().any(|x| *x < 0.5 || *x > 14.5) {
                return 0.5;
            }
            // Corners stand on whole millimetres; elsewhere nothing is far from the surface.
            if c.iter().any(|x| (x - x.round()).abs() > 1e-9) {
                return 0.0;
            }
            Variety::new(c.iter().fold(7, |n, x| n * 31 + x.round() as u64)).even()
        };
        let (vertices, faces) = surface(&mut Samples::new(&grid, &noise, &|_: &Point| -1.0));
        let mesh = Mesh::new(vertices, faces).unwrap();
        let topology = Topology::new(&mesh);
        assert!(mesh.faces().len() > 3000);
        assert!(topology.edges().iter().all(|e| e.faces == 2));
        assert!(mesh.signed_volume_mm3() > 0.0);
        // One fan around each vertex: as many triangles as neighbours.
        for v in 0..mesh.vertices().len() as VertexId {
            assert_eq!(topology.faces_of_vertex(v).len(), topology.neighbours(&mesh, v).len());
        }
    }
}
