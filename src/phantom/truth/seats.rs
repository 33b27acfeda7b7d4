//! Rest seats: floor, depth against the unprepared tooth, room over the floor.
//!
//! The floor is the place of the seat that lies deepest under the unprepared tooth, measured along the crown's own axis.

use super::super::cast::Cast;
use super::super::crown::CrownBody;
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
}

/// The rest seats of a cast.
pub fn seats(cast: &Cast, opposing: &Cast, opening: &Vector) -> Vec<SeatTruth> {
    let mut out = Vec::new();
    for (index, crown) in cast.crowns.iter().enumerate() {
        for number in 0..crown.seats.len() {
            out.extend(seat(cast, index, number).map(|mut s| {
                s.room_mm = along_mm(opposing, &s.floor, opening);
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
