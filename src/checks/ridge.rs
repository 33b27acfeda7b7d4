//! Check: Residual ridge.

use super::{Check, Part};
use crate::anatomy::{Span, spans};
use crate::case::{Arch, SpanKind};
use crate::estimate::{Estimate, Source};
use crate::facts::{Facts, RIDGE_DEPTHS_MM};
use crate::measure::ridge_form::{Height, Station, Width, median};
use crate::report::{Finding, RidgeEndShown, RidgeStation, Verdict, Where};
use crate::space::sin;
use crate::units::{self, Unit};

/// The check.
pub const CHECK: Check = Check {
    id: "ridge",
    title: "Residual ridge",
    measures: "Along each crest, in sections square to it: the height of the crest over the deepest recorded place of the \
               sulcus, buccal and lingual apart, along the occlusal direction, and the width of the ridge 3 and 5 mm under \
               its crest. Where the scan ends before a sulcus no height is given. The distal end of an unmarked crest is \
               the front of the retromolar pad or the tuberosity where their shape shows them; else it is the average \
               width of the missing teeth, and a mark is asked for. Nothing is judged: the mucosa's thickness and the \
               bone under it are not on a scan.",
    limits: &["confidence_least"],
    method: "anatomy.md",
    run,
};

/// How well a sulcus and the turn of a wall are found in a section, mm.
const METHOD_MM: f64 = 0.15;

fn run(facts: &Facts<'_>) -> Part {
    let mut findings = Vec::new();
    for (span, form) in facts.restored.anatomy.spans.iter().zip(&facts.ridges) {
        if span.crest.is_err() || form.is_empty() {
            continue;
        }
        findings.push(statement(facts, span, form));
        findings.extend(end_unknown(facts, span));
    }
    Part { findings, ..Part::default() }
}

/// The form of a ridge in words, with its median width.
fn statement(facts: &Facts<'_>, span: &Span, form: &[Station]) -> Finding {
    let name = spans::name(&span.teeth);
    let sides = ["buccal", "lingual"].map(str::to_owned);
    let heights: Vec<String> = (0..2).map(|k| height_words(facts, form, k, &sides[k])).collect();
    let widths: Vec<String> = (0..2).map(|k| width_words(form, k)).collect();
    let says = format!(
        "Ridge of {name}: height over the sulcus {}; width {}. Medians along the crest.",
        heights.join(", "),
        widths.join(", ")
    );
    let mut finding = Finding::new(CHECK.id, "ridge_form", Verdict::Caution, says)
        .with("stations", form.len())
        .at(Where::span(&span.teeth));
    let middle = median(form.iter().filter_map(|s| s.widths[0]).map(|w| w.width_mm));
    let typical = middle.and_then(|m| form.iter().filter_map(|s| s.widths[0]).find(|w| w.width_mm == m));
    if let Some(width) = typical {
        finding = finding.figure(&width_estimate(facts, &width), Unit::Mm);
    }
    finding
}

fn height_words(facts: &Facts<'_>, form: &[Station], side: usize, word: &str) -> String {
    let middle = median(form.iter().filter_map(|s| measured(&s.heights[side])));
    let cut = form.iter().filter(|s| s.heights[side] == Height::CutAway).count();
    let palatal = facts.restored.arch == Arch::Maxilla && side == 1;
    match middle {
        Some(mm) if cut * 3 > form.len() => {
            format!(
                "{word} {} where the scan holds the sulcus, which over much of its length it does not",
                units::mm(mm)
            )
        }
        Some(mm) => format!("{word} {}", units::mm(mm)),
        None if palatal => "none palatal, where there is no sulcus".to_owned(),
        None if cut > 0 => format!("{word} not measured, the scan ends before the sulcus"),
        None => format!("{word} not measured, no sulcus is on the scan"),
    }
}

fn width_words(form: &[Station], depth: usize) -> String {
    let at = units::show(RIDGE_DEPTHS_MM[depth], Unit::Mm);
    match median(form.iter().filter_map(|s| s.widths[depth]).map(|w| w.width_mm)) {
        Some(mm) => format!("{} at {at} under the crest", units::mm(mm)),
        None => format!("not measured at {at} under the crest, where the scan or the ridge does not reach"),
    }
}

fn measured(height: &Height) -> Option<f64> {
    match height {
        Height::Measured { height_mm, .. } => Some(*height_mm),
        _ => None,
    }
}

/// Asks for a mark where the distal end is not told surely enough.
fn end_unknown(facts: &Facts<'_>, span: &Span) -> Option<Finding> {
    let end = span.end.filter(|_| span.kind == SpanKind::DistalExtension)?;
    if end.confidence >= facts.rules.number("confidence_least") {
        return None;
    }
    let name = spans::name(&span.teeth);
    let landmark = if facts.restored.arch == Arch::Mandible { "retromolar pad" } else { "tuberosity" };
    let says = format!(
        "Where the ridge of {name} ends is not sure: the scan does not clearly show the {landmark}; its crest is drawn as \
         far as the missing teeth would reach or the scan holds it."
    );
    Some(
        Finding::new(CHECK.id, "ridge_end_unsure", Verdict::Ask, says)
            .with("confidence", units::json(end.confidence))
            .at(Where::span(&span.teeth).at(&end.at))
            .settled_by(format!("a mark at the {landmark} in [marks] ridge_ends")),
    )
}

fn direction_deg(facts: &Facts<'_>) -> f64 {
    facts.restored.anatomy.frame.as_ref().map_or(1.0, |f| f.uncertainty_deg)
}

fn height_estimate(facts: &Facts<'_>, height_mm: f64, across_mm: f64) -> Estimate {
    let scan = facts.case.file.accuracy.scan_mm;
    Estimate::new(height_mm, vec![])
        .with(Source::Scan, scan * 2.0_f64.sqrt())
        .with(Source::Direction, across_mm.abs() * sin(direction_deg(facts).to_radians()))
        .with(Source::Method, METHOD_MM)
}

pub(super) fn width_estimate(facts: &Facts<'_>, width: &Width) -> Estimate {
    let scan = facts.case.file.accuracy.scan_mm;
    // A tipped section lowers one wall and lifts the other by half the width times the angle.
    let tipped = width.width_mm / 2.0 * sin(direction_deg(facts).to_radians());
    Estimate::new(width.width_mm, vec![])
        .with(Source::Scan, scan * width.run_share.max(1.0))
        .with(Source::Direction, tipped * width.run_share)
        .with(Source::Method, METHOD_MM)
}

/// The stations of a span's ridge as the report shows them.
pub(super) fn stations(facts: &Facts<'_>, index: usize) -> Vec<RidgeStation> {
    let of = |s: &Station| {
        let height = |h: &Height| match *h {
            Height::Measured { height_mm, across_mm } => Some(height_estimate(facts, height_mm, across_mm)),
            _ => None,
        };
        let heights = s.heights.each_ref().map(height);
        let widths = s.widths.map(|w| w.map(|w| width_estimate(facts, &w)));
        let worst = |all: &[Option<Estimate>; 2]| {
            all.iter().flatten().map(|e| units::json(e.standard())).max_by(f64::total_cmp)
        };
        let value = |e: &Option<Estimate>| e.as_ref().map(|e| units::json(e.value));
        RidgeStation {
            s_mm: units::json(s.s_mm),
            at_mm: units::json_place(&s.at),
            height_buccal_mm: value(&heights[0]),
            height_lingual_mm: value(&heights[1]),
            width_3_mm: value(&widths[0]),
            width_5_mm: value(&widths[1]),
            height_uncertainty_mm: worst(&heights),
            width_uncertainty_mm: worst(&widths),
        }
    };
    facts.ridges.get(index).map_or_else(Vec::new, |form| form.iter().map(of).collect())
}

/// The distal end of a span as the report shows it.
pub(super) fn end(span: &Span) -> Option<RidgeEndShown> {
    span.end.map(|e| RidgeEndShown {
        kind: e.kind.word().to_owned(),
        at_mm: units::json_place(&e.at),
        confidence: units::json(e.confidence),
    })
}

#[cfg(test)]
mod tests {
    use super::super::test_cases::plate_case;
    use super::*;
    use crate::rules::Rules;

    #[test]
    fn a_case_whose_crest_is_not_known_says_nothing_of_its_ridge() {
        let rules = Rules::standard();
        let case = plate_case(Arch::Mandible, &[36, 37], |_| {});
        let facts = Facts::new(&case, &rules).unwrap();
        assert_eq!(facts.ridges.len(), facts.restored.anatomy.spans.len());
        assert_eq!(run(&facts), Part::default());
    }

    #[test]
    fn heights_in_words_name_what_the_scan_lacks() {
        let rules = Rules::standard();
        let case = plate_case(Arch::Mandible, &[36, 37], |_| {});
        let facts = Facts::new(&case, &rules).unwrap();
        let station = |height: Height| Station {
            s_mm: 0.0,
            at: crate::space::Point::origin(),
            heights: [height; 2],
            widths: [Some(Width { width_mm: 6.0, run_share: 1.0 }), None],
        };
        let high = station(Height::Measured { height_mm: 5.0, across_mm: 6.0 });
        assert_eq!(height_words(&facts, &[high], 0, "buccal"), "buccal 5.00 mm");
        let cut = station(Height::CutAway);
        assert!(height_words(&facts, &[cut], 0, "buccal").contains("the scan ends before the sulcus"));
        assert!(height_words(&facts, &[high, cut], 0, "buccal").contains("over much of its length"));
        assert!(width_words(&[high], 0).starts_with("6.00 mm at 3"));
        assert!(width_words(&[high], 1).starts_with("not measured"));
        // A leaning frame tips the section: the sulcus 6 mm aside rises or falls with it.
        let deg = direction_deg(&facts);
        let figure = height_estimate(&facts, 5.0, 6.0);
        assert!(figure.standard() >= 6.0 * sin(deg.to_radians()) && figure.standard() > METHOD_MM);
    }
}
