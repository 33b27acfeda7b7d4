//! Two scans of one arch as a technician compares them: sample casts lowered, moved, noised, cut; other people's; real
//! scans in place where they are there.

#![allow(clippy::panic)] // a test fails by it, with what came instead
#![allow(clippy::unwrap_used)] // a test may fail loudly anywhere

mod command;

use std::path::{Path, PathBuf};

use command::{Bench, is_valid, ply_properties, saddleroom};
use saddleroom::load;
use saddleroom::mesh::Mesh;
use saddleroom::phantom::field::{Variety, step};
use saddleroom::space::{Motion, Point, Vector, hypot};
use saddleroom::units::LengthUnit;
use serde_json::Value;

const SAMPLES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/sample-meshes");

fn read(path: impl AsRef<Path>) -> Mesh {
    load::read(&std::fs::read(path).unwrap(), LengthUnit::Mm).unwrap().mesh
}

fn oban() -> Mesh {
    read(format!("{SAMPLES}/oban/mandible.stl"))
}

/// Moved to another pose, with noise along the normals.
fn scanned_again(mesh: &Mesh, seed: u64, noise_mm: f64) -> Mesh {
    let mut v = Variety::new(seed);
    let turn = nalgebra::Quaternion::new(v.normal(), v.normal(), v.normal(), v.normal());
    let pose = Motion::from_parts(
        nalgebra::Translation3::new(30.0 * v.normal(), 30.0 * v.normal(), 30.0 * v.normal()),
        nalgebra::UnitQuaternion::new_normalize(turn),
    );
    let normals = mesh.vertex_normals();
    let vertices =
        mesh.vertices().iter().zip(normals).map(|(p, n)| p + n * (noise_mm * v.normal())).collect();
    Mesh::new(vertices, mesh.faces().to_vec()).unwrap().moved(&pose)
}

/// Each vertex moved by what `way` says.
fn reshaped(mesh: &Mesh, way: impl Fn(&Point) -> Vector) -> Mesh {
    let vertices = mesh.vertices().iter().map(|p| p + way(p)).collect();
    Mesh::new(vertices, mesh.faces().to_vec()).unwrap()
}

/// Middle of the left ridge of `oban` in plan, on its crest.
const LEFT_RIDGE: [f64; 2] = [-25.4, -32.0];

/// The left ridge lowered along the occlusal direction, full within 3 mm of its middle.
fn resorbed(mesh: &Mesh, depth_mm: f64) -> Mesh {
    reshaped(mesh, |p| {
        let far = hypot(p.x - LEFT_RIDGE[0], p.y - LEFT_RIDGE[1]);
        Vector::z() * (-depth_mm * (1.0 - step(3.0, 8.0, far)))
    })
}

fn compared(bench: &Bench, old: &Mesh, new: &Mesh, more: &[&str], code: i32) -> Value {
    let (old, new) = (bench.put("old.stl", old), bench.put("new.stl", new));
    let out = bench.name("out");
    let mut words = vec!["compare", &old, &new, "--out", &out, "--format", "json", "--quiet"];
    words.extend(more);
    let json = saddleroom(&words).ends(code).json();
    is_valid("change", &json);
    assert_eq!(json["schema"], "saddleroom/change/1");
    json
}

const OF_OBAN: [&str; 4] = ["--arch", "mandible", "--missing", "36,37,45"];

fn span<'j>(json: &'j Value, teeth: &[u64]) -> &'j Value {
    let spans = json["spans"].as_array().unwrap();
    spans.iter().find(|s| s["teeth"] == serde_json::json!(teeth)).unwrap_or_else(|| panic!("{json:#}"))
}

fn said<'j>(json: &'j Value, code: &str) -> Option<&'j Value> {
    json["findings"].as_array().unwrap().iter().find(|f| f["code"] == code)
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

#[test]
fn a_lowered_ridge_is_measured_with_sign_place_and_question_and_the_other_stays() {
    let bench = Bench::new();
    let new = scanned_again(&resorbed(&oban(), 0.8), 4, 0.03);
    let json = compared(&bench, &oban(), &new, &OF_OBAN, 1);
    let left = span(&json, &[36, 37]);
    // Lowered by 0.8 mm along the occlusal direction: along the normal as much where the ridge faces it.
    let deepest = &left["deepest"];
    let change = number(&deepest["change_mm"]);
    assert!(change < -0.72 && change > -0.86, "{left:#}");
    let at = [0, 1].map(|k| number(&deepest["at_mm"][k]));
    assert!(hypot(at[0] - LEFT_RIDGE[0], at[1] - LEFT_RIDGE[1]) < 5.0, "{at:?}");
    assert!(deepest["words"].as_str().unwrap().contains("from 35"));
    assert!(number(&deepest["uncertainty_mm"]) > 0.085, "both scans at least");
    assert_eq!(left["exceeds_scan_difference"], true);
    assert!(number(&left["volume_mm3"]) < -20.0 && number(&left["mean_mm"]) < -0.1);
    let profile = left["profile"].as_array().unwrap();
    let lowest = profile.iter().filter_map(|s| s["change_mm"].as_f64()).fold(0.0, f64::min);
    assert!(lowest < -0.7);
    assert_eq!(span(&json, &[45])["exceeds_scan_difference"], false);
    let lower = said(&json, "ridge_lower").unwrap();
    assert_eq!((&lower["verdict"], &lower["limit"]["id"]), (&"exceeds".into(), &"ridge_unchanged_mm".into()));
    assert!(said(&json, "reline").is_some_and(|f| f["verdict"] == "ask"));
    assert_eq!(json["questions"].as_array().unwrap().len(), 1);
    assert!(said(&json, "tooth_moved").is_none(), "{json:#}");
    assert!(ply_properties(&bench.path("out/change.ply")).contains(&"float change_mm".to_owned()));
    assert!(bench.path("out/change-36-37.svg").exists());
    let text = saddleroom(&[
        "compare",
        &bench.name("old.stl"),
        &bench.name("new.stl"),
        "--quiet",
        "--arch",
        "mandible",
        "--missing",
        "36,37,45",
    ]);
    assert!(text.out.contains("resorbed") && text.out.contains("reline"), "{}", text.out);
}

#[test]
fn an_unchanged_mouth_ends_with_nothing_changed_whatever_the_threads() {
    let bench = Bench::new();
    let new = scanned_again(&oban(), 9, 0.03);
    let json = compared(&bench, &oban(), &new, &OF_OBAN, 0);
    assert!(json["spans"].as_array().unwrap().iter().all(|s| s["exceeds_scan_difference"] == false));
    assert!(json["teeth"].as_array().unwrap().iter().all(|t| t["fate"] == "stayed"));
    assert!(number(&json["registration"]["rms_mm"]) < 0.06);
    let first = std::fs::read(bench.path("out/change.ply")).unwrap();
    let more: Vec<&str> = OF_OBAN.into_iter().chain(["--threads", "1"]).collect();
    assert_eq!(compared(&bench, &oban(), &new, &more, 0), json);
    assert_eq!(std::fs::read(bench.path("out/change.ply")).unwrap(), first);
}

#[test]
fn a_tooth_that_moved_and_one_that_was_lost_are_named() {
    // 43 stands at (12.4, -4.9): moved by 0.6 mm with its gingiva. 31 at (-2.5, -0.1): cut down to the gingiva.
    let new = reshaped(&oban(), |p| {
        let lost = 1.0 - step(3.0, 4.2, hypot(p.x + 2.5, p.y + 0.5));
        let moved = 1.0 - step(4.2, 5.2, hypot(p.x - 12.4, p.y + 4.9));
        Vector::new(0.5, 0.3, 0.0) * moved + Vector::z() * (-lost * (p.z + 8.0).max(0.0))
    });
    let json = compared(&Bench::new(), &oban(), &scanned_again(&new, 3, 0.02), &OF_OBAN, 0);
    let fate = |n: u64| {
        let teeth = json["teeth"].as_array().unwrap();
        teeth.iter().find(|t| t["tooth"] == n).map(|t| t["fate"].as_str().unwrap().to_owned())
    };
    assert_eq!(fate(43).as_deref(), Some("moved"), "{json:#}");
    assert_eq!(fate(31).as_deref(), Some("gone"));
    assert_eq!(fate(46).as_deref(), Some("stayed"));
    let moved = said(&json, "tooth_moved").unwrap();
    assert!((number(&moved["value"]["number"]) - hypot(0.5, 0.3)).abs() < 0.15, "{moved:#}");
}

#[test]
fn other_people_halves_and_what_is_no_scan_end_with_a_reason() {
    let bench = Bench::new();
    let other = read(format!("{SAMPLES}/whitby/mandible.stl"));
    let json = compared(&bench, &oban(), &other, &OF_OBAN, 1);
    let reason = said(&json, "scans_do_not_match").unwrap();
    assert_eq!(reason["verdict"], "not_measured");
    let says = reason["says"].as_str().unwrap();
    assert!(says.contains("do not match") && says.contains(" mm"), "{says}");
    assert_eq!(json["vertices"], json["vertices_not_measured"]);
    let (half, _) = oban().part(oban_side);
    let json = compared(&bench, &oban(), &scanned_again(&half, 2, 0.02), &OF_OBAN, 1);
    assert!(
        ["partial_overlap", "ridge_not_measured", "ridge_held_in_part", "scans_do_not_match"]
            .iter()
            .any(|c| said(&json, c).is_some_and(|f| f["verdict"] == "not_measured")),
        "{json:#}"
    );
    // Cut off behind the first premolars: what stood there was not scanned, and has not gone.
    let whole = oban();
    let front = whole.part(|f| whole.face_centre(f).y > -14.0).0;
    let json = compared(&bench, &whole, &front, &OF_OBAN, 1);
    assert!(said(&json, "tooth_gone").is_none(), "{json:#}");
    let says = said(&json, "partial_overlap").unwrap()["says"].as_str().unwrap();
    assert!(["35", "46", "47"].iter().all(|t| says.contains(t)), "{says}");
    let small = whole.vertices().iter().map(|p| Point::from(p.coords / 1000.0)).collect();
    let json = compared(&bench, &whole, &Mesh::new(small, whole.faces().to_vec()).unwrap(), &OF_OBAN, 1);
    let unit = said(&json, "unlikely_unit").unwrap()["says"].as_str().unwrap();
    assert!(unit.starts_with("Newer scan") && unit.contains("metres"), "{unit}");
    assert!(said(&json, "scans_do_not_match").is_some());
    let old = bench.put("old.stl", &oban());
    let broken = bench.text("broken.stl", "no mesh at all");
    saddleroom(&["compare", &old, &broken]).refuses_with(&["broken.stl"]);
    saddleroom(&["compare", "none.stl", "nor.stl"]).refuses_with(&["none.stl", "nor.stl"]);
    saddleroom(&["compare", &old, &old, "--missing", "99"]).refuses_with(&["99"]);
}

fn oban_side(face: u32) -> bool {
    use std::sync::OnceLock;
    static MESH: OnceLock<Mesh> = OnceLock::new();
    MESH.get_or_init(oban).face_centre(face).x > 2.0
}

#[test]
fn real_scans_of_one_mouth_match_and_of_two_people_do_not() {
    let given = std::env::var_os("SADDLEROOM_REAL_SCANS").map(PathBuf::from);
    let beside = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../shared/real-scans");
    let Some(folder) = given.into_iter().chain([beside]).find(|p| p.is_dir()) else {
        println!("skipped: no folder of real scans beside the repository");
        return;
    };
    let mut casts: Vec<PathBuf> = std::fs::read_dir(&folder)
        .unwrap()
        .map(|e| e.unwrap().path())
        .filter(|p| p.extension().is_some_and(|e| e == "stl"))
        .collect();
    casts.sort();
    let mut last: Option<Mesh> = None;
    for path in casts {
        let about: Value =
            serde_json::from_slice(&std::fs::read(path.with_extension("json")).unwrap()).unwrap();
        let arch = if about["jaw"] == "lower" { "mandible" } else { "maxilla" };
        let missing: Vec<String> =
            about["removed_teeth_fdi"].as_array().unwrap().iter().map(Value::to_string).collect();
        let missing = missing.join(",");
        let more = ["--arch", arch, "--missing", &missing];
        let (bench, mesh) = (Bench::new(), read(&path));
        let json = compared(&bench, &mesh, &scanned_again(&mesh, 5, 0.03), &more, 0);
        assert!(!json["spans"].as_array().unwrap().is_empty());
        assert!(json["spans"].as_array().unwrap().iter().all(|s| s["exceeds_scan_difference"] == false));
        if let Some(other) = last.replace(mesh.clone()) {
            let json = compared(&bench, &mesh, &other, &more, 1);
            assert!(said(&json, "scans_do_not_match").is_some(), "{json:#}");
        }
    }
}
