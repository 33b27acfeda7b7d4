//! A scan of the bite, or a given motion, brings the arches of a case together: the sample `oban` with its maxilla carried off.

#![allow(clippy::unwrap_used)] // a test may fail loudly anywhere

mod command;

use command::{Bench, saddleroom};
use saddleroom::load;
use saddleroom::mesh::Mesh;
use saddleroom::phantom::field::Variety;
use saddleroom::space::{Motion, Point, Vector};
use saddleroom::units::LengthUnit;
use serde_json::Value;

const OBAN: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/sample-meshes/oban");

fn read(name: &str) -> Mesh {
    load::read(&std::fs::read(format!("{OBAN}/{name}")).unwrap(), LengthUnit::Mm).unwrap().mesh
}

/// Where the maxilla's file lies, seen from where it belongs.
fn carried() -> Motion {
    Motion::new(Vector::new(42.0, -17.0, 25.0), Vector::new(0.3, 2.1, -0.6))
}

/// Both arches seen from the right, with noise of its own.
fn bite(lower: &Mesh, upper: &Mesh, seen: impl Fn(&Point) -> bool) -> Mesh {
    let mut v = Variety::new(5);
    let (mut vertices, mut faces) = (Vec::new(), Vec::new());
    for mesh in [lower, upper] {
        let (part, _) = mesh.part(|f| seen(&mesh.face_centre(f)));
        let first = vertices.len() as u32;
        let normals = part.vertex_normals();
        vertices.extend(part.vertices().iter().zip(normals).map(|(p, n)| p + n * (0.02 * v.normal())));
        faces.extend(part.faces().iter().map(|f| f.map(|k| k + first)));
    }
    Mesh::new(vertices, faces).unwrap()
}

/// The case with the maxilla carried off, the scan of a bite, and what else stands under `[articulation]`.
fn checked(bite: Option<&Mesh>, more: &str, code: i32) -> Value {
    let bench = Bench::new();
    bench.put("mandible.stl", &read("mandible.stl"));
    bench.put("maxilla.stl", &read("maxilla.stl").moved(&carried()));
    let mut case = std::fs::read_to_string(format!("{OBAN}/case.toml")).unwrap();
    if let Some(bite) = bite {
        bench.put("bite.stl", bite);
        case = case.replacen("[scans]", "[scans]\nbite = \"bite.stl\"", 1);
    }
    let case = bench.text("case.toml", &format!("{case}\n{more}"));
    saddleroom(&["check", &case, "--format", "json", "--quiet"]).ends(code).json()
}

fn room_mm(report: &Value) -> Option<f64> {
    report["spans"].as_array()?.iter().find_map(|s| s["site"]["room_mm"].as_f64())
}

fn codes(report: &Value) -> Vec<&str> {
    report["findings"].as_array().unwrap().iter().map(|f| f["code"].as_str().unwrap()).collect()
}

#[test]
fn a_bite_seen_from_one_side_brings_the_maxilla_back_and_another_mouths_does_not() {
    let whole = saddleroom(&["check", &format!("{OBAN}/case.toml"), "--format", "json", "--quiet"]);
    let as_it_stands = room_mm(&whole.ends(0).json()).unwrap();
    assert!(codes(&checked(None, "", 1)).contains(&"not_in_occlusion"));
    let (lower, upper) = (read("mandible.stl"), read("maxilla.stl"));
    let right = bite(&lower, &upper, |p| p.x > 10.0 && p.y > -45.0);
    // In a third pose, as a scanner may export it.
    let right = right.moved(&Motion::new(Vector::new(-8.0, 60.0, 3.0), Vector::new(1.0, 0.2, 0.4)));
    let together = checked(Some(&right), "", 0);
    assert!(codes(&together).contains(&"brought_together_by_bite"), "{:?}", codes(&together));
    // The site lies on the other side of the arch, 50 mm from what the bite shows.
    let off = room_mm(&together).unwrap() - as_it_stands;
    assert!(off.abs() < 0.10, "{off}");
    let stranger = |name: &str| {
        let bytes = std::fs::read(format!("{OBAN}/../cromer/{name}")).unwrap();
        load::read(&bytes, LengthUnit::Mm).unwrap().mesh
    };
    let other = bite(&stranger("mandible.stl"), &stranger("maxilla.stl"), |p| p.x > 10.0 && p.y > -45.0);
    let refused = checked(Some(&other), "", 1);
    assert!(room_mm(&refused).is_none());
    let says = refused["findings"].to_string();
    assert!(says.contains("the scan of the bite could not be laid onto the"), "{:?}", codes(&refused));
}

#[test]
fn a_motion_that_is_given_brings_the_maxilla_back_and_a_shear_is_refused() {
    let back = carried().inverse().to_homogeneous();
    let row = |k: usize| format!("[{}, {}, {}, {}]", back[(k, 0)], back[(k, 1)], back[(k, 2)], back[(k, 3)]);
    let motion = format!("[articulation]\nopposing_motion = [{}, {}, {}]\n", row(0), row(1), row(2));
    let together = checked(None, &motion, 0);
    assert!(codes(&together).contains(&"brought_together_as_given"));
    let whole = saddleroom(&["check", &format!("{OBAN}/case.toml"), "--format", "json", "--quiet"]);
    let off = room_mm(&together).unwrap() - room_mm(&whole.ends(0).json()).unwrap();
    assert!(off.abs() < 1e-3, "{off}");
    let bench = Bench::new();
    let sheared = "restored_arch = \"mandible\"\n[scans]\nmandible = \"a.stl\"\n[articulation]\n\
                   opposing_motion = [[1, 0.2, 0, 0], [0, 1, 0, 0], [0, 0, 1, 0]]\n";
    let case = bench.text("case.toml", sheared);
    saddleroom(&["check", &case]).refuses_with(&["line 5", "opposing_motion", "no rotation"]);
}
