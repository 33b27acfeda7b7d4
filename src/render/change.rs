//! The change between two scans of one arch: the sheet as text, and the profile along a crest as SVG.

use super::sheet::{self, Block, Table};
use super::svg::{Frame, INK, TISSUE, document, grid, line_between, polyline, runs, words};
use super::text;
use super::words::Manner;
use crate::report::{ChangeFile, SpanChange, ToothFate};
use crate::units::{self, Unit, digits};

/// Units of the drawing for a millimetre along the crest, at most.
const ALONG: f64 = 22.0;

/// The sheet.
pub fn text(file: &ChangeFile, manner: &Manner) -> String {
    let name = |k: usize| file.inputs.get(k).map_or("", |i| i.file.as_str());
    let mut all = vec![
        Block::Title(format!("Change from {} to {}", name(0), name(1))),
        Block::Paragraph(file.sign.clone()),
    ];
    if !file.spans.is_empty() {
        all.push(Block::Table(ridges(&file.spans)));
    }
    if file.teeth.iter().any(|t| t.fate != ToothFate::Stayed) {
        all.push(Block::Table(teeth(file)));
    }
    if !file.tori.is_empty() {
        all.push(Block::Table(tori(file)));
    }
    all.extend(sheet::findings(&file.findings));
    if !file.questions.is_empty() {
        all.push(Block::Heading("Questions to the dentist".into()));
        all.push(Block::List(file.questions.iter().map(|q| format!("{} {}.", q.text, q.because)).collect()));
    }
    all.extend(sheet::inputs(&file.inputs));
    all.extend(sheet::cautions(&file.cautions));
    text::blocks(&sheet::numbered(all, manner))
}

/// A signed figure with twice its uncertainty.
fn signed(mm: f64, uncertainty_mm: f64) -> String {
    let sign = if mm > 0.0 { "+" } else { "" };
    format!("{sign}{} (±{})", units::mm(mm), digits(2.0 * uncertainty_mm, 2))
}

fn ridges(spans: &[SpanChange]) -> Table {
    let mut table = Table::new(
        "Ridge (negative = resorbed; ± is twice the standard uncertainty, the scans' own included)",
        &["span", "deepest", "where", "highest", "mean", "volume", "surface"],
    );
    for s in spans {
        let names: Vec<String> = s.teeth.iter().map(ToString::to_string).collect();
        table.rows.push(vec![
            names.join(", "),
            signed(s.deepest.change_mm, s.deepest.uncertainty_mm),
            s.deepest.words.clone(),
            signed(s.highest.change_mm, s.highest.uncertainty_mm),
            units::mm(s.mean_mm),
            format!(
                "{} (±{})",
                units::show(s.volume_mm3, Unit::Mm3),
                digits(2.0 * s.volume_uncertainty_mm3, Unit::Mm3.places())
            ),
            units::show(s.area_mm2, Unit::Mm2),
        ]);
    }
    table
}

fn teeth(file: &ChangeFile) -> Table {
    let mut table = Table::new(
        "Teeth that do not stand as they stood; the others carry the registration",
        &["tooth", "what became of it", "moved", "tilted"],
    );
    for t in file.teeth.iter().filter(|t| t.fate != ToothFate::Stayed) {
        let fate = match t.fate {
            ToothFate::Stayed => "stayed",
            ToothFate::Moved => "moved",
            ToothFate::Reshaped => "another surface",
            ToothFate::Gone => "gone",
            ToothFate::NotScanned => "not in the newer scan",
        };
        let figure = |value: Option<f64>, off: Option<f64>, unit: Unit| match (value, off) {
            (Some(v), Some(u)) => {
                format!("{} (±{})", units::show(v, unit), digits(2.0 * u, unit.places()))
            }
            _ => "-".into(),
        };
        table.rows.push(vec![
            t.tooth.to_string(),
            fate.into(),
            figure(t.moved_mm, t.moved_uncertainty_mm, Unit::Mm),
            figure(t.tilted_deg, t.tilted_uncertainty_deg, Unit::Deg),
        ]);
    }
    table
}

fn tori(file: &ChangeFile) -> Table {
    let mut table = Table::new(
        "Tori (change of the surface at the summit)",
        &["side", "height before", "height now", "change"],
    );
    for t in &file.tori {
        let change = match (t.change_mm, t.uncertainty_mm) {
            (Some(c), Some(u)) => signed(c, u),
            _ => "-".into(),
        };
        table.rows.push(vec![
            t.side.map_or("-", |s| s.word()).into(),
            sheet::or_dash(t.old_height_mm, Unit::Mm),
            sheet::or_dash(t.new_height_mm, Unit::Mm),
            change,
        ]);
    }
    table
}

/// The change along the crest of a span. `None` where no station has a figure.
pub fn profile(span: &SpanChange) -> Option<Vec<u8>> {
    let (first, last) = (span.profile.first()?, span.profile.last()?);
    let figures: Vec<f64> = span.profile.iter().filter_map(|s| s.change_mm).collect();
    let lowest = figures.iter().copied().reduce(f64::min)?;
    let highest = figures.iter().copied().reduce(f64::max)?;
    let length = (last.s_mm - first.s_mm).ceil().max(1.0);
    let frame = Frame {
        low: [first.s_mm, lowest.min(-1.0).floor()],
        high: [first.s_mm + length, highest.max(0.5).ceil()],
        scale: (640.0 / length).min(ALONG),
        left: 44.0,
        top: 20.0,
    };
    let (wide, tall) = frame.size();
    let mut body = grid(&frame);
    body.push_str(&line_between(&frame, [frame.low[0], 0.0], [frame.high[0], 0.0], INK, "1.2"));
    for run in runs(span.profile.iter().map(|s| (s.s_mm, s.change_mm))) {
        body.push_str(&polyline(&frame, &run, TISSUE, "2", ""));
    }
    for level in frame.low[1].round() as i64..=frame.high[1].round() as i64 {
        let y = frame.top + (frame.high[1] - level as f64) * frame.scale + 4.0;
        body.push_str(&words(frame.left - 6.0, y, "end", &level.to_string()));
    }
    let base = frame.top + tall;
    let under = "mm along the crest from the abutment; grid 1 mm; under 0 the ridge has gone down";
    body.push_str(&words(frame.left, base + 16.0, "start", under));
    let names: Vec<String> = span.teeth.iter().map(ToString::to_string).collect();
    let title = format!("Change of the ridge of span {} along its crest", names.join(", "));
    Some(document(wide.max(520.0) + 2.0 * frame.left, tall + frame.top + 30.0, &title, &body))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::case::SpanKind;
    use crate::report::{ChangeAt, ChangeStation};

    #[test]
    fn the_profile_is_broken_where_nothing_was_measured() {
        let at = ChangeAt {
            change_mm: -1.0,
            uncertainty_mm: 0.1,
            at_mm: [0.0; 3],
            s_mm: Some(1.0),
            words: "here".into(),
        };
        let station = |k: i32| ChangeStation {
            s_mm: 0.5 * f64::from(k),
            at_mm: [0.0; 3],
            change_mm: (k != 5).then_some(-0.1 * f64::from(k)),
        };
        let mut span = SpanChange {
            teeth: vec![],
            kind: SpanKind::DistalExtension,
            exceeds_scan_difference: None,
            deepest: at.clone(),
            highest: at,
            mean_mm: 0.0,
            volume_mm3: 0.0,
            volume_uncertainty_mm3: 0.0,
            area_mm2: 0.0,
            measured_share: 1.0,
            profile: (0..12).map(station).collect(),
        };
        let svg = String::from_utf8(profile(&span).unwrap()).unwrap();
        assert_eq!(svg.matches("<polyline").count(), 2);
        assert!(!svg.contains("NaN"));
        span.profile.clear();
        assert!(profile(&span).is_none());
        assert_eq!(signed(0.25, 0.05), "+0.25 mm (±0.10)");
        assert_eq!(signed(-0.25, 0.05), "-0.25 mm (±0.10)");
    }
}
