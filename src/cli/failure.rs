//! Why a command could do nothing, told to a human: what, where, and what to do about it.

use std::io::{IsTerminal, Write};
use std::path::Path;

use miette::{GraphicalReportHandler, GraphicalTheme, LabeledSpan, MietteDiagnostic, NamedSource};

use crate::case::file::Problems;

/// Ends a command with exit 2.
#[derive(Debug)]
pub(super) enum Failure {
    /// One thing, and what to do about it.
    One {
        /// What and where.
        says: String,
        /// What to do.
        mend: Option<String>,
    },
    /// A case file with all its problems.
    CaseFile {
        /// Its name as given.
        name: String,
        /// Its text.
        text: String,
        /// What is wrong.
        problems: Problems,
    },
    /// Several, told one after the other.
    Several(Vec<Failure>),
}

impl Failure {
    pub(super) fn new(says: impl Into<String>, mend: impl Into<String>) -> Failure {
        Failure::One { says: says.into(), mend: Some(mend.into()) }
    }

    /// A file operation that the system refused.
    pub(super) fn io(doing: &str, path: &Path, error: &std::io::Error, mend: &str) -> Failure {
        Failure::new(format!("cannot {doing} {}: {error}", path.display()), mend)
    }

    /// It as plain lines, for the page.
    pub(super) fn plain(&self) -> String {
        match self {
            Failure::One { says, mend: Some(mend) } => format!("{says}; {mend}"),
            Failure::One { says, mend: None } => says.clone(),
            Failure::Several(all) => all.iter().map(Failure::plain).collect::<Vec<_>>().join("\n"),
            Failure::CaseFile { name, problems, .. } => format!("{name}: {problems}"),
        }
    }

    /// Writes it to standard error; colours only where a person looks.
    pub(super) fn tell(&self) {
        let mut out = String::new();
        self.draw(&mut out);
        // Nothing is left to be told where even standard error is closed.
        let _ = anstream::AutoStream::auto(std::io::stderr()).write_all(out.as_bytes());
    }

    fn draw(&self, out: &mut String) {
        match self {
            Failure::One { says, mend } => {
                let mut diagnostic = MietteDiagnostic::new(says.as_str());
                diagnostic.help.clone_from(mend);
                draw(out, &miette::Report::new(diagnostic));
            }
            Failure::Several(failures) => failures.iter().for_each(|f| f.draw(out)),
            Failure::CaseFile { name, text, problems } => {
                for problem in &problems.0 {
                    let at = format!("{name}, line {}", problem.line);
                    let says = if problem.key.is_empty() {
                        format!("{at}: {}", problem.says)
                    } else {
                        format!("{at}, {}: {}", problem.key, problem.says)
                    };
                    let mut diagnostic = MietteDiagnostic::new(says).with_help(problem.mend.as_str());
                    let span =
                        problem.span.clone().filter(|s| s.end <= text.len() && shows_well(text, s.start));
                    let Some(span) = span else {
                        draw(out, &miette::Report::new(diagnostic));
                        continue;
                    };
                    diagnostic = diagnostic.with_label(LabeledSpan::at(span, "here"));
                    let source = NamedSource::new(name, harmless(text)).with_language("toml");
                    draw(out, &miette::Report::new(diagnostic).with_source_code(source));
                }
                let many = problems.0.len();
                if many > 1 {
                    out.push_str(&format!("{many} problems in {name}; nothing was measured.\n"));
                }
            }
        }
    }
}

/// Whether the lines around a place are short enough to be shown; a list of thousands of places is one line.
fn shows_well(text: &str, at: usize) -> bool {
    const LONGEST: usize = 4000;
    let around = |from: usize, to: usize| text.as_bytes().get(from..to.min(text.len())).unwrap_or_default();
    let before = around(at.saturating_sub(LONGEST), at).iter().rev().position(|b| *b == b'\n');
    let after = around(at, at + LONGEST).iter().position(|b| *b == b'\n');
    (before.is_some() || at < LONGEST) && (after.is_some() || at + LONGEST > text.len())
}

/// The text of a file without what a terminal would obey; every other byte keeps its place.
fn harmless(text: &str) -> String {
    let kept = |c: char| !c.is_control() || matches!(c, '\n' | '\r' | '\t');
    text.chars().fold(String::with_capacity(text.len()), |mut out, c| {
        if kept(c) {
            out.push(c)
        } else {
            out.extend(std::iter::repeat_n('?', c.len_utf8()))
        }
        out
    })
}

fn draw(out: &mut String, report: &miette::Report) {
    // Lines are broken for a person only: whoever searches a log wants each message in one piece.
    let handler = GraphicalReportHandler::new_themed(GraphicalTheme::unicode())
        .with_width(100)
        .with_wrap_lines(std::io::stderr().is_terminal())
        .with_break_words(false)
        .with_links(false);
    if handler.render_report(out, report.as_ref()).is_err() {
        out.push_str(&report.to_string());
        out.push('\n');
    }
}

/// Tells of a fault in the program itself, in place of a bare backtrace.
pub(super) fn tell_fault(info: &std::panic::PanicHookInfo<'_>) {
    let place = info.location().map_or_else(String::new, |l| format!(" ({}, line {})", l.file(), l.line()));
    let what = info.payload_as_str().unwrap_or("no message");
    let text = format!(
        "saddleroom stopped because of a fault in the program itself{place}: {what}.\n\
         No file that was already there has been changed half way. Please report it with the command line and, where \
         that is allowed, the input.\n"
    );
    let _ = std::io::stderr().write_all(text.as_bytes());
}
