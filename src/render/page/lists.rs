//! The two lists that a dentist acts on: what to answer, and what would have to be prepared.

use super::answer::foreign;
use crate::render::html::escaped;
use crate::render::words::Manner;
use crate::report::{Preparation, Question};
use crate::units::Unit;

/// Entries of each list that are printed.
const PRINTED: usize = 14;

/// Both lists.
pub(super) fn lists(asked: &[Question], prepared: &[Preparation], manner: &Manner) -> String {
    format!(
        "<section id=\"lists\">\n<h2>{}</h2>\n{}{}</section>\n",
        escaped(manner.word("lists.title")),
        questions(asked, manner),
        preparation(prepared, manner)
    )
}

/// What to answer, where nothing is to be prepared.
pub(super) fn asked(asked: &[Question], manner: &Manner) -> String {
    let title = escaped(manner.word("lists.asked"));
    format!("<section id=\"lists\">\n<h2>{title}</h2>\n{}</section>\n", questions(asked, manner))
}

fn head(columns: &[&str], manner: &Manner) -> (Vec<String>, String) {
    let words: Vec<String> = columns.iter().map(|k| escaped(manner.word(k))).collect();
    let cells = words.iter().map(|h| format!("<th scope=\"col\">{h}</th>")).collect();
    (words, cells)
}

fn framed(caption: &str, head: &str, body: &str) -> String {
    format!(
        "<div class=\"wide\" role=\"region\" tabindex=\"0\" aria-label=\"{caption}\"><table class=\"cards\">\n\
         <caption>{caption}</caption>\n<thead><tr>{head}</tr></thead>\n<tbody>\n{body}</tbody>\n</table></div>\n"
    )
}

fn row(cells: &[(&str, String)], screen: bool) -> String {
    let all: String =
        cells.iter().map(|(head, html)| format!("<td data-head=\"{head}\">{html}</td>")).collect();
    let class = if screen { " class=\"screen\"" } else { "" };
    format!("<tr{class}>{all}</tr>\n")
}

fn questions(all: &[Question], manner: &Manner) -> String {
    let title = escaped(manner.word("questions.title"));
    if all.is_empty() {
        return format!("<h3>{title}</h3>\n<p>{}</p>\n", escaped(manner.word("questions.none")));
    }
    let (words, head) = head(&["questions.what", "questions.why"], manner);
    let lang = foreign(manner);
    let body: String = all
        .iter()
        .enumerate()
        .map(|(n, q)| {
            let says = |text: &str| format!("<span{lang}>{}</span>", escaped(&manner.sentence(text)));
            let cells = [
                (words[0].as_str(), format!("{}. {}", n + 1, says(&q.text))),
                (words[1].as_str(), says(&q.because)),
            ];
            row(&cells, n >= PRINTED)
        })
        .collect();
    format!("<h3>{title}</h3>\n{}", framed(&title, &head, &body))
}

fn preparation(all: &[Preparation], manner: &Manner) -> String {
    let title = escaped(manner.word("prep.title"));
    if all.is_empty() {
        return format!("<h3>{title}</h3>\n<p>{}</p>\n", escaped(manner.word("prep.none")));
    }
    let (words, head) = head(&["prep.tooth", "prep.place", "prep.removal", "prep.gains"], manner);
    let lang = foreign(manner);
    let body: String = all
        .iter()
        .enumerate()
        .map(|(n, p)| {
            let spread = p.uncertainty_mm.map_or_else(String::new, |u| {
                let wide = crate::units::digits(2.0 * u, Unit::Mm.places());
                format!(" ±{}", manner.numbers(&wide))
            });
            let says = |text: &str| format!("<span{lang}>{}</span>", escaped(&manner.sentence(text)));
            let cells = [
                (words[0].as_str(), escaped(&manner.tooth(p.tooth))),
                (words[1].as_str(), says(&p.place)),
                (words[2].as_str(), escaped(&(manner.show(p.removal_mm, Unit::Mm) + &spread))),
                (words[3].as_str(), says(&p.gains)),
            ];
            row(&cells, n >= PRINTED)
        })
        .collect();
    let caution = escaped(manner.word("prep.caution"));
    let caption = escaped(manner.word("prep.caption"));
    format!("<h3>{title}</h3>\n<p><strong>{caution}</strong></p>\n{}", framed(&caption, &head, &body))
}
