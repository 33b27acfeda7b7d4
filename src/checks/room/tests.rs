//! Verdicts of room on a pair of plates that touch in four cusps, 5.05 mm apart or as a test says.

use super::*;
use crate::case::{Arch, AttachmentRest, Case, CaseFile, Chart, HingeAxes, JointStop, Scan, Scans, Tooth};
use crate::load::{Format, Import};
use crate::measure::shapes::sheet;
use crate::mesh::Mesh;
use crate::report::{SiteShown, Verdict};
use crate::rules::Rules;
use crate::space::Point;
use crate::units::LengthUnit;

fn scan(mesh: Mesh) -> Option<Scan> {
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
    Some(Scan { file: "plate.stl".into(), sha256: String::new(), import, labels: None })
}

/// A mandible as a level plate with four cusps `gap` high at its corners, under a plate at that height. Missing: 36
/// and 37, the crest along the patient's left.
fn pair(gap: f64, edit: impl FnOnce(&mut CaseFile)) -> Case {
    let cusp = move |x: f64, y: f64| {
        let r = crate::space::hypot(x.abs() - 25.0, y.abs() - 25.0);
        gap * (1.0 - r / 2.0).max(0.0)
    };
    let mut file = CaseFile::bare("plates", Arch::Mandible, Scans::default());
    file.chart =
        Some(Chart { missing: [36, 37].map(|n| Tooth::fdi(n).unwrap()).to_vec(), ..Chart::default() });
    file.marks.occlusal_plane = Some([
        Point::new(0., 20., gap + 0.1),
        Point::new(20., -20., gap + 0.1),
        Point::new(-20., -20., gap + 0.1),
    ]);
    file.marks.midline = Some(Point::new(0., 25., gap));
    file.marks.crests = vec![(0..=40).map(|k| Point::new(-15.0, -0.5 * f64::from(k), 0.0)).collect()];
    edit(&mut file);
    let mandible = scan(sheet(60.0, 0.5, true, cusp));
    Case::new(file, mandible, scan(sheet(60.0, 0.6, false, |_, _| gap)))
}

fn checked(case: &Case) -> Part {
    run(&Facts::new(case, &Rules::standard()).unwrap())
}

/// Codes and verdicts, without the statements on denture teeth, fit and motion, which have tests of their own.
fn verdicts(part: &Part) -> Vec<(&str, Verdict)> {
    let of_their_own =
        ["denture_tooth_height", "denture_teeth_too_long", "denture_tooth_corridor", "room_in_excursions"];
    let fit = ["attachment_fit", "hinge_swing", "hinge_axes", "joint_stop_not_stated"];
    part.findings
        .iter()
        .map(|f| (f.code.as_str(), f.verdict))
        .filter(|(code, _)| !of_their_own.contains(code) && !fit.contains(code))
        .collect()
}

fn found<'p>(part: &'p Part, code: &str) -> &'p crate::report::Finding {
    part.findings.iter().find(|f| f.code == code).unwrap()
}

fn own(parts_mm: [f64; 4], joint: Option<JointStop>) -> crate::case::Attachment {
    let axes = HingeAxes::SquareToCrest;
    AttachmentRest { mesh: None, axes, joint, axis_at_mm: None, parts_mm }.sized([3.0, 4.0, 3.0])
}

#[test]
fn the_height_for_denture_teeth_is_judged_along_the_whole_span_and_the_last_tooth_may_lack_length() {
    let part = checked(&pair(4.0, |_| {}));
    let height = found(&part, "denture_tooth_height");
    assert_eq!(height.verdict, Verdict::Caution);
    let span = &part.spans[0];
    let teeth: Vec<u8> = span.denture_teeth.iter().map(|t| t.tooth.number()).collect();
    assert_eq!(teeth, [36, 37]);
    assert!(span.denture_teeth.iter().all(|t| (t.height_mm.unwrap() - 4.0).abs() < 1e-6));
    // A crest of 20 mm for crowns of 11 and 10.5 mm: within what average widths tell.
    assert!((span.denture_teeth[1].beyond_mm - 1.5).abs() < 1e-6, "{:?}", span.denture_teeth);
    assert!(part.findings.iter().all(|f| f.code != "denture_teeth_too_long"));
    let short = checked(&pair(6.0, |f| f.marks.crests[0].truncate(31)));
    assert!(found(&short, "denture_teeth_too_long").says.contains("37 lacks 6.50 mm"));
}

#[test]
fn the_attachment_is_fitted_with_its_stack_its_freedom_and_the_swing_of_its_hinge() {
    let part = checked(&pair(8.0, |f| {
        f.attachment = Some(own([2.0, 0.5, 0.5, 0.0], Some(JointStop::TowardTissue)));
        f.design.request = Some(Request::Hinge);
    }));
    let span = &part.spans[0];
    let stack = &span.site.as_ref().unwrap().stack;
    let spare: Vec<f64> = stack.iter().map(|p| p.spare_mm).collect();
    assert_eq!(spare, [7.5, 4.5, 4.0, 2.0, 2.0]);
    let fit = span.fit.as_ref().unwrap();
    assert_eq!(found(&part, "attachment_fit").verdict, Verdict::Fits);
    assert!((fit.spare_mm - 2.0).abs() < 1e-6 && (fit.over_mm - 4.5).abs() < 1e-6);
    assert!(fit.meets.iter().all(|m| !m.crossing), "{:?}", fit.meets);
    let hinge = fit.hinge.as_ref().unwrap();
    assert_eq!((hinge.stop.as_deref(), hinge.swings.len()), (Some("toward_tissue"), 1));
    assert!(hinge.to_plane_deg < 0.1 && hinge.to_other_deg.is_none());
    let unsaid = checked(&pair(8.0, |f| {
        f.attachment = Some(own([2.0, 0.5, 0.5, 0.0], None));
        f.design.request = Some(Request::Hinge);
    }));
    assert_eq!(found(&unsaid, "joint_stop_not_stated").verdict, Verdict::Ask);
    assert_eq!(unsaid.spans[0].fit.as_ref().unwrap().hinge.as_ref().unwrap().swings.len(), 2);
}

#[test]
fn a_pair_apart_is_judged_where_the_case_says_that_it_stands_as_it_shall() {
    let apart = |as_scanned: bool| {
        let mut case = pair(6.0, |f| f.relation.as_scanned = as_scanned);
        let motion = crate::space::Motion::translation(0.0, 0.0, 2.0);
        let scan = case.maxilla.as_mut().unwrap();
        scan.import.mesh = scan.import.mesh.moved(&motion);
        case
    };
    assert_eq!(verdicts(&checked(&apart(false)))[0].1, Verdict::NotMeasured);
    let judged = checked(&apart(true));
    assert!((site(&judged).room_mm - 8.0).abs() < 1e-6);
}

#[test]
fn a_given_motion_brings_the_opposing_arch_back() {
    let mut case = pair(6.0, |f| {
        f.relation.opposing_motion = Some(crate::space::Motion::translation(0.0, 0.0, -30.0));
    });
    let scan = case.maxilla.as_mut().unwrap();
    scan.import.mesh = scan.import.mesh.moved(&crate::space::Motion::translation(0.0, 0.0, 30.0));
    let part = checked(&case);
    assert_eq!(verdicts(&part), [("attachment_room", Verdict::Fits)]);
    assert!((site(&part).room_mm - 6.0).abs() < 1e-6);
}

fn site(part: &Part) -> SiteShown {
    part.spans[0].site.clone().unwrap()
}

#[test]
fn five_millimetres_and_a_half_tenth_are_tight() {
    let part = checked(&pair(5.05, |_| {}));
    assert_eq!(verdicts(&part), [("attachment_room", Verdict::Tight)]);
    assert!(
        (site(&part).room_mm - 5.05).abs() < 1e-6 && (site(&part).pointwise_mm.unwrap() - 5.05).abs() < 1e-6
    );
    let finding = &part.findings[0];
    assert!(finding.says.contains("common practice, no published source"), "{}", finding.says);
    assert!(finding.place.words.as_ref().unwrap().contains("span 36-37"));
    assert!((0.10..0.20).contains(&finding.value.as_ref().unwrap().uncertainty));
    assert_eq!(part.questions.len(), 1);
}

#[test]
fn ample_room_fits_and_little_is_short() {
    assert_eq!(verdicts(&checked(&pair(6.0, |_| {}))), [("attachment_room", Verdict::Fits)]);
    let short = checked(&pair(4.0, |_| {}));
    assert_eq!(verdicts(&short), [("attachment_room", Verdict::Short)]);
    let stations = &short.spans[0].profile;
    assert!(stations.windows(2).all(|w| w[1].s_mm - w[0].s_mm <= 0.5 + 1e-6));
    assert!(stations.iter().all(|s| (s.along_opening_mm.unwrap() - 4.0).abs() < 1e-6));
    assert!(stations.iter().all(|s| s.opposing == Opposing::Tooth));
}

#[test]
fn own_parts_are_a_finding_of_their_own_and_both_are_shown() {
    let rest = AttachmentRest {
        mesh: None,
        axes: HingeAxes::SquareToCrest,
        joint: None,
        axis_at_mm: None,
        parts_mm: [2.5, 0.5, 0.5, 0.0],
    };
    let own = rest.sized([3.0, 4.0, 3.0]);
    let part = checked(&pair(6.0, |f| f.attachment = Some(own)));
    assert_eq!(verdicts(&part), [("attachment_room", Verdict::Fits), ("own_parts", Verdict::Short)]);
    let site = site(&part);
    assert_eq!((site.footprint_mm, site.required_mm), ([4.0, 3.0], Some(6.5)));
    assert!((site.spare_mm.unwrap() + 0.5).abs() < 1e-6);
}

#[test]
fn a_rigid_design_without_attachment_gets_a_statement() {
    let part = checked(&pair(4.0, |f| f.design.request = Some(Request::Rigid)));
    assert_eq!(verdicts(&part), [("attachment_room", Verdict::Caution)]);
}

#[test]
fn arches_apart_get_no_verdict() {
    let mut case = pair(6.0, |_| {});
    let motion = crate::space::Motion::translation(0.0, 0.0, 40.0);
    let scan = case.maxilla.as_mut().unwrap();
    scan.import.mesh = scan.import.mesh.moved(&motion);
    let part = checked(&case);
    assert_eq!(verdicts(&part), [("not_in_occlusion", Verdict::NotMeasured)]);
    assert!(part.findings[0].says.contains("40.00 mm apart"), "{}", part.findings[0].says);
    assert!(part.spans[0].site.is_none());
    case.maxilla = None;
    assert_eq!(verdicts(&checked(&case)), [("not_in_occlusion", Verdict::NotMeasured)]);
}

#[test]
fn over_an_opposing_ridge_it_never_fits() {
    let missing = [36, 37, 26, 27].map(|n| Tooth::fdi(n).unwrap());
    let over_ridge = |gap: f64, plane: Option<f64>| {
        let part = checked(&pair(gap, |f| {
            f.chart = Some(Chart { missing: missing.to_vec(), ..Chart::default() });
            f.marks.occlusal_plane =
                f.marks.occlusal_plane.map(|m| m.map(|p| Point::new(p.x, p.y, plane.unwrap_or(p.z))));
        }));
        assert!(part.spans[0].profile.iter().all(|s| s.opposing == Opposing::Ridge));
        part
    };
    // Marked 8 mm above the tissue there is room up to the plane; what the opposing denture takes is not known.
    let ample = over_ridge(12.0, Some(12.1));
    assert_eq!(verdicts(&ample), [("attachment_room", Verdict::Caution)]);
    let low = over_ridge(12.0, Some(4.0));
    assert_eq!(verdicts(&low), [("attachment_room", Verdict::Short)]);
    assert!((site(&low).room_mm - 4.0).abs() < 1e-6);
    // What stands below the plane ends the room before it.
    let grown = over_ridge(4.6, Some(8.0));
    assert_eq!(verdicts(&grown), [("attachment_room", Verdict::Short)]);
    assert!((site(&grown).room_mm - 4.6).abs() < 1e-6, "{}", site(&grown).room_mm);
    assert!(
        grown.findings[0].says.contains("below the planned occlusal plane"),
        "{}",
        grown.findings[0].says
    );
}

#[test]
fn no_crest_and_no_opposing_surface_are_named() {
    let part = checked(&pair(6.0, |f| f.marks.crests.clear()));
    assert_eq!(verdicts(&part), [("no_crest", Verdict::NotMeasured)]);
    assert!(part.findings[0].settled_by.as_ref().unwrap().contains("crests"));
    let mut case = pair(6.0, |_| {});
    let scan = case.maxilla.as_mut().unwrap();
    let whole = scan.import.mesh.clone();
    scan.import.mesh = whole.part(|f| whole.face_centre(f).x > -5.0).0;
    let part = checked(&case);
    assert_eq!(verdicts(&part), [("no_opposing_surface", Verdict::NotMeasured)]);
    assert!(part.findings[0].says.contains("no opposing surface here"));
    assert!(part.spans[0].profile.iter().all(|s| s.along_opening_mm.is_none()));
}

#[test]
fn crest_without_opposing_surface_in_part_is_said_and_counts_as_no_room() {
    let mut case = pair(6.0, |_| {});
    let scan = case.maxilla.as_mut().unwrap();
    let whole = scan.import.mesh.clone();
    scan.import.mesh = whole.part(|f| whole.face_centre(f).x > -5.0 || whole.face_centre(f).y > -15.0).0;
    let part = checked(&case);
    let wanted = [("attachment_room", Verdict::Fits), ("no_opposing_surface_in_part", Verdict::NotMeasured)];
    assert_eq!(verdicts(&part), wanted);
    let says = &found(&part, "no_opposing_surface_in_part").says;
    assert!(says.contains("no opposing surface here: 15.") && says.contains("not measured at 37."), "{says}");
    let teeth = &part.spans[0].denture_teeth;
    assert!((teeth[0].height_mm.unwrap() - 6.0).abs() < 1e-6 && teeth[1].height_mm.is_none(), "{teeth:?}");
}

#[test]
fn a_hole_over_the_site_is_no_room_at_rest_nor_in_motion() {
    // The plane so near to the tissue that an incisal point is found, from which the joint is laid out.
    let plane = [(0.0, 20.0), (20.0, -20.0), (-20.0, -20.0)].map(|(x, y)| Point::new(x, y, 3.0));
    let whole = checked(&pair(6.0, |f| f.marks.occlusal_plane = Some(plane)));
    let moved = whole.spans[0].excursions.as_ref().unwrap();
    assert!(moved.positions.iter().all(|p| p.room_mm.is_some_and(|mm| mm > 5.5)), "{moved:?}");
    let mut case = pair(6.0, |f| {
        f.marks.occlusal_plane = Some(plane);
        f.attachment = Some(own([2.0, 0.0, 0.0, 0.0], None));
    });
    let scan = case.maxilla.as_mut().unwrap();
    let whole = scan.import.mesh.clone();
    let hole = Point::new(-15.0, -4.5, 6.0);
    scan.import.mesh = whole.part(|f| (whole.face_centre(f) - hole).norm() > 3.0).0;
    let part = checked(&case);
    let room = found(&part, "attachment_room");
    assert_eq!(room.verdict, Verdict::NotMeasured);
    assert!(room.says.contains("what is missing there is not counted as room"), "{}", room.says);
    assert!(room.settled_by.as_ref().unwrap().contains("without a hole"));
    let moved = part.spans[0].excursions.as_ref().unwrap();
    assert!(
        moved.positions.iter().all(|p| p.room_mm.is_none()) && moved.least_room_mm.is_none(),
        "{moved:?}"
    );
    assert!(!found(&part, "room_in_excursions").says.contains("rigid body"));
    let fit = found(&part, "attachment_finds_no_place");
    assert_eq!(fit.verdict, Verdict::NotMeasured);
    assert!(
        fit.settled_by.as_ref().unwrap().contains("a scan of the opposing arch that reaches over the site")
    );
}

#[test]
fn a_footprint_wider_than_its_ridge_is_pointed_out_with_the_ridges_width() {
    // A parabola, 10 mm wide 3 mm under its crest, with a sulcus on either side, and the cusps of the plates.
    let form = |x: f64, y: f64| {
        let aside = (x + 15.0).abs();
        let ridge =
            if aside < 7.0 { -0.12 * aside * aside } else { -5.88 * (1.0 - (aside - 7.0) / 2.0).max(0.0) };
        let r = crate::space::hypot(x.abs() - 25.0, y.abs() - 25.0);
        ridge + 6.0 * (1.0 - r / 2.0).max(0.0)
    };
    let said = |width_mm: f64| {
        let axes = HingeAxes::SquareToCrest;
        let parts_mm = [2.0, 0.0, 0.0, 0.0];
        let rest = AttachmentRest { mesh: None, axes, joint: None, axis_at_mm: None, parts_mm };
        let mut case = pair(6.0, |f| f.attachment = Some(rest.sized([3.0, 6.0, width_mm])));
        case.mandible.as_mut().unwrap().import.mesh = sheet(60.0, 0.5, true, form);
        let part = checked(&case);
        part.findings.iter().find(|f| f.code == "footprint_wider_than_ridge").cloned()
    };
    assert!(said(4.0).is_none());
    let wide = said(12.0).unwrap();
    let number = wide.value.as_ref().unwrap().number;
    assert!((number - 10.0).abs() < 0.1 && wide.verdict == Verdict::Caution, "{wide:?}");
    assert!(wide.says.contains("12.00 mm wide"), "{}", wide.says);
}

/// The plates of [`pair`] under nine labelled crowns whose tips lie in a plane, but for 26, which is pushed `raised_mm`
/// beyond it.
fn under_crowns(raised_mm: f64) -> Case {
    const CROWNS: [(u8, f64, f64); 9] = [
        (26, -15.0, -8.0),
        (24, -13.0, 8.0),
        (23, -8.0, 12.0),
        (11, 0.0, 15.0),
        (13, 8.0, 12.0),
        (14, 13.0, 8.0),
        (15, 15.0, 0.0),
        (16, 15.0, -8.0),
        (17, 15.0, -16.0),
    ];
    let near = |x: f64, y: f64| {
        CROWNS.into_iter().map(|(n, a, b)| (n, crate::space::hypot(x - a, y - b))).find(|c| c.1 < 4.0)
    };
    let height = |x: f64, y: f64| match near(x, y) {
        Some((n, r)) => 10.0 - (4.0 + if n == 26 { raised_mm } else { 0.0 }) * (1.0 - r * r / 16.0),
        None => 10.0,
    };
    let mut case = pair(6.0, |f| f.relation.as_scanned = true);
    let mesh = sheet(60.0, 0.5, false, height);
    let label = |p: &Point| near(p.x, p.y).filter(|c| c.1 < 3.5).map_or(0, |c| c.0);
    let labels = mesh.vertices().iter().map(label).collect();
    case.maxilla = scan(mesh).map(|s| Scan { labels: Some(labels), ..s });
    case
}

#[test]
fn a_tooth_that_reaches_the_limit_is_said_to_be_tight_and_one_clearly_beyond_is_not() {
    // The plane is laid through flat tips: the scan's trueness of 0.06 mm is all the uncertainty.
    for (pushed, wanted) in
        [(0.8, None), (0.95, Some(true)), (1.0, Some(true)), (1.05, Some(true)), (1.3, Some(false))]
    {
        let (case, rules) = (under_crowns(pushed), Rules::standard());
        let part = run(&Facts::new(&case, &rules).unwrap());
        let named = part.findings.iter().find(|f| f.code == "opposing_tooth_beyond_plane");
        assert_eq!(named.map(|f| f.says.contains(": tight,")), wanted, "{pushed}: {named:?}");
    }
}

#[test]
fn a_tooth_pushed_beyond_its_plane_is_named_with_the_way_and_what_taking_it_down_gains() {
    for (pushed, limit) in [(0.0, 0.5), (1.0, 0.5), (2.0, 1.0)] {
        let case = under_crowns(pushed);
        let rules = Rules::changed(&[("beyond_plane_mm".into(), limit)]).unwrap();
        let part = run(&Facts::new(&case, &rules).unwrap());
        let shown = &part.spans[0].beyond_plane;
        if pushed == 0.0 {
            assert!(shown.is_empty() && part.preparation.is_empty(), "{shown:?}");
            continue;
        }
        let [tooth] = shown.as_slice() else { panic!("{shown:?}") };
        assert_eq!(tooth.tooth, Tooth::fdi(26).unwrap());
        assert!((tooth.beyond_mm - pushed).abs() < 0.1, "{tooth:?}");
        assert!((tooth.gained_per_mm.unwrap() - 1.0).abs() < 0.05, "{tooth:?}");
        assert!((tooth.room_mm.unwrap() - (6.0 - pushed)).abs() < 0.1, "{tooth:?}");
        assert!((part.preparation[0].removal_mm - pushed).abs() < 0.1);
        assert!(found(&part, "opposing_tooth_beyond_plane").says.starts_with("26 stands"));
    }
}
