use proptest::prelude::*;

use super::*;

fn t(n: u8) -> Tooth {
    Tooth::fdi(n).unwrap()
}

fn ts(numbers: &[u8]) -> Vec<Tooth> {
    numbers.iter().map(|&n| t(n)).collect()
}

fn class(class: u8, modifications: u8) -> Kennedy {
    Kennedy::Class { class, modifications }
}

#[derive(Default)]
struct Example {
    number: u8,
    upper: bool,
    missing: &'static [u8],
    not_replaced: &'static [u8],
    extractions: &'static [u8],
    abutments: &'static [u8],
}

impl Example {
    fn chart(&self) -> Chart {
        Chart {
            missing: ts(self.missing),
            not_replaced: ts(self.not_replaced),
            extractions: ts(self.extractions),
            ..Chart::default()
        }
    }
    fn arch(&self) -> Arch {
        if self.upper { Arch::Maxilla } else { Arch::Mandible }
    }
}

fn lower(number: u8, missing: &'static [u8]) -> Example {
    Example { number, missing, ..Example::default() }
}

fn upper(number: u8, missing: &'static [u8]) -> Example {
    Example { upper: true, ..lower(number, missing) }
}

/// The 26 worked examples of the trade facts, section 1.2.
fn worked_examples() -> Vec<(Example, Kennedy)> {
    use Kennedy::{Dentate, Edentulous};
    const ALL: &[u8] = &[47, 46, 45, 44, 43, 42, 41, 31, 32, 33, 34, 35, 36, 37];
    const ALL_BUT_CANINES: &[u8] = &[47, 46, 45, 44, 42, 41, 31, 32, 34, 35, 36, 37];
    vec![
        (lower(1, &[36, 37, 46, 47]), class(1, 0)),
        (lower(2, &[35, 36, 37, 46, 47, 31]), class(1, 1)),
        (upper(3, &[17, 16, 14, 11, 24, 26, 27]), class(1, 3)),
        (lower(4, &[47, 46]), class(2, 0)),
        (lower(5, &[47, 46, 35, 36]), class(2, 1)),
        (upper(6, &[17, 16, 15, 24]), class(2, 1)),
        (upper(7, &[17, 16, 15, 14, 13, 12, 11, 21]), class(2, 0)),
        (lower(8, &[36]), class(3, 0)),
        (lower(9, &[36, 46]), class(3, 1)),
        (upper(10, &[14, 15, 16, 11, 21, 25, 26]), class(3, 2)),
        (upper(11, &[16, 13, 22, 26]), class(3, 3)),
        (upper(12, &[12, 11]), class(3, 0)),
        (upper(13, &[11, 21]), class(4, 0)),
        (upper(14, &[13, 12, 11, 21, 22, 23]), class(4, 0)),
        (upper(15, &[12, 11, 21, 22, 16]), class(3, 1)),
        (upper(16, &[16, 15, 12, 11, 21, 22]), class(3, 1)),
        (Example { abutments: &[38], ..lower(17, &[36, 37]) }, class(3, 0)),
        (lower(18, &[36, 37]), class(2, 0)),
        (Example { abutments: &[38], ..lower(19, &[36, 37, 46, 47]) }, class(2, 1)),
        (Example { not_replaced: &[18, 28], ..upper(20, &[18, 28]) }, Dentate),
        (Example { not_replaced: &[37, 47, 38, 48], ..lower(21, &[37, 47, 38, 48]) }, Dentate),
        (lower(22, &[37, 47]), class(1, 0)),
        (Example { not_replaced: &[47], ..lower(23, &[37, 36, 47]) }, class(2, 0)),
        (lower(24, ALL_BUT_CANINES), class(1, 1)),
        (lower(25, ALL), Edentulous),
        (Example { extractions: &[46], ..lower(26, &[47]) }, class(2, 0)),
    ]
}

#[test]
fn the_26_worked_examples_classify_as_worked() {
    let examples = worked_examples();
    assert_eq!(examples.len(), 26);
    for (example, expected) in examples {
        let found = kennedy(&example.chart(), example.arch(), &ts(example.abutments));
        assert_eq!(found, expected, "example {}", example.number);
    }
}

#[test]
fn oban_is_a_class_ii_with_one_modification() {
    let chart = Chart { missing: ts(&[36, 37, 45]), ..Chart::default() };
    let abutments = ts(&[35, 44]);
    assert_eq!(kennedy(&chart, Arch::Mandible, &abutments), class(2, 1));
    let spans = spans(&chart, Arch::Mandible, &abutments);
    assert_eq!(spans.len(), 2);
    // From the patient's right: the bounded span of 45 first.
    assert_eq!(spans[0].teeth, ts(&[45]));
    assert_eq!((spans[0].kind, spans[0].right, spans[0].left), (SpanKind::Bounded, Some(t(46)), Some(t(44))));
    assert_eq!(spans[0].front(), Some(t(44)));
    assert_eq!(spans[1].teeth, ts(&[36, 37]));
    assert_eq!(
        (spans[1].kind, spans[1].right, spans[1].left),
        (SpanKind::DistalExtension, Some(t(35)), None)
    );
    assert_eq!(spans[1].front(), Some(t(35)));
    assert_eq!(kennedy(&chart, Arch::Maxilla, &[]), Kennedy::Dentate);
}

#[test]
fn the_front_of_a_span_across_the_midline_is_its_right_hand_abutment() {
    let chart = Chart { missing: ts(&[41, 31, 32]), ..Chart::default() };
    let spans = spans(&chart, Arch::Mandible, &[]);
    assert_eq!(spans.len(), 1);
    assert_eq!(spans[0].teeth, ts(&[41, 31, 32]));
    assert_eq!(spans[0].front(), Some(t(42)));
}

#[test]
fn third_molars_count_only_as_abutments_or_when_replaced() {
    let gone = ts(&[36, 37]);
    let arch = Arch::Mandible;
    // Present, but not an abutment: as if it were not there (the convention of the trade facts).
    let chart = Chart { missing: gone.clone(), ..Chart::default() };
    assert_eq!(kennedy(&chart, arch, &[]), class(2, 0));
    // An abutment that is itself missing or to be extracted carries nothing.
    let chart = Chart { missing: ts(&[36, 37, 38]), ..Chart::default() };
    assert_eq!(kennedy(&chart, arch, &ts(&[38])), class(2, 0));
    let chart = Chart { missing: gone.clone(), extractions: ts(&[38]), ..Chart::default() };
    assert_eq!(kennedy(&chart, arch, &ts(&[38])), class(2, 0));
    // Missing and named as replaced: a space of its own behind a standing second molar.
    let chart = Chart { missing: ts(&[38]), replaced: ts(&[38]), ..Chart::default() };
    assert_eq!(kennedy(&chart, arch, &[]), class(2, 0));
    assert_eq!(spans(&chart, arch, &[])[0].teeth, ts(&[38]));
}

#[test]
fn a_second_molar_that_is_not_replaced_still_counts_before_an_abutment_third_molar() {
    let chart = Chart { missing: ts(&[36, 37]), not_replaced: ts(&[37]), ..Chart::default() };
    // Without the third molar 37 is dropped, and 36 has no tooth behind it.
    assert_eq!(kennedy(&chart, Arch::Mandible, &[]), class(2, 0));
    assert_eq!(spans(&chart, Arch::Mandible, &[])[0].teeth, ts(&[36]));
    assert_eq!(kennedy(&chart, Arch::Mandible, &ts(&[38])), class(3, 0));
    assert_eq!(spans(&chart, Arch::Mandible, &ts(&[38]))[0].teeth, ts(&[36, 37]));
}

#[test]
fn closed_gaps_pontics_and_implant_crowns_make_no_span() {
    let missing = ts(&[14, 24]);
    let arch = Arch::Maxilla;
    let chart = |no_space: &[u8], pontics: &[u8], implants: &[u8]| Chart {
        missing: missing.clone(),
        no_space: ts(no_space),
        pontics: ts(pontics),
        implants: ts(implants),
        ..Chart::default()
    };
    assert_eq!(kennedy(&chart(&[], &[], &[]), arch, &[]), class(3, 1));
    assert_eq!(kennedy(&chart(&[14], &[], &[]), arch, &[]), class(3, 0));
    assert_eq!(kennedy(&chart(&[], &[14], &[]), arch, &[]), class(3, 0));
    assert_eq!(kennedy(&chart(&[], &[], &[14]), arch, &[]), class(3, 0));
    assert_eq!(kennedy(&chart(&[14], &[24], &[]), arch, &[]), Kennedy::Dentate);
    // An implant crown behind a gap bounds it; a closed gap does not divide one.
    let chart = Chart { missing: ts(&[36, 37]), implants: ts(&[37]), ..Chart::default() };
    assert_eq!(kennedy(&chart, Arch::Mandible, &[]), class(3, 0));
    assert_eq!(spans(&chart, Arch::Mandible, &[])[0].left, Some(t(37)));
    let chart = Chart { missing: ts(&[14, 15, 16]), no_space: ts(&[15]), ..Chart::default() };
    assert_eq!(spans(&chart, arch, &[]).len(), 1);
}

#[test]
fn a_list_of_missing_teeth_is_read_or_refused_as_a_whole() {
    let chart = missing_from("36, 37,45", Notation::Fdi, Arch::Mandible).unwrap();
    assert_eq!(chart.missing, ts(&[36, 37, 45]));
    assert_eq!(missing_from("19 18", Notation::Universal, Arch::Mandible).unwrap().missing, ts(&[36, 37]));
    let errors = missing_from("36,36,16,55,99", Notation::Fdi, Arch::Mandible).unwrap_err();
    assert_eq!(errors.len(), 4);
    assert!(errors[0].says.contains("twice") && errors[1].says.contains("maxilla"));
    assert!(errors[2].says.contains("deciduous"));
}

fn some_chart() -> impl Strategy<Value = (Chart, Vec<Tooth>)> {
    let all: Vec<Tooth> = teeth_of(Arch::Mandible).collect();
    let pick = |most: usize| proptest::sample::subsequence(all.clone(), 0..=most);
    (pick(14), pick(2), pick(2), pick(2), pick(2), pick(2), pick(2), pick(6)).prop_map(
        |(missing, replaced, not_replaced, extractions, no_space, pontics, implants, abutments)| {
            (Chart { missing, replaced, not_replaced, extractions, no_space, pontics, implants }, abutments)
        },
    )
}

fn mirrored(teeth: &[Tooth]) -> Vec<Tooth> {
    teeth.iter().map(|t| t.mirrored()).collect()
}

proptest! {
    #[test]
    fn the_mirror_image_keeps_the_class((chart, abutments) in some_chart()) {
        let image = Chart {
            missing: mirrored(&chart.missing),
            replaced: mirrored(&chart.replaced),
            not_replaced: mirrored(&chart.not_replaced),
            extractions: mirrored(&chart.extractions),
            no_space: mirrored(&chart.no_space),
            pontics: mirrored(&chart.pontics),
            implants: mirrored(&chart.implants),
        };
        prop_assert_eq!(
            kennedy(&chart, Arch::Mandible, &abutments),
            kennedy(&image, Arch::Mandible, &mirrored(&abutments))
        );
    }

    /// A modification that loses or gains a tooth at its border, without closing, joining another space or opening
    /// at the end, leaves the class and the number of modifications.
    #[test]
    fn the_size_of_a_modification_never_matters(missing in proptest::sample::subsequence(
        teeth_of(Arch::Mandible).filter(|t| t.place() < 8).collect::<Vec<_>>(), 1..=12), pick in 0usize..8) {
        let arch = Arch::Mandible;
        let chart = Chart { missing, ..Chart::default() };
        let before = spans(&chart, arch, &[]);
        let Kennedy::Class { class, modifications } = kennedy(&chart, arch, &[]) else { return Ok(()) };
        // A single bounded space decides the class itself: it is no modification.
        let bounded: Vec<&SpanTeeth> = before.iter().filter(|s| s.kind == SpanKind::Bounded).collect();
        if modifications == 0 || bounded.is_empty() {
            return Ok(());
        }
        let span = bounded[pick % bounded.len()];
        for border in [span.left, span.right].into_iter().flatten() {
            let mut wider = chart.clone();
            wider.missing.push(border);
            if spans(&wider, arch, &[]).len() == before.len()
                && spans(&wider, arch, &[]).iter().filter(|s| s.kind == SpanKind::Bounded).count() == bounded.len() {
                prop_assert_eq!(kennedy(&wider, arch, &[]), Kennedy::Class { class, modifications });
            }
        }
        if span.teeth.len() > 1 {
            let mut narrower = chart.clone();
            narrower.missing.retain(|t| *t != span.teeth[0]);
            prop_assert_eq!(kennedy(&narrower, arch, &[]), Kennedy::Class { class, modifications });
        }
    }
}
