//! Values of a field at the corners of a grid, known one by one only near its zero set.

use super::Grid;
use crate::space::{Point, Vector};
use rayon::prelude::*;

/// Corners along the side of a block.
pub(super) const BLOCK: usize = 4;
/// Blocks along the side of the first rough division.
const GROUP: usize = 2;
/// Bound on the steepness of the fields.
const STEEP: f64 = 1.6;

/// What is known of the corners of a block.
#[derive(Clone, Debug)]
enum Known {
    /// All beyond the border.
    Beyond,
    /// All on one side of the zero set, about this far from it.
    Far(f64),
    /// Each by itself.
    Each(Box<[f64; BLOCK * BLOCK * BLOCK]>),
}

/// A grid of values. Corner `c` belongs to block `c / BLOCK`.
pub(super) struct Samples {
    low: Point,
    cell_mm: f64,
    /// Number of blocks along each axis.
    pub blocks: [usize; 3],
    known: Vec<Known>,
}

/// A corner on the surface counts as outside, so that every edge of the grid has a side at each end.
fn sided(f: f64) -> f64 {
    if f == 0.0 { 1e-12 } else { f }
}

impl Samples {
    /// Values over a box. A block is looked at corner by corner only where its middle is not farther from the zero set
    /// than the steepness of the field lets its corners be.
    pub fn new(
        grid: &Grid,
        field: &(impl Fn(&Point) -> f64 + Sync),
        border: &(impl Fn(&Point) -> f64 + Sync),
    ) -> Samples {
        let side = grid.cell_mm * (BLOCK * GROUP) as f64;
        let size = grid.high - grid.low;
        let groups = [size.x, size.y, size.z].map(|s| (s / side).ceil().max(1.0) as usize);
        let blocks = groups.map(|g| g * GROUP);
        let mut this = Samples {
            low: grid.low,
            cell_mm: grid.cell_mm,
            blocks,
            known: vec![Known::Beyond; blocks.iter().product()],
        };
        let found: Vec<Vec<(usize, Known)>> = (0..groups.iter().product::<usize>())
            .into_par_iter()
            .map(|g| {
                let group = [g % groups[0], g / groups[0] % groups[1], g / (groups[0] * groups[1])];
                this.group(group.map(|k| k * GROUP), field, border)
            })
            .collect();
        for (block, known) in found.into_iter().flatten() {
            this.known[block] = known;
        }
        this
    }

    /// Position of a corner.
    pub fn at(&self, c: [usize; 3]) -> Point {
        self.low + Vector::new(c[0] as f64, c[1] as f64, c[2] as f64) * self.cell_mm
    }

    /// Middle of `n` corners along each axis from `first`, and how far from zero a field is there at least if it has
    /// one sign at all of them.
    fn middle(&self, first: [usize; 3], n: usize) -> (Point, f64) {
        let half = 0.5 * self.cell_mm * (n - 1) as f64;
        (self.at(first) + Vector::repeat(half), STEEP * half * 3.0f64.sqrt())
    }

    /// How much a field changes over a cell at the most: where corners are left out for lying beyond the border, the
    /// cells that they spoil do too.
    fn cell_reach(&self) -> f64 {
        STEEP * self.cell_mm * 3.0f64.sqrt()
    }

    fn index(&self, block: [usize; 3]) -> usize {
        block[0] + self.blocks[0] * (block[1] + self.blocks[1] * block[2])
    }

    fn group(
        &self,
        first: [usize; 3],
        field: &impl Fn(&Point) -> f64,
        border: &impl Fn(&Point) -> f64,
    ) -> Vec<(usize, Known)> {
        let (middle, reach) = self.middle(first.map(|k| k * BLOCK), BLOCK * GROUP);
        let all: Vec<[usize; 3]> = (0..GROUP * GROUP * GROUP)
            .map(|i| [first[0] + i % GROUP, first[1] + i / GROUP % GROUP, first[2] + i / (GROUP * GROUP)])
            .collect();
        if border(&middle) > reach + self.cell_reach() {
            return Vec::new();
        }
        let f = field(&middle);
        let known =
            |b: [usize; 3]| if f.abs() > reach { Known::Far(f) } else { self.block(b, field, border) };
        all.into_iter().map(|b| (self.index(b), known(b))).collect()
    }

    fn block(
        &self,
        block: [usize; 3],
        field: &impl Fn(&Point) -> f64,
        border: &impl Fn(&Point) -> f64,
    ) -> Known {
        let first = block.map(|k| k * BLOCK);
        let (middle, reach) = self.middle(first, BLOCK);
        if border(&middle) > reach + self.cell_reach() {
            return Known::Beyond;
        }
        let f = field(&middle);
        if f.abs() > reach {
            return Known::Far(f);
        }
        let mut values = Box::new([0.0; BLOCK * BLOCK * BLOCK]);
        for part in 0..8 {
            let start = [2 * (part % 2), 2 * (part / 2 % 2), 2 * (part / 4)];
            let (middle, reach) = self.middle(std::array::from_fn(|a| first[a] + start[a]), 2);
            let f = field(&middle);
            for i in 0..8 {
                let c = [start[0] + i % 2, start[1] + i / 2 % 2, start[2] + i / 4];
                values[slot(c)] = if f.abs() > reach {
                    f
                } else {
                    sided(field(&self.at(std::array::from_fn(|a| first[a] + c[a]))))
                };
            }
        }
        Known::Each(values)
    }

    /// Value at a corner; `None` outside of the box and beyond the border.
    pub fn value(&self, c: [usize; 3]) -> Option<f64> {
        let block = c.map(|k| k / BLOCK);
        if (0..3).any(|a| block[a] >= self.blocks[a]) {
            return None;
        }
        match &self.known[self.index(block)] {
            Known::Beyond => None,
            Known::Far(f) => Some(*f),
            Known::Each(values) => Some(values[slot(c.map(|k| k % BLOCK))]),
        }
    }

    /// Whether a block and those above it are all far from the zero set on one side, or beyond: no cell of it is cut.
    pub fn is_far(&self, block: [usize; 3]) -> bool {
        let mut side = 0.0;
        for i in 0..8 {
            let b = [block[0] + i % 2, block[1] + i / 2 % 2, block[2] + i / 4];
            if (0..3).any(|a| b[a] >= self.blocks[a]) {
                continue;
            }
            match &self.known[self.index(b)] {
                Known::Beyond => {}
                Known::Far(f) if side * f >= 0.0 => side = f.signum(),
                _ => return false,
            }
        }
        true
    }

    /// Takes a corner to the inside of the surface.
    pub fn fill(&mut self, c: [usize; 3]) {
        let index = self.index(c.map(|k| k / BLOCK));
        let fill = -1e-3 * self.cell_mm;
        match &mut self.known[index] {
            Known::Beyond => {}
            Known::Far(f) => {
                let mut values = Box::new([*f; BLOCK * BLOCK * BLOCK]);
                values[slot(c.map(|k| k % BLOCK))] = fill;
                self.known[index] = Known::Each(values);
            }
            Known::Each(values) => values[slot(c.map(|k| k % BLOCK))] = fill,
        }
    }
}

fn slot(c: [usize; 3]) -> usize {
    c[0] + BLOCK * (c[1] + BLOCK * c[2])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_corner_has_the_side_of_the_field_though_few_are_looked_at() {
        let grid = Grid { low: Point::new(-5.0, -5.0, -5.0), high: Point::new(5.0, 5.0, 5.0), cell_mm: 0.25 };
        let looks = std::sync::atomic::AtomicUsize::new(0);
        let ball = |p: &Point| p.coords.norm() - 4.0;
        let counted = |p: &Point| {
            looks.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
            ball(p)
        };
        let samples = Samples::new(&grid, &counted, &|_: &Point| -100.0);
        for i in 0..40 * 40 * 40 {
            let c = [i % 40, i / 40 % 40, i / 1600];
            assert_eq!(samples.value(c).unwrap() > 0.0, ball(&samples.at(c)) >= 0.0, "{c:?}");
        }
        assert!(looks.into_inner() < 64_000 / 2);
    }
}
