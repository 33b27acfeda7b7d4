//! Whether each clasp finds its undercut, and what an abutment without a clasp offers.

use super::survey::{Abutment, Deepest, estimate};
use super::{Along, CHECK, INVENTED};
use crate::case::{Clasp, ClaspKind, Surface};
use crate::facts::{Facts, Path};
use crate::measure::gauges::GaugePlace;
use crate::mesh::chord_mm;
use crate::report::{Finding, Question, Verdict, Where, Zone};
use crate::rules::{Rule, judge};
use crate::space::Point;
use crate::units::{self, Unit};

/// Row of the undercut taught for a kind of clasp.
fn rule<'r>(facts: &'r Facts<'_>, kind: ClaspKind) -> &'r Rule {
    facts.rules.get(match kind {
        ClaspKind::CastCircumferential => "undercut_cast_circumferential_mm",
        ClaspKind::Bar => "undercut_bar_mm",
        ClaspKind::WroughtWire => "undercut_wrought_wire_mm",
    })
}

/// The undercut that a kind of clasp engages, mm.
pub(super) fn gauge_mm(facts: &Facts<'_>, kind: ClaspKind) -> f64 {
    rule(facts, kind).number
}

fn kind_words(kind: ClaspKind) -> &'static str {
    match kind {
        ClaspKind::CastCircumferential => "cast circumferential clasp",
        ClaspKind::Bar => "bar clasp",
        ClaspKind::WroughtWire => "wrought wire clasp",
    }
}

fn zone_words(zone: Zone) -> &'static str {
    match zone {
        Zone::Mesial => "mesial third",
        Zone::Middle => "middle third",
        Zone::Distal => "distal third",
    }
}

/// The place of a gauge in words.
fn place_words(gauge_mm: f64, place: &GaugePlace) -> String {
    let mut words = format!("{} lies in the {}", units::mm(gauge_mm), zone_words(place.zone));
    if let Some(below) = place.below_survey_line_mm {
        words += &format!(", {} below the survey line", units::mm(below));
    }
    if let Some(above) = place.above_margin_mm {
        words += &format!(", {} above the gingival margin", units::mm(above));
    }
    words
}

/// The finding on a clasp asked for, and the question that it raises where its undercut is not there.
pub(super) fn asked_for(
    along: &Along<'_, '_>,
    abutment: &Abutment<'_>,
    clasp: &Clasp,
) -> (Finding, Option<Question>) {
    let (facts, path) = (along.facts, along.path);
    let marked = marked(along, abutment, clasp).ok().flatten();
    let tooth = facts.tooth_words(clasp.tooth);
    let (rule, surface) = (rule(facts, clasp.kind), clasp.surface);
    let place = Where::tooth(clasp.tooth).on(surface);
    let Some((found, deepest)) = abutment
        .surfaces
        .iter()
        .zip(&abutment.deepest)
        .find(|(s, _)| s.surface == surface)
        .and_then(|(s, d)| Some((s, (*d)?)))
    else {
        let reason =
            crate::estimate::NotMeasured::only(format!("the scan shows no {} surface", surface.word()));
        let what = format!("Undercut of {tooth} {}", surface.word());
        return (Finding::not_measured(CHECK.id, "clasp_undercut", &what, &reason).at(place), None);
    };
    let read = marked.unwrap_or(deepest);
    let figure = estimate(facts, path, abutment, &read);
    let verdict = judge(&figure, rule);
    let first =
        found.gauges.iter().find(|g| (g.gauge_mm - rule.number).abs() < 1e-9).and_then(|g| g.places.first());
    let at = marked.map_or_else(|| first.map_or(deepest.at, |p| p.at), |m| m.at);
    let what = if marked.is_some() {
        "at the place marked for the clasp's tip the undercut"
    } else {
        "the deepest undercut above the gingival margin"
    };
    let mut says = format!(
        "{tooth} {}: {what} is {}; a {} wants {}.",
        surface.word(),
        units::mm(read.depth_mm),
        kind_words(clasp.kind),
        units::mm(rule.number)
    );
    if let Some(p) = first.filter(|_| marked.is_none()) {
        says += &format!(" {}.", place_words(rule.number, p));
    }
    says += " ";
    says += INVENTED;
    let question = (verdict != Verdict::Fits).then(|| Question {
        to: "dentist".into(),
        text: format!(
            "May the clasp on {tooth} engage another surface or be of another kind, or shall the undercut be made by \
             preparation or composite?"
        ),
        because: says.clone(),
    });
    let finding = Finding::new(CHECK.id, "clasp_undercut", verdict, says)
        .figure(&figure, Unit::Mm)
        .limit(rule.shown())
        .at(place.at(&at))
        .with("clasp", kind_words(clasp.kind));
    (finding, question)
}

/// What an abutment offers where no clasp is asked for on it: reported, not wanted.
pub(super) fn without_clasp(facts: &Facts<'_>, path: &Path, abutment: &Abutment<'_>) -> Finding {
    let tooth = facts.tooth_words(abutment.crown.tooth);
    let rule = rule(facts, ClaspKind::CastCircumferential);
    let held = abutment
        .surfaces
        .iter()
        .zip(&abutment.deepest)
        .filter(|(s, _)| matches!(s.surface, Surface::Buccal | Surface::Lingual))
        .filter_map(|(s, d)| Some((s.surface, (*d)?)))
        .max_by(|a, b| a.1.depth_mm.total_cmp(&b.1.depth_mm).then(b.0.cmp(&a.0)));
    let place = Where::tooth(abutment.crown.tooth);
    let Some((surface, deepest)) = held else {
        let reason =
            crate::estimate::NotMeasured::only("the scan shows neither its buccal nor its lingual surface");
        let what = format!("Undercut of {tooth}");
        return Finding::not_measured(CHECK.id, "abutment_undercut", &what, &reason).at(place);
    };
    let figure = estimate(facts, path, abutment, &deepest);
    let clear = judge(&figure, rule) == Verdict::Fits;
    let start =
        if clear { "no clasp is asked for on it" } else { "the least usable undercut is only just reached" };
    let says = format!(
        "{tooth}: {start}. The deepest is {} on its {} surface; {} hold a cast circumferential clasp. {INVENTED}",
        units::mm(deepest.depth_mm),
        surface.word(),
        units::mm(rule.number)
    );
    let verdict = if clear { Verdict::Fits } else { Verdict::Caution };
    Finding::new(CHECK.id, "abutment_undercut", verdict, says)
        .figure(&figure, Unit::Mm)
        .limit(rule.shown())
        .at(place.on(surface).at(&deepest.at))
}

/// Where the tip of a clasp rests.
#[derive(Clone, Copy, Debug)]
pub(super) struct Tip {
    /// Where, mm.
    pub at: Point,
    /// Below the survey line along the path, mm.
    pub below_mm: Option<f64>,
    /// Whether the clasp's undercut is reached there; else it is the deepest place of the surface.
    pub gauge_reached: bool,
    /// Depth there, mm.
    pub depth_mm: f64,
    /// Angle of the wall to the path there, degrees, where it is read.
    pub wall_deg: Option<f64>,
}

/// Farther from the crown a mark of a clasp's tip is no place on it, mm.
const MARK_FAR_MM: f64 = 1.5;

/// The undercut at the place that the case marks for a clasp's tip; `None` where it marks none.
///
/// # Errors
/// The mark lies off the surface that the clasp is asked for on.
fn marked(along: &Along<'_, '_>, abutment: &Abutment<'_>, clasp: &Clasp) -> Result<Option<Deepest>, ()> {
    let facts = along.facts;
    let Some(mark) = facts.case.file.marks.clasp_tips.get(&clasp.tooth) else { return Ok(None) };
    let near = facts.restored.surface.closest_within(mark, MARK_FAR_MM).ok_or(())?;
    if abutment.axes.surface(&near.at) != clasp.surface {
        return Err(());
    }
    let depth = along.cast.depth_at(&near.at, near.face);
    let below_mm = depth.touches_above_mm.unwrap_or(0.0);
    let chord_mm = chord_mm(facts.restored.mesh(), &facts.restored.topology, near.face);
    Ok(Some(Deepest { depth_mm: depth.depth_mm, at: near.at, below_mm, chord_mm }))
}

/// A mark of a clasp's tip that lies off the clasp's surface.
pub(super) fn mark_elsewhere(
    along: &Along<'_, '_>,
    abutment: &Abutment<'_>,
    clasp: &Clasp,
) -> Option<Finding> {
    marked(along, abutment, clasp).err()?;
    let says = format!(
        "The place marked for the tip of the clasp on {} does not lie on its {} surface; it is left out of account.",
        along.facts.tooth_words(clasp.tooth),
        clasp.surface.word()
    );
    Some(
        Finding::new(CHECK.id, "clasp_tip_elsewhere", Verdict::Caution, says)
            .at(Where::tooth(clasp.tooth).on(clasp.surface))
            .settled_by("another place in [marks] clasp_tips, or another surface in [design] clasps"),
    )
}

/// Where the tip of a clasp would rest: where the case marks it, else where its undercut is reached, else at the deepest place of its surface; `None`
/// where that surface is free or not scanned.
pub(super) fn tip(along: &Along<'_, '_>, abutment: &Abutment<'_>, clasp: &Clasp) -> Option<Tip> {
    let wanted = gauge_mm(along.facts, clasp.kind);
    if let Some(m) = marked(along, abutment, clasp).ok().flatten().filter(|m| m.depth_mm > 0.0) {
        return Some(Tip {
            at: m.at,
            below_mm: (m.below_mm > 0.0).then_some(m.below_mm),
            gauge_reached: m.depth_mm >= wanted,
            depth_mm: m.depth_mm,
            wall_deg: None,
        });
    }
    let (surface, deepest) =
        abutment.surfaces.iter().zip(&abutment.deepest).find(|(s, _)| s.surface == clasp.surface)?;
    let gauge = surface.gauges.iter().find(|g| (g.gauge_mm - wanted).abs() < 1e-9);
    if let Some(p) = gauge.and_then(|g| g.places.first()) {
        return Some(Tip {
            at: p.at,
            below_mm: p.below_survey_line_mm,
            gauge_reached: true,
            depth_mm: p.depth.depth_mm,
            wall_deg: Some(p.convergence_deg),
        });
    }
    let deepest = (*deepest).filter(|d| d.depth_mm > 0.0)?;
    let below_mm = (deepest.below_mm > 0.0).then_some(deepest.below_mm);
    Some(Tip { at: deepest.at, below_mm, gauge_reached: false, depth_mm: deepest.depth_mm, wall_deg: None })
}

/// A clasp on a surface that a neighbouring tooth stands beside: no arm gets there.
pub(super) fn beside_a_tooth(facts: &Facts<'_>, abutment: &Abutment<'_>, clasp: &Clasp) -> Option<Finding> {
    let tooth = abutment.crown.tooth;
    let neighbour = match clasp.surface {
        Surface::Mesial => Some(tooth.mesial()),
        Surface::Distal => tooth.distal(),
        Surface::Buccal | Surface::Lingual => None,
    }?;
    let beside = facts.restored.anatomy.crown(neighbour)?;
    // Next to it, not across a space as wide as the tooth.
    let apart = (beside.centre - abutment.crown.centre).norm();
    if apart > 3.0 * abutment.axes.half_mm[0].max(2.5) {
        return None;
    }
    let says = format!(
        "The clasp on {} is asked for on its {} surface, beside which {} stands: its arm would have to pass between them.",
        facts.tooth_words(tooth),
        clasp.surface.word(),
        facts.tooth_words(neighbour)
    );
    Some(
        Finding::new(CHECK.id, "clasp_beside_tooth", Verdict::Caution, says)
            .at(Where::tooth(tooth).on(clasp.surface))
            .settled_by("the surface that is meant, in [design] clasps"),
    )
}
