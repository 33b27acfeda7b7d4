//! What `survey` and `check` say to directions and casts that cannot be taken as they are: an error that says what to do,
//! or a finding; never silent figures.

#![allow(clippy::unwrap_used, clippy::indexing_slicing)] // a test that cannot read its own files has failed

use std::path::{Path, PathBuf};
use std::process::Command;

use saddleroom::mesh::Mesh;
use saddleroom::phantom::{solids, stl};
use saddleroom::space::{Point, Vector};

struct Ran {
    code: i32,
    out: String,
    err: String,
}

impl Ran {
    fn codes(&self) -> Vec<String> {
        let json: serde_json::Value = serde_json::from_str(&self.out).unwrap();
        json["findings"].as_array().unwrap().iter().map(|f| f["code"].as_str().unwrap().to_owned()).collect()
    }
}

fn saddleroom(arguments: &[&str]) -> Ran {
    let done = Command::new(env!("CARGO_BIN_EXE_saddleroom")).args(arguments).output().unwrap();
    Ran {
        code: done.status.code().unwrap(),
        out: String::from_utf8(done.stdout).unwrap(),
        err: String::from_utf8(done.stderr).unwrap(),
    }
}

fn survey(cast: &Path, more: &[&str]) -> Ran {
    let mut arguments = vec!["survey", cast.to_str().unwrap(), "--format", "json", "--quiet"];
    arguments.extend(more);
    saddleroom(&arguments)
}

fn sample() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-meshes/oban/mandible.stl")
}

fn put(folder: &tempfile::TempDir, mesh: &Mesh) -> PathBuf {
    let path = folder.path().join("cast.stl");
    std::fs::write(&path, stl::binary(mesh, "a cast")).unwrap();
    path
}

fn sample_mesh() -> Mesh {
    let bytes = std::fs::read(sample()).unwrap();
    saddleroom::load::read(&bytes, saddleroom::units::LengthUnit::Mm).unwrap().mesh
}

#[test]
fn a_direction_without_length_or_that_is_no_number_is_refused() {
    for bad in ["0,0,0", "NaN,0,1", "inf,0,1", "0,0", "a,b,c"] {
        let ran = survey(&sample(), &[&format!("--withdrawal={bad}")]);
        assert_eq!(ran.code, 2, "{bad}: {}", ran.out);
        assert!(ran.err.contains("--withdrawal"), "{}", ran.err);
    }
}

#[test]
fn a_direction_of_another_length_is_said_so_and_reads_the_same() {
    let unit = survey(&sample(), &["--withdrawal=0,0,1"]);
    for other in ["0,0,2", "0,0,1e200", "0,0,1e-200"] {
        let ran = survey(&sample(), &[&format!("--withdrawal={other}")]);
        assert!(ran.codes().contains(&"direction_brought_to_length_one".to_owned()), "{other}");
        let read = |r: &Ran| {
            let json: serde_json::Value = serde_json::from_str(&r.out).unwrap();
            (json["deepest_mm"].clone(), json["blockout"].clone(), json["path"]["withdrawal"].clone())
        };
        assert_eq!(read(&ran), read(&unit), "{other}");
    }
    assert!(!unit.codes().contains(&"direction_brought_to_length_one".to_owned()));
}

#[test]
fn a_direction_into_the_tissue_is_said_so_and_gives_no_block_out() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("out");
    let ran = survey(&sample(), &["--withdrawal=0,0,-1", "--out", out.to_str().unwrap()]);
    assert!(ran.codes().contains(&"path_into_tissue".to_owned()), "{:?}", ran.codes());
    let json: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    assert!(json["blockout"].is_null());
    assert!(out.join("survey.ply").exists() && !out.join("blockout.ply").exists());
}

#[test]
fn a_direction_far_from_the_occlusal_normal_is_said_so() {
    let normal = survey(&sample(), &[]);
    let json: serde_json::Value = serde_json::from_str(&normal.out).unwrap();
    let up = Vector::from_iterator(
        json["path"]["withdrawal"].as_array().unwrap().iter().map(|v| v.as_f64().unwrap()),
    );
    let aside = up.cross(&Vector::x()).normalize();
    let lean = |deg: f64| {
        let d = up + aside * saddleroom::space::tan(deg.to_radians());
        survey(&sample(), &[&format!("--withdrawal={},{},{}", d.x, d.y, d.z)]).codes()
    };
    assert!(!lean(14.0).contains(&"path_leans_far".to_owned()));
    assert!(lean(16.0).contains(&"path_leans_far".to_owned()));
    assert!(lean(80.0).contains(&"path_across".to_owned()));
}

#[test]
fn a_cast_that_lies_on_its_side_is_told_and_its_own_normal_is_found() {
    let folder = tempfile::tempdir().unwrap();
    let mesh = sample_mesh();
    let lying = mesh.vertices().iter().map(|p| Point::new(p.z, p.y, -p.x)).collect();
    let cast = put(&folder, &Mesh::new(lying, mesh.faces().to_vec()).unwrap());
    let ran = survey(&cast, &["--withdrawal=0,0,1"]);
    assert!(ran.codes().contains(&"path_across".to_owned()), "{:?}", ran.codes());
    let found = survey(&cast, &[]);
    let json: serde_json::Value = serde_json::from_str(&found.out).unwrap();
    assert!(json["path"]["withdrawal"][0].as_f64().unwrap() > 0.97, "{}", json["path"]);
}

#[test]
fn inside_out_and_doubled_triangles_change_no_figure_and_are_said() {
    let folder = tempfile::tempdir().unwrap();
    let mesh = sample_mesh();
    let read = |mesh: &Mesh| {
        let ran = survey(&put(&folder, mesh), &["--withdrawal=0,0,1"]);
        let json: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
        let defects = json["inputs"][0]["defects"].to_string();
        (json["deepest_mm"].as_f64().unwrap(), json["blockout"]["volume_mm3"].as_f64().unwrap(), defects)
    };
    let plain = read(&mesh);
    let over = read(&mesh.turned_over());
    let doubled = mesh.faces().iter().chain(&mesh.faces()[..2000]).copied().collect();
    let doubled = read(&Mesh::new(mesh.vertices().to_vec(), doubled).unwrap());
    for (other, word) in [(&over, "inside_out"), (&doubled, "duplicate")] {
        assert!((other.0 - plain.0).abs() < 1e-9 && (other.1 - plain.1).abs() < 1e-6 * plain.1, "{word}");
        assert!(other.2.contains(word), "{word}: {}", other.2);
    }
}

#[test]
fn nearly_nothing_and_sizes_that_no_mouth_has_end_in_words() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("empty.stl");
    std::fs::write(&path, [&[0u8; 80][..], &0u32.to_le_bytes()].concat()).unwrap();
    assert_eq!(survey(&path, &["--withdrawal=0,0,1"]).code, 2);
    let p = |x: f64, y: f64| Point::new(x, y, 0.0);
    let two = Mesh::new(vec![p(0.0, 0.0), p(1.0, 0.0), p(1.0, 1.0), p(0.0, 1.0)], vec![[0, 1, 2], [0, 2, 3]])
        .unwrap();
    let ran = survey(&put(&folder, &two), &["--withdrawal=0,0,1"]);
    assert!(ran.code == 2 || ran.codes().contains(&"occlusal_side_not_known".to_owned()), "{}", ran.err);
    assert_eq!(survey(&put(&folder, &two), &[]).code, 2);
    for scale in [1e-6, 1e6] {
        let ball = solids::icosphere(5.0, 0.5);
        let ball =
            Mesh::new(ball.vertices().iter().map(|q| q * scale).collect(), ball.faces().to_vec()).unwrap();
        let ran = survey(&put(&folder, &ball), &["--withdrawal=0,0,1"]);
        if ran.code != 2 {
            let json: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
            assert!(!json["inputs"][0]["defects"].as_array().unwrap().is_empty(), "{scale}: said nothing");
        }
    }
}

#[test]
fn the_gauge_reads_depth_height_and_draws_the_rod_and_a_free_place_reads_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let cast = put(&folder, &solids::icosphere(5.0, 0.15));
    // Depth 0.25 mm lies 1.561 mm below the equator (trade facts, section 10).
    let (below, r) = (1.5612, (25.0f64 - 1.5612 * 1.5612).sqrt());
    let out = folder.path().join("out");
    let words = |more: &[&str]| {
        let mut all = vec!["survey", cast.to_str().unwrap(), "--withdrawal=0,0,1", "--quiet"];
        all.extend(more);
        saddleroom(&all)
    };
    let under = format!("--gauge={r},0,-{below}");
    let ran = words(&[&under, "--out", out.to_str().unwrap()]);
    let flat = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("undercut 0.25 mm") && flat.contains("1.56 mm below the survey line"), "{flat}");
    let svg = std::fs::read_to_string(out.join("gauge.svg")).unwrap();
    for word in
        ["depth 0.25 mm", "1.56 mm below the survey line", "survey line", "gauge point", ">rod<", "grid 1 mm"]
    {
        assert!(svg.contains(word), "{word}");
    }
    let ran = words(&[&under, "--gauge=0,0,5", "--out", out.to_str().unwrap()]);
    assert!(ran.out.contains("free"), "{}", ran.out);
    let free = std::fs::read_to_string(out.join("sections/gauge-2.svg")).unwrap();
    assert!(out.join("sections/gauge-1.svg").exists() && free.contains("free, depth 0"));
    assert_eq!(words(&["--gauge=0,0,50"]).code, 2);
}

/// A hole in a crown: what lies within `width` of a place on it is missing. Vertices keep their order.
fn holed(whole: &Mesh, centre: &Point, width: f64) -> (Mesh, Vec<u32>) {
    whole.part(|f| (whole.face_centre(f) - centre).norm() > width)
}

#[test]
fn a_hole_in_a_crown_makes_nothing_look_free_without_a_note() {
    use saddleroom::measure::undercut::Surveyor;
    use saddleroom::mesh::Topology;
    use saddleroom::space::direction;

    let whole = sample_mesh();
    let up = direction(Vector::z()).unwrap();
    let field = |mesh: &Mesh| Surveyor::new(mesh, &Topology::new(mesh)).field(&up);
    let before = field(&whole);
    // Places on and beside the bulges: undercut or free vertices of crowns, spread over the cast.
    let crowns: Vec<usize> =
        (0..whole.vertices().len()).filter(|&v| (-5.0..-1.0).contains(&whole.vertices()[v].z)).collect();
    assert!(crowns.len() > 1000);
    let (mut changed, mut noted) = (0, 0);
    for k in 0..12 {
        let centre = whole.vertices()[crowns[(k * 7919 + 13) % crowns.len()]];
        let (mesh, from) = holed(&whole, &centre, 0.8 + 0.1 * k as f64);
        let after = field(&mesh);
        for (v, &old) in from.iter().enumerate() {
            let (Some(was), Some(is)) = (before.depth_mm[old as usize], after.depth_mm[v]) else { continue };
            if was - is > 0.02 {
                changed += 1;
                assert!(after.closed_hole[v], "hole {k} at {centre}: {was} reads {is} without a note");
            }
        }
        noted += after.closed_hole.iter().filter(|n| **n).count();
    }
    assert!(noted > 0, "{changed} changed, {noted} noted");
    // Through the command line the note is a finding, and the number of points stands beside it.
    let folder = tempfile::tempdir().unwrap();
    let flank = whole
        .vertices()
        .iter()
        .zip(&before.depth_mm)
        .find(|(p, d)| (-4.0..-2.0).contains(&p.z) && d.is_some_and(|d| (0.2..0.6).contains(&d)));
    let (mesh, _) = holed(&whole, flank.unwrap().0, 1.5);
    let ran = survey(&put(&folder, &mesh), &["--withdrawal", "0,0,1"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert!(ran.codes().contains(&"undercut_over_hole".to_owned()), "{:?}", ran.codes());
}

#[test]
fn an_open_shell_is_surveyed_as_it_is_and_its_border_frees_what_lies_beside_it() {
    let folder = tempfile::tempdir().unwrap();
    // A dome of radius 5 cut 3 mm below its equator: the greatest depth stands at its border.
    let ball = solids::lat_long_sphere(5.0, 0.2);
    let (dome, _) = ball.part(|f| ball.face_centre(f).z > -3.0);
    let ran = survey(&put(&folder, &dome), &["--withdrawal", "0,0,1"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    let json: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    let lowest = dome.vertices().iter().map(|p| p.z).fold(0.0, f64::min);
    let wanted = 5.0 - (25.0 - lowest * lowest).sqrt();
    let deepest = json["deepest_mm"].as_f64().unwrap();
    assert!((deepest - wanted).abs() < 0.005, "{deepest}, {wanted}");
    assert_eq!(json["closed_hole_vertices"], 0);
}
