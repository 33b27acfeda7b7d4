//! A scene and a design as bodies and springs.
//!
//! Abutments are bodies: a root in a socket that gives along the tooth, sideways at its centre of resistance, and in
//! tipping about it. Of what a crown gives sideways, three quarters are taken for tipping and a quarter for moving
//! bodily. So everything that bears on one tooth shares what that tooth gives, and the moment on an abutment is what its
//! socket bears.
//! The centre of resistance lies under the middle of the crown, at two fifths of the root's length below the neck.

use super::scene::{Abutment, Kind, Load, Scene, Stiffness};
use super::springs::{Sense, Spring, System, about, at};
use crate::space::{Point, Vector, cos, direction, sin};

/// Stiffness of metal on a tooth, N/mm: far above that of any socket, so that it does not count.
const CONTACT_N_PER_MM: f64 = 1e6;
/// Stiffness of what a joint does not let turn, N·mm/rad.
const LOCKED_N_MM_PER_RAD: f64 = 1e8;
/// Place of the centre of resistance below the neck, as a share of the root's length.
const RESISTANCE_SHARE: f64 = 0.4;
/// Share of the give of a crown, sideways, that is tipping.
const TIPPING_SHARE: f64 = 0.75;
/// Distance at which sideways stiffness resists a turn about the tooth's own axis, mm: half the width of a root.
const ROOT_RADIUS_MM: f64 = 3.0;

/// A design ready to be solved.
#[derive(Clone, Debug, PartialEq)]
pub struct Built {
    /// Bodies and springs.
    pub system: System,
    /// Body of the framework.
    pub framework: usize,
    /// Body of each base.
    pub base_body: Vec<usize>,
    /// Centre of resistance of each abutment; its body has the same index.
    pub resistance: Vec<Point>,
    /// Springs of each rest against pushing down.
    pub rest_springs: Vec<usize>,
    /// Springs of each base's bed, face by face.
    pub bed_springs: Vec<std::ops::Range<usize>>,
    /// Spring of each clasp tip.
    pub clasp_springs: Vec<usize>,
}

/// Builds a design without load.
pub fn built(scene: &Scene, kind: Kind, stiffness: &Stiffness) -> Built {
    let teeth = scene.abutments.len();
    let own: Vec<bool> = scene.bases.iter().map(|b| kind == Kind::Hinged && scene.jointed(b)).collect();
    let framework = teeth + own.iter().filter(|o| **o).count();
    let mut next = teeth;
    let base_body: Vec<usize> = own
        .iter()
        .map(|&own| {
            let body = if own { next } else { framework };
            next += usize::from(own);
            body
        })
        .collect();
    let mut built = Built {
        system: System::new(framework + 1),
        framework,
        base_body,
        resistance: scene.abutments.iter().map(|a| resistance(scene, a, stiffness)).collect(),
        rest_springs: Vec::new(),
        bed_springs: Vec::new(),
        clasp_springs: Vec::new(),
    };
    (0..teeth).for_each(|i| socket(scene, &mut built, i, stiffness));
    contacts(scene, &mut built, stiffness);
    for (index, base) in scene.bases.iter().enumerate() {
        bed(scene, &mut built, index, stiffness);
        if scene.jointed(base) {
            joint(scene, &mut built, index, kind, stiffness);
        }
    }
    built
}

/// Centre of resistance of an abutment.
fn resistance(scene: &Scene, tooth: &Abutment, stiffness: &Stiffness) -> Point {
    let below = tooth.neck_mm + RESISTANCE_SHARE * stiffness.root_mm * tooth.root_share;
    tooth.crown - scene.occlusal.into_inner() * below
}

/// The socket of an abutment.
fn socket(scene: &Scene, built: &mut Built, index: usize, stiffness: &Stiffness) {
    let tooth = &scene.abutments[index];
    let centre = built.resistance[index];
    let lever = (tooth.crown - centre).norm();
    let lateral = stiffness.lateral_n_per_mm * tooth.firmness_share;
    let bodily = lateral / (1.0 - TIPPING_SHARE);
    let tipping = lateral / TIPPING_SHARE * lever * lever;
    let up = scene.occlusal.into_inner();
    let mut hold = |row, k| built.system.springs.push(Spring::to_jaw(index, row, k, Sense::Both));
    hold(at(&scene.origin, &centre, &up), stiffness.axial_n_per_mm * tooth.firmness_share);
    for side in [tooth.mesial, tooth.buccal] {
        hold(at(&scene.origin, &centre, &side), bodily);
        hold(about(&side), tipping);
    }
    hold(about(&up), bodily * ROOT_RADIUS_MM * ROOT_RADIUS_MM);
}

/// Rests, plates and clasp tips between the framework and the abutments.
fn contacts(scene: &Scene, built: &mut Built, stiffness: &Stiffness) {
    let up = scene.occlusal.into_inner();
    let origin = scene.origin;
    let system = &mut built.system;
    for rest in &scene.rests {
        let bodies = [built.framework, rest.abutment];
        let tooth = &scene.abutments[rest.abutment];
        built.rest_springs.push(system.springs.len());
        let row = at(&origin, &rest.at, &up);
        system.springs.push(Spring::between(bodies, row, CONTACT_N_PER_MM, Sense::Pushes));
        for side in [tooth.mesial, tooth.buccal] {
            let row = at(&origin, &rest.at, &side);
            system.springs.push(Spring::between(bodies, row, CONTACT_N_PER_MM, Sense::Both));
        }
    }
    for plate in &scene.plates {
        let row = at(&origin, &plate.at, &plate.outward);
        let bodies = [built.framework, plate.abutment];
        let touch = Spring::between(bodies, row, CONTACT_N_PER_MM, Sense::Pushes);
        system.springs.push(Spring { gap: stiffness.plate_gap_mm, ..touch });
    }
    for clasp in &scene.clasps {
        let wall = clasp.wall_deg.clamp(0.0, 80.0).to_radians();
        // Square to the wall: outward and, since the wall falls back below the survey line, down.
        let normal = clasp.outward * cos(wall) - scene.withdrawal.into_inner() * sin(wall);
        let k = clasp.stiffness_n_per_mm * stiffness.clasp_share / (cos(wall) * cos(wall));
        let row = at(&origin, &clasp.at, &normal);
        built.clasp_springs.push(system.springs.len());
        system.springs.push(Spring::between([built.framework, clasp.abutment], row, k, Sense::Pushes));
    }
}

/// The ridge under a base. Faces that look away from the occlusal side are blocked out and carry nothing.
fn bed(scene: &Scene, built: &mut Built, base: usize, stiffness: &Stiffness) {
    let start = built.system.springs.len();
    let per_area = stiffness.mucosa_mpa / stiffness.mucosa_mm;
    let body = built.base_body[base];
    for face in &scene.bases[base].bed {
        let row = at(&scene.origin, &face.at, &face.normal);
        let k = per_area * face.stiff_area_mm2;
        built.system.springs.push(Spring::to_jaw(body, row, k, Sense::Pushes));
    }
    built.bed_springs.push(start..built.system.springs.len());
}

/// The hinge between base and framework, or the attachment between framework and abutment.
fn joint(scene: &Scene, built: &mut Built, index: usize, kind: Kind, stiffness: &Stiffness) {
    let base = &scene.bases[index];
    let up = scene.occlusal.into_inner();
    let chord = base.chord();
    let Some(back) = direction(chord - up * chord.dot(&up)) else { return };
    // Turning about this axis takes the distal end down.
    let across = up.cross(&back);
    let bodies = match (kind, base.front) {
        (Kind::Hinged, _) => [built.base_body[index], built.framework],
        (Kind::Clamped, Some(front)) => [built.framework, front],
        _ => return,
    };
    let mut hold = |row, k, sense| built.system.springs.push(Spring::between(bodies, row, k, sense));
    for along in [up, back.into_inner(), across] {
        hold(at(&scene.origin, &base.joint_at, &along), CONTACT_N_PER_MM, Sense::Both);
    }
    if kind == Kind::Hinged {
        hold(about(&up), LOCKED_N_MM_PER_RAD, Sense::Both);
        hold(about(&back), LOCKED_N_MM_PER_RAD, Sense::Both);
        let stop = Spring::between(bodies, about(&across), LOCKED_N_MM_PER_RAD, Sense::Pushes);
        built.system.springs.push(Spring { gap: stiffness.hinge_play_deg.to_radians(), ..stop });
    } else {
        for axis in [up, back.into_inner(), across] {
            hold(about(&axis), stiffness.joint_n_mm_per_rad, Sense::Both);
        }
    }
}

/// Loads of a case put on a design, shifted along their crests.
pub fn loaded(scene: &Scene, built: &Built, loads: &[Load], stiffness: &Stiffness) -> System {
    let mut system = built.system.clone();
    for load in loads {
        let Some(base) = scene.bases.get(load.base) else { continue };
        let back = direction(base.chord()).map_or(Vector::zeros(), |d| d.into_inner());
        let place = load.at + back * stiffness.load_shift_mm;
        system.push(built.base_body[load.base], &scene.origin, &place, &load.force);
    }
    system
}
