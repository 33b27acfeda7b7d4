//! The settings of a run as they are shown.

use crate::facts::Facts;
use crate::report::{LimitChanged, PartsAsked, SettingsShown};

/// What the case sets.
pub(super) fn shown(facts: &Facts<'_>) -> SettingsShown {
    let file = &facts.case.file;
    SettingsShown {
        notation: file.notation,
        request: file.design.request,
        scan_mm: file.accuracy.scan_mm,
        articulation_mm: file.accuracy.articulation_mm,
        attachment: file.attachment.as_ref().map(|a| PartsAsked {
            height_mm: a.height_mm,
            length_mm: a.length_mm,
            width_mm: a.width_mm,
            tooth_mm: a.tooth_mm,
            relief_mm: a.relief_mm,
            resin_mm: a.resin_mm,
            adjustment_mm: a.adjustment_mm,
        }),
        limits_changed: facts
            .rules
            .rows()
            .iter()
            // Two guidances stand with the excursions; one number would be half of it.
            .filter(|r| {
                r.changed && (r.id != "condylar_guidance_deg" || file.relation.guidance_deg.is_none())
            })
            .map(|r| LimitChanged { id: r.id.to_owned(), number: r.number, unit: r.unit })
            .collect(),
    }
}
