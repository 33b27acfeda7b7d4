//! Check: which crowns, spans and crest lines are known, by what, and what is lacking.

use super::{Check, Part};
use crate::anatomy::found_teeth::FoundTeeth;
use crate::anatomy::{Crown, Origin, spans};
use crate::case::{Chart, Tooth};
use crate::estimate::NotMeasured;
use crate::facts::Facts;
use crate::report::{Finding, Verdict, Where};
use crate::units;

/// The check.
pub const CHECK: Check = Check {
    id: "teeth",
    title: "Teeth and spans",
    measures: "Which crowns are known on the restored arch and by what (marked margins, labels, the shape of the cast), \
               whether they agree with the chart, and whence each crest line comes. What is not known is named with \
               the mark that would settle it. Margins are as marked or labelled; they are not judged.",
    limits: &[],
    method: "anatomy.md",
    run,
};

fn run(facts: &Facts<'_>) -> Part {
    let mut part = Part::default();
    let anatomy = &facts.restored.anatomy;
    part.findings.extend(known(&anatomy.crowns));
    for (tooth, reason) in &anatomy.margins_unused {
        let what = format!("The crown of {tooth}");
        let finding = Finding::not_measured(CHECK.id, "margin_not_used", &what, reason);
        part.findings.push(finding.at(Where::tooth(*tooth)));
    }
    part.findings.extend(lacking(facts));
    part.findings.extend(anatomy.found_teeth.as_ref().into_iter().flat_map(|f| unsure(facts, f)));
    part.findings.extend(against_chart(facts));
    part.findings.extend(crests(facts));
    part
}

fn list(teeth: &[Tooth]) -> String {
    teeth.iter().map(Tooth::to_string).collect::<Vec<_>>().join(", ")
}

fn numbers(teeth: &[Tooth]) -> Vec<u8> {
    teeth.iter().map(|t| t.number()).collect()
}

fn known(crowns: &[Crown]) -> Vec<Finding> {
    let of = |origin: Origin| -> Vec<Tooth> {
        crowns.iter().filter(|c| c.origin == origin).map(|c| c.tooth).collect()
    };
    let mut findings = Vec::new();
    for (origin, code, whence) in [
        (Origin::Given, "crowns_given", "known by a marked margin or by labels"),
        (Origin::Found, "crowns_found", "found on the shape of the cast; confirm their numbers"),
    ] {
        let teeth = of(origin);
        if teeth.is_empty() {
            continue;
        }
        let mut says = format!("Crowns {whence}: {}.", list(&teeth));
        let mut finding = Finding::new(CHECK.id, code, Verdict::Caution, "").with("teeth", numbers(&teeth));
        if origin == Origin::Found {
            let least = crowns.iter().filter(|c| c.origin == origin).map(|c| c.confidence).reduce(f64::min);
            let least = least.unwrap_or_default();
            says.push_str(&format!(" Least confidence {}.", units::show(least, units::Unit::Share)));
            finding = finding.with("confidence", units::json(least)).settled_by(
                "a margin in [marks] margins overrides the crown found for that tooth; labels in [scans] override all",
            );
        }
        finding.says = says;
        findings.push(finding);
    }
    findings
}

/// Crowns that were found but are not used, and teeth of the chart that were not found.
fn unsure(facts: &Facts<'_>, found: &FoundTeeth) -> Vec<Finding> {
    let mut findings = Vec::new();
    if !found.unsure.is_empty() {
        let teeth: Vec<Tooth> = found.unsure.iter().map(|c| c.tooth).collect();
        let most = found.unsure.iter().map(|c| c.confidence).fold(0.0, f64::max);
        let least = facts.rules.number("confidence_least");
        let numbers_only = found.numbers < least;
        let why = if numbers_only {
            "the row of teeth would bear other numbers nearly as well"
        } else {
            "they do not look surely enough like crowns"
        };
        let says = format!(
            "Crowns that seem to be {} were found and are not used: {why} (confidence at most {}, {} asked for). They are shown in anatomy.ply.",
            list(&teeth),
            units::show(most, units::Unit::Share),
            units::show(least, units::Unit::Share),
        );
        let settle = if numbers_only {
            "the list of missing teeth in [chart] missing, or the margin of one tooth under its number in [marks] margins"
        } else {
            "a closed curve along the gingival margin of each in [marks] margins"
        };
        findings.push(
            Finding::new(CHECK.id, "crowns_unsure", Verdict::Possible, says)
                .with("teeth", numbers(&teeth))
                .with("confidence", units::json(most))
                .settled_by(settle),
        );
    }
    if let Some(first) = found.occupied.first() {
        let says = format!(
            "Missing by the chart, but something that looks like a tooth stands at the place of {}: ask whether the chart is \
             right, and whether a denture was in the mouth or a bridge spans the gap when it was scanned. The numbers of the \
             teeth found are not sure until then.",
            list(&found.occupied)
        );
        findings.push(
            Finding::new(CHECK.id, "teeth_where_missing", Verdict::Ask, says)
                .at(Where::tooth(*first))
                .with("teeth", numbers(&found.occupied))
                .settled_by("[chart] missing or pontics, or a scan without the denture"),
        );
    }
    if !found.not_seen.is_empty() && facts.case.file.chart.is_some() {
        let says = format!(
            "The chart has {} as present, and no crown was found there: ask whether they are missing, or confirm one tooth \
             number, since a row that is off by one tooth looks much the same.",
            list(&found.not_seen)
        );
        let finding = Finding::new(CHECK.id, "teeth_not_seen", Verdict::Ask, says)
            .with("teeth", numbers(&found.not_seen));
        findings.push(finding.settled_by("[chart] missing, or a margin in [marks] margins"));
    }
    findings
}

/// Teeth whose crown something was asked about: those the design names and those beside the spans.
fn asked(facts: &Facts<'_>) -> Vec<Tooth> {
    let design = &facts.case.file.design;
    let mut teeth: Vec<Tooth> = design.abutments.clone();
    teeth.extend(design.rests.iter().map(|r| r.tooth));
    teeth.extend(design.clasps.iter().map(|c| c.tooth));
    teeth.extend(facts.restored.anatomy.spans.iter().flat_map(|s| [s.front, s.back]).flatten());
    teeth.retain(|t| t.arch() == facts.restored.arch);
    teeth.sort_by_key(|t| t.along());
    teeth.dedup();
    teeth
}

fn lacking(facts: &Facts<'_>) -> Vec<Finding> {
    let anatomy = &facts.restored.anatomy;
    let failed = |t: &Tooth| anatomy.margins_unused.iter().any(|(f, _)| f == t);
    let asked = asked(facts);
    let without: Vec<Tooth> =
        asked.iter().copied().filter(|t| anatomy.crown(*t).is_none() && !failed(t)).collect();
    let mut findings = Vec::new();
    for tooth in &without {
        let reason = NotMeasured::new(
            "no margin is marked for it, no label names it, and it was not found on the scan",
            format!("a closed curve along the gingival margin of {tooth} in [marks] margins"),
        );
        let finding =
            Finding::not_measured(CHECK.id, "crown_lacking", &format!("The crown of {tooth}"), &reason);
        findings.push(finding.at(Where::tooth(*tooth)));
    }
    if let Some(reason) = anatomy.crowns_lacking.as_ref().filter(|_| without.is_empty()) {
        let says = format!("Not all crowns are known: {}. Nothing was asked about them.", reason.because);
        let mut finding = Finding::new(CHECK.id, "other_crowns_unknown", Verdict::Caution, says);
        finding.settled_by = reason.settled_by.clone();
        findings.push(finding);
    }
    findings
}

/// Crowns on the scan that the chart calls missing.
fn against_chart(facts: &Facts<'_>) -> Option<Finding> {
    let chart = facts.case.file.chart.as_ref()?;
    let stood_for = |chart: &Chart, t: &Tooth| chart.pontics.contains(t) || chart.implants.contains(t);
    let wrong: Vec<Tooth> = facts
        .restored
        .anatomy
        .crowns
        .iter()
        .filter(|c| c.origin == Origin::Given)
        .map(|c| c.tooth)
        .filter(|t| chart.missing.contains(t) && !stood_for(chart, t))
        .collect();
    let first = *wrong.first()?;
    let says = format!("Marked or labelled as crowns, but missing by the chart: {}.", list(&wrong));
    Some(
        Finding::new(CHECK.id, "chart_disagrees", Verdict::Ask, says)
            .at(Where::tooth(first))
            .settled_by("the chart, or the marks and labels of these teeth"),
    )
}

fn crests(facts: &Facts<'_>) -> Vec<Finding> {
    let anatomy = &facts.restored.anatomy;
    let mut findings = Vec::new();
    for span in &anatomy.spans {
        if let Ok(crest) = &span.crest {
            let (code, whence) = match span.crest_origin {
                Origin::Given => ("crest_marked", "as marked, laid onto the ridge"),
                Origin::Found => {
                    ("crest_found", "found as the highest line of the ridge; a marked crest overrules it")
                }
            };
            let says = format!("Crest line of {}: {whence}.", spans::name(&span.teeth));
            let place =
                crest.first().map_or_else(|| Where::span(&span.teeth), |p| Where::span(&span.teeth).at(p));
            findings.push(Finding::new(CHECK.id, code, Verdict::Caution, says).at(place));
        }
    }
    for k in &anatomy.unused_crests {
        let says =
            format!("Crest line {} of [marks] crests lies at no span of the chart and was not used.", k + 1);
        let finding = Finding::new(CHECK.id, "crest_not_used", Verdict::Caution, says);
        findings.push(finding.settled_by("the chart's missing teeth, or the place of that crest line"));
    }
    findings
}
