//! What a rest position says: who bears how much, what is pressed, what moves.
//!
//! Quantity: shares of the load, moments on abutments, pressure on the ridge, movements. The *fulcrum line* is the one
//! that joins the rests (usually the most distal on each side) about which the denture turns (Glossary of
//! Prosthodontic Terms, ninth edition).
//!
//! Definition: a share is the part of the load's component toward the tissue that the sockets (or the mucosa) bear; the
//! shares add up to 1. The moment on an abutment is that of all forces on it about its centre of resistance, without the
//! part about its own axis. Movements of rests and clasp tips are those of the framework less those of the tooth.
//!
//! Frame and units: N, N·mm, MPa, mm, degrees.
//!
//! Method and its error: sums over the springs of the rest position; as exact as that is.
//!
//! Not covered: what the assumed numbers are worth; see [`super::sensitivity`].
//!
//! Checked by: closed forms in the tests of `mechanics::closed_forms`.

use super::design::{self, Built};
use super::equilibrium::{self, Unheld};
use super::scene::{Kind, Load, Scene, Stiffness};
use super::springs::{displacement, rotation};
use crate::space::{Direction, Point, Vector, direction};

/// A design under a load.
#[derive(Clone, Debug, PartialEq)]
pub struct Answer {
    /// Part of the load on the abutments.
    pub abutment_share: f64,
    /// Part of the load on the ridge.
    pub ridge_share: f64,
    /// Abutments, as in the scene.
    pub abutments: Vec<OnAbutment>,
    /// Rests, as in the scene.
    pub rests: Vec<OnRest>,
    /// Clasp tips, as in the scene.
    pub clasps: Vec<TipMove>,
    /// Bases, as in the scene.
    pub bases: Vec<OnBase>,
    /// The line through the most distal rests that bear, one on each side.
    pub fulcrum: Option<[Point; 2]>,
    /// The line about which the framework turns, with its angle, degrees.
    pub turns_about: Option<Turn>,
    /// Steps of the search.
    pub steps: usize,
    /// Missing force or moment as a share of the load.
    pub balance_share: f64,
    /// Where the bodies are.
    pub motion: Vec<f64>,
}

/// What an abutment bears.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OnAbutment {
    /// Along the tooth, as a share of the load.
    pub load_share: f64,
    /// Moment that tips it toward distal (mesial where negative), N·mm.
    pub distal_n_mm: f64,
    /// Moment that tips it toward the cheek (tongue where negative), N·mm.
    pub buccal_n_mm: f64,
}

impl OnAbutment {
    /// The whole tipping moment, N·mm.
    pub fn moment_n_mm(&self) -> f64 {
        crate::space::hypot(self.distal_n_mm, self.buccal_n_mm)
    }
}

/// What a rest does.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OnRest {
    /// Force on its seat, N.
    pub force_n: f64,
    /// How far it has left its seat, mm; 0 where it bears.
    pub lift_mm: f64,
}

/// How a clasp tip moves on its tooth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TipMove {
    /// Along the withdrawal direction, mm: positive out of the undercut, negative deeper into it.
    pub along_mm: f64,
    /// Away from the tooth (toward it where negative), mm.
    pub across_mm: f64,
    /// Force with which it presses on the tooth, N.
    pub force_n: f64,
}

/// What a base does.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OnBase {
    /// Greatest pressure, MPa.
    pub peak_mpa: f64,
    /// Its place; `None` where the base bears nothing.
    pub peak_at: Option<Point>,
    /// Force over the area that bears, MPa.
    pub mean_mpa: f64,
    /// Share of the bed that bears.
    pub bearing_share: f64,
    /// Sinking of its distal end, mm; negative where it lifts.
    pub sinks_mm: f64,
    /// Roll about its long axis, degrees: positive where the buccal side goes down.
    pub roll_deg: f64,
    /// Greatest lift along its crest, mm; 0 where it lifts nowhere.
    pub lift_mm: f64,
    /// How it turns in its hinge; `None` without one.
    pub hinge: Option<HingeTurn>,
}

/// A turn in a hinge.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HingeTurn {
    /// Distal end down against the framework, degrees; up where negative.
    pub turn_deg: f64,
    /// Whether the stop against lifting bears.
    pub on_stop: bool,
}

/// A turn of the framework.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Turn {
    /// The place of the axis nearest to the middle of the arch, mm.
    pub at: Point,
    /// Its direction.
    pub axis: Direction,
    /// Angle, degrees.
    pub angle_deg: f64,
}

/// A turn under this angle has no line worth naming, degrees.
const LEAST_TURN_DEG: f64 = 0.001;

/// A case to work out.
#[derive(Clone, Copy, Debug)]
pub struct Asked<'a> {
    /// The geometry.
    pub scene: &'a Scene,
    /// The design.
    pub kind: Kind,
    /// The assumed numbers.
    pub stiffness: &'a Stiffness,
    /// The loads.
    pub loads: &'a [Load],
}

/// Works a case out; `start` is the motion of a like case.
///
/// # Errors
/// The denture is free to move, or no load acts.
pub fn answer(asked: &Asked<'_>, start: Option<&[f64]>) -> Result<Answer, Unheld> {
    let built = design::built(asked.scene, asked.kind, asked.stiffness);
    answer_of(asked, &built, start)
}

/// The same on a design that is built already.
///
/// # Errors
/// As [`answer`].
pub fn answer_of(asked: &Asked<'_>, built: &Built, start: Option<&[f64]>) -> Result<Answer, Unheld> {
    let system = design::loaded(asked.scene, built, asked.loads, asked.stiffness);
    let found = equilibrium::find(&system, start)?;
    let scene = asked.scene;
    let up = scene.occlusal.into_inner();
    let down: f64 = asked.loads.iter().map(|l| -l.force.dot(&up)).sum();
    let size: f64 = asked.loads.iter().map(|l| l.force.norm()).sum();
    // A load square to the path has no part toward the tissue to be shared.
    let whole = if down.abs() > 1e-6 * size { down } else { size };
    let read = Read { asked, built, system: &system, motion: &found.motion, whole };
    let abutments: Vec<OnAbutment> = (0..scene.abutments.len()).map(|i| read.abutment(i)).collect();
    let bases: Vec<(OnBase, f64)> = (0..scene.bases.len()).map(|i| read.base(i)).collect();
    let rests: Vec<OnRest> = (0..scene.rests.len()).map(|i| read.rest(i)).collect();
    Ok(Answer {
        abutment_share: abutments.iter().map(|a| a.load_share).sum(),
        ridge_share: bases.iter().map(|b| b.1).sum(),
        fulcrum: fulcrum(scene, &rests),
        turns_about: read.turn(),
        abutments,
        rests,
        clasps: (0..scene.clasps.len()).map(|i| read.tip(i)).collect(),
        bases: bases.into_iter().map(|b| b.0).collect(),
        steps: found.steps,
        balance_share: found.balance_share,
        motion: found.motion,
    })
}

struct Read<'a> {
    asked: &'a Asked<'a>,
    built: &'a Built,
    system: &'a super::springs::System,
    motion: &'a [f64],
    whole: f64,
}

impl Read<'_> {
    fn moves(&self, body: usize, place: &Point) -> Vector {
        displacement(self.motion, body, &self.asked.scene.origin, place)
    }

    /// Sockets stand first, six springs each: along the tooth, then for each side its give and its tipping, then the twist.
    fn abutment(&self, index: usize) -> OnAbutment {
        let scene = self.asked.scene;
        let tooth = &scene.abutments[index];
        let up = scene.occlusal.into_inner();
        let socket = &self.system.springs[6 * index..6 * index + 6];
        // The socket's turning springs bear the moment; what they exert on the tooth is its reverse.
        let about_mesial = -socket[2].push(self.motion);
        let about_buccal = -socket[4].push(self.motion);
        let moment = tooth.mesial * about_mesial + tooth.buccal * about_buccal;
        OnAbutment {
            load_share: socket[0].push(self.motion) / self.whole,
            distal_n_mm: moment.dot(&up.cross(&-tooth.mesial)),
            buccal_n_mm: moment.dot(&up.cross(&tooth.buccal)),
        }
    }

    fn rest(&self, index: usize) -> OnRest {
        let spring = &self.system.springs[self.built.rest_springs[index]];
        OnRest { force_n: spring.push(self.motion), lift_mm: spring.stretch(self.motion).max(0.0) }
    }

    fn tip(&self, index: usize) -> TipMove {
        let scene = self.asked.scene;
        let clasp = &scene.clasps[index];
        let own = self.moves(self.built.framework, &clasp.at) - self.moves(clasp.abutment, &clasp.at);
        let spring = &self.system.springs[self.built.clasp_springs[index]];
        TipMove {
            along_mm: own.dot(&scene.withdrawal),
            across_mm: own.dot(&clasp.outward),
            force_n: spring.push(self.motion),
        }
    }

    /// The base, and its share of the load.
    fn base(&self, index: usize) -> (OnBase, f64) {
        let scene = self.asked.scene;
        let base = &scene.bases[index];
        let body = self.built.base_body[index];
        let up = scene.occlusal.into_inner();
        let (mut force, mut upward, mut bearing, mut all) = (0.0, 0.0, 0.0, 0.0);
        let mut peak: (f64, Option<Point>) = (0.0, None);
        let springs = &self.system.springs[self.built.bed_springs[index].clone()];
        for (face, spring) in base.bed.iter().zip(springs) {
            let push = spring.push(self.motion);
            all += face.area_mm2;
            if push > 0.0 {
                force += push;
                upward += push * face.normal.dot(&up);
                bearing += face.area_mm2;
                let mpa = push / face.area_mm2;
                if mpa > peak.0 {
                    peak = (mpa, Some(face.at));
                }
            }
        }
        let rise = |p: &Point| self.moves(body, p).dot(&up);
        let end = base.crest.last().map_or(0.0, |p| -rise(p));
        let chord = base.chord();
        let roll = direction(chord - up * chord.dot(&up)).map_or(0.0, |back| {
            // Turning about this axis takes the buccal side down.
            let sign = if back.cross(&base.outward).dot(&up) < 0.0 { 1.0 } else { -1.0 };
            sign * rotation(self.motion, body).dot(&back).to_degrees()
        });
        let own = body != self.built.framework;
        let hinge = direction(chord - up * chord.dot(&up)).filter(|_| own).map(|back| {
            let turn = rotation(self.motion, body) - rotation(self.motion, self.built.framework);
            let deg = turn.dot(&up.cross(&back)).to_degrees();
            // A stop that bears gives by no more than its own stiffness.
            HingeTurn { turn_deg: deg, on_stop: deg <= LEAST_TURN_DEG - self.asked.stiffness.hinge_play_deg }
        });
        let on = OnBase {
            peak_mpa: peak.0,
            peak_at: peak.1,
            mean_mpa: if bearing > 0.0 { force / bearing } else { 0.0 },
            bearing_share: if all > 0.0 { bearing / all } else { 0.0 },
            sinks_mm: end,
            roll_deg: roll,
            lift_mm: base.crest.iter().map(rise).fold(0.0, f64::max),
            hinge,
        };
        (on, upward / self.whole)
    }

    fn turn(&self) -> Option<Turn> {
        let scene = self.asked.scene;
        let turn = rotation(self.motion, self.built.framework);
        let axis = direction(turn)?;
        let angle_deg = turn.norm().to_degrees();
        let slide = self.moves(self.built.framework, &scene.origin);
        let at = scene.origin + turn.cross(&slide) / turn.norm_squared();
        (angle_deg >= LEAST_TURN_DEG).then_some(Turn { at, axis, angle_deg })
    }
}

/// The line through the most distal rests that bear, one on each side of the arch.
fn fulcrum(scene: &Scene, rests: &[OnRest]) -> Option<[Point; 2]> {
    let mut sides: [Option<(f64, Point)>; 2] = [None, None];
    for (rest, _) in scene.rests.iter().zip(rests).filter(|(_, r)| r.force_n > 0.0) {
        let from_middle = rest.at - scene.origin;
        let side = usize::from(from_middle.dot(&scene.left) < 0.0);
        let back = -from_middle.dot(&scene.anterior);
        if sides[side].is_none_or(|(known, _)| back > known) {
            sides[side] = Some((back, rest.at));
        }
    }
    Some([sides[0]?.1, sides[1]?.1])
}
