//! What is true of a phantom, from its distance function and never from its triangles.
//!
//! Opening and withdrawal are +z in a mandible and -z in a maxilla: the occlusal plane of every phantom is z = 0.

use super::arch::Place;
use super::cast::{Cast, Rise, gradient};
use super::crown::CrownBody;
use super::refine::onto;
use crate::case::Tooth;
use crate::space::{Point, Vector, cos, sin};

/// The border of a crown as the scan shows it, closed, file positions about `spacing_mm` apart: the gingival margin,
/// and where a neighbour touches the middle line of the web between the two.
pub fn margin(cast: &Cast, crown: &CrownBody, spacing_mm: f64) -> Vec<Point> {
    let neighbours: Vec<&CrownBody> = cast
        .crowns
        .iter()
        .filter(|c| c.tooth != crown.tooth && (c.origin - crown.origin).norm() < 16.0)
        .collect();
    let is_crown = |own: &Point| {
        let mine = crown.value(crown.local(own));
        neighbours.iter().all(|c| c.value(c.local(own)) > mine) && cast.tissue_value(own, true) > mine
    };
    const AROUND: usize = 180;
    let ring: Vec<Point> = (0..AROUND)
        .map(|i| {
            let turn = 2.0 * std::f64::consts::PI * i as f64 / AROUND as f64;
            let at = |down: f64| exit(cast, crown, turn, down);
            // From the top downward: the first place of the surface that is no longer the crown.
            let (first, step) = (0.25, 0.1);
            let steps = (1..27).find(|k| !is_crown(&at(first + step * f64::from(*k)))).unwrap_or(26);
            let mut lo = first + step * f64::from(steps - 1);
            let mut hi = first + step * f64::from(steps);
            for _ in 0..12 {
                let mid = 0.5 * (lo + hi);
                if is_crown(&at(mid)) { lo = mid } else { hi = mid }
            }
            cast.own(&at(lo))
        })
        .collect();
    let field = |p: &Point| cast.value(p);
    spaced(&ring, spacing_mm).iter().map(|p| onto(&field, p)).collect()
}

/// Where a ray from the middle of a crown's axis leaves the cast: `turn` around the axis (0 distal, a quarter
/// buccal), `down` from the occlusal direction, radians; own position.
fn exit(cast: &Cast, crown: &CrownBody, turn: f64, down: f64) -> Point {
    let (side, up) = (sin(down), cos(down));
    let way = [side * cos(turn), side * sin(turn), up];
    let from = 0.45 * crown.height;
    let at = |r: f64| crown.world([r * way[0], r * way[1], from + r * way[2]]);
    let value = |r: f64| cast.value(&cast.own(&at(r)));
    let (mut r, mut step) = (0.4, 0.0);
    while r < 25.0 {
        let f = value(r);
        if f > 0.0 {
            break;
        }
        step = (-0.6 * f).max(0.03);
        r += step;
    }
    let (mut lo, mut hi) = (r - step, r);
    for _ in 0..14 {
        let mid = 0.5 * (lo + hi);
        if value(mid) > 0.0 { hi = mid } else { lo = mid }
    }
    at(0.5 * (lo + hi))
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
            let height = |t: f64| {
                surface_over(cast, Place { s, t }, top).map_or(f64::NEG_INFINITY, |p| cast.own(&p).z)
            };
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

/// The point of the zero set of `field` nearest to `p`, found by sliding from `start`.
pub fn foot(field: &impl Fn(&Point) -> f64, p: &Point, start: &Point) -> Point {
    let mut q = onto(field, start);
    for _ in 0..60 {
        let normal = gradient(field, &q).normalize();
        let d = p - q;
        let aside = d - normal * d.dot(&normal);
        if aside.norm() < 1e-6 {
            break;
        }
        q = onto(field, &(q + aside * 0.5));
    }
    q
}

/// A torus: its greatest height over the tissue without it, and where, file position.
pub fn torus_height(cast: &Cast, torus: &Rise) -> (f64, Point) {
    let with = |p: &Point| cast.value(p);
    let without = |p: &Point| cast.value_with(p, false);
    let mut best = (0.0, cast.own(&torus.centre));
    for i in -7..=7 {
        for j in -7..=7 {
            let (a, b) = (f64::from(i) * 0.1, f64::from(j) * 0.1);
            let up = 1.0 - a * a - b * b;
            if up <= 0.0 {
                continue;
            }
            let own = torus.centre
                + torus.axes[0] * (a * torus.half[0])
                + torus.axes[1] * (up.sqrt() * torus.half[1])
                + torus.axes[2] * (b * torus.half[2]);
            let p = onto(&with, &cast.own(&own));
            let height = (foot(&without, &p, &p) - p).norm();
            if height > best.0 {
                best = (height, p);
            }
        }
    }
    best
}

/// Whether something of the cast stands over a place at a height, withdrawal +z, file position.
fn covered(cast: &Cast, x: f64, y: f64, from: f64, top: f64) -> bool {
    let mut z = from;
    while z < top {
        let f = cast.value(&Point::new(x, y, z));
        if f < 0.0 {
            return true;
        }
        z += (0.5 * f).max(0.01);
    }
    false
}

/// Undercut depth of a surface point of a mandible for withdrawal +z: the least way a vertical rod at its height has
/// to go aside to be free of all that stands above, searched in 48 directions and refined around the best.
pub fn undercut_mm(cast: &Cast, p: &Point) -> f64 {
    let top = cast.highest() + 0.5;
    let from = p.z + 1e-4;
    let way = |turn: f64| {
        let (c, s) = (cos(turn), sin(turn));
        let is_covered = |r: f64| covered(cast, p.x + r * c, p.y + r * s, from, top);
        // The rod starts a hair inside, where the surface itself stands over it if it overhangs.
        let mut r = 0.0;
        while is_covered(r) && r < 8.0 {
            r += 0.1;
        }
        let (mut lo, mut hi) = ((r - 0.1f64).max(0.0), r);
        for _ in 0..14 {
            let mid = 0.5 * (lo + hi);
            if is_covered(mid) { lo = mid } else { hi = mid }
        }
        hi
    };
    let step = 2.0 * std::f64::consts::PI / 48.0;
    let best =
        (0..48).map(|i| (way(step * f64::from(i)), step * f64::from(i))).min_by(|a, b| a.0.total_cmp(&b.0));
    let Some((_, turn)) = best else { return 0.0 };
    let (mut lo, mut hi) = (turn - step, turn + step);
    for _ in 0..16 {
        let (a, b) = (lo + (hi - lo) / 3.0, hi - (hi - lo) / 3.0);
        if way(a) < way(b) { hi = b } else { lo = a }
    }
    way(0.5 * (lo + hi))
}
