//! Check: how the arches stand to each other.

use super::{Check, Part};
use crate::estimate::{Estimate, NotMeasured, Source};
use crate::facts::Facts;
use crate::mesh::audit::DefectKind;
use crate::report::{ArticulationState, Finding, Question, Verdict, Where};
use crate::rules::judge;
use crate::units::{self, Unit};

/// The check.
pub const CHECK: Check = Check {
    id: "articulation",
    title: "How the arches stand to each other",
    measures: "Contacts are connected patches where facing surfaces of the two scans come within the contact gap; the \
               deepest overlap and, where nothing touches, the least gap are read along the opening direction. Room \
               between the arches is judged only where they occlude. A scan cannot show whether the bite in which it \
               was taken is the patient's.",
    limits: &["contact_gap_mm", "overlap_allowed_mm", "articulation_lever_deg"],
    method: "articulation.md",
    run,
};

/// Why room between the arches is not judged; `None` where they occlude.
pub(super) fn hindrance(facts: &Facts<'_>) -> Option<NotMeasured> {
    let Some(other) = &facts.opposing else {
        return Some(NotMeasured::new(
            format!("the {} was not scanned", facts.restored.arch.opposing().word()),
            format!("a scan of the {} in occlusion", facts.restored.arch.opposing().word()),
        ));
    };
    if facts.pair_defects.iter().any(|d| d.kind == DefectKind::SameFileTwice) {
        return Some(NotMeasured::new(
            "both files hold the same surface",
            format!("the scan of the {}", facts.restored.arch.opposing().word()),
        ));
    }
    if let Err(reason) = &facts.opening {
        return Some(reason.clone());
    }
    let fact = &facts.articulation;
    match fact.state {
        ArticulationState::Occluding => None,
        ArticulationState::Apart => Some(NotMeasured::new(
            match fact.least_gap {
                Some((mm, _)) => format!("the arches do not touch: they stand {} apart", units::mm(mm)),
                None => "the arches do not touch".to_owned(),
            },
            "both scans exported in occlusion; a bite that was propped open on purpose by less than 1 mm can be \
             allowed with [limits] contact_gap_mm",
        )),
        ArticulationState::Overlapping => Some(NotMeasured::new(
            match fact.deepest_overlap {
                Some((mm, _)) => format!("the arches stand up to {} deep in each other", units::mm(mm)),
                None => "the arches stand in each other".to_owned(),
            },
            "both scans exported in occlusion, from one bite registration",
        )),
        ArticulationState::Unknown => Some(NotMeasured::new(
            format!("no part of the {} stands over the {}", other.arch.word(), facts.restored.arch.word()),
            "both scans exported in one coordinate system, in occlusion",
        )),
    }
}

fn run(facts: &Facts<'_>) -> Part {
    let mut part = Part::default();
    let fact = &facts.articulation;
    let place = |at: Option<crate::space::Point>| at.map_or_else(Where::default, |p| Where::default().at(&p));
    if let Some(reason) = hindrance(facts) {
        let mut finding =
            Finding::not_measured(CHECK.id, "not_in_occlusion", "Relation of the arches", &reason);
        finding.place = place(fact.least_gap.map(|g| g.1));
        if fact.state == ArticulationState::Overlapping
            && let Some(overlap) = overlap(facts)
        {
            finding = overlap;
            finding.settled_by = reason.settled_by.clone();
        }
        part.findings.push(finding);
        if facts.opposing.is_some() && facts.opening.is_ok() {
            part.questions.push(Question {
                to: "dentist".into(),
                text: "Please send both scans again as they stand in maximum intercuspation, with the bite \
                       registration."
                    .into(),
                because: format!("In the files {}.", reason.because),
            });
        }
        return part;
    }
    let contacts = fact.contacts.len();
    let says = format!(
        "The arches occlude: {contacts} contact{} within {} of each other{}.",
        if contacts == 1 { "" } else { "s" },
        units::mm(facts.rules.number("contact_gap_mm")),
        match fact.deepest_overlap {
            Some((mm, _)) => format!(", deepest overlap {}", units::mm(mm)),
            None => String::new(),
        }
    );
    part.findings.push(
        Finding::new(CHECK.id, "occluding", Verdict::Fits, says)
            .figure(&Estimate::new(contacts as f64, vec![]), Unit::Count)
            .at(place(fact.contacts.first().copied()))
            .with("contacts", contacts),
    );
    part
}

/// The finding of an overlap that is deeper than contact explains.
fn overlap(facts: &Facts<'_>) -> Option<Finding> {
    let (mm, at) = facts.articulation.deepest_overlap?;
    let scan = facts.case.file.accuracy.scan_mm;
    let figure = Estimate::new(mm, vec![]).with(Source::Scan, std::f64::consts::SQRT_2 * scan);
    let rule = facts.rules.get("overlap_allowed_mm");
    let says = format!(
        "The arches stand {} deep in each other, {} are allowed for contact: room between them is not judged.",
        units::mm(mm),
        units::mm(rule.number)
    );
    Some(
        Finding::new(CHECK.id, "overlapping", judge(&figure, rule), says)
            .figure(&figure, Unit::Mm)
            .limit(rule.shown())
            .at(Where::default().at(&at)),
    )
}
