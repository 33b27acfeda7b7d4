//! The sheet as text, about 100 columns wide. Styles only underline what words already say.

use anstyle::{Effects, Style};

use super::sheet::{self, Block, Item, Table};
use super::tables;
use super::words::Manner;
use crate::report::{ClearanceFile, Input, Report, Section, SurveyFile, ToriFile, Verdict};
use crate::units::{self, Unit};

const WIDTH: usize = 100;
const HEAD: Style = Style::new().effects(Effects::BOLD);

/// The whole job, its teeth numbered as asked for.
pub fn report(report: &Report, sections: &[Section], manner: &Manner) -> String {
    blocks(&sheet::report(report, sections, manner))
}

/// Files and what is wrong with them.
pub fn inputs(inputs: &[Input]) -> String {
    blocks(&sheet::inputs(inputs))
}

/// A survey.
pub fn survey(file: &SurveyFile) -> String {
    let name = file.inputs.first().map_or("the cast", |i| i.file.as_str());
    let mut all = vec![Block::Title(format!("Survey of {name}")), Block::Paragraph(file.path.says.clone())];
    let readings = if file.gauges.is_empty() { file.gauge.as_slice() } else { &file.gauges };
    for g in readings {
        let below = g
            .below_survey_line_mm
            .map_or_else(String::new, |b| format!(", {} below the survey line", units::mm(b)));
        let reading = if g.depth_mm > 0.0 {
            format!(
                "undercut {} (±{}){below}",
                units::mm(g.depth_mm),
                units::digits(2.0 * g.uncertainty_mm, 2)
            )
        } else {
            "depth 0: the place is free, a rod along the path touches it".to_owned()
        };
        let closed = if g.closed_hole {
            " The place lies beside a hole in the scan, or its depth depends on the closing of one: do not rely on it."
        } else {
            ""
        };
        let off = if g.from_asked_mm >= 0.005 {
            format!(", the surface nearest to the point asked for ({} away)", units::mm(g.from_asked_mm))
        } else {
            String::new()
        };
        all.push(Block::Paragraph(format!("Gauge at {}{off}: {reading}.{closed}", sheet::place(&g.at_mm))));
    }
    let deepest = match &file.deepest_at_mm {
        Some(p) => format!("The deepest undercut is {} at {}.", units::mm(file.deepest_mm), sheet::place(p)),
        None => "No surface is undercut.".to_owned(),
    };
    all.push(Block::Paragraph(format!(
        "{deepest} Undercut surface: {}, {} of the cast. Survey lines: {}. Points whose depth depends on a closed hole of \
         the scan: {}.",
        units::show(file.undercut_area_mm2, Unit::Mm2),
        percent(file.undercut_share),
        file.survey_line_mm.len(),
        file.closed_hole_vertices
    )));
    if let Some(b) = &file.blockout {
        all.push(Block::Paragraph(format!(
            "To be blocked out along this path {}: {} (standard uncertainty {}), under {} of undercut surface.",
            b.place,
            units::show(b.volume_mm3, Unit::Mm3),
            units::show(b.volume_uncertainty_mm3, Unit::Mm3),
            units::show(b.area_mm2, Unit::Mm2)
        )));
    }
    all.extend(sheet::findings(&file.findings));
    all.extend(sheet::inputs(&file.inputs));
    all.extend(sheet::cautions(&file.cautions));
    blocks(&all)
}

fn percent(share: f64) -> String {
    format!("{} %", units::digits(100.0 * share, 1))
}

/// Distances.
pub fn clearance(file: &ClearanceFile) -> String {
    let d = file.opening;
    let mut all = vec![
        Block::Title("Distance from tissue to the opposing surface".into()),
        Block::Paragraph(format!(
            "Along the opening direction {}: least {}{}. Nearest in any direction: least {}{}. Nothing stands above {} of {} \
             points. The surfaces are {}.",
            units::direction_words(&crate::space::Vector::new(d[0], d[1], d[2])),
            sheet::or_dash(file.least_along_mm, Unit::Mm),
            at(&file.least_along_at_mm),
            sheet::or_dash(file.least_nearest_mm, Unit::Mm),
            at(&file.least_nearest_at_mm),
            file.nothing_above,
            file.vertices,
            sheet::articulation_words(file.articulation.state),
        )),
    ];
    all.extend(sheet::findings(&file.findings));
    all.extend(sheet::inputs(&file.inputs));
    all.extend(sheet::cautions(&file.cautions));
    blocks(&all)
}

fn at(place: &Option<[f64; 3]>) -> String {
    place.as_ref().map_or_else(String::new, |p| format!(" at {}", sheet::place(p)))
}

/// Tori.
pub fn tori(file: &ToriFile) -> String {
    let name = file.inputs.first().map_or("the cast", |i| i.file.as_str());
    let mut all = vec![Block::Title(format!("Tori of {name}"))];
    if file.tori.is_empty() {
        all.push(Block::Paragraph("No torus was found.".into()));
    } else {
        all.push(Block::Table(tables::tori(&file.tori)));
    }
    all.extend(sheet::findings(&file.findings));
    all.extend(sheet::inputs(&file.inputs));
    all.extend(sheet::cautions(&file.cautions));
    blocks(&all)
}

/// Blocks as text.
pub fn blocks(blocks: &[Block]) -> String {
    let mut out = String::new();
    for (i, block) in blocks.iter().enumerate() {
        match block {
            Block::Title(text) => out.push_str(&format!("{HEAD}{text}{HEAD:#}\n")),
            Block::Heading(text) => {
                let gap = if i == 0 { "" } else { "\n" };
                out.push_str(&format!("{gap}{HEAD}{text}{HEAD:#}\n"));
            }
            Block::Paragraph(text) => out.push_str(&format!("{}\n", wrapped(text, 0))),
            Block::Items(items) => items.iter().for_each(|i| out.push_str(&item(i))),
            Block::Table(t) => out.push_str(&table(t)),
            Block::List(lines) => {
                for (n, line) in lines.iter().enumerate() {
                    let body = wrapped(line, 5);
                    out.push_str(&format!("{:>3}. {}\n", n + 1, body.trim_start()));
                }
            }
        }
    }
    out
}

const VERDICT_WIDTH: usize = 14;

fn item(i: &Item) -> String {
    let (word, style) = match i.verdict {
        Some(v) => (v.words(), verdict_style(v)),
        None => ("", Style::new()),
    };
    let body = wrapped(&i.says, 2 + VERDICT_WIDTH);
    let pad = " ".repeat(VERDICT_WIDTH.saturating_sub(word.len()));
    let mut out = if i.verdict.is_some() {
        format!("  {style}{word}{style:#}{pad}{}\n", body.trim_start())
    } else {
        format!("{}\n", wrapped(&i.says, 2))
    };
    let indent = if i.verdict.is_some() { 4 + VERDICT_WIDTH } else { 4 };
    for detail in &i.details {
        out.push_str(&format!("{}\n", wrapped(detail, indent)));
    }
    out
}

fn verdict_style(v: Verdict) -> Style {
    match v {
        Verdict::Short | Verdict::Exceeds | Verdict::Tight | Verdict::NotMeasured => Style::new().bold(),
        _ => Style::new(),
    }
}

fn table(t: &Table) -> String {
    let columns = t.head.len();
    let width = |k: usize| {
        let rows = t.rows.iter().filter_map(|r| r.get(k)).map(|c| c.chars().count());
        rows.chain([t.head.get(k).map_or(0, |h| h.chars().count())]).max().unwrap_or(0)
    };
    let widths: Vec<usize> = (0..columns).map(width).collect();
    let line = |cells: &[String]| {
        let padded: Vec<String> = cells
            .iter()
            .zip(&widths)
            .map(|(c, &w)| format!("{c}{}", " ".repeat(w.saturating_sub(c.chars().count()))))
            .collect();
        format!("  {}", padded.join("  ")).trim_end().to_owned()
    };
    let mut out = format!("{}\n{}\n", wrapped(&t.caption, 2), line(&t.head));
    if widths.iter().sum::<usize>() + 2 * columns > 2 * WIDTH {
        // Too wide to read in columns: one block a row.
        out = format!("{}\n", wrapped(&t.caption, 2));
        for row in &t.rows {
            let cells: Vec<String> = t.head.iter().zip(row).map(|(h, c)| format!("{h}: {c}")).collect();
            out.push_str(&format!("{}\n", wrapped(&cells.join("; "), 4)));
        }
        return out;
    }
    for row in &t.rows {
        out.push_str(&format!("{}\n", line(row)));
    }
    out
}

/// Text broken at blanks so that no line is longer than the sheet is wide, each line indented.
pub fn wrapped(text: &str, indent: usize) -> String {
    let margin = " ".repeat(indent);
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in text.split_whitespace() {
        let length = line.chars().count() + 1 + word.chars().count();
        if !line.is_empty() && indent + length > WIDTH {
            lines.push(std::mem::take(&mut line));
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(word);
    }
    lines.push(line);
    lines.iter().map(|l| format!("{margin}{l}")).collect::<Vec<_>>().join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_is_broken_at_blanks_and_indented() {
        let text = wrapped(&"word ".repeat(40), 4);
        assert!(text.lines().all(|l| l.starts_with("    word") && l.chars().count() <= WIDTH));
        assert_eq!(text.split_whitespace().count(), 40);
    }
}
