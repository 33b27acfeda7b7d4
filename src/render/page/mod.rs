//! The page: one self-contained file that a dentist reads from the top and the bench works to. First the answer in words,
//! then the figures with where and why, the pictures, the two lists to act on, the cast in space, sections, the full record
//! folded, and what was read and set. Nothing is fetched. On paper the folded and the turning parts are left out.

mod answer;
mod foot;
pub mod framework;
mod line;
mod lists;
mod style;

use super::base64::base64;
use super::html::{Picture, escaped, shortened};
use super::solid_view;
use super::words::Manner;
use crate::report::{Arch, Finding, Report, Scene, Section, Verdict};
use line::Line;

/// What a page is made of.
#[derive(Clone, Copy, Debug)]
pub struct Page<'a> {
    /// What was measured and judged.
    pub report: &'a Report,
    /// The checks in the order of the report.
    pub sections: &'a [Section],
    /// Stills of the cast, PNG.
    pub stills: &'a [Picture],
    /// Sections, profiles and maps, SVG.
    pub drawings: &'a [Picture],
    /// The turning view, as [`space`] draws it; empty for a page without.
    pub space: &'a str,
    /// Language and numbers of teeth.
    pub manner: Manner,
}

/// Drawings that are printed.
const PRINTED: usize = 8;

/// Scripts run only from inside the file; nothing may be fetched.
const POLICY: &str =
    "default-src 'none'; img-src data: blob:; style-src 'unsafe-inline'; script-src 'unsafe-inline'";

/// The turning view of what stands in space, for [`Page::space`].
pub fn space(scene: &Scene<'_>, manner: &Manner) -> String {
    solid_view::section(scene, manner)
}

/// The page as HTML.
pub fn html(page: &Page<'_>) -> String {
    let (report, manner) = (page.report, &page.manner);
    let lines = lines(&report.findings, page.sections, manner);
    let scripts = if page.space.is_empty() { String::new() } else { solid_view::scripts() };
    let body = [
        format!("<a class=\"skip\" href=\"#answer\">{}</a>\n", escaped(manner.word("skip"))),
        head(report, manner),
        answer::answer(&report.questions, &lines, manner),
        answer::figures(&lines, manner),
        foot::tables(report, manner),
        gallery(page.stills, "stills", manner),
        lists::lists(&report.questions, &report.preparation, manner),
        page.space.to_owned(),
        gallery(page.drawings, "sections", manner),
        foot::record(report, page.sections, manner),
        foot::files(report, manner),
        foot::cautions(&report.cautions, "caution", manner),
    ]
    .concat();
    document(&title(report, manner), &body, &scripts, manner)
}

/// A whole page around its body.
fn document(title: &str, body: &str, scripts: &str, manner: &Manner) -> String {
    format!(
        "<!DOCTYPE html>\n<html lang=\"{}\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"{POLICY}\">\n\
         <title>{}</title>\n<style>\n{}</style>\n</head>\n<body>\n<main>\n{body}</main>\n{scripts}</body>\n</html>\n",
        manner.word("lang"),
        escaped(title),
        style::STYLE,
    )
}

/// Findings as lines, in the order of what stops the work: by verdict, then by check.
fn lines<'r>(findings: &'r [Finding], sections: &[Section], manner: &Manner) -> Vec<Line<'r>> {
    let mut all: Vec<Line<'r>> = super::sheet::by_urgency(findings)
        .into_iter()
        .map(|f| Line::new(f, title_of(f, sections), manner))
        .collect();
    // What lies below what is taught comes before what fits.
    all.sort_by_key(|l| match l.finding.verdict {
        Verdict::Short | Verdict::Exceeds | Verdict::Tight | Verdict::NotMeasured => 0,
        Verdict::Caution if l.misses => 1,
        Verdict::Possible => 2,
        _ => 3,
    });
    all
}

/// The heading of a finding's check.
fn title_of<'t>(f: &'t Finding, sections: &'t [Section]) -> &'t str {
    sections.iter().find(|s| s.id == f.check).map_or(f.check.as_str(), |s| s.title.as_str())
}

fn title(report: &Report, manner: &Manner) -> String {
    let key = match report.case.restored_arch {
        Arch::Mandible => "title.mandible",
        Arch::Maxilla => "title.maxilla",
    };
    manner.fill(key, &[("id", &shortened(&report.case.id))])
}

fn head(report: &Report, manner: &Manner) -> String {
    let key = match report.case.restored_arch {
        Arch::Mandible => "title.mandible",
        Arch::Maxilla => "title.maxilla",
    };
    let title = set_apart(manner, key, &[("id", &shortened(&report.case.id))]);
    let class = class_words(report, manner);
    let notation = manner.word(match manner.notation {
        crate::report::Notation::Fdi => "intro.notation.fdi",
        crate::report::Notation::Universal => "intro.notation.universal",
        crate::report::Notation::Palmer => "intro.notation.palmer",
    });
    let class = class.map_or_else(String::new, |c| format!("<p>{}</p>\n", escaped(&c)));
    format!("<header>\n<h1>{title}</h1>\n{class}<p class=\"detail\">{}</p>\n</header>\n", escaped(notation))
}

/// Words as HTML with names put in. The names are set apart, so that letters written from right to left do not turn the
/// words around them.
fn set_apart(manner: &Manner, key: &str, names: &[(&str, &str)]) -> String {
    let sign = |n: usize| char::from_u32(0xe000 + n as u32).unwrap_or('\u{e000}').to_string();
    let signs: Vec<String> = (0..names.len()).map(sign).collect();
    let with: Vec<(&str, &str)> = names.iter().zip(&signs).map(|((k, _), s)| (*k, s.as_str())).collect();
    let words = escaped(&manner.fill(key, &with));
    let put = |words: String, (s, (_, name)): (&String, &(&str, &str))| {
        words.replace(s.as_str(), &format!("<bdi>{}</bdi>", escaped(name)))
    };
    signs.iter().zip(names).fold(words, put)
}

fn class_words(report: &Report, manner: &Manner) -> Option<String> {
    let chart = report.chart.as_ref()?;
    let missing: Vec<String> = chart.missing.iter().map(|&t| manner.tooth(t)).collect();
    let missing = missing.join(", ");
    Some(match &chart.kennedy {
        Some(kennedy) => {
            let n = kennedy.modifications.to_string();
            let modifications = if kennedy.modifications == 0 {
                manner.word("intro.modifications.0").to_owned()
            } else {
                manner.fill("intro.modifications.n", &[("n", &n)])
            };
            let with =
                [("class", kennedy.class.as_str()), ("modifications", &modifications), ("missing", &missing)];
            manner.fill("intro.class", &with)
        }
        None => manner.fill("intro.noclass", &[("missing", &missing)]),
    })
}

fn gallery(pictures: &[Picture], key: &str, manner: &Manner) -> String {
    if pictures.is_empty() {
        return String::new();
    }
    let w = |k: &str| escaped(&manner.fill(&format!("{key}.{k}"), &[]));
    let drawn = key == "sections";
    let mut out = format!(
        "<section id=\"{key}\">\n<h2>{}</h2>\n<p class=\"detail\">{}</p>\n<div class=\"gallery{}\">\n",
        w("title"),
        w("how"),
        if drawn { " drawn" } else { "" }
    );
    for (n, picture) in pictures.iter().enumerate() {
        let caption = escaped(&manner.sentence(&picture.caption));
        let image = if picture.name.ends_with(".svg") {
            String::from_utf8_lossy(&picture.bytes).into_owned()
        } else {
            format!("<img alt=\"{caption}\" src=\"data:image/png;base64,{}\">", base64(&picture.bytes))
        };
        let screen = if drawn && n >= PRINTED { " class=\"screen\"" } else { "" };
        out.push_str(&format!(
            "<figure{screen}>\n{image}\n<figcaption{}>{caption}</figcaption>\n</figure>\n",
            answer::foreign(manner)
        ));
    }
    out.push_str("</div>\n");
    let more = pictures.len().saturating_sub(PRINTED);
    if drawn && more > 0 {
        let words = manner.fill("sections.more_print", &[("n", &more.to_string())]);
        out.push_str(&format!("<p class=\"print-only\">{}</p>\n", escaped(&words)));
    }
    out.push_str("</section>\n");
    out
}
