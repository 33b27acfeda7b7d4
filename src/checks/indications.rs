//! Check: For and against a hinge.

use super::{Check, Part, clasp_arms};
use crate::anatomy::{Span, spans};
use crate::case::{Arch, Opposite, SpanKind, Tooth};
use crate::facts::Facts;
use crate::measure::ridge_form::median;
use crate::report::{Finding, IndicationShown, Mechanics, Speaks, Verdict};
use crate::rules::{Mark, Rule};
use crate::units::{self, Unit};

/// The check.
pub const CHECK: Check = Check {
    id: "indications",
    title: "For and against a hinge",
    measures: "Puts what the trade teaches of stress directors beside the measured and the declared facts of the case: arch, kind \
               and length of the spans, width of the ridge, room, undercut, mobility and crown-root ratio of the abutments, \
               what stands opposite, upkeep. Each row speaks for a hinge, against it, neither way, or is not known, with its \
               source. Most of it is teaching or common practice without a figure. It is a table, not a decision.",
    limits: &["hinge_long_span_mm", "hinge_broad_ridge_mm", "attachment_room_mm", "site_length_mm"],
    method: "support.md",
    run,
};

fn run(facts: &Facts<'_>) -> Part {
    if facts.case.file.design.request.is_none() || facts.restored.anatomy.spans.is_empty() {
        return Part::default();
    }
    let mut rows = vec![arch(facts), extensions(facts)];
    let hinged: Vec<&Span> =
        facts.restored.anatomy.spans.iter().filter(|s| s.kind == SpanKind::DistalExtension).collect();
    for span in &hinged {
        rows.extend([length(facts, span), width(facts, span), room(facts, span)]);
    }
    rows.push(undercut(facts));
    rows.push(mobility(facts));
    rows.push(ratio(facts));
    rows.push(opposite(facts));
    rows.push(row(
        "firmness of the mucosa",
        "not on a scan: a finger in the mouth tells it".into(),
        Speaks::NotKnown,
        "a firm ridge is taught to speak for a hinge (DDEV, teaching notes)".into(),
    ));
    rows.extend(upkeep());
    let count = |which: Speaks| rows.iter().filter(|r| r.speaks == which).count();
    let says = format!(
        "For and against a hinge: {} rows speak for it, {} against, {} neither way, {} are not known; the table names each with its \
         source. Which design is made is for dentist and technician to choose.",
        count(Speaks::For),
        count(Speaks::Against),
        count(Speaks::Neither),
        count(Speaks::NotKnown)
    );
    let finding = Finding::new(CHECK.id, "for_and_against", Verdict::Caution, says)
        .settled_by("the judgement of dentist and technician");
    let mechanics = Mechanics { indications: rows, ..Mechanics::default() };
    Part { findings: vec![finding], mechanics, ..Part::default() }
}

fn row(about: &str, fact: String, speaks: Speaks, source: String) -> IndicationShown {
    IndicationShown { about: about.to_owned(), fact, speaks, source }
}

fn source(rule: &Rule) -> String {
    format!("{} ({})", rule.source, rule.mark.words())
}

fn practice() -> String {
    format!("PRACTICE ({})", Mark::CommonPractice.words())
}

fn arch(facts: &Facts<'_>) -> IndicationShown {
    match facts.restored.arch {
        Arch::Mandible => row("arch", "mandible, where hinges are kept to".into(), Speaks::For, practice()),
        Arch::Maxilla => {
            let fact = "maxilla: when the joint loosens, the base drops away from the ridge".into();
            row("arch", fact, Speaks::Against, practice())
        }
    }
}

fn extensions(facts: &Facts<'_>) -> IndicationShown {
    let ends: Vec<String> = facts
        .restored
        .anatomy
        .spans
        .iter()
        .filter(|s| s.kind == SpanKind::DistalExtension)
        .map(|s| s.front.map_or_else(|| spans::name(&s.teeth), |t| format!("behind {t}")))
        .collect();
    if ends.is_empty() {
        let fact = "every span has a tooth behind it: there is no free end that could turn".into();
        return row("kind of span", fact, Speaks::Against, practice());
    }
    let fact = format!("free end {}", ends.join(" and "));
    row("kind of span", fact, Speaks::For, "DDEV (teaching notes)".into())
}

fn named(about: &str, span: &Span) -> String {
    format!("{about}, {}", spans::name(&span.teeth))
}

fn length(facts: &Facts<'_>, span: &Span) -> IndicationShown {
    let about = named("length", span);
    let rule = facts.rules.get("hinge_long_span_mm");
    let source = format!("DDEV (teaching notes); figure {}", source(rule));
    let Ok(crest) = &span.crest else {
        return row(&about, "the crest is not known".into(), Speaks::NotKnown, source);
    };
    let mm: f64 = crest.windows(2).map(|w| (w[1] - w[0]).norm()).sum();
    let (word, speaks) = if mm >= rule.number { ("long", Speaks::For) } else { ("short", Speaks::Neither) };
    row(&about, format!("{} of crest: {word}", units::mm(mm)), speaks, source)
}

fn width(facts: &Facts<'_>, span: &Span) -> IndicationShown {
    let about = named("ridge", span);
    let rule = facts.rules.get("hinge_broad_ridge_mm");
    let source = format!("DDEV (teaching notes); figure {}", source(rule));
    let index = facts.restored.anatomy.spans.iter().position(|s| s.teeth == span.teeth);
    let form = index.and_then(|i| facts.ridges.get(i));
    let width = form.and_then(|f| median(f.iter().filter_map(|s| s.widths[0]).map(|w| w.width_mm)));
    match width {
        Some(mm) if mm >= rule.number => {
            let fact = format!("{} wide 3 mm under its crest, median: broad", units::mm(mm));
            row(&about, fact, Speaks::For, source)
        }
        Some(mm) => {
            let fact =
                format!("{} wide 3 mm under its crest, median: narrow, a hinge loads it more", units::mm(mm));
            row(&about, fact, Speaks::Against, source)
        }
        None => row(&about, "its width is not measured".into(), Speaks::NotKnown, source),
    }
}

/// The least clearance point by point over the place of a hinge; the room that is judged stands under `room`.
fn room(facts: &Facts<'_>, span: &Span) -> IndicationShown {
    let about = named("room", span);
    let rule = facts.rules.get("attachment_room_mm");
    let within = facts.rules.number("site_length_mm");
    let least = facts.clearance.as_ref().zip(span.crest.as_ref().ok()).and_then(|(clear, crest)| {
        let front = *crest.first()?;
        let near = crest.iter().filter(|p| (*p - front).norm() <= within);
        near.filter_map(|p| {
            let hit = facts.restored.surface.closest(p)?;
            let corners = facts.restored.mesh().faces().get(hit.face as usize)?;
            corners.iter().filter_map(|&v| clear.get(v as usize)?.along_mm).min_by(f64::total_cmp)
        })
        .min_by(f64::total_cmp)
    });
    match least {
        Some(mm) => {
            let (words, speaks) = if mm >= rule.number {
                ("no hindrance", Speaks::Neither)
            } else {
                ("too little for a hinge with its tooth", Speaks::Against)
            };
            let fact = format!(
                "{} at least along the opening direction over the first {} of crest, point by point: {words}",
                units::mm(mm),
                units::show(within, Unit::Mm)
            );
            row(&about, fact, speaks, source(rule))
        }
        None => row(&about, "not measured".into(), Speaks::NotKnown, source(rule)),
    }
}

fn undercut(facts: &Facts<'_>) -> IndicationShown {
    let reads = clasp_arms::read(facts);
    let source = practice();
    if reads.is_empty() {
        return row("undercut at the clasps", "no clasp is named".into(), Speaks::NotKnown, source);
    }
    let of = |reached: bool| -> Vec<String> {
        reads
            .iter()
            .filter(|r| r.tip.as_ref().is_ok_and(|t| t.reached == reached))
            .map(|r| format!("{} {}", r.clasp.tooth, r.clasp.surface.word()))
            .collect()
    };
    let (yes, no) = (of(true), of(false));
    let unknown = reads.len() - yes.len() - no.len();
    let mut parts = Vec::new();
    for (teeth, words) in [(&yes, "reached at"), (&no, "not reached at")] {
        if !teeth.is_empty() {
            parts.push(format!("{words} {}", teeth.join(", ")));
        }
    }
    if unknown > 0 {
        parts.push(format!("not measured at {unknown}"));
    }
    let speaks = if unknown > 0 && no.is_empty() { Speaks::NotKnown } else { Speaks::Neither };
    row("undercut at the clasps", parts.join("; "), speaks, source)
}

/// The teeth in front of the extensions, which a hinge is to spare.
fn spared(facts: &Facts<'_>) -> Vec<Tooth> {
    let mut teeth: Vec<Tooth> = facts.restored.anatomy.spans.iter().filter_map(|s| s.front).collect();
    teeth.extend(&facts.case.file.design.abutments);
    teeth.sort();
    teeth.dedup();
    teeth
}

fn mobility(facts: &Facts<'_>) -> IndicationShown {
    let source = "DDEV (teaching notes): weak abutments".to_owned();
    let declared = &facts.case.file.support.mobility;
    let known: Vec<(Tooth, u8)> =
        spared(facts).into_iter().filter_map(|t| Some((t, *declared.get(&t)?))).collect();
    if known.is_empty() {
        let fact = "not declared: [support] mobility".into();
        return row("mobility of the abutments", fact, Speaks::NotKnown, source);
    }
    let words: Vec<String> = known.iter().map(|(t, g)| format!("{t} grade {g}")).collect();
    let weak = known.iter().any(|(_, g)| *g > 0);
    row(
        "mobility of the abutments",
        words.join(", "),
        if weak { Speaks::For } else { Speaks::Neither },
        source,
    )
}

fn ratio(facts: &Facts<'_>) -> IndicationShown {
    let source =
        "DDEV (teaching notes): weak abutments; that the crown is no longer than the root is from memory"
            .to_owned();
    let declared = &facts.case.file.support.crown_root_ratio;
    let known: Vec<(Tooth, f64)> =
        spared(facts).into_iter().filter_map(|t| Some((t, *declared.get(&t)?))).collect();
    if known.is_empty() {
        let fact = "not declared: [support] crown_root_ratio".into();
        return row("crown over root", fact, Speaks::NotKnown, source);
    }
    let words: Vec<String> =
        known.iter().map(|(t, r)| format!("{t} {}", units::show(*r, Unit::Share))).collect();
    let weak = known.iter().any(|(_, r)| *r > 1.0);
    row("crown over root", words.join(", "), if weak { Speaks::For } else { Speaks::Neither }, source)
}

fn opposite(facts: &Facts<'_>) -> IndicationShown {
    let source =
        "JMDS05, JIDS (published, abstracts): bite forces; what follows is common practice".to_owned();
    match facts.case.file.support.opposite {
        Some(what @ (Opposite::NaturalTeeth | Opposite::Implants)) => {
            let fact = format!("{}: strong bites, which a hinge would put on the ridge", what.words());
            row("opposing dentition", fact, Speaks::Against, source)
        }
        Some(what) => {
            row("opposing dentition", format!("{}: weaker bites", what.words()), Speaks::For, source)
        }
        None => {
            let fact =
                "not declared ([support] opposite); a scan does not tell natural teeth from a denture".into();
            row("opposing dentition", fact, Speaks::NotKnown, source)
        }
    }
}

/// What the trade says of a hinge's upkeep, whatever the case.
fn upkeep() -> Vec<IndicationShown> {
    [
        (
            "upkeep: ridge",
            "the ridge is taught to resorb faster under a hinged base, which wants relining more often",
            "DDEV (teaching notes)",
        ),
        ("upkeep: joint", "joints wear and break", "MEN68 (published, first page)"),
        (
            "upkeep: base",
            "sticky food lifts a hinged base, as far as its stop lets it",
            "PRACTICE (common practice, no published source)",
        ),
    ]
    .into_iter()
    .map(|(about, fact, source)| row(about, fact.into(), Speaks::Against, source.into()))
    .collect()
}
