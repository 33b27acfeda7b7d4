//! A described patient made into a pair of casts in occlusion.

use super::arch::{ArchCurve, ArchForm, Place};
use super::cast::{Cast, Levels, Limits, Palate, Rise};
use super::crown::{CrownBody, SeatKind, average};
use super::field::{Variety, Waves};
use crate::case::{Arch, Side, Tooth};
use crate::space::{Point, Vector};
use std::sync::Arc;

/// A torus that the patient has.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TorusWish {
    /// Side of the mandible.
    pub side: Side,
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

/// Where a rest seat was prepared.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SeatPlace {
    /// Over the mesial marginal ridge.
    Mesial,
    /// Over the distal marginal ridge.
    Distal,
}

/// A patient.
#[derive(Clone, Debug, PartialEq)]
pub struct Patient {
    /// Variety: same seed, same casts.
    pub seed: u64,
    /// Size of the arches against the average.
    pub size: f64,
    /// Missing teeth of both arches; third molars are always missing.
    pub missing: Vec<Tooth>,
    /// How far the ridges have gone down under the margins, mm.
    pub resorption_mm: f64,
    /// Half width of the ridges under their crest, mm.
    pub ridge_half_mm: f64,
    /// Mandibular tori.
    pub tori: Vec<TorusWish>,
    /// Rest seats.
    pub seats: Vec<(Tooth, SeatPlace)>,
    /// How uneven the teeth stand, 0 to 1.
    pub unevenness: f64,
}

/// Both arches of a patient in occlusion.
#[derive(Clone, Debug)]
pub struct Pair {
    /// The mandible.
    pub mandible: Arc<Cast>,
    /// The maxilla, ground in against it.
    pub maxilla: Cast,
}

/// Height of the occlusal surface (curves of Spee and Wilson: a sphere of 105 mm, FER) over a place in plan, mm.
pub fn occlusal_level(x: f64, y: f64) -> f64 {
    (x * x + (y + 27.4) * (y + 27.4)) / 210.0 - 3.0
}

/// Makes the casts.
pub fn casts(patient: &Patient) -> Pair {
    let mandible = Arc::new(arch(patient, Arch::Mandible));
    let mut maxilla = arch(patient, Arch::Maxilla);
    erupt(&mut maxilla, &mandible);
    maxilla.ground = Some((mandible.clone(), 0.04));
    Pair { mandible, maxilla }
}

struct Stand {
    tooth: Tooth,
    s: f64,
    width: f64,
    present: bool,
    crown: CrownBody,
}

fn arch(patient: &Patient, which: Arch) -> Cast {
    let mut variety = Variety::new(patient.seed * 2 + u64::from(which == Arch::Maxilla));
    let k = patient.size;
    let curve = match which {
        Arch::Mandible => {
            ArchCurve { front_mm: 0.0, depth_mm: 27.0 * k, half_width_mm: 23.5 * k, power: 2.6 }
        }
        Arch::Maxilla => ArchCurve { front_mm: 2.6, depth_mm: 29.3 * k, half_width_mm: 25.9 * k, power: 2.6 },
    };
    let form = ArchForm::new(&curve);
    let stands = stands(patient, which, &form, &mut variety);
    let levels = levels(patient, &form, &stands);
    let waves = Waves::new(&mut variety, 9.0);
    let ends = [-1.0, 1.0].map(|side: f64| {
        side * stands
            .iter()
            .map(|t| if t.s * side > 0.0 { t.s.abs() + 0.5 * t.width } else { 0.0 })
            .fold(0.0, f64::max)
    });
    let mut rises: Vec<Rise> = ends.iter().map(|&end| pad(which, &form, &levels, end)).collect();
    let crowns: Vec<CrownBody> = stands.iter().filter(|t| t.present).map(|t| t.crown.clone()).collect();
    let mut cast = Cast {
        arch: which,
        form,
        levels,
        crowns,
        rises: Vec::new(),
        palate: (which == Arch::Maxilla).then_some(Palate {
            level: stands.iter().map(|t| t.crown.origin.z).sum::<f64>() / stands.len().max(1) as f64 - 2.2,
            depth: 11.0 * k,
            reach: 15.0 * k,
            rugae: 0.7,
            end_y: -46.0 * k,
        }),
        limits: Limits { outer: 5.0, inner: 9.5, ends: ends.map(|e| e + 11.0 * e.signum()) },
        waves,
        uneven: 0.16,
        crease: 0.25,
        ground: None,
    };
    if which == Arch::Mandible {
        rises.extend(patient.tori.iter().map(|t| torus(&cast, &stands, t)));
    }
    cast.rises = rises;
    cast
}

/// Teeth of one arch in order along it, those missing included.
fn stands(patient: &Patient, which: Arch, form: &ArchForm, variety: &mut Variety) -> Vec<Stand> {
    let mut out = Vec::new();
    for side in [-1i8, 1] {
        let mut s = 0.0;
        for place in 1..=7i8 {
            let Some(tooth) = Tooth::at(which, side * place) else { continue };
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
    let (along, outward) = form.axes(s);
    let distal = if s < 0.0 { -along } else { along };
    let un = patient.unevenness;
    let mut jitter = |size: f64| size * un * variety.normal();
    let (buccal, mesial, over, out) = stance(tooth);
    let turn = jitter(0.07);
    let (u, v) = (distal + outward * turn, outward - distal * turn);
    let lean = buccal + jitter(0.03);
    let tip = -mesial + jitter(0.03);
    let w = (Vector::z() + v * lean + u * tip).normalize();
    let u = (u - w * u.dot(&w)).normalize();
    let v = (v - w * v.dot(&w) - u * v.dot(&u)).normalize();
    let t = out + jitter(0.25);
    let at = form.point(Place { s, t }, 0.0);
    let up = if tooth.arch() == Arch::Mandible { 1.0 } else { -1.0 };
    let level = up * occlusal_level(at.x, at.y) + over + jitter(0.15);
    let origin = Point::new(at.x, at.y, level) - w * height;
    // A variety of its own, so that the form of one crown leaves the stance of all others as it was.
    let mut own = Variety::new(patient.seed ^ (u64::from(tooth.number()) << 32));
    let forms = std::array::from_fn(|_| un.sqrt() * own.normal());
    let mut crown = CrownBody::new(tooth, (origin, [u, v, w]), [height, md, bl], forms);
    for (_, place) in patient.seats.iter().filter(|(t, _)| *t == tooth) {
        crown.prepare(if *place == SeatPlace::Mesial { SeatKind::Mesial } else { SeatKind::Distal });
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

fn levels(patient: &Patient, form: &ArchForm, stands: &[Stand]) -> Levels {
    let mut l = Levels::default();
    let (Some(first), Some(last)) = (stands.first(), stands.last()) else { return l };
    for far in [12.0, 5.0] {
        end_level(&mut l, patient, form, first, -far);
    }
    for t in stands {
        let o = t.crown.origin;
        let place = form.place(o.x, o.y);
        let front = t.tooth.is_front();
        let lean = match (t.tooth.arch(), t.tooth.place()) {
            (Arch::Mandible, 1..=3) => 0.04,
            (Arch::Mandible, 4..=5) => 0.05,
            (Arch::Mandible, _) => 0.16,
            (Arch::Maxilla, _) => -0.06,
        };
        let steps: &[f64] = if t.present { &[0.0] } else { &[-0.3, 0.3] };
        for step in steps {
            l.s.push(t.s + step * t.width);
            l.shift.push(place.t - if t.present { 0.0 } else { 0.3 });
            l.lean.push(lean);
            l.vestibule.push(o.z - if front { 8.8 } else { 7.6 });
            l.floor.push(o.z - if front { 9.8 } else { 11.2 });
            if t.present {
                l.top.push(o.z - 0.2);
                l.half.push(t.crown.half_bl * 0.84 + 0.7);
                l.round.push(2.6);
            } else {
                l.top.push(o.z - patient.resorption_mm);
                l.half.push(patient.ridge_half_mm);
                l.round.push(1.9 * patient.ridge_half_mm);
            }
        }
    }
    for far in [5.0, 12.0] {
        end_level(&mut l, patient, form, last, far);
    }
    l
}

/// Level behind the last tooth, `far` mm from its distal end (negative to the right).
fn end_level(l: &mut Levels, patient: &Patient, form: &ArchForm, last: &Stand, far: f64) {
    let o = last.crown.origin;
    let rise = if last.tooth.arch() == Arch::Mandible { 0.16 } else { 0.0 };
    let down = if last.present { 1.0 } else { patient.resorption_mm };
    l.s.push(last.s + 0.5 * last.width * far.signum() + far);
    l.top.push(o.z - down + rise * (far.abs() - 5.0));
    l.half.push(patient.ridge_half_mm);
    l.round.push(1.9 * patient.ridge_half_mm);
    l.shift.push(form.place(o.x, o.y).t - 0.3);
    l.lean.push(0.12);
    l.vestibule.push(o.z - 6.0);
    l.floor.push(o.z - 10.0);
}

/// Retromolar pad or tuberosity behind the end of the row.
fn pad(which: Arch, form: &ArchForm, levels: &Levels, end: f64) -> Rise {
    let s = end + 6.0 * end.signum();
    let at = |v: &[f64]| super::field::through(&levels.s, v, s);
    let (along, outward) = form.axes(s);
    let (up, half) = match which {
        Arch::Mandible => (-0.6, [5.5, 3.8, 2.4]),
        Arch::Maxilla => (-1.6, [6.0, 5.2, 3.6]),
    };
    let centre = form.point(Place { s, t: at(&levels.shift) }, at(&levels.top) + up);
    Rise { centre, axes: [along, outward, Vector::z()], half, blend: 2.5, torus: false }
}

/// A torus with its centre on the lingual wall.
fn torus(cast: &Cast, stands: &[Stand], wish: &TorusWish) -> Rise {
    let sign = if wish.side == Side::Left { 1.0 } else { -1.0 };
    let row: Vec<(f64, f64)> =
        stands.iter().filter(|t| t.s * sign > 0.0).map(|t| (f64::from(t.tooth.place()), t.s)).collect();
    let mut row = row;
    row.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (places, at): (Vec<f64>, Vec<f64>) = row.into_iter().unzip();
    let s = super::field::through(&places, &at, wish.place);
    let z = super::field::through(&cast.levels.s, &cast.levels.top, s) - wish.below_crest_mm;
    let tissue = |p: &Point| cast.tissue_value(p, false);
    // From inside the process toward the tongue until the wall is met.
    let (mut lo, mut hi) = (-14.0, 0.0);
    for _ in 0..50 {
        let t = 0.5 * (lo + hi);
        if tissue(&cast.form.point(Place { s, t }, z)) > 0.0 { lo = t } else { hi = t }
    }
    let centre = cast.form.point(Place { s, t: 0.5 * (lo + hi) }, z);
    let normal = super::cast::gradient(&tissue, &centre).normalize();
    let (along, _) = cast.form.axes(s);
    let along = (along - normal * along.dot(&normal)).normalize();
    Rise {
        centre,
        axes: [along, normal, along.cross(&normal)],
        half: [0.5 * wish.length_mm, wish.height_mm, 0.5 * wish.width_mm],
        blend: 1.6,
        torus: true,
    }
}

/// Moves each crown of the maxilla up or down until it would bite about 0.25 mm into the mandible.
fn erupt(maxilla: &mut Cast, mandible: &Cast) {
    let points = occlusal_points(mandible);
    for crown in &mut maxilla.crowns {
        let start = crown.origin;
        let (middle, radius) = crown.bound();
        let near: Vec<Point> = points
            .iter()
            .map(|p| Point::new(p.x, p.y, -p.z))
            .filter(|p| {
                // Only what stands under the crown itself: a neighbour of its antagonist does not hold it.
                let [u, v, _] = crown.local(p);
                (p - middle).norm() < radius + 2.0
                    && u.abs() < 0.85 * crown.half_md
                    && v.abs() < crown.half_bl
            })
            .collect();
        let bite = |crown: &CrownBody| {
            near.iter().map(|p| -crown.value(crown.local(p))).fold(f64::NEG_INFINITY, f64::max)
        };
        // Only a tooth whose antagonist stands below it is moved: bitten into at the lowest place of the range.
        let (mut lo, mut hi) = (-2.2, 0.8);
        crown.origin = start + Vector::z() * hi;
        if bite(crown) < 0.25 {
            crown.origin = start;
            continue;
        }
        for _ in 0..24 {
            let mid = 0.5 * (lo + hi);
            crown.origin = start + Vector::z() * mid;
            if bite(crown) > 0.25 { hi = mid } else { lo = mid }
        }
        crown.origin = start + Vector::z() * lo;
    }
}

/// Points on the occlusal surfaces of a mandible about 0.4 mm apart.
fn occlusal_points(mandible: &Cast) -> Vec<Point> {
    let mut out = Vec::new();
    for crown in &mandible.crowns {
        let (nu, nv) = ((crown.half_md / 0.4) as i32, (crown.half_bl / 0.4) as i32);
        for i in -nu..=nu {
            for j in -nv..=nv {
                let (u, v) = (0.4 * f64::from(i), 0.4 * f64::from(j));
                let (mut lo, mut hi) = (0.3 * crown.height, crown.height + 1.0);
                if crown.value([u, v, lo]) > 0.0 {
                    continue;
                }
                for _ in 0..20 {
                    let w = 0.5 * (lo + hi);
                    if crown.value([u, v, w]) > 0.0 { hi = w } else { lo = w }
                }
                out.push(crown.world([u, v, lo]));
            }
        }
    }
    out
}
