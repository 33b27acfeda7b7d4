//! Whether something stands above a level over a place, told by the triangles themselves.

use super::grid::Grid;
use super::rims::Turned;
use super::shell::Shell;

/// A place is taken to be under a triangle up to this far outside it, mm, so that no gap opens between neighbours.
const TOUCH_MM: f64 = 1e-9;

/// A piece of a straight line in the plan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Piece {
    pub from: [f64; 2],
    pub to: [f64; 2],
}

impl Piece {
    pub fn at(&self, t: f64) -> [f64; 2] {
        [0, 1].map(|k| self.from[k] + t * (self.to[k] - self.from[k]))
    }

    pub fn length(&self) -> f64 {
        crate::space::hypot(self.to[0] - self.from[0], self.to[1] - self.from[1])
    }

    /// The place along it, 0 to 1, nearest to `q` within `[lo, hi]`.
    pub fn nearest(&self, q: [f64; 2], lo: f64, hi: f64) -> f64 {
        let d = [self.to[0] - self.from[0], self.to[1] - self.from[1]];
        let square = d[0] * d[0] + d[1] * d[1];
        if square <= 0.0 {
            return lo;
        }
        (((q[0] - self.from[0]) * d[0] + (q[1] - self.from[1]) * d[1]) / square).clamp(lo, hi)
    }
}

/// Weights of the corners of a triangle for a place, times twice its area, positive inside.
fn weights(p: [[f64; 3]; 3], facing: f64, q: [f64; 2]) -> [f64; 3] {
    let e: [[f64; 2]; 3] = p.map(|c| [c[0] - q[0], c[1] - q[1]]);
    let cross = |a: [f64; 2], b: [f64; 2]| facing * (a[0] * b[1] - a[1] * b[0]);
    [cross(e[1], e[2]), cross(e[2], e[0]), cross(e[0], e[1])]
}

/// How far below zero a weight may lie for a place that still touches the triangle.
fn touch(p: [[f64; 3]; 3]) -> f64 {
    let side = |a: [f64; 3], b: [f64; 3]| (a[0] - b[0]).abs() + (a[1] - b[1]).abs();
    TOUCH_MM * side(p[0], p[1]).max(side(p[1], p[2])).max(side(p[2], p[0]))
}

/// A shell in one direction with its grid: what both the flags and the depths ask.
#[derive(Debug)]
pub(super) struct Plan<'s> {
    pub shell: &'s Shell,
    pub turned: Turned,
    pub grid: Grid,
}

impl Plan<'_> {
    pub fn corners(&self, f: u32) -> [[f64; 3]; 3] {
        self.shell.faces[f as usize].map(|v| self.turned.at[v as usize])
    }

    /// A triangle, other than those left out, that stands above `level` over the place.
    pub fn covering(&self, q: [f64; 2], level: f64, left_out: impl Fn(u32) -> bool) -> Option<u32> {
        self.grid
            .faces
            .of(self.grid.cell_of(q))
            .iter()
            .copied()
            .find(|&f| self.turned.span[f as usize][1] > level && self.covers(f, q, level) && !left_out(f))
    }

    fn covers(&self, f: u32, q: [f64; 2], level: f64) -> bool {
        let p = self.corners(f);
        let w = weights(p, f64::from(self.turned.facing[f as usize]), q);
        let slack = -touch(p);
        w.iter().all(|w| *w >= slack) && (0..3).map(|k| w[k] * (p[k][2] - level)).sum::<f64>() > 0.0
    }

    /// The part of a piece that lies under what triangle `f` has above `level`.
    pub fn covered_part(&self, f: u32, piece: &Piece, level: f64) -> Option<(f64, f64)> {
        let p = self.corners(f);
        let facing = f64::from(self.turned.facing[f as usize]);
        let (a, b) = (weights(p, facing, piece.from), weights(p, facing, piece.to));
        let slack = touch(p);
        let above = |w: [f64; 3]| (0..3).map(|k| w[k] * (p[k][2] - level)).sum::<f64>();
        let conditions = [
            (a[0] + slack, b[0] + slack),
            (a[1] + slack, b[1] + slack),
            (a[2] + slack, b[2] + slack),
            (above(a), above(b)),
        ];
        let (mut lo, mut hi) = (0.0f64, 1.0f64);
        for (at_from, at_to) in conditions {
            match (at_from >= 0.0, at_to >= 0.0) {
                (true, true) => {}
                (false, false) => return None,
                (true, false) => hi = hi.min(at_from / (at_from - at_to)),
                (false, true) => lo = lo.max(at_from / (at_from - at_to)),
            }
        }
        (lo <= hi).then_some((lo, hi))
    }

    /// Greatest height over a place; `None` where nothing stands there.
    pub fn highest(&self, q: [f64; 2]) -> Option<f64> {
        self.grid
            .faces
            .of(self.grid.cell_of(q))
            .iter()
            .filter_map(|&f| {
                let p = self.corners(f);
                let w = weights(p, f64::from(self.turned.facing[f as usize]), q);
                let sum = w[0] + w[1] + w[2];
                let inside = w.iter().all(|w| *w >= -touch(p)) && sum > 0.0;
                inside.then(|| (w[0] * p[0][2] + w[1] * p[1][2] + w[2] * p[2][2]) / sum)
            })
            .reduce(f64::max)
    }
}
