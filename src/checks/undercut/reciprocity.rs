//! What stands opposite a clasp's tip, and which of the two is reached first on seating.

use super::clasp::Tip;
use super::survey::Abutment;
use super::{Along, CHECK, INVENTED};
use crate::case::Clasp;
use crate::estimate::{Estimate, Source};
use crate::facts::Facts;
use crate::measure::guiding_plane::PlaneAsked;
use crate::measure::reciprocal::{self, Reciprocal, ReciprocalAsked};
use crate::report::{Finding, Reached, ReciprocalShown, Verdict, Where};
use crate::rules::judge;
use crate::units::{self, Unit};

/// Figures and finding of one clasp.
pub(super) fn of(
    along: &Along<'_, '_>,
    abutment: &Abutment<'_>,
    clasp: &Clasp,
    tip: &Tip,
) -> (ReciprocalShown, Finding) {
    let (facts, path) = (along.facts, along.path);
    let side = reciprocal::opposite(clasp.surface);
    let band = facts.rules.get("guiding_plane_prepare_deg");
    let found = reciprocal::reciprocal(&ReciprocalAsked {
        surface: &facts.restored.surface,
        plane: PlaneAsked {
            mesh: facts.restored.mesh(),
            topology: &facts.restored.topology,
            normals: facts.restored.normals(),
            crown: abutment.crown,
            axes: &abutment.axes,
            surface: side,
            direction: path.withdrawal,
            band_deg: band.number,
        },
        field: along.field,
        tip: tip.at,
        gap_mm: facts.rules.number("reciprocal_gap_mm"),
    });
    let holding = found.holding_travel_mm;
    let lead = holding.zip(tip.below_mm).map(|(held, passes)| {
        Estimate::new(held - passes, vec![])
            .with(Source::Scan, facts.case.file.accuracy.scan_mm)
            .with(Source::Spacing, abutment.edge_mm / 4.0)
    });
    let reached = lead.as_ref().map(|lead| match judge(lead, facts.rules.get("reciprocal_lead_mm")) {
        Verdict::Fits => Reached::First,
        Verdict::Tight => Reached::Together,
        _ => Reached::Last,
    });
    let shown = ReciprocalShown {
        surface: side,
        height_mm: units::json(found.height_mm),
        area_mm2: units::json(found.area_mm2),
        holding_travel_mm: holding.map(units::json),
        tip_travel_mm: tip.below_mm.map(units::json),
        reached,
        rests_at_mm: found.rests_at.map(|p| units::json_place(&p)),
    };
    let finding = finding(facts, (clasp, tip), &found, &shown, lead.as_ref());
    (shown, finding)
}

fn finding(
    facts: &Facts<'_>,
    (clasp, tip): (&Clasp, &Tip),
    found: &Reciprocal,
    shown: &ReciprocalShown,
    lead: Option<&Estimate>,
) -> Finding {
    let tooth = facts.tooth_words(clasp.tooth);
    let band = facts.rules.get("guiding_plane_prepare_deg");
    let mut says =
        format!("{tooth}, opposite the clasp: above the survey line the {} surface ", found.side.word());
    says += &if found.height_mm > 0.0 {
        format!(
            "runs within {} of the path along {} ({}).",
            units::show(band.number, Unit::Deg),
            units::mm(found.height_mm),
            units::show(found.area_mm2, Unit::Mm2)
        )
    } else {
        format!("has no part that runs within {} of the path.", units::show(band.number, Unit::Deg))
    };
    match (shown.holding_travel_mm, shown.tip_travel_mm) {
        (Some(held), Some(passes)) => {
            says += &format!(
                " On seating, the clasp's tip{} passes the height of contour {} before the seat; a rigid arm opposite \
                 holds the tooth from {} before it: ",
                if tip.gauge_reached { "" } else { ", taken at the deepest place," },
                units::mm(passes),
                units::mm(held)
            );
            says += match shown.reached {
                Some(Reached::First) => "the reciprocal arm is reached first.",
                Some(Reached::Together) => "the two are reached together, within the uncertainty.",
                _ => "the reciprocal arm is reached last, so that the clasp pushes the tooth aside first.",
            };
        }
        _ => says += " Which of the two is reached first on seating was not read there.",
    }
    says += " ";
    says += INVENTED;
    let verdict = match shown.reached {
        Some(Reached::First | Reached::Together) => Verdict::Fits,
        _ => Verdict::Caution,
    };
    let place = Where::tooth(clasp.tooth).on(found.side);
    let mut finding = Finding::new(CHECK.id, "reciprocation", verdict, says).at(match &found.rests_at {
        Some(at) => place.at(at),
        None => place,
    });
    if let Some(lead) = lead {
        finding = finding.figure(lead, Unit::Mm).limit(facts.rules.get("reciprocal_lead_mm").shown());
    }
    if verdict == Verdict::Caution {
        finding = finding.settled_by(
            "the dentist, whether a surface along the path shall be prepared opposite the clasp; or a reciprocal part \
             elsewhere in the design",
        );
    }
    finding
}
