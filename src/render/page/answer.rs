//! The first screen: the answer in words, ordered by what stops the work; then the figures with where and why.

use super::line::{Line, key, sign};
use crate::render::html::escaped;
use crate::render::words::{Language, Manner};
use crate::report::{Question, Verdict};

/// Verdicts of the first screen in the order in which they stop the work, and how many lines each has at most.
const GROUPS: [(Verdict, usize); 6] = [
    (Verdict::Short, 10),
    (Verdict::Exceeds, 8),
    (Verdict::Tight, 8),
    (Verdict::NotMeasured, 8),
    (Verdict::Possible, 5),
    (Verdict::Fits, 8),
];
/// Questions on the first screen.
const QUESTIONS: usize = 5;
/// Lines of what lies below what is taught.
const BELOW: usize = 6;
/// Rows of the table of figures that are printed.
const PRINTED: usize = 22;

/// The answer.
pub(super) fn answer(questions: &[Question], lines: &[Line<'_>], manner: &Manner) -> String {
    let w = |k: &str| escaped(manner.word(k));
    let mut out = format!("<section id=\"answer\">\n<h2>{}</h2>\n", w("answer.title"));
    out.push_str(&format!("<p class=\"lead\">{}</p>\n", escaped(&tally(questions.len(), lines, manner))));
    for (verdict, most) in GROUPS {
        out.push_str(&group(verdict, most, lines, manner));
        if verdict == Verdict::NotMeasured {
            out.push_str(&below(lines, manner));
            out.push_str(&asked(questions, manner));
        }
    }
    out.push_str("</section>\n");
    out
}

fn tally(questions: usize, lines: &[Line<'_>], manner: &Manner) -> String {
    let count = |v: Verdict| lines.iter().filter(|l| l.finding.verdict == v).count();
    let part = |key: &str, n: usize| manner.fill(&format!("answer.count.{key}"), &[("n", &n.to_string())]);
    let stops: Vec<String> = [Verdict::Short, Verdict::Exceeds, Verdict::Tight, Verdict::NotMeasured]
        .into_iter()
        .filter(|&v| count(v) > 0)
        .map(|v| part(key(v), count(v)))
        .collect();
    let (unclear, below): (Vec<_>, Vec<_>) =
        lines.iter().filter(|l| misses_teaching(l)).partition(|l| l.finding.is_unclear());
    let rest: Vec<String> = [
        ("caution", below.len()),
        ("edge", unclear.len()),
        ("ask", questions),
        ("possible", count(Verdict::Possible)),
        ("fits", count(Verdict::Fits)),
    ]
    .into_iter()
    .filter(|&(_, n)| n > 0)
    .map(|(key, n)| part(key, n))
    .collect();
    if stops.is_empty() && count(Verdict::Fits) == 0 {
        return manner.word("answer.nothing").to_owned();
    }
    let first = if stops.is_empty() {
        manner.word("answer.fine").to_owned()
    } else {
        manner.fill("answer.attention", &[("parts", &stops.join(", "))])
    };
    if rest.is_empty() { first } else { format!("{first} {}.", rest.join(", ")) }
}

fn group(verdict: Verdict, most: usize, lines: &[Line<'_>], manner: &Manner) -> String {
    let of: Vec<&Line<'_>> = lines.iter().filter(|l| l.finding.verdict == verdict).collect();
    if of.is_empty() {
        return String::new();
    }
    let shown: String = of.iter().take(most).map(|l| l.html(manner)).collect();
    let more = of.len().saturating_sub(most);
    let rest = if more > 0 {
        let words = manner.fill("group.more", &[("n", &more.to_string())]);
        format!("<li><a href=\"#figures\">{}</a></li>\n", escaped(&words))
    } else {
        String::new()
    };
    framed(verdict, key(verdict), manner, &format!("{shown}{rest}"))
}

/// What misses a limit that judges nothing: teaching that the dentist or the technician weighs.
fn misses_teaching(line: &Line<'_>) -> bool {
    line.finding.verdict == Verdict::Caution && line.misses
}

/// What misses such a limit clearly, and after it under a heading of its own what may only just miss it.
fn below(lines: &[Line<'_>], manner: &Manner) -> String {
    let (unclear, clear): (Vec<_>, Vec<_>) =
        lines.iter().filter(|l| misses_teaching(l)).partition(|l| l.finding.is_unclear());
    let more = (clear.len() + unclear.len()).saturating_sub(BELOW);
    let listed = |of: &[&Line<'_>], most: usize| -> Vec<String> {
        of.iter().take(most).map(|l| l.html(manner)).collect()
    };
    let mut groups =
        [("caution", listed(&clear, BELOW)), ("edge", listed(&unclear, BELOW.saturating_sub(clear.len())))];
    if let Some((_, last)) = groups.iter_mut().rev().find(|(_, items)| !items.is_empty() && more > 0) {
        let words = manner.fill("group.more", &[("n", &more.to_string())]);
        last.push(format!("<li><a href=\"#figures\">{}</a></li>\n", escaped(&words)));
    }
    let shown = groups.iter().filter(|(_, items)| !items.is_empty());
    shown.map(|(heading, items)| framed(Verdict::Caution, heading, manner, &items.concat())).collect()
}

/// A group of lines under its heading.
fn framed(verdict: Verdict, heading: &str, manner: &Manner, items: &str) -> String {
    let stops = !matches!(verdict, Verdict::Fits | Verdict::Possible);
    format!(
        "<section class=\"group {}\">\n<h3><span class=\"sign\" aria-hidden=\"true\">{}</span>{}</h3>\n<ul class=\"lines\">\n{items}</ul>\n</section>\n",
        if stops { "stops" } else { "calm" },
        sign(verdict),
        escaped(manner.word(&format!("group.{heading}"))),
    )
}

fn asked(questions: &[Question], manner: &Manner) -> String {
    if questions.is_empty() {
        return String::new();
    }
    let lang = foreign(manner);
    let mut items: String = questions
        .iter()
        .take(QUESTIONS)
        .map(|q| format!("<li{lang}>{}</li>\n", escaped(&manner.sentence(&q.text))))
        .collect();
    let more = questions.len().saturating_sub(QUESTIONS);
    if more > 0 {
        let words = manner.fill("group.more_questions", &[("n", &more.to_string())]);
        items.push_str(&format!("<li><a href=\"#lists\">{}</a></li>\n", escaped(&words)));
    }
    framed(Verdict::Ask, "ask", manner, &items)
}

/// Marks English text on a page of another language.
pub(super) fn foreign(manner: &Manner) -> &'static str {
    if manner.language == Language::English { "" } else { " lang=\"en\"" }
}

/// The table of figures: what was judged, and what lies below what is taught.
pub(super) fn figures(lines: &[Line<'_>], manner: &Manner) -> String {
    let w = |k: &str| escaped(manner.word(k));
    let mut out = format!("<section id=\"figures\">\n<h2>{}</h2>\n", w("figures.title"));
    let rows: Vec<&Line<'_>> = lines.iter().filter(|l| in_table(l)).collect();
    if rows.is_empty() {
        return out + &format!("<p>{}</p>\n</section>\n", w("figures.none"));
    }
    let heads = ["verdict", "what", "where", "figure", "limit", "margin", "source"]
        .map(|k| w(&format!("figures.{k}")));
    let head: String = heads.iter().map(|h| format!("<th scope=\"col\">{h}</th>")).collect();
    let body: String =
        rows.iter().enumerate().map(|(n, line)| row(line, &heads, n >= PRINTED, manner)).collect();
    out.push_str(&format!(
        "<div class=\"wide\" role=\"region\" tabindex=\"0\" aria-label=\"{0}\"><table class=\"cards\">\n<caption>{1}</caption>\n\
         <thead><tr>{head}</tr></thead>\n<tbody>\n{body}</tbody>\n</table></div>\n",
        w("figures.title"),
        w("figures.caption"),
    ));
    let more = rows.len().saturating_sub(PRINTED);
    if more > 0 {
        let words = manner.fill("figures.more_print", &[("n", &more.to_string())]);
        out.push_str(&format!("<p class=\"print-only\">{}</p>\n", escaped(&words)));
    }
    out.push_str("</section>\n");
    out
}

fn in_table(line: &Line<'_>) -> bool {
    match line.finding.verdict {
        Verdict::Short | Verdict::Exceeds | Verdict::Tight | Verdict::NotMeasured | Verdict::Possible => true,
        Verdict::Fits => line.figure.is_some(),
        Verdict::Caution => line.misses,
        Verdict::Ask => false,
    }
}

fn row(line: &Line<'_>, heads: &[String; 7], screen: bool, manner: &Manner) -> String {
    let f = line.finding;
    let stops =
        matches!(f.verdict, Verdict::Short | Verdict::Exceeds | Verdict::Tight | Verdict::NotMeasured);
    let word = escaped(manner.word(&format!("verdict.{}", key(f.verdict))));
    let word = if stops { format!("<b class=\"stop\">{word}</b>") } else { word };
    let cell = |n: usize, class: &str, html: String| {
        let head = heads.get(n).map_or("", String::as_str);
        format!("<td class=\"{class}\" data-head=\"{head}\">{html}</td>")
    };
    let text = |t: &Option<String>| t.as_ref().map_or_else(|| "–".to_owned(), |t| escaped(t));
    let place = if line.place.is_empty() { manner.word("where.case") } else { line.place.as_str() };
    let source = f.limit.as_ref().map_or_else(
        || "–".to_owned(),
        |l| {
            let changed = if l.changed {
                format!("; <strong>{}</strong>", escaped(manner.word("figures.changed")))
            } else {
                String::new()
            };
            escaped(&l.source) + &changed
        },
    );
    let class = match (screen, stops) {
        (true, _) => "calm screen",
        (false, true) => "stops",
        (false, false) => "calm",
    };
    format!(
        "<tr class=\"{class}\">{}{}{}{}{}{}{}</tr>\n",
        cell(
            0,
            "bare verdict",
            format!("<span class=\"sign\" aria-hidden=\"true\">{}</span>{word}", sign(f.verdict))
        ),
        cell(1, "bare", format!("{}<span class=\"why\">{}</span>", line.what_html(), line.says_html())),
        cell(2, "", escaped(place)),
        cell(3, "number", text(&line.figure)),
        cell(4, "", text(&line.limit)),
        cell(5, "", text(&line.margin)),
        cell(6, "", source),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::{Figure, Finding, LimitShown};
    use crate::units::Unit;

    /// A statement of the room check against `at most 1.00 mm`.
    fn against_one_mm(code: &str, number: f64, uncertainty: f64) -> Finding {
        let mut finding = Finding::new("room", code, Verdict::Caution, code);
        finding.value = Some(Figure { number, unit: Unit::Mm, uncertainty, contributions: vec![] });
        finding.limit(LimitShown {
            id: "beyond_plane_mm".into(),
            at_least: None,
            at_most: Some(1.0),
            unit: Unit::Mm,
            source: "HOUSE".into(),
            changed: false,
        })
    }

    #[test]
    fn what_may_only_just_miss_a_limit_stands_after_what_clearly_misses_it() {
        let manner = Manner::default();
        let findings = [
            against_one_mm("unclear", 1.08, 0.34),
            against_one_mm("within", 0.9, 0.34),
            against_one_mm("clear", 1.8, 0.1),
        ];
        let ordered = crate::render::sheet::by_urgency(&findings);
        let codes: Vec<&str> = ordered.iter().map(|f| f.code.as_str()).collect();
        assert_eq!(codes, ["clear", "unclear", "within"]);

        let fine = Finding::new("room", "fine", Verdict::Fits, "fine");
        let all = ordered.into_iter().chain([&fine]);
        let lines: Vec<Line<'_>> = all.map(|f| Line::new(f, f.code.as_str(), &manner)).collect();
        let page = answer(&[], &lines, &manner);
        let at = |words: &str| page.find(words).unwrap_or_else(|| panic!("{words} in {page}"));
        let order = [
            "Below what is taught, to be weighed",
            "0.80 mm too much",
            "At the edge of what is taught:",
            "0.08 mm too much, not clear",
        ];
        assert!(order.windows(2).all(|two| at(two[0]) < at(two[1])), "{page}");
        assert!(page.contains("1 below what is taught, 1 at the edge of what is taught, 1 fits."), "{page}");
        assert!(!page.contains("0.10 mm to spare"), "{page}");
    }

    #[test]
    fn more_than_a_screen_holds_drops_what_is_not_clear_first() {
        let manner = Manner::default();
        let mut findings = vec![against_one_mm("unclear", 1.08, 0.34)];
        findings.extend((0..BELOW).map(|_| against_one_mm("clear", 1.8, 0.1)));
        let ordered = crate::render::sheet::by_urgency(&findings);
        let lines: Vec<Line<'_>> =
            ordered.into_iter().map(|f| Line::new(f, f.code.as_str(), &manner)).collect();
        let page = answer(&[], &lines, &manner);
        assert_eq!(page.matches("0.80 mm too much").count(), BELOW);
        assert!(!page.contains("0.08 mm") && page.contains("and 1 more, in the table below"), "{page}");
        assert!(!page.contains("At the edge"), "{page}");
    }
}
