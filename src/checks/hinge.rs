//! Check: The hinge.

use super::{Check, Part};
use crate::case::{Arch, Case, Request, SpanKind, SpanTeeth, chart};
use crate::facts::Facts;
use crate::report::{Finding, Question, Verdict, Where};

/// The check.
pub const CHECK: Check = Check {
    id: "hinge",
    title: "The hinge",
    measures: "Looks at where a hinge is asked for. A hinge belongs to a distal extension of the mandible: in a maxilla \
               the joint loosens and the base drops away (common practice, no published source), on a bounded span the \
               teeth at both ends carry the saddle and a hinge has nothing to relieve. These are statements, not \
               measurements; the room that a hinge needs is judged under `room`.",
    limits: &[],
    method: "hinge.md",
    run,
};

fn run(facts: &Facts<'_>) -> Part {
    let case = facts.case;
    if case.file.design.request != Some(Request::Hinge) {
        return Part::default();
    }
    let mut part = Part::default();
    if case.file.restored == Arch::Maxilla {
        part.findings.push(in_a_maxilla());
        part.questions.push(Question {
            to: "dentist".into(),
            text: "Is a hinge wanted in this maxilla all the same, and who will watch and tighten the joint?"
                .into(),
            because: "a hinged base in a maxilla is not held up by the ridge when the joint loosens".into(),
        });
    }
    let Some((chart, _)) = facts.chart() else { return part };
    let spans = chart::spans(chart, case.file.restored, &case.file.design.abutments);
    if !spans.iter().any(|s| s.kind == SpanKind::DistalExtension) && !spans.is_empty() {
        part.findings.push(without_extension(&spans));
    }
    for span in spans.iter().filter(|s| hinged_although_bounded(case, s, &spans)) {
        part.findings.push(on_bounded_span(span));
    }
    part
}

fn in_a_maxilla() -> Finding {
    Finding::new(
        CHECK.id,
        "hinge_in_maxilla",
        Verdict::Caution,
        "A hinge is asked for in a maxilla: there the joint loosens and the base drops away from the ridge. Common \
         practice keeps hinges to the mandible; no published source was found.",
    )
    .settled_by("the dentist, who knows why it is asked for")
}

fn without_extension(spans: &[SpanTeeth]) -> Finding {
    Finding::new(
        CHECK.id,
        "hinge_without_distal_extension",
        Verdict::Caution,
        "A hinge is asked for, but the chart shows no distal extension: every span has a tooth behind it, so there is no \
         free end that could turn about the hinge.",
    )
    .with("spans", spans.len())
    .settled_by("the chart, or another request in [design]")
}

fn on_bounded_span(span: &SpanTeeth) -> Finding {
    let teeth = span.teeth.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ");
    Finding::new(
        CHECK.id,
        "hinge_on_bounded_span",
        Verdict::Caution,
        format!(
            "A hinge is asked for beside the bounded span {teeth}: the teeth at both ends carry that saddle, and a hinge \
             there gives up support without relieving anything. Common practice; no published source was found."
        ),
    )
    .at(Where::span(&span.teeth))
    .settled_by("the dentist: rests and clasps at both ends, or the reason for a hinge")
}

/// A hinge is asked for at the abutments named. A bounded span between abutments counts only where no abutment that is
/// named borders a distal extension on that side; with no distal extension at all, every span beside a named abutment.
fn hinged_although_bounded(case: &Case, span: &SpanTeeth, spans: &[SpanTeeth]) -> bool {
    let named = |t: Option<crate::case::Tooth>| t.is_some_and(|t| case.file.design.abutments.contains(&t));
    let touches = named(span.right) || named(span.left) || case.file.design.abutments.is_empty();
    let extension = spans.iter().any(|s| s.kind == SpanKind::DistalExtension);
    span.kind == SpanKind::Bounded && touches && !extension
}

#[cfg(test)]
mod tests {
    use super::super::test_cases::{plate_case, teeth};
    use super::*;
    use crate::rules::Rules;

    fn codes(arch: Arch, missing: &[u8], request: Request, abutments: &[u8]) -> Vec<String> {
        let case = plate_case(arch, missing, |file| {
            file.design.request = Some(request);
            file.design.abutments = teeth(abutments);
        });
        let rules = Rules::standard();
        let part = run(&Facts::new(&case, &rules).unwrap());
        assert!(part.findings.iter().all(|f| f.verdict == Verdict::Caution));
        part.findings.into_iter().map(|f| f.code).collect()
    }

    #[test]
    fn a_hinge_in_a_maxilla_and_one_on_a_bounded_span_get_their_own_cautions() {
        assert_eq!(codes(Arch::Maxilla, &[26, 27], Request::Hinge, &[25]), ["hinge_in_maxilla"]);
        assert_eq!(
            codes(Arch::Mandible, &[36], Request::Hinge, &[35, 37]),
            ["hinge_without_distal_extension", "hinge_on_bounded_span"]
        );
    }

    #[test]
    fn a_hinge_on_a_distal_extension_of_a_mandible_gets_none_nor_does_a_rigid_design() {
        assert!(codes(Arch::Mandible, &[36, 37, 45], Request::Hinge, &[35, 44]).is_empty());
        assert!(codes(Arch::Maxilla, &[26], Request::Rigid, &[25]).is_empty());
    }
}
