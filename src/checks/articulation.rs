//! Check: how the arches stand to each other.

use super::{Check, Part};
use crate::estimate::{Estimate, NotMeasured, Source};
use crate::facts::Facts;
use crate::facts::relation::Relation;
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
    if let Err(reason) = &facts.relation {
        return Some(reason.clone());
    }
    let fact = &facts.articulation;
    match fact.state {
        ArticulationState::Occluding => None,
        ArticulationState::Apart | ArticulationState::Overlapping if facts.case.file.relation.as_scanned => {
            None
        }
        ArticulationState::Apart => Some(NotMeasured::new(
            match fact.least_gap {
                Some((mm, _)) => format!("the arches do not touch: they stand {} apart", units::mm(mm)),
                None => "the arches do not touch".to_owned(),
            },
            "both scans exported in occlusion; a bite that was propped open on purpose by less than 1 mm can be \
             allowed with [limits] contact_gap_mm; where they shall stand so, [articulation] as_scanned = true",
        )),
        ArticulationState::Overlapping => Some(NotMeasured::new(
            match fact.deepest_overlap {
                Some((mm, _)) => format!("the arches stand up to {} deep in each other", units::mm(mm)),
                None => "the arches stand in each other".to_owned(),
            },
            match facts.relation {
                Ok(Relation::Bite(_)) => {
                    "a bite scan that shows at least four teeth of each arch from the side: as it was laid, it brings the \
                     arches into each other"
                }
                Ok(Relation::Given(_)) => {
                    "[articulation] opposing_motion, which brings the arches into each other"
                }
                _ => "both scans exported in occlusion, from one bite registration",
            },
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
        part.findings.extend(brought_together(facts));
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
    part.findings.extend(brought_together(facts));
    if fact.state != ArticulationState::Occluding {
        part.findings.push(as_scanned(facts));
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

/// The case says that the relation holds although the surfaces do not show it.
fn as_scanned(facts: &Facts<'_>) -> Finding {
    let fact = &facts.articulation;
    let shows = match (fact.state, fact.deepest_overlap, fact.least_gap) {
        (ArticulationState::Overlapping, Some((mm, _)), _) => {
            format!("stand up to {} deep in each other", units::mm(mm))
        }
        (_, _, Some((mm, _))) => format!("stand {} apart", units::mm(mm)),
        _ => "do not touch".to_owned(),
    };
    Finding::new(
        CHECK.id,
        "taken_as_scanned",
        Verdict::Caution,
        format!(
            "The arches {shows}; the case file says that they stand as they shall, and room between them is judged in this \
             relation."
        ),
    )
    .settled_by("a bite registration, or a look at the articulated casts")
}

/// How the opposing arch was moved, where it was.
fn brought_together(facts: &Facts<'_>) -> Option<Finding> {
    let relation = facts.relation.as_ref().ok()?;
    let motion = relation.motion()?;
    let other = facts.opposing.as_ref()?;
    let scanned = &other.scan.import.mesh;
    let middle = scanned.middle();
    let way = units::mm((motion * middle - middle).norm());
    let turn = units::deg(motion.rotation.angle().to_degrees());
    let arch = other.arch.word();
    let moved = format!("its middle by {way}, turned by {turn}");
    let finding = match relation {
        Relation::Bite(by) => {
            let [on_restored, on_opposing] = &by.laid;
            let up = facts.opening.as_ref().ok()?;
            let added = relation.uncertainty_mm(&facts.restored.mesh().middle(), up);
            let worst = f64::max(on_restored.rms_mm, on_opposing.rms_mm);
            Finding::new(
                CHECK.id,
                "brought_together_by_bite",
                Verdict::Caution,
                format!(
                    "The {arch} was brought into its relation by the scan of the bite ({moved}). Residual of the bite on the {}: \
                     {} (root mean square), on the {arch}: {}; the relation is uncertain by {} more for it, which every figure \
                     between the arches counts in.",
                    facts.restored.arch.word(),
                    units::mm(on_restored.rms_mm),
                    units::mm(on_opposing.rms_mm),
                    units::mm(added)
                ),
            )
            .figure(&Estimate::new(worst, vec![]).with(Source::Articulation, added), Unit::Mm)
            .with("residual_restored_mm", units::json(on_restored.rms_mm))
            .with("residual_opposing_mm", units::json(on_opposing.rms_mm))
        }
        _ => Finding::new(
            CHECK.id,
            "brought_together_as_given",
            Verdict::Caution,
            format!("The {arch} was brought into its relation as the case file gives it ({moved})."),
        ),
    };
    Some(finding)
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
