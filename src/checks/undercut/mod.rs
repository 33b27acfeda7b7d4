//! Check: undercut of the abutments.

mod bar;
mod clasp;
mod gauges;
mod planes;
mod reciprocity;
mod survey;
#[cfg(test)]
mod tests;

use rayon::prelude::*;

use super::{Check, Part};
use crate::case::{Clasp, ClaspKind, Tooth};
use crate::estimate::{Measured, NotMeasured};
use crate::facts::{Facts, Path};
use crate::measure::undercut::{TiltedCast, UndercutField};
use crate::report::{ClaspShown, Finding, Verdict, Where};
use crate::space::{Point, Vector, angle_deg};
use crate::units::{self, Unit};
use survey::Abutment;

/// The check.
pub const CHECK: Check = Check {
    id: "undercut",
    title: "Undercut of the abutments",
    measures: "Along the path, how far a vertical rod must be moved aside to be free of all that stands above a point: \
               the undercut depth, exact on the triangles of the scan. For each surface of each abutment the deepest \
               undercut above the gingival margin and the places where the gauges rest, in each third; for each clasp \
               asked for, whether its undercut is reached, what stands opposite its tip and which of the two is reached \
               first on seating; for a bar clasp the sulcus, and the undercut of the tissue under its arm. Beside spans \
               the surfaces that run along the path, and how much tooth would have to go to make one. A hole of the \
               scan is closed and frees nothing. Surface that scanner software has closed under deep undercuts is \
               invented, and the scan does not show enamel.",
    limits: &[
        "undercut_cast_circumferential_mm",
        "undercut_bar_mm",
        "undercut_wrought_wire_mm",
        "undercut_ceiling_mm",
        "tip_above_margin_mm",
        "bar_sulcus_mm",
        "approach_arm_margin_mm",
        "approach_arm_width_mm",
        "approach_arm_undercut_mm",
        "reciprocal_gap_mm",
        "reciprocal_lead_mm",
        "tilt_most_deg",
        "guiding_plane_height_tooth_mm",
        "guiding_plane_height_extension_mm",
        "guiding_plane_width_share",
        "guiding_plane_good_deg",
        "guiding_plane_prepare_deg",
    ],
    method: "undercut.md",
    run,
};

/// Stands beside every undercut figure.
const INVENTED: &str = "Scan surface under undercuts may be invented.";

fn run(facts: &Facts<'_>) -> Part {
    let surveyed = facts.path.as_ref().and_then(|path| facts.undercut.as_ref().map(|field| (path, field)));
    match surveyed {
        Ok((path, field)) => {
            let (cast, normal) = (facts.surveyor.tilted(&path.withdrawal), along_normal(facts));
            run_along(&Along { facts, path, field, cast: &cast, normal: normal.as_ref() })
        }
        Err(reason) => {
            let mut part = Part::default();
            part.findings.push(Finding::not_measured(
                CHECK.id,
                "undercut",
                "Undercut of the abutments",
                reason,
            ));
            part
        }
    }
}

/// A path with the undercut along it: that of the case, or one that is tried.
#[derive(Clone, Copy, Debug)]
pub struct Along<'a, 's> {
    /// The facts of the case.
    pub facts: &'a Facts<'a>,
    /// The path.
    pub path: &'a Path,
    /// Depths along it, at least on the crowns of the abutments.
    pub field: &'a UndercutField,
    /// The cast set up along it.
    pub cast: &'a TiltedCast<'s>,
    /// The cast set up along the occlusal normal, where that is known.
    pub normal: Option<&'a TiltedCast<'s>>,
}

/// The cast of a case set up along its occlusal normal; `None` where that is not known.
pub fn along_normal<'f>(facts: &'f Facts<'_>) -> Option<TiltedCast<'f>> {
    facts.restored.anatomy.frame.as_ref().ok().map(|f| facts.surveyor.tilted(&f.frame.occlusal))
}

/// The check for a path.
pub fn run_along(along: &Along<'_, '_>) -> Part {
    let (facts, path) = (along.facts, along.path);
    let mut part = Part::default();
    let teeth = abutments(facts);
    if let Some(finding) = into_the_tissue(facts, path) {
        part.findings.push(finding);
        return part;
    }
    part.findings.extend(tilted_far(facts, path));
    if teeth.is_empty() {
        let reason = NotMeasured::new(
            "no abutment is named and no tooth is known to border a span",
            "abutments in [design], or missing teeth in [chart]",
        );
        part.findings.push(Finding::not_measured(CHECK.id, "undercut", "Undercut of the abutments", &reason));
        return part;
    }
    let told: Vec<Part> = survey::abutments(along, &teeth)
        .into_par_iter()
        .map(|(tooth, read)| {
            let mut own = Part::default();
            match read {
                Ok(abutment) => of_abutment(along, &abutment, &mut own),
                Err(reason) => own.findings.push(
                    Finding::not_measured(
                        CHECK.id,
                        "undercut",
                        &format!("Undercut of {}", facts.tooth_words(tooth)),
                        &reason,
                    )
                    .at(Where::tooth(tooth)),
                ),
            }
            own
        })
        .collect();
    for own in told {
        part.findings.extend(own.findings);
        part.abutments.extend(own.abutments);
        part.preparation.extend(own.preparation);
        part.questions.extend(own.questions);
    }
    part
}

/// The tip of a clasp asked for, and the size of its crown.
#[derive(Clone, Copy, Debug)]
pub(super) struct ClaspTip {
    /// Where, mm.
    pub at: Point,
    /// From the tooth outward, square to the occlusal direction.
    pub outward: Vector,
    /// Below the survey line along the path, mm.
    pub below_mm: Option<f64>,
    /// Whether the clasp's undercut is reached there; else it is the deepest place of its surface.
    pub reached: bool,
    /// Depth there, mm.
    pub depth_mm: f64,
    /// Angle of the wall to the path, degrees, where it is read.
    pub wall_deg: Option<f64>,
    /// Half the mesiodistal and half the buccolingual extent of the crown, mm.
    pub half_mm: [f64; 2],
}

/// The tip of each clasp asked for, in the order of the case file.
pub(super) fn clasp_tips(facts: &Facts<'_>) -> Vec<Measured<ClaspTip>> {
    let clasps = &facts.case.file.design.clasps;
    let surveyed = facts.path.as_ref().and_then(|path| facts.undercut.as_ref().map(|field| (path, field)));
    let (path, field) = match surveyed {
        Ok((path, field)) if !facts.into_the_tissue(path) => (path, field),
        Ok(_) => {
            return clasps
                .iter()
                .map(|_| Err(NotMeasured::only("the path points into the tissue")))
                .collect();
        }
        Err(reason) => return clasps.iter().map(|_| Err(reason.clone())).collect(),
    };
    let (cast, normal) = (facts.surveyor.tilted(&path.withdrawal), along_normal(facts));
    let along = Along { facts, path, field, cast: &cast, normal: normal.as_ref() };
    let mut teeth: Vec<Tooth> = clasps.iter().map(|c| c.tooth).collect();
    teeth.sort();
    teeth.dedup();
    let read = survey::abutments(&along, &teeth);
    let of = |c: &Clasp| {
        let (_, abutment) = read
            .iter()
            .find(|(t, _)| *t == c.tooth)
            .ok_or_else(|| NotMeasured::only(format!("{} was not surveyed", facts.tooth_words(c.tooth))))?;
        let abutment = abutment.as_ref().map_err(Clone::clone)?;
        let tip = clasp::tip(&along, abutment, c).ok_or_else(|| {
            let word = c.surface.word();
            NotMeasured::only(format!("the {word} surface of {} has no undercut", facts.tooth_words(c.tooth)))
        })?;
        Ok(ClaspTip {
            at: tip.at,
            outward: abutment.axes.outward(c.surface),
            below_mm: tip.below_mm,
            reached: tip.gauge_reached,
            depth_mm: tip.depth_mm,
            wall_deg: tip.wall_deg,
            half_mm: abutment.axes.half_mm,
        })
    };
    clasps.iter().map(of).collect()
}

/// The undercut that a kind of clasp engages, mm.
pub(crate) fn wanted_mm(facts: &Facts<'_>, kind: ClaspKind) -> f64 {
    clasp::gauge_mm(facts, kind)
}

/// Abutments named by the design and teeth that a clasp is asked for on; where none is, the teeth that border spans.
pub fn abutments(facts: &Facts<'_>) -> Vec<Tooth> {
    let design = &facts.case.file.design;
    let mut teeth: Vec<Tooth> = design.abutments.clone();
    teeth.extend(design.clasps.iter().map(|c| c.tooth));
    if teeth.is_empty() {
        teeth.extend(facts.restored.anatomy.spans.iter().flat_map(|s| [s.front, s.back]).flatten());
    }
    teeth.retain(|t| t.arch() == facts.restored.arch);
    teeth.sort_by_key(|t| t.along());
    teeth.dedup();
    teeth
}

fn of_abutment(along: &Along<'_, '_>, abutment: &Abutment<'_>, part: &mut Part) {
    let (facts, path) = (along.facts, along.path);
    let clasps: Vec<_> =
        facts.case.file.design.clasps.iter().filter(|c| c.tooth == abutment.crown.tooth).collect();
    match gauges::unusable(facts, path, abutment) {
        Some(finding) => part.findings.push(finding),
        None if clasps.is_empty() => part.findings.push(clasp::without_clasp(facts, path, abutment)),
        None => {}
    }
    let mut shown = Vec::new();
    for asked in &clasps {
        shown.push(of_clasp(along, abutment, asked, part));
    }
    part.findings.extend(gauges::cautions(facts, abutment, &clasps));
    if abutment.surfaces.iter().any(|s| s.closed_hole) {
        let says = format!(
            "Undercut of {} depends in part on the closing of a hole in the scan. {INVENTED}",
            facts.tooth_words(abutment.crown.tooth)
        );
        part.findings.push(
            Finding::new(CHECK.id, "undercut_over_hole", Verdict::Caution, says)
                .at(Where::tooth(abutment.crown.tooth))
                .settled_by("another scan of the tooth without the hole"),
        );
    }
    let planes = planes::of(facts, path, abutment);
    part.findings.extend(planes.findings);
    part.preparation.extend(planes.preparation);
    part.abutments.push(survey::shown(along, abutment, planes.shown, shown));
}

/// All that is told of one clasp.
fn of_clasp(along: &Along<'_, '_>, abutment: &Abutment<'_>, asked: &Clasp, part: &mut Part) -> ClaspShown {
    let facts = along.facts;
    let (finding, question) = clasp::asked_for(along, abutment, asked);
    part.findings.push(finding);
    part.questions.extend(question);
    part.findings.extend(clasp::beside_a_tooth(facts, abutment, asked));
    part.findings.extend(clasp::mark_elsewhere(along, abutment, asked));
    let tip = clasp::tip(along, abutment, asked);
    let reciprocal = tip.as_ref().map(|tip| reciprocity::of(along, abutment, asked, tip));
    let arm = (asked.kind == ClaspKind::Bar).then(|| bar::of(along, abutment, asked, part));
    ClaspShown {
        surface: asked.surface,
        kind: asked.kind,
        wants_mm: units::json(clasp::gauge_mm(facts, asked.kind)),
        tip_at_mm: tip.filter(|t| t.gauge_reached).map(|t| units::json_place(&t.at)),
        reciprocal: reciprocal.map(|(shown, finding)| {
            part.findings.push(finding);
            shown
        }),
        approach_arm: arm.flatten(),
    }
}

/// A withdrawal direction that leaves into the tissue, seen against the occlusal normal.
fn into_the_tissue(facts: &Facts<'_>, path: &Path) -> Option<Finding> {
    if !facts.into_the_tissue(path) {
        return None;
    }
    let reason = NotMeasured::new(
        "the withdrawal direction points into the tissue: it must point from the tissue to the occlusal side",
        "the opposite direction in path.withdrawal, or no direction at all",
    );
    Some(Finding::not_measured(CHECK.id, "path_into_tissue", "Undercut of the abutments", &reason))
}

/// A path that leans from the occlusal normal by more than is taught.
fn tilted_far(facts: &Facts<'_>, path: &Path) -> Option<Finding> {
    let frame = facts.restored.anatomy.frame.as_ref().ok()?;
    let lean = angle_deg(&path.withdrawal, &frame.frame.occlusal);
    let rule = facts.rules.get("tilt_most_deg");
    (lean > rule.number).then(|| {
        Finding::new(
            CHECK.id,
            "path_leans_far",
            Verdict::Caution,
            format!(
                "The path leans by {} from the occlusal normal, more than {}: it is hard to follow with the mouth open, \
                 and undercut that it makes by leaning alone holds nothing along the normal.",
                units::deg(lean),
                units::show(rule.number, Unit::Deg)
            ),
        )
        .figure(
            &crate::estimate::Estimate::new(lean, vec![])
                .with(crate::estimate::Source::Direction, frame.uncertainty_deg),
            Unit::Deg,
        )
        .limit(rule.shown())
    })
}
