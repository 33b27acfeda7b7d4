//! Every command, end to end, as it is typed.

#![allow(clippy::unwrap_used)] // a test may fail loudly anywhere

mod command;

use std::fs;

use command::{Bench, is_valid, moved, ply_properties, saddleroom};
use saddleroom::mesh::Mesh;
use saddleroom::phantom::solids;
use saddleroom::space::{Direction, Vector};

#[test]
fn help_teaches_and_every_command_has_an_example() {
    let help = saddleroom(&["--help"]).ends(0).out;
    for command in [
        "check",
        "survey",
        "clearance",
        "tori",
        "audit",
        "demo",
        "explain",
        "schema",
        "framework",
        "compare",
        "serve",
    ] {
        assert!(help.contains(command), "{command}");
        let own = saddleroom(&[command, "--help"]).ends(0).out;
        assert!(own.contains("saddleroom ") && own.contains("Example"), "{command}: {own}");
    }
    assert!(help.contains("Exit code"));
}

#[test]
fn survey_of_a_sphere_gives_the_depths_of_the_formula() {
    let bench = Bench::new();
    let sphere = solids::icosphere(5.0, 0.3);
    let cast = bench.put("sphere.stl", &sphere);
    let out = bench.name("out");
    let ran =
        saddleroom(&["survey", &cast, "--withdrawal", "0,0,1", "--out", &out, "--format", "json"]).ends(0);
    let json = ran.json();
    assert_eq!(fs::read_to_string(bench.path("out/survey.json")).unwrap(), ran.out);
    assert_eq!(json["schema"], "saddleroom/survey/1");
    is_valid("survey", &json);
    assert_eq!(
        ply_properties(&bench.path("out/survey.ply")),
        [
            "double x",
            "double y",
            "double z",
            "uchar red",
            "uchar green",
            "uchar blue",
            "float undercut_mm",
            "list uchar int vertex_indices"
        ]
    );
    // The pole below is deepest: a rod must be moved aside by the radius.
    let deepest = json["deepest_mm"].as_f64().unwrap();
    assert!((deepest - 5.0).abs() < 0.02, "{deepest}");
    let share = json["undercut_share"].as_f64().unwrap();
    assert!((share - 0.5).abs() < 0.02, "{share}");
}

#[test]
fn the_gauge_reads_a_sphere_and_refuses_a_point_far_away() {
    let bench = Bench::new();
    let cast = bench.put("sphere.stl", &solids::icosphere(5.0, 0.2));
    // 2.179 mm below the equator of a sphere of 5 mm the depth is 0.5 mm (trade facts, section 10).
    let read =
        |at: &str| saddleroom(&["survey", &cast, "--withdrawal", "0,0,1", "--gauge", at, "--format", "json"]);
    let json = read("4.5,0,-2.179").ends(0).json();
    let depth = json["gauge"]["depth_mm"].as_f64().unwrap();
    assert!((depth - 0.5).abs() < 0.01, "{depth}");
    read("4.5,0,-30").refuses_with(&["mm from the cast", "(4.50, 0.00, -30.00)"]);
}

#[test]
fn a_tilted_withdrawal_may_begin_with_a_minus() {
    let bench = Bench::new();
    let cast = bench.put("sphere.stl", &solids::icosphere(5.0, 0.6));
    let json = saddleroom(&["survey", &cast, "--withdrawal", "-0.1,0,1", "--format", "json"]).ends(0).json();
    let x = json["path"]["withdrawal"][0].as_f64().unwrap();
    assert!((x + 0.1 / 1.01_f64.sqrt()).abs() < 1e-8);
}

#[test]
fn directions_that_point_nowhere_are_refused() {
    let bench = Bench::new();
    let cast = bench.put("sphere.stl", &solids::icosphere(5.0, 1.0));
    for bad in ["0,0,0", "NaN,0,1", "1,2", "inf,0,0", ""] {
        saddleroom(&["survey", &cast, "--withdrawal", bad]).refuses_with(&["--withdrawal"]);
        saddleroom(&["clearance", &cast, &cast, "--opening", bad]).refuses_with(&["--opening"]);
    }
}

#[test]
fn clearance_of_two_plates_is_their_distance() {
    let bench = Bench::new();
    let (low, high) = solids::plate_pair([20.0, 12.0], 5.0, 0.5);
    let (low, high) = (bench.put("low.stl", &low), bench.put("high.stl", &high));
    let out = bench.name("out");
    let ran =
        saddleroom(&["clearance", &low, &high, "--opening", "0,0,1", "--out", &out, "--format", "json"]);
    let json = ran.ends(0).json();
    is_valid("clearance", &json);
    assert!((json["least_along_mm"].as_f64().unwrap() - 5.0).abs() < 1e-6);
    assert!((json["least_nearest_mm"].as_f64().unwrap() - 5.0).abs() < 1e-6);
    assert_eq!(
        ply_properties(&bench.path("out/clearance.ply"))[6..8],
        ["float nearest_mm".to_owned(), "float along_mm".to_owned()]
    );
}

#[test]
fn nothing_along_the_opening_is_not_measured() {
    let bench = Bench::new();
    let (low, high) = solids::plate_pair([20.0, 12.0], 25.0, 1.0);
    let (low, high) = (bench.put("low.stl", &low), bench.put("high.stl", &high));
    let json =
        saddleroom(&["clearance", &low, &high, "--opening", "0,0,-1", "--format", "json"]).ends(1).json();
    assert_eq!(json["findings"][0]["verdict"], "not_measured");
    assert!(json["least_along_mm"].is_null());
}

#[test]
fn audit_names_the_defects_of_each_file() {
    let bench = Bench::new();
    let plate = bench.put("plate.stl", &solids::plate([60.0, 40.0], 2.0));
    let metres = solids::plate([60.0, 40.0], 2.0);
    let metres =
        Mesh::new(metres.vertices().iter().map(|p| p / 1000.0).collect(), metres.faces().to_vec()).unwrap();
    let metres = bench.put("metres.stl", &metres);
    let json = saddleroom(&["audit", &plate, &metres, "--format", "json"]).ends(0).json();
    assert_eq!(json["inputs"].as_array().unwrap().len(), 2);
    let kinds: Vec<&str> = json["inputs"][1]["defects"]
        .as_array()
        .unwrap()
        .iter()
        .map(|d| d["kind"].as_str().unwrap())
        .collect();
    assert!(kinds.contains(&"unlikely_unit"), "{kinds:?}");
    saddleroom(&["audit", &bench.name("none.stl")]).refuses_with(&["none.stl"]);
}

#[test]
fn input_that_cannot_be_read_says_which_and_what_to_do() {
    let bench = Bench::new();
    let folder = bench.dir.path().display().to_string();
    let empty = bench.text("empty.stl", "");
    let prose = bench.text("prose.stl", "this is no scan\n");
    let cast = bench.put("sphere.stl", &solids::icosphere(5.0, 1.0));
    saddleroom(&["survey", &folder, "--withdrawal", "0,0,1"]).refuses_with(&["directory", "help:"]);
    saddleroom(&["survey", &bench.name("none.stl"), "--withdrawal", "0,0,1"])
        .refuses_with(&["none.stl", "help:"]);
    saddleroom(&["survey", &empty, "--withdrawal", "0,0,1"]).refuses_with(&["empty.stl", "empty"]);
    saddleroom(&["survey", &prose, "--withdrawal", "0,0,1"]).refuses_with(&["prose.stl"]);
    saddleroom(&["check", &folder]).refuses_with(&["directory"]);
    saddleroom(&["check", &bench.name("none.toml")]).refuses_with(&["none.toml"]);
    saddleroom(&["check", &cast]).refuses_with(&["sphere.stl"]);
    saddleroom(&["clearance", &empty, &bench.name("none.stl"), "--opening", "0,0,1"])
        .refuses_with(&["empty.stl", "none.stl"]);
}

#[test]
fn usage_that_makes_no_sense_ends_with_two() {
    for arguments in [
        &["check"][..],
        &["measure"],
        &["survey"],
        &["tori", "a.stl"],
        &["tori", "a.stl", "--arch", "lower"],
        &["audit"],
        &["audit", "a.stl", "--threads", "0"],
        &["audit", "a.stl", "--threads", "99999"],
        &["audit", "a.stl", "--format", "xml"],
        &["check", "--mandible", "a.stl"],
        &["explain", "nothing_of_the_kind"],
        &["schema", "nothing"],
        &["framework", "case.toml"],
        &["framework", "case.toml", "frame.stl"],
        &["compare", "old.stl", "new.stl"],
        &["serve", "case.toml"],
    ] {
        saddleroom(arguments).ends(2);
    }
}

#[test]
fn problems_of_a_case_file_are_told_at_once_with_their_lines() {
    let bench = Bench::new();
    let case = bench.text(
        "case.toml",
        "restored_arch = \"mandible\"\n[scans]\nmandible = \"none.stl\"\n[chart]\nmissing = [36, 99]\n[desgin]\nrequest = 1\n",
    );
    saddleroom(&["check", &case]).refuses_with(&["line 5", "99", "line 6", "desgin", "help:"]);
}

#[test]
fn a_scan_that_is_missing_is_named() {
    let bench = Bench::new();
    let case = bench.text(
        "case.toml",
        "restored_arch = \"mandible\"\n[scans]\nmandible = \"no.stl\"\nmaxilla = \"nor.stl\"\n",
    );
    saddleroom(&["check", &case]).refuses_with(&["no.stl", "nor.stl"]);
    let cast = bench.put("u.stl", &solids::plate([60.0, 40.0], 2.0));
    saddleroom(&["check", "--maxilla", &cast, "--restore", "mandible"]).refuses_with(&["mandible"]);
}

#[test]
fn options_in_place_of_a_case_file_read_every_notation() {
    let bench = Bench::new();
    let cast = bench.put("l.stl", &solids::plate([60.0, 40.0], 2.0));
    let check = |missing: &str, notation: &str| {
        saddleroom(&[
            "check",
            "--mandible",
            &cast,
            "--restore",
            "mandible",
            "--missing",
            missing,
            "--notation",
            notation,
            "--format",
            "json",
        ])
    };
    for (missing, notation) in [("36,37", "fdi"), ("19,18", "universal"), ("LL6,LL7", "palmer")] {
        let json = check(missing, notation).ends(1).json();
        is_valid("report", &json);
        assert_eq!(json["chart"]["missing"], serde_json::json!([36, 37]));
        assert_eq!(json["chart"]["kennedy"]["class"], "II");
    }
    check("16", "fdi").refuses_with(&["--missing", "16"]);
    check("99", "fdi").refuses_with(&["99"]);
}

#[test]
fn explain_answers_for_every_check_and_limit() {
    let list = saddleroom(&["explain", "--format", "json"]).ends(0).json();
    for check in list["checks"].as_array().unwrap() {
        let text = saddleroom(&["explain", check["id"].as_str().unwrap()]).ends(0).out;
        assert!(text.contains("docs/method/"));
    }
    let room = saddleroom(&["explain", "attachment_room_mm"]).ends(0).out;
    assert!(room.contains("5.00 mm") && room.contains("common practice, no published source"), "{room}");
    let all = saddleroom(&["explain", "--all", "--format", "json"]).ends(0).json();
    assert_eq!(all["checks"].as_array().unwrap().len(), list["checks"].as_array().unwrap().len());
}

#[test]
fn the_page_of_checks_is_the_one_that_the_tables_give() {
    let kept = fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/docs/checks.md")).unwrap();
    assert_eq!(
        kept,
        saddleroom::cli::checks_page(),
        "run `cargo run --release --example checks_page > docs/checks.md`"
    );
}

#[test]
fn schemas_completions_and_manual_are_printed() {
    for kind in ["case", "report", "survey", "clearance", "tori"] {
        let schema = saddleroom(&["schema", kind]).ends(0).json();
        assert!(jsonschema::validator_for(&schema).is_ok(), "{kind}");
        assert!(schema["properties"].as_object().unwrap().len() > 3, "{kind}");
    }
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        assert!(saddleroom(&["completions", shell]).ends(0).out.contains("saddleroom"));
    }
    let manual = saddleroom(&["manual"]).ends(0).out;
    assert!(manual.contains(".TH") && manual.contains("clearance"));
}

#[test]
fn nothing_that_was_written_is_lost_when_a_run_fails() {
    let bench = Bench::new();
    let cast = bench.put("sphere.stl", &solids::icosphere(5.0, 1.0));
    let out = bench.name("out");
    let survey = |cast: &str| saddleroom(&["survey", cast, "--withdrawal", "0,0,1", "--out", &out]);
    survey(&cast).ends(0);
    let (json, ply) = (bench.path("out/survey.json"), bench.path("out/survey.ply"));
    let before = (fs::read(&json).unwrap(), fs::read(&ply).unwrap());
    survey(&bench.text("cut.stl", "solid x\nfacet")).ends(2);
    // A folder stands where a file is to go: the other file must not be replaced either.
    fs::remove_file(&ply).unwrap();
    fs::create_dir(&ply).unwrap();
    survey(&bench.put("other.stl", &moved(&solids::icosphere(4.0, 1.0), [1.0, 0.0, 0.0])))
        .refuses_with(&["survey.ply"]);
    assert_eq!(fs::read(&json).unwrap(), before.0);
    let mut left: Vec<_> = fs::read_dir(bench.path("out"))
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    left.sort();
    assert_eq!(left, ["blockout.ply", "blockout.stl", "survey.json", "survey.ply"]);
}

#[test]
fn an_input_is_never_overwritten_and_out_must_be_a_folder() {
    let bench = Bench::new();
    let cast = bench.put("survey.ply", &solids::icosphere(5.0, 1.0));
    let before = fs::read(&cast).unwrap();
    let folder = bench.dir.path().display().to_string();
    saddleroom(&["survey", &cast, "--withdrawal", "0,0,1", "--out", &folder])
        .refuses_with(&["is an input", "--out"]);
    assert_eq!(fs::read(&cast).unwrap(), before);
    saddleroom(&["survey", &cast, "--withdrawal", "0,0,1", "--out", &cast]).refuses_with(&["not a folder"]);
    let under = format!("{cast}/deeper");
    saddleroom(&["survey", &cast, "--withdrawal", "0,0,1", "--out", &under]).refuses_with(&["folder"]);
}

#[test]
fn piped_output_has_no_colours_and_the_same_bytes_for_any_number_of_threads() {
    let bench = Bench::new();
    let cast = bench.put("sphere.stl", &solids::icosphere(5.0, 0.5));
    let run = |threads: &str, out: &str| {
        let out = bench.name(out);
        saddleroom(&["survey", &cast, "--withdrawal", "0.1,0.2,1", "--out", &out, "--threads", threads])
            .ends(0)
    };
    let (one, many) = (run("1", "one"), run("7", "many"));
    assert_eq!(one.out, many.out);
    assert!(!one.out.contains('\u{1b}') && !one.err.contains('\u{1b}'));
    for name in ["survey.json", "survey.ply"] {
        assert_eq!(
            fs::read(bench.path("one").join(name)).unwrap(),
            fs::read(bench.path("many").join(name)).unwrap()
        );
    }
    let quiet = saddleroom(&["survey", &cast, "--withdrawal", "0,0,1", "--quiet"]).ends(0);
    assert!(quiet.err.is_empty());
}

#[test]
fn a_direction_is_kept_to_nine_decimals() {
    let d = Direction::new_normalize(Vector::new(0.1, 0.2, 1.0));
    let bench = Bench::new();
    let cast = bench.put("sphere.stl", &solids::icosphere(5.0, 1.0));
    let json = saddleroom(&["survey", &cast, "--withdrawal", "0.1,0.2,1", "--format", "json"]).ends(0).json();
    for (k, value) in json["path"]["withdrawal"].as_array().unwrap().iter().enumerate() {
        assert!((value.as_f64().unwrap() - d[k]).abs() <= 5e-10);
    }
}
