//! Check: how the occlusal plane was found and how well it is known.

use super::{Check, Part};
use crate::anatomy::{KnownFrame, Origin, frame};
use crate::estimate::{Estimate, NotMeasured, Source};
use crate::facts::Facts;
use crate::report::{Finding, Verdict, Where};
use crate::units::{self, Unit};

/// The check.
pub const CHECK: Check = Check {
    id: "occlusal_plane",
    title: "Occlusal plane",
    measures: "The occlusal direction, anterior and the patient's left of the restored arch: from three marked points, \
               from marked or labelled crowns, else from the shape of the cast (curved detail seen from the occlusal \
               side, a plane laid on the cusp tips, a horseshoe laid over the arch). Stated with its standard \
               uncertainty; a plane found with low confidence is not used. It cannot see how the patient closes: the \
               plane is that of the teeth on this cast.",
    limits: &["confidence_least", "plane_disagreement_deg"],
    method: "anatomy.md",
    run,
};

/// A mark of the midline settles anterior.
const MARK_THE_MIDLINE: &str = "a mark between the central incisors in [marks] midline";

fn run(facts: &Facts<'_>) -> Part {
    let mut part = Part::default();
    match &facts.restored.anatomy.frame {
        Err(reason) => {
            part.findings.push(Finding::not_measured(CHECK.id, "not_found", "The occlusal plane", reason));
        }
        Ok(known) => {
            part.findings.push(statement(facts, known));
            part.findings.extend(sides(facts, known));
            part.findings.extend(disagreement(facts, known));
        }
    }
    part
}

fn statement(facts: &Facts<'_>, known: &KnownFrame) -> Finding {
    let marked = facts.case.file.marks.occlusal_plane.is_some();
    let (code, whence, source) = match (known.origin, marked) {
        (Origin::Given, true) => ("marked", "lies through the three marked points", Source::Marks),
        (Origin::Given, false) => {
            ("from_teeth", "was laid on the crowns that are marked or labelled", Source::Method)
        }
        (Origin::Found, _) => ("found", "was found on the shape of the cast", Source::Method),
    };
    let mut says = format!(
        "The occlusal plane {whence}; its direction has a standard uncertainty of {}",
        units::deg(known.uncertainty_deg)
    );
    if known.origin == Origin::Found {
        let confidence = units::show(known.confidence, Unit::Share);
        says.push_str(&format!(
            " and the finding a confidence of {confidence}; three marked points overrule it"
        ));
    }
    says.push('.');
    let estimate = Estimate::new(known.uncertainty_deg, Vec::new()).with(source, known.uncertainty_deg);
    Finding::new(CHECK.id, code, Verdict::Caution, says)
        .with("confidence", units::json(known.confidence))
        .with("uncertainty_deg", units::json(estimate.value))
        .at(Where::default().at(&known.frame.origin))
}

/// Without the anterior direction the sides are not told: a lack where a chart asks for them.
fn sides(facts: &Facts<'_>, known: &KnownFrame) -> Option<Finding> {
    if known.anterior_known {
        return None;
    }
    let reason = NotMeasured::new("nothing on the cast shows clearly where its front is", MARK_THE_MIDLINE);
    let mut finding = Finding::not_measured(CHECK.id, "anterior_unknown", "Left, right and front", &reason);
    if facts.case.file.chart.is_none() {
        finding.verdict = Verdict::Caution;
    }
    Some(finding)
}

/// A marked plane that the shape of the cast contradicts.
fn disagreement(facts: &Facts<'_>, known: &KnownFrame) -> Option<Finding> {
    let marked = facts.case.file.marks.occlusal_plane.is_some();
    if !marked || known.origin != Origin::Given {
        return None;
    }
    let arch = &facts.restored;
    let (angle_deg, confidence) = frame::disagreement(arch.mesh(), &arch.topology, arch.arch, known)?;
    let rule = "plane_disagreement_deg";
    if confidence < facts.rules.number("confidence_least") || angle_deg <= facts.rules.number(rule) {
        return None;
    }
    let says = format!(
        "The marked occlusal plane leans {} from that which the shape of the cast suggests; check the three marks.",
        units::deg(angle_deg)
    );
    let finding = Finding::new(CHECK.id, "marks_disagree", Verdict::Caution, says)
        .with("angle_deg", units::json(angle_deg))
        .settled_by("the three points of [marks] occlusal_plane, each on an incisal edge or a cusp tip");
    Some(finding)
}
