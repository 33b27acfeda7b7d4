//! The surface of a crown as a height over a plane, sampled on a grid.

use crate::mesh::{FaceId, Mesh};
use crate::space::{Point, Vector};

/// Axes of a view on a crown, all of length one and square to each other.
#[derive(Clone, Copy, Debug)]
pub(super) struct View {
    pub origin: Point,
    pub x: Vector,
    pub y: Vector,
    /// Toward the eye.
    pub up: Vector,
}

impl View {
    /// Coordinates of a position, mm.
    pub fn local(&self, p: &Point) -> [f64; 3] {
        let v = p - self.origin;
        [v.dot(&self.x), v.dot(&self.y), v.dot(&self.up)]
    }

    /// Position of coordinates.
    pub fn world(&self, [x, y, z]: [f64; 3]) -> Point {
        self.origin + self.x * x + self.y * y + self.up * z
    }
}

/// A cell of the grid over which there is surface.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Cell {
    /// Height of the topmost surface, mm.
    pub z: f64,
    /// Whether that surface belongs to the crown.
    pub own: bool,
}

/// Heights of the topmost surface over a grid.
#[derive(Clone, Debug)]
pub(super) struct Relief {
    pub view: View,
    low: [f64; 2],
    size: [usize; 2],
    cells: Vec<Option<Cell>>,
}

/// Spacing of the grid, mm.
pub(super) const STEP_MM: f64 = 0.12;

/// The crown's triangles among those that are looked at.
#[derive(Clone, Copy, Debug)]
pub(super) struct Looked<'a> {
    pub mesh: &'a Mesh,
    /// Triangles to draw.
    pub faces: &'a [FaceId],
    /// Those of the crown, ascending.
    pub own: &'a [FaceId],
}

impl Relief {
    /// Draws the triangles over the rectangle from `low` to `high`.
    pub fn new(looked: &Looked<'_>, view: View, low: [f64; 2], high: [f64; 2]) -> Relief {
        let count = |k: usize| ((high[k] - low[k]) / STEP_MM).clamp(0.0, 400.0) as usize + 1;
        let size = [count(0), count(1)];
        let mut relief = Relief { view, low, size, cells: vec![None; size[0] * size[1]] };
        for &f in looked.faces {
            let corners = looked.mesh.corners(f).map(|p| view.local(&p));
            relief.draw(&corners, looked.own.binary_search(&f).is_ok());
        }
        relief
    }

    fn draw(&mut self, c: &[[f64; 3]; 3], own: bool) {
        let mut range = [[0usize; 2]; 2];
        for k in 0..2 {
            let (lo, hi) = (c[0][k].min(c[1][k]).min(c[2][k]), c[0][k].max(c[1][k]).max(c[2][k]));
            let (first, last) =
                (((lo - self.low[k]) / STEP_MM).ceil(), ((hi - self.low[k]) / STEP_MM).floor());
            if last < 0.0 || first > (self.size[k] - 1) as f64 || first > last {
                return;
            }
            range[k] = [first.max(0.0) as usize, (last as usize).min(self.size[k] - 1)];
        }
        let (u, v) = ([c[1][0] - c[0][0], c[1][1] - c[0][1]], [c[2][0] - c[0][0], c[2][1] - c[0][1]]);
        let area = u[0] * v[1] - u[1] * v[0];
        if area.abs() < 1e-12 {
            return;
        }
        for j in range[1][0]..=range[1][1] {
            for i in range[0][0]..=range[0][1] {
                let (px, py) = (self.x(i) - c[0][0], self.y(j) - c[0][1]);
                let (s, t) = ((px * v[1] - py * v[0]) / area, (u[0] * py - u[1] * px) / area);
                if s < -1e-9 || t < -1e-9 || s + t > 1.0 + 1e-9 {
                    continue;
                }
                let z = c[0][2] + s * (c[1][2] - c[0][2]) + t * (c[2][2] - c[0][2]);
                let cell = &mut self.cells[j * self.size[0] + i];
                if cell.is_none_or(|old| z > old.z) {
                    *cell = Some(Cell { z, own });
                }
            }
        }
    }

    /// Columns and rows.
    pub fn size(&self) -> [usize; 2] {
        self.size
    }

    /// Position of the surface over a column and a row.
    pub fn place(&self, [i, j]: [usize; 2]) -> Option<Point> {
        Some(self.view.world([self.x(i), self.y(j), self.cell(i, j)?.z]))
    }

    /// x of a column, mm.
    pub fn x(&self, i: usize) -> f64 {
        self.low[0] + STEP_MM * i as f64
    }

    /// y of a row, mm.
    pub fn y(&self, j: usize) -> f64 {
        self.low[1] + STEP_MM * j as f64
    }

    /// The cell of a column and a row; `None` outside and where there is no surface.
    pub fn cell(&self, i: usize, j: usize) -> Option<Cell> {
        if i < self.size[0] { self.cells.get(j * self.size[0] + i).copied().flatten() } else { None }
    }

    /// Whether the topmost surface over a place is the crown's own.
    pub fn is_own(&self, x: f64, y: f64) -> bool {
        let (fx, fy) = ((x - self.low[0]) / STEP_MM, (y - self.low[1]) / STEP_MM);
        fx >= 0.0 && fy >= 0.0 && self.cell(fx as usize, fy as usize).is_some_and(|c| c.own)
    }

    /// Height over a place, between the cells around it; `None` where one of them has no surface.
    pub fn at(&self, x: f64, y: f64) -> Option<f64> {
        let (fx, fy) = ((x - self.low[0]) / STEP_MM, (y - self.low[1]) / STEP_MM);
        if fx < 0.0 || fy < 0.0 {
            return None;
        }
        let (i, j) = (fx as usize, fy as usize);
        let (s, t) = (fx - i as f64, fy - j as f64);
        let z = |a, b| self.cell(i + a, j + b).map(|c| c.z);
        let (low, high) = (z(0, 0)? * (1.0 - s) + z(1, 0)? * s, z(0, 1)? * (1.0 - s) + z(1, 1)? * s);
        Some(low * (1.0 - t) + high * t)
    }
}
