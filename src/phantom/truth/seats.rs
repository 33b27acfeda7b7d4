//! Rest seats: floor, depth against the unprepared tooth, room over the floor.
//!
//! The floor is the place of the seat that lies deepest under the unprepared tooth, measured along the crown's own axis.
//! A mesial or distal seat has its depth at the marginal ridge as well: over the middle of the crown, from the crest of
//! the unprepared ridge down to the seat. Its width is that of the part more than 0.15 mm deep through that place
//! across the crown.

use super::super::cast::Cast;
use super::super::crown::{CrownBody, SeatKind};
use super::crest::along_mm;
use super::near::foot;
use crate::case::Tooth;
use crate::space::{Point, Vector};

/// Grid over the crown, mm.
const GRID_MM: f64 = 0.35;

/// A rest seat.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SeatTruth {
    /// On which tooth.
    pub tooth: Tooth,
    /// Number of the seat on that crown, as the crown lists them.
    pub number: usize,
    /// Place of the floor in the crown's own axes: distal, buccal, occlusal, mm.
    pub local: [f64; 3],
    /// The same, file position.
    pub floor: Point,
    /// The crown's own axis, from the tissue to the occlusal side, as the files have it.
    pub axis: Vector,
    /// Depth of the floor under the unprepared tooth along the crown's axis, mm.
    pub depth_mm: f64,
    /// Distance of the floor from the nearest place of the unprepared tooth, mm.
    pub square_depth_mm: f64,
    /// Distance from the floor to the opposing arch along the opening, mm.
    pub room_mm: Option<f64>,
    /// What is true at the marginal ridge; `None` on a front tooth.
    pub ridge: Option<RidgeTruth>,
}

/// A seat where it crosses the marginal ridge.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RidgeTruth {
    /// Place of the seat under the crest of the unprepared ridge, file position.
    pub floor: Point,
    /// Depth there along the crown's axis, mm.
    pub depth_mm: f64,
    /// Extent of the seat through there across the crown, mm.
    pub width_mm: f64,
    /// Distance from there to the opposing arch along the opening, mm.
    pub room_mm: Option<f64>,
}

/// The rest seats of a cast.
pub fn seats(cast: &Cast, opposing: &Cast, opening: &Vector) -> Vec<SeatTruth> {
    let mut out = Vec::new();
    for (index, crown) in cast.crowns.iter().enumerate() {
        for number in 0..crown.seats.len() {
            out.extend(seat(cast, index, number).map(|mut s| {
                s.room_mm = along_mm(opposing, &s.floor, opening);
                if let Some(ridge) = &mut s.ridge {
                    ridge.room_mm = along_mm(opposing, &ridge.floor, opening);
                }
                s
            }));
        }
    }
    out
}

/// The cast with a crown bearing no seats but those numbered by `kept`.
fn prepared(cast: &Cast, index: usize, kept: Option<usize>) -> Cast {
    let mut other = cast.clone();
    if let Some(crown) = other.crowns.get_mut(index) {
        crown.seats = kept.and_then(|k| crown.seats.get(k).cloned()).into_iter().collect();
    }
    other
}

fn seat(cast: &Cast, index: usize, number: usize) -> Option<SeatTruth> {
    let (whole, cut) = (prepared(cast, index, None), prepared(cast, index, Some(number)));
    let crown = whole.crowns.get(index)?;
    let depth = |[u, v]: [f64; 2]| {
        let (top, floor) = (height(&whole, crown, u, v)?, height(&cut, crown, u, v)?);
        Some((top - floor, floor))
    };
    let (nu, nv) = ((crown.half_md / GRID_MM) as i32, (crown.half_bl / GRID_MM) as i32);
    let mut best: Option<(f64, f64, [f64; 2])> = None;
    let consider = |best: &mut Option<(f64, f64, [f64; 2])>, q: [f64; 2]| {
        let Some((deep, w)) = depth(q) else { return false };
        let better = best.is_none_or(|b| deep > b.0 + 1e-9);
        if better {
            *best = Some((deep, w, q));
        }
        better
    };
    for i in -nu..=nu {
        for j in -nv..=nv {
            consider(&mut best, [GRID_MM * f64::from(i), GRID_MM * f64::from(j)]);
        }
    }
    let mut step = 0.5 * GRID_MM;
    while step > 1e-5 {
        let (_, _, [u, v]) = best?;
        let moved = [[step, 0.0], [-step, 0.0], [0.0, step], [0.0, -step]]
            .into_iter()
            .any(|[a, b]| consider(&mut best, [u + a, v + b]));
        if !moved {
            step *= 0.5;
        }
    }
    let (depth_mm, w, [u, v]) = best.filter(|b| b.0 > 1e-6)?;
    let floor = cast.own(&crown.world([u, v, w]));
    let field = |p: &Point| whole.value(p);
    let square_depth_mm = (foot(&field, &floor, &floor) - floor).norm();
    let axis = cast.own(&Point::from(crown.axes[2])).coords;
    Some(SeatTruth {
        axis,
        tooth: crown.tooth,
        number,
        local: [u, v, w],
        floor,
        depth_mm,
        square_depth_mm,
        room_mm: None,
        ridge: at_ridge(&whole, &cut, crown, cast.crowns.get(index)?.seats.get(number)?.kind),
    })
}

/// Depth from which a place counts as part of a seat, mm.
const EDGE_MM: f64 = 0.15;

/// The seat where it crosses the marginal ridge, over the middle of the crown.
fn at_ridge(whole: &Cast, cut: &Cast, crown: &CrownBody, kind: SeatKind) -> Option<RidgeTruth> {
    let side = match kind {
        SeatKind::Mesial => -1.0,
        SeatKind::Distal => 1.0,
        _ => return None,
    };
    let share = |i: i32| side * crown.half_md * (0.55 + 0.005 * f64::from(i));
    let tops = (0..=90).filter_map(|i| Some((share(i), height(whole, crown, share(i), 0.0)?)));
    // The crest is the outermost place that stands over all outside it and over what lies 0.15 mm inside.
    let tops: Vec<(f64, f64)> = tops.collect();
    let (u, top) = (1..tops.len().saturating_sub(1))
        .rev()
        .find(|&i| tops[i].1 >= tops[i + 1].1 && tops[i].1 > tops[i - 1].1)
        .map(|i| tops[i])?;
    let w = height(cut, crown, u, 0.0)?;
    let deep = |v: f64| Some(height(whole, crown, u, v)? - height(cut, crown, u, v)? > EDGE_MM);
    let edge = |way: f64| {
        (0..100).map(|k| 0.05 * f64::from(k)).take_while(|v| deep(way * v) == Some(true)).count() as f64
            * 0.05
    };
    Some(RidgeTruth {
        floor: whole.own(&crown.world([u, 0.0, w])),
        depth_mm: top - w,
        width_mm: edge(1.0) + edge(-1.0),
        room_mm: None,
    })
}

/// Height along a crown's own axis at which the surface of a cast is met from above over (u, v); `None` beside its
/// occlusal surface.
fn height(cast: &Cast, crown: &CrownBody, u: f64, v: f64) -> Option<f64> {
    let value = |w: f64| cast.value(&cast.own(&crown.world([u, v, w])));
    let (mut w, mut step) = (crown.height + 1.5, 0.0);
    while w > 0.35 * crown.height {
        let f = value(w);
        if f <= 0.0 {
            let (mut lo, mut hi) = (w, w + step);
            for _ in 0..40 {
                let mid = 0.5 * (lo + hi);
                if value(mid) > 0.0 { hi = mid } else { lo = mid }
            }
            return Some(0.5 * (lo + hi));
        }
        step = (0.5 * f).max(0.01);
        w -= step;
    }
    None
}
