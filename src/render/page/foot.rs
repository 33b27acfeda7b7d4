//! The end of the page: the full record, folded; files, settings and limits; cautions and who decides.

use super::answer::foreign;
use crate::render::html::{escaped, piece, shortened};
use crate::render::sheet::{self, Block};
use crate::render::words::{Language, Manner};
use crate::report::{ChosenBy, Input, Report, Section, Tool};
use crate::units::Unit;

/// Every check with its findings and tables, folded.
pub(super) fn record(report: &Report, sections: &[Section], manner: &Manner) -> String {
    let w = |k: &str| escaped(manner.word(k));
    let mut out = format!("<section id=\"record\">\n<h2>{}</h2>\n", w("record.title"));
    out.push_str(&format!("<p class=\"detail screen\">{}</p>\n", w("record.how")));
    if manner.language != Language::English {
        out.push_str(&format!("<p class=\"detail screen\">{}</p>\n", w("record.language")));
    }
    out.push_str(&format!("<p class=\"print-only\">{}</p>\n", w("record.print")));
    let lang = foreign(manner);
    for section in sections {
        let blocks = sheet::section(report, section);
        if blocks.is_empty() {
            continue;
        }
        let body: String = sheet::numbered(blocks, manner).iter().map(piece).collect();
        let title = escaped(&section.title);
        out.push_str(&format!("<details{lang}>\n<summary>{title}</summary>\n{body}</details>\n"));
    }
    out.push_str("</section>\n");
    out
}

/// What was read and how the run was set.
pub(super) fn files(report: &Report, manner: &Manner) -> String {
    files_read(&report.inputs, &settings(report, manner), manner)
}

/// What was read, with lines under it.
pub(super) fn files_read(inputs: &[Input], lines: &[String], manner: &Manner) -> String {
    let w = |k: &str| escaped(manner.word(k));
    let mut out = format!("<section id=\"files\">\n<h2>{}</h2>\n", w("files.title"));
    let heads = ["role", "file", "size", "defects"].map(|k| w(&format!("files.{k}")));
    let head: String = heads
        .iter()
        .map(String::as_str)
        .chain(["SHA-256"])
        .map(|h| format!("<th scope=\"col\">{h}</th>"))
        .collect();
    let mut body = String::new();
    for input in inputs {
        let role = manner.known(&format!("role.{}", input.role)).unwrap_or(&input.role);
        let defects: Vec<String> = input.defects.iter().map(|d| d.says.clone()).collect();
        let defects = if defects.is_empty() {
            w("files.fine")
        } else {
            format!("<span{}>{}</span>", foreign(manner), escaped(&defects.join("; ")))
        };
        body.push_str(&format!(
            "<tr><td>{}</td><td><bdi>{}</bdi></td><td class=\"number\">{}</td><td>{defects}</td><td class=\"hash loose\">{}</td></tr>\n",
            escaped(role),
            escaped(&shortened(&input.file)),
            input.triangles,
            escaped(&input.sha256)
        ));
    }
    out.push_str(&format!(
        "<div class=\"wide\" role=\"region\" tabindex=\"0\" aria-label=\"{0}\"><table>\n<caption>{0}</caption>\n<thead><tr>{head}</tr></thead>\n<tbody>\n{body}</tbody>\n</table></div>\n",
        w("files.caption")
    ));
    for line in lines {
        out.push_str(&format!("<p>{}</p>\n", escaped(line)));
    }
    out.push_str("</section>\n");
    out
}

/// What wrote a page.
pub(super) fn written_by(tool: &Tool, schema: &str, manner: &Manner) -> String {
    manner.fill("files.tool", &[("name", &tool.name), ("version", &tool.version), ("schema", schema)])
}

fn settings(report: &Report, manner: &Manner) -> Vec<String> {
    let mut all = vec![written_by(&report.tool, &report.schema, manner)];
    let path = match report.path.as_ref().map(|p| p.chosen_by) {
        Some(ChosenBy::Case) => "files.path.case",
        Some(ChosenBy::Search) => "files.path.search",
        Some(ChosenBy::OcclusalNormal) => "files.path.occlusal_normal",
        None => "files.path.none",
    };
    if let Some(s) = &report.settings {
        let (scan, articulation) =
            (manner.show(s.scan_mm, Unit::Mm), manner.show(s.articulation_mm, Unit::Mm));
        all.push(manner.fill(
            "files.settings",
            &[("path", manner.word(path)), ("scan", &scan), ("articulation", &articulation)],
        ));
        let changed: Vec<String> =
            s.limits_changed.iter().map(|l| format!("{} {}", l.id, manner.show(l.number, l.unit))).collect();
        all.push(if changed.is_empty() {
            manner.word("files.limits.none").to_owned()
        } else {
            manner.fill("files.limits.changed", &[("list", &changed.join(", "))])
        });
    }
    all.push(manner.word("files.exports").to_owned());
    all
}

/// Cautions and the line of deference; `key` names the words of the language for them.
pub(super) fn cautions(cautions: &[String], key: &str, manner: &Manner) -> String {
    let german: Vec<String> =
        (0..cautions.len()).filter_map(|n| manner.known(&format!("{key}.{n}"))).map(str::to_owned).collect();
    let own = german.len() == cautions.len();
    let lines = if own { &german } else { cautions };
    let lang = if own { "" } else { foreign(manner) };
    let items: String = lines.iter().map(|l| format!("<li>{}</li>\n", escaped(l))).collect();
    format!(
        "<section id=\"cautions\"{lang}>\n<h2>{}</h2>\n<ol class=\"cautions\">\n{items}</ol>\n</section>\n",
        escaped(manner.word("cautions.title"))
    )
}

/// Tables of connectors and tori, which belong to the answer.
pub(super) fn tables(report: &Report, manner: &Manner) -> String {
    let tables = sheet::main_tables(report)
        .into_iter()
        .map(|(key, mut t)| {
            t.caption = manner.word(key).to_owned();
            Block::Table(t)
        })
        .collect();
    let lang = foreign(manner);
    let html: String = sheet::numbered(tables, manner).iter().map(piece).collect();
    if html.is_empty() { html } else { format!("<div{lang}>{html}</div>\n") }
}
