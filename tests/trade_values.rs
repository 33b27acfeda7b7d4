//! Values of the trade and of published papers, typed in here from the sources' side and held against the program's: a
//! limit or a figure that drifts from its source fails. `docs/validation.md` lists the same with their marks.
#![allow(clippy::unwrap_used, clippy::indexing_slicing)] // a test may fail loudly anywhere

use saddleroom::case::{ClaspKind, Tooth};
use saddleroom::mechanics::clasp_flexure::{Arm, Section, spread, stiffness_n_per_mm};
use saddleroom::phantom::{people, solids};
use saddleroom::rules::{Mark, Rules};

/// Limits with the figure that is taught or published, by the mark with which it was seen.
#[rustfmt::skip]
const TAUGHT: &[(&str, f64, Mark)] = {
    use Mark::*;
    &[
        // The room that technicians ask for; nobody has published it.
        ("attachment_room_mm", 5.0, CommonPractice),
        ("site_length_mm", 8.0, CommonPractice),
        // Crown beside an attachment 4 to 6 mm (HSIU).
        ("abutment_crown_height_mm", 4.0, Secondary),
        // Denture tooth on resin 5 to 6 mm.
        ("denture_tooth_room_mm", 5.0, Memory),
        // Roll or pitch over 0.1 degree (KAK).
        ("articulation_lever_deg", 0.1, Published),
        // Bonwill's triangle of 4 inches (G9).
        ("intercondylar_mm", 4.0 * 25.4, Published),
        // Undercut by clasp 0.25, 0.50, 0.75 mm (ANK).
        ("undercut_cast_circumferential_mm", 0.25, Published),
        ("undercut_bar_mm", 0.50, Published),
        ("undercut_wrought_wire_mm", 0.75, Published),
        // No more than 0.03 inch (ANK).
        ("undercut_ceiling_mm", 0.03 * 25.4, Published),
        ("tip_above_margin_mm", 1.0, Memory),
        ("bar_sulcus_mm", 4.0, Secondary),
        ("approach_arm_margin_mm", 3.0, Memory),
        ("tilt_most_deg", 15.0, Secondary),
        // Guiding planes 2 to 4 mm, 1.5 to 2 mm beside a distal extension.
        ("guiding_plane_height_tooth_mm", 2.0, Secondary),
        ("guiding_plane_height_extension_mm", 1.5, Secondary),
        ("guiding_plane_width_share", 0.333, Secondary),
        // Rests: 1.0 to 1.5 mm over the marginal ridge, 2.5 mm wide, a third to a half of the crown long.
        ("rest_room_mm", 1.0, Secondary),
        ("seat_depth_mm", 1.0, Secondary),
        ("seat_width_mm", 2.5, Secondary),
        ("seat_length_share", 0.333, Secondary),
        ("seat_floor_deg", 90.0, Secondary),
        ("seat_cingulum_depth_mm", 1.5, Memory),
        ("seat_incisal_depth_mm", 1.5, Secondary),
        ("seat_incisal_length_mm", 2.5, Secondary),
        // Mandibular connectors: 4 + 4 = 8 mm, other schools 3 + 4 = 7 mm.
        ("bar_below_margin_mm", 4.0, Secondary),
        ("bar_below_margin_other_mm", 3.0, Secondary),
        ("bar_height_mm", 4.0, Secondary),
        ("bar_depth_mm", 8.0, Secondary),
        ("bar_depth_other_mm", 7.0, Secondary),
        ("plate_depth_mm", 5.0, Secondary),
        ("sublingual_below_margin_mm", 3.0, Secondary),
        ("sublingual_height_mm", 2.0, Secondary),
        ("cingulum_bar_height_mm", 2.0, Secondary),
        ("labial_below_margin_mm", 3.0, Secondary),
        // Maxillary connectors: 6 mm from the margin, a strap of 8 mm (ANK); bands after MUH2.
        ("palatal_border_mm", 6.0, Published),
        ("palatal_strap_width_mm", 8.0, Published),
        ("palatal_ap_strap_mm", 8.0, Secondary),
        // Frameworks: section 13 of the facts, and 32 gauge (0.20 mm) under a bar.
        ("frame_rest_mm", 1.0, Secondary),
        ("frame_bar_height_mm", 4.0, Secondary),
        ("frame_bar_mm", 2.0, Secondary),
        ("frame_bar_relief_mm", 0.20, Secondary),
        ("frame_strap_mm", 0.64, Secondary),
        ("frame_minor_mm", 1.0, Memory),
        ("frame_minor_apart_mm", 5.0, Secondary),
        ("frame_base_relief_least_mm", 0.5, Memory),
        ("frame_base_relief_most_mm", 1.0, Memory),
        ("frame_base_reach_share", 0.667, Secondary),
        ("frame_arm_mm", 1.0, Memory),
        ("frame_wall_mm", 0.4, Memory),
        ("palatal_lateral_strap_mm", 7.0, Secondary),
        ("palatal_horseshoe_mm", 6.0, Secondary),
        ("torus_medium_mm", 2.0, Memory),
        ("torus_large_mm", 4.0, Memory),
        // Moduli (TRI); wires from memory.
        ("modulus_cobalt_chromium_gpa", 220.0, Published),
        ("modulus_gold_type_iv_gpa", 91.0, Published),
        ("modulus_titanium_gpa", 110.0, Published),
        ("modulus_titanium_alloy_gpa", 110.0, Published),
        ("modulus_peek_gpa", 3.74, Published),
        ("modulus_acetal_gpa", 3.15, Published),
        ("modulus_stainless_steel_gpa", 200.0, Memory),
        // Mucosa 1.2 to 2.8 mm (JJPS07), 1 to 5 MPa usual.
        ("support_mucosa_thin_mm", 1.2, Published),
        ("support_mucosa_thick_mm", 2.8, Published),
        ("support_mucosa_soft_mpa", 1.0, Memory),
        ("support_mucosa_firm_mpa", 5.0, Memory),
    ]
};

#[test]
fn limits_are_those_of_their_sources_with_their_marks() {
    let rules = Rules::standard();
    for (id, number, mark) in TAUGHT {
        let rule = rules.rows().iter().find(|r| r.id == *id).unwrap_or_else(|| panic!("no limit {id}"));
        assert!(
            (rule.number - number).abs() < 1e-9 && rule.mark == *mark,
            "{id}: {} {:?}",
            rule.number,
            rule.mark
        );
    }
}

#[test]
fn every_limit_with_a_source_stands_in_the_table_of_the_validation_page() {
    let page = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/docs/validation.md")).unwrap();
    let lacking: Vec<String> = Rules::standard()
        .rows()
        .iter()
        .filter(|r| r.mark != Mark::ProjectChoice)
        .filter(|r| {
            let row = page.lines().find(|l| l.starts_with(&format!("| `{}` ", r.id)));
            !row.is_some_and(|l| {
                l.contains(r.source) && l.contains(r.mark.words()) && l.contains(&format!("| {} ", r.number))
            })
        })
        .map(|r| format!("| `{}` | {} | {} | {} |", r.id, r.number, r.source, r.mark.words()))
        .collect();
    assert!(lacking.is_empty(), "not in docs/validation.md as they are:\n{}", lacking.join("\n"));
}

#[test]
fn gauges_are_ten_twenty_and_thirty_thousandths_of_an_inch() {
    let kinds = [ClaspKind::CastCircumferential, ClaspKind::Bar, ClaspKind::WroughtWire];
    for (kind, inch) in kinds.into_iter().zip([0.010, 0.020, 0.030]) {
        // 0.254, 0.508, 0.762 mm, nominally 0.25, 0.50, 0.75.
        assert!((kind.gauge_mm() - inch * 25.4).abs() < 0.0125, "{inch}");
    }
}

#[test]
fn depths_below_the_equator_of_spheres_and_on_leaning_walls_are_those_listed() {
    for (radius, below) in
        [(5.0, [1.561, 2.179, 2.634]), (4.0, [1.392, 1.936, 2.332]), (6.0, [1.714, 2.398, 2.905])]
    {
        for (depth, below) in [0.25, 0.50, 0.75].into_iter().zip(below) {
            let found = solids::sphere_depth_mm(radius, below).unwrap();
            assert!((found - depth).abs() < 5e-4, "R {radius}: {found} for {depth}");
        }
    }
    for (tilt, at) in [(5.0, [2.86, 5.72]), (10.0, [1.42, 2.84]), (15.0, [0.93, 1.87])] {
        for (depth, at) in [0.25, 0.50].into_iter().zip(at) {
            let found = solids::wall_depth_mm(tilt, at);
            // Listed to a hundredth of a millimetre of height.
            assert!((found - depth).abs() < 0.002, "{tilt} degrees: {found} for {depth}");
        }
    }
}

fn arm(section: Section, length_mm: f64, modulus_gpa: f64) -> Arm {
    Arm { section, taper_share: 1.0, length_mm, modulus_mpa: 1000.0 * modulus_gpa }
}

#[test]
fn pull_off_forces_grow_with_depth_as_published_and_halve_with_the_modulus() {
    // TSE: cobalt-chromium and titanium, N at 0.25, 0.50, 0.75 mm, with their standard deviations.
    let cobalt: [(f64, f64); 3] = [(2.34, 0.23), (4.65, 0.35), (7.56, 0.50)];
    let titanium: [(f64, f64); 3] = [(1.24, 0.13), (2.34, 0.23), (3.70, 0.27)];
    let rules = Rules::standard();
    let round = Section::Round { diameter_mm: 1.0 };
    let force =
        |modulus: &str, depth: f64| spread(&arm(round, 15.0, rules.number(modulus)), depth).unwrap().force_n;
    for (k, depth) in [0.25, 0.50, 0.75].into_iter().enumerate() {
        // The size of the tested arms was not seen: what is compared is how force goes with depth and with the alloy.
        let by_depth =
            force("modulus_cobalt_chromium_gpa", depth) / force("modulus_cobalt_chromium_gpa", 0.25);
        let (mean, deviation) = cobalt[k];
        let spread = deviation / cobalt[0].0 + mean * cobalt[0].1 / cobalt[0].0.powi(2);
        assert!((by_depth - mean / cobalt[0].0).abs() < spread, "{depth}: {by_depth}");
        let by_alloy = force("modulus_titanium_gpa", depth) / force("modulus_cobalt_chromium_gpa", depth);
        let published = titanium[k].0 / mean;
        assert!((by_alloy - published).abs() < 0.05, "{depth}: {by_alloy} for {published}");
    }
}

#[test]
fn a_round_arm_follows_the_published_scaling() {
    // CHEN24: force goes with the fourth power of the diameter over the third of the length.
    let stiffness =
        |d: f64, l: f64| stiffness_n_per_mm(&arm(Section::Round { diameter_mm: d }, l, 220.0)).unwrap();
    let unit = stiffness(1.0, 10.0);
    for (d, l) in [(0.8_f64, 10.0_f64), (1.2, 10.0), (1.0, 15.0), (0.9, 12.5)] {
        let scaled = unit * d * d * d * d / (l * l * l / 1000.0);
        assert!((stiffness(d, l) / scaled - 1.0).abs() < 1e-9, "{d}, {l}");
    }
}

#[test]
fn universal_numbers_are_those_that_were_seen_and_computed() {
    let pairs = [
        (11, 8),
        (21, 9),
        (12, 7),
        (22, 10),
        (26, 14),
        (25, 13),
        (28, 16),
        (18, 1),
        (38, 17),
        (31, 24),
        (41, 25),
        (48, 32),
        (36, 19),
        (46, 30),
        (33, 22),
        (43, 27),
    ];
    for (fdi, universal) in pairs {
        assert_eq!(Tooth::fdi(fdi).unwrap().universal(), universal, "{fdi}");
    }
}

#[test]
fn drawn_patients_have_spheres_and_widths_within_what_was_measured() {
    // FER: about 105 mm in men and 100 in women; IRAN: 111.5, with 121 and 104. ARCH: widths vary by about 5 %.
    let drawn: Vec<_> = (0..200).map(people::drawn).collect();
    let n = drawn.len() as f64;
    let mean = drawn.iter().map(|p| p.shape.sphere_mm).sum::<f64>() / n;
    assert!((100.0..=111.5).contains(&mean), "{mean}");
    assert!(drawn.iter().all(|p| (90.0..=121.0).contains(&p.shape.sphere_mm)));
    let width = drawn.iter().map(|p| p.shape.width).sum::<f64>() / n;
    let spread = (drawn.iter().map(|p| (p.shape.width - width).powi(2)).sum::<f64>() / n).sqrt();
    // 1.47 of 35.41, 1.59 of 26.85, 2.82 of 53.82, 2.60 of 51.71 mm: 4.2 to 5.9 %.
    assert!((width - 1.0).abs() < 0.015 && (0.035..0.06).contains(&spread), "{width}, {spread}");
}
