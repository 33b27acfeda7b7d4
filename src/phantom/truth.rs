//! What is true of a phantom, from its distance function and never from its triangles.
//!
//! Opening and withdrawal are +z in a mandible and -z in a maxilla: the occlusal plane of every phantom is z = 0.

use super::arch::Place;
use super::cast::Cast;
use super::crown::CrownBody;
use super::refine::onto;
use crate::case::Tooth;
use crate::space::{Point, Vector};

/// The gingival margin of a tooth: where its wall goes under the gingiva, on the fillet between them, closed, file
/// positions; `stations` places around the tooth.
pub fn margin(cast: &Cast, crown: &CrownBody, stations: usize) -> Vec<Point> {
    (0..stations)
        .map(|i| {
            let turn = 2.0 * std::f64::consts::PI * i as f64 / stations as f64;
            // Up the wall from the root: the first place that is out of the gingiva.
            let out = |w: f64| cast.tissue_value(&crown.world(crown.on_wall(turn, w)), true) > 0.0;
            let (mut lo, mut hi) = (-0.3 * crown.height, 0.75 * crown.height);
            for _ in 0..40 {
                let w = 0.5 * (lo + hi);
                if out(w) { hi = w } else { lo = w }
            }
            let own = crown.world(crown.on_wall(turn, 0.5 * (lo + hi)));
            onto(&|p: &Point| cast.value(p), &cast.own(&own))
        })
        .collect()
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

/// Height of the surface over a place of the arch, from above, own axes. `None` where nothing is met in 40 mm.
fn surface_over(cast: &Cast, place: Place, from: f64) -> Option<Point> {
    let at = |z: f64| cast.own(&cast.form.point(place, z));
    let mut z = from;
    while cast.value(&at(z)) > 1e-9 {
        // Steps shorter than the field lets: it is a distance only near its zero set.
        z -= (0.75 * cast.value(&at(z))).max(1e-6);
        if z < from - 40.0 {
            return None;
        }
    }
    Some(at(z))
}

/// Crest of the ridge from `from_s` to `to_s` along the arch: in each section square to the arch the highest place
/// against the occlusal plane; file positions at most 0.5 mm apart.
pub fn crest(cast: &Cast, from_s: f64, to_s: f64) -> Vec<Point> {
    let n = ((to_s - from_s).abs() / 0.45).ceil().max(1.0) as usize;
    (0..=n)
        .filter_map(|i| {
            let s = from_s + (to_s - from_s) * i as f64 / n as f64;
            let top = super::field::through(&cast.levels.s, &cast.levels.top, s) + 4.0;
            let height =
                |t: f64| surface_over(cast, Place { s, t }, top).map_or(f64::MIN, |p| cast.own(&p).z);
            let steps = 20;
            let t_of = |k: usize| -5.0 + 10.0 * k as f64 / steps as f64;
            let best = (0..=steps).rev().max_by(|a, b| height(t_of(*a)).total_cmp(&height(t_of(*b))))?;
            let (mut lo, mut hi) = (t_of(best) - 0.5, t_of(best) + 0.5);
            for _ in 0..20 {
                let (a, b) = (lo + (hi - lo) / 3.0, hi - (hi - lo) / 3.0);
                if height(a) < height(b) { lo = a } else { hi = b }
            }
            surface_over(cast, Place { s, t: 0.5 * (lo + hi) }, top)
        })
        .collect()
}

/// Distance from `p` along `direction` to the surface of `opposing`; `None` where there is none in 40 mm.
pub fn along_mm(opposing: &Cast, p: &Point, direction: &Vector) -> Option<f64> {
    let f = |r: f64| opposing.value(&(p + direction * r));
    let mut r = 0.0;
    let mut step = 0.0;
    while r < 40.0 {
        let v = f(r);
        if v <= 0.0 {
            let (mut lo, mut hi) = (r - step, r);
            for _ in 0..50 {
                let mid = 0.5 * (lo + hi);
                if f(mid) > 0.0 { lo = mid } else { hi = mid }
            }
            return Some(0.5 * (lo + hi));
        }
        step = (0.5 * v).max(0.02);
        r += step;
    }
    None
}

/// Distance along the arch of the distal (or, for `mesial`, the mesial) wall of a crown at its margin.
pub fn proximal_s(cast: &Cast, crown: &CrownBody, mesial: bool) -> f64 {
    let turn = if mesial { std::f64::consts::PI } else { 0.0 };
    let p = crown.world(crown.on_wall(turn, 0.1 * crown.height));
    cast.form.place(p.x, p.y).s
}

/// The crown of a tooth.
pub fn crown_of(cast: &Cast, tooth: Tooth) -> Option<&CrownBody> {
    cast.crowns.iter().find(|c| c.tooth == tooth)
}
