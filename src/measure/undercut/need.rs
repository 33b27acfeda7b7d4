//! What has to be known to tell the depths of some vertices: how far from each a free place lies at most, and so which
//! cells can matter, and from which height on.

use super::cover::Plan;
use super::grid::greater;
use rayon::prelude::*;

/// Vertices that one thread goes through at a time.
const CHUNK: usize = 4096;

/// What may matter.
#[derive(Debug)]
pub(super) struct Need {
    /// Whether a cell may hold a nearest free place, or touches one that may.
    pub cells: Vec<bool>,
    /// Least and greatest height of the vertices, mm.
    pub heights: [f64; 2],
}

impl Need {
    /// Of the whole plan.
    pub fn all(plan: &Plan<'_>) -> Need {
        Need { cells: vec![true; plan.grid.frame.cells()], heights: [f64::NEG_INFINITY, f64::INFINITY] }
    }

    /// Of whatever is undercut.
    pub fn undercut(plan: &Plan<'_>) -> Need {
        let mut heights = [f64::INFINITY, f64::NEG_INFINITY];
        for (v, at) in plan.turned.at.iter().enumerate() {
            if plan.undercut(v) == Some(true) {
                heights = [heights[0].min(at[2]), heights[1].max(at[2])];
            }
        }
        Need { heights, ..Need::all(plan) }
    }

    /// Of some vertices that are undercut.
    pub fn of(plan: &Plan<'_>, vertices: &[u32]) -> Need {
        let tops = tops(plan);
        let frame = &plan.grid.frame;
        let spans: Vec<[[usize; 2]; 2]> = vertices
            .par_iter()
            .with_min_len(CHUNK)
            .map(|&v| {
                let [x, y, z] = plan.turned.at[v as usize];
                // What is seen of a triangle is told by the cells that it meets, one farther than where it is looked at.
                let far = free_within_mm(plan, &tops, v, z) + 1.6 * frame.width;
                [(x, 0), (y, 1)].map(|(c, k)| [frame.column(k, c - far), frame.column(k, c + far)])
            })
            .collect();
        let mut cells = vec![false; frame.cells()];
        for [[i0, i1], [j0, j1]] in spans {
            for j in j0..=j1 {
                cells[j * frame.size[0] + i0..=j * frame.size[0] + i1].fill(true);
            }
        }
        let mut heights = [f64::INFINITY, f64::NEG_INFINITY];
        for &v in vertices {
            let z = plan.turned.at[v as usize][2];
            heights = [heights[0].min(z), heights[1].max(z)];
        }
        Need { cells, heights }
    }
}

/// Bound of the height of what stands over each cell.
fn tops(plan: &Plan<'_>) -> Vec<f64> {
    let mut tops = vec![f64::NEG_INFINITY; plan.grid.frame.cells()];
    for (f, corners) in plan.shell.faces.iter().enumerate() {
        let high = corners.iter().fold(f64::NEG_INFINITY, |m, v| greater(plan.turned.at[*v as usize][2], m));
        let range = plan.grid.range(*corners);
        plan.grid
            .over_cells((plan.shell, &plan.turned), f, range, |cell| tops[cell] = greater(tops[cell], high));
    }
    tops
}

/// Distance in the plan within which a place is free at the height of a vertex: that of the nearest cell over which
/// nothing is higher, of the first ring of cells that holds one. The outermost cells are empty.
fn free_within_mm(plan: &Plan<'_>, tops: &[f64], v: u32, level: f64) -> f64 {
    let frame = &plan.grid.frame;
    let at = plan.turned.plan(v);
    let [i, j] = plan.grid.places[v as usize].map(i64::from);
    let size = frame.size.map(|n| n as i64);
    let mut least: Option<f64> = None;
    for ring in 0..=size[0].max(size[1]) {
        let mut look = |i: i64, j: i64| {
            let inside = i >= 0 && j >= 0 && i < size[0] && j < size[1];
            if inside && tops[(j * size[0] + i) as usize] <= level {
                let (lo, hi) =
                    (frame.corner(i as usize, j as usize), frame.corner(i as usize + 1, j as usize + 1));
                let gap = [0, 1].map(|k| greater(greater(lo[k] - at[k], at[k] - hi[k]), 0.0));
                let mm = crate::space::hypot(gap[0], gap[1]);
                least = Some(least.map_or(mm, |l| l.min(mm)));
            }
        };
        for k in -ring..=ring {
            look(i + k, j - ring);
            look(i + k, j + ring);
            if k.abs() < ring {
                look(i - ring, j + k);
                look(i + ring, j + k);
            }
        }
        if let Some(mm) = least {
            return mm;
        }
    }
    f64::INFINITY
}
