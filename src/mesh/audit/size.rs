//! Whether a surface has the size of an arch, and in which unit it would.

use super::shells::Shells;
use super::{Defect, DefectKind};
use crate::units::{self, LengthUnit};

/// An arch measures this much across, mm.
const ARCH_MM: std::ops::RangeInclusive<f64> = 30.0..=120.0;
/// What most arches measure across, mm: the likely unit is that which comes nearest.
const COMMON_MM: f64 = 60.0;

pub(super) fn unlikely(shells: &Shells, taken: LengthUnit) -> Option<Defect> {
    // A single piece of the right size settles it, however far other pieces stand from it.
    if shells.large().any(|p| ARCH_MM.contains(&p.extent_mm())) {
        return None;
    }
    let boxes = shells.large().map(|p| (p.low, p.high));
    let (low, high) = boxes.reduce(|a, b| (a.0.inf(&b.0), a.1.sup(&b.1)))?;
    let across_mm = (high - low).max();
    if ARCH_MM.contains(&across_mm) || across_mm <= 0.0 {
        return None;
    }
    let in_file = across_mm / taken.mm();
    let apart = |unit: &LengthUnit| crate::space::ln(in_file * unit.mm() / COMMON_MM).abs();
    let likely = LengthUnit::ALL
        .into_iter()
        .filter(|unit| ARCH_MM.contains(&(in_file * unit.mm())))
        .min_by(|a, b| apart(a).total_cmp(&apart(b)));
    let advice = match likely {
        Some(unit) => format!(
            "Its numbers are likely in {}: then it would be {} across. Nothing was scaled; state `unit = \"{}\"` in the \
             case file if that is so.",
            name(unit),
            units::mm(in_file * unit.mm()),
            unit.word()
        ),
        None => "No common unit gives it the size of an arch; check what was exported.".to_owned(),
    };
    Some(Defect {
        kind: DefectKind::UnlikelyUnit,
        count: 1,
        at: Some(nalgebra::center(&low, &high)),
        says: format!(
            "Read in {}, the surface is {} across; an arch is 30 to 120 mm. {advice}",
            name(taken),
            across(across_mm)
        ),
        mended: false,
    })
}

/// Very small and very large sizes need other digits than 0.01 mm.
fn across(mm: f64) -> String {
    if mm < 1.0 { units::digits(mm, 4) + " mm" } else { units::mm(mm) }
}

fn name(unit: LengthUnit) -> &'static str {
    match unit {
        LengthUnit::Um => "micrometres",
        LengthUnit::Mm => "millimetres",
        LengthUnit::Cm => "centimetres",
        LengthUnit::M => "metres",
        LengthUnit::Inch => "inches",
    }
}
