//! Quantity: the rigid motion that brings a framework from the axes of its file onto its cast, with its residual.
//!
//! Definition: in place, rests, plates, clasp tips and tissue stops touch the cast, all else stands off by its relief, and
//! nothing lies inside. The motion sought is the one in which the most of the fitting surface lies on the cast while next to
//! nothing lies in it: places outside count by how near they are, ever more sharply (a kernel that shrinks from 3 mm to
//! 0.03 mm), so that what is relieved lets go of the cast; places inside push by how deep they are, however deep. The
//! *residual* is the root mean square of the distances of the places within 0.1 mm.
//!
//! Frame and units: the motion takes positions of the framework's file to those of the cast, mm.
//!
//! Method and its error: the framework is laid on the cast from all sides, 12 degrees apart, with turns of 6 degrees and steps
//! of 3 mm, and let down along the occlusal normal onto the cast's heights; what then lies close is refined
//! by closest points, point to plane; at last only places over crowns draw. Two positions that are about as good are none. What touches was designed with a gap of
//! some hundredths of a millimetre, which a position found by contact swallows: no position is better than that.
//!
//! Not covered: a framework mirrored, or of another scale; one of which nothing touches.
//!
//! Checked by: `tests/framework.rs` and `examples/accept_framework.rs`, on generated frameworks moved at random.

use nalgebra::{Matrix6, Rotation3, UnitQuaternion, Vector6};
use rayon::prelude::*;

use super::{Cast, Framework};
use crate::estimate::{Measured, NotMeasured};
use crate::measure::registration::{self, Place};
use crate::space::{Direction, Motion, Point, Vector, about, across, over_the_sphere};
use crate::units::{self, Unit};

/// Width of a cell of the cast's heights, mm.
const CELL_MM: f64 = 1.0;
/// Places that are let down, refined in a trial, and refined at last.
const FEW: usize = 260;
const TRIAL: usize = 700;
const MANY: usize = 5000;
/// Directions of the file that are taken for upward, some 12 degrees apart, and turns about each, degrees.
const UPWARD: usize = 280;
const TURN_DEG: f64 = 6.0;
/// Steps aside that are tried, mm, and how many of them to either side.
const ASIDE_MM: f64 = 3.0;
const ASIDE: i32 = 6;
/// Levels to which it is let down: how many, how far apart, mm, and how many of them are close to each other.
const LEVELS: usize = 128;
const LEVEL_MM: f64 = 0.5;
const CLOSE: usize = 5;
/// Starts that are refined roughly, and those of them that are refined on.
const STARTS: usize = 400;
const TRIED: usize = 24;
/// Positions that are refined at last.
const LAST: usize = 4;
/// Widths of the kernel in a trial and at last, mm, and rounds at each.
const TRIAL_MM: [f64; 8] = [3.0, 2.0, 1.4, 1.0, 0.7, 0.45, 0.3, 0.2];
const LAST_MM: [f64; 8] = [0.3, 0.2, 0.14, 0.1, 0.07, 0.05, 0.04, 0.03];
const ROUGH_MM: [f64; 3] = [3.0, 2.0, 1.2];
const ROUGH_ROUNDS: usize = 4;
/// A place touches within this after the rough rounds, mm.
const ROUGH_TOUCHES_MM: f64 = 0.6;
const ROUNDS: usize = 5;
const LAST_ROUNDS: usize = 12;
/// How much a place over tissue counts at first, against one on a crown; with a narrow kernel it counts next to nothing.
const TISSUE: f64 = 0.5;
/// How much a place inside counts against one that touches.
const INSIDE: f64 = 2.0;
/// A place touches within this, and lies inside from this on, mm.
const TOUCHES_MM: f64 = 0.1;
/// Distance that parts two positions, mm, and how good the second may be against the best.
const APART_MM: f64 = 0.25;
const SECOND_SHARE: f64 = 0.75;
/// Least share of the places that touch, most that lie inside, and greatest residual, mm, of a position that is believed.
const LEAST_TOUCHING: f64 = 0.015;
const MOST_INSIDE: f64 = 0.01;
const MOST_RESIDUAL_MM: f64 = 0.06;

/// A framework brought onto its cast.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Brought {
    /// File to cast.
    pub motion: Motion,
    /// Root mean square distance of what touches, mm.
    pub residual_mm: f64,
    /// Share of the places that touch a crown.
    pub touching_share: f64,
    /// Share of the places that lie inside.
    pub inside_share: f64,
}

impl Brought {
    /// How much speaks for it, to compare two.
    pub fn points(&self) -> f64 {
        self.touching_share - 2.0 * self.inside_share
    }

    /// How far the middle of a framework was moved, mm, and by what turn, degrees.
    pub fn moved(&self, middle: &Point) -> [f64; 2] {
        [(self.motion * middle - middle).norm(), self.motion.rotation.angle().to_degrees()]
    }
}

/// Brings a framework onto a cast. `up` is the occlusal normal.
///
/// # Errors
/// Where no position was found that is better than all others, with what it came to.
pub fn bring(framework: &Framework, cast: &Cast<'_>, up: &Direction) -> Measured<Brought> {
    let mend = "an export of the framework in the axes of the scan, in the same unit, and the right case";
    let all: Vec<u32> = (0..framework.mesh().vertices().len() as u32).collect();
    let places = |most| registration::places(framework.mesh(), &framework.normals, &all, most);
    let (fewer, few) = (places(FEW), places(TRIAL));
    let starts = starts(&fewer, cast, up);
    let mut rough: Vec<(f64, Motion)> = starts
        .par_iter()
        .map(|start| {
            let motion = refined(&fewer, cast, *start, &ROUGH_MM, ROUGH_ROUNDS);
            let judged = judged(&fewer, cast, &motion, ROUGH_TOUCHES_MM);
            (judged.points(), motion)
        })
        .collect();
    rough.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut tried: Vec<(f64, Motion)> = rough
        .par_iter()
        .take(TRIED)
        .map(|(_, start)| {
            let motion = refined(&few, cast, *start, &TRIAL_MM, ROUNDS);
            (judged(&few, cast, &motion, 2.0 * TOUCHES_MM).points(), motion)
        })
        .collect();
    tried.sort_by(|a, b| b.0.total_cmp(&a.0));
    let middle = middle(&few);
    let reach = few.iter().map(|p| (p.at - middle).norm()).fold(1.0, f64::max);
    let mut kept: Vec<Motion> = Vec::new();
    for (_, motion) in tried {
        if kept.len() < LAST && kept.iter().all(|k| apart_mm(k, &motion, &middle, reach) > 1.0) {
            kept.push(motion);
        }
    }
    let many = places(MANY);
    let mut found: Vec<Brought> = kept
        .into_iter()
        .map(|start| judged(&many, cast, &refined(&many, cast, start, &LAST_MM, LAST_ROUNDS), TOUCHES_MM))
        .collect();
    found.sort_by(|a, b| b.points().total_cmp(&a.points()));
    let best = *found.first().ok_or_else(|| {
        NotMeasured::new("the framework has no place from which it could be laid on the cast", mend)
    })?;
    let of_100 = |share: f64| units::show(100.0 * share, Unit::Count);
    if best.touching_share < LEAST_TOUCHING
        || best.inside_share > MOST_INSIDE
        || best.residual_mm > MOST_RESIDUAL_MM
    {
        let says = format!(
            "in the best position found {} of 100 places touch the cast, {} of 100 lie more than {} inside it, and those that \
             touch are off by {}",
            of_100(best.touching_share),
            of_100(best.inside_share),
            units::mm(TOUCHES_MM),
            units::mm(best.residual_mm)
        );
        return Err(NotMeasured::new(says, mend));
    }
    let other = found.iter().skip(1).find(|f| {
        apart_mm(&f.motion, &best.motion, &middle, reach) > APART_MM
            && f.points() > SECOND_SHARE * best.points()
    });
    if let Some(other) = other {
        let says = format!(
            "two positions, {} apart, are about equally good: {} and {} of 100 places touch the cast",
            units::mm(apart_mm(&other.motion, &best.motion, &middle, reach)),
            of_100(best.touching_share),
            of_100(other.touching_share)
        );
        return Err(NotMeasured::new(says, mend));
    }
    Ok(best)
}

fn middle(places: &[Place]) -> Point {
    Point::from(places.iter().map(|p| p.at.coords).sum::<Vector>() / places.len().max(1) as f64)
}

/// How far two motions part at the most within `reach` of a place, mm.
fn apart_mm(a: &Motion, b: &Motion, middle: &Point, reach: f64) -> f64 {
    let between = a.inverse() * b;
    (between * middle - middle).norm() + between.rotation.angle() * reach
}

/// Greatest heights of a cast over cells of the plane across a direction.
struct Heights {
    axes: [Vector; 3],
    low: [f64; 2],
    n: [usize; 2],
    z: Vec<Option<f64>>,
}

impl Heights {
    fn new(cast: &Cast<'_>, up: &Direction) -> Option<Heights> {
        let (u, v) = across(up);
        let axes = [u, v, up.into_inner()];
        let places = cast.surface.mesh().vertices();
        let along = |p: &Point, k: usize| p.coords.dot(&axes[k]);
        let ends = |k: usize| {
            places
                .iter()
                .map(|p| along(p, k))
                .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), x| (l.min(x), h.max(x)))
        };
        let (x, y) = (ends(0), ends(1));
        let low = [x.0, y.0];
        let n = [x, y].map(|(l, h)| ((h - l) / CELL_MM) as usize + 1);
        if places.is_empty() || n[0].checked_mul(n[1]).is_none_or(|all| all > 4_000_000) {
            return None;
        }
        let mut heights = Heights { axes, low, n, z: vec![None; n[0] * n[1]] };
        for p in places {
            if let Some(k) = heights.cell(along(p, 0), along(p, 1)) {
                let z = along(p, 2);
                heights.z[k] = Some(heights.z[k].map_or(z, |h: f64| h.max(z)));
            }
        }
        Some(heights)
    }

    fn cell(&self, x: f64, y: f64) -> Option<usize> {
        let (i, j) = ((x - self.low[0]) / CELL_MM, (y - self.low[1]) / CELL_MM);
        let inside = i >= 0.0 && j >= 0.0 && i < self.n[0] as f64 && j < self.n[1] as f64;
        inside.then(|| j as usize * self.n[0] + i as usize)
    }

    fn at(&self, x: f64, y: f64) -> Option<f64> {
        self.z[self.cell(x, y)?]
    }
}

/// Positions in which a framework, let down, lies close to the cast: the best first.
fn starts(places: &[Place], cast: &Cast<'_>, up: &Direction) -> Vec<Motion> {
    let Some(heights) = Heights::new(cast, up) else { return Vec::new() };
    let centre = middle(places);
    let [u, _, _] = heights.axes;
    let mut turns = Vec::new();
    for own_up in over_the_sphere(UPWARD) {
        let upright = UnitQuaternion::rotation_between(&own_up.into_inner(), &up.into_inner())
            .unwrap_or_else(|| {
                UnitQuaternion::from_axis_angle(&Direction::new_unchecked(u), std::f64::consts::PI)
            });
        for k in 0..(360.0 / TURN_DEG) as i32 {
            let turn = (f64::from(k) * TURN_DEG).to_radians();
            turns.push(UnitQuaternion::from_axis_angle(up, turn) * upright);
        }
    }
    let mut found: Vec<(f64, Motion)> =
        turns.par_iter().filter_map(|turn| let_down(places, &centre, turn, &heights)).collect();
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    found.into_iter().take(STARTS).map(|f| f.1).collect()
}

/// The best step aside of one turn: its score and the motion.
fn let_down(
    places: &[Place],
    centre: &Point,
    turn: &UnitQuaternion<f64>,
    heights: &Heights,
) -> Option<(f64, Motion)> {
    let [u, v, up] = heights.axes;
    let below: Vec<[f64; 3]> = places
        .iter()
        .filter(|p| (turn * p.normal).dot(&up) < -0.35)
        .map(|p| {
            let way = turn * (p.at - centre);
            [way.dot(&u), way.dot(&v), way.dot(&up)]
        })
        .collect();
    if below.len() < 12 {
        return None;
    }
    let half = [0, 1].map(|k| heights.low[k] + 0.5 * CELL_MM * heights.n[k] as f64);
    let mut best: Option<(f64, [f64; 3])> = None;
    for i in -ASIDE..=ASIDE {
        for j in -ASIDE..=ASIDE {
            let [x, y] = [half[0] + ASIDE_MM * f64::from(i), half[1] + ASIDE_MM * f64::from(j)];
            let gaps = below.iter().filter_map(|p| Some(p[2] - heights.at(x + p[0], y + p[1])?));
            if let Some((points, by_mm)) = level(gaps, below.len())
                && best.is_none_or(|b| points > b.0)
            {
                best = Some((points, [x, y, -by_mm]));
            }
        }
    }
    let (points, [x, y, z]) = best?;
    let to = Point::from(u * x + v * y + up * z);
    let motion = Motion::from_parts((to.coords - turn * centre.coords).into(), *turn);
    Some((points, motion))
}

/// How far to let down what stands so far over the cast's heights: until most of it lies close. What then is lower counts
/// against it by half, since tips of clasps lie under the height of contour. Gives the share and the way, mm; `None` where
/// too little of all is over the cast.
fn level(gaps: impl Iterator<Item = f64>, all: usize) -> Option<(f64, f64)> {
    let mut counts = [0u32; LEVELS];
    let (mut met, mut seen) = (0, 0);
    for gap in gaps {
        seen += 1;
        let at = (gap / LEVEL_MM + 0.5 * LEVELS as f64).floor();
        if at >= 0.0 && at < LEVELS as f64 {
            counts[at as usize] += 1;
            met += 1;
        }
    }
    if seen * 10 < all * 7 || met == 0 {
        return None;
    }
    let (mut lower, mut best) = (0.0, (f64::NEG_INFINITY, 0));
    let mut close: f64 = counts[..CLOSE].iter().copied().map(f64::from).sum();
    for first in 0..LEVELS - CLOSE {
        if close - 0.5 * lower > best.0 {
            best = (close - 0.5 * lower, first);
        }
        let (out, into) = (f64::from(counts[first]), f64::from(counts[first + CLOSE]));
        lower += out;
        close += into - out;
    }
    let middle = best.1 as f64 + 0.5 * CLOSE as f64 - 0.5 * LEVELS as f64;
    Some((best.0 / all as f64, LEVEL_MM * middle))
}

/// A place moved onto the cast: where, normal of the cast, distance along it, whether it faces the cast.
struct Met {
    at: Point,
    normal: Vector,
    signed_mm: f64,
    fitting: bool,
    on_crown: bool,
}

fn met(places: &[Place], cast: &Cast<'_>, motion: &Motion, reach_mm: f64) -> Vec<Met> {
    let one = |place: &Place| {
        let at = motion * place.at;
        let near =
            cast.of(&at, &(motion.rotation * place.normal), cast.surface.closest_within(&at, reach_mm)?)?;
        let on_crown = cast.tooth_at(near.face) != 0;
        Some(Met { at, normal: near.normal, signed_mm: near.signed_mm, fitting: near.fitting, on_crown })
    };
    places.par_iter().filter_map(one).collect()
}

/// Rounds of closest points with a kernel that shrinks.
fn refined(places: &[Place], cast: &Cast<'_>, start: Motion, widths_mm: &[f64], rounds: usize) -> Motion {
    let mut motion = start;
    for &width in widths_mm {
        for _ in 0..rounds {
            let Some(step) = step(&met(places, cast, &motion, (3.0 * width).max(1.0)), width) else { break };
            motion = step * motion;
            motion.rotation.renormalize();
            if step.translation.vector.norm() < 1e-5 && step.rotation.angle() < 1e-7 {
                break;
            }
        }
    }
    motion
}

/// The small motion that lowers what is left at most; `None` where the places do not settle one.
fn step(met: &[Met], width_mm: f64) -> Option<Motion> {
    let centre = Point::from(met.iter().map(|m| m.at.coords).sum::<Vector>() / met.len().max(1) as f64);
    let (mut normal, mut right) = (Matrix6::<f64>::zeros(), Vector6::<f64>::zeros());
    for m in met {
        let r = m.signed_mm;
        let weight = if r < 0.0 {
            INSIDE * width_mm / r.abs().max(width_mm)
        } else if m.fitting {
            // What lies over tissue is relieved: near the end only crowns hold.
            let holds = if m.on_crown { 1.0 } else { TISSUE * (width_mm / TRIAL_MM[0]) };
            let share = width_mm * width_mm / (width_mm * width_mm + r * r);
            holds * share * share
        } else {
            continue;
        };
        let turn = (m.at - centre).cross(&m.normal);
        let row = Vector6::new(turn.x, turn.y, turn.z, m.normal.x, m.normal.y, m.normal.z);
        normal += row * row.transpose() * weight;
        right -= row * (r * weight);
    }
    // A hair of damping keeps what slides where it is.
    let damp = 1e-6 * normal.trace() / 6.0;
    let solved = (normal + Matrix6::identity() * damp).cholesky()?.solve(&right);
    let (turn, way) =
        (Vector::new(solved[0], solved[1], solved[2]), Vector::new(solved[3], solved[4], solved[5]));
    if !solved.iter().all(|x| x.is_finite()) {
        return None;
    }
    let turned = Motion::from_parts(
        Vector::zeros().into(),
        UnitQuaternion::from_rotation_matrix(&Rotation3::new(turn)),
    );
    let turned = about(&centre, turned);
    Some(Motion::translation(way.x, way.y, way.z) * turned)
}

fn judged(places: &[Place], cast: &Cast<'_>, motion: &Motion, within_mm: f64) -> Brought {
    let met = met(places, cast, motion, 3.0);
    let share = |n: usize| n as f64 / places.len().max(1) as f64;
    let touching: Vec<f64> = met
        .iter()
        .filter(|m| m.fitting && m.on_crown && m.signed_mm.abs() <= within_mm)
        .map(|m| m.signed_mm)
        .collect();
    let inside = met.iter().filter(|m| m.signed_mm < -within_mm).count();
    let squares: f64 = touching.iter().map(|r| r * r).sum();
    Brought {
        motion: *motion,
        residual_mm: (squares / touching.len().max(1) as f64).sqrt(),
        touching_share: share(touching.len()),
        inside_share: share(inside),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::space::{angle_deg, cos, sin};

    #[test]
    fn most_of_it_settles_where_tips_are_lower() {
        // Seven of ten stand at 5 mm, two at 2 mm: tips; one hangs over.
        let gaps = [5.0, 5.2, 4.9, 5.1, 4.8, 5.3, 5.0, 2.0, 2.2, 9.0];
        let (share, by_mm) = level(gaps.into_iter(), 10).unwrap();
        assert!((by_mm - 5.0).abs() <= 0.5 * CLOSE as f64 * LEVEL_MM, "{by_mm}");
        assert!((share - (0.7 - 0.5 * 0.2)).abs() < 1e-12, "{share}");
    }

    #[test]
    fn what_mostly_hangs_over_the_border_settles_nowhere() {
        assert_eq!(level([5.0; 6].into_iter(), 10), None);
        assert_eq!(level([1e9, -1e9].into_iter(), 2), None);
    }

    #[test]
    fn any_direction_lies_near_one_that_is_tried() {
        let tried = over_the_sphere(UPWARD);
        for k in 0..2000 {
            let (z, turn) = (f64::from(k) / 1000.0 - 0.9995, 0.7 * f64::from(k * k));
            let round = (1.0 - z * z).sqrt();
            let way = Vector::new(round * cos(turn), round * sin(turn), z);
            let near = tried.iter().map(|t| angle_deg(t, &way)).fold(180.0, f64::min);
            assert!(near < 9.5, "{near} degrees at {way}");
        }
    }
}
