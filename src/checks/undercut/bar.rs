//! The approach arm of a bar clasp: sulcus beside the tooth, tissue undercut under the arm.

use super::planes::facing;
use super::survey::Abutment;
use super::{Along, CHECK, INVENTED, clasp};
use crate::case::{Arch, Clasp, Surface};
use crate::checks::Part;
use crate::estimate::{Estimate, Measured, NotMeasured, Source};
use crate::facts::{Facts, Path};
use crate::measure::approach_arm::{self, ArmAsked, ArmWay};
use crate::report::{ApproachArmShown, Finding, Question, Verdict, Where};
use crate::rules::judge;
use crate::space::sin;
use crate::units::{self, Unit};

/// Half the distance between the places at which a wall is read, mm.
const CHORD_MM: f64 = 0.125;

/// Findings and figures of one bar clasp.
pub(super) fn of(
    along: &Along<'_, '_>,
    abutment: &Abutment<'_>,
    asked: &Clasp,
    part: &mut Part,
) -> Option<ApproachArmShown> {
    let (facts, path) = (along.facts, along.path);
    let place = Where::tooth(asked.tooth).on(asked.surface);
    let (leaves, named) = leaves(facts, abutment);
    match way(along, abutment, asked, leaves) {
        Err(reason) => {
            let what = format!("The approach arm of the bar clasp on {}", facts.tooth_words(asked.tooth));
            part.findings.push(Finding::not_measured(CHECK.id, "approach_arm", &what, &reason).at(place));
            None
        }
        Ok(way) => {
            let both = [sulcus(facts, asked, &way), under(facts, path, asked, &way, (leaves, named))];
            if both.iter().any(|f| !matches!(f.verdict, Verdict::Fits | Verdict::Caution)) {
                part.questions.push(question(facts, asked, &both));
            }
            part.findings.extend(both);
            Some(shown(facts, leaves, &way))
        }
    }
}

/// Toward where the arm leaves: the span beside the tooth, and whether there is one.
fn leaves(facts: &Facts<'_>, abutment: &Abutment<'_>) -> (Surface, bool) {
    let beside: Vec<Surface> =
        facts.restored.anatomy.spans.iter().filter_map(|s| facing(s, abutment.crown.tooth)).collect();
    // Between two spans the distal one, where the larger base stands.
    match beside.iter().find(|s| **s == Surface::Distal).or(beside.first()) {
        Some(side) => (*side, true),
        None => (Surface::Distal, false),
    }
}

fn way(along: &Along<'_, '_>, abutment: &Abutment<'_>, asked: &Clasp, leaves: Surface) -> Measured<ArmWay> {
    let facts = along.facts;
    if !matches!(asked.surface, Surface::Buccal | Surface::Lingual) {
        return Err(NotMeasured::new(
            "a bar clasp comes from the buccal or the lingual side",
            "buccal or lingual as its surface in [design] clasps",
        ));
    }
    let tip = clasp::tip(along, abutment, asked).map(|t| t.at);
    // Without undercut there is no tip: the arm is followed from the middle of the side.
    let middle = || abutment.axes.centre + abutment.axes.outward(asked.surface) * abutment.axes.half_mm[1];
    approach_arm::way(&ArmAsked {
        surface: &facts.restored.surface,
        topology: &facts.restored.topology,
        region: &facts.restored.anatomy.region,
        cast: along.cast,
        crown: abutment.crown,
        axes: &abutment.axes,
        side: asked.surface,
        tip: tip.unwrap_or_else(middle),
        leaves,
        clear_mm: facts.rules.number("approach_arm_margin_mm"),
        width_mm: facts.rules.number("approach_arm_width_mm"),
    })
}

fn sulcus(facts: &Facts<'_>, asked: &Clasp, way: &ArmWay) -> Finding {
    let rule = facts.rules.get("bar_sulcus_mm");
    let figure = Estimate::new(way.sulcus_mm, vec![])
        .with(Source::Scan, facts.case.file.accuracy.scan_mm)
        .with(Source::Method, CHORD_MM);
    let place = Where::tooth(asked.tooth).on(asked.surface).at(&way.sulcus_at);
    let verdict = judge(&figure, rule);
    let tooth = facts.tooth_words(asked.tooth);
    if facts.restored.arch == Arch::Maxilla && asked.surface == Surface::Lingual {
        let says = format!(
            "{tooth} lingual: the palate has no sulcus, so that none is judged for the bar clasp there."
        );
        return Finding::new(CHECK.id, "bar_sulcus", Verdict::Caution, says).at(place);
    }
    if way.scan_ends && verdict != Verdict::Fits {
        let reason = NotMeasured::new(
            format!(
                "the scan ends {} below the gingival margin, before a sulcus is seen; {} are wanted",
                units::mm(way.sulcus_mm),
                units::mm(rule.number)
            ),
            "a scan or an impression that records the sulcus beside the tooth",
        );
        let what = format!("Depth of the sulcus {} of {tooth} for its bar clasp", asked.surface.word());
        return Finding::not_measured(CHECK.id, "bar_sulcus", &what, &reason).limit(rule.shown()).at(place);
    }
    let (recorded, side) = (recorded(way), asked.surface.word());
    let says = if way.scan_ends {
        format!(
            "{tooth} {side}: tissue is recorded down to {recorded}, where the scan ends or the model's base begins"
        )
    } else {
        format!("{tooth} {side}: the sulcus is recorded {recorded}")
    };
    let says = format!("{says}; {} are wanted.", units::mm(rule.number));
    Finding::new(CHECK.id, "bar_sulcus", verdict, says)
        .figure(&figure, Unit::Mm)
        .limit(rule.shown())
        .at(place)
}

fn recorded(way: &ArmWay) -> String {
    format!(
        "{} below the gingival margin along the tissue ({} straight down) where the arm of the bar clasp runs",
        units::mm(way.sulcus_mm),
        units::mm(way.sulcus_vertical_mm)
    )
}

fn under(
    facts: &Facts<'_>,
    path: &Path,
    asked: &Clasp,
    way: &ArmWay,
    (leaves, named): (Surface, bool),
) -> Finding {
    let rule = facts.rules.get("approach_arm_undercut_mm");
    let clear = facts.rules.number("approach_arm_margin_mm");
    let tooth = facts.tooth_words(asked.tooth);
    let place = Where::tooth(asked.tooth).on(asked.surface);
    let Some(depth) = way.undercut_mm else {
        let reason = NotMeasured::new(
            format!(
                "the tissue is recorded only {} below the gingival margin and the arm runs {} from it",
                units::mm(way.sulcus_mm),
                units::mm(clear)
            ),
            "a scan that records the sulcus beside the tooth, or another clasp",
        );
        let what = format!("Tissue undercut under the approach arm on {tooth}");
        return Finding::not_measured(CHECK.id, "approach_arm_undercut", &what, &reason).at(place);
    };
    let down = clear + facts.rules.number("approach_arm_width_mm");
    let figure = Estimate::new(depth, vec![])
        .with(Source::Scan, facts.case.file.accuracy.scan_mm)
        .with(Source::Direction, down * sin(path.uncertainty_deg.to_radians()));
    let toward = match (leaves, named) {
        (side, true) => format!("toward the span, {} of the tooth", side.word()),
        (side, false) => format!("{}, since no span stands beside the tooth", side.word()),
    };
    let free = if depth > 0.0 {
        format!(
            "the tissue is undercut by up to {} on {}",
            units::mm(depth),
            units::show(way.undercut_mm2, Unit::Mm2)
        )
    } else {
        "the tissue is free of undercut".to_owned()
    };
    let hole = if way.closed_hole { " It depends in part on the closing of a hole in the scan." } else { "" };
    let says = format!(
        "{tooth} {}: under the approach arm, taken to run {} from the gingival margin {toward}, {free}; at most {} are \
         allowed.{hole} {INVENTED}",
        asked.surface.word(),
        units::mm(clear),
        units::mm(rule.number)
    );
    Finding::new(CHECK.id, "approach_arm_undercut", judge(&figure, rule), says)
        .figure(&figure, Unit::Mm)
        .limit(rule.shown())
        .at(match &way.undercut_at {
            Some(at) => place.at(at),
            None => place,
        })
}

fn question(facts: &Facts<'_>, asked: &Clasp, findings: &[Finding]) -> Question {
    let because: Vec<&str> = findings
        .iter()
        .filter(|f| !matches!(f.verdict, Verdict::Fits | Verdict::Caution))
        .map(|f| f.says.as_str())
        .collect();
    Question {
        to: "dentist".into(),
        text: format!(
            "Does the arm of a bar clasp find room in the sulcus {} of {} in function, clear of tissue undercut, or shall \
             the clasp be of another kind?",
            asked.surface.word(),
            facts.tooth_words(asked.tooth)
        ),
        because: because.join(" "),
    }
}

fn shown(facts: &Facts<'_>, leaves: Surface, way: &ArmWay) -> ApproachArmShown {
    ApproachArmShown {
        leaves,
        from_margin_mm: units::json(facts.rules.number("approach_arm_margin_mm")),
        sulcus_mm: units::json(way.sulcus_mm),
        sulcus_vertical_mm: units::json(way.sulcus_vertical_mm),
        sulcus_at_mm: units::json_place(&way.sulcus_at),
        scan_ends: way.scan_ends,
        undercut_mm: way.undercut_mm.map(units::json),
        undercut_at_mm: way.undercut_at.as_ref().map(units::json_place),
        undercut_mm2: units::json(way.undercut_mm2),
    }
}
