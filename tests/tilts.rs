//! Tilts beside a path that the case gives: tried where they are asked for, on the command line and on screen.

#![allow(clippy::unwrap_used)] // a test may fail loudly anywhere

mod serving;

use std::fs;

use serde_json::Value;
use serving::{Served, case, checked};

#[test]
fn tilts_beside_a_given_path_are_tried_where_they_are_asked_for_and_then_the_same_everywhere() {
    let folder = case("oban");
    let report = |out: &std::path::Path| -> Value {
        serde_json::from_slice(&fs::read(out.join("report.json")).unwrap()).unwrap()
    };
    let out = checked(folder.path(), &["case.toml"]);
    let alone = report(&out);
    assert_eq!(alone["path"]["chosen_by"], "case");
    assert!(["search", "map_tilts", "compared"].iter().all(|key| alone["path"].get(key).is_none()));
    assert!(!out.join("sections/tilt_map.svg").exists());
    assert!(fs::read_to_string(out.join("report.html")).unwrap().contains("--tilts"));

    let out = checked(folder.path(), &["case.toml", "--tilts"]);
    let mut beside = report(&out);
    assert!(beside["path"]["map_tilts"].as_array().unwrap().len() > 7);
    assert!(beside["path"]["compared"].as_array().unwrap().iter().any(|c| c["which"] == "given"));
    let map = fs::read_to_string(out.join("sections/tilt_map.svg")).unwrap();
    let served = Served::start(folder.path(), &["case.toml"]);
    let client = served.open();
    client.settled();
    assert_eq!(client.get("/api/tilt_map").fine().json()["svg"], map, "searched only now");

    // Nothing else of the report is touched by what stands beside the path.
    for key in ["search", "map_tilts", "unbeaten", "compared"] {
        beside["path"].as_object_mut().unwrap().remove(key);
    }
    let rest = |mut report: Value| {
        report["findings"].as_array_mut().unwrap().retain(|f| f["check"] != "path");
        report
    };
    assert_eq!(rest(beside), rest(alone));
}
