//! What each check and each measure has to say of itself.

#![allow(clippy::unwrap_used)] // a test that cannot read its own files has failed

#[allow(dead_code)] // each test reads its own part of it
mod source;

use std::collections::BTreeSet;

use saddleroom::checks::CHECKS;
use source::{files, root};

#[test]
fn every_check_has_its_method_page() {
    let missing: Vec<&str> = CHECKS
        .iter()
        .map(|check| check.method)
        .filter(|page| !root().join("docs/method").join(page).is_file())
        .collect();
    assert!(missing.is_empty(), "not in docs/method: {missing:?}");
}

#[test]
fn every_check_says_what_it_measures() {
    let mut ids = BTreeSet::new();
    for check in CHECKS {
        assert!(ids.insert(check.id), "{} stands twice", check.id);
        assert!(check.measures.len() > 60, "`explain {}` would say nothing", check.id);
        assert!(!check.title.is_empty());
    }
}

#[test]
fn a_measure_opens_with_what_it_measures() {
    let parts = ["Quantity", "Definition", "Frame and units", "Method", "Not covered", "Checked by"];
    let mut wrong = Vec::new();
    for check in files("src/measure").iter().filter(|s| !s.test_only && s.module.len() == 2) {
        let text = std::fs::read_to_string(root().join(&check.path)).unwrap();
        let head: String = text.lines().take_while(|l| l.starts_with("//!")).collect();
        // A file that holds a step of a measure says whose step it is; one that holds a measure has all parts.
        if head.contains("Quantity") {
            wrong.extend(parts.iter().filter(|p| !head.contains(*p)).map(|p| format!("{}: {p}", check.path)));
        }
        if head.is_empty() {
            wrong.push(format!("{}: no heading", check.path));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
