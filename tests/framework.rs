//! `framework` on a framework of the generator, lying on its sample case: sound, then moved, cut open, with a loose piece, sunk,
//! in another unit, on another case. The truth was written by the generator beside it (`examples/make_frameworks.rs`).
#![allow(clippy::unwrap_used, clippy::panic)] // a test may fail loudly anywhere

mod command;

use std::path::Path;

use command::{Bench, is_valid, ply_properties, saddleroom};
use saddleroom::load;
use saddleroom::mesh::Mesh;
use saddleroom::space::{Motion, Point, Vector, cos, sin};
use saddleroom::units::LengthUnit;
use serde_json::Value;

const SAMPLES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/sample-meshes");

fn sample() -> Mesh {
    let bytes = std::fs::read(Path::new(SAMPLES).join("frameworks/oban.stl")).unwrap();
    load::read(&bytes, LengthUnit::Mm).unwrap().mesh
}

fn truth() -> Value {
    let text = std::fs::read_to_string(Path::new(SAMPLES).join("frameworks/oban-truth.json")).unwrap();
    serde_json::from_str(&text).unwrap()
}

/// Runs the program on a framework against a sample case.
fn checked(bench: &Bench, case: &str, mesh: &Mesh) -> (i32, Value) {
    let frame = bench.put("frame.stl", mesh);
    let case = format!("{SAMPLES}/{case}/case.toml");
    let out = bench.name("out");
    let ran = saddleroom(&["framework", &case, &frame, "--quiet", "--format", "json", "--out", &out]);
    assert!(ran.code < 2, "{}", ran.err);
    let json = ran.json();
    is_valid("framework", &json);
    (ran.code, json)
}

fn list<'j>(json: &'j Value, key: &str) -> &'j Vec<Value> {
    json.get(key).and_then(Value::as_array).unwrap_or_else(|| panic!("no {key} in {json:#}"))
}

fn with_verdict(json: &Value, verdicts: &[&str]) -> Vec<String> {
    let all = list(json, "findings").iter();
    let wanted = all.filter(|f| f["verdict"].as_str().is_some_and(|v| verdicts.contains(&v)));
    wanted.map(|f| f["code"].as_str().unwrap().to_owned()).collect()
}

fn said<'j>(json: &'j Value, code: &str) -> &'j Value {
    list(json, "findings")
        .iter()
        .find(|f| f["code"] == code)
        .unwrap_or_else(|| panic!("{code} is not in {json:#}"))
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

/// The parts of a kind that the program found, and those that the generator made, each with its tooth.
fn parts<'j>(json: &'j Value, kind: &str) -> Vec<&'j Value> {
    list(json, "parts").iter().filter(|p| p["kind"] == kind).collect()
}

#[test]
fn a_sound_framework_is_found_sound_and_measured_as_it_was_made() {
    let bench = Bench::new();
    let (_, json) = checked(&bench, "oban", &sample());
    assert_eq!(json["schema"], "saddleroom/framework/1");
    assert!(number(&json["laid"]["residual_mm"]) < 0.06);
    assert_eq!(with_verdict(&json, &["short", "exceeds", "not_measured"]), Vec::<String>::new());
    let truth = truth();
    let made = |kind: &str, tooth: u64| {
        let is = |p: &&Value| p["kind"] == kind && p["tooth"] == tooth;
        list(&truth, "parts").iter().find(is).unwrap_or_else(|| panic!("no {kind} on {tooth} was made"))
    };
    let asked =
        |kind: &str| parts(&json, kind).into_iter().filter(|p| p["asked_for"] == true).collect::<Vec<_>>();
    let rests = asked("rest");
    assert_eq!(rests.len(), 3);
    for rest in rests {
        let truth = made("rest", rest["teeth"][0].as_u64().unwrap());
        let off = number(&rest["gap_mm"]) - number(&truth["seat_gap_mm"]);
        assert!(off.abs() < 0.03, "gap {rest:#} for {truth:#}");
        let off = number(&rest["thickness_mm"]) - number(&truth["ridge_thickness_mm"]);
        // That on 35, which leaves between two teeth, is read 0.12 mm too thick: docs/method/framework.md.
        let within = if rest["teeth"][0] == 35 { 0.13 } else { 0.03 };
        assert!(off.abs() < within, "thickness {rest:#} for {truth:#}");
    }
    let arms = asked("clasp_arm");
    assert_eq!(arms.len(), 2);
    for arm in arms {
        let truth = made("clasp_arm", arm["teeth"][0].as_u64().unwrap());
        let off = number(&arm["tip_depth_mm"]) - number(&truth["depth_mm"]);
        assert!(off.abs() < 0.03, "depth {arm:#} for {truth:#}");
        let off = number(&arm["tip_thickness_mm"]) - number(&truth["tip_thickness_mm"]);
        assert!(off.abs() < 0.04, "tip {arm:#} for {truth:#}");
        let off = number(&arm["length_mm"]) - number(&truth["length_mm"]);
        assert!(off.abs() < 0.03, "length {arm:#} for {truth:#}");
    }
    let (bar, truth) = (asked("bar"), list(&truth, "parts").iter().find(|p| p["kind"] == "bar").unwrap());
    for (key, made) in [("thickness_mm", "least_thickness_mm"), ("height_mm", "least_width_mm")] {
        assert!((number(&bar[0][key]) - number(&truth[made])).abs() < 0.03, "{key} {bar:?} for {truth:#}");
    }
    let base = asked("base").into_iter().find(|b| b["teeth"][0] == 36).unwrap();
    assert!((number(&base["gap_mm"]) - 0.8).abs() < 0.03, "relief over the ridge {base:#}");
    assert!(number(&base["stop_gap_mm"]) < 0.03, "the stop touches {base:#}");
    let file = &json["file"];
    assert_eq!((&file["watertight"], &file["bodies"], &file["struts"]), (&true.into(), &1.into(), &0.into()));
    let volume = sample().signed_volume_mm3();
    assert!((number(&file["volume_mm3"]) - volume).abs() < 1e-3);
    assert!((number(&file["mass_g"]) - 8.3 * volume / 1000.0).abs() < 1e-3);
    let seating = &json["seating"];
    let rigid = list(seating, "strikes").iter().filter(|s| s["flexing"] == false);
    assert!(rigid.clone().all(|s| number(&s["by_mm"]) < 0.1), "{seating:#}");
    // Each asked arm has to pass its bulge by what its tip engages.
    let spread =
        list(seating, "strikes").iter().filter(|s| s["flexing"] == true && number(&s["by_mm"]) > 0.2);
    assert!(spread.count() >= 2, "{seating:#}");
    let names: Vec<String> = ply_properties(&bench.path("out/framework.ply"));
    assert!(
        names.iter().any(|n| n == "float distance_mm") && names.iter().any(|n| n == "float thickness_mm"),
        "{names:?}"
    );
}

#[test]
fn a_framework_in_other_axes_is_brought_onto_the_cast_and_said_so() {
    let bench = Bench::new();
    let motion = Motion::translation(40.0, -65.0, 12.0) * Motion::rotation(Vector::new(1.9, -0.6, 1.1));
    let (_, json) = checked(&bench, "oban", &sample().moved(&motion));
    let moved = said(&json, "framework_moved");
    let text = moved["says"].as_str().unwrap();
    assert!(text.contains("has other axes than the cast") && text.contains("in the uncertainty"), "{text}");
    assert!(number(&moved["value"]["number"]) < 0.06, "{moved:#}");
    let bytes = std::fs::read(bench.path("out/framework.ply")).unwrap();
    let found = load::read(&bytes, LengthUnit::Mm).unwrap().mesh;
    let place = saddleroom::locate::Surface::new(&sample());
    // What touches was made with a gap of 0.04 to 0.05 mm, which a position found by contact does not know.
    let off = |p: &Point| place.closest(p).unwrap().distance_mm;
    let worst = found.vertices().iter().map(off).fold(0.0, f64::max);
    assert!(worst < 0.1, "it lies {worst} mm off at the most");
    let made = truth();
    let rest =
        parts(&json, "rest").into_iter().find(|r| r["asked_for"] == true && r["teeth"][0] != 35).unwrap();
    let is = |p: &&Value| p["kind"] == "rest" && p["tooth"] == rest["teeth"][0];
    let made = list(&made, "parts").iter().find(is).unwrap();
    assert!((number(&rest["thickness_mm"]) - number(&made["ridge_thickness_mm"])).abs() < 0.1, "{rest:#}");
}

#[test]
fn a_framework_in_the_scans_axes_but_beside_its_place_is_refused_with_what_to_do() {
    let bench = Bench::new();
    let off = Motion::new(Vector::new(1.2, -0.8, 1.0), Vector::new(0.02, -0.015, 0.03));
    let (code, json) = checked(&bench, "oban", &sample().moved(&off));
    let refused = said(&json, "framework_not_in_place");
    assert_eq!((code, &refused["verdict"]), (1, &"not_measured".into()));
    assert!(refused["settled_by"].as_str().unwrap().contains("axes of the scan"), "{refused:#}");
    assert!(json["laid"].is_null() && list(&json, "parts").is_empty(), "no figure without a position");
}

#[test]
fn a_framework_sunk_into_the_cast_strikes_by_what_it_is_sunk_or_is_refused() {
    let bench = Bench::new();
    let (code, json) = checked(&bench, "oban", &sample().moved(&Motion::translation(0.0, 0.0, -0.2)));
    assert_eq!(code, 1);
    if json["laid"].is_null() {
        said(&json, "framework_not_in_place");
    } else {
        let strike = said(&json, "framework_strikes");
        assert_eq!(strike["verdict"], "exceeds");
        assert!((number(&strike["value"]["number"]) - 0.2).abs() < 0.1, "{strike:#}");
    }
}

#[test]
fn what_is_wrong_with_the_file_is_named_with_its_place() {
    let bench = Bench::new();
    let whole = sample();
    let (near, far) = (Point::new(-25.0, -30.0, -9.0), 1.5);
    let open = whole.part(|f| (whole.face_centre(f) - near).norm() > far).0;
    let loose = open_ball(Point::new(0.0, -20.0, -2.0));
    let (code, json) = checked(&bench, "oban", &Mesh::together([&open, &loose]));
    assert_eq!((code, &json["file"]["watertight"]), (1, &false.into()));
    assert!(json["file"]["volume_mm3"].is_null(), "an open surface has no volume");
    let at = &said(&json, "framework_open")["where"]["at_mm"];
    let off: f64 = (0..3).map(|k| (number(&at[k]) - near[k]).powi(2)).sum::<f64>().sqrt();
    assert!(off < 2.0, "the hole is at {at}");
    let at = &said(&json, "framework_afloat")["where"]["at_mm"];
    assert!((number(&at[1]) + 20.0).abs() < 1.0, "the loose piece is at {at}");
}

#[test]
fn motion_play_edges_and_volume_are_findings_with_place_and_figure() {
    let bench = Bench::new();
    let (_, json) = checked(&bench, "oban", &sample());
    let motion = said(&json, "opposing_in_excursion");
    assert_eq!(motion["limit"]["id"], "frame_opposing_mm");
    let least = parts(&json, "rest")
        .into_iter()
        .chain(parts(&json, "bar"))
        .filter_map(|p| Some((p["opposing_mm"].as_f64()?, p["opposing_moving_mm"].as_f64()?)))
        .inspect(|(still, moving)| assert!(moving <= still, "motion takes nothing away from occlusion"))
        .fold(f64::INFINITY, |least, (_, moving)| least.min(moving));
    assert!((number(&motion["value"]["number"]) - least).abs() < 1e-9, "{motion:#}");
    assert!(motion["where"]["at_mm"].is_array());
    let play = json["seating"]["play_deg"].as_array().unwrap().iter().flat_map(|a| a.as_array().unwrap());
    let most = play.map(number).fold(0.0, f64::max);
    assert!((number(&said(&json, "seating_play")["value"]["number"]) - most).abs() < 1e-6);
    let edges = said(&json, "inner_edges");
    assert!((number(&edges["value"]["number"]) - number(&json["file"]["blunt_inner_edges_mm"])).abs() < 1e-6);
    let at = &edges["where"]["at_mm"];
    let at = Point::new(number(&at[0]), number(&at[1]), number(&at[2]));
    assert!(saddleroom::locate::Surface::new(&sample()).closest(&at).unwrap().distance_mm < 1e-3);
    let volume = number(&said(&json, "framework_volume")["value"]["number"]);
    assert!((volume - sample().signed_volume_mm3()).abs() < 1e-3);
    for code in ["arm_spreads", "framework_path", "arm_course"] {
        assert!(said(&json, code)["value"].is_object(), "{code} has a figure");
    }
    assert_eq!(said(&json, "framework_path")["limit"]["id"], "frame_strike_mm");
}

#[test]
fn supports_that_pierce_the_metal_are_named_and_leave_its_wall_as_it_is() {
    let bench = Bench::new();
    let wall = number(&said(&checked(&bench, "oban", &sample()).1, "thinnest_wall")["value"]["number"]);
    // Rods of 0.8 mm from 0.35 mm inside the metal's upper side up, each closed in itself.
    let mesh = sample();
    let upper: Vec<u32> = (0..mesh.faces().len() as u32)
        .filter(|&f| mesh.face_normal(f).is_some_and(|n| n.z > 0.95) && mesh.face_centre(f).z > -13.0)
        .collect();
    let rods: Vec<Mesh> =
        (1..5).map(|k| rod(mesh.face_centre(upper[k * upper.len() / 5]), 0.4, 14.0)).collect();
    let all: Vec<&Mesh> = std::iter::once(&mesh).chain(&rods).collect();
    let (code, json) = checked(&bench, "oban", &Mesh::together(all));
    assert_eq!((code, &said(&json, "framework_struts")["verdict"]), (1, &"exceeds".into()));
    assert_eq!((&json["file"]["struts"], &json["file"]["bodies"]), (&4.into(), &5.into()));
    assert!((number(&said(&json, "thinnest_wall")["value"]["number"]) - wall).abs() < 0.01);
}

/// A six-sided rod from 0.35 mm below a place up, mm.
fn rod(at: Point, radius: f64, long: f64) -> Mesh {
    let ring = |z: f64| {
        (0..6).map(move |k| {
            let a = f64::from(k) * std::f64::consts::FRAC_PI_3;
            at + Vector::new(radius * cos(a), radius * sin(a), z)
        })
    };
    let mut vertices: Vec<Point> = ring(-0.35).chain(ring(long)).collect();
    vertices.extend([at - Vector::z() * 0.35, at + Vector::z() * long]);
    let side = |k: u32| {
        let n = (k + 1) % 6;
        [[k, n, n + 6], [k, n + 6, k + 6], [12, n, k], [13, k + 6, n + 6]]
    };
    Mesh::new(vertices, (0..6).flat_map(side).collect()).unwrap()
}

#[test]
fn a_surface_without_thickness_is_told_so_and_not_measured_part_by_part() {
    let bench = Bench::new();
    let whole = sample();
    let upper = whole.part(|f| whole.face_normal(f).is_some_and(|n| n.z > 0.0)).0;
    let (code, json) = checked(&bench, "oban", &upper);
    assert_eq!((code, &said(&json, "framework_no_metal")["verdict"]), (1, &"not_measured".into()));
    said(&json, "framework_sheet");
    assert!(list(&json, "parts").is_empty() && json["seating"].is_null());
}

#[test]
fn a_framework_of_the_other_arch_is_told_so() {
    let bench = Bench::new();
    let text = format!(
        "id = \"other\"\nrestored_arch = \"maxilla\"\n[scans]\nmandible = \"{SAMPLES}/oban/mandible.stl\"\nmaxilla = \
         \"{SAMPLES}/oban/maxilla.stl\"\n"
    );
    let (case, frame) = (bench.text("case.toml", &text), bench.put("frame.stl", &sample()));
    let ran = saddleroom(&["framework", &case, &frame, "--quiet", "--format", "json"]);
    assert_eq!(ran.code, 1, "{}", ran.err);
    let json = ran.json();
    assert!(said(&json, "framework_other_arch")["says"].as_str().unwrap().contains("lies on the mandible"));
    assert!(list(&json, "parts").is_empty());
}

/// An octahedron of 1 mm.
fn open_ball(at: Point) -> Mesh {
    let out = [Vector::x(), Vector::y(), -Vector::x(), -Vector::y(), Vector::z(), -Vector::z()];
    let faces = (0..4).flat_map(|k| [[k, (k + 1) % 4, 4], [(k + 1) % 4, k, 5]]).collect();
    Mesh::new(out.iter().map(|v| at + v).collect(), faces).unwrap()
}

#[test]
fn another_unit_and_another_case_are_refused_with_what_to_do() {
    let bench = Bench::new();
    let small = sample();
    let scaled = small.vertices().iter().map(|p| Point::from(p.coords / 1000.0)).collect();
    let (code, json) = checked(&bench, "oban", &Mesh::new(scaled, small.faces().to_vec()).unwrap());
    assert_eq!(code, 1);
    let unit = said(&json, "framework_unlikely_unit");
    assert!(unit["settled_by"].as_str().unwrap().contains("--unit m"), "{unit:#}");
    assert!(json["laid"].is_null() && json["seating"].is_null());
    let scaled = small.vertices().iter().map(|p| Point::from(p.coords / 25.4)).collect();
    let (_, json) = checked(&bench, "oban", &Mesh::new(scaled, small.faces().to_vec()).unwrap());
    let unit = said(&json, "framework_unlikely_unit");
    assert!(unit["settled_by"].as_str().unwrap().contains("--unit inch"), "{unit:#}");
    let (code, json) = checked(&bench, "lerwick", &sample());
    assert_eq!(code, 1);
    assert_eq!(said(&json, "framework_not_in_place")["verdict"], "not_measured");
    assert!(list(&json, "parts").is_empty(), "nothing is measured where no place was found");
}

#[test]
fn inputs_that_cannot_be_read_are_both_named() {
    let bench = Bench::new();
    let frame = bench.text("frame.stl", "no mesh");
    let gone = bench.name("gone.toml");
    saddleroom(&["framework", &gone, &frame]).refuses_with(&["gone.toml"]);
    let case = format!("{SAMPLES}/oban/case.toml");
    saddleroom(&["framework", &case, &frame]).refuses_with(&["frame.stl"]);
}
