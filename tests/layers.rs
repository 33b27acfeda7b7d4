//! The floors of the house: a module uses what stands on a lower floor, never what stands above it.

#![allow(clippy::unwrap_used)] // a test that cannot read its own files has failed

#[allow(dead_code)] // each test reads its own part of it
mod source;

use source::{Source, files, line_of};

/// Each module with the modules that it may use.
#[rustfmt::skip]
const MAY_USE: &[(&str, &[&str])] = &[
    // Floor 0: words.
    ("units", &["space"]),
    ("space", &["units"]),
    ("estimate", &["units"]),
    // Floor 1: surfaces.
    ("mesh", WORDS),
    ("load", &["units", "space", "estimate", "mesh"]),
    ("locate", &["units", "space", "estimate", "mesh"]),
    // Floor 2: the case.
    ("case", SURFACES),
    // Beside floors 2 to 4: limits and the vocabulary of results.
    ("report", &["units", "space", "estimate", "mesh", "case"]),
    ("rules", &["units", "space", "estimate", "mesh", "case", "report"]),
    // Floor 3: what is where. No limit and no advice, so no `rules` here and in measure and mechanics.
    ("anatomy", &["units", "space", "estimate", "mesh", "load", "locate", "case", "report"]),
    // Floor 4: facts. The phantoms are measured by what stands beside them, so they share none of it.
    ("measure", &["units", "space", "estimate", "mesh", "load", "locate", "case", "report", "anatomy"]),
    ("mechanics", &["units", "space", "estimate", "mesh", "load", "locate", "case", "report", "anatomy", "measure"]),
    ("facts", &["units", "space", "estimate", "mesh", "load", "locate", "case", "report", "rules", "anatomy", "measure", "mechanics"]),
    ("phantom", &["units", "space", "estimate", "mesh", "load", "locate", "case", "report"]),
    // Floor 5.
    ("checks", FACTS),
    // Floor 6.
    ("analysis", &["units", "space", "estimate", "mesh", "load", "locate", "case", "report", "rules", "anatomy", "measure", "mechanics", "facts", "phantom", "checks"]),
    ("render", &["units", "space", "estimate", "mesh", "locate", "report"]),
    // Floor 7.
    ("cli", EVERYTHING),
    ("serve", EVERYTHING),
];

const WORDS: &[&str] = &["units", "space", "estimate"];
const SURFACES: &[&str] = &["units", "space", "estimate", "mesh", "load", "locate"];
#[rustfmt::skip]
const FACTS: &[&str] = &["units", "space", "estimate", "mesh", "load", "locate", "case", "report", "rules", "anatomy", "measure", "mechanics", "facts", "phantom"];
#[rustfmt::skip]
const EVERYTHING: &[&str] = &["units", "space", "estimate", "mesh", "load", "locate", "case", "report", "rules", "anatomy", "measure", "mechanics", "facts", "phantom", "checks", "analysis", "render", "cli", "serve"];

/// Modules that read and write files, talk to the network, look at the surroundings of the process, or print.
const OUTSIDE: &[&str] = &["cli", "serve", "main"];

/// What only they may use.
const OUTSIDE_WORDS: &[&str] = &[
    "std::fs",
    "std::net",
    "std::env",
    "std::process",
    "io::stdout",
    "io::stderr",
    "io::stdin",
    "println!",
    "print!",
    "eprintln!",
    "eprint!",
    "dbg!",
    "File::open",
    "File::create",
    "tempfile::",
    "indicatif::",
    "clap::",
];

/// Crates that one module alone may use.
#[rustfmt::skip]
const SOLE_USERS: &[(&str, &[&str])] = &[
    ("kiddo::", &["locate"]),
    ("parry3d", &["locate"]),
    ("stl_io::", &["load", "render", "phantom"]),
    ("tobj::", &["load"]),
    ("toml::", &["case", "phantom", "cli"]),
    ("serde_ply::", &["load", "render"]),
    ("png::", &["render"]),
    ("plotly::", &["render"]),
    ("meshopt::", &["render"]),
];

/// A use of another module: which, and on which line.
#[derive(Debug, PartialEq, Eq)]
struct Use {
    module: String,
    line: usize,
}

/// Modules of the crate that a text names, as `crate::x`, in a group `crate::{x, y}`, or by going up with `super`.
fn uses(code: &str, depth: usize) -> Vec<Use> {
    let mut found = Vec::new();
    for (at, _) in code.match_indices("crate::") {
        if !word_begins(code, at) {
            continue;
        }
        for module in heads(&code[at + "crate::".len()..]) {
            found.push(Use { module, line: line_of(code, at) });
        }
    }
    let up = "super::".repeat(depth.max(1));
    for (at, _) in code.match_indices(&up) {
        if word_begins(code, at)
            && !code[at + up.len()..].starts_with("super::")
            && !code[..at].ends_with("super::")
        {
            for module in heads(&code[at + up.len()..]) {
                found.push(Use { module, line: line_of(code, at) });
            }
        }
    }
    found
}

fn word_begins(code: &str, at: usize) -> bool {
    !code[..at].ends_with(|c: char| c.is_alphanumeric() || c == '_' || c == '$')
}

/// The first name of a path, or of each path of a group.
fn heads(after: &str) -> Vec<String> {
    let name = |text: &str| -> String {
        text.trim_start().chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect()
    };
    let Some(group) = after.strip_prefix('{') else { return vec![name(after)] };
    let (mut depth, mut parts, mut part) = (0, Vec::new(), String::new());
    for c in group.chars() {
        match c {
            '{' => depth += 1,
            '}' if depth == 0 => break,
            '}' => depth -= 1,
            ',' if depth == 0 => parts.push(std::mem::take(&mut part)),
            _ => {}
        }
        part.push(c);
    }
    parts.push(part);
    parts.iter().map(|p| name(p.trim_start_matches(','))).filter(|n| !n.is_empty()).collect()
}

fn allowed(from: &str) -> Option<&'static [&'static str]> {
    MAY_USE.iter().find(|(module, _)| *module == from).map(|(_, may)| *may)
}

/// Every edge of one file that the floors do not allow.
fn wrong_edges(source: &Source) -> Vec<String> {
    let Some(from) = source.module.first() else { return Vec::new() };
    let Some(may) = allowed(from) else { return vec![format!("{}: `{from}` has no floor", source.path)] };
    uses(&source.code, source.module.len())
        .into_iter()
        .filter(|used| used.module != *from && allowed(&used.module).is_some())
        .filter(|used| !may.contains(&used.module.as_str()))
        .map(|used| format!("{}:{}: `{from}` may not use `{}`", source.path, used.line, used.module))
        .collect()
}

#[test]
fn no_module_uses_what_stands_above_it() {
    let sources = files("src");
    assert!(sources.len() > 20, "the source was not found");
    let wrong: Vec<String> = sources.iter().filter(|s| !s.test_only).flat_map(wrong_edges).collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn only_the_command_line_and_the_page_touch_the_outside() {
    let mut wrong = Vec::new();
    for source in files("src").iter().filter(|s| !s.test_only) {
        let module = source.module.first().map_or("main", String::as_str);
        if OUTSIDE.contains(&module) {
            continue;
        }
        for word in OUTSIDE_WORDS {
            for (at, _) in source.code.match_indices(word).filter(|(at, _)| word_begins(&source.code, *at)) {
                wrong.push(format!("{}:{}: {word}", source.path, line_of(&source.code, at)));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn a_crate_that_has_one_user_is_used_there_alone() {
    let mut wrong = Vec::new();
    for source in files("src").iter().filter(|s| !s.test_only) {
        let module = source.module.first().map_or("", String::as_str);
        for (name, users) in SOLE_USERS.iter().filter(|(_, users)| !users.contains(&module)) {
            for (at, _) in source.code.match_indices(name).filter(|(at, _)| word_begins(&source.code, *at)) {
                let line = line_of(&source.code, at);
                wrong.push(format!("{}:{line}: {name} belongs to {}", source.path, users.join(", ")));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_floors_are_a_house_without_circles() {
    // Above floor 0, whose words may name each other, no module may be reached from what it uses.
    for (module, may) in MAY_USE.iter().filter(|(m, _)| !WORDS.contains(m) && !OUTSIDE.contains(m)) {
        for used in *may {
            let back = allowed(used).unwrap_or_else(|| panic!("`{used}` has no floor"));
            assert!(!back.contains(module), "`{module}` and `{used}` may use each other");
        }
    }
}

#[test]
fn an_edge_upward_is_seen_in_every_spelling() {
    let see = |path: &str, text: &str| {
        let module =
            path.trim_end_matches("/mod.rs").trim_end_matches(".rs").split('/').map(str::to_owned).collect();
        let code = source::code_of(text);
        wrong_edges(&Source { path: path.into(), module, code, lines: 1, test_only: false }).len()
    };
    assert_eq!(see("measure/undercut.rs", "use crate::rules::Rules;"), 1);
    assert_eq!(see("measure/undercut.rs", "use crate::{mesh::Mesh, rules::{Rule, Rules}, checks};"), 2);
    assert_eq!(see("measure/undercut.rs", "fn f() { crate::checks::run() }"), 1);
    assert_eq!(see("measure/undercut.rs", "use super::super::rules::Rules;"), 1);
    assert_eq!(see("measure/mod.rs", "use super::rules::Rules;"), 1);
    assert_eq!(see("render/html.rs", "use crate::facts::Facts;"), 1);
    assert_eq!(see("measure/undercut.rs", "use super::rules; // crate::rules\nuse crate::mesh::Mesh;"), 0);
    assert_eq!(see("measure/undercut.rs", "#[cfg(test)]\nmod tests {\n use crate::phantom::sphere;\n}"), 0);
    assert_eq!(see("attic/mod.rs", ""), 1);
}
