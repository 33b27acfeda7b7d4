//! The page: hostile text, nothing measured, four hundred findings, and that it says no figure that report.json does not hold.

#![allow(clippy::unwrap_used)] // a test may fail loudly anywhere

mod command;

use std::collections::BTreeSet;

use saddleroom::render::page::{Page, html};
use saddleroom::render::words::{Language, Manner};
use saddleroom::report::{Finding, Notation, Report, Verdict, Where};
use saddleroom::{checks, render};
use serde_json::{Value, json};

/// A report in which nothing was measured.
fn bare(id: &str, file: &str) -> Report {
    let input = json!({
        "role": "mandible", "file": file, "sha256": "00", "format": "stl_binary", "triangles": 1, "vertices": 3,
        "unit_scale": 1.0, "extent_mm": null, "defects": [],
    });
    serde_json::from_value(json!({
        "schema": "saddleroom/report/1", "tool": { "name": "saddleroom", "version": "0.0.0" },
        "case": { "id": id, "restored_arch": "mandible" }, "inputs": [input],
        "articulation": { "state": "unknown", "contacts": null, "deepest_overlap_mm": null, "least_gap_mm": null, "at_mm": null },
        "teeth": [], "abutments": [], "spans": [], "tori": [], "connectors": [], "preparation": [], "questions": [],
        "findings": [], "cautions": ["This sheet measures and compares; it prescribes nothing."],
    }))
    .unwrap()
}

fn page(report: &Report, manner: Manner) -> String {
    let sections = checks::sections();
    html(&Page { report, sections: &sections, stills: &[], drawings: &[], space: "", manner })
}

#[test]
fn text_from_outside_stays_text() {
    let id = "</title><script>alert(1)</script>\u{202e}\u{5d0}\u{5d1}\u{1}\" onload=\"x";
    let mut report = bare(id, "<img src=x onerror=alert(2)>\u{202e}.stl");
    let hostile = "<b onclick='x'>\u{2067}\u{1}bold\u{2}</b> & \"quoted\"";
    report.findings.push(
        Finding::new("room", hostile, Verdict::Short, hostile)
            .at(Where::default().words(hostile))
            .settled_by(hostile),
    );
    report.questions.push(saddleroom::report::Question {
        to: "dentist".into(),
        text: hostile.into(),
        because: hostile.into(),
    });
    report.cautions.push(hostile.into());
    for language in Language::ALL {
        let page = page(&report, Manner { language, notation: Notation::Palmer });
        for mark in ["<script", "<img", "<b onclick", "\u{202e}", "\u{2067}", "\u{1}", "\" onload"] {
            assert!(!page.contains(mark), "{mark:?} reached the page");
        }
        assert!(page.contains("&lt;script&gt;alert(1)&lt;/script&gt;"));
        assert!(page.contains("<bdi>") && page.contains("\u{5d0}\u{5d1}"));
        // Elements that are opened are closed.
        for element in
            ["section", "table", "ul", "ol", "li", "tr", "td", "div", "bdi", "details", "span", "b"]
        {
            let opened =
                page.matches(&format!("<{element}>")).count() + page.matches(&format!("<{element} ")).count();
            assert_eq!(opened, page.matches(&format!("</{element}>")).count(), "{element}");
        }
    }
}

#[test]
fn a_case_with_nothing_measured_says_so() {
    let page = page(&bare("bare", "lower.stl"), Manner::default());
    assert!(page.contains("Nothing was judged.") && page.contains("No figure was judged."));
    assert!(page.contains("No question is open.") && page.contains("prescribes nothing"));
}

#[test]
fn four_hundred_findings_stay_readable() {
    let mut report = bare(&"long-".repeat(800), &format!("{}.stl", "n".repeat(3000)));
    for n in 0..400 {
        let verdict = [Verdict::Short, Verdict::Tight, Verdict::NotMeasured, Verdict::Exceeds][n % 4];
        report.findings.push(Finding::new(
            "room",
            "attachment_room",
            verdict,
            format!("Finding {n} without place."),
        ));
    }
    let page = page(&report, Manner::default());
    assert!(page.contains("100 short") && page.contains("100 tight"));
    assert!(
        page.lines().all(|l| !l.contains("<h1>") || l.chars().count() < 400),
        "the heading fills the screen"
    );
    // First screen: at most ten lines a group and a way to the rest; on paper some rows and how many more there are.
    let answer = page.split("id=\"figures\"").next().unwrap();
    assert!(answer.matches("<li>").count() <= 45, "{}", answer.matches("<li>").count());
    assert!(answer.contains("and 90 more, in the table below"));
    let table = page.split("id=\"figures\"").nth(1).unwrap().split("</section>").next().unwrap();
    assert_eq!(table.matches("<tr class=").count(), 400);
    assert_eq!(table.matches("<tr class=\"calm screen\"").count(), 378);
    assert!(table.contains("378 more rows stand on the page on screen"));
}

/// Text of a page without scripts, styles and drawings.
fn text_of(page: &str) -> String {
    let mut rest = page.to_owned();
    for element in ["script", "style", "svg"] {
        while let Some(from) = rest.find(&format!("<{element}")) {
            let close = format!("</{element}>");
            let to = rest[from..].find(&close).map_or(rest.len(), |n| from + n + close.len());
            rest.replace_range(from..to, " ");
        }
    }
    let mut out = String::new();
    let mut inside = false;
    for c in rest.chars() {
        match c {
            '<' => inside = true,
            '>' => {
                inside = false;
                out.push(' ');
            }
            c if !inside => out.push(c),
            _ => {}
        }
    }
    out
}

/// Numbers with decimals in a text, without sign.
fn decimals(text: &str) -> BTreeSet<String> {
    text.split(|c: char| !(c.is_ascii_digit() || c == '.'))
        .map(|word| word.trim_matches('.'))
        .filter(|word| word.matches('.').count() == 1)
        .map(str::to_owned)
        .collect()
}

fn rounded(number: f64, into: &mut BTreeSet<String>) {
    let n = number.abs();
    into.extend([format!("{n:.1}"), format!("{n:.2}"), format!("{n:.3}")]);
}

/// Every number of a JSON value as it may be shown: rounded, twice an uncertainty, less its limit, in inches.
fn numbers(value: &Value, into: &mut BTreeSet<String>) {
    match value {
        Value::Number(n) => {
            let n = n.as_f64().unwrap();
            rounded(n, into);
            rounded(n / 25.4, into);
        }
        Value::String(s) => into.extend(decimals(s)),
        Value::Array(all) => all.iter().for_each(|v| numbers(v, into)),
        Value::Object(all) => {
            for (key, v) in all {
                if key.contains("uncertainty") {
                    rounded(2.0 * v.as_f64().unwrap_or(0.0), into);
                }
                numbers(v, into);
            }
            let figure = all.get("value").and_then(|v| v["number"].as_f64());
            let limit = all.get("limit").and_then(|l| l["at_least"].as_f64().or(l["at_most"].as_f64()));
            if let (Some(figure), Some(limit)) = (figure, limit) {
                rounded(figure - limit, into);
            }
        }
        _ => {}
    }
}

#[test]
fn the_page_of_a_sample_says_what_its_json_says() {
    let dir = tempfile::tempdir().unwrap();
    let case = concat!(env!("CARGO_MANIFEST_DIR"), "/sample-meshes/oban/case.toml");
    let out = dir.path().display().to_string();
    let ran = command::saddleroom(&["check", case, "--quiet", "--out", &out]);
    assert_ne!(ran.code, 2, "{}", ran.err);
    let read = |name: &str| std::fs::read(dir.path().join(name)).unwrap();
    let page_bytes = read("report.html");
    assert!(page_bytes.len() < 8_000_000, "{} bytes", page_bytes.len());
    let page_text = String::from_utf8(page_bytes).unwrap();
    let json: Value = serde_json::from_slice(&read("report.json")).unwrap();
    let mut known = BTreeSet::new();
    numbers(&json, &mut known);
    let said = decimals(&text_of(&page_text));
    assert!(said.len() > 100, "only {} figures found on the page", said.len());
    let unknown: Vec<&String> = said.difference(&known).collect();
    assert!(unknown.is_empty(), "on the page, not in report.json: {unknown:?}");

    for input in json["inputs"].as_array().unwrap() {
        assert!(page_text.contains(input["sha256"].as_str().unwrap()));
    }
    // The same report in German and with other numbers of teeth.
    let report: Report = serde_json::from_value(json).unwrap();
    let german = page(&report, Manner { language: Language::German, notation: Notation::Universal });
    assert!(german.contains("<html lang=\"de\">") && german.contains("Kennedy-Klasse II"));
    assert!(german.contains("Es fehlen: #19, #18, #29") || german.contains("#18"), "no Universal number");
    let room = report.spans.iter().find_map(|s| s.site.as_ref()).unwrap().room_mm;
    let comma = format!("{room:.2} mm").replace('.', ",");
    assert!(german.contains(&comma) && german.contains("Dieses Blatt misst und vergleicht"), "{comma}");
    for verdict in ["passt", "Hinweis"] {
        assert!(german.contains(verdict));
    }
    // The words of the cautions in the English file are those of the report.
    let words = Manner::default();
    for (n, caution) in report.cautions.iter().enumerate() {
        assert_eq!(words.known(&format!("caution.{n}")), Some(caution.as_str()));
    }
    // Every finding of the sample has a plain name.
    let nameless: Vec<&str> =
        report.findings.iter().filter(|f| words.name(f).is_none()).map(|f| f.code.as_str()).collect();
    assert!(nameless.is_empty(), "{nameless:?}");
    // Text and JSON carry the same findings.
    let text: String =
        render::text::report(&report, &checks::sections(), &words).split_whitespace().collect();
    for finding in &report.findings {
        let says: String = finding.says.split_whitespace().collect();
        assert!(text.contains(&says), "not in the text: {}", finding.says);
    }
    for name in [
        "undercut-occlusal.png",
        "undercut-lingual-left.png",
        "undercut-lingual-right.png",
        "undercut-frontal.png",
        "keepout.stl",
        "blockout.stl",
        "curves.obj",
        "tripod.ply",
        "case.glb",
        "sections/lingual_wall.svg",
        "sections/torus-left.svg",
    ] {
        assert!(read(name).len() > 84, "{name}");
    }
}
