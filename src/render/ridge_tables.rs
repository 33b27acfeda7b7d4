//! The tables of the residual ridge: its form along the crest, and its distal end.

use super::sheet::{Table, or_dash, place};
use crate::report::{RidgeStation, SpanShown};
use crate::units::{self, Unit};

/// Every so many stations one is printed; all of them stand in `report.json`.
const EVERY: usize = 4;

/// Form and ends of all ridges.
pub(super) fn of_spans(spans: &[SpanShown]) -> Vec<Table> {
    let mut form = Table::new(
        "Residual ridge along its crest: height over the sulcus, width under the crest",
        &["span", "from the front", "height buccal", "height lingual", "width at 3 mm", "width at 5 mm"],
    );
    let mut ends = Table::new("Distal ends", &["span", "told by", "place", "confidence"]);
    for span in spans {
        let teeth = span.teeth.iter().map(ToString::to_string).collect::<Vec<_>>().join(" ");
        form.rows.extend(span.ridge.iter().step_by(EVERY).map(|s| row(&teeth, s)));
        if let Some(end) = &span.end {
            ends.rows.push(vec![
                teeth.clone(),
                end.kind.replace('_', " "),
                place(&end.at_mm),
                units::show(end.confidence, Unit::Share),
            ]);
        }
    }
    vec![form, ends]
}

fn row(teeth: &str, s: &RidgeStation) -> Vec<String> {
    let with = |value: Option<f64>, standard: Option<f64>| match (value, standard) {
        (Some(v), Some(u)) => {
            format!("{} (±{})", units::mm(v), units::digits(2.0 * u, Unit::Mm.places()))
        }
        _ => "not measured".to_owned(),
    };
    vec![
        teeth.to_owned(),
        or_dash(Some(s.s_mm), Unit::Mm),
        with(s.height_buccal_mm, s.height_uncertainty_mm),
        with(s.height_lingual_mm, s.height_uncertainty_mm),
        with(s.width_3_mm, s.width_uncertainty_mm),
        with(s.width_5_mm, s.width_uncertainty_mm),
    ]
}
