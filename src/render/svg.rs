//! Sections and clearance profiles as SVG, in millimetres with a grid of one.

use super::html::escaped;
use crate::report::{Body2, Cut, Flat, Mark2, Opposing, Span2, SpanShown};
use crate::units::{digits, mm};

pub(super) const INK: &str = "#1e1e22";
const GRID: &str = "#e4e0d6";
const GRID_FIVE: &str = "#bcb7aa";
pub(super) const TISSUE: &str = "#00224e";
pub(super) const OPPOSING: &str = "#7c6a2e";

/// Part of a section that is drawn: the measured place and what stands around it, mm each way.
const AROUND_MM: f64 = 12.0;

pub(super) fn number(v: f64) -> String {
    digits(v, 2)
}

pub(super) struct Frame {
    pub(super) low: Flat,
    pub(super) high: Flat,
    pub(super) scale: f64,
    pub(super) left: f64,
    pub(super) top: f64,
}

impl Frame {
    pub(super) fn x(&self, v: f64) -> String {
        number(self.left + (v - self.low[0]) * self.scale)
    }
    pub(super) fn y(&self, v: f64) -> String {
        number(self.top + (self.high[1] - v) * self.scale)
    }
    pub(super) fn size(&self) -> (f64, f64) {
        ((self.high[0] - self.low[0]) * self.scale, (self.high[1] - self.low[1]) * self.scale)
    }
}

/// A section, with a grid of 1 mm.
pub fn section(cut: &Cut) -> Vec<u8> {
    let frame = section_frame(cut);
    let (wide, tall) = frame.size();
    let caption = lines_of(&cut.caption, (wide / 6.4) as usize);
    let (width, height) = (wide + 2.0 * frame.left, tall + frame.top + 48.0 + 16.0 * caption.len() as f64);
    let mut body = grid(&frame);
    body.push_str(&format!(
        "<clipPath id=\"{0}\"><rect x=\"{1}\" y=\"{2}\" width=\"{3}\" height=\"{4}\"/></clipPath>\n<g clip-path=\"url(#{0})\">\n",
        escaped(&format!("clip-{}", cut.name)),
        number(frame.left),
        number(frame.top),
        number(wide),
        number(tall)
    ));
    cut.opposing.iter().for_each(|line| body.push_str(&polyline(&frame, line, OPPOSING, "1.6", "6 2")));
    cut.tissue.iter().for_each(|line| body.push_str(&polyline(&frame, line, TISSUE, "2", "")));
    cut.fine.iter().for_each(|line| body.push_str(&polyline(&frame, line, INK, "0.9", "")));
    cut.bodies.iter().for_each(|b| body.push_str(&solid_body(&frame, b)));
    if let Some([x, y]) = cut.rod {
        body.push_str(&rod(&frame, [x, y]));
    }
    cut.marks.iter().for_each(|m| body.push_str(&mark(&frame, m)));
    cut.measures.iter().for_each(|m| body.push_str(&measure(&frame, m)));
    body.push_str("</g>\n");
    let bottom = frame.top + tall;
    body.push_str(&words(frame.left, bottom + 16.0, "start", &cut.left));
    body.push_str(&words(frame.left + wide, bottom + 16.0, "end", &cut.right));
    body.push_str(&words(frame.left + wide / 2.0, bottom + 16.0, "middle", "grid 1 mm, heavy 5 mm"));
    let legend = if !cut.bodies.is_empty() {
        "full line: the restored arch; broken line: the opposing arch; boxes: the parts, from below"
    } else if cut.rod.is_some() {
        "blue line: the cast; thick upright line: the rod, its foot at the height of the point"
    } else if cut.opposing.is_empty() {
        "full line: the cast"
    } else {
        "full line: the restored arch; broken line: the opposing arch"
    };
    body.push_str(&words(frame.left + wide / 2.0, bottom + 34.0, "middle", legend));
    for (i, line) in caption.iter().enumerate() {
        body.push_str(&words(frame.left, bottom + 52.0 + 16.0 * i as f64, "start", line));
    }
    document(width, height, &cut.caption, &body)
}

fn section_frame(cut: &Cut) -> Frame {
    let places: Vec<Flat> = cut
        .measures
        .iter()
        .flat_map(|m| [m.from, m.to])
        .chain(cut.rod)
        .chain(cut.marks.iter().map(|m| m.at))
        .chain(cut.bodies.iter().flat_map(|b| b.outline.iter().copied()))
        .collect();
    let first = places.first().copied().unwrap_or([0.0, 0.0]);
    let (mut low, mut high) = (first, first);
    for p in &places {
        for k in 0..2 {
            low[k] = low[k].min(p[k]);
            high[k] = high[k].max(p[k]);
        }
    }
    // A gauge reading is a matter of tenths of a millimetre: drawn larger.
    let (around, scale) =
        if cut.rod.is_some() { ([7.0, 5.0], 32.0) } else { ([AROUND_MM, AROUND_MM - 4.0], 16.0) };
    for k in 0..2 {
        low[k] = (low[k] - around[k]).floor();
        high[k] = (high[k] + around[k]).ceil();
    }
    Frame { low, high, scale, left: 16.0, top: 16.0 }
}

pub(super) fn grid(frame: &Frame) -> String {
    let mut out = String::new();
    for k in 0..2 {
        let count = (frame.high[k] - frame.low[k]).round().clamp(0.0, 400.0) as i64;
        for i in 0..=count {
            let v = frame.low[k] + i as f64;
            let heavy = (v.round() as i64).rem_euclid(5) == 0;
            let (from, to) = if k == 0 {
                ([v, frame.low[1]], [v, frame.high[1]])
            } else {
                ([frame.low[0], v], [frame.high[0], v])
            };
            out.push_str(&line_between(frame, from, to, if heavy { GRID_FIVE } else { GRID }, "0.7"));
        }
    }
    out
}

pub(super) fn line_between(frame: &Frame, a: Flat, b: Flat, colour: &str, width: &str) -> String {
    format!(
        "<line x1=\"{}\" y1=\"{}\" x2=\"{}\" y2=\"{}\" stroke=\"{colour}\" stroke-width=\"{width}\"/>\n",
        frame.x(a[0]),
        frame.y(a[1]),
        frame.x(b[0]),
        frame.y(b[1])
    )
}

/// Text broken into lines of about that many letters.
fn lines_of(text: &str, letters: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split(' ') {
        match lines.last_mut() {
            Some(line) if line.chars().count() + word.chars().count() < letters.max(20) => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

/// The rod of a surveyor from its foot up to the border of the picture.
fn rod(frame: &Frame, foot: Flat) -> String {
    let mut out = line_between(frame, foot, [foot[0], frame.high[1]], INK, "3.2");
    out.push_str(&line_between(frame, [foot[0] - 0.25, foot[1]], [foot[0] + 0.25, foot[1]], INK, "2"));
    out.push_str(&label(frame, [foot[0] + 0.3, frame.high[1] - 0.9], "rod"));
    out
}

fn mark(frame: &Frame, m: &Mark2) -> String {
    let dot = format!(
        "<circle cx=\"{}\" cy=\"{}\" r=\"3.4\" fill=\"{INK}\"/>\n",
        frame.x(m.at[0]),
        frame.y(m.at[1])
    );
    dot + &label(frame, [m.at[0] + 0.25, m.at[1] + if m.at[1] > 0.0 { 0.45 } else { -0.7 }], &m.says)
}

/// A body as its outline, with its words beside it.
fn solid_body(frame: &Frame, b: &Body2) -> String {
    let points: Vec<String> =
        b.outline.iter().map(|p| format!("{},{}", frame.x(p[0]), frame.y(p[1]))).collect();
    let (mut right, mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY, f64::NEG_INFINITY);
    for p in &b.outline {
        right = right.max(p[0]);
        (low, high) = (low.min(p[1]), high.max(p[1]));
    }
    let outline = format!(
        "<polygon points=\"{}\" fill=\"#f1eee6\" fill-opacity=\"0.8\" stroke=\"{INK}\" stroke-width=\"1.2\"/>\n",
        points.join(" ")
    );
    outline + &label(frame, [right + 0.3, (low + high) / 2.0 - 0.3], &b.says)
}

/// White letters behind the dark ones keep a text readable over lines, in every viewer.
fn label(frame: &Frame, at: Flat, says: &str) -> String {
    ["stroke=\"#fff\" stroke-width=\"4\" fill=\"#fff\"".to_owned(), format!("fill=\"{INK}\"")]
        .iter()
        .map(|paint| {
            format!(
                "<text x=\"{}\" y=\"{}\" {paint} font-family=\"sans-serif\" font-size=\"14\">{}</text>\n",
                frame.x(at[0]),
                frame.y(at[1]),
                escaped(says)
            )
        })
        .collect()
}

pub(super) fn polyline(frame: &Frame, line: &[Flat], colour: &str, width: &str, dashes: &str) -> String {
    let points: Vec<String> = line.iter().map(|p| format!("{},{}", frame.x(p[0]), frame.y(p[1]))).collect();
    format!(
        "<polyline fill=\"none\" stroke=\"{colour}\" stroke-width=\"{width}\" stroke-dasharray=\"{dashes}\" points=\"{}\"/>\n",
        points.join(" ")
    )
}

fn measure(frame: &Frame, m: &Span2) -> String {
    let mut out = line_between(frame, m.from, m.to, INK, "1.4");
    let level = (m.to[1] - m.from[1]).abs() < (m.to[0] - m.from[0]).abs();
    for end in [m.from, m.to] {
        let (a, b) = if level {
            ([end[0], end[1] - 0.3], [end[0], end[1] + 0.3])
        } else {
            ([end[0] - 0.3, end[1]], [end[0] + 0.3, end[1]])
        };
        out.push_str(&line_between(frame, a, b, INK, "1.4"));
    }
    let middle = [(m.from[0] + m.to[0]) / 2.0 + 0.3, (m.from[1] + m.to[1]) / 2.0 + 0.4];
    if !m.says.is_empty() {
        out.push_str(&label(frame, middle, &m.says));
    }
    out
}

pub(super) fn words(x: f64, y: f64, anchor: &str, text: &str) -> String {
    format!(
        "<text x=\"{}\" y=\"{}\" text-anchor=\"{anchor}\" fill=\"{INK}\" font-family=\"sans-serif\" font-size=\"12\">{}</text>\n",
        number(x),
        number(y),
        escaped(text)
    )
}

pub(super) fn document(width: f64, height: f64, title: &str, body: &str) -> Vec<u8> {
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {0} {1}\" width=\"{0}\" height=\"{1}\" role=\"img\">\n\
         <title>{2}</title>\n<rect width=\"100%\" height=\"100%\" fill=\"#fff\"/>\n{body}</svg>\n",
        number(width),
        number(height),
        escaped(title)
    )
    .into_bytes()
}

/// Clearance along the crest of a span: along the opening direction and nearest, with the level that is wanted.
/// `None` where the span has no profile.
pub fn profile(span: &SpanShown, wanted_mm: Option<f64>, title: &str) -> Option<Vec<u8>> {
    let (first, last) = (span.profile.first()?, span.profile.last()?);
    let figures = || span.profile.iter().flat_map(|s| [s.along_opening_mm, s.nearest_mm]).flatten();
    let top = figures().chain(wanted_mm).fold(5.0, f64::max).ceil() + 1.0;
    let bottom = figures().fold(0.0, f64::min).floor();
    let length = (last.s_mm - first.s_mm).max(1.0);
    let frame = Frame {
        low: [first.s_mm, bottom],
        high: [first.s_mm + length.ceil(), top.min(60.0)],
        scale: (640.0 / length.ceil()).min(22.0),
        left: 44.0,
        top: 20.0,
    };
    let (wide, tall) = frame.size();
    let mut body = site_band(&frame, span);
    body.push_str(&grid(&frame));
    if let Some(wanted) = wanted_mm {
        body.push_str(&line_between(&frame, [frame.low[0], wanted], [frame.high[0], wanted], INK, "1"));
        let at = frame.top + (frame.high[1] - wanted) * frame.scale - 4.0;
        body.push_str(&words(frame.left + wide, at, "end", &format!("wanted {}", mm(wanted))));
    }
    for (of, colour, dashes) in [
        ((|s| s.along_opening_mm) as fn(&crate::report::Station) -> Option<f64>, TISSUE, ""),
        (|s| s.nearest_mm, OPPOSING, "6 2"),
    ] {
        for run in runs(span.profile.iter().map(|s| (s.s_mm, of(s)))) {
            body.push_str(&polyline(&frame, &run, colour, "2", dashes));
        }
    }
    for level in (frame.low[1].round() as i64..=frame.high[1].round() as i64).filter(|l| l % 5 == 0) {
        let y = frame.top + (frame.high[1] - level as f64) * frame.scale + 4.0;
        body.push_str(&words(frame.left - 6.0, y, "end", &level.to_string()));
    }
    let base = frame.top + tall;
    body.push_str(&words(
        frame.left,
        base + 16.0,
        "start",
        "mm along the crest from the abutment; grid 1 mm",
    ));
    body.push_str(&words(
        frame.left,
        base + 34.0,
        "start",
        "full line: along the opening direction; broken line: nearest; grey band: best site for the attachment",
    ));
    let lacking = span.profile.iter().any(|s| s.opposing == Opposing::None);
    if lacking {
        body.push_str(&words(
            frame.left,
            base + 50.0,
            "start",
            "where a line is broken off, nothing stands opposite",
        ));
    }
    Some(document(wide.max(560.0) + 2.0 * frame.left, tall + frame.top + 60.0, title, &body))
}

fn site_band(frame: &Frame, span: &SpanShown) -> String {
    let Some(site) = &span.site else { return String::new() };
    let width = (site.along_crest_mm[1] - site.along_crest_mm[0]) * frame.scale;
    format!(
        "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"#eceae4\"/>\n",
        frame.x(site.along_crest_mm[0]),
        number(frame.top),
        number(width.max(0.0)),
        number(frame.size().1)
    )
}

/// Runs of points that have a figure: a line is broken where it is not known.
pub(super) fn runs(points: impl Iterator<Item = (f64, Option<f64>)>) -> Vec<Vec<Flat>> {
    let mut all = vec![Vec::new()];
    for (s_mm, figure) in points {
        match (figure, all.last_mut()) {
            (Some(v), Some(run)) => run.push([s_mm, v]),
            (None, Some(run)) if !run.is_empty() => all.push(Vec::new()),
            _ => {}
        }
    }
    all.retain(|run| run.len() > 1);
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_section_draws_its_lines_and_its_figure() {
        let cut = Cut {
            name: "site-35".into(),
            caption: "Section <35>".into(),
            right: "buccal".into(),
            left: "lingual".into(),
            tissue: vec![vec![[-5.0, 0.0], [5.0, 0.0]]],
            opposing: vec![vec![[-5.0, 7.0], [5.0, 7.0]]],
            measures: vec![Span2 { from: [0.0, 0.0], to: [0.0, 7.0], says: "7.00 mm".into() }],
            fine: vec![],
            bodies: vec![],
            rod: None,
            marks: vec![],
        };
        let svg = String::from_utf8(section(&cut)).unwrap();
        assert_eq!(svg.matches("<polyline").count(), 2);
        assert!(svg.contains("7.00 mm") && svg.contains("&lt;35&gt;") && !svg.contains("NaN"));
        // Scale 16: the tissue lies 7 mm = 112 units under the opposing line.
        let y = |i: usize| -> f64 {
            let points = svg.split("points=\"").nth(i).unwrap();
            points.split(['"', ' ']).next().unwrap().split(',').nth(1).unwrap().parse().unwrap()
        };
        assert!((y(2) - y(1) - 112.0).abs() < 0.02, "{} {}", y(1), y(2));
    }
}
