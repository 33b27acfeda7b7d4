//! The nearest place where nothing stands above a level.
//!
//! The border of what stands above a level is made of contour edges, where they are above it, and of the section of the
//! surface at that level; both only where nothing else covers them. Blocks of cells are gone through nearest first;
//! one that is covered above the level throughout, or holds nothing above it, is passed over.

use super::cover::{Piece, Plan};

/// Contour edges and sections are looked at this far outside the triangle that they bound, mm, so that what touches
/// them from the inside does not count as covering them.
const OUTSIDE_MM: f64 = 1e-7;
/// Uncovered parts shorter than this are gaps of rounding, mm.
const GAP_MM: f64 = 1e-6;
/// A cell's box is widened by this when pieces are cut to it, mm.
const CUT_MM: f64 = 2e-7;
/// Most coverings looked at along one piece. Each passes at least half a gap; a piece in a cell meets some tens.
const COVERINGS: usize = 20_000;

/// Blocks of 2 by 2 cells, of 2 by 2 blocks, and so on to one.
#[derive(Debug)]
pub(super) struct Pyramid {
    levels: Vec<Level>,
}

#[derive(Debug)]
struct Level {
    size: [usize; 2],
    /// Least `low` and greatest `high` of what it holds. An empty cell has an infinite `low`: no border is in it.
    range: Vec<[f64; 2]>,
}

impl Pyramid {
    pub fn new(plan: &Plan<'_>) -> Pyramid {
        let range = plan
            .grid
            .cells
            .iter()
            .map(|c| if c.high > f64::NEG_INFINITY { [c.low, c.high] } else { [f64::INFINITY, c.high] })
            .collect();
        let mut levels = vec![Level { size: plan.grid.size, range }];
        while let Some(last) = levels.last().filter(|l| l.range.len() > 1) {
            let size = last.size.map(|n| n.div_ceil(2));
            let mut range = vec![[f64::INFINITY, f64::NEG_INFINITY]; size[0] * size[1]];
            for (c, r) in last.range.iter().enumerate() {
                let (i, j) = (c % last.size[0] / 2, c / last.size[0] / 2);
                let slot = &mut range[j * size[0] + i];
                *slot = [slot[0].min(r[0]), slot[1].max(r[1])];
            }
            levels.push(Level { size, range });
        }
        Pyramid { levels }
    }
}

/// The nearest free place found so far.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Nearest {
    /// Distance in the plan, mm.
    pub distance: f64,
    /// The place.
    pub at: [f64; 2],
    /// Height of what bounds the free place there: that of the contour edge, or the level itself on a section.
    pub edge_height: f64,
    /// The contour edge that bounds it; `None` on a section, and beside the cast's box.
    pub rim: Option<u32>,
    /// Cell in which it was found.
    pub cell: usize,
}

/// A piece of the border of what stands above the level.
struct Border {
    piece: Piece,
    /// Heights at its ends.
    heights: [f64; 2],
    rim: Option<u32>,
    /// Nothing covers it.
    sure: bool,
}

/// What one search is about.
struct Query {
    q: [f64; 2],
    level: f64,
    best: Nearest,
}

impl Plan<'_> {
    /// The free place nearest to `q`, starting from cell `hint`. The place just beside the cast's box is always free.
    pub fn nearest_free(&self, pyramid: &Pyramid, q: [f64; 2], level: f64, hint: usize) -> Nearest {
        let mut query = Query { q, level, best: self.beside(q, level) };
        self.look(hint, &mut query);
        let top = pyramid.levels.len() - 1;
        let mut todo: Vec<(usize, usize, usize)> = vec![(top, 0, 0)];
        while let Some((k, i, j)) = todo.pop() {
            let level = &pyramid.levels[k];
            let [low, high] = level.range[j * level.size[0] + i];
            if low > query.level
                || high <= query.level
                || self.block_distance(k, i, j, q) >= query.best.distance
            {
                continue;
            }
            if k == 0 {
                let cell = j * level.size[0] + i;
                if cell != hint {
                    self.look(cell, &mut query);
                }
                continue;
            }
            let below = &pyramid.levels[k - 1];
            let mut children: [(f64, usize, usize); 4] = [(f64::INFINITY, 0, 0); 4];
            let mut n = 0;
            for (ci, cj) in [(2 * i, 2 * j), (2 * i + 1, 2 * j), (2 * i, 2 * j + 1), (2 * i + 1, 2 * j + 1)] {
                if ci < below.size[0] && cj < below.size[1] {
                    children[n] = (self.block_distance(k - 1, ci, cj, q), ci, cj);
                    n += 1;
                }
            }
            // Farthest first onto the stack, so that the nearest comes off first.
            let children = &mut children[..n];
            children.sort_by(|a, b| b.0.total_cmp(&a.0));
            todo.extend(children.iter().map(|&(_, i, j)| (k - 1, i, j)));
        }
        query.best
    }

    fn block_distance(&self, k: usize, i: usize, j: usize, q: [f64; 2]) -> f64 {
        let lo = self.grid.corner(i << k, j << k);
        let hi = self.grid.corner((i + 1) << k, (j + 1) << k);
        let gap = [0, 1].map(|a| (lo[a] - q[a]).max(q[a] - hi[a]).max(0.0));
        crate::space::hypot(gap[0], gap[1])
    }

    /// The nearest place outside the box around the cast.
    fn beside(&self, q: [f64; 2], level: f64) -> Nearest {
        let (lo, hi) = (self.grid.corner(1, 1), self.grid.far);
        let exits = [
            (q[0] - lo[0], [lo[0], q[1]]),
            (hi[0] - q[0], [hi[0], q[1]]),
            (q[1] - lo[1], [q[0], lo[1]]),
            (hi[1] - q[1], [q[0], hi[1]]),
        ];
        let (distance, at) = exits
            .into_iter()
            .fold((f64::INFINITY, q), |best, exit| if exit.0 < best.0 { exit } else { best });
        Nearest {
            distance: distance.max(0.0),
            at,
            edge_height: level,
            rim: None,
            cell: self.grid.cell_of(at),
        }
    }

    /// Looks at all pieces of border in a cell.
    fn look(&self, cell: usize, query: &mut Query) {
        let known = self.grid.cells[cell];
        if known.low > query.level || known.high <= query.level {
            return;
        }
        let (i, j) = (cell % self.grid.size[0], cell / self.grid.size[0]);
        let bounds = [self.grid.corner(i, j), self.grid.corner(i + 1, j + 1)];
        for &r in self.grid.rims.of(cell) {
            let rim = &self.turned.rims[r as usize];
            if rim.open {
                let [a, b] = rim.ends.map(|v| self.turned.at[v as usize]);
                if let Some((piece, heights)) = above(a, b, query.level) {
                    self.look_at(&Border { piece, heights, rim: Some(r), sure: false }, cell, bounds, query);
                }
            }
        }
        for &f in self.grid.faces.of(cell) {
            let [low, high] = self.turned.span[f as usize];
            if low <= query.level
                && high > query.level
                && let Some(piece) = section(self.corners(f), query.level)
            {
                let border = Border { piece, heights: [query.level; 2], rim: None, sure: known.single };
                self.look_at(&border, cell, bounds, query);
            }
        }
    }

    /// Looks at one piece of border within a cell: its nearest uncovered place.
    fn look_at(&self, border: &Border, cell: usize, bounds: [[f64; 2]; 2], query: &mut Query) {
        let piece = &border.piece;
        let Some((lo, hi)) = cut(piece, bounds) else { return };
        let found = if border.sure {
            Some(piece.nearest(query.q, lo, hi))
        } else {
            self.nearest_uncovered(piece, (lo, hi), query)
        };
        let Some(t) = found else { return };
        let at = piece.at(t);
        let distance = crate::space::hypot(at[0] - query.q[0], at[1] - query.q[1]);
        if distance < query.best.distance {
            let edge_height = border.heights[0] + t * (border.heights[1] - border.heights[0]);
            query.best = Nearest { distance, at, edge_height, rim: border.rim, cell };
        }
    }

    /// Place along `piece` within `part` that is nearest to the query and that no triangle above the level covers;
    /// `None` where that is no nearer than the best so far.
    fn nearest_uncovered(&self, piece: &Piece, part: (f64, f64), query: &Query) -> Option<f64> {
        let length = piece.length();
        let gap = if length > 0.0 { GAP_MM / length } else { 2.0 };
        let mut open: Vec<(f64, f64)> = vec![part];
        for _ in 0..COVERINGS {
            let mut best: Option<(f64, usize, f64)> = None;
            for (k, &(lo, hi)) in open.iter().enumerate() {
                let t = piece.nearest(query.q, lo, hi);
                let at = piece.at(t);
                let distance = crate::space::hypot(at[0] - query.q[0], at[1] - query.q[1]);
                if distance < query.best.distance && best.is_none_or(|b| distance < b.0) {
                    best = Some((distance, k, t));
                }
            }
            let (_, k, t) = best?;
            let Some(f) = self.covering(piece.at(t), query.level, |_| false) else { return Some(t) };
            let (a, b) = self.covered_part(f, piece, query.level).unwrap_or((t, t));
            let (a, b) = (a.min(t - gap / 2.0), b.max(t + gap / 2.0));
            let (lo, hi) = open.swap_remove(k);
            open.extend([(lo, a), (b, hi)].into_iter().filter(|(lo, hi)| hi - lo > gap));
            // Other open parts are cut as well; they are met again only where they are still open.
            for part in &mut open {
                if a <= part.0 && part.1 <= b {
                    *part = (0.0, -1.0);
                } else if a <= part.0 && b > part.0 {
                    part.0 = b;
                } else if b >= part.1 && a < part.1 {
                    part.1 = a;
                }
            }
            open.retain(|(lo, hi)| hi - lo > gap);
        }
        None
    }
}

/// The part of a contour edge above a level, moved to its outer (right) hand, and its heights at both ends.
fn above(a: [f64; 3], b: [f64; 3], level: f64) -> Option<(Piece, [f64; 2])> {
    if a[2] <= level && b[2] <= level {
        return None;
    }
    let at = |t: f64| [0, 1, 2].map(|k| a[k] + t * (b[k] - a[k]));
    let meet = || ((level - a[2]) / (b[2] - a[2])).clamp(0.0, 1.0);
    let (a, b) = match (a[2] > level, b[2] > level) {
        (true, true) => (a, b),
        (true, false) => (a, at(meet())),
        _ => (at(meet()), b),
    };
    let piece = Piece { from: [a[0], a[1]], to: [b[0], b[1]] };
    Some((moved_right(&piece)?, [a[2], b[2]]))
}

/// Section of a triangle at a level, moved a little toward its lower side.
fn section(p: [[f64; 3]; 3], level: f64) -> Option<Piece> {
    let up = p.map(|c| c[2] > level);
    // The corner that stands alone on its side of the level.
    let lone = (0..3).find(|&k| up[k] != up[(k + 1) % 3] && up[k] != up[(k + 2) % 3])?;
    let meet = |other: usize| {
        // Always from the upper end, so that neighbours compute the same place.
        let (hi, lo) = if up[lone] { (p[lone], p[other]) } else { (p[other], p[lone]) };
        let t = (hi[2] - level) / (hi[2] - lo[2]);
        [0, 1].map(|k| hi[k] + t * (lo[k] - hi[k]))
    };
    let (a, b) = (meet((lone + 1) % 3), meet((lone + 2) % 3));
    let hand = (b[0] - a[0]) * (p[lone][1] - a[1]) - (b[1] - a[1]) * (p[lone][0] - a[0]);
    // The lower side must be on the right hand.
    let lone_on_left = hand > 0.0;
    let piece = if lone_on_left == up[lone] { Piece { from: a, to: b } } else { Piece { from: b, to: a } };
    moved_right(&piece)
}

fn moved_right(piece: &Piece) -> Option<Piece> {
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
fn cut(piece: &Piece, [lo, hi]: [[f64; 2]; 2]) -> Option<(f64, f64)> {
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
