//! The teeth of an arch in their row.

use super::arch::{ArchForm, Place};
use super::crown::{CrownBody, CrownForm, Seat, average};
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
            let ([height, md, bl], crown_form) = average(tooth);
            let size = patient.size * (1.0 + 0.02 * variety.normal() * patient.unevenness);
            let (height, md, bl) = (height * size, md * size, bl * size);
            let along = f64::from(side) * (s + 0.5 * md);
            s += 0.985 * md;
            let sized = ([height, md, bl], crown_form);
            let crown = place_crown(patient, tooth, form, along, sized, variety);
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
    ([height, md, bl], crown_form): ([f64; 3], &'static CrownForm),
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
    let mut crown = CrownBody {
        tooth,
        form: crown_form,
        origin,
        axes: [u, v, w],
        height,
        half_md: 0.5 * md,
        half_bl: 0.5 * bl,
        seats: Vec::new(),
        papillae: [0.0; 2],
    };
    for (_, place) in patient.seats.iter().filter(|(t, _)| *t == tooth) {
        let side = if *place == SeatPlace::Mesial { -1.0 } else { 1.0 };
        let seat = seat(&crown, side);
        crown.seats.push(seat);
    }
    crown
}

/// Spoon over a marginal ridge: a shallow saucer, at the ridge 1 to 1.5 mm deep and flat over the 2.5 mm that are taught
/// as the least base (section 5 of the trade facts).
fn seat(crown: &CrownBody, side: f64) -> Seat {
    let u = side * (crown.half_md - 1.2);
    Seat { centre: [u, 0.0, crown.height + 0.3], half: [2.6, 2.4, 2.6] }
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
