//! Verdicts on barrels whose undercut is known: belly 3.5 mm over the plate, wall of 6 mm radius, margin 1.5 mm up.

use super::*;
use crate::case::{
    Alloy, Arch, Case, CaseFile, Chart, Clasp, ClaspKind, PathWanted, Rest, RestPlace, Scan, Scans, Surface,
};
use crate::load::{Format, Import};
use crate::mesh::Mesh;
use crate::phantom::solids::{self, Barrel};
use crate::report::{GaugeShown, Zone};
use crate::rules::Rules;
use crate::space::{Direction, Motion, Point, Tilt, Vector};
use crate::units::LengthUnit;

const BARREL: Barrel = Barrel { belly_mm: 3.5, belly_at_mm: 3.5, height_mm: 6.0, wall_mm: 6.0 };
const MARGIN_MM: f64 = 1.5;

fn tooth(n: u8) -> Tooth {
    Tooth::fdi(n).unwrap()
}

/// A mandible of three barrels on a plate, labelled as crowns above 1.5 mm; missing 36, 37 and 45 to 47.
fn case(edit: impl FnOnce(&mut CaseFile)) -> Case {
    let (mut vertices, mut faces, mut labels) = (Vec::new(), Vec::new(), Vec::new());
    let barrel = solids::barrel_on_plate(&BARREL, 3.55, 0.25, false);
    let base = solids::plate([60.0, 40.0], 2.0).moved(&Motion::translation(0.0, 0.0, -0.3));
    let teeth = [(34, -18.0, 2.2), (35, -20.0, -5.0), (44, 18.0, 2.2)];
    for (number, part) in std::iter::once((0, base))
        .chain(teeth.map(|(n, x, y)| (n, barrel.moved(&Motion::translation(x, y, 0.0)))))
    {
        let first = vertices.len() as u32;
        labels.extend(part.vertices().iter().map(|p| if p.z >= MARGIN_MM { number } else { 0 }));
        vertices.extend_from_slice(part.vertices());
        faces.extend(part.faces().iter().map(|f| f.map(|v| v + first)));
    }
    let mesh = Mesh::new(vertices, faces).unwrap();
    let mut file = CaseFile::bare("barrels", Arch::Mandible, Scans::default());
    let missing = [36, 37, 45, 46, 47].map(tooth).to_vec();
    file.chart = Some(Chart { missing, ..Chart::default() });
    let top = |x, y| Point::new(x, y, 6.0);
    file.marks.occlusal_plane = Some([top(0.0, 18.0), top(-20.0, -5.0), top(20.0, -5.0)]);
    file.marks.midline = Some(top(0.0, 20.0));
    edit(&mut file);
    let import = Import {
        file_triangles: mesh.faces().len(),
        file_vertices: mesh.vertices().len(),
        welded_of: (0..mesh.vertices().len() as u32).collect(),
        file_face_of: (0..mesh.faces().len() as u32).collect(),
        mesh,
        format: Format::StlBinary,
        unit: LengthUnit::Mm,
        colours: None,
        properties: vec![],
        defects: vec![],
    };
    let scan = Scan { file: "barrels.stl".into(), sha256: String::new(), import, labels: Some(labels) };
    Case::new(file, Some(scan), None)
}

fn checked(edit: impl FnOnce(&mut CaseFile)) -> Part {
    let case = case(edit);
    run(&Facts::new(&case, &Rules::standard()).unwrap())
}

fn clasp(number: u8, surface: Surface, kind: ClaspKind) -> Clasp {
    Clasp { tooth: tooth(number), surface, kind, alloy: Some(Alloy::CobaltChromium), arm_mm: Some(15.0) }
}

fn verdict(part: &Part, code: &str, number: u8) -> Option<Verdict> {
    part.findings.iter().find(|f| f.code == code && f.place.tooth == Some(tooth(number))).map(|f| f.verdict)
}

#[test]
fn abutments_without_clasps_are_reported_and_want_nothing() {
    let part = checked(|_| {});
    // The teeth that border the spans: 35 and 44.
    let named: Vec<u8> = part.abutments.iter().map(|a| a.tooth.number()).collect();
    assert_eq!(named, [44, 35]);
    // 0.25 mm lies 0.3 mm above the margin: nothing to use, unless a tip may lie so near it.
    assert_eq!(verdict(&part, "no_usable_undercut", 35), Some(Verdict::Caution));
    let nearer = Rules::changed(&[("tip_above_margin_mm".into(), 0.1)]).unwrap();
    let allowed = run(&Facts::new(&case(|_| {}), &nearer).unwrap());
    assert_eq!(verdict(&allowed, "abutment_undercut", 35), Some(Verdict::Fits));
    assert_eq!(verdict(&allowed, "no_usable_undercut", 35), None);
    assert_eq!(verdict(&part, "gauges_near_margin", 35), Some(Verdict::Caution));
    assert!(!crate::report::asks_attention(&part.findings), "{:?}", part.findings);
    for abutment in &part.abutments {
        assert_eq!(abutment.surfaces.len(), 4);
        assert!(!abutment.survey_line_mm.is_empty() && !abutment.guiding_planes.is_empty());
        for surface in &abutment.surfaces {
            let deepest = surface.deepest_mm.unwrap();
            // A crown ends within one row of triangles of its lowest labelled vertices.
            let (least, most) = (BARREL.depth_mm(MARGIN_MM), BARREL.depth_mm(MARGIN_MM - 0.26));
            assert!(deepest > least - 0.02 && deepest < most + 0.02, "{deepest}");
            let reached: Vec<f64> = surface.gauges.iter().filter(|g| g.reached).map(|g| g.gauge_mm).collect();
            assert!(reached.contains(&0.25) && !reached.contains(&0.75), "{reached:?}");
            let first: &GaugeShown = &surface.gauges[0];
            let below = BARREL.gauge_below_mm(0.25).unwrap();
            assert!((first.below_survey_line_mm.unwrap() - below).abs() < 0.05);
            assert!((first.above_margin_mm.unwrap() - (3.5 - MARGIN_MM - below)).abs() < 0.3);
        }
    }
    assert!(part.findings.iter().all(|f| f.code != "no_usable_undercut" || f.says.contains("invented")));
}

#[test]
fn each_clasp_is_told_whether_it_finds_its_undercut() {
    let part = checked(|f| {
        f.design.clasps = vec![
            clasp(35, Surface::Buccal, ClaspKind::CastCircumferential),
            clasp(35, Surface::Lingual, ClaspKind::WroughtWire),
            clasp(44, Surface::Buccal, ClaspKind::Bar),
        ];
        f.design.rests = vec![Rest { tooth: tooth(35), place: RestPlace::Distal }];
    });
    let of = |surface: Surface| {
        part.findings.iter().find(|f| {
            f.code == "clasp_undercut" && f.place.surface == Some(surface) && f.place.tooth == Some(tooth(35))
        })
    };
    assert_eq!(of(Surface::Buccal).unwrap().verdict, Verdict::Fits);
    assert_eq!(of(Surface::Lingual).unwrap().verdict, Verdict::Short);
    assert!(of(Surface::Buccal).unwrap().says.contains("mesial third"));
    assert_eq!(verdict(&part, "clasp_undercut", 44), Some(Verdict::Tight));
    // 0.25 lies 1.71 mm below the belly, so 0.3 mm above the margin.
    assert_eq!(verdict(&part, "undercut_near_margin", 35), Some(Verdict::Caution));
    assert_eq!(verdict(&part, "reciprocation", 35), Some(Verdict::Caution));
    let buccal = part.abutments.iter().find(|a| a.tooth == tooth(35)).unwrap().surfaces[0].clone();
    assert_eq!(buccal.gauges[0].zone, Some(Zone::Mesial));
    // The wire's undercut, the bar's, and the bar's sulcus.
    assert_eq!(part.questions.len(), 3);
}

#[test]
fn a_path_that_leans_far_makes_undercut_that_does_not_hold() {
    let part = checked(|f| {
        f.path = PathWanted::Tilt(Tilt { anterior_deg: 0.0, left_deg: 22.0 });
        f.design.clasps = vec![clasp(35, Surface::Lingual, ClaspKind::WroughtWire)];
    });
    let code = |c: &str| part.findings.iter().find(|f| f.code == c);
    assert_eq!(code("path_leans_far").unwrap().verdict, Verdict::Caution);
    assert_eq!(code("clasp_undercut").unwrap().verdict, Verdict::Fits);
    assert_eq!(code("undercut_by_tilt_alone").unwrap().verdict, Verdict::Caution);
}

#[test]
fn what_cannot_be_measured_says_why_and_what_would_settle_it() {
    let into = Direction::new_unchecked(-Vector::z());
    let part = checked(|f| f.path = PathWanted::Withdrawal(into));
    assert_eq!(part.findings.len(), 1);
    assert_eq!(
        (part.findings[0].code.as_str(), part.findings[0].verdict),
        ("path_into_tissue", Verdict::NotMeasured)
    );
    let part = checked(|f| f.design.abutments = vec![tooth(33)]);
    assert_eq!(part.findings[0].verdict, Verdict::NotMeasured);
    assert!(part.findings[0].settled_by.is_some());
    let part = checked(|f| f.chart = None);
    assert!(part.findings.iter().all(|f| f.verdict == Verdict::NotMeasured && f.settled_by.is_some()));
}

#[test]
fn a_bar_clasp_on_a_barrel_finds_no_sulcus_and_its_far_side_comes_last() {
    let part = checked(|f| f.design.clasps = vec![clasp(35, Surface::Buccal, ClaspKind::Bar)]);
    // 1.5 mm of wall below the margin, then the plate, which is as flat as a floor: too short for the arm.
    assert_eq!(verdict(&part, "bar_sulcus", 35), Some(Verdict::Short));
    assert_eq!(verdict(&part, "approach_arm_undercut", 35), Some(Verdict::NotMeasured));
    let shown = &part.abutments.iter().find(|a| a.tooth == tooth(35)).unwrap().clasps[0];
    let arm = shown.approach_arm.as_ref().unwrap();
    assert!(arm.undercut_mm.is_none() && arm.sulcus_mm > 1.2 && arm.sulcus_mm < 3.0, "{arm:?}");
    // The bar's 0.50 mm lie below the margin; the deepest place above it stands for the tip.
    let opposite = shown.reciprocal.as_ref().unwrap();
    let held = 2.0 * (2.0 * BARREL.wall_mm * 0.02f64 - 0.02 * 0.02).sqrt();
    assert!((opposite.holding_travel_mm.unwrap() - held).abs() < 0.15, "{opposite:?} {held}");
    assert!(opposite.tip_travel_mm.unwrap() > 1.7);
    assert_eq!(opposite.reached, Some(crate::report::Reached::Last));
    assert_eq!(verdict(&part, "reciprocation", 35), Some(Verdict::Caution));
}

#[test]
fn an_abutment_without_usable_undercut_says_so_with_and_without_a_clasp() {
    // 0.25 mm lies 0.3 mm above the margin: too near it for a tip.
    for with_clasp in [false, true] {
        let part = checked(|f| {
            if with_clasp {
                f.design.clasps = vec![clasp(35, Surface::Buccal, ClaspKind::CastCircumferential)];
            }
        });
        assert_eq!(verdict(&part, "no_usable_undercut", 35), Some(Verdict::Caution));
        let says = &part.findings.iter().find(|f| f.code == "no_usable_undercut").unwrap().says;
        assert!(says.contains("too near the margin"), "{says}");
    }
    let part = checked(|_| {});
    let areas = |a: &crate::report::AbutmentShown| (a.suprabulge_mm2.unwrap(), a.infrabulge_mm2.unwrap());
    for abutment in &part.abutments {
        // The wall from 1.5 to 3.5 mm, and from there to the flat top with it.
        let (above, below) = areas(abutment);
        assert!((36.0..50.0).contains(&below) && (72.0..92.0).contains(&above), "{above} {below}");
    }
}

#[test]
fn a_barrel_beside_a_span_is_told_what_its_circle_lacks_to_a_plane() {
    let part = checked(|_| {});
    let of = |n: u8| part.preparation.iter().find(|p| p.tooth == tooth(n)).unwrap();
    for number in [35, 44] {
        let p = of(number);
        // Behind both nothing stands: distal extensions.
        let height_mm = p.height_mm.unwrap();
        assert_eq!(height_mm, 1.5);
        let wanted = BARREL.wall_mm - (BARREL.wall_mm * BARREL.wall_mm - height_mm * height_mm / 4.0).sqrt();
        assert!((p.removal_mm - wanted).abs() < 0.015, "{} {wanted}", p.removal_mm);
        assert!((p.width_mm.unwrap() - 0.333 * 7.0).abs() < 0.05);
        assert!(p.gains.contains("enamel"));
    }
}
