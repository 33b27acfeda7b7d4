//! The contour edges that bound what stands above a level, once for all levels: at each place of an open contour edge
//! the surface ends at the edge's own height, and something lower, or nothing, stands just outside. That place is a
//! border of what stands above a level exactly where the edge is above the level and what stands outside is not.

use super::cover::{Overhead, Piece, Plan};
use super::filled;
use super::grid::{Block, Blocks, greater, lesser};
use super::need::Need;
use super::shell::Shell;
use rayon::prelude::*;

/// Contour edges and sections are looked at this far outside the triangle that they bound, mm, so that what touches
/// them from the inside does not count as covering them.
pub(super) const OUTSIDE_MM: f64 = 1e-7;
/// Uncovered parts shorter than this are gaps of rounding, mm.
pub(super) const GAP_MM: f64 = 1e-6;
/// A cell's box is widened by this when pieces are cut to it, mm.
const CUT_MM: f64 = 2e-7;
/// Cells looked at one after the other by one thread.
const CHUNK: usize = 1024;

/// A part of an open contour edge within a cell beside one and the same triangle, or beside nothing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Border {
    pub from: [f64; 2],
    pub along: [f64; 2],
    /// One over the square of its length; 0 where it has none.
    inverse: f64,
    /// Heights of the edge at both ends.
    pub edge: [f64; 2],
    /// What stands just outside at both ends; minus infinity where nothing does.
    pub outside: [f64; 2],
    /// The contour edge.
    pub rim: u32,
}

impl Border {
    fn new(from: [f64; 2], to: [f64; 2], edge: [f64; 2], outside: [f64; 2], rim: u32) -> Border {
        let along = [to[0] - from[0], to[1] - from[1]];
        let square = along[0] * along[0] + along[1] * along[1];
        let inverse = if square > 0.0 { 1.0 / square } else { 0.0 };
        Border { from, along, inverse, edge, outside, rim }
    }

    /// The place along it, 0 to 1, that is nearest to `q` of those that bound what stands above a level.
    #[inline]
    pub fn nearest(&self, q: [f64; 2], level: f64) -> Option<f64> {
        let t =
            ((q[0] - self.from[0]) * self.along[0] + (q[1] - self.from[1]) * self.along[1]) * self.inverse;
        let [e0, e1] = self.edge;
        let [o0, o1] = self.outside;
        let whole = (e0 > level) & (e1 > level) & (o0 <= level) & (o1 <= level);
        let (lo, hi) = if whole { (0.0, 1.0) } else { self.part(level)? };
        Some(lesser(greater(t, lo), hi))
    }

    /// The part of it that bounds what stands above a level.
    fn part(&self, level: f64) -> Option<(f64, f64)> {
        let above = clipped((0.0, 1.0), self.edge, level, true)?;
        clipped(above, self.outside, level, false)
    }

    #[inline]
    pub fn at(&self, t: f64) -> [f64; 2] {
        [self.from[0] + t * self.along[0], self.from[1] + t * self.along[1]]
    }
}

/// The part of a range in which what runs straight between two heights is above a level, or is not.
#[inline]
fn clipped((lo, hi): (f64, f64), heights: [f64; 2], level: f64, above: bool) -> Option<(f64, f64)> {
    let keep = [(heights[0] > level) == above, (heights[1] > level) == above];
    let (lo, hi) = match keep {
        [true, true] => (lo, hi),
        [false, false] => return None,
        _ => {
            let t = (level - heights[0]) / (heights[1] - heights[0]);
            if keep[0] { (lo, hi.min(t)) } else { (lo.max(t), hi) }
        }
    };
    (lo <= hi).then_some((lo, hi))
}

/// Whether a triangle can be seen from above.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) enum Seen {
    /// Nowhere: it bounds nothing.
    Hidden,
    /// Everywhere.
    Shown,
    /// Here and there, or not known.
    #[default]
    Partly,
}

/// All borders of a plan, by cell, and what is seen of each triangle.
#[derive(Debug)]
pub(super) struct Borders {
    start: Vec<u32>,
    borders: Vec<Border>,
    pub seen: Vec<Seen>,
}

impl Borders {
    pub fn new(plan: &Plan<'_>, faces: &Blocks, need: &Need) -> Borders {
        let cells = plan.grid.frame.cells();
        let found: Vec<(Vec<u32>, Vec<(Border, Option<u32>)>)> = (0..cells.div_ceil(CHUNK))
            .into_par_iter()
            .map(|chunk| {
                let (mut ends, mut borders) = (Vec::with_capacity(CHUNK), Vec::new());
                let mut outside = Outside::default();
                for cell in chunk * CHUNK..cells.min((chunk + 1) * CHUNK) {
                    if need.cells[cell] {
                        outside.borders_of(plan, (cell, faces.of(cell)), need.heights[0], &mut borders);
                    }
                    ends.push(borders.len() as u32);
                }
                (ends, borders)
            })
            .collect();
        let mut start = vec![0u32];
        let mut borders = Vec::with_capacity(found.iter().map(|f| f.1.len()).sum());
        for (ends, part) in &found {
            let first = borders.len() as u32;
            start.extend(ends.iter().map(|e| first + e));
            borders.extend(part.iter().map(|b| b.0));
        }
        let mut seen = seen_by_corners(plan);
        for f in found.iter().flat_map(|f| &f.1).filter_map(|b| b.1) {
            seen[f as usize] = Seen::Partly;
        }
        Borders { start, borders, seen }
    }

    /// The borders in a cell.
    #[inline]
    pub fn of(&self, cell: usize) -> &[Border] {
        &self.borders[self.start[cell] as usize..self.start[cell + 1] as usize]
    }
}

/// What is seen of each triangle as far as its corners tell. What is seen of its inside changes only at contour edges
/// above it, which show it outside of them, and where another triangle passes through it.
fn seen_by_corners(plan: &Plan<'_>) -> Vec<Seen> {
    use super::standing::Standing::{Firm, Free};
    let Shell { faces, .. } = plan.shell;
    let crossed = plan.shell.crossed();
    filled(faces.len(), |f| {
        let [a, b, c] = faces[f];
        let at = [plan.standing[a as usize], plan.standing[b as usize], plan.standing[c as usize]];
        if crossed[f] {
            Seen::Partly
        } else if at.contains(&Firm) {
            Seen::Hidden
        } else if at == [Free; 3] {
            Seen::Shown
        } else {
            Seen::Partly
        }
    })
}

/// A contour edge, moved outside.
struct Whole {
    piece: Piece,
    edge: [f64; 2],
    rim: u32,
}

impl Whole {
    fn height(&self, t: f64) -> f64 {
        self.edge[0] + t * (self.edge[1] - self.edge[0])
    }

    /// Whether a triangle stands above it throughout.
    fn under(&self, over: &Overhead, part: (f64, f64)) -> bool {
        let above = |t: f64| over.at(t) >= self.height(t);
        over.part == [part.0, part.1] && above(part.0) && above(part.1)
    }
}

/// Scratch space: what lies under or over one piece.
#[derive(Default)]
struct Outside {
    overhead: Vec<Overhead>,
    stops: Vec<f64>,
}

impl Outside {
    /// Adds the borders in a cell, out of its triangles, as far as they are higher than `floor`.
    fn borders_of(
        &mut self,
        plan: &Plan<'_>,
        (cell, faces): (usize, &[Block]),
        floor: f64,
        into: &mut Vec<(Border, Option<u32>)>,
    ) {
        let rims = plan.grid.rims.of(cell);
        if rims.is_empty() {
            return;
        }
        let bounds = plan.grid.frame.bounds(cell);
        // What lies lower bounds nothing that is asked about.
        let ground = plan.grid.rough([floor; 2])[0][0];
        for &r in rims {
            let rim = &plan.turned.rims[r as usize];
            if !rim.open {
                continue;
            }
            let [a, b] = plan.turned.ends(r);
            if a[2] <= floor && b[2] <= floor {
                continue;
            }
            let Some(piece) = moved_right(&Piece { from: [a[0], a[1]], to: [b[0], b[1]] }) else { continue };
            let Some(part) = cut(&piece, bounds) else { continue };
            self.overhead.clear();
            let (p, q) = (piece.at(part.0), piece.at(part.1));
            let [lo, _] = plan.grid.rough([lesser(p[0], q[0]), lesser(p[1], q[1])]);
            let [_, hi] = plan.grid.rough([greater(p[0], q[0]), greater(p[1], q[1])]);
            let whole = Whole { piece, edge: [a[2], b[2]], rim: r };
            let right = plan.grid.right_of(&piece);
            let mut covered = false;
            'blocks: for block in faces {
                // Most of what is near lies behind the contour edge.
                let mut near = block.near(lo, hi, ground) & block.reaches(&right);
                while near != 0 {
                    let f = block.face[near.trailing_zeros() as usize];
                    near &= near - 1;
                    let Some(over) = plan.overhead(f, &piece, part) else { continue };
                    if whole.under(&over, part) {
                        covered = true;
                        break 'blocks;
                    }
                    self.overhead.push(over);
                }
            }
            if !covered {
                self.split(&whole, part, into);
            }
        }
    }

    /// Splits a piece where another triangle comes to stand highest outside it, and keeps the parts whose edge is
    /// above what stands outside.
    fn split(&mut self, whole: &Whole, part: (f64, f64), into: &mut Vec<(Border, Option<u32>)>) {
        if self.overhead.is_empty() {
            return self.highest(whole, part, into);
        }
        self.drop_hidden();
        let length = whole.piece.length();
        let gap = if length > 0.0 { GAP_MM / length } else { 2.0 };
        self.stops.clear();
        self.stops.extend(self.overhead.iter().flat_map(|o| o.part));
        self.stops.push(part.1);
        self.stops.sort_unstable_by(f64::total_cmp);
        let mut from = part.0;
        for i in 0..self.stops.len() {
            let to = self.stops[i];
            // Parts shorter than a gap go to what follows, and at the end to what went before.
            if to - from < gap && (i + 1 < self.stops.len() || part.1 - part.0 >= gap) {
                continue;
            }
            self.highest(whole, (from, to), into);
            from = to;
        }
    }

    /// Drops triangles that a single other one stands above throughout: they can be highest nowhere.
    fn drop_hidden(&mut self) {
        let top = |o: &Overhead| o.at(o.part[0]).max(o.at(o.part[1]));
        self.overhead.sort_unstable_by(|a, b| top(b).total_cmp(&top(a)).then(a.face.cmp(&b.face)));
        let mut kept = 0;
        for i in 0..self.overhead.len() {
            let o = self.overhead[i];
            let hidden = self.overhead[..kept].iter().any(|a| {
                let wider = a.part[0] <= o.part[0] && o.part[1] <= a.part[1];
                wider && o.part.iter().all(|&t| a.at(t) > o.at(t))
            });
            if !hidden {
                self.overhead[kept] = o;
                kept += 1;
            }
        }
        self.overhead.truncate(kept);
    }

    /// Between two stops each triangle is there throughout or not at all: the line of the highest one.
    fn highest(&self, whole: &Whole, (from, to): (f64, f64), into: &mut Vec<(Border, Option<u32>)>) {
        let middle = 0.5 * (from + to);
        let here = || self.overhead.iter().filter(|o| o.part[0] <= middle && middle <= o.part[1]);
        let value = Overhead::at;
        let mut add = |a: f64, b: f64, top: Option<&Overhead>| {
            let outside = top.map_or([f64::NEG_INFINITY; 2], |o| [value(o, a), value(o, b)]);
            let edge = [whole.height(a), whole.height(b)];
            if outside[0] < edge[0] || outside[1] < edge[1] {
                let border = Border::new(whole.piece.at(a), whole.piece.at(b), edge, outside, whole.rim);
                into.push((border, top.map(|o| o.face)));
            }
        };
        let first = here().reduce(|a, b| {
            let order = value(a, from).total_cmp(&value(b, from)).then(a.slope.total_cmp(&b.slope));
            if order.is_lt() { b } else { a }
        });
        let Some(mut top) = first else { return add(from, to, None) };
        let mut a = from;
        loop {
            // The first line that overtakes the highest one.
            let mut next: Option<(f64, &Overhead)> = None;
            for o in here().filter(|o| o.slope > top.slope) {
                let (over, under) = (value(top, a) - value(o, a), value(o, to) - value(top, to));
                if under > 0.0 {
                    let t = a + (to - a) * (over.max(0.0) / (over.max(0.0) + under));
                    if next.is_none_or(|(best, _)| t < best) {
                        next = Some((t, o));
                    }
                }
            }
            let Some((t, o)) = next else { return add(a, to, Some(top)) };
            if t > a {
                add(a, t, Some(top));
            }
            (a, top) = (t, o);
        }
    }
}

/// The piece moved a little to its right hand; `None` where it is too short to have one.
pub(super) fn moved_right(piece: &Piece) -> Option<Piece> {
    let length = piece.length();
    if length < 1e-9 {
        return None;
    }
    let right = [
        OUTSIDE_MM * (piece.to[1] - piece.from[1]) / length,
        -OUTSIDE_MM * (piece.to[0] - piece.from[0]) / length,
    ];
    let shift = |p: [f64; 2]| [p[0] + right[0], p[1] + right[1]];
    Some(Piece { from: shift(piece.from), to: shift(piece.to) })
}

/// The part of a piece inside a cell's box.
pub(super) fn cut(piece: &Piece, [lo, hi]: [[f64; 2]; 2]) -> Option<(f64, f64)> {
    let (mut t0, mut t1) = (0.0f64, 1.0f64);
    for k in 0..2 {
        let d = piece.to[k] - piece.from[k];
        let (near, far) = (lo[k] - CUT_MM - piece.from[k], hi[k] + CUT_MM - piece.from[k]);
        if d.abs() < 1e-300 {
            if near > 0.0 || far < 0.0 {
                return None;
            }
            continue;
        }
        let (a, b) = if d > 0.0 { (near / d, far / d) } else { (far / d, near / d) };
        t0 = t0.max(a);
        t1 = t1.min(b);
    }
    (t0 <= t1).then_some((t0, t1))
}
