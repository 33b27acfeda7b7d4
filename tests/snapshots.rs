//! The sheet and the JSON of one fixed report, word for word. A change of wording shows here and is looked at.

#![allow(clippy::unwrap_used)] // a test may fail loudly anywhere

use saddleroom::case::{Arch, SpanKind, Surface, Tooth};
use saddleroom::estimate::{Estimate, NotMeasured, Source};
use saddleroom::mesh::audit::DefectKind;
use saddleroom::render::page::Page;
use saddleroom::render::words::Manner;
use saddleroom::report::*;
use saddleroom::rules::Rules;
use saddleroom::units::Unit;
use saddleroom::{checks, render};

fn tooth(fdi: u8) -> Tooth {
    Tooth::fdi(fdi).unwrap()
}

fn findings() -> Vec<Finding> {
    let rules = Rules::standard();
    let room = Estimate::new(7.618, vec![]).with(Source::Scan, 0.06).with(Source::Articulation, 0.10);
    let ridge = [36, 37].map(tooth);
    vec![
        Finding::new(
            "classification",
            "kennedy_class",
            Verdict::Caution,
            "Kennedy class II, modification 1: 36, 37 missing, no tooth behind; 45 missing, teeth at both ends.",
        ),
        Finding::new(
            "room",
            "attachment_room",
            Verdict::Fits,
            "Room over the ridge behind 35: 7.62 mm (±0.23), wanted 5.0 mm: fits.",
        )
        .figure(&room, Unit::Mm)
        .limit(rules.get("attachment_room_mm").shown())
        .at(Where {
            span: Some(ridge.to_vec()),
            words: Some("4.0 mm behind 35".into()),
            ..Where::default()
        }),
        Finding::new(
            "undercut",
            "tip_above_margin",
            Verdict::Tight,
            "The 0.25 mm gauge rests 1.05 mm above the margin of 35, buccal.",
        )
        .figure(&Estimate::new(1.05, vec![]).with(Source::Scan, 0.06), Unit::Mm)
        .limit(rules.get("tip_above_margin_mm").shown())
        .at(Where::tooth(tooth(35)).on(Surface::Buccal)),
        Finding::not_measured(
            "connector",
            "no_sulcus",
            "Depth for a lingual bar",
            &NotMeasured::new("the floor of the mouth is not on the scan", "[probe] lingual_depth_mm"),
        ),
        Finding::new(
            "tori",
            "possible_torus",
            Verdict::Possible,
            "A rise of 1.10 mm lingual of 34 may be a torus.",
        )
        .settled_by("a finger in the mouth"),
    ]
}

fn report() -> Report {
    Report {
        schema: "saddleroom/report/1".into(),
        tool: Tool { name: "saddleroom".into(), version: "0.0.0".into() },
        case: CaseNamed { id: "oban & <sons>".into(), restored_arch: Arch::Mandible },
        inputs: vec![Input {
            role: "mandible".into(),
            file: "mandible.stl".into(),
            sha256: "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08".into(),
            format: "stl_binary".into(),
            triangles: 1000,
            vertices: 502,
            unit_scale: 1.0,
            extent_mm: Some([64.5, 51.0, 26.0]),
            defects: vec![DefectShown {
                kind: DefectKind::Hole,
                count: 2,
                at_mm: Some([1.0, -2.0, 3.0]),
                says: "2 holes inside the border".into(),
                mended: false,
            }],
        }],
        settings: None,
        frame: None,
        articulation: Articulation {
            state: ArticulationState::Occluding,
            contacts: Some(6),
            deepest_overlap_mm: Some(0.04),
            least_gap_mm: None,
            at_mm: None,
        },
        chart: Some(ChartShown {
            missing: vec![tooth(36), tooth(37), tooth(45)],
            found_by: FoundBy::Case,
            kennedy: Some(KennedyShown { class: "II".into(), modifications: 1 }),
            state: "classified".into(),
        }),
        teeth: vec![],
        path: None,
        abutments: vec![AbutmentShown {
            surfaces: vec![SurfaceShown {
                surface: Surface::Buccal,
                deepest_mm: Some(0.41),
                deepest_at_mm: Some([1.0, 2.0, 3.0]),
                gauges: vec![
                    GaugeShown {
                        gauge_mm: 0.25,
                        reached: true,
                        below_survey_line_mm: Some(1.5),
                        above_margin_mm: Some(1.05),
                        at_mm: Some([1.0, 2.0, 3.0]),
                        zone: Some(Zone::Middle),
                        convergence_deg: Some(12.0),
                        along_normal_mm: Some(0.25),
                        near_margin: Some(false),
                        by_tilt_alone: Some(false),
                    },
                    GaugeShown {
                        gauge_mm: 0.5,
                        reached: false,
                        below_survey_line_mm: None,
                        above_margin_mm: None,
                        at_mm: None,
                        zone: None,
                        convergence_deg: None,
                        along_normal_mm: None,
                        near_margin: None,
                        by_tilt_alone: None,
                    },
                ],
            }],
            ..AbutmentShown::of(tooth(35))
        }],
        spans: vec![SpanShown {
            fit: None,
            denture_teeth: vec![],
            teeth_length: None,
            beyond_plane: vec![],
            excursions: None,
            teeth: vec![tooth(36), tooth(37)],
            kind: SpanKind::DistalExtension,
            crest_mm: vec![[0.0, 0.0, 0.0], [0.0, 10.0, 0.0]],
            profile: vec![
                Station {
                    s_mm: 0.0,
                    at_mm: [0.0, 0.0, 0.0],
                    along_opening_mm: Some(8.0),
                    nearest_mm: Some(7.9),
                    opposing: Opposing::Tooth,
                },
                Station {
                    s_mm: 10.0,
                    at_mm: [0.0, 10.0, 0.0],
                    along_opening_mm: None,
                    nearest_mm: None,
                    opposing: Opposing::None,
                },
            ],
            least: Some(LeastShown {
                along_opening_mm: Some(8.0),
                nearest_mm: Some(7.9),
                at_mm: Some([0.0, 0.0, 0.0]),
            }),
            site: None,
            ridge: vec![RidgeStation {
                s_mm: 1.0,
                at_mm: [0.0, 1.0, 0.0],
                height_buccal_mm: Some(6.2),
                height_lingual_mm: None,
                width_3_mm: Some(7.5),
                width_5_mm: Some(9.0),
                height_uncertainty_mm: Some(0.2),
                width_uncertainty_mm: Some(0.3),
            }],
            end: Some(RidgeEndShown {
                kind: "retromolar_pad".into(),
                at_mm: [0.0, 10.0, 0.0],
                confidence: 0.8,
            }),
        }],
        tori: vec![],
        blockout: vec![],
        connectors: vec![],
        mechanics: None,
        preparation: vec![],
        questions: vec![Question {
            to: "dentist".into(),
            text: "How deep is the floor of the mouth at 31 with the tongue raised?".into(),
            because: "the scan does not record it in function".into(),
        }],
        findings: findings(),
        cautions: vec!["This sheet measures and compares; it prescribes nothing.".into()],
    }
}

#[test]
fn the_sheet_reads_as_it_did() {
    let text = render::text::report(&report(), &checks::sections(), &Manner::default());
    insta::assert_snapshot!("sheet", anstream::adapter::strip_str(&text).to_string());
}

#[test]
fn the_json_reads_as_it_did() {
    let json = String::from_utf8(render::json::bytes(&report())).unwrap();
    insta::assert_snapshot!("json", json);
    let back: Report = serde_json::from_str(&json).unwrap();
    assert_eq!(back, report());
}

#[test]
fn the_page_says_what_the_sheet_says() {
    let (report, sections) = (report(), checks::sections());
    let manner = Manner::default();
    let page = render::page::html(&Page {
        report: &report,
        sections: &sections,
        stills: &[],
        drawings: &[],
        space: "",
        manner,
    });
    for words in [
        "Room over the ridge behind 35: 7.62 mm",
        "not measured",
        "the scan does not record it in function",
        "oban &amp; &lt;sons&gt;",
    ] {
        assert!(page.contains(words), "{words}");
    }
    assert!(
        !page.contains("<sons>")
            && !page.contains("<script")
            && !page.contains("http://")
            && !page.contains("https://")
    );
    let order =
        ["The answer", "Figures, with where and why", "For the dentist", "The full record", "Cautions"];
    let places: Vec<usize> = order.iter().map(|w| page.find(&format!("<h2>{w}")).unwrap()).collect();
    assert!(places.is_sorted(), "{places:?}");
}
