//! Whether each vertex is undercut. What stands above a place that moves along an edge of the surface changes only where
//! a contour edge passes over it, or another triangle passes through: one vertex tells for all that such edges join, and
//! only such a one is held against triangles.

use super::LEVEL_MM;
use super::cover::over;
use super::grid::{Block, Blocks, Grid, greater, lesser};
use super::rims::Turned;
use super::shell::{Edge, Shell};
use rayon::prelude::*;

/// A contour edge counts as passing over what comes as near to it in the plan as this, mm: more than a place must lie
/// inside a triangle to be firmly under it, less than what cells are widened by for contour edges.
const NEAR_MM: f64 = 5e-7;
/// A contour edge is below what is higher than all of it by this, mm.
const BELOW_MM: f64 = 2e-5;
/// Vertices that are asked about are entered into every cell that they come as near as this, mm.
const ASKED_MARGIN: f64 = 5e-7;
/// Triangles that one thread holds against vertices at a time.
const CHUNK: usize = 16_384;

/// Whether a vertex is undercut.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Standing {
    /// No triangle meets it.
    #[default]
    Loose,
    /// Nothing stands above it.
    Free,
    /// It is under the border of something, within rounding.
    Under,
    /// It is well inside what stands above it.
    Firm,
}

/// Of each vertex.
pub(super) fn of_all(shell: &Shell, turned: &Turned, grid: &Grid) -> Vec<Standing> {
    let n = shell.points.len();
    // One layer alone is the vertex's own, unless all its triangles are seen edge-on.
    let free: Vec<bool> = (0..n).map(|v| grid.single[grid.cell(v)] && turned.anchored(v)).collect();
    let mut patches = Patches::new(shell, turned, grid, &free);
    let asked: Vec<u32> = (0..n as u32).filter(|&v| patches.is_first(v) && shell.used[v as usize]).collect();
    let mut standing = vec![Standing::Free; n + 1];
    for (&v, told) in asked.iter().zip(told(shell, turned, grid, &asked)) {
        // No border of what stands above comes near the edges that join a patch.
        let firm = told == Standing::Under && patches.joined[v as usize];
        standing[v as usize] = if firm { Standing::Firm } else { told };
    }
    for v in 0..n {
        standing[v] =
            if shell.used[v] { standing[patches.first(v as u32) as usize] } else { Standing::Loose };
    }
    standing.truncate(n);
    standing
}

/// Which vertices stand alike.
struct Patches {
    /// For each vertex, a lesser one of its patch, or itself; what is known to be free belongs to the patch of the
    /// number behind the last vertex.
    lesser: Vec<u32>,
    /// Whether the patch of a vertex has others, asked of its first.
    joined: Vec<bool>,
}

impl Patches {
    fn new(shell: &Shell, turned: &Turned, grid: &Grid, free: &[bool]) -> Patches {
        let n = free.len() as u32;
        let lesser = (0..=n).map(|v| if free.get(v as usize) == Some(&true) { n } else { v }).collect();
        let mut patches = Patches { lesser, joined: vec![false; free.len() + 1] };
        let alone = shell.alone();
        for &Edge { ends: [a, b], .. } in &shell.edges {
            if free[a as usize] & free[b as usize] | alone[a as usize] | alone[b as usize] {
                continue;
            }
            let (p, q) = (patches.first(a), patches.first(b));
            if p != q && clear(turned, grid, [a, b]) {
                patches.join(p, q, n);
            }
        }
        patches
    }

    fn is_first(&self, v: u32) -> bool {
        self.lesser[v as usize] == v
    }

    fn first(&mut self, mut v: u32) -> u32 {
        loop {
            let up = self.lesser[v as usize];
            if up == v {
                return v;
            }
            let over = self.lesser[up as usize];
            self.lesser[v as usize] = over;
            v = over;
        }
    }

    /// Joins two patches. What is known to be free keeps its number, else the lesser stands for both.
    fn join(&mut self, a: u32, b: u32, free: u32) {
        let (keep, give) = if a == free || (b != free && a < b) { (a, b) } else { (b, a) };
        self.lesser[give as usize] = keep;
        self.joined[keep as usize] = true;
    }
}

/// Whether no contour edge passes over the edge between two vertices, or comes near it.
#[inline]
fn clear(turned: &Turned, grid: &Grid, ends: [u32; 2]) -> bool {
    let [lo, hi] = grid.range([ends[0], ends[1], ends[1]]);
    if lo == hi {
        let blocks = grid.lines.of(grid.number(lo));
        return blocks.is_empty() || apart(turned, grid, blocks, ends);
    }
    for j in lo[1]..=hi[1] {
        for i in lo[0]..=hi[0] {
            let blocks = grid.lines.of(grid.number([i, j]));
            if !blocks.is_empty() && !apart(turned, grid, blocks, ends) {
                return false;
            }
        }
    }
    true
}

/// Whether none of the contour edges passes over an edge.
fn apart(turned: &Turned, grid: &Grid, blocks: &[Block], [a, b]: [u32; 2]) -> bool {
    let [p, q] = [turned.at[a as usize], turned.at[b as usize]];
    let [lo, _] = grid.rough([lesser(p[0], q[0]), lesser(p[1], q[1])]);
    let [_, hi] = grid.rough([greater(p[0], q[0]), greater(p[1], q[1])]);
    let low = lesser(p[2], q[2]) - BELOW_MM;
    let floor = grid.rough([low, low])[0][0];
    for block in blocks {
        let mut near = block.near(lo, hi, floor);
        while near != 0 {
            let r = block.face[near.trailing_zeros() as usize];
            near &= near - 1;
            let [a, b] = turned.ends(r);
            if !beside(p, q, a, b) && !beside(a, b, p, q) {
                return false;
            }
        }
    }
    true
}

/// Whether `a` and `b` lie on one side of the line through `p` and `q` in the plan, and not near it.
#[inline]
fn beside(p: [f64; 3], q: [f64; 3], a: [f64; 3], b: [f64; 3]) -> bool {
    let along = [q[0] - p[0], q[1] - p[1]];
    let near = NEAR_MM * (along[0].abs() + along[1].abs());
    let side = |c: [f64; 3]| along[0] * (c[1] - p[1]) - along[1] * (c[0] - p[0]);
    let (s, t) = (side(a), side(b));
    (s > near) & (t > near) | (s < -near) & (t < -near)
}

/// What the triangles tell of some vertices, their own triangles left out.
fn told(shell: &Shell, turned: &Turned, grid: &Grid, asked: &[u32]) -> Vec<Standing> {
    // Heights upside down: a box of four vertices then tells which of them lie below a triangle.
    let below = |v: &u32| {
        let [x, y, z] = turned.at[*v as usize];
        [x, y, -z]
    };
    let places: Vec<[f64; 3]> = asked.iter().map(below).collect();
    let mut entered: Vec<(u32, u32)> = Vec::with_capacity(asked.len());
    let mut holds = vec![false; grid.frame.cells()];
    for (number, &[x, y, _]) in places.iter().enumerate() {
        grid.frame.around([x, y], ASKED_MARGIN, |cell| {
            holds[cell] = true;
            entered.push((cell as u32, number as u32));
        });
    }
    let held = Held {
        shell,
        turned,
        grid,
        asked,
        blocks: grid.blocks(&entered, |k| [&places[k as usize]; 3]),
        about: grid.about(&holds, 0),
    };
    let faces = shell.faces.len();
    let found: Vec<(u32, bool)> = (0..faces.div_ceil(CHUNK))
        .into_par_iter()
        .flat_map_iter(|chunk| {
            let mut found = Vec::new();
            (chunk * CHUNK..faces.min((chunk + 1) * CHUNK)).for_each(|f| held.against(f, &mut found));
            found
        })
        .collect();
    let mut told = vec![Standing::Free; asked.len()];
    for (number, firm) in found {
        let slot = &mut told[number as usize];
        *slot = (*slot).max(if firm { Standing::Firm } else { Standing::Under });
    }
    told
}

/// Vertices held against triangles, by cell.
struct Held<'a> {
    shell: &'a Shell,
    turned: &'a Turned,
    grid: &'a Grid,
    asked: &'a [u32],
    blocks: Blocks,
    /// Whether a triangle of two by two cells that begins in a cell may meet one that holds a vertex.
    about: Vec<bool>,
}

impl Held<'_> {
    /// Adds the number of each vertex that is under a triangle, and whether it is so firmly.
    fn against(&self, f: usize, found: &mut Vec<(u32, bool)>) {
        let [lo, hi] = self.grid.range(self.shell.faces[f]);
        let small = hi[0] - lo[0] <= 1 && hi[1] - lo[1] <= 1;
        if self.turned.facing[f] == 0 || (small && !self.about[self.grid.number(lo)]) {
            return;
        }
        let own = self.shell.faces[f];
        let at = |k: usize| self.turned.at[own[k] as usize];
        let p = [at(0), at(1), at(2)];
        let least = |k: usize| lesser(lesser(p[0][k], p[1][k]), p[2][k]);
        let most = |k: usize| greater(greater(p[0][k], p[1][k]), p[2][k]);
        let [from, _] = self.grid.rough([least(0), least(1)]);
        let [_, to] = self.grid.rough([most(0), most(1)]);
        let floor = self.grid.rough([-most(2); 2])[0][0];
        let hold = |cell: usize| {
            for block in self.blocks.of(cell) {
                let mut near = block.near(from, to, floor);
                while near != 0 {
                    let number = block.face[near.trailing_zeros() as usize];
                    near &= near - 1;
                    let v = self.asked[number as usize];
                    let [x, y, z] = self.turned.at[v as usize];
                    if v != own[0]
                        && v != own[1]
                        && v != own[2]
                        && let Some(firm) = over(&p, self.turned.facing[f], [x, y], z + LEVEL_MM)
                    {
                        found.push((number, firm));
                    }
                }
            }
        };
        self.grid.over_cells((self.shell, self.turned), f, [lo, hi], hold);
    }
}
