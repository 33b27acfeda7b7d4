//! What is said of the places where gauges rest: too near the margin, made by tilting alone, none usable.

use super::clasp::gauge_mm;
use super::survey::{Abutment, Deepest, estimate};
use super::{CHECK, INVENTED};
use crate::case::{Clasp, ClaspKind, Surface};
use crate::estimate::{Estimate, Source};
use crate::facts::{Facts, Path};
use crate::measure::gauges::GaugePlace;
use crate::report::{Finding, Verdict, Where};
use crate::units::{self, Unit};

/// Whether a place lies nearer to the margin than a clasp's tip should; `None` where no margin is known.
pub(super) fn near_margin(facts: &Facts<'_>, place: &GaugePlace) -> Option<bool> {
    Some(place.above_margin_mm? < facts.rules.number("tip_above_margin_mm"))
}

/// Whether the depth of a gauge is there along the path alone; `None` where no occlusal normal is known.
pub(super) fn by_tilt_alone(facts: &Facts<'_>, gauge_mm: f64, place: &GaugePlace) -> Option<bool> {
    Some(place.along_normal_mm? < gauge_mm - facts.case.file.accuracy.scan_mm)
}

/// Whether a clasp's tip can rest there and hold.
fn usable(facts: &Facts<'_>, gauge_mm: f64, place: &GaugePlace) -> bool {
    near_margin(facts, place) != Some(true) && by_tilt_alone(facts, gauge_mm, place) != Some(true)
}

/// A gauge on a surface, and its places.
#[derive(Clone, Copy)]
struct Rests<'a> {
    surface: Surface,
    gauge_mm: f64,
    places: &'a [GaugePlace],
}

fn all<'a>(abutment: &'a Abutment<'_>) -> impl Iterator<Item = Rests<'a>> {
    abutment.surfaces.iter().flat_map(|s| {
        s.gauges.iter().map(|g| Rests { surface: s.surface, gauge_mm: g.gauge_mm, places: &g.places })
    })
}

/// Cautions on the gauges of all surfaces: one for each clasp asked for, one for the others together.
pub(super) fn cautions(facts: &Facts<'_>, abutment: &Abutment<'_>, clasps: &[&Clasp]) -> Vec<Finding> {
    let of_clasp = |r: &Rests<'_>| {
        clasps.iter().any(|c| c.surface == r.surface && (gauge_mm(facts, c.kind) - r.gauge_mm).abs() < 1e-9)
    };
    let margin = |r: &Rests<'_>| r.places.iter().all(|p| near_margin(facts, p) == Some(true));
    let tilt = |r: &Rests<'_>| r.places.iter().all(|p| by_tilt_alone(facts, r.gauge_mm, p) == Some(true));
    let mut out = Vec::new();
    for rests in all(abutment).filter(|r| !r.places.is_empty() && of_clasp(r)) {
        if margin(&rests) {
            out.extend(clasp_near_margin(facts, abutment, &rests));
        }
        if tilt(&rests) {
            out.extend(clasp_by_tilt(facts, abutment, &rests));
        }
    }
    let others: Vec<Rests<'_>> = all(abutment).filter(|r| !r.places.is_empty() && !of_clasp(r)).collect();
    let tooth = facts.tooth_words(abutment.crown.tooth);
    let near: Vec<Rests<'_>> = others.iter().copied().filter(margin).collect();
    if !near.is_empty() {
        let says = format!(
            "{tooth}: only within {} of the gingival margin are reached {}. A clasp's tip there would lie too near the \
             gingiva. {INVENTED}",
            units::mm(facts.rules.number("tip_above_margin_mm")),
            listed(&near)
        );
        out.push(named(abutment, "gauges_near_margin", says, &near));
    }
    let tilted: Vec<Rests<'_>> = others.iter().copied().filter(tilt).collect();
    if !tilted.is_empty() {
        let says = format!(
            "{tooth}: along the path but not along the occlusal normal are reached {}. Undercut made by tilting alone \
             does not hold against displacement along the normal. {INVENTED}",
            listed(&tilted)
        );
        out.push(named(abutment, "gauges_by_tilt_alone", says, &tilted));
    }
    out
}

fn named(abutment: &Abutment<'_>, code: &str, says: String, rests: &[Rests<'_>]) -> Finding {
    let place = Where::tooth(abutment.crown.tooth);
    let first = rests.first().and_then(|r| Some((r.surface, r.places.first()?.at)));
    Finding::new(CHECK.id, code, Verdict::Caution, says).at(match first {
        Some((surface, at)) if rests.len() == 1 => place.on(surface).at(&at),
        _ => place,
    })
}

/// `0.50 mm on the buccal and 0.50 and 0.75 mm on the distal surface`.
fn listed(rests: &[Rests<'_>]) -> String {
    let on = |surface: Surface| {
        let gauges: Vec<String> =
            rests.iter().filter(|r| r.surface == surface).map(|r| units::digits(r.gauge_mm, 2)).collect();
        (!gauges.is_empty()).then(|| format!("{} mm on the {}", joined(&gauges), surface.word()))
    };
    let parts: Vec<String> = Surface::ALL.into_iter().filter_map(on).collect();
    let last = if parts.len() > 1 { "surfaces" } else { "surface" };
    format!("{} {last}", joined(&parts))
}

fn joined(words: &[String]) -> String {
    match words {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

fn clasp_near_margin(facts: &Facts<'_>, abutment: &Abutment<'_>, rests: &Rests<'_>) -> Option<Finding> {
    let rule = facts.rules.get("tip_above_margin_mm");
    let most = rests.places.iter().filter_map(|p| p.above_margin_mm).reduce(f64::max)?;
    let says = format!(
        "{} {}: {} is reached only {} above the gingival margin; {} are wanted between it and a clasp's tip. {INVENTED}",
        facts.tooth_words(abutment.crown.tooth),
        rests.surface.word(),
        units::mm(rests.gauge_mm),
        units::mm(most),
        units::mm(rule.number)
    );
    let at = rests.places.first()?.at;
    Some(
        Finding::new(CHECK.id, "undercut_near_margin", Verdict::Caution, says)
            .figure(
                &Estimate::new(most, vec![]).with(Source::Scan, facts.case.file.accuracy.scan_mm),
                Unit::Mm,
            )
            .limit(rule.shown())
            .at(Where::tooth(abutment.crown.tooth).on(rests.surface).at(&at)),
    )
}

/// The undercut is there along the path but not along the occlusal normal, the way in which the denture is displaced.
fn clasp_by_tilt(facts: &Facts<'_>, abutment: &Abutment<'_>, rests: &Rests<'_>) -> Option<Finding> {
    let most = rests.places.iter().filter_map(|p| p.along_normal_mm).reduce(f64::max)?;
    let says = format!(
        "{} {}: where {} is reached along the path, {} stand along the occlusal normal. Undercut made by tilting alone \
         does not hold against displacement along the normal. {INVENTED}",
        facts.tooth_words(abutment.crown.tooth),
        rests.surface.word(),
        units::mm(rests.gauge_mm),
        units::mm(most)
    );
    let place = Where::tooth(abutment.crown.tooth).on(rests.surface).at(&rests.places.first()?.at);
    Some(Finding::new(CHECK.id, "undercut_by_tilt_alone", Verdict::Caution, says).at(place))
}

/// An abutment on which no clasp finds an undercut that it could use, buccally or lingually, above the margin.
pub(super) fn unusable(facts: &Facts<'_>, path: &Path, abutment: &Abutment<'_>) -> Option<Finding> {
    let rule = facts.rules.get("undercut_cast_circumferential_mm");
    let least = gauge_mm(facts, ClaspKind::CastCircumferential);
    let sides = [Surface::Buccal, Surface::Lingual];
    let rests: Vec<Rests<'_>> =
        all(abutment).filter(|r| sides.contains(&r.surface) && r.gauge_mm > least - 1e-9).collect();
    if rests.iter().flat_map(|r| r.places).any(|p| usable(facts, least, p)) {
        return None;
    }
    let (surface, deepest): (Surface, Deepest) = abutment
        .surfaces
        .iter()
        .zip(&abutment.deepest)
        .filter(|(s, _)| sides.contains(&s.surface))
        .filter_map(|(s, d)| Some((s.surface, (*d)?)))
        .max_by(|a, b| a.1.depth_mm.total_cmp(&b.1.depth_mm).then(b.0.cmp(&a.0)))?;
    let places: Vec<&GaugePlace> = rests.iter().flat_map(|r| r.places).collect();
    let because = if places.is_empty() {
        "it is not reached above the margin"
    } else if places.iter().all(|p| near_margin(facts, p) == Some(true)) {
        "it is reached only too near the margin for a clasp's tip"
    } else if places.iter().all(|p| by_tilt_alone(facts, least, p) == Some(true)) {
        "it is reached along the path only, by tilting alone"
    } else {
        "it is reached only too near the margin for a clasp's tip, or by tilting alone"
    };
    let says = format!(
        "{}: no usable undercut stands above its gingival margin, buccally or lingually. The least that holds a clasp is \
         {}; {because}. The deepest is {} on its {} surface. {INVENTED}",
        facts.tooth_words(abutment.crown.tooth),
        units::mm(least),
        units::mm(deepest.depth_mm),
        surface.word(),
    );
    let finding = Finding::new(CHECK.id, "no_usable_undercut", Verdict::Caution, says)
        .figure(&estimate(facts, path, abutment, &deepest), Unit::Mm)
        .at(Where::tooth(abutment.crown.tooth).on(surface).at(&deepest.at))
        .settled_by(
            "another path, another abutment, or undercut made by preparation or composite: the dentist",
        );
    // Beside a depth that is there but of no use the limit would tell of room to spare.
    Some(if places.is_empty() { finding.limit(rule.shown()) } else { finding })
}
