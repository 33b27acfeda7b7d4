//! Rules of the house that no compiler holds: units in names, no sentinels, limits that stand once, one place that
//! formats numbers.

#![allow(clippy::unwrap_used)] // a test that cannot read its own files has failed

#[allow(dead_code)] // each test reads its own part of it
mod source;

use std::collections::BTreeSet;

use saddleroom::checks::CHECKS;
use saddleroom::report::{ChangeFile, ClearanceFile, Report, SurveyFile, ToriFile};
use saddleroom::rules::Rules;
use serde_json::Value;
use source::{Source, files, line_of, root};

/// Endings that say the unit of a number.
const UNITS: &[&str] = &["_mm", "_mm2", "_mm3", "_deg", "_n", "_n_mm", "_n_mm_per_rad", "_mpa", "_g"];

/// Numbers without a unit, each with what it is.
#[rustfmt::skip]
const WITHOUT_UNIT: &[(&str, &str)] = &[
    ("number", "its unit stands beside it"),
    ("uncertainty", "in the unit of the figure beside it"),
    ("contributions", "in the unit of the figure beside it"),
    ("at_least", "its unit stands beside it"),
    ("at_most", "its unit stands beside it"),
    ("anterior", "a unit direction; under tilt_deg an angle"),
    ("left", "a unit direction; under tilt_deg an angle"),
    ("occlusal", "a unit direction"),
    ("withdrawal", "a unit direction"),
    ("opening", "a unit direction"),
    ("confidence", "0 to 1"),
    ("unit_scale", "millimetres in one unit of the file"),
    ("score", "0 to 1"),
    ("retention_share", "0 to 1"),
    ("guiding_share", "0 to 1"),
    ("weight", "only proportions matter"),
    ("undercut_share", "0 to 1"),
    ("abutment_share", "0 to 1"),
    ("ridge_share", "0 to 1"),
    ("load_share", "0 to 1"),
    ("load_share_band", "0 to 1"),
    ("bearing_share", "0 to 1"),
    ("balance_share", "missing force or moment over the load"),
    ("rank_correlation", "-1 to 1"),
    ("weights", "rank correlations, -1 to 1"),
    ("hinged_less_other", "in the unit that its figure is named with"),
    ("band", "in the unit that its figure is named with"),
    ("within", "in the unit of the input named beside it"),
    ("low", "a range, in the unit of what it belongs to"),
    ("median", "a range, in the unit of what it belongs to"),
    ("high", "a range, in the unit of what it belongs to"),
    ("axes", "three unit directions"),
    ("axis", "a unit direction"),
    ("motion", "six numbers a body, all mm: turns times a length"),
    ("load", "six numbers a body, all N: moments over a length"),
    ("stiffness", "N/mm, or N·mm/rad of a turn"),
    ("gap", "mm, or radians of a turn"),
    ("used_share", "0 to 1"),
    ("used_share", "0 to 1"),
    ("agreeing_share", "0 to 1"),
    ("whole_agreeing_share", "0 to 1"),
    ("least_of_all_share", "0 to 1"),
    ("measured_share", "0 to 1"),
    ("old_to_new_rotation", "rows of unit directions"),
];

fn production(folder: &str) -> Vec<Source> {
    files(folder).into_iter().filter(|s| !s.test_only).collect()
}

/// Every key of a JSON Schema whose value is a number with decimals, or a list of such.
fn number_keys(schema: &Value, keys: &mut BTreeSet<String>) {
    match schema {
        Value::Object(object) => {
            if let Some(Value::Object(properties)) = object.get("properties") {
                keys.extend(properties.iter().filter(|(_, v)| is_number(v)).map(|(key, _)| key.clone()));
            }
            object.values().for_each(|value| number_keys(value, keys));
        }
        Value::Array(list) => list.iter().for_each(|value| number_keys(value, keys)),
        _ => {}
    }
}

fn is_number(schema: &Value) -> bool {
    let kind = &schema["type"];
    let named =
        |word: &str| *kind == word || kind.as_array().is_some_and(|list| list.iter().any(|k| k == word));
    let inside = ["items", "prefixItems", "anyOf"].iter().any(|key| match &schema[*key] {
        Value::Array(list) => list.iter().any(is_number),
        Value::Object(_) => is_number(&schema[*key]),
        _ => false,
    });
    named("number") || inside
}

#[test]
fn a_number_with_a_unit_has_it_in_its_json_key() {
    let mut keys = BTreeSet::new();
    for schema in [
        schemars::schema_for!(Report),
        schemars::schema_for!(SurveyFile),
        schemars::schema_for!(ClearanceFile),
        schemars::schema_for!(ToriFile),
        schemars::schema_for!(ChangeFile),
    ] {
        number_keys(&schema.to_value(), &mut keys);
    }
    assert!(keys.len() > 30, "the schemas were not walked: {keys:?}");
    let bare = |key: &&String| {
        !UNITS.iter().any(|unit| key.ends_with(unit)) && !WITHOUT_UNIT.iter().any(|(known, _)| known == *key)
    };
    let wrong: Vec<&String> = keys.iter().filter(bare).collect();
    assert!(wrong.is_empty(), "numbers without a unit in their name: {wrong:?}");
}

#[test]
fn a_public_number_of_a_measure_has_its_unit_in_its_name() {
    // `mm` is its own unit.
    let known = ["value", "standard", "mm"];
    let mut wrong = Vec::new();
    let folders = ["src/measure", "src/mechanics", "src/report", "src/facts.rs"];
    // What a measure keeps to itself, in files of its own folder, is not public.
    for source in folders.iter().flat_map(|f| production(f)).filter(|s| s.module.len() <= 2) {
        for (i, line) in source.code.lines().enumerate() {
            let Some((name, kind)) = line.trim().strip_prefix("pub ").and_then(|l| l.split_once(": ")) else {
                continue;
            };
            let number =
                ["f64,", "Option<f64>,", "Vec<f64>,", "Vec<Option<f64>>,", "Measured<f64>,"].contains(&kind);
            let with_unit = UNITS.iter().any(|unit| name.ends_with(unit));
            let without = WITHOUT_UNIT.iter().any(|(n, _)| *n == name)
                || name.ends_with("_share")
                || name.ends_with("covered");
            if number && !with_unit && !without && !known.contains(&name) {
                wrong.push(format!("{}:{}: {name}", source.path, i + 1));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// Places where a word stands in the source, by file and line.
fn places(sources: &[Source], words: &[&str]) -> Vec<String> {
    let mut found = Vec::new();
    for source in sources {
        for word in words {
            for (at, _) in source.code.match_indices(word) {
                found.push(format!("{}:{}: {word}", source.path, line_of(&source.code, at)));
            }
        }
    }
    found
}

#[test]
fn nothing_stands_for_none() {
    // PLY has no null, so its writer says NaN for what was not measured.
    let sources: Vec<Source> = production("src")
        .into_iter()
        .filter(|s| !s.path.starts_with("src/render/ply") && !s.path.starts_with("src/cli"))
        .collect();
    let found =
        places(&sources, &["f64::NAN", "f32::NAN", "f64::MAX", "f64::MIN,", "f64::MIN)", "f64::MIN;"]);
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn only_units_formats_numbers() {
    let sources: Vec<Source> = production("src").into_iter().filter(|s| s.path != "src/units.rs").collect();
    let mut wrong = Vec::new();
    for source in &sources {
        for (i, line) in source.code.lines().enumerate() {
            if line.match_indices('{').any(|(at, _)| decimal_places(&line[at + 1..])) {
                wrong.push(format!("{}:{}: {}", source.path, i + 1, line.trim()));
            }
        }
    }
    assert!(wrong.is_empty(), "use units::mm, units::show or units::digits\n{}", wrong.join("\n"));
}

/// Whether a format argument after its brace asks for decimal places: `:.2}`, `x:8.3}`, `x:.n$}`, `:e}`.
fn decimal_places(after: &str) -> bool {
    let Some((argument, _)) = after.split_once('}') else { return false };
    let Some((name, form)) = argument.split_once(':') else { return false };
    let plain = |text: &str| text.chars().all(|c| c.is_alphanumeric() || c == '_');
    let form = form.trim_start_matches(|c: char| "<>^+-#".contains(c) || c.is_ascii_digit());
    let precise = form.strip_prefix('.').is_some_and(|p| p == "*" || plain(p.trim_end_matches(['$', 'e'])));
    plain(name) && (precise || form == "e" || form == "E")
}

#[test]
fn decimal_places_are_seen_in_every_spelling() {
    for text in [":.2}", "x:.3}", "x:8.3}", "x:>8.3}", "x:.n$}", ":.*}", ":e}"] {
        assert!(decimal_places(text), "{text}");
    }
    for text in ["}", "x}", ":?}", ":02}", "x: 0.5 }", ":>8}", " height: 0.5, width: 2 }"] {
        assert!(!decimal_places(text), "{text}");
    }
}

#[test]
fn nothing_unfinished_and_no_skipped_test_stands_in_the_source() {
    let words = ["todo!(", "unimplemented!(", "dbg!(", "#[ignore"];
    let found: Vec<String> = ["src", "examples"].iter().flat_map(|f| places(&files(f), &words)).collect();
    assert!(found.is_empty(), "{}", found.join("\n"));
    let ignored = places(&files("tests"), &["#[ignore]\n", "#[ignore ="]);
    assert!(ignored.len() <= 1, "{}", ignored.join("\n"));
}

#[test]
fn no_hash_order_can_reach_an_output() {
    let folders =
        ["src/report", "src/checks", "src/analysis", "src/analysis.rs", "src/render", "src/facts.rs"];
    let sources: Vec<Source> = folders.iter().flat_map(|f| production(f)).collect();
    let found = places(&sources, &["HashMap", "HashSet"]);
    assert!(found.is_empty(), "use a BTreeMap or a sorted list\n{}", found.join("\n"));
}

#[test]
fn every_limit_that_is_used_stands_in_the_table() {
    let rules = Rules::standard();
    let ids = rules.ids();
    let mut wrong = Vec::new();
    for check in CHECKS {
        wrong.extend(
            check.limits.iter().filter(|id| !ids.contains(id)).map(|id| format!("{}: {id}", check.id)),
        );
    }
    let mut used = 0;
    for source in production("src").iter().filter(|s| !s.path.starts_with("src/rules/")) {
        for call in ["rules.number(\"", "rules.get(\""] {
            for (at, _) in source.code.match_indices(call) {
                let id = source.code[at + call.len()..].split('"').next().unwrap_or_default();
                used += 1;
                if !ids.contains(&id) {
                    wrong.push(format!("{}:{}: {id}", source.path, line_of(&source.code, at)));
                }
            }
        }
    }
    assert!(used > 0, "no use of the table was found");
    assert!(wrong.is_empty(), "not in the table of rules:\n{}", wrong.join("\n"));
}

#[test]
fn measures_know_no_limit_by_name() {
    let rules = Rules::standard();
    let mut wrong = Vec::new();
    for source in ["src/measure", "src/anatomy", "src/mechanics"].iter().flat_map(|f| production(f)) {
        for id in rules.ids() {
            if source.code.contains(&format!("\"{id}\"")) {
                wrong.push(format!("{}: \"{id}\"", source.path));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// Keys of `docs/references.md`: the first column of its tables, `BRAIN1 to BRAIN6` and `MUH, MUH2` taken apart.
fn reference_keys() -> BTreeSet<String> {
    let text = std::fs::read_to_string(root().join("docs/references.md")).unwrap();
    let mut keys = BTreeSet::new();
    for cell in text.lines().filter_map(|l| l.strip_prefix("| ")).filter_map(|l| l.split(" |").next()) {
        for key in cell.split(", ") {
            match key.split_once(" to ") {
                None => drop(keys.insert(key.to_owned())),
                Some((first, last)) => {
                    let stem = first.trim_end_matches(|c: char| c.is_ascii_digit());
                    let number = |k: &str| k[stem.len()..].parse::<u32>().unwrap();
                    keys.extend((number(first)..=number(last)).map(|n| format!("{stem}{n}")));
                }
            }
        }
    }
    keys
}

#[test]
fn every_limit_names_a_source_of_the_references() {
    let keys = reference_keys();
    for key in ["G9", "PRACTICE", "HOUSE", "MEMORY", "BRAIN6", "MUH2"] {
        assert!(keys.contains(key), "{key} is not among the references");
    }
    let wrong: Vec<String> = Rules::standard()
        .rows()
        .iter()
        .filter(|row| !keys.contains(row.source))
        .map(|row| format!("{}: {}", row.id, row.source))
        .collect();
    assert!(wrong.is_empty(), "not in docs/references.md:\n{}", wrong.join("\n"));
}

#[test]
fn files_are_short_enough_to_be_read() {
    let long: Vec<String> = ["src", "tests", "examples", "benches"]
        .iter()
        .flat_map(|folder| files(folder))
        .filter(|s| s.lines > 500)
        .map(|s| format!("{}: {} lines", s.path, s.lines))
        .collect();
    assert!(long.is_empty(), "split by the question asked:\n{}", long.join("\n"));
}
