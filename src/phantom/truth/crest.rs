//! The crest of a residual ridge and the room over it.

use super::super::arch::Place;
use super::super::cast::Cast;
use super::super::field::through;
use super::near::nearest_all;
use crate::space::{Point, Vector};
use rayon::prelude::*;

/// Reach of the search along the opening, mm.
const REACH_MM: f64 = 40.0;

/// The surface over a place of the arch, from above, file position. `None` where nothing is met in 40 mm.
fn surface_over(cast: &Cast, place: Place, from: f64) -> Option<Point> {
    let own = cast.form.point(place, from);
    let at = |z: f64| cast.own(&Point::new(own.x, own.y, z));
    let mut z = from;
    loop {
        let f = cast.value(&at(z));
        if f <= 1e-9 {
            return Some(at(z));
        }
        // Steps shorter than the field lets: it is a distance only near its zero set.
        z -= (0.75 * f).max(1e-6);
        if z < from - REACH_MM {
            return None;
        }
    }
}

/// Crest of the ridge from `from_s` to `to_s` along the arch: in each section square to the arch the highest place
/// against the occlusal plane; file positions at most 0.5 mm apart.
pub fn crest(cast: &Cast, from_s: f64, to_s: f64) -> Vec<Point> {
    let n = ((to_s - from_s).abs() / 0.45).ceil().max(1.0) as usize;
    let places: Vec<Option<Point>> = (0..=n)
        .into_par_iter()
        .map(|i| {
            let s = from_s + (to_s - from_s) * i as f64 / n as f64;
            let top = through(&cast.levels.s, &cast.levels.top, s) + 4.0;
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
        .collect();
    places.into_iter().flatten().collect()
}

/// Distance from `p` along `direction` to the surface of `opposing`; `None` where there is none in 40 mm or where the
/// scan of `opposing` does not reach.
pub fn along_mm(opposing: &Cast, p: &Point, direction: &Vector) -> Option<f64> {
    let f = |r: f64| opposing.value(&(p + direction * r));
    let mut r = 0.0;
    let mut step = 0.0;
    while r < REACH_MM {
        let v = f(r);
        if v <= 0.0 {
            let (mut lo, mut hi) = (r - step, r);
            for _ in 0..50 {
                let mid = 0.5 * (lo + hi);
                if f(mid) > 0.0 { lo = mid } else { hi = mid }
            }
            let met = 0.5 * (lo + hi);
            return (opposing.border(&(p + direction * met)) <= 0.0).then_some(met);
        }
        step = (0.5 * v).max(0.02);
        r += step;
    }
    None
}

/// Room over one place of a crest.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Station {
    /// The place, file position.
    pub at: Point,
    /// Distance along the opening to the opposing arch, mm; `None` where it has no surface there.
    pub along_mm: Option<f64>,
    /// Place of the opposing arch nearest in any direction; `None` where none is within 20 mm.
    pub nearest_at: Option<Point>,
}

impl Station {
    /// Distance to the nearest place of the opposing arch, mm.
    pub fn nearest_mm(&self) -> Option<f64> {
        self.nearest_at.map(|q| (q - self.at).norm())
    }
}

/// Room over each of `points`.
pub fn stations(opposing: &Cast, points: &[Point], opening: &Vector) -> Vec<Station> {
    let along: Vec<Option<f64>> = points.par_iter().map(|p| along_mm(opposing, p, opening)).collect();
    // The nearest place is never further than the one along the opening, here or from a place beside.
    let bound = |p: &Point| {
        let over = points.iter().zip(&along).filter_map(|(q, a)| a.map(|a| a + (q - p).norm()));
        over.fold(20.0, f64::min)
    };
    let within = points.iter().map(bound).fold(0.0, f64::max) + 0.1;
    let nearest = nearest_all(opposing, points, within);
    points
        .iter()
        .zip(along)
        .zip(nearest)
        .map(|((at, along_mm), nearest_at)| Station { at: *at, along_mm, nearest_at })
        .collect()
}
