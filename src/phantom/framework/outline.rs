//! The lines in which a plane cuts the surface of a body, from its field: sections of bars, straps and arms as they were made.
//!
//! Lengths in mm. Each place of a line lies on the surface to a micrometre; between them, some 0.06 mm apart, a chord.

use super::body::Body;
use crate::space::{Point, Vector, hypot};
use std::collections::BTreeMap;

/// Side of a cell, mm, and cells along a block that is looked at as a whole.
const CELL_MM: f64 = 0.06;
const BLOCK: i32 = 4;
/// A field changes by less than this per mm.
const STEEPEST: f64 = 2.0;
/// Cosine from which a surface that turns against the cast faces it: 60 degrees.
const FACING: f64 = 0.5;

/// The place between two numbers up to which something holds that holds at the first and not at the second, by halving.
pub(super) fn halved([mut holds, mut not]: [f64; 2], times: usize, hold: impl Fn(f64) -> bool) -> f64 {
    for _ in 0..times {
        let mid = 0.5 * (holds + not);
        *(if hold(mid) { &mut holds } else { &mut not }) = mid;
    }
    0.5 * (holds + not)
}

/// A plane with two axes in it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sheet {
    pub origin: Point,
    pub u: Vector,
    pub v: Vector,
}

impl Sheet {
    /// Square to a direction, with an axis as upright as it can be (`v`).
    pub fn square_to(origin: Point, along: &Vector) -> Option<Sheet> {
        let n = along.try_normalize(1e-9)?;
        let v = (Vector::z() - n * n.z).try_normalize(1e-6)?;
        Some(Sheet { origin, u: v.cross(&n), v })
    }

    pub fn at(&self, p: &[f64; 2]) -> Point {
        self.origin + self.u * p[0] + self.v * p[1]
    }
}

/// A closed line in a plane.
pub(super) type Line = Vec<[f64; 2]>;

/// All closed lines within a rectangle about the origin; what leaves it is left out.
pub(super) fn outlines(body: &Body<'_>, sheet: &Sheet, half_mm: [f64; 2]) -> Vec<Line> {
    let f = |p: &[f64; 2]| body.value(&sheet.at(p));
    let blocks = half_mm.map(|mm| (mm / CELL_MM).ceil() as i32 / BLOCK + 1);
    let node = |i: i32, j: i32| [CELL_MM * f64::from(i), CELL_MM * f64::from(j)];
    let mut values: BTreeMap<[i32; 2], f64> = BTreeMap::new();
    let mut cells: Vec<[i32; 2]> = Vec::new();
    for bi in -blocks[0]..blocks[0] {
        for bj in -blocks[1]..blocks[1] {
            let [i, j] = [bi * BLOCK, bj * BLOCK];
            let half = CELL_MM * f64::from(BLOCK) / 2.0;
            let middle = node(i, j).map(|mm| mm + half);
            if f(&middle).abs() > STEEPEST * hypot(half, half) {
                continue;
            }
            for (a, b) in (0..=BLOCK).flat_map(|a| (0..=BLOCK).map(move |b| (a, b))) {
                values.entry([i + a, j + b]).or_insert_with(|| f(&node(i + a, j + b)));
                if a < BLOCK && b < BLOCK {
                    cells.push([i + a, j + b]);
                }
            }
        }
    }
    let inside = |at: [i32; 2]| values.get(&at).is_some_and(|v| *v < 0.0);
    // An edge of the lattice by its first node and whether it runs along v.
    type Edge = ([i32; 2], bool);
    let mut next: BTreeMap<Edge, Edge> = BTreeMap::new();
    for &[i, j] in &cells {
        let corners = [[i, j], [i + 1, j], [i + 1, j + 1], [i, j + 1]];
        let edges: [Edge; 4] = [([i, j], false), ([i + 1, j], true), ([i, j + 1], false), ([i, j], true)];
        let is = corners.map(inside);
        // With the metal on the left: in over an edge that goes from outside to inside, on to where it goes out next.
        for k in 0..4 {
            if is[k] && !is[(k + 1) % 4] {
                let out = (1..4).map(|m| (k + m) % 4).find(|&m| !is[m] && is[(m + 1) % 4]);
                if let Some(out) = out {
                    next.insert(edges[k], edges[out]);
                }
            }
        }
    }
    let place = |&(at, upright): &Edge| -> [f64; 2] {
        let (a, b) =
            (node(at[0], at[1]), if upright { node(at[0], at[1] + 1) } else { node(at[0] + 1, at[1]) });
        let between = |t: f64| [a[0] + (b[0] - a[0]) * t, a[1] + (b[1] - a[1]) * t];
        let first = inside(at);
        between(halved([0.0, 1.0], 12, |mid| (f(&between(mid)) < 0.0) == first))
    };
    let mut lines = Vec::new();
    while let Some((&start, _)) = next.first_key_value() {
        let (mut line, mut edge) = (Vec::new(), start);
        while let Some(after) = next.remove(&edge) {
            line.push(place(&edge));
            edge = after;
        }
        if edge == start && line.len() > 6 {
            lines.push(line);
        }
    }
    lines
}

/// The line nearest to a place.
pub(super) fn nearest(lines: Vec<Line>, p: [f64; 2]) -> Option<Line> {
    let off = |l: &Line| l.iter().map(|q| hypot(q[0] - p[0], q[1] - p[1])).fold(f64::INFINITY, f64::min);
    lines.into_iter().min_by(|a, b| off(a).total_cmp(&off(b)))
}

/// Middle of a closed line, weighted by length.
pub(super) fn middle(line: &Line) -> [f64; 2] {
    let (mut sum, mut whole) = ([0.0; 2], 0.0);
    for (a, b) in pairs(line) {
        let long = hypot(b[0] - a[0], b[1] - a[1]);
        whole += long;
        for k in 0..2 {
            sum[k] += 0.5 * (a[k] + b[k]) * long;
        }
    }
    sum.map(|s| s / whole.max(1e-12))
}

/// Length of a closed line.
pub(super) fn length(line: &Line) -> f64 {
    pairs(line).map(|(a, b)| hypot(b[0] - a[0], b[1] - a[1])).sum()
}

fn pairs(line: &Line) -> impl Iterator<Item = ([f64; 2], [f64; 2])> {
    (0..line.len()).map(|i| (line[i], line[(i + 1) % line.len()]))
}

/// Least width between two parallels, and extent square to it: by turning them in steps of half a degree.
pub(super) fn sizes(line: &Line) -> [f64; 2] {
    let extent = |deg: f64| {
        let (c, s) = (crate::space::cos(deg.to_radians()), crate::space::sin(deg.to_radians()));
        let of = line.iter().map(|p| p[0] * c + p[1] * s);
        let (low, high) = of.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), x| (l.min(x), h.max(x)));
        high - low
    };
    let turns = (0..360).map(|k| 0.5 * f64::from(k));
    let least = turns.map(|deg| (extent(deg), deg)).min_by(|a, b| a.0.total_cmp(&b.0));
    least.map_or([0.0; 2], |(mm, deg)| [mm, extent(deg + 90.0)])
}

/// Whether the surface of a body faces the cast at each place of a line.
pub(super) fn facing(body: &Body<'_>, sheet: &Sheet, line: &Line) -> Vec<bool> {
    let of = |p: &[f64; 2]| {
        let p = sheet.at(p);
        let foot = body.ground.surface().closest(&p)?;
        let cast = body.ground.normal(&foot.at, foot.face).try_normalize(1e-9)?;
        Some(body.normal(&p)?.dot(&cast) < -FACING)
    };
    line.iter().map(|p| of(p).unwrap_or(false)).collect()
}

/// How far what does not face the cast stands off what does, at the most.
pub(super) fn stands_off(line: &Line, facing: &[bool]) -> Option<f64> {
    let side = |wanted: bool| line.iter().zip(facing).filter(move |(_, f)| **f == wanted).map(|(p, _)| p);
    let off =
        |p: &[f64; 2]| side(true).map(|q| hypot(p[0] - q[0], p[1] - q[1])).fold(f64::INFINITY, f64::min);
    side(false).map(off).filter(|mm| mm.is_finite()).max_by(f64::total_cmp)
}
