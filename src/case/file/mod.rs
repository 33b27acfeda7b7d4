//! The case file: raw TOML, then validated. All problems are returned at once, each with line, key and the mend.

mod places;
mod problem;
mod raw;
mod read;
mod support;
mod teeth;
mod validate;

pub use problem::{Problem, Problems};

use super::CaseFile;
use problem::Sheet;
use read::Placed;

/// Longest case file that is read, bytes: a hundred times what marks on every tooth take.
const LONGEST: usize = 4 << 20;

/// Reads and validates a case file. `known_limits` are the ids that `[limits]` may name. File names are kept as
/// written, relative to the case file; nothing is opened here.
///
/// # Errors
/// All problems found, in the order of the file.
///
/// # Examples
/// ```
/// let text = "restored_arch = \"mandible\"\n[scans]\nmandible = \"lower.stl\"\n[chart]\nmissing = [36, 36]\n";
/// let problems = saddleroom::case::file::parse(text, &[]).unwrap_err();
/// assert_eq!((problems.0[0].line, problems.0[0].key.as_str()), (5, "chart.missing[1]"));
/// ```
pub fn parse(text: &str, known_limits: &[&str]) -> Result<CaseFile, Problems> {
    let mut sheet = Sheet::default();
    if text.len() > LONGEST {
        sheet.report(Problem {
            key: String::new(),
            span: None,
            line: 1,
            column: 1,
            says: "the file is longer than 4 MiB, which no case file is".into(),
            mend: "give the case file (TOML text); scans are named in it under [scans]".into(),
        });
        return Err(sheet.into_problems(text));
    }
    let (document, errors) = toml::de::DeTable::parse_recoverable(text);
    let readable = errors.iter().all(|e| e.message().contains("duplicate key"));
    for error in &errors {
        sheet.syntax(error.message(), error.span());
    }
    if !readable {
        return Err(sheet.into_problems(text));
    }
    let root = Placed { key: String::new(), span: 0..0, value: document.into_inner() };
    let raw = raw::RawCase::read_table(&root, &mut sheet);
    let file = validate::case(&raw, known_limits, &mut sheet);
    match (sheet.is_clean(), file) {
        (true, Some(file)) => Ok(file),
        _ => Err(sheet.into_problems(text)),
    }
}

/// JSON Schema (draft 2020-12) of the case file, for the TOML's values written as JSON.
pub fn schema() -> serde_json::Value {
    schemars::schema_for!(raw::RawCase).to_value()
}

#[cfg(test)]
mod tests;
