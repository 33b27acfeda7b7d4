//! What is said of a comparison: findings and questions.

use super::{Changes, Older, shown};
use crate::anatomy::Span;
use crate::case::{Scan, Tooth};
use crate::estimate::{Estimate, NotMeasured};
use crate::measure::ridge_change::{Place, RidgeChange};
use crate::measure::teeth_moved::{Fate, ToothMoved};
use crate::mesh::Topology;
use crate::mesh::audit::{self, DefectKind};
use crate::report::{ChangeFile, Finding, FoundBy, Question, Verdict, Where};
use crate::rules::{Rules, judge};
use crate::units::{self, Unit};

/// What findings of a comparison name as their check.
pub(super) const CHECK: &str = "change";

pub(super) fn of_the_arch(older: &Older, file: &mut ChangeFile) {
    if older.arch_found_by == FoundBy::Scan {
        let says = format!(
            "The older scan was taken for a {}, by its shape: the numbers of the teeth hang on that.",
            older.arch.word()
        );
        let finding = Finding::new(CHECK, "arch_found", Verdict::Caution, says);
        file.findings.push(finding.settled_by("--arch mandible or --arch maxilla"));
    }
}

/// Says of scans that do not match which of them has no arch's size in the unit it was read in.
pub(super) fn of_units(old: &Scan, new: &Scan, file: &mut ChangeFile) {
    for (name, scan) in [("Older scan", old), ("Newer scan", new)] {
        let mesh = &scan.import.mesh;
        let all = audit::audit_in(mesh, &Topology::new(mesh), scan.import.unit);
        for d in all.iter().filter(|d| d.kind == DefectKind::UnlikelyUnit) {
            let says = format!("{name}: {}", d.says);
            let finding = Finding::new(CHECK, "unlikely_unit", Verdict::Caution, says);
            file.findings.push(finding.settled_by("--unit, or an export of both scans in one unit"));
        }
    }
}

pub(super) fn do_not_match(reason: &NotMeasured, file: &mut ChangeFile) {
    let what = "Change between the two scans";
    file.findings.push(Finding::not_measured(CHECK, "scans_do_not_match", what, reason));
}

pub(super) fn no_span(older: &Older, file: &mut ChangeFile) {
    let chart = older.anatomy.found_teeth.as_ref().is_some_and(|f| f.proposed.is_some());
    let because = if chart {
        "no edentulous span was found on the older scan"
    } else {
        "the older scan does not tell which teeth are missing"
    };
    let reason =
        NotMeasured::new(because, "the missing teeth (--missing), or a case file of the older scan (--case)");
    file.findings.push(Finding::not_measured(CHECK, "no_span", "Change of the residual ridge", &reason));
}

pub(super) fn ridge_not_measured(span: &Span, reason: &NotMeasured, file: &mut ChangeFile) {
    let what = format!("Change of the ridge in span {}", names(&span.teeth));
    let finding = Finding::not_measured(CHECK, "ridge_not_measured", &what, reason);
    file.findings.push(finding.at(Where::span(&span.teeth)));
}

/// Numbers in a row.
pub(super) fn names(teeth: &[Tooth]) -> String {
    teeth.iter().map(Tooth::to_string).collect::<Vec<_>>().join(", ")
}

/// The teeth: on which the scans were laid together, which moved, which are gone.
pub(super) fn of_teeth(changes: &Changes<'_>, file: &mut ChangeFile) {
    let all = &changes.laid.teeth.teeth;
    let registered = &changes.laid.teeth.registered;
    let stayed = shown::stayed(changes.laid);
    let says = format!(
        "The scans are laid onto each other on {}: {} places, residual {} (root mean square), {} of 100 within {}.",
        names(&stayed),
        registered.used,
        units::mm(registered.rms_mm),
        95,
        units::mm(registered.p95_mm)
    );
    file.findings.push(Finding::new(CHECK, "registered", Verdict::Caution, says));
    file.findings.extend(all.iter().filter_map(one_tooth));
    let of = |fate| all.iter().filter(|t| t.fate == fate).map(|t| t.tooth).collect::<Vec<_>>();
    let (moved, out) = (of(Fate::Moved), of(Fate::NotScanned));
    if moved.len() >= stayed.len() {
        let says = format!(
            "As many teeth have moved against the others as have not ({} and {}): which of them moved is not told, and what is \
             measured from {} holds only if these stayed.",
            names(&moved),
            names(&stayed),
            names(&stayed)
        );
        file.findings.push(Finding::new(CHECK, "teeth_disagree", Verdict::Caution, says));
    }
    if !out.is_empty() {
        let whole = &changes.laid.whole;
        let reason = NotMeasured::new(
            format!(
                "the scans overlap in part and do not match there: the newer one does not reach {} (median residual of what \
                 both hold {})",
                names(&out),
                units::mm(whole.median_mm)
            ),
            "a newer scan of the whole arch",
        );
        let what = "Change of the part of the arch that only the older scan holds";
        file.findings.push(Finding::not_measured(CHECK, "partial_overlap", what, &reason));
    }
}

/// What became of a tooth that does not stand as it stood.
fn one_tooth(t: &ToothMoved) -> Option<Finding> {
    let place = Where::tooth(t.tooth).at(&t.centre);
    let caution =
        |code: &str, says: String| Finding::new(CHECK, code, Verdict::Caution, says).at(place.clone());
    match t.fate {
        Fate::Stayed | Fate::NotScanned => None,
        Fate::Moved => {
            let (mm, _) = t.moved?;
            let moved = Estimate::new(
                mm,
                vec![crate::estimate::Contribution {
                    source: crate::estimate::Source::Method,
                    standard: t.uncertainty_mm,
                }],
            );
            let tilt = Estimate::new(
                t.tilted_deg?,
                vec![crate::estimate::Contribution {
                    source: crate::estimate::Source::Method,
                    standard: t.uncertainty_deg,
                }],
            );
            let says = format!(
                "{} has moved by {} at its crown's middle and tilted by {}; it is left out of the registration.",
                t.tooth,
                moved.words(Unit::Mm),
                tilt.words(Unit::Deg)
            );
            let finding = caution("tooth_moved", says).figure(&moved, Unit::Mm);
            Some(finding.with("tilted_deg", units::json(tilt.value)))
        }
        Fate::Reshaped => Some(caution(
            "tooth_reshaped",
            format!(
                "{} has another surface in the newer scan (restored, worn or broken; median distance {}); it is left out of \
                 the registration.",
                t.tooth,
                units::mm(t.median_mm)
            ),
        )),
        Fate::Gone => Some(caution("tooth_gone", format!("{} does not stand in the newer scan.", t.tooth))),
    }
}

/// The ridge of a span; hands back whether its change is more than two scans of an unchanged mouth differ by.
pub(super) fn of_ridge(
    changes: &Changes<'_>,
    span: &Span,
    found: &RidgeChange,
    rules: &Rules,
    file: &mut ChangeFile,
) -> Option<bool> {
    let least = rules.number("ridge_held_share");
    if found.measured_share < least {
        let part = |share: f64| units::show(100.0 * share, Unit::Count);
        let reason = NotMeasured::new(
            format!(
                "only {} of 100 parts of the older ridge's surface meet the newer scan along their normals, less than {}: it \
                 holds no surface there, or the ridge has become another shape; the figures hold for that part",
                part(found.measured_share),
                part(least)
            ),
            "a newer scan that holds the whole ridge",
        );
        let what = format!("Change of the whole ridge in span {}", names(&span.teeth));
        let finding = Finding::not_measured(CHECK, "ridge_held_in_part", &what, &reason);
        file.findings.push(finding.at(Where::span(&span.teeth)));
    }
    let greater =
        if found.highest.change_mm > -found.lowest.change_mm { found.highest } else { found.lowest };
    let verdict = greatest(changes, span, &greater, found, rules, file);
    reline(changes, span, &found.lowest, rules, file);
    match verdict {
        Verdict::Exceeds => Some(true),
        Verdict::Fits => Some(false),
        _ => None,
    }
}

/// The greatest change of a ridge against what two scans of an unchanged mouth differ by.
fn greatest(
    changes: &Changes<'_>,
    span: &Span,
    place: &Place,
    found: &RidgeChange,
    rules: &Rules,
    file: &mut ChangeFile,
) -> Verdict {
    let normal = changes.normals[place.vertex as usize];
    let limit = rules.get("ridge_unchanged_mm");
    // The limit is the scans' own difference, so the figure that it judges carries the rest of the uncertainty only.
    let size = changes.apart_from_scans(place.change_mm.abs(), &place.at, &normal);
    let whole = changes.whole(place.change_mm, &place.at, &normal);
    let verdict = judge(&size, limit);
    let (code, way) = match (verdict, place.change_mm < 0.0) {
        (Verdict::Fits, _) => ("ridge_unchanged", "differs"),
        (Verdict::Tight, _) => ("ridge_change_open", "differs"),
        (_, true) => ("ridge_lower", "has gone down"),
        (_, false) => ("ridge_higher", "has come up"),
    };
    let beside = match verdict {
        Verdict::Fits => "no more than two scans of an unchanged mouth differ by",
        Verdict::Exceeds => "more than two scans of an unchanged mouth differ by",
        _ => {
            "and these scans do not settle whether that is more than two scans of an unchanged mouth differ by"
        }
    };
    let at = shown::at(changes, span, place);
    let says = format!(
        "Ridge of span {}: {way} by up to {} ({}), {beside} ({}). Mean over the ridge {} (negative = resorbed), volume {}.",
        names(&span.teeth),
        Estimate { value: place.change_mm.abs(), ..whole.clone() }.words(Unit::Mm),
        at.words,
        units::mm(limit.number),
        units::mm(found.mean_mm),
        units::show(found.volume_mm3, Unit::Mm3),
    );
    let place_said = Where::span(&span.teeth).at(&place.at).words(at.words);
    let finding = Finding::new(CHECK, code, verdict, says)
        .figure(&size, Unit::Mm)
        .limit(limit.shown())
        .at(place_said)
        .with("change_mm", units::json(place.change_mm))
        .with("uncertainty_with_scans_mm", units::json(whole.standard()))
        .with("mean_mm", units::json(found.mean_mm))
        .with("volume_mm3", units::json(found.volume_mm3));
    file.findings.push(finding);
    verdict
}

/// Whether the dentist is to be asked about a reline.
fn reline(changes: &Changes<'_>, span: &Span, lowest: &Place, rules: &Rules, file: &mut ChangeFile) {
    let setting = rules.get("reline_change_mm");
    let normal = changes.normals[lowest.vertex as usize];
    let change = changes.whole(lowest.change_mm, &lowest.at, &normal);
    if -lowest.change_mm < setting.number || -lowest.change_mm < 2.0 * change.standard() {
        return;
    }
    let depth = Estimate { value: -lowest.change_mm, ..change };
    let at = shown::at(changes, span, lowest);
    let text = format!("Does the denture over {} want a reline?", names(&span.teeth));
    let because = format!(
        "the ridge has gone down by up to {} ({}); from {} on this is asked, a setting of this project without a published \
         figure",
        depth.words(Unit::Mm),
        at.words,
        units::mm(setting.number)
    );
    let finding = Finding::new(CHECK, "reline", Verdict::Ask, format!("{text} Asked because {because}."))
        .figure(&depth, Unit::Mm)
        .limit(setting.shown())
        .at(Where::span(&span.teeth).at(&lowest.at).words(at.words));
    file.findings.push(finding.settled_by("the dentist, with the denture in the mouth"));
    file.questions.push(Question { to: "dentist".into(), text, because });
}
