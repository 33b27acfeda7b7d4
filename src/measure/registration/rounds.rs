//! The rounds: closest points, weights, equations, a small motion, until nothing moves.

use rayon::prelude::*;

use super::equations::{Equations, Solved};
use super::{Place, Target};
use crate::locate::Closest;
use crate::space::{Motion, Point, Vector};

/// Cosine of the angle up to which the normals of a place and its counterpart may part: noise of a dense scan turns
/// single normals far.
const FACING: f64 = 0.5;
/// Tukey's constant: weights end at this many spreads.
const TUKEY: f64 = 4.685;
/// Least spread that is told apart from none, mm.
const LEAST_SPREAD_MM: f64 = 2e-3;
/// A motion under this is none, mm.
const STILL_MM: f64 = 1e-6;
/// Fewest places that settle a motion with something to spare.
const FEWEST: usize = 24;

/// How the rounds go.
#[derive(Clone, Copy, Debug)]
pub(super) struct Schedule {
    /// How far a counterpart is looked for at first, mm.
    pub reach_mm: f64,
    /// And at last, mm.
    pub least_reach_mm: f64,
    /// Most rounds.
    pub most_rounds: usize,
}

/// A moved place and its counterpart.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pairing {
    /// The moved place, mm.
    pub at: Point,
    /// Normal of the fixed surface there.
    pub normal: Vector,
    /// Distance to the tangent plane there, positive outside, mm.
    pub residual_mm: f64,
    /// Distance to the closest point, mm.
    pub distance_mm: f64,
    /// Whether the closest point lies on the border of the fixed surface.
    pub on_rim: bool,
    /// Whether both normals point the same way, about.
    pub facing: bool,
}

impl Pairing {
    /// How far the place lies off the fixed surface, mm.
    pub fn off_mm(&self) -> f64 {
        if self.facing { self.residual_mm.abs().max(self.distance_mm * 0.5) } else { self.distance_mm }
    }
}

/// What the rounds came to.
#[derive(Clone, Debug)]
pub(super) struct Fit {
    /// Moving to fixed.
    pub motion: Motion,
    /// Rounds gone.
    pub rounds: usize,
    /// Whether a motion is left that the places do not settle.
    pub slides: bool,
    /// How well the others are settled.
    pub solved: Solved,
    reach_mm: f64,
    spread_mm: f64,
}

impl Fit {
    /// Whether a pairing counted in the last round.
    pub fn uses(&self, p: &Pairing) -> bool {
        counts(p, self.reach_mm) && p.residual_mm.abs() < TUKEY * self.spread_mm
    }
}

fn counts(p: &Pairing, reach_mm: f64) -> bool {
    !p.on_rim && p.facing && p.distance_mm <= reach_mm
}

/// Counterparts of all places under a motion, in their order; a place without any is left out.
pub(super) fn pairings(places: &[Place], fixed: &Target<'_>, motion: &Motion) -> Vec<Pairing> {
    let chunk = |chunk: &[Place]| -> Vec<Pairing> {
        let mut last: Option<Closest> = None;
        let next = |place: &Place| {
            let at = motion * place.at;
            let closest = match &last {
                Some(known) => fixed.surface.closest_from(&at, known),
                None => fixed.surface.closest(&at),
            }?;
            last = Some(closest);
            pairing(fixed, at, &(motion.rotation * place.normal), &closest)
        };
        chunk.iter().filter_map(next).collect()
    };
    places.par_chunks(256).flat_map_iter(chunk).collect()
}

fn pairing(fixed: &Target<'_>, at: Point, own: &Vector, closest: &Closest) -> Option<Pairing> {
    let mesh = fixed.surface.mesh();
    let corners = mesh.corners(closest.face);
    let ids = mesh.faces()[closest.face as usize];
    let shares = shares(&corners, &closest.at)?;
    let rim = fixed.rim[closest.face as usize];
    // The side from corner k to k + 1 lies opposite of corner k + 2.
    let on_rim = (0..3).any(|k| rim[k] && shares[(k + 2) % 3] < 1e-6)
        || (0..3).any(|k| shares[k] > 1.0 - 1e-6 && fixed.on_rim[ids[k] as usize]);
    let smooth: Vector = (0..3).map(|k| fixed.normals[ids[k] as usize] * shares[k]).sum();
    let normal = smooth.try_normalize(1e-9).or_else(|| mesh.face_normal(closest.face))?;
    Some(Pairing {
        at,
        normal,
        residual_mm: (at - closest.at).dot(&normal),
        distance_mm: closest.distance_mm,
        on_rim,
        facing: own.dot(&normal) > FACING,
    })
}

/// Shares of the three corners in a point of a triangle; `None` where it has no area.
fn shares([a, b, c]: &[Point; 3], p: &Point) -> Option<[f64; 3]> {
    let whole = (b - a).cross(&(c - a));
    let square = whole.norm_squared();
    if square <= 0.0 {
        return None;
    }
    let of = |u: &Point, w: &Point| (u - p).cross(&(w - p)).dot(&whole) / square;
    Some([of(b, c), of(c, a), of(a, b)])
}

/// Goes the rounds from a start. `None` where too few places have a counterpart within reach.
pub(super) fn run(places: &[Place], fixed: &Target<'_>, start: Motion, how: &Schedule) -> Option<Fit> {
    let (mut motion, mut reach_mm) = (start, how.reach_mm);
    let (mut last, mut before) = (None, f64::INFINITY);
    for rounds in 1..=how.most_rounds {
        let near: Vec<Pairing> =
            pairings(places, fixed, &motion).into_iter().filter(|p| counts(p, reach_mm)).collect();
        if near.len() < FEWEST {
            return None;
        }
        let spread_mm = spread(&near);
        let (step, far, slides, solved) = equations(&near, TUKEY * spread_mm).solved();
        motion = step * motion;
        motion.rotation.renormalize();
        last = Some(Fit { motion, rounds, slides, solved, reach_mm, spread_mm });
        let narrower = (0.75 * reach_mm).max(4.0 * TUKEY * spread_mm).max(how.least_reach_mm).min(reach_mm);
        // At rest where nothing moves, or where the last digits of a step only wander.
        let rests = far < STILL_MM || (far < 1e-4 && far > 0.9 * before && rounds > 30);
        if rests && narrower > 0.95 * reach_mm {
            break;
        }
        before = far;
        reach_mm = narrower;
    }
    last
}

/// Spread of the residuals by their median without sign; a normal law has 1.4826 times that as standard deviation.
fn spread(near: &[Pairing]) -> f64 {
    let mut sizes: Vec<f64> = near.iter().map(|p| p.residual_mm.abs()).collect();
    let middle = sizes.len() / 2;
    let (_, median, _) = sizes.select_nth_unstable_by(middle, f64::total_cmp);
    (1.4826 * *median).max(LEAST_SPREAD_MM)
}

fn equations(near: &[Pairing], cut: f64) -> Equations {
    let sum: Vector = near.iter().map(|p| p.at.coords).sum();
    let centre = Point::from(sum / near.len() as f64);
    let square: f64 = near.iter().map(|p| (p.at - centre).norm_squared()).sum();
    let radius = (square / near.len() as f64).sqrt().max(1e-9);
    let mut equations = Equations::new(centre, radius);
    for p in near {
        let share = p.residual_mm / cut;
        let weight = (1.0 - share * share).max(0.0);
        equations.add(&p.at, &p.normal, p.residual_mm, weight * weight);
    }
    equations
}
