//! Patients drawn by seed: no two have one outline.

use super::field::Variety;
use super::patient::{
    ArchShape, Ending, LobeWish, PalatalWish, Patient, RidgeForm, SeatPlace, Stance, TorusWish,
};
use crate::case::{Arch, Side, Tooth};

/// Charts to draw from: missing teeth of the mandible, then of the maxilla.
const CHARTS: &[(&[u8], &[u8])] = &[
    (&[36, 37, 46, 47], &[]),
    (&[35, 36, 37, 45, 46, 47], &[16]),
    (&[36, 37], &[]),
    (&[34, 35, 36, 37, 46], &[]),
    (&[36, 46], &[26]),
    (&[35, 36, 46], &[]),
    (&[31, 32, 41, 42], &[]),
    (&[], &[16, 17, 26, 27]),
    (&[], &[14, 15, 16, 17]),
    (&[47], &[24, 25, 26]),
    (&[], &[11, 12, 21]),
    (&[37, 45], &[15, 16, 25, 26, 27]),
    (&[], &[]),
];

/// A patient drawn by a seed: chart, size, form, ridges, tori, leaning and turned teeth.
pub fn drawn(seed: u64) -> Patient {
    let mut v = Variety::new(seed.wrapping_mul(0x9E37_79B9).wrapping_add(17));
    let (lower, upper) = CHARTS[(v.bits() % CHARTS.len() as u64) as usize];
    let missing: Vec<Tooth> = lower.iter().chain(upper).filter_map(|n| Tooth::fdi(*n)).collect();
    let shape = ArchShape {
        // Standard deviations of the widths are about 5 % (section 12.2, ARCH).
        width: 1.0 + 0.045 * v.normal(),
        depth: 1.0 + 0.05 * v.normal(),
        power: 2.6 + 0.3 * v.even(),
        skew: 0.025 * v.normal(),
        sphere_mm: 106.0 + 10.0 * v.even(),
    };
    let mut ridge = || {
        let knife = v.even() > 0.6;
        RidgeForm {
            group: 1.9 + 0.8 * v.even(),
            width: if knife { 0.4 } else { 1.0 + 0.15 * v.even() },
            overhang: if knife { 0.18 } else { 0.05 * v.even() },
        }
    };
    let ridges = [ridge(), ridge()];
    let tori = tori(&mut v);
    let palatal = palatal(&mut v);
    let stances = stances(&missing, &mut v);
    let seats = seats(&missing);
    let third = [18u8, 28, 38, 48].iter().filter_map(|n| Tooth::fdi(*n)).filter(|_| v.even() > 0.7).collect();
    Patient {
        seed,
        size: 1.0 + 0.035 * v.normal(),
        shape,
        missing,
        third_molars: third,
        ridges,
        tori,
        palatal,
        seats,
        stances,
        opened_mm: 0.0,
        unevenness: 0.6 + 0.4 * v.even(),
        ending: if v.even() > 0.0 { Ending::Trimmed } else { Ending::Open },
        palate: v.even() > -0.6,
    }
}

/// Mandibular tori on a third of the sides, 1 to 3 lobes of 1 to 6 mm.
fn tori(v: &mut Variety) -> Vec<TorusWish> {
    [Side::Left, Side::Right]
        .into_iter()
        .filter_map(|side| {
            let lobes = 1 + v.bits() % 3;
            let high = 3.5 + 2.5 * v.even();
            let first = 3.8 + 0.5 * v.even();
            let (here, low) = (v.even() > 0.3, 6.0 + 0.5 * v.even());
            let lobe = |i: u64| LobeWish {
                place: first + 1.15 * i as f64,
                below_crest_mm: low,
                height_mm: (high * if i == 1 { 1.0 } else { 0.75 }).max(1.0),
                length_mm: if lobes == 1 { 11.0 } else { 6.6 },
                width_mm: 6.0,
            };
            here.then(|| TorusWish { side, lobes: (0..lobes).map(lobe).collect() })
        })
        .collect()
}

/// A palatal torus on a quarter of the palates.
fn palatal(v: &mut Variety) -> Vec<PalatalWish> {
    let wish = PalatalWish {
        behind_mm: 27.0 + 3.0 * v.even(),
        height_mm: 3.0 + 1.5 * v.even(),
        length_mm: 16.0 + 5.0 * v.even(),
        width_mm: 9.0 + 2.0 * v.even(),
        left_mm: 0.8 * v.even(),
    };
    if v.even() > 0.5 { vec![wish] } else { Vec::new() }
}

/// Molars behind a gap lean into it, antagonists of a gap grow toward it, some front teeth are turned.
fn stances(missing: &[Tooth], v: &mut Variety) -> Vec<Stance> {
    let gone = |t: Tooth| missing.contains(&t);
    let mut out = Vec::new();
    for arch in [Arch::Mandible, Arch::Maxilla] {
        for along in (-7..=7i8).filter(|a| *a != 0) {
            let Some(tooth) = Tooth::at(arch, along) else { continue };
            let mut stance = Stance::of(tooth);
            if tooth.place() >= 7 && gone(tooth.mesial()) && !gone(tooth) {
                stance.mesial_deg = 9.0 + 7.0 * v.even();
            }
            let opposite = Tooth::at(arch.opposing(), along);
            if arch == Arch::Maxilla && tooth.is_molar() && opposite.is_some_and(gone) {
                stance.erupted_mm = 1.0 + 0.9 * v.even();
            }
            if tooth.is_front() && v.even() > 0.5 {
                stance.turn_deg = 10.0 * v.even();
                stance.out_mm = 0.5 * v.even();
            }
            if stance != Stance::of(tooth) {
                out.push(stance);
            }
        }
    }
    out
}

/// Rest seats next to gaps: mesial in front of a distal extension, beside the gap elsewhere.
fn seats(missing: &[Tooth]) -> Vec<(Tooth, SeatPlace)> {
    let gone = |t: Tooth| t.place() == 8 || missing.contains(&t);
    let back = |t: Tooth| (t.place() >= 4).then_some(t);
    let mut out = Vec::new();
    for tooth in (11..=48u8).filter_map(Tooth::fdi).filter(|t| !gone(*t)).filter_map(back) {
        let behind_all =
            (tooth.place() + 1..=8).all(|p| Tooth::fdi(10 * tooth.quadrant() + p).is_none_or(gone));
        if tooth.distal().is_some_and(gone) && tooth.place() < 7 {
            out.push((tooth, if behind_all { SeatPlace::Mesial } else { SeatPlace::Distal }));
        } else if tooth.place() > 4 && gone(tooth.mesial()) {
            out.push((tooth, SeatPlace::Mesial));
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn patients_are_repeatable_and_differ() {
        for seed in 0..40 {
            assert_eq!(drawn(seed), drawn(seed));
            for other in 0..seed {
                assert_ne!(drawn(seed).shape, drawn(other).shape);
            }
        }
        // The draw reaches tori, third molars, knife edges and bases.
        let all: Vec<Patient> = (0..60).map(drawn).collect();
        assert!(all.iter().any(|p| !p.tori.is_empty()) && all.iter().any(|p| !p.palatal.is_empty()));
        assert!(
            all.iter().any(|p| !p.third_molars.is_empty()) && all.iter().any(|p| p.ridges[0].width < 0.5)
        );
        assert!(
            all.iter().any(|p| p.ending == Ending::Trimmed) && all.iter().any(|p| p.ending == Ending::Open)
        );
    }
}
