//! The deepest undercut of each surface of a crown.
//!
//! A crown has four surfaces, quarters of the turn around its own axis: within 45 degrees of buccal, of lingual, of
//! mesial and of distal. Each reaches down to the border of the crown, margin or contact.

use super::super::cast::Cast;
use super::super::crown::CrownBody;
use super::margin::{border_down, border_near, exit};
use super::undercut::Path;
use crate::space::Point;
use rayon::prelude::*;
use std::f64::consts::PI;

/// Surfaces of a crown and the turn around its axis that each has its middle at (0 distal, a quarter buccal).
pub const SURFACES: [(&str, f64); 4] =
    [("buccal", 0.5 * PI), ("lingual", -0.5 * PI), ("mesial", PI), ("distal", 0.0)];

/// Deepest undercut of one surface.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Deepest {
    /// Name of the surface.
    pub surface: &'static str,
    /// Its greatest undercut depth, mm; 0 where it has no undercut.
    pub depth_mm: f64,
    /// Where, file position.
    pub at: Point,
}

/// A place of a crown: turn around its axis, and the share of the way from the top (0) to the border (1).
#[derive(Clone, Copy)]
struct At {
    turn: f64,
    share: f64,
}

/// A place and its depth.
#[derive(Clone, Copy)]
struct Found {
    mm: f64,
    at: At,
    /// Angle at which the border lies there.
    down: f64,
}

/// How far a place is from the neighbours at least, mm.
const CLEAR_MM: f64 = 0.4;
/// Columns in which a surface is looked over.
const COLUMNS: usize = 12;
/// Angle from the occlusal direction at which share 0 lies, radians.
const TOP: f64 = 0.9;
/// Steps of the search by halving: turn in radians and share; the last is this much smaller.
const STEPS: (f64, f64, f64) = (0.07, 0.1, 60.0);

/// A file position on the crown.
fn place(path: &Path<'_>, crown: &CrownBody, at: At, border: f64) -> Point {
    let cast = path.cast();
    cast.own(&exit(cast, crown, at.turn, TOP + (border - TOP) * at.share))
}

/// Places of the crown's wall with their undercut depth, from `turns` columns of `rows` places from the border upward;
/// those in the slit beside a neighbour, where no rod goes, are left out.
pub fn samples(path: &Path<'_>, crown: &CrownBody, turns: usize, rows: usize) -> Vec<(Point, f64)> {
    let cast = path.cast();
    let found: Vec<Option<(Point, f64)>> = (0..turns * rows)
        .into_par_iter()
        .map(|i| {
            let turn = 2.0 * PI * (i / rows) as f64 / turns as f64;
            let share = 1.0 - (i % rows) as f64 / (2 * rows) as f64;
            let p = place(path, crown, At { turn, share }, border_down(cast, crown, turn));
            open(cast, crown, &p).then(|| (p, path.depth_mm(&p)))
        })
        .collect();
    found.into_iter().flatten().collect()
}

/// Whether a place lies clear of the neighbours: in the slit beside one neither rod nor clasp goes.
fn open(cast: &Cast, crown: &CrownBody, p: &Point) -> bool {
    let own = cast.own(p);
    cast.crowns.iter().filter(|c| c.tooth != crown.tooth).all(|c| c.value(c.local(&own)) > CLEAR_MM)
}

/// The deepest undercut of each surface, slits left out.
pub fn deepest(path: &Path<'_>, crown: &CrownBody) -> Vec<Deepest> {
    SURFACES.par_iter().map(|(surface, middle)| deepest_of(path, crown, surface, *middle)).collect()
}

fn deepest_of(path: &Path<'_>, crown: &CrownBody, surface: &'static str, middle: f64) -> Deepest {
    let mut columns: Vec<Found> = (0..=COLUMNS)
        .map(|i| {
            let turn = middle + (i as f64 / COLUMNS as f64 - 0.5) * 0.5 * PI;
            let down = border_down(path.cast(), crown, turn);
            let rows = (0..3).map(|k| {
                let at = At { turn, share: 1.0 - 0.2 * f64::from(k) };
                Found { mm: clear(path, crown, &place(path, crown, at, down), Path::rough), at, down }
            });
            let top = Found { mm: 0.0, at: At { turn, share: 1.0 }, down };
            rows.fold(top, |best, f| if f.mm > best.mm { f } else { best })
        })
        .collect();
    columns.sort_by(|a, b| b.mm.total_cmp(&a.mm));
    let mut starts: Vec<Found> = Vec::new();
    for c in columns.iter().filter(|c| c.mm >= 0.9 * columns[0].mm) {
        let apart = |s: &Found| (s.at.turn - c.at.turn).abs() > 1.5 * 0.5 * PI / COLUMNS as f64;
        if starts.len() < 2 && starts.iter().all(apart) {
            starts.push(*c);
        }
    }
    let found = starts.into_iter().map(|start| climbed(path, crown, middle, start));
    let best = found.max_by(|a, b| a.mm.total_cmp(&b.mm)).unwrap_or(columns[0]);
    let p = place(path, crown, best.at, best.down);
    Deepest { surface, depth_mm: clear(path, crown, &p, Path::depth_mm), at: p }
}

/// The depth of a place clear of the neighbours; 0 in a slit.
fn clear<'a>(path: &Path<'a>, crown: &CrownBody, p: &Point, depth: fn(&Path<'a>, &Point) -> f64) -> f64 {
    if open(path.cast(), crown, p) { depth(path, p) } else { 0.0 }
}

/// The deepest place around a start, by halving steps within the surface.
fn climbed(path: &Path<'_>, crown: &CrownBody, middle: f64, start: Found) -> Found {
    let depth = |at: At, down: f64| clear(path, crown, &place(path, crown, at, down), Path::quick);
    let mut best = Found { mm: depth(start.at, start.down), ..start };
    let mut size = 1.0;
    while size > 1.0 / STEPS.2 && best.mm > 0.0 {
        let At { turn, share } = best.at;
        let tries = [(1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0)].map(|(a, b)| At {
            turn: (turn + a * size * STEPS.0).clamp(middle - 0.25 * PI, middle + 0.25 * PI),
            share: (share + b * size * STEPS.1).clamp(0.0, 1.0),
        });
        let better = tries.into_iter().filter(|t| t.turn != turn || t.share != share).find_map(|at| {
            let down =
                if at.turn == turn { best.down } else { border_near(path.cast(), crown, at.turn, best.down) };
            let mm = depth(at, down);
            (mm > best.mm + 1e-6).then_some(Found { mm, at, down })
        });
        match better {
            Some(found) => best = found,
            None => size *= 0.5,
        }
    }
    best
}
