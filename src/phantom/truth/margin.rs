//! Where a crown ends, and places on it.

use super::super::cast::Cast;
use super::super::crown::CrownBody;
use super::super::refine::onto;
use crate::case::Tooth;
use crate::space::{Point, cos, sin};
use rayon::prelude::*;

/// Turns around the axis of a crown at which its border is searched.
const AROUND: usize = 180;
/// Each so many of them are searched from the top down, those between from the one before.
const SPARSE: usize = 9;
/// How well the border is found, radians: about 0.1 um.
const FINE: f64 = 2e-5;
/// How far the border may run from one turn to the next, radians.
const BESIDE: f64 = 0.08;
/// Angles from the occlusal direction between which the border lies, and the step of the search, radians.
const DOWN: (f64, f64) = (0.25, 0.1);

/// The border of a crown as the scan shows it, closed, file positions about `spacing_mm` apart: the gingival margin,
/// and where a neighbour touches the middle line of the web between the two.
pub fn margin(cast: &Cast, crown: &CrownBody, spacing_mm: f64) -> Vec<Point> {
    let turn = |i: usize| 2.0 * std::f64::consts::PI * i as f64 / AROUND as f64;
    // Stretches side by side in parallel; within one each border is sought from the one before.
    let ring: Vec<Vec<Point>> = (0..AROUND / SPARSE)
        .into_par_iter()
        .map(|k| {
            let mut down = border_down(cast, crown, turn(k * SPARSE));
            let stretch = (k * SPARSE..(k + 1) * SPARSE).map(|i| {
                if i > k * SPARSE {
                    down = border_near(cast, crown, turn(i), down);
                }
                cast.own(&exit(cast, crown, turn(i), down))
            });
            stretch.collect()
        })
        .collect();
    let ring: Vec<Point> = ring.into_iter().flatten().collect();
    let field = |p: &Point| cast.value(p);
    spaced(&ring, spacing_mm).par_iter().map(|p| onto(&field, p)).collect()
}

/// How far down the crown's surface reaches at `turn` (see [`exit`]), radians.
pub fn border_down(cast: &Cast, crown: &CrownBody, turn: f64) -> f64 {
    let beyond = |down: f64| -lead(cast, crown, &exit(cast, crown, turn, down));
    let (first, step) = DOWN;
    // From the top downward: the first place of the surface that is no longer the crown.
    let mut lo = (first, beyond(first));
    for k in 1..27 {
        let down = first + step * f64::from(k);
        let hi = (down, beyond(down));
        if hi.1 > 0.0 {
            return root(&beyond, lo, hi, FINE);
        }
        lo = hi;
    }
    lo.0
}

/// The same from the border at a turn beside; searched from the top where it has moved far.
pub fn border_near(cast: &Cast, crown: &CrownBody, turn: f64, beside: f64) -> f64 {
    let beyond = |down: f64| -lead(cast, crown, &exit(cast, crown, turn, down));
    let (lo, hi) = ((beside - BESIDE).max(DOWN.0), beside + BESIDE);
    let (f_lo, f_hi) = (beyond(lo), beyond(hi));
    if f_lo <= 0.0 && f_hi > 0.0 {
        root(&beyond, (lo, f_lo), (hi, f_hi), FINE)
    } else {
        border_down(cast, crown, turn)
    }
}

/// A zero between `lo`, where the value is not over 0, and `hi`, where it is, to within `fine`; on the side of `lo`.
///
/// Secants; an end that stays twice counts half, so that a bend cannot hold them back, and a step halves them.
pub(super) fn root(f: &impl Fn(f64) -> f64, mut lo: (f64, f64), mut hi: (f64, f64), fine: f64) -> f64 {
    let mut held = 0;
    for k in 0..60 {
        if (hi.0 - lo.0).abs() < fine || lo.1 == 0.0 {
            break;
        }
        let share = if k % 4 == 3 || lo.1 >= 0.0 { 0.5 } else { (lo.1 / (lo.1 - hi.1)).clamp(1e-3, 0.999) };
        let mid = lo.0 + (hi.0 - lo.0) * share;
        let value = f(mid);
        if value > 0.0 {
            if held > 0 {
                lo.1 *= 0.5;
            }
            (hi, held) = ((mid, value), 1);
        } else {
            if held < 0 {
                hi.1 *= 0.5;
            }
            (lo, held) = ((mid, value), -1);
        }
    }
    lo.0
}

/// FDI number of the crown that each file position on the surface belongs to, 0 = none.
pub fn labels(cast: &Cast, places: &[Point]) -> Vec<u8> {
    let of = |p: &Point| {
        let own = cast.own(p);
        let near = |c: &&CrownBody| {
            let (middle, radius) = c.bound();
            (own - middle).norm() < radius + 1.0
        };
        let crown = cast.crowns.iter().filter(near).find(|c| is_crown(cast, c, &own));
        crown.map_or(0, |c| c.tooth.number())
    };
    places.par_iter().map(of).collect()
}

/// Whether the surface at an own position belongs to the crown, rather than to gingiva or to a neighbour.
pub fn is_crown(cast: &Cast, crown: &CrownBody, own: &Point) -> bool {
    lead(cast, crown, own) > 0.0
}

/// By how much a crown lies nearer to an own position than gingiva and neighbours, mm.
fn lead(cast: &Cast, crown: &CrownBody, own: &Point) -> f64 {
    let mine = crown.value(crown.local(own));
    let near = |c: &&CrownBody| c.tooth != crown.tooth && (c.origin - crown.origin).norm() < 16.0;
    let others = cast.crowns.iter().filter(near).map(|c| c.value(c.local(own)));
    others.fold(cast.tissue_value(own, true), f64::min) - mine
}

/// Where a ray from the middle of a crown's axis leaves the cast: `turn` around the axis (0 distal, a quarter
/// buccal), `down` from the occlusal direction, radians; own position.
pub fn exit(cast: &Cast, crown: &CrownBody, turn: f64, down: f64) -> Point {
    let (side, up) = (sin(down), cos(down));
    let way = [side * cos(turn), side * sin(turn), up];
    let from = 0.45 * crown.height;
    let at = |r: f64| crown.world([r * way[0], r * way[1], from + r * way[2]]);
    let value = |r: f64| cast.value(&cast.own(&at(r)));
    let mut lo = (0.4, value(0.4));
    while lo.0 < 25.0 {
        let r = lo.0 + (-0.6 * lo.1).max(0.03);
        let hi = (r, value(r));
        if hi.1 > 0.0 {
            return at(root(&value, lo, hi, 1e-6));
        }
        lo = hi;
    }
    at(lo.0)
}

/// A closed curve with points added where they stand further apart than `spacing_mm` and left out where closer.
fn spaced(ring: &[Point], spacing_mm: f64) -> Vec<Point> {
    let mut out: Vec<Point> = Vec::new();
    let mut left = 0.0;
    for (i, p) in ring.iter().enumerate() {
        let q = ring[(i + 1) % ring.len()];
        let length = (q - p).norm();
        while left < length {
            out.push(p + (q - p) * (left / length));
            left += spacing_mm;
        }
        left -= length;
    }
    out
}

/// A point on the occlusal surface of a crown over its axis, file position.
pub fn on_crown(cast: &Cast, crown: &CrownBody) -> Point {
    let (mut lo, mut hi) = (0.3 * crown.height, crown.height + 1.0);
    for _ in 0..40 {
        let w = 0.5 * (lo + hi);
        if crown.value([0.0, 0.0, w]) > 0.0 { hi = w } else { lo = w }
    }
    cast.own(&crown.world([0.0, 0.0, lo]))
}

/// Distance along the arch of the distal (or, for `mesial`, the mesial) wall of a crown where it stands out most.
pub fn proximal_s(cast: &Cast, crown: &CrownBody, mesial: bool) -> f64 {
    let turn = if mesial { std::f64::consts::PI } else { 0.0 };
    let p = crown.world(crown.on_wall(turn, 0.6 * crown.height));
    cast.form.place(p.x, p.y).s
}

/// The crown of a tooth.
pub fn crown_of(cast: &Cast, tooth: Tooth) -> Option<&CrownBody> {
    cast.crowns.iter().find(|c| c.tooth == tooth)
}
