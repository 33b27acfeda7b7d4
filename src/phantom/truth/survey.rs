//! The survey line (height of contour) of a crown for a path of withdrawal.
//!
//! Definition: of the curves on the crown where its normal is square to the path, the parts that a rod along the path
//! can touch. At each turn around the path through the crown that is the place of the crown that stands out most.

use super::super::crown::CrownBody;
use super::margin::is_crown;
use super::undercut::Path;
use crate::space::{Point, across, cos, sin};
use rayon::prelude::*;

/// Turns at which the line is found: at most about 0.5 mm apart on the widest crown.
const TURNS: usize = 96;
/// Heights tried in each half plane.
const HEIGHTS: usize = 40;

/// A place of a survey line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OnLine {
    /// File position.
    pub at: Point,
    /// Whether a rod along the path can touch the crown there: it is not under the gingiva nor in a contact, and nothing
    /// of the cast stands over it.
    pub shown: bool,
}

/// The survey line of a crown, closed, file positions in order around it.
pub fn line(path: &Path<'_>, crown: &CrownBody) -> Vec<OnLine> {
    let (cast, withdrawal) = (path.cast(), path.withdrawal());
    let middle = cast.own(&crown.world([0.0, 0.0, 0.5 * crown.height]));
    let (e1, e2) = across(withdrawal);
    let value = |p: &Point| crown.value(crown.local(&cast.own(p)));
    let widest = 1.6 * (crown.half_md + crown.half_bl);
    (0..TURNS)
        .into_par_iter()
        .map(|i| {
            let turn = 2.0 * std::f64::consts::PI * i as f64 / TURNS as f64;
            let out = e1 * cos(turn) + e2 * sin(turn);
            let at = |r: f64, z: f64| middle + out * r + withdrawal.into_inner() * z;
            // From outside inward until the crown is met: what stands out most counts.
            let reach = |z: f64| {
                let mut r = widest;
                loop {
                    let f = value(&at(r, z));
                    if f < 1e-10 || r < 0.0 {
                        return r;
                    }
                    r -= (0.55 * f).max(1e-9);
                }
            };
            let height = |k: usize| crown.height * (k as f64 / (HEIGHTS - 1) as f64 - 0.5) * 1.3;
            let reaches: Vec<f64> = (0..HEIGHTS).map(|k| reach(height(k))).collect();
            let best = (0..HEIGHTS).rev().max_by(|a, b| reaches[*a].total_cmp(&reaches[*b])).unwrap_or(0);
            // Where the reach is greatest the field does not change along the withdrawal.
            let rises = |z: f64| {
                let r = reach(z);
                value(&at(r, z + 1e-4)) - value(&at(r, z - 1e-4))
            };
            let (mut lo, mut hi) = (height(best.saturating_sub(1)), height((best + 1).min(HEIGHTS - 1)));
            for _ in 0..24 {
                let mid = 0.5 * (lo + hi);
                if rises(mid) > 0.0 { hi = mid } else { lo = mid }
            }
            let z = 0.5 * (lo + hi);
            let p = at(reach(z), z);
            let shown = cast.value(&p).abs() < 1e-4
                && is_crown(cast, crown, &cast.own(&p))
                && path.touched(&(p + out * 2e-4));
            OnLine { at: p, shown }
        })
        .collect()
}
