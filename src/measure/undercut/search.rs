//! The nearest place where nothing stands above a level.
//!
//! The border of what stands above a level is made of open contour edges, where they are above it and what stands
//! outside is not, and of the section at that level of what is seen of the surface from above. Blocks of cells are gone
//! through nearest first; one in which neither can lie at that level is passed over.

use super::LEVEL_MM;
use super::border::{Border, Borders, GAP_MM, Seen, cut, moved_right};
use super::cover::{Piece, Plan};
use super::grid::{Blocks, Lists, greater, lesser};
use super::need::Need;
use std::sync::Arc;

/// Most coverings looked at along one piece. Each passes at least half a gap; a piece in a cell meets some tens.
const COVERINGS: usize = 20_000;

/// Blocks of 2 by 2 cells, of 2 by 2 blocks, and so on to one, with the bands of height (a bit each) in which
/// something in a block can bound what stands above.
#[derive(Debug)]
struct Level {
    size: [usize; 2],
    bands: Vec<u64>,
}

/// The heights of whatever is undercut, cut into 64 bands.
#[derive(Clone, Copy, Debug)]
struct Bands {
    low: f64,
    high: f64,
    scale: f64,
}

impl Bands {
    fn new(plan: &Plan<'_>, seen: &[Seen], need: &Need) -> Bands {
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for f in (0..seen.len()).filter(|&f| seen[f] != Seen::Shown) {
            let [a, b, c] = plan.corners(f as u32);
            low = lesser(low, lesser(lesser(a[2], b[2]), c[2]));
            high = greater(high, greater(greater(a[2], b[2]), c[2]));
        }
        // Levels lie a little above the vertices.
        let (low, high) = (greater(low, need.heights[0]), lesser(high, need.heights[1] + 2.0 * LEVEL_MM));
        Bands { low, high, scale: if high > low { 64.0 / (high - low) } else { 0.0 } }
    }

    #[inline]
    fn of(&self, height: f64) -> u32 {
        (((height - self.low) * self.scale) as i32).clamp(0, 63) as u32
    }

    /// The bands from one height to another.
    #[inline]
    fn between(&self, low: f64, high: f64) -> u64 {
        (u64::MAX >> (63 - self.of(high))) & (u64::MAX << self.of(low))
    }
}

/// A triangle with its heights, rounded outward.
#[derive(Clone, Copy, Debug, Default)]
struct Heights {
    low: f32,
    high: f32,
    face: u32,
}

/// All that is needed to search one plan.
#[derive(Debug)]
pub(super) struct Search {
    borders: Borders,
    /// Triangles of the cells that hold contour edges, and of others in which something is seen here and there.
    at_rims: Arc<Blocks>,
    elsewhere: Blocks,
    /// Triangles that are seen throughout and no larger than a cell, each in the cell of its middle.
    shown: Lists<Heights>,
    /// How far such a triangle may reach out of its cell, mm.
    reach: f64,
    /// The others that may be seen, in every cell that they meet.
    others: Lists<Heights>,
    bands: Bands,
    levels: Vec<Level>,
}

impl Search {
    /// `need`: what may matter to whoever will search.
    pub fn new(plan: &Plan<'_>, need: &Need) -> Search {
        // Where every cell may matter the plan's own list serves.
        let at_rims = if need.cells.iter().all(|needed| *needed) {
            plan.in_rim_cells().clone()
        } else {
            Arc::new(plan.listed(|cell| need.cells[cell] && !plan.grid.rims.of(cell).is_empty()))
        };
        let borders = Borders::new(plan, &at_rims, need);
        let bands = Bands::new(plan, &borders.seen, need);
        let frame = &plan.grid.frame;
        let mut cells = vec![0u64; frame.cells()];
        let mut asked = vec![false; frame.cells()];
        let (mut shown, mut others, mut reach) = (Vec::new(), Vec::new(), 0.0);
        for (f, seen) in borders.seen.iter().enumerate().filter(|(_, seen)| **seen != Seen::Hidden) {
            let [a, b, c] = plan.corners(f as u32);
            let least = |k: usize| lesser(lesser(a[k], b[k]), c[k]);
            let most = |k: usize| greater(greater(a[k], b[k]), c[k]);
            let (least, most) = ([least(0), least(1), least(2)], [most(0), most(1), most(2)]);
            // What lies higher or lower than everything that is undercut bounds nothing at its level.
            if least[2] > bands.high || most[2] < bands.low {
                continue;
            }
            let band = bands.between(least[2], most[2]);
            let [low, high] = plan.grid.rough([least[2], most[2]]);
            let entry = Heights { low: low[0], high: high[1], face: f as u32 };
            let half = 0.5 * greater(most[0] - least[0], most[1] - least[1]);
            if *seen == Seen::Shown && half <= 0.5 * frame.width {
                reach = greater(reach, half);
                let cell = frame.cell_of([0.5 * (least[0] + most[0]), 0.5 * (least[1] + most[1])]);
                if need.cells[cell] {
                    cells[cell] |= band;
                    shown.push((cell as u32, entry));
                }
            } else {
                let partly = *seen == Seen::Partly;
                plan.grid.enter(plan.shell, &plan.turned, f, |cell| {
                    if !need.cells[cell] {
                        return;
                    }
                    asked[cell] |= partly && !plan.grid.single[cell] && plan.grid.rims.of(cell).is_empty();
                    cells[cell] |= band;
                    others.push((cell as u32, entry));
                });
            }
        }
        for (cell, slot) in cells.iter_mut().enumerate() {
            for b in borders.of(cell) {
                let (low, high) = (lesser(b.outside[0], b.outside[1]), greater(b.edge[0], b.edge[1]));
                *slot |= bands.between(low, high);
            }
        }
        // Four lists that know nothing of each other.
        let ((shown, others), (elsewhere, levels)) = rayon::join(
            || rayon::join(|| Lists::new(frame.cells(), &shown), || Lists::new(frame.cells(), &others)),
            || {
                let elsewhere = || plan.grid.list(plan.shell, &plan.turned, &asked);
                rayon::join(elsewhere, || levels(frame.size, cells))
            },
        );
        Search { shown, others, reach, borders, at_rims, elsewhere, bands, levels }
    }
}

/// The blocks over the cells.
fn levels(size: [usize; 2], cells: Vec<u64>) -> Vec<Level> {
    let mut levels = vec![Level { size, bands: cells }];
    while let Some(last) = levels.last().filter(|l| l.bands.len() > 1) {
        let size = last.size.map(|n| n.div_ceil(2));
        let mut bands = vec![0u64; size[0] * size[1]];
        for (j, row) in last.bands.chunks(last.size[0]).enumerate() {
            for (i, b) in row.iter().enumerate() {
                bands[(j / 2) * size[0] + i / 2] |= b;
            }
        }
        levels.push(Level { size, bands });
    }
    levels
}

/// The nearest free place found so far.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Nearest {
    /// Squared distance in the plan, mm2.
    square: f64,
    /// The place.
    pub at: [f64; 2],
    /// Height of what bounds the free place there: that of the contour edge, or the level itself on a section.
    pub edge_height: f64,
    /// The contour edge that bounds it; `None` on a section, and beside the cast's box.
    pub rim: Option<u32>,
    /// Cell in which it was found.
    pub cell: usize,
}

impl Nearest {
    /// Distance in the plan, mm.
    pub fn distance(&self) -> f64 {
        self.square.sqrt()
    }
}

/// What one search is about.
struct Query {
    q: [f64; 2],
    level: f64,
    best: Nearest,
}

impl Query {
    #[inline]
    fn square(&self, at: [f64; 2]) -> f64 {
        let d = [at[0] - self.q[0], at[1] - self.q[1]];
        d[0] * d[0] + d[1] * d[1]
    }
}

/// A plan with all that is needed to search it.
#[derive(Clone, Copy)]
pub(super) struct Searched<'a> {
    pub plan: &'a Plan<'a>,
    pub search: &'a Search,
}

impl Searched<'_> {
    /// The free place nearest to a point, starting from cell `hint`.
    pub fn from(&self, p: [f64; 3], hint: usize, todo: &mut Todo) -> Nearest {
        self.nearest_free([p[0], p[1]], p[2] + LEVEL_MM, hint, todo)
    }

    /// The free place nearest to `q`, starting from cell `hint`. The place just beside the cast's box is always free.
    pub fn nearest_free(&self, q: [f64; 2], level: f64, hint: usize, todo: &mut Todo) -> Nearest {
        let mut query = Query { q, level, best: self.beside(q, level) };
        self.look(hint, &mut query);
        let frame = &self.plan.grid.frame;
        let levels = &self.search.levels;
        // Blocks at least as wide as the circle that is left to search: it meets at most nine of them.
        let mut k = 0;
        let mut width = frame.width;
        let reach = query.best.distance() + self.search.reach;
        while k + 1 < levels.len() && width < reach {
            k += 1;
            width *= 2.0;
        }
        let span = |axis: usize| {
            let first = frame.column(axis, q[axis] - reach) >> k;
            let last = frame.column(axis, q[axis] + reach) >> k;
            first..=last
        };
        let band = self.search.bands.of(level);
        todo.blocks.clear();
        for j in span(1) {
            for i in span(0) {
                self.enter(k, [i, j], band, &query, todo);
            }
        }
        todo.sort_from(0);
        while let Some((square, k, [i, j])) = todo.pop() {
            if square >= query.best.square {
                continue;
            }
            if k == 0 {
                let cell = j * frame.size[0] + i;
                if cell != hint {
                    self.look(cell, &mut query);
                }
                continue;
            }
            let from = todo.len();
            for (ci, cj) in [(2 * i, 2 * j), (2 * i + 1, 2 * j), (2 * i, 2 * j + 1), (2 * i + 1, 2 * j + 1)] {
                if ci < levels[k - 1].size[0] && cj < levels[k - 1].size[1] {
                    self.enter(k - 1, [ci, cj], band, &query, todo);
                }
            }
            todo.sort_from(from);
        }
        query.best
    }

    /// Puts a block on the list of what is to be looked at, unless it is too far or can bound nothing.
    #[inline]
    fn enter(&self, k: usize, [i, j]: [usize; 2], band: u32, query: &Query, todo: &mut Todo) {
        let at = &self.search.levels[k];
        if (at.bands[j * at.size[0] + i] >> band) & 1 == 0 {
            return;
        }
        let frame = &self.plan.grid.frame;
        let (lo, hi) = (frame.corner(i << k, j << k), frame.corner((i + 1) << k, (j + 1) << k));
        let gap =
            |a: usize| greater(greater(lo[a] - query.q[a], query.q[a] - hi[a]) - self.search.reach, 0.0);
        let square = gap(0) * gap(0) + gap(1) * gap(1);
        if square < query.best.square {
            todo.push((square, k, [i, j]));
        }
    }

    /// The nearest place outside the box around the cast.
    fn beside(&self, q: [f64; 2], level: f64) -> Nearest {
        let frame = &self.plan.grid.frame;
        let (lo, hi) = (frame.corner(1, 1), frame.far);
        let exits = [
            (q[0] - lo[0], [lo[0], q[1]]),
            (hi[0] - q[0], [hi[0], q[1]]),
            (q[1] - lo[1], [q[0], lo[1]]),
            (hi[1] - q[1], [q[0], hi[1]]),
        ];
        let (distance, at) = exits
            .into_iter()
            .fold((f64::INFINITY, q), |best, exit| if exit.0 < best.0 { exit } else { best });
        let distance = distance.max(0.0);
        Nearest { square: distance * distance, at, edge_height: level, rim: None, cell: frame.cell_of(at) }
    }

    /// Looks at all pieces of border in a cell.
    fn look(&self, cell: usize, query: &mut Query) {
        for border in self.search.borders.of(cell) {
            self.look_at_edge(border, cell, query);
        }
        let level = query.level;
        for e in self.search.shown.of(cell) {
            if f64::from(e.low) <= level && f64::from(e.high) > level {
                self.look_at_section(e.face, cell, query);
            }
        }
        for e in self.search.others.of(cell) {
            if f64::from(e.low) <= level && f64::from(e.high) > level {
                self.look_at_section(e.face, cell, query);
            }
        }
    }

    #[inline]
    fn look_at_edge(&self, border: &Border, cell: usize, query: &mut Query) {
        let Some(t) = border.nearest(query.q, query.level) else { return };
        let at = border.at(t);
        let square = query.square(at);
        if square < query.best.square {
            let edge_height = border.edge[0] + t * (border.edge[1] - border.edge[0]);
            query.best = Nearest { square, at, edge_height, rim: Some(border.rim), cell };
        }
    }

    fn look_at_section(&self, f: u32, cell: usize, query: &mut Query) {
        let Some(piece) = section(self.plan.corners(f), query.level) else { return };
        let whole = piece.at(piece.nearest(query.q, 0.0, 1.0));
        if query.square(whole) >= query.best.square {
            return;
        }
        let at = if self.search.borders.seen[f as usize] == Seen::Shown {
            whole
        } else {
            let Some(moved) = moved_right(&piece) else { return };
            let Some(part) = cut(&moved, self.plan.grid.frame.bounds(cell)) else { return };
            let t = if self.plan.grid.single[cell] {
                moved.nearest(query.q, part.0, part.1)
            } else {
                let Some(t) = self.nearest_uncovered(&moved, part, cell, query) else { return };
                t
            };
            piece.at(t)
        };
        let square = query.square(at);
        if square < query.best.square {
            query.best = Nearest { square, at, edge_height: query.level, rim: None, cell };
        }
    }

    /// Place along `piece` within `part` that is nearest to the query and that no triangle above the level covers;
    /// `None` where that is no nearer than the best so far.
    fn nearest_uncovered(&self, piece: &Piece, part: (f64, f64), cell: usize, query: &Query) -> Option<f64> {
        let length = piece.length();
        let gap = if length > 0.0 { GAP_MM / length } else { 2.0 };
        let mut open: Vec<(f64, f64)> = vec![part];
        for _ in 0..COVERINGS {
            let mut best: Option<(f64, usize, f64)> = None;
            for (k, &(lo, hi)) in open.iter().enumerate() {
                let t = piece.nearest(query.q, lo, hi);
                let square = query.square(piece.at(t));
                if square < query.best.square && best.is_none_or(|b| square < b.0) {
                    best = Some((square, k, t));
                }
            }
            let (_, k, t) = best?;
            let list = match self.search.at_rims.of(cell) {
                [] => self.search.elsewhere.of(cell),
                list => list,
            };
            let Some((f, _)) = self.plan.covering_in(list, piece.at(t), query.level, |_| false) else {
                return Some(t);
            };
            let (a, b) = self.plan.covered_part(f, piece, query.level).unwrap_or((t, t));
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

/// Blocks to be looked at: squared distance, level of blocks, place. Scratch space of a search.
#[derive(Debug, Default)]
pub(super) struct Todo {
    blocks: Vec<(f64, usize, [usize; 2])>,
}

impl Todo {
    fn len(&self) -> usize {
        self.blocks.len()
    }

    fn push(&mut self, block: (f64, usize, [usize; 2])) {
        self.blocks.push(block);
    }

    fn pop(&mut self) -> Option<(f64, usize, [usize; 2])> {
        self.blocks.pop()
    }

    /// Farthest first, so that the nearest comes off first.
    fn sort_from(&mut self, from: usize) {
        let blocks = &mut self.blocks[from..];
        for i in 1..blocks.len() {
            let mut k = i;
            while k > 0 && blocks[k - 1].0 < blocks[k].0 {
                blocks.swap(k - 1, k);
                k -= 1;
            }
        }
    }
}

/// Section of a triangle at a level, its lower side on the right hand.
fn section(p: [[f64; 3]; 3], level: f64) -> Option<Piece> {
    let up = [p[0][2] > level, p[1][2] > level, p[2][2] > level];
    // The corner that stands alone on its side of the level.
    let lone = (0..3).find(|&k| up[k] != up[(k + 1) % 3] && up[k] != up[(k + 2) % 3])?;
    let meet = |other: usize| {
        // Always from the upper end, so that neighbours compute the same place.
        let (hi, lo) = if up[lone] { (p[lone], p[other]) } else { (p[other], p[lone]) };
        let t = (hi[2] - level) / (hi[2] - lo[2]);
        [hi[0] + t * (lo[0] - hi[0]), hi[1] + t * (lo[1] - hi[1])]
    };
    let (a, b) = (meet((lone + 1) % 3), meet((lone + 2) % 3));
    let hand = (b[0] - a[0]) * (p[lone][1] - a[1]) - (b[1] - a[1]) * (p[lone][0] - a[0]);
    // The lower side must be on the right hand.
    let lone_on_left = hand > 0.0;
    Some(if lone_on_left == up[lone] { Piece { from: a, to: b } } else { Piece { from: b, to: a } })
}
