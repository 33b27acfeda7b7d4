//! Check: Classification.

use super::{Check, Part};
use crate::case::{Chart, Kennedy, SpanKind, SpanTeeth, Tooth, chart};
use crate::estimate::NotMeasured;
use crate::facts::Facts;
use crate::report::{Finding, Verdict};

/// The check.
pub const CHECK: Check = Check {
    id: "classification",
    title: "Classification",
    measures: "Names the Kennedy class of the restored arch and its modification spaces by Applegate's rules, from the chart \
               of the case file, or, marked as a proposal, from the teeth found on the scan: planned extractions count as missing, missing third molars only where they are to be \
               replaced, standing third molars only as abutments; closed spaces, pontics and implant crowns make no span. \
               The most posterior spaces decide the class, the others are counted, their length does not matter. It cannot \
               see a chart that is wrong.",
    limits: &[],
    method: "chart.md",
    run,
};

fn run(facts: &Facts<'_>) -> Part {
    let case = facts.case;
    let arch = case.file.restored;
    let Some((given, proposed)) = facts.chart() else {
        let reason = NotMeasured::new(
            "the case has no chart, and the teeth found on the scan are not sure enough to propose one",
            "name the missing teeth in [chart] missing, or with --missing",
        );
        let finding = Finding::not_measured(CHECK.id, "no_chart", "Kennedy class", &reason);
        return Part { findings: vec![finding], ..Part::default() };
    };
    let abutments = &case.file.design.abutments;
    let class = chart::kennedy(given, arch, abutments);
    let spans = chart::spans(given, arch, abutments);
    let says = match class {
        Kennedy::Dentate => format!("No missing tooth of the {} counts: the arch is dentate.", arch.word()),
        Kennedy::Edentulous => {
            format!(
                "No tooth of the {} is left: the arch is edentulous, which is none of Kennedy's classes.",
                arch.word()
            )
        }
        Kennedy::Class { class, modifications } => format!(
            "Kennedy class {}{}: {}. {}",
            roman(class),
            modification_words(modifications),
            spans.iter().map(|s| span_words(facts, s)).collect::<Vec<_>>().join("; "),
            rules_applied(facts, given),
        ),
    };
    let says = says.trim_end();
    let finding = if proposed {
        let says = format!(
            "{says} This is a proposal from the teeth found on the scan, third molars left out; the case has no chart."
        );
        Finding::new(CHECK.id, "chart_proposed", Verdict::Possible, says)
            .settled_by("the list of missing teeth in [chart] missing, or with --missing")
    } else {
        Finding::new(CHECK.id, "kennedy_class", Verdict::Caution, says)
    };
    let finding = finding.with("spans", spans.len());
    Part { findings: vec![finding], ..Part::default() }
}

fn roman(class: u8) -> &'static str {
    match class {
        1 => "I",
        2 => "II",
        3 => "III",
        _ => "IV",
    }
}

fn modification_words(count: u8) -> String {
    match count {
        0 => String::new(),
        n => format!(", modification {n}"),
    }
}

fn teeth_words(facts: &Facts<'_>, teeth: &[Tooth]) -> String {
    teeth.iter().map(|&t| facts.tooth_words(t)).collect::<Vec<_>>().join(", ")
}

fn span_words(facts: &Facts<'_>, span: &SpanTeeth) -> String {
    let kind = match span.kind {
        SpanKind::DistalExtension => "no tooth behind",
        SpanKind::Bounded => "teeth at both ends",
    };
    format!("{} missing, {kind}", teeth_words(facts, &span.teeth))
}

/// What of the chart was counted otherwise than as plainly missing, with Applegate's rule for it.
fn rules_applied(facts: &Facts<'_>, given: &Chart) -> String {
    let arch = facts.case.file.restored;
    let of = |teeth: &[Tooth]| -> Vec<Tooth> { teeth.iter().copied().filter(|t| t.arch() == arch).collect() };
    let third_missing: Vec<Tooth> = of(&given.missing)
        .into_iter()
        .filter(|t| t.place() == 8 && !given.replaced.contains(t) && !given.not_replaced.contains(t))
        .collect();
    let third_abutments: Vec<Tooth> =
        of(&facts.case.file.design.abutments).into_iter().filter(|t| t.place() == 8).collect();
    let no_span: Vec<Tooth> =
        [&given.no_space, &given.pontics, &given.implants].into_iter().flat_map(|list| of(list)).collect();
    [
        (of(&given.extractions), "counted as missing, since it is to be extracted (rule 1)"),
        (third_missing, "left out: a missing third molar that is not to be replaced (rule 2)"),
        (third_abutments, "counted as standing: a third molar that serves as abutment (rule 3)"),
        (of(&given.not_replaced), "left out: not to be replaced (rules 2 and 4)"),
        (no_span, "no space: closed, a pontic or an implant crown stands there"),
    ]
    .into_iter()
    .filter(|(teeth, _)| !teeth.is_empty())
    .map(|(teeth, why)| format!("{}: {why}.", teeth_words(facts, &teeth)))
    .collect::<Vec<_>>()
    .join(" ")
}

#[cfg(test)]
mod tests {
    use super::super::test_cases::{plate_case, teeth};
    use super::*;
    use crate::case::{Arch, CaseFile, Notation};
    use crate::rules::Rules;

    fn says(missing: &[u8], edit: impl FnOnce(&mut CaseFile)) -> Finding {
        let case = plate_case(Arch::Mandible, missing, edit);
        let rules = Rules::standard();
        run(&Facts::new(&case, &rules).unwrap()).findings.remove(0)
    }

    #[test]
    fn class_modification_spaces_and_rules_are_told_in_words() {
        let plain = says(&[36, 37, 45], |_| {}).says;
        assert!(plain.starts_with("Kennedy class II, modification 1: 45 missing"), "{plain}");
        let third = says(&[36, 37, 38], |_| {}).says;
        assert!(third.contains("38: left out: a missing third molar") && third.contains("rule 2"), "{third}");
        let planned = says(&[47], |f| {
            if let Some(chart) = &mut f.chart {
                chart.extractions = teeth(&[46]);
            }
        });
        assert!(
            planned.says.contains("46: counted as missing") && planned.says.contains("rule 1"),
            "{}",
            planned.says
        );
        assert!(says(&[], |_| {}).says.contains("dentate"));
    }

    #[test]
    fn teeth_are_named_in_the_notation_of_the_case() {
        let universal = says(&[36, 37], |f| f.notation = Notation::Universal).says;
        assert!(universal.contains("19 (FDI 36)") && universal.contains("18 (FDI 37)"), "{universal}");
    }

    #[test]
    fn without_a_chart_the_class_is_not_measured_and_says_what_would_settle_it() {
        let finding = says(&[], |f| f.chart = None);
        assert_eq!(finding.verdict, Verdict::NotMeasured);
        assert!(finding.settled_by.is_some_and(|s| s.contains("[chart] missing") && s.contains("--missing")));
    }
}
