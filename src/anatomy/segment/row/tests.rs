//! Rows of teeth of average widths, with gaps, moved and bare.

use super::*;

/// A row of teeth of `scale` times the average widths, shifted, with creases at their ends.
fn profile(arch: Arch, scale: f64, shift: f64, stands: &dyn Fn(Tooth) -> bool) -> Profile {
    let first = -70.0;
    let n = (140.0 / STEP_MM) as usize;
    let (mut presence, mut cut) = (vec![-1.0; n], vec![-0.6; n]);
    for along in (-8..=8i8).filter(|a| *a != 0) {
        let inner: f64 = (1..along.unsigned_abs()).map(|p| scale * crown_width_mm(arch, p)).sum();
        let width = scale * crown_width_mm(arch, along.unsigned_abs());
        if !stands(Tooth::at(arch, along).unwrap()) {
            continue;
        }
        let ends = if along > 0 { [inner, inner + width] } else { [-inner - width, -inner] };
        let [a, b] = ends.map(|e| (((e + shift - first) / STEP_MM).round()) as usize);
        presence[a..b].iter_mut().for_each(|p| *p = 1.0);
        cut[a] = 0.0;
        cut[b] = 0.0;
    }
    Profile { first, presence, cut }
}

fn numbers(row: &Row) -> Vec<u8> {
    row.teeth.iter().map(|s| s.tooth.number()).collect()
}

#[test]
fn a_row_with_gaps_is_numbered_with_and_without_the_chart() {
    for (arch, missing) in
        [(Arch::Mandible, vec![36, 37, 45]), (Arch::Maxilla, vec![15, 24, 25]), (Arch::Mandible, vec![])]
    {
        let stands = |t: Tooth| t.place() < 8 && !missing.contains(&t.number());
        for (scale, shift) in [(1.0, 0.0), (0.93, 1.2), (1.08, -1.0)] {
            let profile = profile(arch, scale, shift, &stands);
            let mut wanted = Wanted::open(arch);
            let expected: Vec<u8> =
                (0..16).filter_map(|k| wanted.tooth(k)).filter(|t| stands(*t)).map(|t| t.number()).collect();
            assert_eq!(numbers(&read(&profile, &wanted)), expected, "{arch:?} {scale} {shift}");
            for k in 0..16 {
                let tooth = wanted.tooth(k).unwrap();
                wanted.stands[k] = if stands(tooth) { Stands::Yes } else { Stands::No };
            }
            let row = read(&profile, &wanted);
            assert_eq!(numbers(&row), expected);
            let s = row.teeth.iter().find(|s| s.tooth.place() == 1).unwrap();
            let wide = scale * crown_width_mm(arch, 1);
            assert!((s.ends[1] - s.ends[0] - wide).abs() < 0.6, "ends stand in the creases: {:?}", s.ends);
        }
    }
}

#[test]
fn what_looks_a_little_like_a_third_molar_is_one_only_where_the_chart_has_it() {
    let faint = |t: Tooth| t.place() < 8 || t.number() == 38;
    let mut profile = profile(Arch::Mandible, 1.0, 0.0, &faint);
    let behind = (1..8).map(|p| crown_width_mm(Arch::Mandible, p)).sum::<f64>() + 0.2;
    let from = ((behind - profile.first) / STEP_MM) as usize;
    profile.presence[from..].iter_mut().for_each(|p| *p = p.min(0.6));
    let mut wanted = Wanted::open(Arch::Mandible);
    assert!(!numbers(&read(&profile, &wanted)).contains(&38));
    wanted.stands[1..].iter_mut().for_each(|s| *s = Stands::Yes);
    assert!(numbers(&read(&profile, &wanted)).contains(&38));
}

#[test]
fn a_row_far_aside_of_a_frame_that_is_unsure_keeps_its_numbers() {
    let aside = profile(Arch::Mandible, 1.0, 7.5, &|t| t.place() <= 7);
    let whole: Vec<u8> = (41..=47).rev().chain(31..=37).collect();
    let wanted = Wanted { frame_sure: false, ..Wanted::open(Arch::Mandible) };
    assert_eq!(numbers(&read(&aside, &wanted)), whole);
}

#[test]
fn a_bare_ridge_has_no_teeth_and_a_row_that_may_be_off_by_one_says_so() {
    let bare = profile(Arch::Mandible, 1.0, 0.0, &|_| false);
    let found = read(&bare, &Wanted::open(Arch::Mandible));
    assert!(found.teeth.iter().all(|s| s.presence < 0.0), "nothing that stands is claimed");
    // Four lower front teeth of nearly one width, half a tooth aside: left or right of the middle is a toss.
    let aside = profile(Arch::Mandible, 1.0, 2.6, &|t| t.place() <= 2);
    let whole = profile(Arch::Mandible, 1.0, 0.0, &|t| t.place() <= 7);
    let lead = |p: &Profile| read(p, &Wanted::open(Arch::Mandible)).lead.unwrap_or(f64::MAX);
    assert!(lead(&aside) < 3.0, "{}", lead(&aside));
    assert!(lead(&whole) > 6.0, "{}", lead(&whole));
}
