//! A finding as a line of the sheet: what in plain words, the trade's term, where, the figure, what was wanted, the margin.

use crate::render::html::escaped;
use crate::render::words::Manner;
use crate::report::{Finding, LimitShown, Verdict};
use crate::units::{self, Unit};

/// What of a line stands where; all text is still unescaped.
#[derive(Clone, Debug)]
pub(super) struct Line<'f> {
    /// The finding.
    pub finding: &'f Finding,
    /// What, in plain words.
    pub name: String,
    /// The trade's term.
    pub term: Option<&'static str>,
    /// Where, in words; empty for the whole case.
    pub place: String,
    /// The figure with its uncertainty.
    pub figure: Option<String>,
    /// What was wanted.
    pub limit: Option<String>,
    /// What is missing or to spare.
    pub margin: Option<String>,
    /// Whether the figure misses the limit.
    pub misses: bool,
    /// The sentence and whether it is in the language of the page.
    pub says: (String, bool),
}

impl<'f> Line<'f> {
    /// The line of a finding; `title` is the heading of its check, for a code without a name.
    pub(super) fn new(f: &'f Finding, title: &str, manner: &Manner) -> Line<'f> {
        let name = manner.name(f).map_or_else(|| title.to_owned(), str::to_owned);
        let value = f.value.as_ref();
        let figure = value.map(|v| {
            let wide = units::digits(2.0 * v.uncertainty, v.unit.places());
            let shown = manner.show(v.number, v.unit);
            let spread =
                if v.uncertainty > 0.0 { format!(" ±{}", manner.numbers(&wide)) } else { String::new() };
            shown + &spread
        });
        let margin = f.margin();
        let mut line = Line {
            finding: f,
            name,
            term: manner.term(f),
            place: place(f, manner),
            figure,
            limit: f.limit.as_ref().and_then(|l| limit(l, manner)),
            margin: margin.zip(f.limit.as_ref()).map(|(m, l)| {
                let words = margin_words(m, l, manner);
                if f.is_unclear() { manner.fill("line.not_clear", &[("margin", &words)]) } else { words }
            }),
            misses: margin.is_some_and(|m| m < 0.0),
            says: (String::new(), true),
        };
        line.says = line.sentence(manner);
        line
    }

    /// The sentence of the language for this code, where it has one and everything that it names is known; else the
    /// finding's own. The second value tells whether it is of the language asked for.
    fn sentence(&self, manner: &Manner) -> (String, bool) {
        let key = format!("says.{}", self.finding.code);
        let own = parameters(self.finding, manner);
        let mut with: Vec<(&str, &str)> = own.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
        with.extend(self.figure.as_deref().map(|f| ("figure", f)));
        with.extend(self.limit.as_deref().map(|l| ("limit", l)));
        let known =
            |t: &str| t.split('{').skip(1).all(|p| with.iter().any(|(n, _)| p.split('}').next() == Some(*n)));
        if manner.known(&key).is_some_and(known) {
            return (manner.fill(&key, &with), true);
        }
        let own = manner.language == crate::render::words::Language::English;
        (manner.sentence(&self.finding.says).into_owned(), own)
    }

    /// The sentence as HTML, marked where it is English on a page of another language.
    pub(super) fn says_html(&self) -> String {
        let says = escaped(&self.says.0);
        if self.says.1 { says } else { format!("<span lang=\"en\">{says}</span>") }
    }

    /// Name and term as HTML.
    pub(super) fn what_html(&self) -> String {
        let term = self.term.map_or(String::new(), |t| format!(" <i class=\"term\">({})</i>", escaped(t)));
        format!("<b>{}</b>{term}", escaped(&self.name))
    }

    /// The line of the first screen as HTML.
    pub(super) fn html(&self, manner: &Manner) -> String {
        let place = if self.place.is_empty() { String::new() } else { format!(", {}", escaped(&self.place)) };
        let outcome = match (&self.figure, &self.limit, &self.margin) {
            (Some(figure), Some(limit), Some(margin)) => {
                let margin = if self.misses { format!("\u{1}{margin}\u{2}") } else { margin.clone() };
                let words =
                    manner.fill("line.wanted", &[("figure", figure), ("limit", limit), ("margin", &margin)]);
                escaped_with_strong(&words)
            }
            (Some(figure), ..) if self.finding.verdict == Verdict::Possible => escaped(figure),
            _ => self.says_html(),
        };
        format!("<li>{}{place}: {outcome}</li>\n", self.what_html())
    }
}

/// The parameters of a finding in words: numbers with the unit that their name ends in, lists of teeth in the notation.
fn parameters(f: &Finding, manner: &Manner) -> Vec<(String, String)> {
    let units = [
        ("_mm", Unit::Mm),
        ("_mm2", Unit::Mm2),
        ("_mm3", Unit::Mm3),
        ("_deg", Unit::Deg),
        ("_share", Unit::Share),
        ("confidence", Unit::Share),
    ];
    let shown = |name: &str, value: &serde_json::Value| match value {
        serde_json::Value::Number(n) => {
            let unit = units.iter().find(|(end, _)| name.ends_with(end)).map_or(Unit::Count, |(_, u)| *u);
            n.as_f64().map(|n| manner.show(n, unit))
        }
        serde_json::Value::Array(list) if name == "teeth" => {
            Some(list.iter().map(|n| manner.tooth_of(&n.to_string())).collect::<Vec<_>>().join(", "))
        }
        _ => None,
    };
    f.parameters.iter().filter_map(|(name, value)| Some((name.clone(), shown(name, value)?))).collect()
}

/// Escaped, with what stands between the two marks made strong. The marks are control characters, which no text from
/// outside keeps.
fn escaped_with_strong(words: &str) -> String {
    let mut out = String::new();
    for piece in words.split_inclusive(['\u{1}', '\u{2}']) {
        let (text, mark) = match piece.strip_suffix('\u{1}') {
            Some(text) => (text, "<strong>"),
            None => piece.strip_suffix('\u{2}').map_or((piece, ""), |text| (text, "</strong>")),
        };
        out.push_str(&escaped(text));
        out.push_str(mark);
    }
    out
}

fn margin_words(margin: f64, limit: &LimitShown, manner: &Manner) -> String {
    let key = match (margin < 0.0, limit.at_least) {
        (true, Some(_)) => "line.missing",
        (true, None) => "line.too_much",
        (false, _) => "line.to_spare",
    };
    manner.fill(key, &[("n", &manner.show(margin.abs(), limit.unit))])
}

/// `at least 0.25 mm`; a gauge has its thousandths of an inch beside it.
fn limit(l: &LimitShown, manner: &Manner) -> Option<String> {
    let (key, number) = match (l.at_least, l.at_most) {
        (Some(n), _) => ("line.at_least", n),
        (None, Some(n)) => ("line.at_most", n),
        (None, None) => return None,
    };
    let mut shown = manner.show(number, l.unit);
    if l.unit == Unit::Mm && l.id.starts_with("undercut_") {
        shown = format!("{shown} ({})", manner.numbers(&units::inches(number)));
    }
    Some(manner.fill(key, &[("n", &shown)]))
}

fn place(f: &Finding, manner: &Manner) -> String {
    let english = manner.language == crate::render::words::Language::English;
    let words = f.place.words.as_ref().filter(|_| english).map(|w| manner.sentence(w).into_owned());
    let mut parts = Vec::new();
    if let Some(tooth) = f.place.tooth {
        parts.push(manner.fill("where.tooth", &[("t", &manner.tooth(tooth))]));
    }
    if let Some(surface) = f.place.surface {
        let key = format!("surface.{}", surface.word());
        parts.push(manner.known(&key).map_or_else(|| surface.word().to_owned(), str::to_owned));
    }
    match (&f.place.span, &words) {
        (Some(_), Some(words)) => parts.push(words.clone()),
        (Some(span), None) => {
            let teeth: Vec<String> = span.iter().map(|&t| manner.tooth(t)).collect();
            parts.push(manner.fill("where.span", &[("t", &teeth.join(", "))]));
        }
        (None, Some(words)) if f.place.surface.is_none() => parts.push(words.clone()),
        _ => {}
    }
    parts.join(", ")
}

/// The shape that stands before the word of a verdict.
pub(super) fn sign(v: Verdict) -> &'static str {
    match v {
        Verdict::Short => "▼",
        Verdict::Exceeds => "▲",
        Verdict::Tight => "◆",
        Verdict::NotMeasured => "○",
        Verdict::Possible => "?",
        Verdict::Fits => "■",
        Verdict::Caution => "–",
        Verdict::Ask => "→",
    }
}

/// The key of a verdict in the language files.
pub(super) fn key(v: Verdict) -> &'static str {
    match v {
        Verdict::Fits => "fits",
        Verdict::Tight => "tight",
        Verdict::Short => "short",
        Verdict::Exceeds => "exceeds",
        Verdict::NotMeasured => "not_measured",
        Verdict::Possible => "possible",
        Verdict::Caution => "caution",
        Verdict::Ask => "ask",
    }
}
