//! The assumed numbers, from the table of rules.

use crate::estimate::{Measured, NotMeasured};
use crate::facts::Facts;
use crate::mechanics::sampling::Range;
use crate::mechanics::sensitivity::{INPUTS, Input, Ranges, Runs};
use crate::report::AssumedShown;
use crate::rules::Rule;
use crate::units::{self, Unit};

/// Rows of an input: least and greatest where there are two, else the one that gives both.
fn rows(input: Input) -> (&'static str, Option<&'static str>) {
    match input {
        Input::MucosaModulus => ("support_mucosa_soft_mpa", Some("support_mucosa_firm_mpa")),
        Input::MucosaThickness => ("support_mucosa_thin_mm", Some("support_mucosa_thick_mm")),
        Input::ToothAxial => ("support_tooth_axial_low_n_per_mm", Some("support_tooth_axial_high_n_per_mm")),
        Input::ToothLateral => {
            ("support_tooth_lateral_low_n_per_mm", Some("support_tooth_lateral_high_n_per_mm"))
        }
        Input::Root => ("support_root_short_mm", Some("support_root_long_mm")),
        Input::Joint => ("support_joint_soft_n_mm_per_rad", Some("support_joint_stiff_n_mm_per_rad")),
        Input::Clasp => ("support_clasp_times", None),
        Input::PlateGap => ("support_plate_gap_mm", None),
        Input::HingePlay => ("support_hinge_play_deg", None),
        Input::LoadPlace => ("support_load_shift_mm", None),
    }
}

/// The ranges of a case.
pub(super) fn read(facts: &Facts<'_>) -> Measured<Ranges> {
    let mut all = [Range::even(0.0, 0.0); INPUTS];
    for (range, input) in all.iter_mut().zip(Input::ALL) {
        *range = of(facts, input)?;
    }
    Ok(Ranges(all))
}

fn of(facts: &Facts<'_>, input: Input) -> Measured<Range> {
    let (low, high) = rows(input);
    let number = |id: &str| facts.rules.number(id);
    let Some(high) = high else {
        return Ok(match input {
            Input::Clasp => Range::by_ratio(1.0 / number(low), number(low)),
            Input::PlateGap | Input::HingePlay => Range::even(0.0, number(low)),
            _ => Range::even(-number(low), number(low)),
        });
    };
    let (least, most) = (number(low), number(high));
    if least > most {
        return Err(NotMeasured::new(
            format!("the limit {low} is greater than {high}, so that nothing lies between them"),
            "the two numbers in [limits]",
        ));
    }
    Ok(match input {
        Input::MucosaThickness | Input::Root => Range::even(least, most),
        _ => Range::by_ratio(least, most),
    })
}

/// The ranges as the report shows them.
pub(super) fn shown(facts: &Facts<'_>, ranges: &Ranges, runs: Option<&Runs>) -> Vec<AssumedShown> {
    let mut all = Vec::new();
    for ((i, input), range) in Input::ALL.into_iter().enumerate().zip(ranges.0) {
        let (low, high) = rows(input);
        let weights = runs.map_or_else(Vec::new, |r| {
            r.designs.iter().filter_map(|d| d.weights.get(i)).map(|w| units::json(*w)).collect()
        });
        all.push(AssumedShown {
            input: input.words().to_owned(),
            low: units::json(range.low),
            high: units::json(range.high),
            unit: unit(input),
            source: source(facts.rules.get(low), high.map(|h| facts.rules.get(h))),
            weights,
        });
    }
    all
}

fn unit(input: Input) -> Unit {
    match input {
        Input::MucosaModulus => Unit::Mpa,
        Input::MucosaThickness | Input::Root | Input::PlateGap | Input::LoadPlace => Unit::Mm,
        Input::ToothAxial | Input::ToothLateral => Unit::NPerMm,
        Input::HingePlay => Unit::Deg,
        Input::Joint => Unit::NMmPerRad,
        Input::Clasp => Unit::Share,
    }
}

fn source(low: &Rule, high: Option<&Rule>) -> String {
    let words = |r: &Rule| {
        let changed = if r.changed { ", changed by the case file" } else { "" };
        format!("{} ({}{changed})", r.source, r.mark.words())
    };
    match high.map(|h| (words(low), words(h))) {
        Some((low, high)) if low == high => low,
        Some((low, high)) => format!("low {low}, high {high}"),
        None => words(low),
    }
}
