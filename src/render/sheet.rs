//! The sheet as blocks, in the order in which it is read; text and HTML are made of the same blocks.

use super::words::Manner;
use crate::report::{
    ArticulationState, DefectShown, Figure, Finding, Input, LimitShown, Notation, Question, Report, Section,
    Verdict,
};
use crate::units::{self, Unit};

/// A piece of the sheet.
#[derive(Clone, Debug, PartialEq)]
pub enum Block {
    /// What the sheet is about.
    Title(String),
    /// Heading of a part.
    Heading(String),
    /// A paragraph.
    Paragraph(String),
    /// Findings.
    Items(Vec<Item>),
    /// A table.
    Table(Table),
    /// A numbered list.
    List(Vec<String>),
}

/// A finding on the sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Item {
    /// Its verdict; `None` for a plain statement.
    pub verdict: Option<Verdict>,
    /// What is said.
    pub says: String,
    /// Limit, place, what would settle it: one line each.
    pub details: Vec<String>,
}

/// A table.
#[derive(Clone, Debug, PartialEq)]
pub struct Table {
    /// What it shows.
    pub caption: String,
    /// Headings of the columns.
    pub head: Vec<String>,
    /// Rows; each as long as the head.
    pub rows: Vec<Vec<String>>,
}

impl Table {
    /// An empty table.
    pub fn new(caption: &str, head: &[&str]) -> Table {
        Table {
            caption: caption.to_owned(),
            head: head.iter().map(|&h| h.to_owned()).collect(),
            rows: Vec::new(),
        }
    }
}

/// Verdicts in the order in which they want attention.
const URGENCY: [Verdict; 5] =
    [Verdict::Short, Verdict::Exceeds, Verdict::Tight, Verdict::NotMeasured, Verdict::Fits];

fn numbers_are(notation: Notation) -> &'static str {
    match notation {
        Notation::Fdi => "Tooth numbers are FDI (ISO 3950) unless another notation is named.",
        Notation::Universal => {
            "Tooth numbers are Universal, written #1 to #32; a bare two-digit number inside a sentence is FDI."
        }
        Notation::Palmer => {
            "Tooth numbers are Palmer, such as UR4; a bare two-digit number inside a sentence is FDI."
        }
    }
}

/// The whole job, its teeth numbered as asked for. `sections` are the checks in the order of the report.
pub fn report(report: &Report, sections: &[Section], manner: &Manner) -> Vec<Block> {
    let mut blocks = vec![Block::Title(format!(
        "Case {}: {} to be restored",
        report.case.id,
        report.case.restored_arch.word()
    ))];
    let class = report.findings.iter().find(|f| f.code == "kennedy_class");
    blocks.extend(class.map(|f| Block::Paragraph(f.says.clone())));
    blocks.push(Block::Paragraph(numbers_are(manner.notation).into()));
    blocks.push(Block::Heading("In short".into()));
    blocks.push(Block::Paragraph(tally(&report.findings)));
    blocks.push(Block::Items(in_short(&report.findings)));
    if !report.questions.is_empty() {
        blocks.push(Block::Heading("To ask before work goes on".into()));
        blocks.push(Block::List(report.questions.iter().map(question).collect()));
    }
    for section in sections {
        let of = self::section(report, section);
        if !of.is_empty() {
            blocks.push(Block::Heading(section.title.clone()));
            blocks.extend(of);
        }
    }
    blocks.push(Block::Heading("Files".into()));
    blocks.extend(inputs(&report.inputs));
    blocks.extend(cautions(&report.cautions));
    numbered(blocks, manner)
}

/// Findings and tables of one check; empty where it has neither.
pub fn section(report: &Report, section: &Section) -> Vec<Block> {
    let items: Vec<Item> =
        report.findings.iter().filter(|f| f.check == section.id).map(|f| item(f, true)).collect();
    let mut blocks = if items.is_empty() { vec![] } else { vec![Block::Items(items)] };
    blocks.extend(super::tables::of_section(report, &section.id));
    blocks
}

/// The tables that belong to the answer, each with the key of its caption.
pub(super) fn main_tables(report: &Report) -> Vec<(&'static str, Table)> {
    let connectors = ("connectors.caption", super::tables::connectors(&report.connectors));
    let tori = ("tori.caption", super::tables::tori(&report.tori));
    [connectors, tori].into_iter().filter(|(_, t)| !t.rows.is_empty()).collect()
}

/// The blocks with the numbers of teeth as they are asked for.
pub fn numbered(mut blocks: Vec<Block>, manner: &Manner) -> Vec<Block> {
    if manner.notation == Notation::Fdi {
        return blocks;
    }
    let says = |text: &mut String| *text = manner.sentence(text).into_owned();
    for block in &mut blocks {
        match block {
            Block::Title(_) => {}
            Block::Heading(text) | Block::Paragraph(text) => says(text),
            Block::List(lines) => lines.iter_mut().for_each(says),
            Block::Items(items) => {
                for i in items {
                    says(&mut i.says);
                    i.details.iter_mut().for_each(says);
                }
            }
            Block::Table(t) => {
                let teeth: Vec<bool> =
                    t.head.iter().map(|h| matches!(h.as_str(), "tooth" | "span")).collect();
                for row in &mut t.rows {
                    for (cell, of_teeth) in row.iter_mut().zip(&teeth) {
                        // A bare number in another column counts or measures something.
                        if *of_teeth || cell.chars().any(char::is_alphabetic) {
                            says(cell);
                        }
                    }
                }
            }
        }
    }
    blocks
}

/// Cautions with their heading.
pub fn cautions(lines: &[String]) -> Vec<Block> {
    vec![Block::Heading("Cautions".into()), Block::List(lines.to_vec())]
}

/// Findings of a single measurement.
pub fn findings(findings: &[Finding]) -> Vec<Block> {
    if findings.is_empty() {
        vec![]
    } else {
        vec![Block::Items(findings.iter().map(|f| item(f, true)).collect())]
    }
}

fn tally(findings: &[Finding]) -> String {
    let count = |v: Verdict| findings.iter().filter(|f| f.verdict == v).count();
    let parts: Vec<String> = URGENCY
        .iter()
        .chain(&[Verdict::Possible])
        .filter(|&&v| count(v) > 0)
        .map(|&v| format!("{} {}", count(v), v.words()))
        .collect();
    if parts.is_empty() {
        return "Nothing was judged.".to_owned();
    }
    let calm = ![Verdict::Short, Verdict::Exceeds, Verdict::Tight, Verdict::NotMeasured]
        .into_iter()
        .any(|v| count(v) > 0);
    let ending = if calm { " Nothing that was asked for is short." } else { "" };
    format!("{}.{ending}", parts.join(", "))
}

fn in_short(findings: &[Finding]) -> Vec<Item> {
    by_urgency(findings)
        .into_iter()
        .filter(|f| URGENCY.contains(&f.verdict))
        .map(|f| item(f, false))
        .collect()
}

/// Checks in the order in which what they find stops the work; those not named come last.
const STOPS: [&str; 12] = [
    "scan",
    "articulation",
    "room",
    "hinge",
    "connector",
    "undercut",
    "rests",
    "seats",
    "tori",
    "support",
    "path",
    "blockout",
];

/// Findings in the order of what stops the work: by verdict, what is clear before what is not, then by check, then as
/// they came.
pub(super) fn by_urgency(findings: &[Finding]) -> Vec<&Finding> {
    let order = |f: &Finding| {
        let verdict = URGENCY
            .iter()
            .chain(&[Verdict::Possible, Verdict::Ask, Verdict::Caution])
            .position(|&v| v == f.verdict)
            .unwrap_or(usize::MAX);
        (verdict, f.is_unclear(), STOPS.iter().position(|&s| s == f.check).unwrap_or(STOPS.len()))
    };
    let mut all: Vec<&Finding> = findings.iter().collect();
    all.sort_by_key(|f| order(f));
    all
}

fn question(q: &Question) -> String {
    format!("{} Why: {}.", q.text, q.because.trim_end_matches('.'))
}

fn item(f: &Finding, with_details: bool) -> Item {
    let measured = f.value.as_ref().filter(|v| v.uncertainty > 0.0 || f.limit.is_some());
    let mut details: Vec<String> = measured.map(|v| margin_words(v, f)).into_iter().collect();
    if with_details {
        details.extend(f.limit.as_ref().map(limit_words));
        details.extend(f.value.as_ref().filter(|v| !v.contributions.is_empty()).map(|v| {
            let parts: Vec<String> = v
                .contributions
                .iter()
                .filter(|(_, standard)| units::show(*standard, v.unit) != units::show(0.0, v.unit))
                .map(|(source, standard)| format!("{source} {}", units::show(*standard, v.unit)))
                .collect();
            format!("standard uncertainty {}: {}", units::show(v.uncertainty, v.unit), parts.join(", "))
        }));
        details.extend(place_words(f));
    }
    if with_details || f.verdict == Verdict::NotMeasured {
        details.extend(f.settled_by.as_ref().map(|s| format!("would settle it: {s}")));
    }
    let verdict = (f.code != "kennedy_class").then_some(f.verdict);
    Item { verdict, says: f.says.clone(), details }
}

/// The figure beside its limit: `7.62 mm (±0.23), wanted at least 5.00 mm: 2.62 mm to spare`.
fn margin_words(value: &Figure, f: &Finding) -> String {
    let show = |n: f64| units::show(n, value.unit);
    let wide = units::digits(2.0 * value.uncertainty, value.unit.places());
    let figure = if value.uncertainty > 0.0 {
        format!("{} (±{wide})", show(value.number))
    } else {
        show(value.number)
    };
    let Some((limit, margin)) = f.limit.as_ref().zip(f.margin()) else { return figure };
    let wanted = match (limit.at_least, limit.at_most) {
        (Some(least), _) => format!("wanted at least {}", show(least)),
        (None, most) => format!("allowed at most {}", show(most.unwrap_or_default())),
    };
    let outcome = match margin < 0.0 {
        true if limit.at_least.is_some() => "missing",
        true => "too much",
        false => "to spare",
    };
    let unclear = if f.is_unclear() { ", not clear" } else { "" };
    format!("{figure}, {wanted}: {} {outcome}{unclear}", show(margin.abs()))
}

/// A limit with its source and whether the case changed it.
pub fn limit_words(limit: &LimitShown) -> String {
    let number = match (limit.at_least, limit.at_most) {
        (Some(n), _) => format!("at least {}", units::show(n, limit.unit)),
        (None, Some(n)) => format!("at most {}", units::show(n, limit.unit)),
        (None, None) => String::new(),
    };
    let changed = if limit.changed { ", changed by the case file" } else { "" };
    format!("limit {}: {number}{changed}; source {}", limit.id, limit.source)
}

/// Where it is, as far as the sentence does not say it.
fn place_words(f: &Finding) -> Option<String> {
    let words = f.place.words.as_ref().filter(|w| !f.says.contains(w.as_str())).cloned();
    let at = f.place.at_mm.map(|p| place(&p)).filter(|p| !f.says.contains(p.as_str()));
    match (words, at) {
        (Some(words), Some(at)) if !words.contains(&at) => Some(format!("place: {words}, at {at}")),
        (Some(words), _) => Some(format!("place: {words}")),
        (None, at) => at.map(|at| format!("place: {at}")),
    }
}

/// A position in words.
pub fn place(p: &[f64; 3]) -> String {
    units::place_words(&crate::space::Point::new(p[0], p[1], p[2]))
}

/// The state of the arches in words.
pub fn articulation_words(state: ArticulationState) -> &'static str {
    match state {
        ArticulationState::Occluding => "occluding",
        ArticulationState::Apart => "apart",
        ArticulationState::Overlapping => "overlapping",
        ArticulationState::Unknown => "not known",
    }
}

/// Files and what is wrong with them.
pub fn inputs(inputs: &[Input]) -> Vec<Block> {
    let mut table =
        Table::new("Files read", &["role", "file", "format", "triangles", "points", "extent", "SHA-256"]);
    let mut items = Vec::new();
    for input in inputs {
        let extent = input.extent_mm.map_or_else(
            || "none".to_owned(),
            |e| {
                format!(
                    "{} x {} x {} mm",
                    units::digits(e[0], 1),
                    units::digits(e[1], 1),
                    units::digits(e[2], 1)
                )
            },
        );
        table.rows.push(vec![
            input.role.clone(),
            input.file.clone(),
            input.format.replace('_', " "),
            input.triangles.to_string(),
            input.vertices.to_string(),
            extent,
            input.sha256.chars().take(12).collect(),
        ]);
        items.extend(input.defects.iter().map(|d| defect(input, d)));
        if input.defects.is_empty() {
            let says = format!("{}: no defect found", input.file);
            items.push(Item { verdict: None, says, details: vec![] });
        }
    }
    vec![Block::Table(table), Block::Items(items)]
}

fn defect(input: &Input, d: &DefectShown) -> Item {
    let mut details: Vec<String> = d.at_mm.iter().map(|p| format!("first at {}", place(p))).collect();
    if d.mended {
        details.push("mended; no figure can change by it".into());
    }
    Item { verdict: None, says: format!("{}: {}", input.file, d.says), details }
}

/// A figure or a dash.
pub fn or_dash(number: Option<f64>, unit: Unit) -> String {
    number.map_or_else(|| "-".to_owned(), |n| units::show(n, unit))
}
