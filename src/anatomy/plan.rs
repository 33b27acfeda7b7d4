//! A cast seen from above: greatest heights over a square grid of the plane across a direction, and the line about
//! which they are most alike left and right.

use crate::mesh::Mesh;
use crate::space::{Direction, Point, Vector, across, count_from};

/// Greatest heights over a grid. Serves to tell directions; measured figures use exact geometry.
#[derive(Clone, Debug)]
pub struct HeightMap {
    /// The direction along which heights count.
    pub up: Direction,
    /// First axis of the grid.
    pub u: Vector,
    /// Second axis; (u, v, up) is right-handed.
    pub v: Vector,
    /// Side of a cell, mm.
    pub cell_mm: f64,
    /// Cells along `u` and `v`.
    pub size: [usize; 2],
    low: [f64; 2],
    height: Vec<Option<f64>>,
}

/// Grids are kept under this many cells; cells grow instead.
const MOST_CELLS: f64 = 4e6;

impl HeightMap {
    /// The map of a whole mesh along `up`; `None` for a mesh without triangles.
    pub fn new(mesh: &Mesh, up: Direction, cell_mm: f64) -> Option<HeightMap> {
        let (u, v) = across(&up);
        let flat = |p: &Point| [p.coords.dot(&u), p.coords.dot(&v), p.coords.dot(&up)];
        let places: Vec<[f64; 3]> = mesh.vertices().iter().map(flat).collect();
        let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        for &corner in mesh.faces().iter().flatten() {
            for k in 0..2 {
                low[k] = low[k].min(places[corner as usize][k]);
                high[k] = high[k].max(places[corner as usize][k]);
            }
        }
        if !low[0].is_finite() {
            return None;
        }
        let mut cell_mm = cell_mm;
        while ((high[0] - low[0]) / cell_mm + 2.0) * ((high[1] - low[1]) / cell_mm + 2.0) > MOST_CELLS {
            cell_mm *= 2.0;
        }
        let cells = |k: usize| ((high[k] - low[k]) / cell_mm).floor() as usize + 1;
        let size = [cells(0), cells(1)];
        let mut map = HeightMap { up, u, v, cell_mm, size, low, height: vec![None; size[0] * size[1]] };
        for corners in mesh.faces() {
            map.raise(corners.map(|c| places[c as usize]));
        }
        Some(map)
    }

    /// Raises the cells whose centres a triangle covers, and those that its corners fall into.
    fn raise(&mut self, t: [[f64; 3]; 3]) {
        for p in t {
            let (i, j) = self.cell(p[0], p[1]);
            self.lift(i, j, p[2]);
        }
        let doubled = (t[1][0] - t[0][0]) * (t[2][1] - t[0][1]) - (t[2][0] - t[0][0]) * (t[1][1] - t[0][1]);
        if doubled.abs() < 1e-12 {
            return;
        }
        let range = |k: usize| {
            let (a, b, c) = (t[0][k], t[1][k], t[2][k]);
            let last = self.size[k] - 1;
            let from = count_from((a.min(b).min(c) - self.low[k]) / self.cell_mm - 0.5);
            let to = (a.max(b).max(c) - self.low[k]) / self.cell_mm - 0.5;
            (to >= 0.0).then(|| (from, (to as usize).min(last)))
        };
        let (Some((i0, i1)), Some((j0, j1))) = (range(0), range(1)) else { return };
        for j in j0..=j1 {
            for i in i0..=i1 {
                let x = self.low[0] + (i as f64 + 0.5) * self.cell_mm;
                let y = self.low[1] + (j as f64 + 0.5) * self.cell_mm;
                let b = ((x - t[0][0]) * (t[2][1] - t[0][1]) - (t[2][0] - t[0][0]) * (y - t[0][1])) / doubled;
                let c = ((t[1][0] - t[0][0]) * (y - t[0][1]) - (x - t[0][0]) * (t[1][1] - t[0][1])) / doubled;
                if b >= -1e-9 && c >= -1e-9 && b + c <= 1.0 + 1e-9 {
                    self.lift(i, j, t[0][2] + b * (t[1][2] - t[0][2]) + c * (t[2][2] - t[0][2]));
                }
            }
        }
    }

    fn lift(&mut self, i: usize, j: usize, h: f64) {
        let slot = &mut self.height[j * self.size[0] + i];
        if slot.is_none_or(|old| h > old) {
            *slot = Some(h);
        }
    }

    fn cell(&self, x: f64, y: f64) -> (usize, usize) {
        let at = |value: f64, k: usize| {
            (((value - self.low[k]) / self.cell_mm).max(0.0) as usize).min(self.size[k] - 1)
        };
        (at(x, 0), at(y, 1))
    }

    /// Greatest height over the cell that holds plan coordinates; `None` outside or where nothing lies.
    pub fn at(&self, x: f64, y: f64) -> Option<f64> {
        let (fx, fy) = ((x - self.low[0]) / self.cell_mm, (y - self.low[1]) / self.cell_mm);
        if fx < 0.0 || fy < 0.0 {
            return None;
        }
        let (i, j) = (fx as usize, fy as usize);
        if i >= self.size[0] || j >= self.size[1] { None } else { self.height[j * self.size[0] + i] }
    }

    /// Greatest height over a cell, by index.
    pub fn cell_height(&self, i: usize, j: usize) -> Option<f64> {
        self.height[j * self.size[0] + i]
    }

    /// Plan coordinates of the middle of a cell.
    pub fn middle(&self, i: usize, j: usize) -> [f64; 2] {
        [self.low[0] + (i as f64 + 0.5) * self.cell_mm, self.low[1] + (j as f64 + 0.5) * self.cell_mm]
    }

    /// Plan coordinates of a position.
    pub fn plan(&self, p: &Point) -> [f64; 2] {
        [p.coords.dot(&self.u), p.coords.dot(&self.v)]
    }

    /// Position of plan coordinates at a height.
    pub fn position(&self, plan: [f64; 2], height: f64) -> Point {
        Point::from(self.u * plan[0] + self.v * plan[1] + self.up.into_inner() * height)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tilted_plate_has_the_heights_of_its_plane() {
        let f = |x: f64, y: f64| Point::new(x, y, 0.1 * x - 0.2 * y);
        let mesh = Mesh::new(
            vec![f(0.0, 0.0), f(20.0, 0.0), f(20.0, 10.0), f(0.0, 10.0)],
            vec![[0, 1, 2], [0, 2, 3]],
        )
        .unwrap();
        let map = HeightMap::new(&mesh, Direction::new_normalize(Vector::z()), 1.0).unwrap();
        let p = Point::new(7.5, 3.5, 0.0);
        let h = map.at(map.plan(&p)[0], map.plan(&p)[1]).unwrap();
        // The cell's middle lies at most 0.5 mm aside in either axis.
        assert!((h - (0.75 - 0.7)).abs() <= 0.05 + 0.1 + 1e-9, "{h}");
        assert_eq!(map.at(-1e3, 0.0), None);
    }
}
