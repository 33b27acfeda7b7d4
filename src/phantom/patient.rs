//! A described patient made into a pair of casts in occlusion.

use super::arch::{ArchCurve, ArchForm};
use super::base::Base;
use super::bite::erupt;
use super::cast::{Cast, Limits, Rise};
use super::crown::CrownBody;
use super::field::{Variety, Waves};
use super::process;
use super::row::{self, Stand};
use super::tissue::Palate;
use crate::case::{Arch, Side, Tooth};
use std::sync::Arc;

/// Form of both arches in plan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ArchShape {
    /// Width against the average (section 12.2 of the trade facts).
    pub width: f64,
    /// Depth against the average.
    pub depth: f64,
    /// 2 is a parabola (narrow front), 3 is square.
    pub power: f64,
    /// How much wider the left side is than the right, as a share.
    pub skew: f64,
    /// Radius of the sphere of the curves of Spee and Wilson, mm; about 105 (FER).
    pub sphere_mm: f64,
}

impl ArchShape {
    /// The average.
    pub const AVERAGE: ArchShape =
        ArchShape { width: 1.0, depth: 1.0, power: 2.6, skew: 0.0, sphere_mm: 105.0 };
}

/// Form of the residual ridges of an arch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RidgeForm {
    /// Resorption by the groups of Cawood and Howell (CAW, section 12.3 of the trade facts): 1 dentate, 2 moderate, 3
    /// severe, 4 extreme, and between them.
    pub group: f64,
    /// Width at the crest against that of the group: well under 1 it is a knife edge.
    pub width: f64,
    /// How far the lingual wall overhangs a mm of depth; 0 falls plumb.
    pub overhang: f64,
}

/// A mandibular torus.
#[derive(Clone, Debug, PartialEq)]
pub struct TorusWish {
    /// Side of the mandible.
    pub side: Side,
    /// Its lobes, 1 to 3.
    pub lobes: Vec<LobeWish>,
}

/// A lobe of a torus.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LobeWish {
    /// Where along the arch: 4.5 is between the premolars.
    pub place: f64,
    /// Height of its middle under the gingival crest, mm.
    pub below_crest_mm: f64,
    /// Height over the lingual wall, mm.
    pub height_mm: f64,
    /// Extent along the arch, mm, before the blend.
    pub length_mm: f64,
    /// Extent up and down, mm, before the blend.
    pub width_mm: f64,
}

/// A palatal torus: lobes on the midline.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PalatalWish {
    /// y of its middle, mm behind the incisors.
    pub behind_mm: f64,
    /// Height over the palate, mm.
    pub height_mm: f64,
    /// Extent from front to back, mm, before the blend.
    pub length_mm: f64,
    /// Extent from side to side, mm, before the blend.
    pub width_mm: f64,
    /// How far its middle stands to the patient's left, mm.
    pub left_mm: f64,
}

/// Where a rest seat was prepared.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SeatPlace {
    /// Over the mesial marginal ridge.
    Mesial,
    /// Over the distal marginal ridge.
    Distal,
    /// On the cingulum of a front tooth.
    Cingulum,
}

/// How a tooth stands against where the average would put it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stance {
    /// Which tooth.
    pub tooth: Tooth,
    /// Lean of its top toward buccal, degrees.
    pub buccal_deg: f64,
    /// Lean of its top toward mesial, degrees: a molar that tipped into a gap.
    pub mesial_deg: f64,
    /// Turn around its axis, mesial side outward, degrees.
    pub turn_deg: f64,
    /// How far it has grown out of the row, mm: a tooth without its antagonist.
    pub erupted_mm: f64,
    /// Shift toward buccal, mm.
    pub out_mm: f64,
    /// Shift toward distal along the arch, mm.
    pub distal_mm: f64,
}

impl Stance {
    /// As the average.
    pub fn of(tooth: Tooth) -> Stance {
        Stance {
            tooth,
            buccal_deg: 0.0,
            mesial_deg: 0.0,
            turn_deg: 0.0,
            erupted_mm: 0.0,
            out_mm: 0.0,
            distal_mm: 0.0,
        }
    }
}

/// What a cast ends in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ending {
    /// Open below, as scanned: a border around.
    Open,
    /// A trimmed base of stone: closed.
    Trimmed,
}

/// A patient.
#[derive(Clone, Debug, PartialEq)]
pub struct Patient {
    /// Variety: same seed, same casts.
    pub seed: u64,
    /// Size of the teeth against the average.
    pub size: f64,
    /// Form of the arches in plan.
    pub shape: ArchShape,
    /// Missing teeth of both arches; third molars are missing unless named in `third_molars`.
    pub missing: Vec<Tooth>,
    /// Third molars that are there.
    pub third_molars: Vec<Tooth>,
    /// Residual ridges of the mandible and of the maxilla.
    pub ridges: [RidgeForm; 2],
    /// Mandibular tori.
    pub tori: Vec<TorusWish>,
    /// Lobes of a palatal torus.
    pub palatal: Vec<PalatalWish>,
    /// Rest seats.
    pub seats: Vec<(Tooth, SeatPlace)>,
    /// Teeth that stand otherwise than the average.
    pub stances: Vec<Stance>,
    /// How uneven the teeth stand, 0 to 1.
    pub unevenness: f64,
    /// Vertical relation: how far the bite is open over the occlusion of the teeth, mm; 0 where they meet.
    pub opened_mm: f64,
    /// What the casts end in.
    pub ending: Ending,
    /// Whether the scan of the maxilla holds the palate.
    pub palate: bool,
}

/// Both arches of a patient in occlusion.
#[derive(Clone, Debug)]
pub struct Pair {
    /// The mandible.
    pub mandible: Arc<Cast>,
    /// The maxilla, ground in against it.
    pub maxilla: Cast,
}

impl Pair {
    /// The cast of an arch.
    pub fn cast(&self, arch: Arch) -> &Cast {
        match arch {
            Arch::Mandible => &self.mandible,
            Arch::Maxilla => &self.maxilla,
        }
    }
}

/// Makes the casts.
pub fn casts(patient: &Patient) -> Pair {
    let mandible = Arc::new(arch(patient, Arch::Mandible));
    let mut maxilla = arch(patient, Arch::Maxilla);
    erupt(&mut maxilla, &mandible, &patient.stances);
    maxilla.ground = Some((mandible.clone(), 0.04));
    Pair { mandible, maxilla }
}

/// The curve of an arch: intercanine and intermolar widths and depths of section 12.2 (ARCH, and depths from memory).
fn curve(patient: &Patient, which: Arch) -> ArchCurve {
    let (width, depth) = (patient.size * patient.shape.width, patient.size * patient.shape.depth);
    let (front_mm, back, half) = match which {
        Arch::Mandible => (0.0, 27.0, 23.5),
        Arch::Maxilla => (2.6, 29.3, 25.9),
    };
    ArchCurve {
        front_mm,
        depth_mm: back * depth,
        half_width_mm: half * width,
        power: patient.shape.power,
        skew: patient.shape.skew,
    }
}

fn arch(patient: &Patient, which: Arch) -> Cast {
    let mut variety = Variety::new(patient.seed * 2 + u64::from(which == Arch::Maxilla));
    let form = ArchForm::new(&curve(patient, which));
    let stands = row::stands(patient, which, &form, &mut variety);
    let levels = process::levels(patient, &form, &stands, &mut variety);
    let waves = Waves::new(&mut variety, 9.0);
    let ripples = Waves::new(&mut variety, 3.2);
    let row_ends = [-1.0, 1.0].map(|side: f64| row_end(&stands, side));
    let ends = row_ends.map(|e| e + 11.0 * e.signum());
    let back_y = ends.map(|s| form.point(super::arch::Place { s, t: 0.0 }, 0.0).y);
    let back_y = back_y[0].max(back_y[1]);
    let mut rises: Vec<Rise> =
        row_ends.iter().flat_map(|&end| process::pads(which, &form, &levels, end, &mut variety)).collect();
    let crowns: Vec<CrownBody> = stands.iter().filter(|t| t.present).map(|t| t.crown.clone()).collect();
    let k = patient.size;
    let margin = stands.iter().map(|t| t.crown.origin.z).sum::<f64>() / stands.len().max(1) as f64;
    let mut cast = Cast {
        arch: which,
        form,
        levels,
        crowns,
        rises: Vec::new(),
        palate: (which == Arch::Maxilla).then(|| Palate {
            level: margin - 2.2,
            depth: k * (11.0 + 1.6 * variety.even()),
            reach: k * patient.shape.width * (15.0 + 1.5 * variety.even()),
            rugae: 0.75 + 0.15 * variety.even(),
            phase: 3.0 * variety.even(),
            end_y: back_y + 3.0,
            open: !patient.palate,
        }),
        limits: Limits { outer: 5.0, inner: 9.5, ends, back_y },
        waves,
        ripples,
        uneven: 0.16,
        crease: 0.25,
        ground: None,
        base: None,
        opened_mm: if which == Arch::Maxilla { patient.opened_mm } else { 0.0 },
    };
    if which == Arch::Mandible {
        rises.extend(patient.tori.iter().flat_map(|t| process::torus(&cast, &stands, t)));
    } else {
        rises.extend(patient.palatal.iter().map(|t| process::palatal(&cast, t)));
    }
    cast.rises = rises;
    cast.base = (patient.ending == Ending::Trimmed).then(|| Base::around(&cast, patient.shape.width * k));
    cast
}

/// Where the row of teeth, missing ones included, ends on a side (-1 right, 1 left), along the arch.
fn row_end(stands: &[Stand], side: f64) -> f64 {
    side * stands.iter().filter(|t| t.s * side > 0.0).map(|t| t.s.abs() + 0.5 * t.width).fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phantom::demo::oban_patient;
    use crate::space::{Point, Vector};

    #[test]
    fn an_open_bite_moves_the_maxilla_as_a_whole() {
        let closed = casts(&oban_patient());
        let open = casts(&Patient { opened_mm: 3.5, ..oban_patient() });
        for i in 0..200 {
            let i = f64::from(i);
            let p = Point::new(0.4 * i - 40.0, -0.25 * i, 0.11 * (i - 60.0));
            let moved = p + Vector::z() * 3.5;
            assert!((open.maxilla.value(&moved) - closed.maxilla.value(&p)).abs() < 1e-9, "{p}");
            assert!((open.mandible.value(&p) - closed.mandible.value(&p)).abs() < 1e-12);
        }
        let crown = &open.maxilla.crowns[3];
        let file = open.maxilla.own(&crown.origin);
        assert!((open.maxilla.own(&file) - crown.origin).norm() < 1e-12);
    }
}
