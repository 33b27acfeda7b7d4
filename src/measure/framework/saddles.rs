//! Quantity: the part of a framework over a residual ridge: its relief, its reach along the ridge, its tissue stop.
//!
//! Definition: the *relief* is the median distance of the fitting surface from the ridge within 2.5 mm of its crest,
//! where it does not touch and lies more than 2 mm along the crest from an abutment. The
//! *reach* is the way along the crest, from the front abutment, to the farthest place of that surface. A *tissue stop* is
//! fitting surface within 0.1 mm of the ridge in the last third of the reach; its area is given.
//!
//! Frame and units: mm, mm2.
//!
//! Method and its error: vertices of the fitting surface, with a third of the area of the triangles about each.
//!
//! Checked by: `tests/framework.rs` on generated frameworks.

use super::laid::TOUCHING_MM;
use super::parts::Over;
use super::{Framework, Near, median};
use crate::space::Point;

/// Least number of places for a figure.
const LEAST: usize = 12;
/// The relief is read in a band about the crest, mm to either side.
const BAND_MM: f64 = 2.5;
/// Along the crest from an abutment the plate on its side reaches so far, mm.
const BESIDE_MM: f64 = 2.0;
/// Off the ridge by more than this the framework is an arm or a bar that passes, mm.
const FAR_MM: f64 = 3.0;

/// The framework over a ridge.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Saddle {
    /// Median relief, mm.
    pub relief_mm: f64,
    /// What 5 of 100 places of it do not exceed, mm.
    pub least_relief_mm: f64,
    /// A place of it, mm.
    pub at: Point,
    /// Reach along the crest from the front abutment, mm.
    pub reach_mm: f64,
    /// Length of the crest, mm.
    pub crest_mm: f64,
    /// Area that touches in the last third of the reach, mm2.
    pub stop_mm2: f64,
    /// A place of that, mm.
    pub stop_at: Option<Point>,
    /// Distance of the nearest place in the last third of the reach, mm.
    pub stop_gap_mm: f64,
}

/// Reads the framework over the ridge of span `k`, whose crest is given; `None` where there is none.
pub fn read(
    framework: &Framework,
    (near, over): (&[Option<Near>], &[Over]),
    k: usize,
    crest: &[Point],
) -> Option<Saddle> {
    let areas = framework.vertex_areas_mm2();
    let along = stations(crest);
    let crest_mm = along.last()?.0;
    let mut all: Vec<(f64, f64, Point, f64)> = Vec::new();
    for (v, n) in near.iter().enumerate() {
        let Some(n) = n.filter(|n| n.fitting && over[v] == Over::Ridge(k) && n.signed_mm <= FAR_MM) else {
            continue;
        };
        let off = |a: &&(f64, Point)| (a.1 - n.at).norm_squared();
        let nearest = along.iter().min_by(|a, b| off(a).total_cmp(&off(b)))?;
        if (nearest.1 - n.at).norm() > BAND_MM {
            continue;
        }
        let s = nearest.0;
        all.push((s, n.signed_mm, framework.mesh().vertex(v as u32), areas[v]));
    }
    if all.len() < LEAST {
        return None;
    }
    let reach_mm = all.iter().map(|a| a.0).fold(0.0, f64::max);
    // Beside an abutment the plate on its side runs down to the ridge: not what carries resin.
    let off_the_abutments =
        |s: f64| s >= BESIDE_MM && (crest_mm - s >= BESIDE_MM || crest_mm - reach_mm >= BESIDE_MM);
    let stand_off: Vec<f64> =
        all.iter().filter(|a| a.1 > TOUCHING_MM && off_the_abutments(a.0)).map(|a| a.1).collect();
    let last = || all.iter().filter(|a| a.0 >= reach_mm * 2.0 / 3.0);
    let touching: Vec<_> = last().filter(|a| a.1 <= TOUCHING_MM).collect();
    Some(Saddle {
        relief_mm: median(stand_off.clone()).unwrap_or(0.0),
        least_relief_mm: super::quantile(stand_off, 0.05).unwrap_or(0.0),
        at: all.get(all.len() / 2)?.2,
        reach_mm,
        crest_mm,
        stop_mm2: touching.iter().map(|a| a.3).sum(),
        stop_at: touching.first().map(|a| a.2),
        stop_gap_mm: last().map(|a| a.1).fold(f64::INFINITY, f64::min),
    })
}

/// Places of a line with the way to each, mm.
fn stations(line: &[Point]) -> Vec<(f64, Point)> {
    let mut s = 0.0;
    let mut all: Vec<(f64, Point)> = Vec::with_capacity(line.len());
    for p in line {
        if let Some((_, last)) = all.last() {
            s += (p - last).norm();
        }
        all.push((s, *p));
    }
    all
}
