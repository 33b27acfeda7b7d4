//! Columns along the path: where the surface crosses them, and the dead intervals between.

use rayon::prelude::*;

use super::Cast;
use crate::mesh::{FaceId, Mesh, Topology};
use crate::space::{Direction, Point, Vector, across, cos, count_from, sin};

/// Two crossings of one sense nearer than this are one: doubled triangles, mm.
const DOUBLED_MM: f64 = 1e-6;
/// Largest area that columns stand over as close as they are asked for, mm2: a square of 100 mm. What is larger is no cast;
/// there they stand wider apart in proportion, so that memory stays below about 60 MB.
const MOST_AREA_MM2: f64 = 10_000.0;
/// The rows are turned out of the axes of the file and do not begin at the lowest corner, so that they do not run along
/// straight walls: there all columns of a row would err the same way. An angle and shares without a simple ratio.
const TURN_DEG: f64 = 27.3;
const ASIDE: [f64; 2] = [0.381_966, 0.236_068];

/// A dead interval of a column: it begins below material and ends on a surface, or at a level where the surface ends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    /// The column.
    pub(super) column: u32,
    /// Upper end along the path, mm from the middle of the cast.
    pub(super) top: f64,
    /// Lower end, mm.
    pub(super) bottom: f64,
    /// The underside above it.
    pub(super) over: FaceId,
    /// The surface below it; `None` where the scan's surface ends.
    pub(super) under: Option<FaceId>,
}

/// The columns over a cast in one direction.
#[derive(Clone, Debug)]
pub struct Columns {
    axes: [Vector; 3],
    centre: Point,
    low: [f64; 2],
    spacing: f64,
    counts: [usize; 2],
    /// Dead intervals, by column, from above.
    intervals: Vec<Interval>,
}

#[derive(Clone, Copy, Debug)]
struct Crossing {
    column: u32,
    height: f64,
    face: FaceId,
    up: bool,
}

impl Columns {
    /// Lays columns at `spacing_mm`, or wider apart over what is too large for a cast.
    pub fn new(cast: &Cast<'_>, direction: &Direction, spacing_mm: f64) -> Columns {
        let (u, v) = turned_axes(direction);
        let (low, high) = cast.mesh.bounds().unwrap_or((Point::origin(), Point::origin()));
        let centre = Point::from((low.coords + high.coords) / 2.0);
        let mut columns = Columns {
            axes: [u, v, direction.into_inner()],
            centre,
            low: [0.0; 2],
            spacing: spacing_mm,
            counts: [1, 1],
            intervals: Vec::new(),
        };
        let turned: Vec<[f64; 3]> = cast.mesh.vertices().iter().map(|p| columns.turned(p)).collect();
        let plan_area = columns.lay(cast.mesh, &turned);
        let crossings = columns.crossings(cast, &turned, plan_area);
        columns.intervals = intervals(&crossings, cast.base);
        columns.close_below(cast);
        columns
    }

    /// Distance of neighbouring columns, mm.
    pub fn spacing_mm(&self) -> f64 {
        self.spacing
    }

    /// All dead intervals.
    pub fn intervals(&self) -> &[Interval] {
        &self.intervals
    }

    /// The dead intervals over and under a part of the cast. Those that go down past the part end at the level of its
    /// lower border nearest in the plan.
    pub fn over_part(&self, mesh: &Mesh, topology: &Topology, part: &[bool]) -> Vec<Interval> {
        let within = |f: FaceId| part.get(f as usize).copied().unwrap_or(false);
        let touching: Vec<Interval> = self
            .intervals
            .iter()
            .filter(|i| within(i.over) || i.under.is_some_and(within))
            .copied()
            .collect();
        if touching.iter().all(|i| i.under.is_some_and(within)) {
            return touching;
        }
        let border = lower_border(mesh, topology, &self.axes[2], within);
        let level = self.levels(&border);
        touching
            .into_iter()
            .filter_map(|i| {
                let least = match i.under {
                    Some(f) if within(f) => i.bottom,
                    _ => at(&level, i.column).map_or(i.bottom, |l| l.max(i.bottom)),
                };
                (i.top > least).then_some(Interval { bottom: least, ..i })
            })
            .collect()
    }

    /// Volume of intervals, mm3.
    pub fn volume_mm3(&self, intervals: &[Interval]) -> f64 {
        self.spacing * self.spacing * intervals.iter().map(|i| i.top - i.bottom).sum::<f64>()
    }

    /// Row and place in the row of a column.
    pub(super) fn cell(&self, column: u32) -> [usize; 2] {
        let c = column as usize;
        [c % self.counts[0], c / self.counts[0]]
    }

    /// Column at a place in a row.
    pub(super) fn column(&self, cell: [usize; 2]) -> Option<u32> {
        (cell[0] < self.counts[0] && cell[1] < self.counts[1])
            .then(|| (cell[1] * self.counts[0] + cell[0]) as u32)
    }

    /// Position in the file of a place in units of the spacing, at a height.
    pub(super) fn place(&self, at: [f64; 2], height: f64) -> Point {
        let [u, v, d] = self.axes;
        self.centre
            + u * (self.low[0] + at[0] * self.spacing)
            + v * (self.low[1] + at[1] * self.spacing)
            + d * height
    }

    fn turned(&self, p: &Point) -> [f64; 3] {
        let v = p - self.centre;
        self.axes.map(|a| a.dot(&v))
    }

    /// Settles where the columns stand; gives the area in the plan of all triangles together, mm2.
    fn lay(&mut self, mesh: &Mesh, turned: &[[f64; 3]]) -> f64 {
        let mut low = [f64::INFINITY; 2];
        let mut high = [f64::NEG_INFINITY; 2];
        let mut plan_area = 0.0;
        for corners in mesh.faces() {
            let p = corners.map(|v| turned[v as usize]);
            for q in &p {
                for k in 0..2 {
                    low[k] = low[k].min(q[k]);
                    high[k] = high[k].max(q[k]);
                }
            }
            plan_area += doubled_area(&p).abs() / 2.0;
        }
        if low[0] > high[0] {
            return 0.0;
        }
        let boxed = (high[0] - low[0]) * (high[1] - low[1]);
        let rows = (high[0] - low[0]).max(high[1] - low[1]);
        // Neither the plan, nor the surface cut, nor one row of a thin strip may bring more than the area allows.
        let most = MOST_AREA_MM2 / (self.spacing * self.spacing);
        self.spacing = self.spacing.max((boxed.max(plan_area) / most).sqrt()).max(rows / most);
        for k in 0..2 {
            self.low[k] = low[k] - ASIDE[k] * self.spacing;
            self.counts[k] = ((high[k] - self.low[k]) / self.spacing).ceil() as usize + 1;
        }
        plan_area
    }

    fn crossings(&self, cast: &Cast<'_>, turned: &[[f64; 3]], plan_area: f64) -> Vec<Crossing> {
        // As many as the area holds, and a little more, so that the list seldom has to move.
        let mut all = Vec::with_capacity((1.02 * plan_area / (self.spacing * self.spacing)) as usize + 64);
        for (f, corners) in cast.mesh.faces().iter().enumerate() {
            self.cross(f as FaceId, corners.map(|v| turned[v as usize]), &mut all);
        }
        all.par_sort_unstable_by(|a, b| {
            a.column.cmp(&b.column).then(b.height.total_cmp(&a.height)).then(a.face.cmp(&b.face))
        });
        face_up(&mut all, cast.topology);
        all
    }

    /// Columns through one triangle. Each place belongs to one of two triangles that meet in an edge, since both compute
    /// the edge alike.
    fn cross(&self, face: FaceId, p: [[f64; 3]; 3], all: &mut Vec<Crossing>) {
        let doubled = doubled_area(&p);
        if doubled == 0.0 {
            return;
        }
        let grid = p.map(|q| [0, 1].map(|k| (q[k] - self.low[k]) / self.spacing - 0.5));
        let rows = grid.map(|q| q[1]);
        let first = count_from(rows.iter().copied().fold(f64::INFINITY, f64::min));
        let last = rows.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        if last < 0.0 {
            return;
        }
        for row in first..=(last as usize).min(self.counts[1] - 1) {
            let y = row as f64;
            let mut met = (0..3).filter_map(|k| meet(grid[k], grid[(k + 1) % 3], y));
            let (Some(a), Some(b)) = (met.next(), met.next()) else { continue };
            let (from, end) = (count_from(a.min(b)), count_from(a.max(b)));
            for place in from..end.min(self.counts[0]) {
                let q = [
                    self.low[0] + (place as f64 + 0.5) * self.spacing,
                    self.low[1] + (y + 0.5) * self.spacing,
                ];
                all.push(Crossing {
                    column: (row * self.counts[0] + place) as u32,
                    height: height_at(&p, q, doubled),
                    face,
                    up: doubled > 0.0,
                });
            }
        }
    }

    /// Ends the intervals without a surface below at the level of the scan's border nearest in the plan; where the scan
    /// has no border, at its lowest corner.
    fn close_below(&mut self, cast: &Cast<'_>) {
        if self.intervals.iter().all(|i| i.under.is_some()) {
            return;
        }
        let border = lower_border(cast.mesh, cast.topology, &self.axes[2], |_| true);
        let lowest = cast
            .mesh
            .faces()
            .iter()
            .flatten()
            .map(|&v| self.turned(&cast.mesh.vertex(v))[2])
            .fold(f64::INFINITY, f64::min);
        let level = self.levels(&border);
        for i in self.intervals.iter_mut().filter(|i| i.under.is_none()) {
            i.bottom = at(&level, i.column).unwrap_or(lowest);
        }
        self.intervals.retain(|i| i.top > i.bottom);
    }

    /// Height of the nearest of some edges for every column, by way over the columns' rows; empty without an edge.
    fn levels(&self, edges: &[[Point; 2]]) -> Vec<Option<f64>> {
        let mut level = vec![None; self.counts[0] * self.counts[1]];
        for [a, b] in edges {
            for p in [*a, Point::from((a.coords + b.coords) / 2.0), *b] {
                let q = self.turned(&p);
                let at = [0, 1].map(|k| ((q[k] - self.low[k]) / self.spacing).max(0.0) as usize);
                let Some(slot) = self.column(at).and_then(|c| level.get_mut(c as usize)) else { continue };
                *slot = Some(slot.map_or(q[2], |known: f64| known.min(q[2])));
            }
        }
        let mut queue: Vec<u32> = (0..level.len() as u32).filter(|&c| level[c as usize].is_some()).collect();
        let mut next = 0;
        while let Some(&c) = queue.get(next) {
            next += 1;
            let [x, y] = self.cell(c);
            for cell in [[x.wrapping_sub(1), y], [x + 1, y], [x, y.wrapping_sub(1)], [x, y + 1]] {
                let Some(n) = self.column(cell) else { continue };
                if level[n as usize].is_none() {
                    level[n as usize] = level[c as usize];
                    queue.push(n);
                }
            }
        }
        level
    }
}

/// Level of a column, where there is one.
fn at(levels: &[Option<f64>], column: u32) -> Option<f64> {
    levels.get(column as usize).copied().flatten()
}

/// Axes of the plan.
fn turned_axes(direction: &Direction) -> (Vector, Vector) {
    let (u, v) = across(direction);
    let (c, s) = (cos(TURN_DEG.to_radians()), sin(TURN_DEG.to_radians()));
    (u * c + v * s, v * c - u * s)
}

/// Edges at which some of the surface ends downward: only one of its triangles meets there, and it lies above the edge.
fn lower_border(
    mesh: &Mesh,
    topology: &Topology,
    d: &Vector,
    within: impl Fn(FaceId) -> bool,
) -> Vec<[Point; 2]> {
    let mut border = Vec::new();
    for (e, edge) in topology.edges().iter().enumerate() {
        let mut inside = topology.faces_of_edge(e as u32).iter().filter(|&&f| within(f));
        let (Some(&f), None) = (inside.next(), inside.next()) else { continue };
        let ends = edge.ends.map(|v| mesh.vertex(v));
        let middle = (ends[0].coords + ends[1].coords) / 2.0;
        if (mesh.face_centre(f).coords - middle).dot(d) >= 0.0 {
            border.push(ends);
        }
    }
    border
}

fn doubled_area(p: &[[f64; 3]; 3]) -> f64 {
    (p[1][0] - p[0][0]) * (p[2][1] - p[0][1]) - (p[1][1] - p[0][1]) * (p[2][0] - p[0][0])
}

/// Where an edge meets a row; computed from the same end whichever way it is given.
fn meet(a: [f64; 2], b: [f64; 2], y: f64) -> Option<f64> {
    if (a[1] <= y) == (b[1] <= y) {
        return None;
    }
    let (a, b) = if a[1] <= y { (a, b) } else { (b, a) };
    Some(a[0] + (b[0] - a[0]) * ((y - a[1]) / (b[1] - a[1])))
}

fn height_at(p: &[[f64; 3]; 3], q: [f64; 2], doubled: f64) -> f64 {
    let e = p.map(|c| [c[0] - q[0], c[1] - q[1]]);
    let cross = |a: [f64; 2], b: [f64; 2]| a[0] * b[1] - a[1] * b[0];
    let w = [cross(e[1], e[2]), cross(e[2], e[0]), cross(e[0], e[1])];
    let least = p.iter().map(|c| c[2]).fold(f64::INFINITY, f64::min);
    let most = p.iter().map(|c| c[2]).fold(f64::NEG_INFINITY, f64::max);
    // Triangles seen almost edge-on round badly.
    ((w[0] * p[0][2] + w[1] * p[1][2] + w[2] * p[2][2]) / doubled).clamp(least, most)
}

/// Turns the sense of pieces that face inward: what is seen first in its column faces up.
fn face_up(crossings: &mut [Crossing], topology: &Topology) {
    let (piece_of, pieces) = topology.pieces();
    let mut votes = vec![0i64; pieces];
    let mut before = None;
    for c in crossings.iter() {
        if before != Some(c.column) {
            before = Some(c.column);
            if let Some(vote) = piece_of.get(c.face as usize).and_then(|&p| votes.get_mut(p as usize)) {
                *vote += if c.up { 1 } else { -1 };
            }
        }
    }
    let whole: i64 = votes.iter().sum();
    for c in crossings {
        let vote = piece_of.get(c.face as usize).and_then(|&p| votes.get(p as usize)).copied().unwrap_or(0);
        if vote < 0 || (vote == 0 && whole < 0) {
            c.up = !c.up;
        }
    }
}

/// The dead intervals between sorted crossings. A lower end that is still open stands at minus infinity.
fn intervals(crossings: &[Crossing], base: &[bool]) -> Vec<Interval> {
    let mut all = Vec::new();
    for column in crossings.chunk_by(|a, b| a.column == b.column) {
        let (mut inside, mut open): (u32, Option<Crossing>) = (0, None);
        let mut last: Option<Crossing> = None;
        for c in column {
            if last.is_some_and(|l| l.up == c.up && (l.height - c.height).abs() < DOUBLED_MM) {
                continue;
            }
            last = Some(*c);
            if c.up {
                if let Some(o) = open.take() {
                    all.push(interval(&o, c.height, Some(c.face)));
                }
                inside += 1;
            } else if inside > 1 {
                inside -= 1;
            } else {
                inside = 0;
                open = open.or(Some(*c));
            }
        }
        if let Some(o) = open.filter(|o| !base.get(o.face as usize).copied().unwrap_or(false)) {
            all.push(interval(&o, f64::NEG_INFINITY, None));
        }
    }
    all
}

fn interval(over: &Crossing, bottom: f64, under: Option<FaceId>) -> Interval {
    Interval { column: over.column, top: over.height, bottom, over: over.face, under }
}
