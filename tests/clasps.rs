//! Survey lines, clasps and guiding planes of the sample cases and of edited copies of them, as a technician runs them.

#![allow(clippy::unwrap_used)] // a test may fail loudly anywhere

mod command;

use std::fs;

use command::{Bench, is_valid, saddleroom};
use saddleroom::load;
use saddleroom::space::{Point, Vector, angle_deg};
use saddleroom::units::LengthUnit;
use serde_json::Value;

const SAMPLES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/sample-meshes");

fn truth(case: &str) -> Value {
    serde_json::from_slice(&fs::read(format!("{SAMPLES}/{case}/truth.json")).unwrap()).unwrap()
}

/// `check` on a sample case whose text was edited, in a folder of its own.
fn checked(case: &str, edit: impl Fn(String) -> String) -> Value {
    let bench = Bench::new();
    run(&bench, case, edit)
}

fn run(bench: &Bench, case: &str, edit: impl Fn(String) -> String) -> Value {
    for scan in ["mandible.stl", "maxilla.stl"] {
        if !bench.path(scan).exists() {
            fs::copy(format!("{SAMPLES}/{case}/{scan}"), bench.path(scan)).unwrap();
        }
    }
    let text = edit(fs::read_to_string(format!("{SAMPLES}/{case}/case.toml")).unwrap());
    let file = bench.text("case.toml", &text);
    let ran = saddleroom(&["check", &file, "--format", "json", "--quiet"]);
    assert!(ran.code < 2, "{}", ran.err);
    let report = ran.json();
    is_valid("report", &report);
    report
}

/// The case with one clasp instead of its own.
fn with_clasp(text: &str, clasp: &str) -> String {
    let start = text.find("clasps = [").unwrap();
    let end = start + text[start..].find("\n]").unwrap() + 2;
    format!("{}clasps = [{clasp}]{}", &text[..start], &text[end..])
}

fn abutment(report: &Value, tooth: u64) -> &Value {
    report["abutments"].as_array().unwrap().iter().find(|a| a["tooth"] == tooth).unwrap()
}

fn finding<'r>(report: &'r Value, code: &str, tooth: u64) -> Option<&'r Value> {
    report["findings"].as_array().unwrap().iter().find(|f| f["code"] == code && f["where"]["tooth"] == tooth)
}

fn points(line: &Value) -> Vec<Point> {
    let place =
        |p: &Value| Point::new(p[0].as_f64().unwrap(), p[1].as_f64().unwrap(), p[2].as_f64().unwrap());
    line.as_array().unwrap().iter().map(place).collect()
}

fn distance(line: &[Point], p: &Point) -> f64 {
    line.windows(2)
        .map(|w| {
            let ab = w[1] - w[0];
            let t = ((p - w[0]).dot(&ab) / ab.norm_squared().max(1e-18)).clamp(0.0, 1.0);
            (w[0] + ab * t - p).norm()
        })
        .fold(f64::INFINITY, f64::min)
}

#[test]
fn survey_lines_of_the_sample_cases_follow_the_true_ones_without_zigzag() {
    for case in ["oban", "lerwick"] {
        let report = checked(case, |text| text);
        for known in truth(case)["paths"][0]["abutments"].as_array().unwrap() {
            let tooth = known["tooth"].as_u64().unwrap();
            let found = abutment(&report, tooth);
            let lines: Vec<Vec<Point>> =
                found["survey_line_mm"].as_array().unwrap().iter().map(points).collect();
            let true_line = points(&known["survey_line_mm"]);
            let mut off: Vec<f64> = lines.iter().flatten().map(|p| distance(&true_line, p)).collect();
            off.sort_by(f64::total_cmp);
            // Where a wall runs along the path every height would do, so the middle one of the distances is looked at.
            assert!(off[off.len() / 2] < 0.2, "{case} {tooth}: {}", off[off.len() / 2]);
            let (mut turns, mut length) = (0.0, 0.0);
            for line in &lines {
                let steps: Vec<Vector> = line.windows(2).map(|w| w[1] - w[0]).collect();
                turns += steps.windows(2).map(|w| angle_deg(&w[0], &w[1])).sum::<f64>();
                length += steps.iter().map(Vector::norm).sum::<f64>();
            }
            // The true lines turn by 17 to 31 degrees a millimetre; along triangle sides it would be over 50.
            assert!(turns / length < 42.0, "{case} {tooth}: {}", turns / length);
            let area = |key: &str| found[key].as_f64().unwrap();
            let (supra, infra) = (area("suprabulge_mm2"), area("infrabulge_mm2"));
            let teeth = report["teeth"].as_array().unwrap();
            let crown =
                teeth.iter().find(|t| t["tooth"] == tooth).unwrap()["crown_area_mm2"].as_f64().unwrap();
            assert!(supra > 10.0 && infra > 10.0 && (supra + infra - crown).abs() < 0.01 * crown);
        }
    }
}

#[test]
fn every_gauge_place_of_the_report_lies_above_the_margin_and_says_what_it_is_worth() {
    let report = checked("oban", |text| text);
    let mut seen = 0;
    for a in report["abutments"].as_array().unwrap() {
        for g in a["surfaces"].as_array().unwrap().iter().flat_map(|s| s["gauges"].as_array().unwrap()) {
            if g["reached"] == true {
                let above = g["above_margin_mm"].as_f64().unwrap();
                assert!(above > 0.0);
                assert_eq!(g["near_margin"], above < 1.0);
                assert!(g["convergence_deg"].is_number() && g["below_survey_line_mm"].is_number());
                // The path of the case is the occlusal normal of its marks.
                let along = g["along_normal_mm"].as_f64().unwrap();
                assert!((along - g["gauge_mm"].as_f64().unwrap()).abs() < 0.001);
                assert_eq!(g["by_tilt_alone"], false);
                seen += 1;
            }
        }
    }
    assert!(seen > 15, "{seen}");
}

#[test]
fn a_bar_clasp_reads_its_sulcus_the_tissue_under_its_arm_and_what_stands_opposite() {
    let bar = "{ tooth = 35, surface = \"buccal\", kind = \"bar\" }";
    let report = checked("oban", |text| with_clasp(&text, bar));
    let clasps = abutment(&report, 35)["clasps"].as_array().unwrap();
    assert_eq!(clasps.len(), 1);
    let (clasp, arm) = (&clasps[0], &clasps[0]["approach_arm"]);
    assert_eq!((&clasp["kind"], &clasp["wants_mm"]), (&Value::from("bar"), &Value::from(0.5)));
    // The span stands distal of 35.
    assert_eq!((&arm["leaves"], &arm["from_margin_mm"]), (&Value::from("distal"), &Value::from(3.0)));
    let (sulcus, down) = (arm["sulcus_mm"].as_f64().unwrap(), arm["sulcus_vertical_mm"].as_f64().unwrap());
    assert!(sulcus > 4.0 && down > 0.5 * sulcus && down <= sulcus, "{sulcus} {down}");
    for code in ["bar_sulcus", "approach_arm_undercut", "clasp_undercut", "reciprocation"] {
        assert!(finding(&report, code, 35).is_some(), "{code}");
    }
    assert_eq!(finding(&report, "bar_sulcus", 35).unwrap()["verdict"], "fits");
    let opposite = &clasp["reciprocal"];
    assert_eq!(opposite["surface"], "lingual");
    let (held, passes) =
        (opposite["holding_travel_mm"].as_f64().unwrap(), opposite["tip_travel_mm"].as_f64().unwrap());
    assert!(held > 0.0 && passes > 1.0);
    // Natural crowns bulge, so the arm opposite is reached last.
    assert_eq!(opposite["reached"], if held - passes < -0.5 { "last" } else { "together" });
    // A limit of the case file judges: a sulcus of 15 mm is not there.
    let limits = |text: String| with_clasp(&text, bar) + "\n[limits]\nbar_sulcus_mm = 15.0\n";
    let verdict = finding(&checked("oban", limits), "bar_sulcus", 35).unwrap()["verdict"].clone();
    assert_ne!(verdict, "fits");
}

#[test]
fn a_wire_clasp_between_two_teeth_and_one_on_a_missing_tooth_are_told() {
    let wire = "{ tooth = 35, surface = \"mesial\", kind = \"wrought_wire\" }";
    let report = checked("oban", |text| with_clasp(&text, wire));
    let told = finding(&report, "clasp_beside_tooth", 35).unwrap();
    assert!(told["says"].as_str().unwrap().contains("34 stands"), "{told}");
    assert!(abutment(&report, 35)["clasps"][0]["approach_arm"].is_null());
    let bar = "{ tooth = 35, surface = \"distal\", kind = \"bar\" }";
    let report = checked("oban", |text| with_clasp(&text, bar));
    assert_eq!(finding(&report, "approach_arm", 35).unwrap()["verdict"], "not_measured");
    let bench = Bench::new();
    for scan in ["mandible.stl", "maxilla.stl"] {
        fs::copy(format!("{SAMPLES}/oban/{scan}"), bench.path(scan)).unwrap();
    }
    let text = fs::read_to_string(format!("{SAMPLES}/oban/case.toml")).unwrap();
    let lost = with_clasp(&text, "{ tooth = 36, surface = \"buccal\", kind = \"bar\" }");
    saddleroom(&["check", &bench.text("case.toml", &lost)]).refuses_with(&["36", "cannot carry a clasp"]);
}

#[test]
fn tooth_that_would_have_to_go_is_told_and_not_where_the_crown_has_a_hole() {
    let report = checked("oban", |text| text);
    let all = report["preparation"].as_array().unwrap();
    let wanted = |tooth: u64| all.iter().find(|p| p["tooth"] == tooth);
    let (first, second) = (wanted(35).unwrap(), wanted(46).unwrap());
    assert_eq!((&first["height_mm"], &second["height_mm"]), (&Value::from(1.5), &Value::from(2.0)));
    for p in [first, second] {
        let depth = p["removal_mm"].as_f64().unwrap();
        assert!(depth > 0.0 && depth < 1.0, "{p}");
        assert!(p["gains"].as_str().unwrap().contains("enamel thickness is not on the scan"));
        let volume = p["volume_mm3"].as_f64().unwrap();
        let box_mm3 = depth * p["height_mm"].as_f64().unwrap() * p["width_mm"].as_f64().unwrap();
        assert!(volume > 0.0 && volume < box_mm3, "{volume} of {box_mm3}");
    }
    // 44 has a plane of its own.
    assert!(wanted(44).is_none());
    // A hole of 2 mm where most would go.
    let bench = Bench::new();
    let bytes = fs::read(format!("{SAMPLES}/oban/mandible.stl")).unwrap();
    let mesh = load::read(&bytes, LengthUnit::Mm).unwrap().mesh;
    let at = first["at_mm"].as_array().unwrap();
    let at = Point::new(at[0].as_f64().unwrap(), at[1].as_f64().unwrap(), at[2].as_f64().unwrap());
    let (holed, _) = mesh.part(|f| (mesh.face_centre(f) - at).norm() > 1.0);
    bench.put("mandible.stl", &holed);
    let report = run(&bench, "oban", |text| text);
    assert!(report["preparation"].as_array().unwrap().iter().all(|p| p["tooth"] != 35));
    let says = finding(&report, "guiding_plane", 35).unwrap()["says"].as_str().unwrap();
    assert!(says.contains("not scanned throughout"), "{says}");
}
