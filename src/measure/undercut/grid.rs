//! The plan across the direction, cut into square cells: which triangles and contour edges each holds, how many layers
//! stand over it, and a lower bound of what stands highest. A grid proposes; the triangles of a cell decide.

use super::rims::{Rim, Turned};
use super::shell::{Shell, Side};
use rayon::prelude::*;

/// Triangles are entered into every cell that they come as near as this, mm.
const FACE_MARGIN: f64 = 5e-7;
/// Contour edges into every cell that they come as near as this, mm: more than [`FACE_MARGIN`], so that a triangle
/// that only touches a cell brings its border along.
const RIM_MARGIN: f64 = 1e-6;
/// Entries allowed for each triangle, on average.
const ENTRIES_PER_FACE: f64 = 10.0;
/// Most cells for each triangle.
const CELLS_PER_FACE: f64 = 2.0;
const CHUNK: usize = 4096;

/// Lists of numbers, one list a cell.
#[derive(Debug, Default)]
pub(super) struct Lists {
    start: Vec<u32>,
    items: Vec<u32>,
}

impl Lists {
    fn new(cells: usize, entries: &[Vec<(u32, u32)>]) -> Lists {
        let mut start = vec![0u32; cells + 1];
        for &(cell, _) in entries.iter().flatten() {
            start[cell as usize + 1] += 1;
        }
        for c in 0..cells {
            start[c + 1] += start[c];
        }
        let mut fill = start.clone();
        let mut items = vec![0u32; start[cells] as usize];
        for &(cell, item) in entries.iter().flatten() {
            items[fill[cell as usize] as usize] = item;
            fill[cell as usize] += 1;
        }
        Lists { start, items }
    }

    /// The list of a cell, ascending.
    pub fn of(&self, cell: usize) -> &[u32] {
        &self.items[self.start[cell] as usize..self.start[cell + 1] as usize]
    }
}

/// What is known of a cell without looking at its triangles.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Cell {
    /// Something stands at least this high over every place of the cell; minus infinity where nothing is known.
    pub low: f64,
    /// Nothing in the cell stands higher than this; minus infinity where it is empty.
    pub high: f64,
    /// No contour edge, and at most one layer: whatever is in it is free.
    pub single: bool,
}

/// The grid of one direction.
#[derive(Debug)]
pub(super) struct Grid {
    /// Least corner of the plan, mm.
    pub origin: [f64; 2],
    /// Width of a cell, mm.
    pub width: f64,
    /// Cells along the two axes.
    pub size: [usize; 2],
    /// Triangles of each cell.
    pub faces: Lists,
    /// Contour edges of each cell.
    pub rims: Lists,
    /// What is known of each cell.
    pub cells: Vec<Cell>,
    /// Greatest corner of what stands on the plan, mm.
    pub far: [f64; 2],
}

impl Grid {
    pub fn new(shell: &Shell, turned: &Turned) -> Grid {
        let mut grid = Grid::empty(shell, turned);
        let cells = grid.size[0] * grid.size[1];
        let entries =
            |n: usize, one: &(dyn Fn(usize, &mut Vec<(u32, u32)>) + Sync)| -> Vec<Vec<(u32, u32)>> {
                (0..n.div_ceil(CHUNK))
                    .into_par_iter()
                    .map(|chunk| {
                        let mut into = Vec::with_capacity(3 * CHUNK);
                        (chunk * CHUNK..n.min((chunk + 1) * CHUNK)).for_each(|i| one(i, &mut into));
                        into
                    })
                    .collect()
            };
        let of_faces = entries(shell.faces.len(), &|f, into| {
            if turned.facing[f] != 0 {
                let p = shell.faces[f].map(|v| plan(turned, v));
                grid.raster(&p, FACE_MARGIN, |cell| into.push((cell, f as u32)));
            }
        });
        let of_rims = entries(turned.rims.len(), &|r, into| {
            let p = turned.rims[r].ends.map(|v| plan(turned, v));
            grid.raster(&p, RIM_MARGIN, |cell| into.push((cell, r as u32)));
        });
        grid.faces = Lists::new(cells, &of_faces);
        grid.rims = Lists::new(cells, &of_rims);
        let layers = grid.layers(turned);
        grid.cells = (0..cells)
            .into_par_iter()
            .with_min_len(CHUNK)
            .map_init(Groups::default, |groups, c| grid.know(shell, turned, layers[c], c, groups))
            .collect();
        grid
    }

    /// Places and widths, nothing in it yet.
    fn empty(shell: &Shell, turned: &Turned) -> Grid {
        let mut lo = [f64::INFINITY; 2];
        let mut hi = [f64::NEG_INFINITY; 2];
        for (p, used) in turned.at.iter().zip(&shell.used) {
            if *used {
                for k in 0..2 {
                    lo[k] = lo[k].min(p[k]);
                    hi[k] = hi[k].max(p[k]);
                }
            }
        }
        if lo[0] > hi[0] {
            (lo, hi) = ([0.0; 2], [0.0; 2]);
        }
        let width = cell_width(shell, turned, [hi[0] - lo[0], hi[1] - lo[1]]);
        let size = [0, 1].map(|k| ((hi[k] - lo[k]) / width).floor() as usize + 3);
        let origin = lo.map(|c| c - width);
        let none = Cell { low: f64::NEG_INFINITY, high: f64::NEG_INFINITY, single: true };
        let cells = vec![none; size[0] * size[1]];
        Grid { origin, width, size, faces: Lists::default(), rims: Lists::default(), cells, far: hi }
    }

    /// Number of the cell of a place; places outside fall into the empty cells around the cast.
    pub fn cell_of(&self, p: [f64; 2]) -> usize {
        let [i, j] = [0, 1].map(|k| {
            let c = (p[k] - self.origin[k]) / self.width;
            (c.max(0.0) as usize).min(self.size[k] - 1)
        });
        j * self.size[0] + i
    }

    /// Least and greatest corner of cell (i, j).
    pub fn corner(&self, i: usize, j: usize) -> [f64; 2] {
        [self.origin[0] + i as f64 * self.width, self.origin[1] + j as f64 * self.width]
    }

    /// Names every cell that the hull of `p` (a segment or a triangle) comes as near as `margin`.
    fn raster(&self, p: &[[f64; 2]], margin: f64, mut enter: impl FnMut(u32)) {
        let range = |k: usize| {
            let lo = p.iter().map(|q| q[k]).fold(f64::INFINITY, f64::min) - margin;
            let hi = p.iter().map(|q| q[k]).fold(f64::NEG_INFINITY, f64::max) + margin;
            (lo, hi)
        };
        let column =
            |k: usize, c: f64| (((c - self.origin[k]) / self.width).max(0.0) as usize).min(self.size[k] - 1);
        let ((x0, x1), (y0, y1)) = (range(0), range(1));
        let (i0, i1, j0, j1) = (column(0, x0), column(0, x1), column(1, y0), column(1, y1));
        for j in j0..=j1 {
            let (mut a, mut b) = (i0, i1);
            if i1 > i0 && j1 > j0 {
                let bottom = self.origin[1] + j as f64 * self.width - margin;
                let top = bottom + self.width + 2.0 * margin;
                let Some((lo, hi)) = strip(p, bottom, top) else { continue };
                (a, b) = (column(0, lo - margin), column(0, hi + margin));
            }
            (a..=b).for_each(|i| enter((j * self.size[0] + i) as u32));
        }
    }

    /// Layers over the centre of each cell: the jumps at the contour edges left of it, summed along its row.
    fn layers(&self, turned: &Turned) -> Vec<i32> {
        let [nx, ny] = self.size;
        let mut jumps = vec![0i32; (nx + 1) * ny];
        for rim in turned.rims.iter().filter(|r| r.jump != 0) {
            let [a, b] = rim.ends.map(|v| plan(turned, v));
            let row = |y: f64| (((y - self.origin[1]) / self.width - 0.5).ceil().max(0.0) as usize).min(ny);
            // Rows whose centre line lies in the half-open range from the lower end to the upper one.
            let (lower, upper) = if a[1] <= b[1] { (a, b) } else { (b, a) };
            for j in row(lower[1])..row(upper[1]) {
                let y = self.origin[1] + (j as f64 + 0.5) * self.width;
                let t = (y - lower[1]) / (upper[1] - lower[1]);
                let x = lower[0] + t * (upper[0] - lower[0]);
                let i = (((x - self.origin[0]) / self.width - 0.5).ceil().max(0.0) as usize).min(nx);
                // Going up, the left hand is toward smaller x: the layers end there.
                jumps[j * (nx + 1) + i] += if a[1] <= b[1] { -rim.jump } else { rim.jump };
            }
        }
        let mut layers = vec![0i32; nx * ny];
        for j in 0..ny {
            let mut sum = 0;
            for i in 0..nx {
                sum += jumps[j * (nx + 1) + i];
                layers[j * nx + i] = sum;
            }
        }
        layers
    }

    fn know(&self, shell: &Shell, turned: &Turned, layers: i32, c: usize, groups: &mut Groups) -> Cell {
        let (faces, rims) = (self.faces.of(c), self.rims.of(c));
        let span = |f: &u32| turned.span[*f as usize];
        let high = faces.iter().map(|f| span(f)[1]).fold(f64::NEG_INFINITY, f64::max);
        let single = rims.is_empty() && layers <= 1;
        let low = if faces.is_empty() || (single && layers < 1) {
            f64::NEG_INFINITY
        } else if single {
            faces.iter().map(|f| span(f)[0]).fold(f64::INFINITY, f64::min)
        } else {
            groups.greatest_floor(shell, turned, faces, rims)
        };
        Cell { low, high, single }
    }
}

fn plan(turned: &Turned, v: u32) -> [f64; 2] {
    let p = turned.at[v as usize];
    [p[0], p[1]]
}

/// Width of a cell: near the length of a side, wider where that would make too many cells or entries.
fn cell_width(shell: &Shell, turned: &Turned, extent: [f64; 2]) -> f64 {
    let n = shell.faces.len().max(1) as f64;
    let longest = extent[0].max(extent[1]).max(1e-3);
    let mut width = (1.2 * shell.mean_side).max(longest / 4096.0);
    width = width.max((extent[0] * extent[1] / (CELLS_PER_FACE * n + 1024.0)).sqrt());
    let boxes: Vec<[f64; 2]> = shell
        .faces
        .iter()
        .map(|f| {
            let p = f.map(|v| plan(turned, v));
            [0, 1].map(|k| p[0][k].max(p[1][k]).max(p[2][k]) - p[0][k].min(p[1][k]).min(p[2][k]))
        })
        .collect();
    for _ in 0..64 {
        let entries: f64 = boxes.iter().map(|b| (b[0] / width + 1.0) * (b[1] / width + 1.0)).sum();
        if entries <= ENTRIES_PER_FACE * n + 4096.0 {
            break;
        }
        width *= 1.3;
    }
    width
}

/// Range in x of the part of the hull of `p` with y between `bottom` and `top`.
fn strip(p: &[[f64; 2]], bottom: f64, top: f64) -> Option<(f64, f64)> {
    let mut range: Option<(f64, f64)> = None;
    let mut add = |x: f64| range = Some(range.map_or((x, x), |(lo, hi)| (lo.min(x), hi.max(x))));
    for (i, a) in p.iter().enumerate() {
        if a[1] >= bottom && a[1] <= top {
            add(a[0]);
        }
        let b = &p[(i + 1) % p.len()];
        for y in [bottom, top] {
            if (a[1] < y) != (b[1] < y) {
                add(a[0] + (y - a[1]) / (b[1] - a[1]) * (b[0] - a[0]));
            }
        }
    }
    range
}

/// Connected groups of the triangles of a cell; scratch space.
#[derive(Default)]
struct Groups {
    parent: Vec<u16>,
    floor: Vec<f64>,
    ends: Vec<bool>,
}

impl Groups {
    fn root(&mut self, mut i: usize) -> usize {
        while self.parent[i] as usize != i {
            self.parent[i] = self.parent[self.parent[i] as usize];
            i = self.parent[i] as usize;
        }
        i
    }

    /// A group of triangles without a contour edge in the cell covers the whole cell, at least at the height of its
    /// lowest corner; the best of these floors.
    fn greatest_floor(&mut self, shell: &Shell, turned: &Turned, faces: &[u32], rims: &[u32]) -> f64 {
        let n = faces.len();
        if n > usize::from(u16::MAX) {
            return f64::NEG_INFINITY;
        }
        self.parent.clear();
        self.parent.extend(0..n as u16);
        for (i, &f) in faces.iter().enumerate() {
            for side in shell.sides[f as usize] {
                let Side::Beside { face: g, turned: turned_over } = side else { continue };
                let same = turned.facing[f as usize] == turned.facing[g as usize];
                if g < f
                    && same != turned_over
                    && let Ok(k) = faces.binary_search(&g)
                {
                    let (a, b) = (self.root(i), self.root(k));
                    self.parent[a.max(b)] = a.min(b) as u16;
                }
            }
        }
        self.floor.clear();
        self.floor.resize(n, f64::INFINITY);
        self.ends.clear();
        self.ends.resize(n, false);
        for (i, &f) in faces.iter().enumerate() {
            let r = self.root(i);
            self.floor[r] = self.floor[r].min(turned.span[f as usize][0]);
        }
        for &r in rims {
            let Rim { faces: at, .. } = turned.rims[r as usize];
            for f in at {
                if let Ok(i) = faces.binary_search(&f) {
                    let r = self.root(i);
                    self.ends[r] = true;
                }
            }
        }
        (0..n)
            .filter(|&i| self.parent[i] as usize == i && !self.ends[i])
            .map(|i| self.floor[i])
            .fold(f64::NEG_INFINITY, f64::max)
    }
}
