//! The plan across the direction, cut into square cells: how many layers stand over each, and, where that does not
//! settle everything, which triangles and contour edges it holds. A grid proposes; the triangles of a cell decide.

use super::cover::Piece;
use super::filled;
use super::rims::Turned;
use super::shell::Shell;
use wide::f32x4;

/// Triangles are entered into every cell that they come as near as this, mm.
const FACE_MARGIN: f64 = 5e-7;
/// Contour edges into every cell that they come as near as this, mm: more than [`FACE_MARGIN`], so that a triangle
/// that only touches a cell brings its border along.
const RIM_MARGIN: f64 = 1e-6;
/// Cells that a triangle may meet, on average, as squares about their longest side would.
const ENTRIES_PER_FACE: f64 = 10.0;
/// Most cells for each triangle.
const CELLS_PER_FACE: f64 = 2.0;
/// Most cells along the longer axis: their numbers are kept in 16 bits.
const MOST_CELLS: f64 = 4096.0;
/// Lists of things, one list a cell.
#[derive(Debug)]
pub(super) struct Lists<T> {
    start: Vec<u32>,
    items: Vec<T>,
}

impl<T: Copy + Default> Lists<T> {
    /// Sorts what was entered as (cell, thing) by cell.
    pub fn new(cells: usize, entered: &[(u32, T)]) -> Lists<T> {
        let mut start = vec![0u32; cells + 1];
        for &(cell, _) in entered {
            start[cell as usize] += 1;
        }
        let mut sum = 0;
        for slot in &mut start {
            sum += std::mem::replace(slot, sum);
        }
        let mut items = vec![T::default(); entered.len()];
        let mut fill = start.clone();
        for &(cell, item) in entered {
            items[fill[cell as usize] as usize] = item;
            fill[cell as usize] += 1;
        }
        Lists { start, items }
    }

    /// The list of a cell, in the order in which it was entered.
    #[inline]
    pub fn of(&self, cell: usize) -> &[T] {
        &self.items[self.start[cell] as usize..self.start[cell + 1] as usize]
    }
}

/// Triangles asked about at once.
pub(super) const LANES: usize = 4;

/// Up to four triangles of a cell, with their heights and their boxes in the plan, rounded outward: side by side, so
/// that one pass tells which of them may matter. Where there are fewer, the rest of the boxes are empty.
#[derive(Clone, Copy, Debug)]
pub(super) struct Block {
    /// Least and greatest place in the plan, axis by axis.
    least: [f32x4; 2],
    most: [f32x4; 2],
    /// Greatest height.
    high: f32x4,
    pub face: [u32; LANES],
}

impl Block {
    fn empty() -> Block {
        let (above, below) = (f32x4::splat(f32::INFINITY), f32x4::splat(f32::NEG_INFINITY));
        Block { least: [above; 2], most: [below; 2], high: below, face: [0; LANES] }
    }

    fn set(&mut self, k: usize, f: u32, [a, b, c]: [&[f64; 3]; 3], round: f64) {
        let least = |axis: usize| (lesser(lesser(a[axis], b[axis]), c[axis]) - round) as f32;
        let most = |axis: usize| (greater(greater(a[axis], b[axis]), c[axis]) + round) as f32;
        for axis in 0..2 {
            self.least[axis].as_mut_array()[k] = least(axis);
            self.most[axis].as_mut_array()[k] = most(axis);
        }
        self.high.as_mut_array()[k] = most(2);
        self.face[k] = f;
    }

    /// Which triangles (a bit each) may meet the box from `lo` to `hi` and stand above `level`.
    #[inline]
    pub fn near(&self, lo: [f32; 2], hi: [f32; 2], level: f32) -> u32 {
        let near = self.least[0].simd_le(f32x4::splat(hi[0]))
            & self.most[0].simd_ge(f32x4::splat(lo[0]))
            & self.least[1].simd_le(f32x4::splat(hi[1]))
            & self.most[1].simd_ge(f32x4::splat(lo[1]))
            & self.high.simd_ge(f32x4::splat(level));
        near.to_bitmask()
    }

    /// Which triangles (a bit each) may reach to the right hand of a piece.
    #[inline]
    pub fn reaches(&self, right: &RightOf) -> u32 {
        let farthest = |k: usize| {
            let corner = if right.normal[k] > 0.0 { self.most[k] } else { self.least[k] };
            corner * f32x4::splat(right.normal[k])
        };
        (farthest(0) + farthest(1)).simd_ge(f32x4::splat(right.from)).to_bitmask()
    }
}

/// The right hand of a piece in the plan, a little more.
#[derive(Clone, Copy, Debug)]
pub(super) struct RightOf {
    normal: [f32; 2],
    from: f32,
}

/// The triangles of each cell in blocks.
#[derive(Debug)]
pub(super) struct Blocks {
    start: Vec<u32>,
    blocks: Vec<Block>,
}

impl Blocks {
    /// Sorts what was entered as (cell, thing) by cell; `corners` of a thing.
    fn new<'a>(
        round: f64,
        cells: usize,
        entered: &[(u32, u32)],
        corners: impl Fn(u32) -> [&'a [f64; 3]; 3],
    ) -> Blocks {
        let mut count = vec![0u32; cells + 1];
        for &(cell, _) in entered {
            count[cell as usize] += 1;
        }
        let mut start = Vec::with_capacity(cells + 1);
        let mut sum = 0;
        for slot in &mut count {
            start.push(sum);
            sum += slot.div_ceil(LANES as u32);
            *slot = 0;
        }
        let mut blocks = vec![Block::empty(); sum as usize];
        for &(cell, f) in entered {
            let at = count[cell as usize] as usize;
            count[cell as usize] += 1;
            blocks[start[cell as usize] as usize + at / LANES].set(at % LANES, f, corners(f), round);
        }
        Blocks { start, blocks }
    }

    /// The triangles of a cell.
    #[inline]
    pub fn of(&self, cell: usize) -> &[Block] {
        &self.blocks[self.start[cell] as usize..self.start[cell + 1] as usize]
    }
}

/// Where the plan lies and how it is cut.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Frame {
    /// Least corner of the plan, mm.
    pub origin: [f64; 2],
    /// Width of a cell, mm.
    pub width: f64,
    /// Cells a millimetre.
    inverse: f64,
    /// Cells along the two axes.
    pub size: [usize; 2],
    /// Last cell along the two axes.
    limit: [f64; 2],
    /// Greatest corner of what stands on the plan, mm.
    pub far: [f64; 2],
}

impl Frame {
    fn new(shell: &Shell, turned: &Turned) -> Frame {
        let mut lo = [f64::INFINITY; 2];
        let mut hi = [f64::NEG_INFINITY; 2];
        for (p, _) in turned.at.iter().zip(&shell.used).filter(|(_, used)| **used) {
            for k in 0..2 {
                lo[k] = lo[k].min(p[k]);
                hi[k] = hi[k].max(p[k]);
            }
        }
        if lo[0] > hi[0] {
            (lo, hi) = ([0.0; 2], [0.0; 2]);
        }
        let extent = [hi[0] - lo[0], hi[1] - lo[1]];
        let n = shell.faces.len().max(1) as f64;
        let longest = extent[0].max(extent[1]).max(1e-3);
        let mut width = (1.9 * shell.mean_side)
            .max(longest / MOST_CELLS)
            .max((extent[0] * extent[1] / (CELLS_PER_FACE * n + 1024.0)).sqrt());
        // Long triangles would fill too many cells.
        let [sides, squares] = shell.sides;
        while squares / (width * width) + 2.0 * sides / width > (ENTRIES_PER_FACE - 1.0) * n + 4096.0 {
            width *= 1.5;
        }
        Frame::of_width(lo, hi, width)
    }

    fn of_width(lo: [f64; 2], hi: [f64; 2], width: f64) -> Frame {
        let size = [0, 1].map(|k| ((hi[k] - lo[k]) / width).floor() as usize + 3);
        Frame {
            origin: lo.map(|c| c - width),
            width,
            inverse: 1.0 / width,
            size,
            limit: size.map(|n| (n - 1) as f64),
            far: hi,
        }
    }

    /// Number of cells.
    pub fn cells(&self) -> usize {
        self.size[0] * self.size[1]
    }

    /// Cell along axis `k` of a coordinate; what lies outside falls into the empty cells around the cast. A place on
    /// the border of two cells may fall into either.
    #[inline]
    pub fn column(&self, k: usize, c: f64) -> usize {
        // The low bits of a number this large are its whole part: cheaper than a conversion that saturates.
        const WHOLE: f64 = (1u64 << 52) as f64;
        let x = (c - self.origin[k]) * self.inverse;
        let x = if x > 0.5 { x - 0.5 } else { 0.0 };
        let last = self.limit[k];
        let x = if x < last { x } else { last };
        (x + WHOLE).to_bits() as u32 as usize
    }

    /// Number of the cell of a place.
    #[inline]
    pub fn cell_of(&self, p: [f64; 2]) -> usize {
        self.column(1, p[1]) * self.size[0] + self.column(0, p[0])
    }

    /// Least corner of cell (i, j).
    #[inline]
    pub fn corner(&self, i: usize, j: usize) -> [f64; 2] {
        [self.origin[0] + i as f64 * self.width, self.origin[1] + j as f64 * self.width]
    }

    /// Least and greatest corner of a cell.
    pub fn bounds(&self, cell: usize) -> [[f64; 2]; 2] {
        let (i, j) = (cell % self.size[0], cell / self.size[0]);
        [self.corner(i, j), self.corner(i + 1, j + 1)]
    }

    /// Names every cell that the hull of `p` (a segment or a triangle) comes as near as `margin`, row by row.
    fn raster(&self, p: &[[f64; 2]], margin: f64, mut enter: impl FnMut(usize)) {
        let [[i0, i1], [j0, j1]] = self.range(p, margin);
        for j in j0..=j1 {
            let (mut a, mut b) = (i0, i1);
            if i1 > i0 && j1 > j0 {
                let bottom = self.origin[1] + j as f64 * self.width - margin;
                let top = bottom + self.width + 2.0 * margin;
                let Some((lo, hi)) = strip(p, bottom, top) else { continue };
                (a, b) = (self.column(0, lo - margin), self.column(0, hi + margin));
            }
            (a..=b).for_each(|i| enter(j * self.size[0] + i));
        }
    }

    /// Names every cell that a place comes as near as `margin` to.
    #[inline]
    pub fn around(&self, p: [f64; 2], margin: f64, mut enter: impl FnMut(usize)) {
        let [[i0, i1], [j0, j1]] = self.range(&[p], margin);
        (j0..=j1).for_each(|j| (i0..=i1).for_each(|i| enter(j * self.size[0] + i)));
    }

    /// Columns and rows that the box of `p`, widened by `margin`, meets.
    #[inline]
    fn range(&self, p: &[[f64; 2]], margin: f64) -> [[usize; 2]; 2] {
        let (mut lo, mut hi) = (p[0], p[0]);
        for q in &p[1..] {
            lo = [lesser(lo[0], q[0]), lesser(lo[1], q[1])];
            hi = [greater(hi[0], q[0]), greater(hi[1], q[1])];
        }
        [
            [self.column(0, lo[0] - margin), self.column(0, hi[0] + margin)],
            [self.column(1, lo[1] - margin), self.column(1, hi[1] + margin)],
        ]
    }
}

/// Column and row.
pub(super) type Place = [u16; 2];

/// The grid of one direction.
#[derive(Debug)]
pub(super) struct Grid {
    pub frame: Frame,
    /// More than what f32 loses of a coordinate of this shell, and more than the margin of triangles, mm.
    round: f64,
    /// Column and row of each vertex.
    pub places: Vec<Place>,
    /// Contour edges of each cell.
    pub rims: Lists<u32>,
    /// The same, as flat triangles side by side.
    pub lines: Blocks,
    /// No contour edge, and at most one layer: whatever is in the cell is free.
    pub single: Vec<bool>,
}

impl Grid {
    pub fn new(shell: &Shell, turned: &Turned) -> Grid {
        let frame = Frame::new(shell, turned);
        let places = filled(turned.at.len(), |v| {
            let p = &turned.at[v];
            [frame.column(0, p[0]) as u16, frame.column(1, p[1]) as u16]
        });
        let mut entered = Vec::with_capacity(4 * turned.rims.len());
        for (r, rim) in turned.rims.iter().enumerate() {
            let ends = rim.ends.map(|v| turned.plan(v));
            frame.raster(&ends, RIM_MARGIN, |cell| entered.push((cell as u32, r as u32)));
        }
        let mut single: Vec<bool> = layers(&frame, turned).into_iter().map(|n| n <= 1).collect();
        entered.iter().for_each(|&(cell, _)| single[cell as usize] = false);
        let rims = Lists::new(frame.cells(), &entered);
        let round = 2.0 * (FACE_MARGIN + shell.reach * f64::from(f32::EPSILON));
        let lines = Blocks::new(round, frame.cells(), &entered, |r| {
            let [a, b] = turned.rims[r as usize].ends.map(|v| &turned.at[v as usize]);
            [a, b, b]
        });
        Grid { frame, round, places, rims, lines, single }
    }

    /// Number of the cell of a vertex.
    #[inline]
    pub fn cell(&self, v: usize) -> usize {
        self.number(self.places[v])
    }

    #[inline]
    pub fn number(&self, [i, j]: Place) -> usize {
        usize::from(j) * self.frame.size[0] + usize::from(i)
    }

    /// Columns and rows of the box around some vertices.
    #[inline]
    pub fn range(&self, [a, b, c]: [u32; 3]) -> [Place; 2] {
        let at = |v: u32| self.places[v as usize];
        let ([ai, aj], [bi, bj], [ci, cj]) = (at(a), at(b), at(c));
        [[ai.min(bi).min(ci), aj.min(bj).min(cj)], [ai.max(bi).max(ci), aj.max(bj).max(cj)]]
    }

    /// Lists the triangles in the cells that are wanted, each in every cell that it meets.
    pub fn list(&self, shell: &Shell, turned: &Turned, wanted: &[bool]) -> Blocks {
        let about = self.about(wanted, 1);
        let mut entered: Vec<(u32, u32)> = Vec::with_capacity(shell.faces.len());
        for (f, &corners) in shell.faces.iter().enumerate() {
            let [lo, hi] = self.range(corners);
            let small = hi[0] - lo[0] <= 1 && hi[1] - lo[1] <= 1;
            if turned.facing[f] == 0 || (small && !about[self.number(lo)]) {
                continue;
            }
            let p = [turned.plan(corners[0]), turned.plan(corners[1]), turned.plan(corners[2])];
            let mut enter = |cell: usize| {
                if wanted[cell] {
                    entered.push((cell as u32, f as u32));
                }
            };
            let [[i0, i1], [j0, j1]] = self.frame.range(&p, FACE_MARGIN);
            if i1 - i0 <= 1 && j1 - j0 <= 1 {
                (j0..=j1).for_each(|j| (i0..=i1).for_each(|i| enter(j * self.frame.size[0] + i)));
            } else {
                self.frame.raster(&p, FACE_MARGIN, enter);
            }
        }
        self.blocks(&entered, |f| {
            let [a, b, c] = shell.faces[f as usize];
            [&turned.at[a as usize], &turned.at[b as usize], &turned.at[c as usize]]
        })
    }

    /// Puts triangles, entered by cell, side by side.
    pub fn blocks<'a>(&self, entered: &[(u32, u32)], corners: impl Fn(u32) -> [&'a [f64; 3]; 3]) -> Blocks {
        Blocks::new(self.round, self.frame.cells(), entered, corners)
    }

    /// For each cell, whether it, a neighbour right of or above it, or one `margin` cells from these is wanted: where a
    /// triangle begins that spans at most two columns and rows.
    pub fn about(&self, wanted: &[bool], margin: usize) -> Vec<bool> {
        let spread = |from: &[bool], step: usize| -> Vec<bool> {
            let mut to = from.to_vec();
            for k in 1..=margin + 1 {
                let far = (k * step).min(from.len());
                to.iter_mut().zip(&from[far..]).for_each(|(t, f)| *t |= f);
            }
            for k in 1..=margin {
                let far = (k * step).min(from.len());
                to[far..].iter_mut().zip(from).for_each(|(t, f)| *t |= f);
            }
            to
        };
        spread(&spread(wanted, 1), self.frame.size[0])
    }

    /// Names every cell that a triangle may meet whose corners lie in cells of a range: all of two by two, else those
    /// that it meets.
    #[inline]
    pub fn over_cells(
        &self,
        (shell, turned): (&Shell, &Turned),
        f: usize,
        [lo, hi]: [Place; 2],
        mut into: impl FnMut(usize),
    ) {
        if hi[0] - lo[0] <= 1 && hi[1] - lo[1] <= 1 {
            (lo[1]..=hi[1]).for_each(|j| (lo[0]..=hi[0]).for_each(|i| into(self.number([i, j]))));
        } else {
            self.enter(shell, turned, f, into);
        }
    }

    /// Names every cell that a triangle meets.
    pub fn enter(&self, shell: &Shell, turned: &Turned, f: usize, into: impl FnMut(usize)) {
        let [a, b, c] = shell.faces[f];
        self.frame.raster(&[turned.plan(a), turned.plan(b), turned.plan(c)], FACE_MARGIN, into);
    }

    /// What lies on the right hand of a piece.
    pub fn right_of(&self, piece: &Piece) -> RightOf {
        let d = [piece.to[0] - piece.from[0], piece.to[1] - piece.from[1]];
        let length = piece.length().max(f64::MIN_POSITIVE);
        let normal = [d[1] / length, -d[0] / length];
        let from = normal[0] * piece.from[0] + normal[1] * piece.from[1];
        // Eight roundings of f32 at most go into the comparison.
        RightOf { normal: normal.map(|c| c as f32), from: (from - 8.0 * self.round) as f32 }
    }

    /// Least and greatest f32 that a coordinate of this shell may stand for.
    #[inline]
    pub fn rough(&self, q: [f64; 2]) -> [[f32; 2]; 2] {
        [
            [(q[0] - self.round) as f32, (q[1] - self.round) as f32],
            [(q[0] + self.round) as f32, (q[1] + self.round) as f32],
        ]
    }
}

/// The lesser of two numbers, neither of them NaN.
#[inline]
pub(super) fn lesser(a: f64, b: f64) -> f64 {
    if a < b { a } else { b }
}

/// The greater of two numbers, neither of them NaN.
#[inline]
pub(super) fn greater(a: f64, b: f64) -> f64 {
    if a > b { a } else { b }
}

/// Layers over the centre of each cell: the jumps at the contour edges left of it, summed along its row.
fn layers(frame: &Frame, turned: &Turned) -> Vec<i32> {
    let [nx, ny] = frame.size;
    let mut jumps = vec![0i32; (nx + 1) * ny];
    for rim in turned.rims.iter().filter(|r| r.jump != 0) {
        let [a, b] = rim.ends.map(|v| turned.plan(v));
        let row = |y: f64| (((y - frame.origin[1]) / frame.width - 0.5).ceil().max(0.0) as usize).min(ny);
        // Rows whose centre line lies in the half-open range from the lower end to the upper one.
        let (lower, upper) = if a[1] <= b[1] { (a, b) } else { (b, a) };
        for j in row(lower[1])..row(upper[1]) {
            let y = frame.origin[1] + (j as f64 + 0.5) * frame.width;
            let t = (y - lower[1]) / (upper[1] - lower[1]);
            let x = lower[0] + t * (upper[0] - lower[0]);
            let i = (((x - frame.origin[0]) / frame.width - 0.5).ceil().max(0.0) as usize).min(nx);
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
