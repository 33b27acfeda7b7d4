//! The teeth of an arch in their row.

use super::arch::{ArchForm, Place};
use super::crown::{CrownBody, SeatKind, average};
use super::field::Variety;
use super::patient::{Patient, SeatPlace, Stance};
use crate::case::{Arch, Tooth};
use crate::space::{Point, Vector, tan};

/// A tooth's place in the row, whether it is there or not.
#[derive(Clone, Debug)]
pub(super) struct Stand {
    pub tooth: Tooth,
    /// Along the arch, mm.
    pub s: f64,
    /// Mesiodistal width, mm.
    pub width: f64,
    pub present: bool,
    /// Its crown, or what it would be.
    pub crown: CrownBody,
}

/// Height of the occlusal surface (curves of Spee and Wilson: a sphere of about 105 mm, FER) over a place in plan, mm.
fn occlusal_level(sphere_mm: f64, x: f64, y: f64) -> f64 {
    (x * x + (y + 27.4) * (y + 27.4)) / (2.0 * sphere_mm) - 3.0
}

/// Teeth of one arch in order along it, those missing included.
pub(super) fn stands(patient: &Patient, which: Arch, form: &ArchForm, variety: &mut Variety) -> Vec<Stand> {
    let mut out = Vec::new();
    for side in [-1i8, 1] {
        let mut s = 0.0;
        for place in 1..=8i8 {
            let Some(tooth) = Tooth::at(which, side * place) else { continue };
            if place == 8 && !patient.third_molars.contains(&tooth) {
                continue;
            }
            let ([height, md, bl], _) = average(tooth);
            let size = patient.size * (1.0 + 0.02 * variety.normal() * patient.unevenness);
            let (height, md, bl) = (height * size, md * size, bl * size);
            let along = f64::from(side) * (s + 0.5 * md);
            s += 0.985 * md;
            let crown = place_crown(patient, tooth, form, along, [height, md, bl], variety);
            let present = !patient.missing.contains(&tooth);
            out.push(Stand { tooth, s: along, width: md, present, crown });
        }
    }
    out.sort_by(|a, b| a.s.total_cmp(&b.s));
    papillae(&mut out);
    out
}

fn place_crown(
    patient: &Patient,
    tooth: Tooth,
    form: &ArchForm,
    s: f64,
    [height, md, bl]: [f64; 3],
    variety: &mut Variety,
) -> CrownBody {
    let wish =
        patient.stances.iter().find(|w| w.tooth == tooth).copied().unwrap_or_else(|| Stance::of(tooth));
    let s = s + wish.distal_mm * s.signum();
    let (along, outward) = form.axes(s);
    let distal = if s < 0.0 { -along } else { along };
    let un = patient.unevenness;
    let mut jitter = |size: f64| size * un * variety.normal();
    let (buccal, mesial, over, out) = stance(tooth);
    let slope = |deg: f64| tan(deg.to_radians());
    let turn = jitter(0.07) - slope(wish.turn_deg);
    let (u, v) = (distal + outward * turn, outward - distal * turn);
    let lean = buccal + jitter(0.03) + slope(wish.buccal_deg);
    let tip = -mesial + jitter(0.03) - slope(wish.mesial_deg);
    let w = (Vector::z() + v * lean + u * tip).normalize();
    let u = (u - w * u.dot(&w)).normalize();
    let v = (v - w * v.dot(&w) - u * v.dot(&u)).normalize();
    let t = out + jitter(0.25) + wish.out_mm;
    let at = form.point(Place { s, t }, 0.0);
    let up = if tooth.arch() == Arch::Mandible { 1.0 } else { -1.0 };
    let level = up * occlusal_level(patient.shape.sphere_mm, at.x, at.y) + over + jitter(0.15);
    let origin = Point::new(at.x, at.y, level + wish.erupted_mm) - w * height;
    // A variety of its own, so that the form of one crown leaves the stance of all others as it was.
    let mut own = Variety::new(patient.seed ^ (u64::from(tooth.number()) << 32));
    let forms = std::array::from_fn(|_| un.sqrt() * own.normal());
    let mut crown = CrownBody::new(tooth, (origin, [u, v, w]), [height, md, bl], forms);
    for (_, place) in patient.seats.iter().filter(|(t, _)| *t == tooth) {
        crown.prepare(match place {
            SeatPlace::Mesial => SeatKind::Mesial,
            SeatPlace::Distal => SeatKind::Distal,
            SeatPlace::Cingulum => SeatKind::Cingulum,
        });
    }
    crown
}

/// How a tooth stands: lean toward buccal and mesial (rise over run), highest cusp over the occlusal surface, offset
/// toward buccal, mm.
fn stance(tooth: Tooth) -> (f64, f64, f64, f64) {
    match (tooth.arch(), tooth.place()) {
        (Arch::Mandible, 1) => (0.16, 0.0, 0.5, 0.0),
        (Arch::Mandible, 2) => (0.12, 0.02, 0.5, 0.0),
        (Arch::Mandible, 3) => (0.05, 0.06, 1.1, 0.3),
        (Arch::Mandible, 4) => (0.0, 0.05, 0.9, 0.2),
        (Arch::Mandible, 5) => (-0.06, 0.05, 0.8, 0.0),
        (Arch::Mandible, 6) => (-0.13, 0.06, 0.7, 0.0),
        (Arch::Mandible, _) => (-0.17, 0.09, 0.7, 0.0),
        (Arch::Maxilla, 1) => (0.30, 0.0, 2.4, 1.2),
        (Arch::Maxilla, 2) => (0.26, 0.04, 1.9, 0.9),
        (Arch::Maxilla, 3) => (0.14, 0.08, 1.9, 0.9),
        (Arch::Maxilla, 4) => (0.03, 0.04, 0.9, 0.2),
        (Arch::Maxilla, 5) => (0.02, 0.0, 0.8, 0.0),
        (Arch::Maxilla, 6) => (0.06, -0.02, 0.7, 0.0),
        (Arch::Maxilla, _) => (0.10, -0.06, 0.6, 0.0),
    }
}

fn papillae(stands: &mut [Stand]) {
    let n = stands.len();
    let full: Vec<f64> =
        stands.iter().map(|t| if t.present { t.crown.full_papilla() } else { 0.0 }).collect();
    for i in 0..n {
        let toward = |j: Option<usize>| match j.filter(|&j| j < n && stands[j].present) {
            Some(j) => full[i].min(full[j]).max(0.75 * full[i]),
            None => 0.12 * full[i],
        };
        let (right, left) = (toward(i.checked_sub(1)), toward(Some(i + 1)));
        stands[i].crown.papillae = if stands[i].s < 0.0 { [left, right] } else { [right, left] };
    }
}
