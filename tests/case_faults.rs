//! Case files that are wrong: each fault is told once, in the order of the file, with line, key and the mend.

#![allow(clippy::unwrap_used)] // a test that cannot read its own files has failed

use std::collections::BTreeSet;

use saddleroom::case::file::{Problem, parse};

const LIMITS: &[&str] = &["attachment_room_mm", "relief_mm"];

/// A problem that is expected: line, key, and a part of what is said or of the mend.
type Expected = (usize, &'static str, &'static str);

#[rustfmt::skip]
const TABLE: &[(&str, &[Expected])] = &[
    ("full", &[]),
    ("empty", &[
        (1, "restored_arch", "is not given"),
        (1, "scans", "no scans"),
    ]),
    ("not_toml", &[(3, "", "not TOML: unclosed array")]),
    ("key_twice", &[(4, "", "duplicate key")]),
    ("unknown_keys", &[
        (1, "restored_arch", "not given"),
        (1, "restored_arc", "did you mean `restored_arch`?"),
        (2, "missing", "belongs under [chart]"),
        (6, "scans.maxila", "did you mean `maxilla`?"),
        (9, "chart.mising", "did you mean `missing`?"),
        (11, "colour", "unknown key"),
    ]),
    ("wrong_types", &[
        (1, "id", "must be text, but is a number"),
        (2, "restored_arch", "mandible, maxilla"),
        (5, "scans.mandible", "must be text, but is a list"),
        (6, "scans.unit", "um, mm, cm, m, inch"),
        (9, "chart.missing", "must be a list, but is a number"),
        (12, "attachment.height_mm", "without a unit"),
        (13, "attachment.length_mm", "but is true or false"),
        (14, "attachment.width_mm", "finite"),
        (18, "path.withdrawal", "three numbers x, y, z, but holds 2"),
        (21, "marks.occlusal_plane[2]", "must be a list, but is text"),
    ]),
    ("no_scan_of_the_restored_arch", &[
        (3, "scans.mandible", "its scan is not given"),
        (5, "scans.mandible_labels", "no scan of it"),
    ]),
    ("support_that_cannot_be", &[
        (7, "support.loads[0].force_n", "greater than 0 and at most 4000.0 N"),
        (8, "support.loads[1].tooth", "35 stands, so the denture is not loaded there"),
        (9, "support.loads[2].force_n", "greater than 0"),
        (9, "support.loads[2].direction", "has no length"),
        (10, "support.loads[3]", "`tooth` is missing"),
        (12, "support.mobility.35", "grade from 0 to 3"),
        (12, "support.mobility.36", "36 is missing in the chart"),
        (13, "support.crown_root_ratio.34", "between 0.10 and 5.00"),
        (14, "support.opposite", "natural_teeth, partial_denture"),
    ]),
    ("no_scans", &[(1, "scans", "no scans are given")]),
    ("empty_names", &[(1, "id", "empty"), (3, "scans.maxilla", "empty")]),
    ("id_with_a_path", &[(1, "id", "path separator")]),
    ("abutment_that_is_missing", &[
        (9, "design.abutments[0]", "34 is to be extracted in the chart, so it cannot be an abutment"),
        (9, "design.abutments[1]", "36 is missing in the chart, so it cannot be an abutment"),
        (10, "design.rests[0].tooth", "37 is missing in the chart, so it cannot carry a rest"),
        (11, "design.clasps[0].tooth", "45 is missing in the chart, so it cannot carry a clasp"),
    ]),
    ("teeth_that_cannot_be", &[
        (5, "chart.missing[0]", "write 36"),
        (5, "chart.missing[1]", "deciduous"),
        (5, "chart.missing[2]", "deciduous"),
        (5, "chart.missing[4]", "named twice"),
        (5, "chart.missing[5]", "0 is no tooth in FDI"),
        (5, "chart.missing[6]", "-36 is no tooth in FDI"),
        (8, "design.abutments[0]", "16 stands in the maxilla"),
        (8, "design.abutments[2]", "named twice"),
        (9, "design.rests[0].tooth", "must be a tooth"),
        (9, "design.rests[1].place", "34 is a premolar"),
        (9, "design.rests[3]", "given twice"),
    ]),
    ("fdi_numbers_in_a_universal_chart", &[
        (6, "chart.missing[0]", "write 19"),
        (9, "probe.lingual_depth_mm.35", "Universal numbers run from 1 to 32"),
        (12, "marks.teeth.12", "12 stands in the maxilla"),
    ]),
    ("chart_of_the_other_arch", &[(5, "chart.missing", "teeth of the maxilla alone")]),
    ("lists_that_disagree", &[
        (6, "chart.replaced[0]", "both replaced and not_replaced"),
        (6, "chart.replaced[1]", "46 is named under replaced, but it is not missing"),
        (6, "chart.replaced[2]", "its gap has closed"),
        (6, "chart.replaced[2]", "a pontic stands there already"),
        (7, "chart.not_replaced[1]", "44 is named under not_replaced, but it is not missing"),
        (8, "chart.extractions[0]", "cannot be extracted, because it is missing"),
        (10, "chart.pontics[0]", "its gap has closed"),
        (11, "chart.implants[0]", "both a pontic and an implant crown"),
    ]),
    ("chart_without_missing", &[(4, "chart", "add missing = [..]")]),
    ("path_twice", &[(6, "path.tilt_deg", "given twice")]),
    ("path_without_length", &[(5, "path.withdrawal", "no length")]),
    ("tilt_too_steep", &[
        (5, "path.tilt_deg.anterior", "more than 80.0°"),
        (5, "path.tilt_deg.left", "more than 80.0°"),
    ]),
    ("attachment_sizes", &[
        (4, "attachment", "`tooth_mm` is missing"),
        (5, "attachment.height_mm", "must be greater than 0"),
        (6, "attachment.length_mm", "must be greater than 0"),
        (7, "attachment.width_mm", "another unit"),
        (8, "attachment.relief_mm", "negative"),
    ]),
    ("accuracy_absurd", &[
        (5, "accuracy.scan_mm", "between 0 and 5.00 mm"),
        (6, "accuracy.articulation_mm", "between 0 and 5.00 mm"),
    ]),
    ("too_few_points", &[
        (5, "marks.occlusal_plane", "lie in one line"),
        (6, "marks.midline", "one point, but holds 2"),
        (7, "marks.crests[0]", "at least 2 points, but has 1"),
        (8, "marks.margins.35", "at least 3 points, but has 2"),
        (8, "marks.margins.35x", "`35x` is no tooth"),
        (9, "marks.tori[0]", "at least 3 points, but has 2"),
    ]),
    ("marks_on_missing_teeth", &[
        (9, "marks.teeth.36", "36 is missing in the chart"),
        (9, "marks.teeth.16", "16 stands in the maxilla"),
        (10, "marks.margins.36", "36 is missing in the chart"),
        (13, "probe.lingual_depth_mm.36", "no gingival margin"),
        (13, "probe.lingual_depth_mm.35", "greater than 0"),
        (13, "probe.lingual_depth_mm.34", "34 is to be extracted"),
        (13, "probe.lingual_depth_mm.33", "another unit"),
    ]),
    ("probe_in_a_maxilla", &[(3, "probe.lingual_depth_mm", "belongs to a mandible")]),
    ("notation_unknown", &[
        (2, "scans.unit", "did you mean \"cm\"?"),
        (5, "chart.notation", "fdi, universal, palmer"),
    ]),
    ("mark_too_far", &[
        (4, "marks.midline", "so far from its origin"),
        (5, "marks.crests[0][1]", "so far from its origin"),
        (6, "marks.attachment_at[0]", "so far from its origin"),
        (7, "marks.clasp_tips.35", "so far from its origin"),
        (7, "marks.clasp_tips.15", "15 stands in the maxilla"),
    ]),
    ("limits_unknown", &[
        (5, "limits.atachment_room_mm", "did you mean `attachment_room_mm`?"),
        (6, "limits.torque_nm", "The limits are: attachment_room_mm, relief_mm"),
        (7, "limits.relief_mm", "must be a number, but is text"),
    ]),
];

fn folder() -> std::path::PathBuf {
    std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/faults/cases")
}

fn text(name: &str) -> String {
    std::fs::read_to_string(folder().join(format!("{name}.toml"))).unwrap()
}

fn found(name: &str) -> Vec<Problem> {
    parse(&text(name), LIMITS).map_or_else(|p| p.0, |_| Vec::new())
}

#[test]
fn each_fault_is_told_once_with_line_and_key() {
    let mut wrong = Vec::new();
    for (name, expected) in TABLE {
        let problems = found(name);
        let told = problems.len() == expected.len()
            && problems.iter().zip(*expected).all(|(p, (line, key, part))| {
                p.line == *line && p.key == *key && format!("{}; {}", p.says, p.mend).contains(part)
            });
        if !told {
            let list: Vec<String> = problems
                .iter()
                .map(|p| format!("  ({}, {:?}, {:?}; {:?})", p.line, p.key, p.says, p.mend))
                .collect();
            wrong.push(format!("{name}:\n{}", list.join("\n")));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn every_file_of_the_corpus_is_in_the_table() {
    let files: BTreeSet<String> = std::fs::read_dir(folder())
        .unwrap()
        .map(|entry| entry.unwrap().path().file_stem().unwrap().to_string_lossy().into_owned())
        .collect();
    let table: BTreeSet<String> = TABLE.iter().map(|(name, _)| (*name).to_owned()).collect();
    assert_eq!(files, table);
}

#[test]
fn every_problem_points_into_the_file_and_offers_a_mend() {
    for (name, _) in TABLE {
        let text = text(name);
        let mut last = 0;
        for problem in found(name) {
            assert!(!problem.says.is_empty() && !problem.mend.is_empty(), "{name}: {problem:?}");
            assert!(problem.line >= last, "{name}: not in the order of the file");
            last = problem.line;
            if let Some(span) = &problem.span {
                assert!(text.get(span.clone()).is_some(), "{name}: {problem:?}");
                assert_eq!(text[..span.start].matches('\n').count() + 1, problem.line, "{name}: {problem:?}");
            }
        }
    }
}
