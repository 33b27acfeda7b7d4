//! The program's own source text, read by the tests that hold the rules of the house.

use std::path::{Path, PathBuf};

/// One file of `src/`, without comments and without its tests.
#[derive(Debug)]
pub struct Source {
    /// Path from the root of the repository, with `/`.
    pub path: String,
    /// Modules from the root of the crate: `src/measure/torus/mod.rs` is `["measure", "torus"]`.
    pub module: Vec<String>,
    /// What is left of the text once comments and tests are taken out; lines keep their numbers.
    pub code: String,
    /// Number of lines of the whole file.
    pub lines: usize,
    /// The file is compiled for tests only.
    pub test_only: bool,
}

/// Root of the repository.
pub fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// All Rust files of a folder of the repository, in the order of their names.
pub fn files(folder: &str) -> Vec<Source> {
    let mut paths = Vec::new();
    collect(&root().join(folder), &mut paths);
    paths.sort();
    let mut sources: Vec<Source> = paths.iter().map(|p| read(p)).collect();
    let test_only: Vec<String> = paths.iter().flat_map(|p| test_files_of(p)).collect();
    for source in &mut sources {
        source.test_only |=
            test_only.iter().any(|t| source.path == *t || source.path.starts_with(&format!("{t}/")));
    }
    sources
}

fn collect(folder: &Path, paths: &mut Vec<PathBuf>) {
    let Ok(entries) = std::fs::read_dir(folder) else { return };
    for entry in entries {
        let path = entry.unwrap().path();
        if path.is_dir() {
            collect(&path, paths);
        } else if path.extension().is_some_and(|e| e == "rs") {
            paths.push(path);
        }
    }
}

fn slashed(path: &Path) -> String {
    path.strip_prefix(root()).unwrap().to_string_lossy().replace('\\', "/")
}

fn read(path: &Path) -> Source {
    let text = std::fs::read_to_string(path).unwrap();
    let slashed = slashed(path);
    let mut module: Vec<String> =
        slashed.trim_end_matches(".rs").split('/').skip(1).map(str::to_owned).collect();
    if module.last().is_some_and(|last| matches!(last.as_str(), "mod" | "lib" | "main")) {
        module.pop();
    }
    let test_only = slashed.ends_with("/tests.rs") || slashed.ends_with("_tests.rs");
    Source { code: code_of(&text), path: slashed, module, lines: text.lines().count(), test_only }
}

/// Files and folders that a file declares as modules for tests only.
fn test_files_of(path: &Path) -> Vec<String> {
    let text = std::fs::read_to_string(path).unwrap();
    let folder = match path.file_name().and_then(|n| n.to_str()) {
        Some("mod.rs" | "lib.rs" | "main.rs") => path.parent().unwrap().to_owned(),
        _ => path.with_extension(""),
    };
    let lines: Vec<&str> = text.lines().map(str::trim).collect();
    let mut found = Vec::new();
    for (i, _) in lines.iter().enumerate().filter(|(_, l)| **l == "#[cfg(test)]") {
        for line in lines.iter().skip(i + 1).take(3) {
            if let Some(name) = line.strip_prefix("#[path = \"").and_then(|l| l.strip_suffix("\"]")) {
                found.push(slashed(&path.parent().unwrap().join(name)));
            }
            let declared = line.trim_start_matches("pub ").trim_start_matches("pub(crate) ");
            if let Some(name) = declared.strip_prefix("mod ").and_then(|l| l.strip_suffix(';')) {
                found.push(slashed(&folder.join(format!("{name}.rs"))));
                found.push(slashed(&folder.join(name)));
                break;
            }
        }
    }
    found
}

/// The text without comments and without the module of tests at its foot; lines keep their numbers.
pub fn code_of(text: &str) -> String {
    let end = ["mod tests {", "pub(super) mod tests {"]
        .iter()
        .filter_map(|m| text.find(&format!("#[cfg(test)]\n{m}")))
        .min()
        .unwrap_or(text.len());
    text[..end].lines().map(without_comment).collect::<Vec<_>>().join("\n")
}

fn without_comment(line: &str) -> &str {
    let mut in_text = false;
    let mut before = ' ';
    for (i, c) in line.char_indices() {
        match c {
            '"' if before != '\\' && before != '\'' => in_text = !in_text,
            '/' if before == '/' && !in_text => return &line[..i - 1],
            _ => {}
        }
        before = c;
    }
    line
}

/// Line, counted from 1, of a byte of a text.
pub fn line_of(text: &str, at: usize) -> usize {
    text[..at].matches('\n').count() + 1
}
