//! Quantity: clearance in excursions, the positions of the mandible when it moves forward or to a side with its teeth in
//! contact.
//!
//! Definition: both condyles move forward and down, each along its own condylar guidance (protrusive), or the condyle of the
//! balancing side alone, about the other one (to that other side), inward by the Bennett angle, which shifts the working
//! condyle outward by as much. The mandible then turns
//! about the line through its condyles until the arches touch as deep as they do in the scans, and no deeper.
//!
//! Frame and units: mm and degrees. Condyles stand where Bonwill's triangle puts them behind the incisors (Glossary of
//! Prosthodontic Terms, ninth edition: 4 inches from each condyle to the incisal point and between the condyles), its
//! plane inclined to the occlusal plane by the Balkwill angle. The guidance is taken to the occlusal plane.
//!
//! Method and its error: the turn is found by halving to 0.002 degrees (0.003 mm at the incisors) on at most 1,500
//! vertices that stand within 8 mm of the other arch; contacts between them are missed by at most the chord of the
//! thinned mesh. The joint is an average unless it is given: this and the resilience of the tissue rule the error, which
//! is not known for a patient.
//!
//! Not covered: curved guidance, other motion of the working condyle, motion without tooth contact.
//!
//! Checked by: level plates and ramps below.

use rayon::prelude::*;

use crate::case::Arch;
use crate::measure::clearance::{Antagonist, Clearance};
use crate::mesh::Mesh;
use crate::space::{Direction, Frame, Motion, Point, Vector, about, cos, sin, tan};

/// Vertices farther from the other arch do not come to touch it, mm.
const NEAR_MM: f64 = 8.0;
/// Most vertices on which contact is looked for.
const MOST_VERTICES: usize = 1500;
/// Turns that are searched, degrees: closing, opening.
const TURNS_DEG: [f64; 2] = [-3.0, 13.0];
/// How often their interval is halved.
const HALVED: usize = 13;

/// The condyles and how they move.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Joint {
    /// Right and left condyle, mm.
    pub condyles: [Point; 2],
    /// The frame of the arch that carries it.
    pub frame: Frame,
    /// From the mandible to the maxilla.
    pub cranial: Direction,
    /// Guidance of the right and the left condyle to the occlusal plane, degrees.
    pub guidance_deg: [f64; 2],
    /// Bennett angle, degrees.
    pub bennett_deg: f64,
}

/// What a joint is made of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct JointSettings {
    /// Guidance of the right and the left condyle to the occlusal plane, degrees.
    pub guidance_deg: [f64; 2],
    /// Bennett angle, degrees.
    pub bennett_deg: f64,
    /// Between the condyles, mm.
    pub intercondylar_mm: f64,
    /// From each condyle to the incisors, mm.
    pub to_incisors_mm: f64,
    /// Of the plane through condyles and incisors to the occlusal plane, degrees.
    pub balkwill_deg: f64,
}

impl Joint {
    /// The joint behind the incisal point of an arch with that frame. `None` where the condyles lie farther apart than
    /// twice their distance from the incisors.
    pub fn behind(frame: &Frame, arch: Arch, incisors: Point, settings: &JointSettings) -> Option<Joint> {
        let half = settings.intercondylar_mm / 2.0;
        let height2 = settings.to_incisors_mm * settings.to_incisors_mm - half * half;
        let cranial = if arch == Arch::Mandible { frame.occlusal } else { -frame.occlusal };
        let angle = settings.balkwill_deg.to_radians();
        let back = -frame.anterior.into_inner() * cos(angle) + cranial.into_inner() * sin(angle);
        let middle = incisors + back * (height2 > 0.0).then(|| height2.sqrt())?;
        let side = frame.left.into_inner() * half;
        Some(Joint {
            condyles: [middle - side, middle + side],
            frame: *frame,
            cranial,
            guidance_deg: settings.guidance_deg,
            bennett_deg: settings.bennett_deg,
        })
    }

    /// Forward and down along a guidance, of length one in the sagittal plane.
    fn forward(&self, guidance_deg: f64) -> Vector {
        let angle = guidance_deg.to_radians();
        self.frame.anterior.into_inner() * cos(angle) - self.cranial.into_inner() * sin(angle)
    }

    /// Motion of the mandible for a way of the condyles, before it closes to contact.
    pub fn motion(&self, kind: Excursion, way_mm: f64) -> Motion {
        let [right, left] = self.condyles;
        let [by_right, by_left] = self.guidance_deg.map(|deg| self.forward(deg) * way_mm);
        let shift = |v: Vector| Motion::translation(v.x, v.y, v.z);
        // The condyle of the side away from which the mandible moves orbits about the other one, along its own guidance.
        let (fixed, moving, forward, inward) = match kind {
            Excursion::Protrusive if self.guidance_deg[0].to_bits() == self.guidance_deg[1].to_bits() => {
                return shift(by_right);
            }
            Excursion::Protrusive => {
                let middle = nalgebra::center(&right, &left);
                let turn = turn_between(left - right, (left + by_left) - (right + by_right));
                return shift((by_right + by_left) / 2.0) * about(&middle, turn);
            }
            Excursion::Right => (right, left, by_left, -self.frame.left.into_inner()),
            Excursion::Left => (left, right, by_right, self.frame.left.into_inner()),
        };
        let inward = inward * (way_mm * tan(self.bennett_deg.to_radians()));
        shift(inward) * about(&fixed, turn_between(moving - fixed, moving + forward - fixed))
    }

    /// That motion followed by a turn about the line through the moved condyles, positive opening.
    fn opened(&self, moved: &Motion, degrees: f64) -> Motion {
        let [right, left] = self.condyles.map(|c| moved * c);
        // Opening carries the incisors, which lie before the line, away from the maxilla.
        let down = -self.cranial.into_inner();
        let axis = self.frame.anterior.into_inner().cross(&down);
        let line = left - right;
        let line = if line.dot(&axis) < 0.0 { -line } else { line };
        let turn = Motion::rotation(line.normalize() * degrees.to_radians());
        about(&right, turn) * moved
    }
}

/// The least turn that brings one direction to another.
fn turn_between(from: Vector, to: Vector) -> Motion {
    let turn = nalgebra::UnitQuaternion::rotation_between(&from, &to)
        .unwrap_or_else(nalgebra::UnitQuaternion::identity);
    Motion::from_parts(nalgebra::Translation3::identity(), turn)
}

/// Which way the mandible moves.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Excursion {
    /// Forward.
    Protrusive,
    /// To the patient's right.
    Right,
    /// To the patient's left.
    Left,
}

/// A position of the mandible with its teeth in contact.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Position {
    /// Which way.
    pub kind: Excursion,
    /// Way of the condyles, mm.
    pub way_mm: f64,
    /// Turn about the condyles that contact asks for, degrees, positive opening.
    pub opened_deg: f64,
    /// Motion of the restored arch against the opposing one.
    pub restored: Motion,
}

/// The arches of which positions are asked.
#[derive(Clone, Copy, Debug)]
pub struct Arches<'a> {
    /// The arch that gets the denture.
    pub arch: Arch,
    /// Its surface.
    pub restored: &'a Mesh,
    /// Clearance of each of its vertices as scanned.
    pub map: &'a [Clearance],
    /// The other arch.
    pub antagonist: &'a Antagonist<'a>,
}

/// Positions for each kind and way. Empty where nothing stands near enough to touch.
pub fn positions(arches: &Arches<'_>, joint: &Joint, ways_mm: &[f64]) -> Vec<Position> {
    let near: Vec<Point> = arches
        .map
        .iter()
        .zip(arches.restored.vertices())
        .filter(|(c, _)| c.along_mm.is_some_and(|mm| mm.abs() <= NEAR_MM))
        .map(|(_, p)| *p)
        .collect();
    let step = near.len().div_ceil(MOST_VERTICES).max(1);
    let places: Vec<Point> = near.into_iter().step_by(step).collect();
    let gap_mm = |p: &Point| arches.antagonist.along(p).map(|a| a.mm);
    let at_rest = places.iter().filter_map(gap_mm).fold(f64::INFINITY, f64::min);
    if !at_rest.is_finite() {
        return Vec::new();
    }
    let relative = |mandible: Motion| match arches.arch {
        Arch::Mandible => mandible,
        Arch::Maxilla => mandible.inverse(),
    };
    let kinds = [Excursion::Protrusive, Excursion::Right, Excursion::Left];
    let asked: Vec<(Excursion, f64)> =
        kinds.iter().flat_map(|k| ways_mm.iter().map(move |w| (*k, *w))).collect();
    let settled = |&(kind, way_mm): &(Excursion, f64)| {
        let moved = joint.motion(kind, way_mm);
        let [mut closed, mut open] = TURNS_DEG;
        for _ in 0..HALVED {
            let middle = (closed + open) / 2.0;
            let motion = relative(joint.opened(&moved, middle));
            let deeper = places.iter().any(|p| arches.antagonist.is_nearer(&(motion * p), at_rest));
            *(if deeper { &mut closed } else { &mut open }) = middle;
        }
        let restored = relative(joint.opened(&moved, open));
        Position { kind, way_mm, opened_deg: open, restored }
    };
    asked.par_iter().map(settled).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::locate::Surface;
    use crate::measure::clearance;
    use crate::measure::shapes::{sheet, up};

    const SETTINGS: JointSettings = JointSettings {
        guidance_deg: [30.0, 30.0],
        bennett_deg: 15.0,
        intercondylar_mm: 101.6,
        to_incisors_mm: 101.6,
        balkwill_deg: 22.0,
    };

    fn frame() -> Frame {
        Frame::new(Point::origin(), up(), Vector::y(), true).unwrap()
    }

    fn joint() -> Joint {
        Joint::behind(&frame(), Arch::Mandible, Point::new(0.0, 25.0, 0.0), &SETTINGS).unwrap()
    }

    #[test]
    fn the_condyles_make_bonwills_triangle_with_the_incisors() {
        let joint = joint();
        let incisors = Point::new(0.0, 25.0, 0.0);
        let [right, left] = joint.condyles;
        for side in [(right - left).norm(), (right - incisors).norm(), (left - incisors).norm()] {
            assert!((side - 101.6).abs() < 1e-9);
        }
        assert!(right.z > 30.0 && left.x < right.x, "behind and above, left on the patient's left");
        let narrow = JointSettings { to_incisors_mm: 40.0, ..SETTINGS };
        assert!(Joint::behind(&frame(), Arch::Mandible, incisors, &narrow).is_none());
    }

    #[test]
    fn condyles_move_along_their_guidance_and_the_working_one_goes_only_outward() {
        let joint = joint();
        let [right, left] = joint.condyles;
        let forward = joint.motion(Excursion::Protrusive, 3.0) * right - right;
        assert!((forward - Vector::new(0.0, 3.0 * cos(30f64.to_radians()), -1.5)).norm() < 1e-12);
        let to_right = joint.motion(Excursion::Right, 3.0);
        // To the patient's right, which is +x here, by 3 tan 15 degrees.
        let outward = 3.0 * tan(15f64.to_radians());
        assert!((to_right * right - right - Vector::x() * outward).norm() < 1e-9);
        let way = to_right * left - left;
        // Forward and down along the guidance but for the arc about the other condyle, and inward.
        assert!(
            (way.y - 3.0 * cos(30f64.to_radians())).abs() < 0.06 && (way.z + 1.5).abs() < 0.06,
            "{way:?}"
        );
        assert!((way.x - outward).abs() < 0.06);
        assert!(((to_right * left - to_right * right).norm() - 101.6).abs() < 1e-9);
    }

    #[test]
    fn each_condyle_has_its_own_guidance_and_a_move_aside_follows_that_of_the_orbiting_side() {
        let settings = JointSettings { guidance_deg: [20.0, 45.0], bennett_deg: 0.0, ..SETTINGS };
        let incisors = Point::new(0.0, 25.0, 0.0);
        let joint = Joint::behind(&frame(), Arch::Mandible, incisors, &settings).unwrap();
        let [right, left] = joint.condyles;
        let along = |deg: f64| Vector::new(0.0, cos(f64::to_radians(deg)), -sin(f64::to_radians(deg))) * 3.0;
        // On the circle about the other condyle: toward the point 3 mm along the guidance, at Bonwill's distance.
        let onto =
            |fixed: Point, moving: Point, deg: f64| fixed + (moving + along(deg) - fixed).normalize() * 101.6;
        for (kind, fixed, orbits, deg) in
            [(Excursion::Right, right, left, 45.0), (Excursion::Left, left, right, 20.0)]
        {
            let motion = joint.motion(kind, 3.0);
            assert!((motion * fixed - fixed).norm() < 1e-9, "{kind:?}");
            assert!((motion * orbits - onto(fixed, orbits, deg)).norm() < 1e-9, "{kind:?}");
        }
        // Forward both go their way, but for what keeps them 101.6 mm apart.
        let forward = joint.motion(Excursion::Protrusive, 3.0);
        let way = [forward * right - right - along(20.0), forward * left - left - along(45.0)];
        assert!(way.iter().all(|w| w.norm() < 0.02), "{way:?}");
        assert!((forward * right - forward * left).norm() - 101.6 < 1e-9);
        assert!(((forward * right).z - (forward * left).z).abs() > 1.0);
    }

    fn least_after(over: impl Fn(f64, f64) -> f64, kind: Excursion) -> (Position, f64) {
        let restored = sheet(50.0, 1.0, true, |_, _| 0.0);
        let surface = Surface::new(&restored);
        let opposing = Surface::new(&sheet(120.0, 1.0, false, over));
        let map = clearance::map(&surface, &opposing, &up());
        let antagonist = Antagonist::new(&opposing, &up());
        let arches = Arches { arch: Arch::Mandible, restored: &restored, map: &map, antagonist: &antagonist };
        let position = positions(&arches, &joint(), &[3.0]).into_iter().find(|p| p.kind == kind).unwrap();
        let gap = restored
            .vertices()
            .iter()
            .filter_map(|p| antagonist.along(&(position.restored * p)))
            .map(|a| a.mm)
            .fold(f64::INFINITY, f64::min);
        (position, gap)
    }

    #[test]
    fn between_plates_protrusion_lowers_the_back_and_the_front_stays_in_contact() {
        let (position, gap) = least_after(|_, _| 0.5, Excursion::Protrusive);
        assert!((gap - 0.5).abs() < 0.005, "{gap}");
        // The condyles go 1.5 mm down; the front edge of the plate stays at its height: the mandible closes by the angle
        // of that way over the distance from the condyles to the edge.
        let front = position.restored * Point::new(0.0, 25.0, 0.0);
        let back = position.restored * Point::new(0.0, -25.0, 0.0);
        assert!(front.z.abs() < 0.005 && back.z < -0.6, "{front:?} {back:?}");
        assert!(position.opened_deg < 0.0);
    }

    #[test]
    fn a_ramp_in_front_opens_the_bite() {
        // Beyond the plate's front edge the opposing surface falls 1 mm a millimetre, as an incisal guidance does.
        let ramp = |_: f64, y: f64| 0.5 - (y - 25.0).max(0.0);
        let (position, gap) = least_after(ramp, Excursion::Protrusive);
        assert!((gap - 0.5).abs() < 0.005, "{gap}");
        let front = position.restored * Point::new(0.0, 25.0, 0.0);
        let forward = front.y - 25.0;
        assert!((1.8..2.6).contains(&forward) && (front.z + forward).abs() < 0.1, "{front:?}");
    }
}
