//! The sample case, end to end.

#![allow(clippy::unwrap_used)] // a test may fail loudly anywhere

mod command;

use std::fs;
use std::path::Path;

use command::{Bench, is_valid, moved, ply_properties, saddleroom};
use saddleroom::load;
use saddleroom::units::LengthUnit;
use serde_json::Value;

const SAMPLE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/sample-meshes/oban");

/// `check` on the sample case, once for all tests that read its results.
fn oban() -> &'static (Bench, i32) {
    static DONE: std::sync::OnceLock<(Bench, i32)> = std::sync::OnceLock::new();
    DONE.get_or_init(|| {
        let bench = Bench::new();
        let case = format!("{SAMPLE}/case.toml");
        let ran = saddleroom(&["check", &case, "--out", &bench.name("out"), "--format", "json"]);
        let kept = fs::read_to_string(bench.path("out/report.json")).unwrap();
        assert_eq!(kept, ran.out, "the file and standard output must be the same");
        (bench, ran.code)
    })
}

#[test]
fn the_demo_case_gives_a_report_with_every_key_of_the_contract() {
    let json: Value = serde_json::from_slice(&fs::read(oban().0.path("out/report.json")).unwrap()).unwrap();
    is_valid("report", &json);
    assert_eq!(oban().1, 0, "the room of the demo case is ample");
    for key in [
        "schema",
        "tool",
        "case",
        "inputs",
        "frame",
        "articulation",
        "chart",
        "teeth",
        "path",
        "abutments",
        "spans",
        "tori",
        "connectors",
        "preparation",
        "questions",
        "findings",
        "cautions",
    ] {
        assert!(!json[key].is_null(), "{key}");
    }
    assert_eq!(json["schema"], "saddleroom/report/1");
    assert_eq!(json["chart"]["kennedy"], serde_json::json!({ "class": "II", "modifications": 1 }));
    assert_eq!(json["path"]["withdrawal"], serde_json::json!([0.0, 0.0, 1.0]));
    let stations =
        json["spans"].as_array().unwrap().iter().flat_map(|s| s["profile"].as_array().unwrap().windows(2));
    for pair in stations {
        let step = pair[1]["s_mm"].as_f64().unwrap() - pair[0]["s_mm"].as_f64().unwrap();
        assert!(step > 0.0 && step <= 0.5 + 1e-6, "{step}");
    }
}

#[test]
fn the_demo_case_writes_its_layers_and_a_page_that_needs_nothing_else() {
    let bench = &oban().0;
    let layers: [(&str, &[&str]); 3] = [
        ("survey.ply", &["float undercut_mm"]),
        ("clearance.ply", &["float nearest_mm", "float along_mm"]),
        ("anatomy.ply", &["int tooth", "uchar region"]),
    ];
    for (name, values) in layers {
        let properties = ply_properties(&bench.path("out").join(name));
        assert_eq!(
            properties[6..6 + values.len()],
            values.iter().map(|v| (*v).to_owned()).collect::<Vec<_>>()
        );
    }
    assert!(bench.path("out/keepout.ply").exists());
    let page = fs::read_to_string(bench.path("out/report.html")).unwrap();
    assert!(
        page.contains("data:image/png;base64,") && page.contains("<svg") && page.contains("Kennedy class II")
    );
    // The script that draws the cast stands in the page; what it asks for is watched in the browser check.
    assert!(page.contains("<script") && !page.contains("<script src") && !page.contains("<link"));
    let mut read = String::new();
    for (k, part) in page.split("<script").enumerate() {
        read.push_str(if k == 0 { part } else { part.split_once("</script>").expect("a script ends").1 });
    }
    let addresses = read.matches("://").count();
    assert_eq!(
        addresses,
        read.matches("http://www.w3.org/2000/svg").count(),
        "the name of SVG is the only address"
    );
    for entry in fs::read_dir(bench.path("out")).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|e| e == "png") {
            assert!(fs::read(&path).unwrap().starts_with(b"\x89PNG\r\n\x1a\n"), "{}", path.display());
        }
    }
}

#[test]
fn a_demo_case_is_the_sample_case() {
    let bench = Bench::new();
    let folder = bench.name("demo");
    let json = saddleroom(&["demo", &folder, "--format", "json"]).ends(0).json();
    let files: Vec<&str> = json["files"].as_array().unwrap().iter().map(|f| f.as_str().unwrap()).collect();
    assert!(files.contains(&"case.toml") && files.contains(&"mandible.stl"), "{files:?}");
    for name in &files {
        let kept = Path::new(SAMPLE).join(name);
        assert_eq!(fs::read(bench.path("demo").join(name)).unwrap(), fs::read(kept).unwrap(), "{name}");
    }
    saddleroom(&["demo", &folder, "--case", "nowhere"]).refuses_with(&["nowhere", "oban"]);
}

/// The sample case with its maxilla raised, and with a text of its case file replaced.
fn changed(raised_mm: f64, text: (&str, &str)) -> (Bench, String) {
    let bench = Bench::new();
    let read = |name: &str| fs::read(Path::new(SAMPLE).join(name)).unwrap();
    fs::write(bench.path("mandible.stl"), read("mandible.stl")).unwrap();
    let maxilla = load::read(&read("maxilla.stl"), LengthUnit::Mm).unwrap().mesh;
    bench.put("maxilla.stl", &moved(&maxilla, [0.0, 0.0, raised_mm]));
    let case = String::from_utf8(read("case.toml")).unwrap();
    assert!(case.contains(text.0));
    let case = bench.text("case.toml", &case.replacen(text.0, text.1, 1));
    (bench, case)
}

fn verdicts_of(report: &Value, check: &str) -> Vec<String> {
    let findings = report["findings"].as_array().unwrap().iter().filter(|f| f["check"] == check);
    findings.map(|f| f["verdict"].as_str().unwrap().to_owned()).collect()
}

#[test]
fn the_rest_seats_of_the_demo_case_are_found_with_depth_and_place() {
    let json: Value = serde_json::from_slice(&fs::read(oban().0.path("out/report.json")).unwrap()).unwrap();
    let truth: Value =
        serde_json::from_slice(&fs::read(Path::new(SAMPLE).join("truth.json")).unwrap()).unwrap();
    let place =
        |v: &Value| -> Vec<f64> { v.as_array().unwrap().iter().map(|x| x.as_f64().unwrap()).collect() };
    let seats = truth["rest_seats"].as_array().unwrap();
    assert_eq!(seats.len(), 3);
    for seat in seats {
        let rests = json["abutments"].as_array().unwrap().iter().filter(|a| a["tooth"] == seat["tooth"]);
        let found =
            rests.flat_map(|a| a["rests"].as_array().unwrap()).find(|r| r["place"] == seat["place"]).unwrap();
        assert_eq!((&found["prepared"], &found["named"]), (&"prepared".into(), &true.into()), "{found}");
        assert!(found["confidence"].as_f64().unwrap() >= 0.7);
        let number = |v: &Value| v.as_f64().unwrap();
        let (depth, known) = (number(&found["depth_mm"]), number(&seat["ridge"]["depth_mm"]));
        let most = 2.0 * number(&found["depth_uncertainty_mm"]);
        assert!((depth - known).abs() <= most, "{}: {depth}, {known} known", seat["tooth"]);
        let (at, floor) = (place(&found["at_mm"]), place(&seat["ridge"]["floor_mm"]));
        let off = at.iter().zip(&floor).map(|(a, b)| (a - b) * (a - b)).sum::<f64>().sqrt();
        assert!(off < 1.0, "{}: {off} mm off", seat["tooth"]);
        let (room, known) = (number(&found["room_mm"]), number(&seat["ridge"]["room_mm"]));
        assert!((room - known).abs() < 0.6, "{}: {room}, {known} known", seat["tooth"]);
    }
    // No other place is called a seat, and none of these lacks depth.
    let all = json["abutments"].as_array().unwrap().iter().flat_map(|a| a["rests"].as_array().unwrap());
    assert_eq!(all.filter(|r| r["prepared"] == "prepared").count(), 3);
}

#[test]
fn a_rest_whose_antagonist_is_missing_has_no_room_and_one_on_an_untouched_tooth_lacks_its_depth() {
    let rests =
        "rests = [\n    { tooth = 34, place = \"distal\" },\n    { tooth = 33, place = \"cingulum\" },\n";
    let (_bench, case) = changed(0.0, ("rests = [\n", rests));
    let text = fs::read_to_string(&case).unwrap();
    fs::write(&case, text.replacen("missing = [36, 37, 45]", "missing = [36, 37, 45, 24, 25]", 1)).unwrap();
    let json = saddleroom(&["check", &case, "--format", "json"]).ends(1).json();
    let findings = json["findings"].as_array().unwrap();
    let of = |check: &str, tooth: u8| -> Vec<&Value> {
        findings.iter().filter(|f| f["check"] == check && f["where"]["tooth"] == tooth).collect()
    };
    let room = of("rests", 35);
    assert!(room.iter().any(|f| {
        f["verdict"] == "not_measured"
            && f["says"].as_str().unwrap().contains("antagonist is missing (25, 24)")
    }));
    assert!(of("seats", 34).iter().any(|f| f["code"] == "no_seat" && f["verdict"] == "caution"));
    let preparation = json["preparation"].as_array().unwrap();
    let lacking = |tooth: u8, place: &str| {
        let mut all = preparation.iter().filter(|p| p["tooth"] == tooth);
        all.find(|p| p["place"] == place).map(|p| p["removal_mm"].as_f64().unwrap())
    };
    // 1.0 mm are taught at a marginal ridge, 1.5 mm on a cingulum.
    assert_eq!(lacking(34, "distal rest seat"), Some(1.0));
    assert_eq!(lacking(33, "cingulum rest seat"), Some(1.5));
    let rest = json["abutments"].as_array().unwrap().iter().find(|a| a["tooth"] == 34).unwrap();
    assert_eq!(rest["rests"][0]["prepared"], "ordinary_fossa");
    assert!(rest["rests"][0]["depth_mm"].is_null());
}

#[test]
fn arches_far_apart_or_deep_in_each_other_leave_the_room_unmeasured() {
    for (raised_mm, state) in [(40.0, "apart"), (-5.0, "overlapping")] {
        let (_bench, case) = changed(raised_mm, ("id = ", "id = "));
        let json = saddleroom(&["check", &case, "--format", "json"]).ends(1).json();
        assert_eq!(json["articulation"]["state"], state);
        assert!(verdicts_of(&json, "room").contains(&"not_measured".to_owned()), "{raised_mm}");
        assert!(!verdicts_of(&json, "room").contains(&"fits".to_owned()), "{raised_mm}");
    }
}

#[test]
fn the_same_scan_for_both_arches_is_named_and_its_room_not_judged() {
    let (_bench, case) = changed(0.0, ("maxilla = \"maxilla.stl\"", "maxilla = \"mandible.stl\""));
    let json = saddleroom(&["check", &case, "--format", "json"]).ends(1).json();
    let named = json["findings"].as_array().unwrap().iter().any(|f| f["code"] == "same_file_twice");
    assert_eq!(json["articulation"]["state"], "unknown");
    assert!(named && !verdicts_of(&json, "room").contains(&"fits".to_owned()));
}

#[test]
fn an_abutment_that_is_missing_in_the_chart_is_refused_with_its_line() {
    let (_bench, case) = changed(0.0, ("abutments = [35", "abutments = [36"));
    saddleroom(&["check", &case]).refuses_with(&["line", "36", "help:"]);
}

#[test]
fn one_arch_alone_is_worked_through_as_far_as_it_goes() {
    let (_bench, case) = changed(0.0, ("maxilla = \"maxilla.stl\"", ""));
    let json = saddleroom(&["check", &case, "--format", "json"]).ends(1).json();
    is_valid("report", &json);
    assert_eq!(json["articulation"]["state"], "unknown");
    assert_eq!(json["inputs"].as_array().unwrap().len(), 1);
}
