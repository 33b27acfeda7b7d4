//! The deepest undercut of each surface of a crown.
//!
//! A crown has four surfaces, quarters of the turn around its own axis: within 45 degrees of buccal, of lingual, of
//! mesial and of distal. Each reaches down to the border of the crown, margin or contact.

use super::super::crown::CrownBody;
use super::margin::{border_down, exit};
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

/// Angle from the occlusal direction at which share 0 lies, radians.
const TOP: f64 = 0.9;
/// Steps of the search by halving: turn in radians and share; the last is this much smaller.
const STEPS: (f64, f64, f64) = (0.13, 0.08, 100.0);

/// A file position on the crown.
fn place(path: &Path<'_>, crown: &CrownBody, at: At, border: f64) -> Point {
    let cast = path.cast();
    cast.own(&exit(cast, crown, at.turn, TOP + (border - TOP) * at.share))
}

/// Places of the crown's wall with their undercut depth, in `turns` columns of `rows` places from the border upward.
pub fn samples(path: &Path<'_>, crown: &CrownBody, turns: usize, rows: usize) -> Vec<(Point, f64)> {
    (0..turns * rows)
        .into_par_iter()
        .map(|i| {
            let turn = 2.0 * PI * (i / rows) as f64 / turns as f64;
            let share = 1.0 - (i % rows) as f64 / (2 * rows) as f64;
            let p = place(path, crown, At { turn, share }, border_down(path.cast(), crown, turn));
            (p, path.depth_mm(&p))
        })
        .collect()
}

/// The deepest undercut of each surface.
pub fn deepest(path: &Path<'_>, crown: &CrownBody) -> Vec<Deepest> {
    SURFACES.par_iter().map(|(surface, middle)| deepest_of(path, crown, surface, *middle)).collect()
}

fn deepest_of(path: &Path<'_>, crown: &CrownBody, surface: &'static str, middle: f64) -> Deepest {
    let border = |turn: f64| border_down(path.cast(), crown, turn);
    let (columns, rows) = (6, 4);
    let mut best: Option<(f64, f64, At)> = None;
    for i in 0..=columns {
        let turn = middle + (i as f64 / columns as f64 - 0.5) * 0.5 * PI;
        let down = border(turn);
        for k in 0..rows {
            let at = At { turn, share: 1.0 - 0.15 * f64::from(k) };
            let (mm, way) = path.rough(&place(path, crown, at, down));
            if best.is_none_or(|b| mm > b.0) {
                best = Some((mm, way, at));
            }
        }
    }
    let Some((_, mut way, mut at)) = best else {
        return Deepest { surface, depth_mm: 0.0, at: path.cast().own(&crown.origin) };
    };
    let depth = |at: At, way: f64| path.depth_toward(&place(path, crown, at, border(at.turn)), way);
    let (mut mm, found) = depth(at, way);
    way = found;
    let mut size = 1.0;
    while size > 1.0 / STEPS.2 && mm > 0.0 {
        let tries = [(1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0)].map(|(a, b)| At {
            turn: (at.turn + a * size * STEPS.0).clamp(middle - 0.25 * PI, middle + 0.25 * PI),
            share: (at.share + b * size * STEPS.1).clamp(0.0, 1.0),
        });
        let better = tries.into_iter().find_map(|t| {
            let (deeper, toward) = depth(t, way);
            (deeper > mm + 1e-7).then_some((deeper, toward, t))
        });
        match better {
            Some((deeper, toward, t)) => (mm, way, at) = (deeper, toward, t),
            None => size *= 0.5,
        }
    }
    let p = place(path, crown, at, border(at.turn));
    // The way out may be another than the one followed.
    Deepest { surface, depth_mm: path.depth_mm(&p), at: p }
}
