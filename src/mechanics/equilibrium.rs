//! Quantity: the rest position of rigid bodies on springs of which some only push.
//!
//! Definition: the motion `u` at which the springs that act balance the load, `sum k e(u) row = f`, where a spring that
//! only pushes acts while its stretch `e` is negative. It is the least of a convex energy, so it is one place wherever
//! the bodies are held at all.
//!
//! Frame and units: as in [`super::springs`].
//!
//! Method and its error: active set. All springs act at first; the equations are solved; springs that would pull are let
//! go, those that are pressed are taken in, until the set repeats. Where a full step would raise the energy, the step
//! ends at the least energy on its way, so the search cannot go round in circles. A share of 1e-9 of the greatest stiffness holds what nothing
//! holds while it is looked for; it acts on the step alone and leaves no force in the answer. Converged is a remainder under 1e-10 of the load in every body; force and moment of the whole are added up
//! apart from the equations.
//!
//! Not covered: large rotations, friction, and what gives in the metal.
//!
//! Checked by: closed forms in the tests of `mechanics::closed_forms`, and below.

use super::linear::Factors;
use super::springs::{LEVER_MM, System};
use crate::space::Vector;

/// Steps after which the search is given up.
const STEPS_MOST: usize = 60;
/// Remainder, as a share of the load, at which the search has ended.
const REMAINDER_SHARE: f64 = 1e-10;
/// A step is no longer than this, mm: bodies in a mouth do not move as far.
const STEP_MOST_MM: f64 = 2.0;
/// A body that moves farther than this is not held, mm.
const FREE_MM: f64 = 25.0;
/// Share of the greatest stiffness that steadies a step.
const STEADY_SHARE: f64 = 1e-9;

/// Where the bodies come to rest.
#[derive(Clone, Debug, PartialEq)]
pub struct Equilibrium {
    /// Six numbers a body.
    pub motion: Vec<f64>,
    /// Steps taken.
    pub steps: usize,
    /// Greatest of the missing force and the missing moment, as a share of the load.
    pub balance_share: f64,
}

/// Why there is no equilibrium.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum Unheld {
    /// Nothing pushes on the bodies.
    #[error("no load acts")]
    NoLoad,
    /// A body turns without resistance.
    #[error("free to turn")]
    Turns {
        /// The body.
        body: usize,
        /// A place of the axis, from the common origin, mm.
        through: Vector,
        /// Its direction, unit.
        axis: Vector,
    },
    /// A body slides without resistance.
    #[error("free to slide")]
    Slides {
        /// The body.
        body: usize,
        /// The way, unit.
        along: Vector,
    },
    /// The active set went on changing.
    #[error("the search for the rest position did not end")]
    NoEnd,
}

/// Finds the rest position. `start` is where to begin, such as the rest position of a like case.
///
/// # Errors
/// A body that is free to move, no load, or a search that does not end.
pub fn find(system: &System, start: Option<&[f64]>) -> Result<Equilibrium, Unheld> {
    let size = 6 * system.bodies;
    let strength = system.load.iter().map(|f| f.abs()).fold(0.0, f64::max);
    if size == 0 || strength <= 0.0 || !strength.is_finite() {
        return Err(Unheld::NoLoad);
    }
    let mut motion = match start {
        Some(known) if known.len() == size => known.to_vec(),
        _ => {
            held(system)?;
            vec![0.0; size]
        }
    };
    let mut state = State::of(system, &motion);
    for steps in 1..=STEPS_MOST {
        let factors = Factors::of(state.matrix(system, size), size);
        let mut step = factors.solve(&state.remainder);
        refine(system, &state, &factors, &mut step);
        shorten(&mut step);
        let share = line_share(system, &state, &step);
        motion.iter_mut().zip(&step).for_each(|(m, s)| *m += share * s);
        if motion.iter().any(|m| m.abs() > FREE_MM) {
            return Err(gone(&motion));
        }
        state = State::of(system, &motion);
        if state.left() <= REMAINDER_SHARE * strength {
            let balance_share = balance(system, &motion);
            return Ok(Equilibrium { motion, steps, balance_share });
        }
    }
    // What still travels in long steps is carried by nothing.
    if motion.iter().any(|m| m.abs() > FREE_MM / 5.0) { Err(gone(&motion)) } else { Err(Unheld::NoEnd) }
}

/// What acts at a place of the search.
struct State {
    stretch: Vec<f64>,
    /// Load less what the springs bear.
    remainder: Vec<f64>,
}

impl State {
    fn of(system: &System, motion: &[f64]) -> State {
        let mut remainder = system.load.clone();
        let stretch: Vec<f64> = system.springs.iter().map(|s| s.stretch(motion)).collect();
        for (spring, &e) in system.springs.iter().zip(&stretch) {
            if spring.acts(e) {
                spring.spread(-spring.stiffness * e, &mut remainder);
            }
        }
        State { stretch, remainder }
    }

    fn left(&self) -> f64 {
        self.remainder.iter().map(|r| r.abs()).fold(0.0, f64::max)
    }

    fn matrix(&self, system: &System, size: usize) -> Vec<f64> {
        let mut matrix = vec![0.0; size * size];
        for (spring, &e) in system.springs.iter().zip(&self.stretch) {
            if spring.acts(e) {
                spring.stiffen(&mut matrix, size);
            }
        }
        let most = (0..size).map(|i| matrix[i * size + i]).fold(1.0, f64::max);
        (0..size).for_each(|i| matrix[i * size + i] += STEADY_SHARE * most);
        matrix
    }
}

/// One round of correction, which takes out what the factors lost of the digits.
fn refine(system: &System, state: &State, factors: &Factors, step: &mut [f64]) {
    let mut left = state.remainder.clone();
    for (spring, &e) in system.springs.iter().zip(&state.stretch) {
        if spring.acts(e) {
            spring.spread(-spring.stiffness * spring.lengthening(step), &mut left);
        }
    }
    step.iter_mut().zip(factors.solve(&left)).for_each(|(s, more)| *s += more);
}

fn shorten(step: &mut [f64]) {
    let longest = step.iter().map(|s| s.abs()).fold(0.0, f64::max);
    if longest > STEP_MOST_MM {
        step.iter_mut().for_each(|s| *s *= STEP_MOST_MM / longest);
    }
}

/// Share of a step at which the energy on its way is least; 1 where it falls all the way.
fn line_share(system: &System, state: &State, step: &[f64]) -> f64 {
    let pulled: f64 = system.load.iter().zip(step).map(|(f, s)| f * s).sum();
    let more: Vec<f64> = system.springs.iter().map(|s| s.lengthening(step)).collect();
    let slope = |share: f64| {
        let mut sum = -pulled;
        for ((spring, &e), &de) in system.springs.iter().zip(&state.stretch).zip(&more) {
            let there = e + share * de;
            if spring.acts(there) {
                sum += spring.stiffness * there * de;
            }
        }
        sum
    };
    let scale = pulled.abs().max(f64::MIN_POSITIVE);
    if slope(1.0) <= 1e-9 * scale {
        return 1.0;
    }
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..24 {
        let middle = 0.5 * (low + high);
        if slope(middle) > 0.0 { high = middle } else { low = middle }
    }
    0.5 * (low + high)
}

/// Whether all springs together, as if each pulled too, hold every body.
fn held(system: &System) -> Result<(), Unheld> {
    let size = 6 * system.bodies;
    let mut matrix = vec![0.0; size * size];
    system.springs.iter().for_each(|s| s.stiffen(&mut matrix, size));
    match Factors::of(matrix, size).free_motion() {
        Some(free) => Err(gone(&free)),
        None => Ok(()),
    }
}

/// The freest body of a motion, and how it goes.
fn gone(motion: &[f64]) -> Unheld {
    let far = |six: &[f64]| six.iter().map(|v| v.abs()).fold(0.0, f64::max);
    let (body, six) = motion
        .chunks(6)
        .enumerate()
        .rev()
        .max_by(|a, b| far(a.1).total_cmp(&far(b.1)))
        .unwrap_or((0, &[0.0; 6]));
    let slide = Vector::new(six[0], six[1], six[2]);
    let turn = Vector::new(six[3], six[4], six[5]) / LEVER_MM;
    if turn.norm() * LEVER_MM > 0.2 * slide.norm() {
        let axis = turn.normalize();
        return Unheld::Turns { body, through: turn.cross(&slide) / turn.norm_squared(), axis };
    }
    Unheld::Slides { body, along: slide.normalize() }
}

/// Force and moment that the jaw and the load leave over, as a share of the load.
fn balance(system: &System, motion: &[f64]) -> f64 {
    let mut sum = [0.0; 6];
    let mut strength: f64 = 0.0;
    for body in system.load.chunks(6) {
        sum.iter_mut().zip(body).for_each(|(s, f)| *s += f);
        strength = strength.max(body.iter().map(|f| f.abs()).fold(0.0, f64::max));
    }
    for spring in system.springs.iter().filter(|s| s.other.is_none()) {
        let force = spring.push(motion);
        sum.iter_mut().zip(&spring.row).for_each(|(s, r)| *s += force * r);
    }
    sum.iter().map(|s| s.abs()).fold(0.0, f64::max) / strength
}
