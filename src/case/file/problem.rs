//! What is wrong with a case file, and the sheet on which problems are collected.

use std::ops::Range;

use super::read::Placed;
use crate::load::printable;

/// One thing wrong with a case file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// Dotted key, `chart.missing[1]`; empty for the file as a whole.
    pub key: String,
    /// Byte range in the text, for a pointer to the place.
    pub span: Option<Range<usize>>,
    /// Line, counted from 1.
    pub line: usize,
    /// Character of the line, counted from 1.
    pub column: usize,
    /// What is wrong, without a full stop.
    pub says: String,
    /// What to do about it, without a full stop.
    pub mend: String,
}

/// All that is wrong with a case file.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{}", in_words(.0))]
pub struct Problems(pub Vec<Problem>);

fn in_words(problems: &[Problem]) -> String {
    let lines: Vec<String> = problems
        .iter()
        .map(|p| match p.key.as_str() {
            "" => format!("line {}, column {}: {}; {}", p.line, p.column, p.says, p.mend),
            key => format!("line {}, {key}: {}; {}", p.line, p.says, p.mend),
        })
        .collect();
    lines.join("\n")
}

/// Problems listed at most: after these the file is something else than a case file.
const MOST: usize = 200;
/// Characters of a sentence or a key at most: what stands in the file may be quoted in them.
const LONGEST: usize = 600;

/// Collects problems while a file is read and validated.
#[derive(Debug, Default)]
pub(super) struct Sheet {
    problems: Vec<Problem>,
    left_out: usize,
}

impl Sheet {
    /// A problem at a place of the file.
    pub(super) fn at<T>(&mut self, place: &Placed<T>, says: impl Into<String>, mend: impl Into<String>) {
        self.put(&place.key, Some(place.span.clone()), says, mend);
    }

    /// A problem at a key, with a place where it has one.
    pub(super) fn put(
        &mut self,
        key: &str,
        span: Option<Range<usize>>,
        says: impl Into<String>,
        mend: impl Into<String>,
    ) {
        let (says, mend) = (says.into(), mend.into());
        self.report(Problem { key: key.into(), span, line: 1, column: 1, says, mend });
    }

    /// A place where the text is no TOML.
    pub(super) fn syntax(&mut self, message: &str, span: Option<Range<usize>>) {
        let message = message.trim().replace('\n', ", ");
        self.put("", span, format!("not TOML: {message}"), "correct the text at this place");
    }

    pub(super) fn report(&mut self, problem: Problem) {
        if self.problems.len() < MOST {
            self.problems.push(problem);
        } else {
            self.left_out += 1;
        }
    }

    pub(super) fn is_clean(&self) -> bool {
        self.problems.is_empty()
    }

    /// Whether a problem at this key stands on the sheet, so that its absence need not be told as well.
    pub(super) fn names(&self, key: &str) -> bool {
        self.problems.iter().any(|p| p.key == key)
    }

    /// Whether a problem at this key or inside it stands on the sheet.
    pub(super) fn names_within(&self, key: &str) -> bool {
        let inside = |p: &Problem| {
            p.key.strip_prefix(key).is_some_and(|rest| rest.is_empty() || rest.starts_with(['[', '.']))
        };
        self.problems.iter().any(inside)
    }

    /// The problems in the order of the file, with lines and columns.
    pub(super) fn into_problems(mut self, text: &str) -> Problems {
        self.problems.sort_by_key(|p| p.span.as_ref().map(|s| s.start));
        let (mut line, mut line_start, mut seen) = (1, 0, 0);
        for problem in &mut self.problems {
            let start = problem.span.as_ref().map_or(0, |s| s.start).min(text.len());
            for (i, byte) in text.as_bytes().iter().enumerate().take(start).skip(seen) {
                if *byte == b'\n' {
                    (line, line_start) = (line + 1, i + 1);
                }
            }
            seen = seen.max(start);
            problem.says = printable(&problem.says, LONGEST);
            problem.mend = printable(&problem.mend, LONGEST);
            problem.key = printable(&problem.key, LONGEST);
            problem.line = line;
            problem.column = text.get(line_start..start).map_or(1, |before| before.chars().count() + 1);
        }
        if self.left_out > 0 {
            self.problems.push(Problem {
                key: String::new(),
                span: None,
                line,
                column: 1,
                says: format!("{} more problems are not listed", self.left_out),
                mend: "mend the first ones and check again".into(),
            });
        }
        Problems(self.problems)
    }
}

/// The known word nearest to one that is not known, where it is near enough to be meant.
pub(super) fn nearest<'k>(word: &str, known: &[&'k str]) -> Option<&'k str> {
    let far = (word.chars().count() / 3).max(2);
    known
        .iter()
        .map(|k| (edits(&word.to_ascii_lowercase(), k), *k))
        .filter(|(distance, _)| *distance <= far)
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, k)| k)
}

/// Least number of characters put in, taken out, or changed between two words (two neighbours that changed places
/// count two). Only short words are compared.
fn edits(a: &str, b: &str) -> usize {
    let (a, b): (Vec<char>, Vec<char>) = (a.chars().take(64).collect(), b.chars().collect());
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, ca) in a.iter().enumerate() {
        let mut next = vec![i + 1];
        for ((left_above, above), cb) in row.iter().zip(row.iter().skip(1)).zip(&b) {
            let left = next.last().map_or(i + 1, |v| *v);
            next.push((left_above + usize::from(ca != cb)).min(above + 1).min(left + 1));
        }
        row = next;
    }
    row.last().map_or(0, |v| *v)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_known_word_is_offered_only_when_it_is_near() {
        let known = ["missing", "extractions", "pontics"];
        assert_eq!(nearest("mising", &known), Some("missing"));
        assert_eq!(nearest("Missing", &known), Some("missing"));
        assert_eq!(nearest("extraction", &known), Some("extractions"));
        assert_eq!(nearest("colour", &known), None);
        assert_eq!(edits("kitten", "sitting"), 3);
        assert_eq!(edits("", "ab"), 2);
    }

    #[test]
    fn problems_come_in_the_order_of_the_file_with_line_and_column() {
        let text = "a = 1\nß = 2 x\n";
        let mut sheet = Sheet::default();
        sheet.put("b", Some(13..14), "second", "mend");
        sheet.put("a", Some(4..5), "first", "mend");
        let problems = sheet.into_problems(text).0;
        assert_eq!((problems[0].line, problems[0].column), (1, 5));
        assert_eq!((problems[1].line, problems[1].column), (2, 7));
    }
}
