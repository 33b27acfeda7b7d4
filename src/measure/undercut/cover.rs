//! Whether something stands above a level over a place, told by the triangles themselves.

use super::grid::{Block, Blocks, Grid, greater, lesser};
use super::rims::Turned;
use super::shell::Shell;
use super::standing::{self, Standing};
use crate::mesh::made_once;
use crate::space::Direction;
use std::sync::{Arc, OnceLock};

/// A place is taken to be under a triangle up to this far outside it, mm, so that no gap opens between neighbours.
const TOUCH_MM: f64 = 1e-9;
/// A place this far inside a triangle is under it beyond all rounding, mm.
const FIRM_MM: f64 = 1e-7;

/// A piece of a straight line in the plan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Piece {
    pub from: [f64; 2],
    pub to: [f64; 2],
}

impl Piece {
    pub fn at(&self, t: f64) -> [f64; 2] {
        [self.from[0] + t * (self.to[0] - self.from[0]), self.from[1] + t * (self.to[1] - self.from[1])]
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
#[inline]
fn weights(p: &[[f64; 3]; 3], facing: i8, q: [f64; 2]) -> [f64; 3] {
    let [ax, ay] = [p[0][0] - q[0], p[0][1] - q[1]];
    let [bx, by] = [p[1][0] - q[0], p[1][1] - q[1]];
    let [cx, cy] = [p[2][0] - q[0], p[2][1] - q[1]];
    let [u, v, w] = [bx * cy - by * cx, cx * ay - cy * ax, ax * by - ay * bx];
    if facing < 0 { [-u, -v, -w] } else { [u, v, w] }
}

/// Bound of the length of a side: what a distance in mm is, at most, as a weight.
#[inline]
fn side(p: &[[f64; 3]; 3]) -> f64 {
    let side = |a: [f64; 3], b: [f64; 3]| (a[0] - b[0]).abs() + (a[1] - b[1]).abs();
    side(p[0], p[1]).max(side(p[1], p[2])).max(side(p[2], p[0]))
}

/// Whether a triangle stands above `level` over the place; if so, whether the place is well inside it.
#[inline]
pub(super) fn over(p: &[[f64; 3]; 3], facing: i8, q: [f64; 2], level: f64) -> Option<bool> {
    let w = weights(p, facing, q);
    let least = lesser(lesser(w[0], w[1]), w[2]);
    if least < 0.0 && least < -TOUCH_MM * side(p) {
        return None;
    }
    let over = w[0] * (p[0][2] - level) + w[1] * (p[1][2] - level) + w[2] * (p[2][2] - level);
    (over > 0.0).then(|| least > FIRM_MM * side(p))
}

/// Part of a piece under a triangle; the triangle's plane stands over the piece at `height` + t `slope`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Overhead {
    pub part: [f64; 2],
    pub height: f64,
    pub slope: f64,
    pub face: u32,
}

impl Overhead {
    /// Height over the place `t` of the piece.
    #[inline]
    pub fn at(&self, t: f64) -> f64 {
        self.height + t * self.slope
    }
}

/// A shell in one direction: what stands over what.
#[derive(Debug)]
pub(super) struct Plan<'s> {
    pub shell: &'s Shell,
    pub turned: Turned,
    pub grid: Grid,
    /// Of each vertex.
    pub standing: Vec<Standing>,
    /// The triangles of the cells that hold a contour edge.
    at_rims: OnceLock<Arc<Blocks>>,
    /// The triangles of the others over which more than one layer stands, once somebody asks there.
    layered: OnceLock<Blocks>,
    /// The triangles of the rest, once somebody asks there.
    elsewhere: OnceLock<Blocks>,
}

impl<'s> Plan<'s> {
    pub fn new(shell: &'s Shell, direction: &Direction) -> Plan<'s> {
        let turned = Turned::new(shell, direction);
        let grid = Grid::new(shell, &turned);
        let standing = standing::of_all(shell, &turned, &grid);
        let (at_rims, layered, elsewhere) = (OnceLock::new(), OnceLock::new(), OnceLock::new());
        Plan { shell, turned, grid, standing, at_rims, layered, elsewhere }
    }

    /// Whether each vertex here is undercut; `None` where no triangle meets it.
    pub fn undercut(&self, v: usize) -> Option<bool> {
        match self.standing[v] {
            Standing::Loose => None,
            Standing::Free => Some(false),
            Standing::Under | Standing::Firm => Some(true),
        }
    }

    #[inline]
    pub fn corners(&self, f: u32) -> [[f64; 3]; 3] {
        let [a, b, c] = self.shell.faces[f as usize];
        [self.turned.at[a as usize], self.turned.at[b as usize], self.turned.at[c as usize]]
    }

    /// A triangle of `list` other than those left out that stands above `level` over the place, and whether the place
    /// is well inside it.
    pub fn covering_in(
        &self,
        list: &[Block],
        q: [f64; 2],
        level: f64,
        left_out: impl Fn(u32) -> bool,
    ) -> Option<(u32, bool)> {
        let [lo, hi] = self.grid.rough(q);
        let floor = self.grid.rough([level, level])[0][0];
        for block in list {
            let mut near = block.near(lo, hi, floor);
            while near != 0 {
                let f = block.face[near.trailing_zeros() as usize];
                near &= near - 1;
                if !left_out(f)
                    && let Some(firm) = over(&self.corners(f), self.turned.facing[f as usize], q, level)
                {
                    return Some((f, firm));
                }
            }
        }
        None
    }

    /// The part of a piece that lies under what triangle `f` has above `level`.
    pub fn covered_part(&self, f: u32, piece: &Piece, level: f64) -> Option<(f64, f64)> {
        let p = self.corners(f);
        let facing = self.turned.facing[f as usize];
        let (a, b) = (weights(&p, facing, piece.from), weights(&p, facing, piece.to));
        let slack = TOUCH_MM * side(&p);
        let over =
            |w: [f64; 3]| w[0] * (p[0][2] - level) + w[1] * (p[1][2] - level) + w[2] * (p[2][2] - level);
        let mut part = (0.0f64, 1.0f64);
        for k in 0..3 {
            part = clipped(part, a[k] + slack, b[k] + slack)?;
        }
        clipped(part, over(a), over(b))
    }

    /// The part of `piece` within `part` under a triangle, with the triangle's heights there.
    pub fn overhead(&self, f: u32, piece: &Piece, part: (f64, f64)) -> Option<Overhead> {
        let p = self.corners(f);
        let facing = self.turned.facing[f as usize];
        let (a, b) = (weights(&p, facing, piece.from), weights(&p, facing, piece.to));
        let slack = TOUCH_MM * side(&p);
        // Most of what is near lies wholly beyond one side.
        let most = |k: usize| greater(a[k], b[k]);
        if lesser(lesser(most(0), most(1)), most(2)) < -slack {
            return None;
        }
        let mut within = part;
        for k in 0..3 {
            within = clipped(within, a[k] + slack, b[k] + slack)?;
        }
        let height = |w: [f64; 3]| (w[0] * p[0][2] + w[1] * p[1][2] + w[2] * p[2][2]) / (w[0] + w[1] + w[2]);
        let (from, to) = (height(a), height(b));
        Some(Overhead { part: [within.0, within.1], height: from, slope: to - from, face: f })
    }

    /// The triangles of any cell.
    pub fn in_cell(&self, cell: usize) -> &[Block] {
        let (rims, single) = (|c: usize| !self.grid.rims.of(c).is_empty(), |c: usize| self.grid.single[c]);
        if rims(cell) {
            self.in_rim_cells().of(cell)
        } else if !single(cell) {
            made_once(&self.layered, || self.listed(|c| !rims(c) && !single(c))).of(cell)
        } else {
            made_once(&self.elsewhere, || self.listed(|c| !rims(c) && single(c))).of(cell)
        }
    }

    /// The triangles of the cells that hold a contour edge.
    pub fn in_rim_cells(&self) -> &Arc<Blocks> {
        made_once(&self.at_rims, || Arc::new(self.listed(|c| !self.grid.rims.of(c).is_empty())))
    }

    /// The triangles of some cells.
    pub fn listed(&self, wanted: impl Fn(usize) -> bool) -> Blocks {
        let wanted: Vec<bool> = (0..self.grid.frame.cells()).map(wanted).collect();
        self.grid.list(self.shell, &self.turned, &wanted)
    }

    /// Whether anything but triangle `own` stands above `level` over a place.
    pub fn anything_above(&self, q: [f64; 2], level: f64, own: Option<u32>) -> bool {
        let list = self.in_cell(self.grid.frame.cell_of(q));
        self.covering_in(list, q, level, |f| Some(f) == own).is_some()
    }

    /// Greatest height over a place; `None` where nothing stands there.
    pub fn highest(&self, q: [f64; 2]) -> Option<f64> {
        let [lo, hi] = self.grid.rough(q);
        let mut highest: Option<f64> = None;
        for block in self.in_cell(self.grid.frame.cell_of(q)) {
            let mut near = block.near(lo, hi, f32::MIN);
            while near != 0 {
                let f = block.face[near.trailing_zeros() as usize];
                near &= near - 1;
                let p = self.corners(f);
                let w = weights(&p, self.turned.facing[f as usize], q);
                let sum = w[0] + w[1] + w[2];
                if sum > 0.0 && lesser(lesser(w[0], w[1]), w[2]) >= -TOUCH_MM * side(&p) {
                    let h = (w[0] * p[0][2] + w[1] * p[1][2] + w[2] * p[2][2]) / sum;
                    highest = Some(highest.map_or(h, |most| most.max(h)));
                }
            }
        }
        highest
    }
}

/// The part of a range in which a function is not negative, that is linear and has the given values at 0 and 1.
#[inline]
fn clipped((lo, hi): (f64, f64), at_from: f64, at_to: f64) -> Option<(f64, f64)> {
    let (lo, hi) = match (at_from >= 0.0, at_to >= 0.0) {
        (true, true) => (lo, hi),
        (false, false) => return None,
        (true, false) => (lo, hi.min(at_from / (at_from - at_to))),
        (false, true) => (lo.max(at_from / (at_from - at_to)), hi),
    };
    (lo <= hi).then_some((lo, hi))
}
