//! The alveolar process along the arch, and what stands on it: ridges by their resorption, pads, tori.

use super::arch::{ArchForm, Place};
use super::cast::{Cast, Rise, gradient};
use super::field::{Variety, through};
use super::patient::{LobeWish, PalatalWish, Patient, RidgeForm, TorusWish};
use super::row::Stand;
use super::tissue::Levels;
use crate::case::{Arch, Side};
use crate::space::{Point, Vector};

/// Where the alveolar process was measured, as places along the row: symphysis or incisive foramen, mental foramen,
/// halfway to the mandibular foramen or greater palatine foramen.
const MEASURED_AT: [f64; 3] = [0.5, 4.5, 8.0];
/// Height of the mandibular process by resorption group, bone, mm (CAW, table of section 12.3 of the trade facts).
const MANDIBLE_HEIGHT: [[f64; 3]; 4] =
    [[17.50, 16.92, 7.00], [10.00, 10.75, 4.00], [9.21, 7.21, 0.50], [3.40, 2.80, -1.60]];
/// Its width, bone, mm (the same).
const MANDIBLE_WIDTH: [[f64; 3]; 4] =
    [[11.33, 10.83, 11.67], [7.80, 5.20, 4.50], [6.29, 4.86, 4.64], [3.50, 3.00, 3.80]];
/// Height of the maxillary process, foramina to crest; between them the mean, mm (the same; no group 4 was measured).
const MAXILLA_HEIGHT: [[f64; 3]; 3] = [[11.20, 11.80, 12.40], [6.77, 8.60, 10.46], [1.09, 3.80, 6.46]];
/// Its width at the crest, mm (the same).
const MAXILLA_WIDTH: [[f64; 3]; 3] = [[10.00, 9.60, 9.20], [6.46, 6.70, 6.92], [3.36, 4.00, 4.73]];
/// Share of its loss of height that a ridge shows next to a tooth.
const KEPT_BESIDE: f64 = 0.6;
/// Mucosa on each side of the crest, mm (1.5 to 3 over it: from memory, section 12.3).
const MUCOSA_MM: f64 = 1.2;

/// A column of such a table at a place of the row, for a group and between groups.
fn by_group(table: &[[f64; 3]], group: f64, place: f64) -> f64 {
    let g = (group - 1.0).clamp(0.0, (table.len() - 1) as f64);
    let (low, share) = (g.floor() as usize, g - g.floor());
    let at = |row: &[f64; 3]| through(&MEASURED_AT, row, place);
    let next = (low + 1).min(table.len() - 1);
    at(&table[low]) * (1.0 - share) + at(&table[next]) * share
}

/// How far the crest has gone down under the gingival margins, mm.
fn drop_mm(arch: Arch, ridge: &RidgeForm, place: f64) -> f64 {
    let table: &[[f64; 3]] = if arch == Arch::Mandible { &MANDIBLE_HEIGHT } else { &MAXILLA_HEIGHT };
    // Healed mucosa lies a little under where the margin was.
    0.8 + by_group(table, 1.0, place) - by_group(table, ridge.group, place)
}

/// Half width of the ridge just under its crest, mucosa included, mm.
fn half_mm(arch: Arch, ridge: &RidgeForm, place: f64) -> f64 {
    let table: &[[f64; 3]] = if arch == Arch::Mandible { &MANDIBLE_WIDTH } else { &MAXILLA_WIDTH };
    let bone = by_group(table, ridge.group.max(1.4), place);
    0.5 * bone * ridge.width + MUCOSA_MM
}

/// One place of the levels.
struct Level {
    s: f64,
    margin: f64,
    top: f64,
    half: f64,
    round: f64,
    shift: f64,
    lean: f64,
    flare: f64,
    vestibule: f64,
    floor: f64,
}

impl Level {
    fn push(self, l: &mut Levels) {
        l.s.push(self.s);
        l.margin.push(self.margin);
        l.top.push(self.top);
        l.half.push(self.half);
        l.round.push(self.round);
        l.shift.push(self.shift);
        l.lean.push(self.lean);
        l.flare.push(self.flare);
        l.vestibule.push(self.vestibule);
        l.floor.push(self.floor);
    }
}

pub(super) fn levels(patient: &Patient, form: &ArchForm, stands: &[Stand], variety: &mut Variety) -> Levels {
    let mut l = Levels::default();
    let (Some(first), Some(last)) = (stands.first(), stands.last()) else { return l };
    for far in [-12.0, -5.0] {
        behind(patient, form, first, far).push(&mut l);
    }
    for (i, t) in stands.iter().enumerate() {
        let steps: &[f64] = if t.present { &[0.0] } else { &[-0.3, 0.3] };
        let stands_at = |j: Option<usize>| j.and_then(|j| stands.get(j)).is_some_and(|t| t.present);
        for step in steps {
            // Beside a tooth the crest stays up: its bone is kept by the tooth.
            let beside = if *step < 0.0 { i.checked_sub(1) } else { Some(i + 1) };
            let kept = if stands_at(beside) { KEPT_BESIDE } else { 1.0 };
            at_tooth(patient, form, t, (*step, kept), variety).push(&mut l);
        }
    }
    for far in [5.0, 12.0] {
        behind(patient, form, last, far).push(&mut l);
    }
    l.smoothed();
    l
}

fn ridge_of(patient: &Patient, arch: Arch) -> &RidgeForm {
    &patient.ridges[usize::from(arch == Arch::Maxilla)]
}

fn at_tooth(
    patient: &Patient,
    form: &ArchForm,
    t: &Stand,
    (step, kept): (f64, f64),
    variety: &mut Variety,
) -> Level {
    let o = t.crown.origin;
    let arch = t.tooth.arch();
    let across = form.place(o.x, o.y).t;
    let front = t.tooth.is_front();
    let lean = match (arch, t.tooth.place()) {
        (Arch::Mandible, 1..=3) => 0.04,
        (Arch::Mandible, 4..=5) => 0.05,
        (Arch::Mandible, _) => 0.16,
        (Arch::Maxilla, _) => -0.06,
    };
    let vestibule = o.z - if front { 8.8 } else { 7.6 };
    let floor = o.z - if front { 9.8 } else { 11.2 };
    if t.present {
        let half = t.crown.half_bl * 0.84 + 0.7;
        return Level {
            s: t.s,
            margin: o.z - 0.2,
            top: o.z - 0.9,
            half,
            round: 2.6,
            shift: across,
            lean,
            flare: 0.10,
            vestibule,
            floor,
        };
    }
    let ridge = ridge_of(patient, arch);
    let place = f64::from(t.tooth.place()) + step * t.s.signum();
    let drop = kept * drop_mm(arch, ridge, place) + 0.15 * variety.even();
    let half = (half_mm(arch, ridge, place) + 0.25 * variety.even()).max(0.9);
    let top = o.z - drop;
    Level {
        s: t.s + step * t.width,
        margin: o.z - 0.2,
        top,
        half,
        round: 1.1 * half,
        shift: across - 0.3 + 0.3 * variety.even(),
        lean: 0.4 * lean + ridge.overhang,
        flare: 0.13 + 0.25 * (1.0 - ridge.width).max(0.0),
        // Sulci go down with the crest, but less.
        vestibule: (vestibule - 0.5 * drop).min(top - 2.0),
        floor: (floor - 0.2 * drop).min(top - 2.5),
    }
}

/// Level behind the last tooth, `far` mm from its distal end (negative to the right).
fn behind(patient: &Patient, form: &ArchForm, last: &Stand, far: f64) -> Level {
    let o = last.crown.origin;
    let arch = last.tooth.arch();
    let ridge = ridge_of(patient, arch);
    let rise = if arch == Arch::Mandible { 0.16 } else { 0.0 };
    let down = if last.present { 1.2 } else { drop_mm(arch, ridge, 8.0) };
    let half = half_mm(arch, ridge, 8.0).max(2.6);
    let top = o.z - down + rise * (far.abs() - 5.0);
    Level {
        s: last.s + 0.5 * last.width * far.signum() + far,
        margin: o.z - 0.2,
        top,
        half,
        round: 1.9 * half,
        shift: form.place(o.x, o.y).t - 0.3,
        lean: 0.12,
        flare: 0.10,
        vestibule: (o.z - 6.0 - 0.5 * down).min(top - 2.0),
        floor: (o.z - 10.0 - 0.2 * down).min(top - 2.5),
    }
}

/// Retromolar pad or tuberosity behind the end of the row.
pub(super) fn pads(
    which: Arch,
    form: &ArchForm,
    levels: &Levels,
    end: f64,
    variety: &mut Variety,
) -> Vec<Rise> {
    let s = end + (5.6 + 0.6 * variety.even()) * end.signum();
    let at = |v: &[f64]| through(&levels.s, v, s);
    let (along, outward) = form.axes(s);
    let k = 1.0 + 0.12 * variety.even();
    let (up, half) = match which {
        Arch::Mandible => (-1.7, [5.4 * k, 3.9 * k, 2.2]),
        Arch::Maxilla => (-3.0, [6.4 * k, 5.2 * k, 3.4]),
    };
    let shift = at(&levels.shift);
    let centre = form.point(Place { s, t: shift }, at(&levels.top) + up);
    // A pad is a pear: broad behind, narrow in front.
    let front = form.point(Place { s: s - 4.6 * end.signum(), t: shift }, at(&levels.top) + up - 0.5);
    let axes = [along, outward, Vector::z()];
    let body = Rise { centre, axes, half, blend: 4.0, torus: false };
    let neck = Rise { centre: front, axes, half: [3.8, 2.4, 1.5], blend: 3.4, torus: false };
    if which == Arch::Mandible { vec![body, neck] } else { vec![body] }
}

/// The lobes of a torus, their centres on the lingual wall.
pub(super) fn torus(cast: &Cast, stands: &[Stand], wish: &TorusWish) -> Vec<Rise> {
    let sign = if wish.side == Side::Left { 1.0 } else { -1.0 };
    let mut row: Vec<(f64, f64)> =
        stands.iter().filter(|t| t.s * sign > 0.0).map(|t| (f64::from(t.tooth.place()), t.s)).collect();
    row.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (places, at): (Vec<f64>, Vec<f64>) = row.into_iter().unzip();
    wish.lobes.iter().map(|l| lobe(cast, through(&places, &at, l.place), l)).collect()
}

fn lobe(cast: &Cast, s: f64, wish: &LobeWish) -> Rise {
    let z = through(&cast.levels.s, &cast.levels.margin, s) - wish.below_crest_mm;
    let tissue = |p: &Point| cast.tissue_value(p, false);
    // From inside the process toward the tongue until the wall is met.
    let (mut lo, mut hi) = (-14.0, through(&cast.levels.s, &cast.levels.shift, s));
    for _ in 0..50 {
        let t = 0.5 * (lo + hi);
        if tissue(&cast.form.point(Place { s, t }, z)) > 0.0 { lo = t } else { hi = t }
    }
    let centre = cast.form.point(Place { s, t: 0.5 * (lo + hi) }, z);
    let (along, _) = cast.form.axes(s);
    rise(&tissue, centre, along, [wish.length_mm, wish.height_mm, wish.width_mm])
}

/// A lobe of a palatal torus.
pub(super) fn palatal(cast: &Cast, wish: &PalatalWish) -> Rise {
    let tissue = |p: &Point| cast.tissue_value(p, false);
    let at = |z: f64| Point::new(-wish.left_mm, -wish.behind_mm, z);
    let (mut lo, mut hi) = (-45.0, 12.0);
    for _ in 0..50 {
        let z = 0.5 * (lo + hi);
        if tissue(&at(z)) > 0.0 { hi = z } else { lo = z }
    }
    rise(&tissue, at(0.5 * (lo + hi)), Vector::y(), [wish.length_mm, wish.height_mm, wish.width_mm])
}

/// An ellipsoid on the tissue: its extents along, square to the tissue and across.
fn rise(
    tissue: &impl Fn(&Point) -> f64,
    centre: Point,
    along: Vector,
    [length, height, width]: [f64; 3],
) -> Rise {
    let normal = gradient(tissue, &centre).normalize();
    let along = (along - normal * along.dot(&normal)).normalize();
    Rise {
        centre,
        axes: [along, normal, along.cross(&normal)],
        half: [0.5 * length, height, 0.5 * width],
        blend: 1.6,
        torus: true,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ridge(group: f64) -> RidgeForm {
        RidgeForm { group, width: 1.0, overhang: 0.0 }
    }

    #[test]
    fn ridges_have_the_heights_that_were_measured_on_skulls() {
        // Table 12.3: at the mental foramen 16.92, 10.75, 7.21, 2.80 mm.
        let drop =
            |group| drop_mm(Arch::Mandible, &ridge(group), 4.5) - drop_mm(Arch::Mandible, &ridge(1.0), 4.5);
        assert!((drop(2.0) - 6.17).abs() < 1e-9 && (drop(3.0) - 9.71).abs() < 1e-9);
        assert!((drop(1.5) - 3.085).abs() < 1e-9);
        assert!((half_mm(Arch::Mandible, &ridge(2.0), 4.5) - (2.6 + MUCOSA_MM)).abs() < 1e-9);
    }

    /// Table of CAW typed in again from section 12.3 of the trade facts: symphysis, mental foramen, halfway to the
    /// mandibular foramen; incisive and greater palatine foramen.
    #[test]
    fn ridges_have_sunk_and_narrowed_by_the_measured_heights_and_widths() {
        /// Heights and widths of each group at some places along the row.
        fn agrees<const N: usize>(arch: Arch, places: [f64; N], groups: &[[[f64; N]; 2]]) {
            let close = |a: f64, b: f64| assert!((a - b).abs() < 1e-9, "{a} for {b}, {arch:?}");
            for (group, [heights, widths]) in groups.iter().enumerate().skip(1) {
                let form = ridge((group + 1) as f64);
                for (k, &place) in places.iter().enumerate() {
                    let sunk = drop_mm(arch, &form, place) - drop_mm(arch, &ridge(1.0), place);
                    close(sunk, groups[0][0][k] - heights[k]);
                    close(2.0 * (half_mm(arch, &form, place) - MUCOSA_MM), widths[k]);
                }
            }
        }
        let mandible = [
            [[17.50, 16.92, 7.00], [11.33, 10.83, 11.67]],
            [[10.00, 10.75, 4.00], [7.80, 5.20, 4.50]],
            [[9.21, 7.21, 0.50], [6.29, 4.86, 4.64]],
            [[3.40, 2.80, -1.60], [3.50, 3.00, 3.80]],
        ];
        agrees(Arch::Mandible, [0.5, 4.5, 8.0], &mandible);
        let maxilla =
            [[[11.20, 12.40], [10.00, 9.20]], [[6.77, 10.46], [6.46, 6.92]], [[1.09, 6.46], [3.36, 4.73]]];
        agrees(Arch::Maxilla, [0.5, 8.0], &maxilla);
    }
}
