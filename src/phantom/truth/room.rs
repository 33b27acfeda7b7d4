//! Room for a rigid body between the restored arch and the opposing one.
//!
//! Definition: in the body's own axes the least opposing height minus the greatest height of the restored arch over the
//! body's footprint. The pointwise gap stands beside it.

use super::super::cast::Cast;
use super::margin::root;
use crate::space::{Direction, Point, Vector, direction};
use rayon::prelude::*;

/// Grid over the footprint, mm.
const GRID_MM: f64 = 0.15;
/// Heights searched below and above the centre, mm.
const REACH_MM: f64 = 30.0;

/// A body with a rectangular footprint.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Body {
    /// A point on the middle line of the footprint, file position; heights count from it.
    pub centre: Point,
    /// Up: from the tissue toward the opposing arch.
    pub up: Direction,
    /// Which way its length lies, as far as it is square to `up`.
    pub along: Vector,
    /// Length of the footprint, mm.
    pub length_mm: f64,
    /// Width of the footprint, mm.
    pub width_mm: f64,
}

/// Shorter crests have no room for a footprint between their teeth, mm.
const LEAST_CREST_MM: f64 = 10.0;
/// Length and width of the usual footprint, mm.
const FOOTPRINT_MM: [f64; 2] = [6.0, 4.0];

impl Body {
    /// A body of 6 by 4 mm with its front edge `clear_mm` behind the start of a crest; `None` on a crest too short for it.
    pub fn behind(crest: &[Point], up: Direction, clear_mm: f64) -> Option<Body> {
        let steps = || crest.windows(2).map(|w| ((w[1] - w[0]).norm(), w[1]));
        if steps().map(|(mm, _)| mm).sum::<f64>() < LEAST_CREST_MM {
            return None;
        }
        let at = |mm: f64| {
            let mut left = mm;
            steps().find_map(|(step, p)| {
                left -= step;
                (left <= 0.0).then_some(p)
            })
        };
        let [length_mm, width_mm] = FOOTPRINT_MM;
        let (front, centre, back) =
            (at(clear_mm)?, at(clear_mm + 0.5 * length_mm)?, at(clear_mm + length_mm)?);
        Some(Body { centre, up, along: back - front, length_mm, width_mm })
    }
}

/// Room over a footprint.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Room {
    /// Least opposing height minus greatest height of the restored arch, mm.
    pub room_mm: f64,
    /// Least gap between the two, place by place, mm.
    pub pointwise_mm: f64,
    /// Highest place of the restored arch over the footprint.
    pub tissue_at: Point,
    /// Lowest place of the opposing arch over it.
    pub opposing_at: Point,
}

/// Room for a body standing at its place, untilted against its own `up`; `None` where no surface of the one or the
/// other arch lies over the footprint.
pub fn room(restored: &Cast, opposing: &Cast, body: &Body) -> Option<Room> {
    let up = body.up.into_inner();
    let along = direction(body.along - up * body.along.dot(&up))?.into_inner();
    let across = up.cross(&along);
    let half = [0.5 * body.length_mm, 0.5 * body.width_mm];
    let at = |[a, b]: [f64; 2]| body.centre + along * a + across * b;
    // The restored arch as seen from above, the opposing arch as seen from below.
    let top = |q: [f64; 2]| met(restored, &(at(q) + up * REACH_MM), &-up).map(|r| REACH_MM - r);
    let under = |q: [f64; 2]| met(opposing, &(at(q) - up * REACH_MM), &up).map(|r| r - REACH_MM);
    let [nu, nv] = half.map(|h| (h / GRID_MM).ceil().max(1.0) as usize);
    let node = |i: usize| {
        let (iu, iv) = (i % (2 * nu + 1), i / (2 * nu + 1));
        [half[0] * (iu as f64 / nu as f64 - 1.0), half[1] * (iv as f64 / nv as f64 - 1.0)]
    };
    let nodes: Vec<[f64; 2]> = (0..(2 * nu + 1) * (2 * nv + 1)).map(node).collect();
    let heights: Vec<(Option<f64>, Option<f64>)> = nodes.par_iter().map(|q| (top(*q), under(*q))).collect();
    let search = Search { half, nodes: &nodes };
    let (tissue, tissue_mm) = search.least(|i| heights[i].0.map(|h| -h), |q| top(q).map(|h| -h))?;
    let (under_at, under_mm) = search.least(|i| heights[i].1, under)?;
    let gap = |a: Option<f64>, b: Option<f64>| Some(b? - a?);
    let (_, pointwise_mm) = search.least(|i| gap(heights[i].0, heights[i].1), |q| gap(top(q), under(q)))?;
    Some(Room {
        room_mm: under_mm + tissue_mm,
        pointwise_mm,
        tissue_at: at(tissue) - up * tissue_mm,
        opposing_at: at(under_at) + up * under_mm,
    })
}

/// A search for the least value over a footprint.
struct Search<'a> {
    half: [f64; 2],
    nodes: &'a [[f64; 2]],
}

impl Search<'_> {
    /// The least value and its place: from the best nodes of the grid by halving steps.
    fn least(
        &self,
        on_node: impl Fn(usize) -> Option<f64>,
        value: impl Fn([f64; 2]) -> Option<f64>,
    ) -> Option<([f64; 2], f64)> {
        let mut order: Vec<(f64, usize)> =
            (0..self.nodes.len()).filter_map(|i| on_node(i).map(|v| (v, i))).collect();
        order.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        let mut starts: Vec<usize> = Vec::new();
        for (_, i) in &order {
            let far = |j: &usize| {
                let (p, q) = (self.nodes[*i], self.nodes[*j]);
                (p[0] - q[0]).abs().max((p[1] - q[1]).abs()) > 3.0 * GRID_MM
            };
            if starts.iter().all(far) {
                starts.push(*i);
            }
            if starts.len() == 4 {
                break;
            }
        }
        let found = starts.iter().filter_map(|i| self.refined(self.nodes[*i], &value));
        found.min_by(|a, b| a.1.total_cmp(&b.1))
    }

    fn refined(&self, start: [f64; 2], value: &impl Fn([f64; 2]) -> Option<f64>) -> Option<([f64; 2], f64)> {
        let (mut q, mut best) = (start, value(start)?);
        let mut step = 0.5 * GRID_MM;
        while step > 1e-5 {
            let better = [[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0]].into_iter().find_map(|w| {
                let r = [0, 1].map(|k| f64::clamp(q[k] + step * w[k], -self.half[k], self.half[k]));
                value(r).filter(|v| *v < best).map(|v| (r, v))
            });
            match better {
                Some((r, v)) => (q, best) = (r, v),
                None => step *= 0.5,
            }
        }
        Some((q, best))
    }
}

/// Distance from `p` along `way` to the first surface of the scan of a cast, within twice the reach.
fn met(cast: &Cast, p: &Point, way: &Vector) -> Option<f64> {
    let value = |r: f64| cast.value(&(p + way * r));
    let mut before = (0.0, value(0.0));
    while before.0 < 2.0 * REACH_MM {
        let r = before.0 + (0.5 * before.1).max(0.01);
        let now = (r, value(r));
        if now.1 <= 0.0 {
            let inside = |r: f64| -value(r);
            let met = root(&inside, (before.0, -before.1), (now.0, -now.1), 1e-8);
            return (cast.border(&(p + way * met)) <= 0.0).then_some(met);
        }
        before = now;
    }
    None
}
