//! The sheet of a framework: it says what `framework.json` says, in both languages, out of one file and whatever the file is called.
#![allow(clippy::unwrap_used)] // a test may fail loudly anywhere

mod command;

use std::fs;
use std::path::Path;

use command::saddleroom;
use serde_json::Value;

const SAMPLES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/sample-meshes");

fn page(folder: &Path, frame: &Path, lang: &str) -> (String, Value) {
    let case = format!("{SAMPLES}/oban/case.toml");
    let out = folder.join(lang);
    let words = ["framework", &case, frame.to_str().unwrap(), "--quiet", "--lang", lang, "--out"];
    let ran = saddleroom(&[&words[..], &[out.to_str().unwrap()]].concat());
    assert!(ran.code < 2, "{}", ran.err);
    for still in ["framework-occlusal.png", "framework-behind.png", "framework-tissue-side.png"] {
        assert!(fs::metadata(out.join(still)).unwrap().len() > 20_000, "{still}");
    }
    let json = fs::read(out.join("framework.json")).unwrap();
    (fs::read_to_string(out.join("framework.html")).unwrap(), serde_json::from_slice(&json).unwrap())
}

#[test]
fn the_sheet_holds_every_judged_finding_in_both_languages() {
    let folder = tempfile::tempdir().unwrap();
    let frame = folder.path().join("a & b.stl");
    fs::copy(format!("{SAMPLES}/frameworks/oban.stl"), &frame).unwrap();
    let (english, json) = page(folder.path(), &frame, "en");
    let (german, same) = page(folder.path(), &frame, "de");
    assert_eq!(json["findings"], same["findings"], "the language changes no figure");
    assert!(english.contains("<h1>Framework <bdi>a &amp; b.stl</bdi> against case <bdi>oban</bdi></h1>"));
    assert!(german.contains("<html lang=\"de\">") && german.contains("am Fall <bdi>oban</bdi></h1>"));
    let judged = json["findings"].as_array().unwrap().iter().filter(|f| {
        ["short", "exceeds", "tight", "fits", "possible"].contains(&f["verdict"].as_str().unwrap())
    });
    let mut rows = 0;
    for finding in judged {
        let says = finding["says"].as_str().unwrap().replace('&', "&amp;");
        assert!(english.contains(&says), "{says}");
        rows += 1;
    }
    assert!(rows > 20, "{rows}");
    for html in [&english, &german] {
        assert_eq!(html.matches("src=\"data:image/png;base64,").count(), 3);
        assert!(!html.contains("http://") && !html.contains("https://"), "something is fetched");
    }
    assert!(german.contains("Auflage aufsitzend") && german.contains("0,04 mm"));
}
