//! Which triangles another one passes through, touches or nearly touches: there, what is seen of a triangle changes
//! without a contour edge.

use super::filled;
use super::grid::{greater, lesser};
use rayon::prelude::*;

/// Triangles count as touching when they come as near as this, mm: far above rounding, far below what is measured.
const NEAR_MM: f64 = 1e-5;
/// Cells of the grid for each triangle, and of each triangle, on average.
const CELLS_PER_FACE: f64 = 8.0;
const ENTRIES_PER_FACE: usize = 16;
const CHUNK: usize = 2048;

/// For each triangle, whether another one crosses or touches it elsewhere than in the corners that they share.
pub(super) fn crossed(points: &[[f64; 3]], faces: &[[u32; 3]]) -> Vec<bool> {
    let boxes = filled(faces.len(), |f| {
        let [a, b, c] = faces[f];
        bounds([points[a as usize], points[b as usize], points[c as usize]])
    });
    let grid = Grid::new(&boxes);
    let flat = flat_corners(points, faces);
    let found: Vec<u32> = (0..grid.start.len() - 1)
        .into_par_iter()
        .with_min_len(CHUNK)
        .fold(Vec::new, |mut into, cell| {
            let list = grid.of(cell);
            for (i, &f) in list.iter().enumerate() {
                let a = &boxes[f as usize];
                for &g in &list[..i] {
                    let b = &boxes[g as usize];
                    let apart = (a[0][1] < b[0][0])
                        | (b[0][1] < a[0][0])
                        | (a[1][1] < b[1][0])
                        | (b[1][1] < a[1][0])
                        | (a[2][1] < b[2][0])
                        | (b[2][1] < a[2][0]);
                    // A pair that shares several cells is looked at in the one with their boxes' common least corner.
                    if !apart && grid.cell_of_common(a, b) == cell && meet(points, &flat, faces, f, g) {
                        into.extend([f, g]);
                    }
                }
            }
            into
        })
        .reduce(Vec::new, |mut a, b| {
            a.extend(b);
            a
        });
    let mut crossed = vec![false; faces.len()];
    found.into_iter().for_each(|f| crossed[f as usize] = true);
    crossed
}

/// For each vertex, whether its triangles, seen along their mean normal, all face the same way and lie round it once:
/// then no two of them cross.
pub(super) fn flat_corners(points: &[[f64; 3]], faces: &[[u32; 3]]) -> Vec<bool> {
    let mut normal = vec![[0.0f64; 3]; points.len()];
    for f in faces {
        let [a, b, c] = f.map(|v| points[v as usize]);
        let n = cross(minus(b, a), minus(c, a));
        let length = dot(n, n).sqrt();
        if length > 0.0 {
            for &v in f {
                let sum = &mut normal[v as usize];
                *sum = [sum[0] + n[0] / length, sum[1] + n[1] / length, sum[2] + n[2] / length];
            }
        }
    }
    // How many triangles lie in one direction; beyond one, or where one faces the other way, nothing is known.
    let mut round = vec![0u8; points.len()];
    for f in faces {
        let [a, b, c] = f.map(|v| points[v as usize]);
        let n = cross(minus(b, a), minus(c, a));
        for k in 0..3 {
            let v = f[k] as usize;
            let up = normal[v];
            let (p, q) = (
                minus(points[f[(k + 1) % 3] as usize], points[v]),
                minus(points[f[(k + 2) % 3] as usize], points[v]),
            );
            // Axes across the normal; any will do, since a fan that lies round its vertex once does so everywhere.
            let x = if up[0].abs() < up[1].abs() { [0.0, -up[2], up[1]] } else { [up[2], 0.0, -up[0]] };
            let y = cross(up, x);
            let steep = dot(n, up) <= 0.2 * (dot(n, n) * dot(up, up)).sqrt();
            let (py, qy) = (dot(p, y), dot(q, y));
            let over = py <= 0.0 && qy > 0.0 && {
                let (px, qx) = (dot(p, x), dot(q, x));
                px * qy - qx * py > 0.0
            };
            round[v] = if steep { 9 } else { round[v].saturating_add(u8::from(over)) };
        }
    }
    round.into_iter().map(|n| n == 1).collect()
}

fn bounds(p: [[f64; 3]; 3]) -> [[f64; 2]; 3] {
    [0, 1, 2].map(|k| {
        let (a, b, c) = (p[0][k], p[1][k], p[2][k]);
        [a.min(b).min(c) - NEAR_MM, a.max(b).max(c) + NEAR_MM]
    })
}

/// A grid over the boxes, each entered in all cells that it meets.
struct Grid {
    least: [f64; 3],
    width: f64,
    size: [usize; 3],
    start: Vec<u32>,
    items: Vec<u32>,
}

impl Grid {
    fn new(boxes: &[[[f64; 2]; 3]]) -> Grid {
        let n = boxes.len().max(1) as f64;
        let whole = [0, 1, 2].map(|k| {
            let lo = boxes.iter().map(|b| b[k][0]).fold(f64::INFINITY, f64::min);
            let hi = boxes.iter().map(|b| b[k][1]).fold(f64::NEG_INFINITY, f64::max);
            if lo <= hi { [lo, hi] } else { [0.0, 1.0] }
        });
        let mean = boxes.iter().flatten().map(|b| b[1] - b[0]).sum::<f64>() / (3.0 * n);
        let extent = whole.map(|[lo, hi]| hi - lo);
        let width = (2.0 * mean).max(extent[0].max(extent[1]).max(extent[2]) / 1000.0).max(1e-9);
        let least = [whole[0][0], whole[1][0], whole[2][0]];
        let mut grid = Grid { least, width, size: [1; 3], start: Vec::new(), items: Vec::new() };
        // Few cells, and few of them for each triangle.
        loop {
            grid.size = extent.map(|e| (e / grid.width) as usize + 1);
            let cells: f64 = grid.size.iter().map(|&n| n as f64).product();
            let entries: usize = boxes
                .iter()
                .map(|b| {
                    (0..3).map(|k| grid.column(k, b[k][1]) + 1 - grid.column(k, b[k][0])).product::<usize>()
                })
                .sum();
            if cells <= CELLS_PER_FACE * n + 4096.0 && entries <= ENTRIES_PER_FACE * boxes.len() + 4096 {
                break;
            }
            grid.width *= 1.5;
        }
        let mut start = vec![0u32; grid.size.iter().product::<usize>() + 1];
        for b in boxes {
            grid.each(b, |cell| start[cell] += 1);
        }
        let mut sum = 0;
        for slot in &mut start {
            sum += std::mem::replace(slot, sum);
        }
        let mut items = vec![0u32; sum as usize];
        let mut fill = start.clone();
        for (f, b) in boxes.iter().enumerate() {
            grid.each(b, |cell| {
                items[fill[cell] as usize] = f as u32;
                fill[cell] += 1;
            });
        }
        Grid { start, items, ..grid }
    }

    #[inline]
    fn column(&self, k: usize, c: f64) -> usize {
        (((c - self.least[k]) / self.width) as usize).min(self.size[k] - 1)
    }

    fn number(&self, i: usize, j: usize, k: usize) -> usize {
        (k * self.size[1] + j) * self.size[0] + i
    }

    #[inline]
    fn each(&self, b: &[[f64; 2]; 3], mut enter: impl FnMut(usize)) {
        for k in self.column(2, b[2][0])..=self.column(2, b[2][1]) {
            for j in self.column(1, b[1][0])..=self.column(1, b[1][1]) {
                for i in self.column(0, b[0][0])..=self.column(0, b[0][1]) {
                    enter(self.number(i, j, k));
                }
            }
        }
    }

    /// Cell of the least corner that two boxes have in common.
    #[inline]
    fn cell_of_common(&self, a: &[[f64; 2]; 3], b: &[[f64; 2]; 3]) -> usize {
        let at = |k: usize| self.column(k, greater(a[k][0], b[k][0]));
        self.number(at(0), at(1), at(2))
    }

    fn of(&self, cell: usize) -> &[u32] {
        &self.items[self.start[cell] as usize..self.start[cell + 1] as usize]
    }
}

/// Whether two triangles meet elsewhere than in corners that they share. Where two corners are shared they meet only
/// folded flat upon each other.
fn meet(points: &[[f64; 3]], flat: &[bool], faces: &[[u32; 3]], f: u32, g: u32) -> bool {
    let (f, g) = (faces[f as usize], faces[g as usize]);
    let (mut shared, mut one) = (0, 0);
    for v in f {
        if v == g[0] || v == g[1] || v == g[2] {
            shared += 1;
            one = v;
        }
    }
    // The first of two shared corners would have done as well.
    if (shared == 1 || shared == 2) && flat[one as usize] {
        return false;
    }
    let at = |t: [u32; 3]| [points[t[0] as usize], points[t[1] as usize], points[t[2] as usize]];
    let (a, b) = (at(f), at(g));
    match shared {
        0 => !one_side(&a, &b, NEAR_MM) && !one_side(&b, &a, NEAR_MM) && overlap(&a, &b),
        1 => pierces(points, f, one, &b) || pierces(points, g, one, &a),
        2 => {
            let apex = |t: [u32; 3], other: [u32; 3]| t.into_iter().find(|v| !other.contains(v));
            let mut common = f.into_iter().filter(|v| g.contains(v));
            match (common.next(), common.next(), apex(f, g), apex(g, f)) {
                (Some(u), Some(v), Some(p), Some(q)) => {
                    let [u, v, p, q] = [u, v, p, q].map(|i| points[i as usize]);
                    folded(u, v, p, q)
                }
                _ => true,
            }
        }
        _ => true,
    }
}

fn minus(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}

fn cross(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

/// Whether `b` lies wholly on one side of the plane of `a`, farther from it than `near`.
fn one_side(a: &[[f64; 3]; 3], b: &[[f64; 3]; 3], near: f64) -> bool {
    let n = cross(minus(a[1], a[0]), minus(a[2], a[0]));
    let least = near * dot(n, n).sqrt();
    let [p, q, r] = [dot(n, minus(b[0], a[0])), dot(n, minus(b[1], a[0])), dot(n, minus(b[2], a[0]))];
    (p > least && q > least && r > least) || (p < -least && q < -least && r < -least)
}

/// Whether no separating direction is found: across the sides in the planes of the triangles, then among the products of
/// their sides.
fn overlap(a: &[[f64; 3]; 3], b: &[[f64; 3]; 3]) -> bool {
    let sides = |t: &[[f64; 3]; 3]| [minus(t[1], t[0]), minus(t[2], t[1]), minus(t[0], t[2])];
    let separated = |axis: [f64; 3]| {
        let length = dot(axis, axis).sqrt();
        let near = NEAR_MM * length;
        let range = |t: &[[f64; 3]; 3]| {
            let (p, q, r) = (dot(axis, t[0]), dot(axis, t[1]), dot(axis, t[2]));
            (lesser(lesser(p, q), r), greater(greater(p, q), r))
        };
        let (p, q) = (range(a), range(b));
        length >= 1e-12 && (p.1 + near < q.0 || q.1 + near < p.0)
    };
    let (sa, sb) = (sides(a), sides(b));
    for s in [&sa, &sb] {
        let normal = cross(s[0], s[1]);
        if s.iter().any(|side| separated(cross(normal, *side))) {
            return false;
        }
    }
    !sa.iter().any(|p| sb.iter().any(|q| separated(cross(*p, *q))))
}

/// Whether the side of triangle `f` that does not meet the shared corner passes through triangle `t`, or comes near it.
fn pierces(points: &[[f64; 3]], f: [u32; 3], shared: u32, t: &[[f64; 3]; 3]) -> bool {
    let mut ends = f.into_iter().filter(|v| *v != shared).map(|v| points[v as usize]);
    let (Some(p), Some(q)) = (ends.next(), ends.next()) else { return true };
    let n = cross(minus(t[1], t[0]), minus(t[2], t[0]));
    let length = dot(n, n).sqrt();
    let (dp, dq) = (dot(n, minus(p, t[0])), dot(n, minus(q, t[0])));
    let near = NEAR_MM * length;
    if (dp > near && dq > near) || (dp < -near && dq < -near) {
        return false;
    }
    // A segment is a triangle without width.
    overlap(&[p, q, q], t)
}

/// Whether two triangles with a common side lie upon each other.
fn folded(u: [f64; 3], v: [f64; 3], p: [f64; 3], q: [f64; 3]) -> bool {
    let side = minus(v, u);
    let (a, b) = (cross(side, minus(p, u)), cross(side, minus(q, u)));
    let (c, s) = (dot(a, b), cross(a, b));
    c > 0.0 && dot(s, s).sqrt() <= 1e-6 * c
}
