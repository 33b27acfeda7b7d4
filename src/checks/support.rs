//! Check: Hinged or rigid.

use super::{Check, Part};
use crate::anatomy::Span;
use crate::case::{Request, SpanKind};
use crate::facts::Facts;
use crate::report::{Finding, Verdict};
use crate::units;

/// The check.
pub const CHECK: Check = Check {
    id: "support",
    title: "Hinged or rigid",
    measures: "States what is known for the choice between a hinged and a rigid design: which saddles end without a \
               tooth behind them, how long their crest is, and what was asked for. How the load is shared between \
               abutments and ridge is not computed in this release, so nothing here is judged.",
    limits: &[],
    method: "support.md",
    run,
};

fn run(facts: &Facts<'_>) -> Part {
    let Some(request) = facts.case.file.design.request else { return Part::default() };
    let asked = match request {
        Request::Hinge => "A hinge that breaks the stress",
        Request::Rigid => "A rigid design of clasps and rests",
        Request::Clamped => "An attachment that carries moment",
        Request::Compare => "A comparison of the designs",
    };
    let extensions: Vec<&Span> =
        facts.restored.anatomy.spans.iter().filter(|s| s.kind == SpanKind::DistalExtension).collect();
    let known = if extensions.is_empty() {
        "no distal extension is known on this arch".to_owned()
    } else {
        extensions.iter().map(|s| extension_words(s)).collect::<Vec<_>>().join("; ")
    };
    let says = format!(
        "{asked} is asked for; {known}. How it shares the load between abutments and ridge is not computed in this \
         release; nothing here speaks for or against it."
    );
    let finding = Finding::new(CHECK.id, "load_not_compared", Verdict::Caution, says)
        .with("extensions", extensions.len())
        .settled_by("the judgement of dentist and technician");
    Part { findings: vec![finding], ..Part::default() }
}

fn extension_words(span: &Span) -> String {
    let behind =
        span.front.map_or_else(|| "a distal extension".to_owned(), |t| format!("the ridge behind {t}"));
    match &span.crest {
        Ok(crest) => {
            let length: f64 = crest.windows(2).map(|w| (w[1] - w[0]).norm()).sum();
            format!("{behind} ends without a tooth, its crest line is {} long", units::mm(length))
        }
        Err(_) => format!("{behind} ends without a tooth"),
    }
}

#[cfg(test)]
mod tests {
    use super::super::test_cases::plate_case;
    use super::*;
    use crate::case::Arch;
    use crate::rules::Rules;

    #[test]
    fn what_is_asked_for_is_stated_and_nothing_is_judged() {
        let rules = Rules::standard();
        let asked = plate_case(Arch::Mandible, &[36, 37], |f| f.design.request = Some(Request::Hinge));
        let part = run(&Facts::new(&asked, &rules).unwrap());
        assert_eq!(part.findings.len(), 1);
        assert_eq!(part.findings[0].verdict, Verdict::Caution);
        assert!(part.findings[0].says.contains("not computed in this release"));
        let not_asked = plate_case(Arch::Mandible, &[36, 37], |_| {});
        assert_eq!(run(&Facts::new(&not_asked, &rules).unwrap()), Part::default());
    }
}
