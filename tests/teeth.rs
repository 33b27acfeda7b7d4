//! Teeth found on scans: on the generator's casts, where every crown is known, on bad input, and on labelled real scans
//! where they are present.

use saddleroom::anatomy::teeth::{self, Known};
use saddleroom::anatomy::{Anatomy, KnownFrame, Origin, frame};
use saddleroom::case::{Arch, Chart, Tooth};
use saddleroom::locate::Surface;
use saddleroom::mesh::{Mesh, Topology};
use saddleroom::phantom::patient::{Pair, casts};
use saddleroom::phantom::people;
use saddleroom::phantom::scan::{Density, scan};
use saddleroom::phantom::truth;
use saddleroom::space::{Motion, Vector, angle_deg};

fn read(mesh: &Mesh, arch: Arch, chart: Option<&Chart>) -> Anatomy {
    let known = Known { arch, chart, abutments: &[], marks: None, labels: None, least_confidence: 0.5 };
    teeth::read(&Surface::new(mesh), &Topology::new(mesh), &known)
}

/// Share of the area where tooth and gingiva agree, over that of either.
fn tooth_iou(mesh: &Mesh, truth: &[u8], found: &[u8]) -> f64 {
    let most = |labels: &[u8], f: &[u32; 3]| f.iter().filter(|v| labels[**v as usize] != 0).count() > 1;
    let (mut both, mut either) = (0.0, 0.0);
    for (i, f) in mesh.faces().iter().enumerate() {
        let (t, g) = (most(truth, f), most(found, f));
        let area = mesh.face_area_mm2(i as u32);
        both += if t && g { area } else { 0.0 };
        either += if t || g { area } else { 0.0 };
    }
    both / either
}

fn chart_of(pair: &Pair, arch: Arch) -> Chart {
    let stands = |t: &Tooth| pair.cast(arch).crowns.iter().any(|c| c.tooth == *t);
    let all = (-7..=7i8).filter_map(|a| Tooth::at(arch, a));
    Chart { missing: all.filter(|t| !stands(t)).collect(), ..Chart::default() }
}

#[test]
fn crowns_of_generated_casts_are_found_in_any_pose_with_their_numbers() {
    let turn = nalgebra::UnitQuaternion::from_euler_angles(1.9, -0.7, 2.4);
    let pose = Motion::from_parts(nalgebra::Translation3::new(12.0, -40.0, 7.0), turn);
    for (seed, arch) in [(1, Arch::Mandible), (8, Arch::Maxilla)] {
        let pair = casts(&people::drawn(seed));
        let cast = pair.cast(arch);
        let mesh = scan(cast, &Density::even(0.6));
        let known = truth::labels(cast, mesh.vertices());
        let anatomy = read(&mesh.moved(&pose), arch, Some(&chart_of(&pair, arch)));
        let numbers: Vec<u8> = anatomy.crowns.iter().map(|c| c.tooth.number()).collect();
        let mut expected: Vec<Tooth> = cast.crowns.iter().map(|c| c.tooth).collect();
        expected.sort_by_key(|t| t.along());
        assert_eq!(numbers, expected.iter().map(|t| t.number()).collect::<Vec<_>>(), "seed {seed}");
        assert!(
            anatomy
                .crowns
                .iter()
                .all(|c| c.origin == Origin::Found && c.confidence >= 0.5 && !c.margin.is_empty())
        );
        let iou = tooth_iou(&mesh, &known, &anatomy.tooth_of);
        assert!(iou > 0.92, "seed {seed}: {iou}");
    }
}

#[test]
fn a_chart_that_calls_a_standing_tooth_missing_is_doubted_and_nothing_is_numbered_by_it() {
    let pair = casts(&people::drawn(8));
    let mesh = scan(pair.cast(Arch::Mandible), &Density::even(0.6));
    let right = chart_of(&pair, Arch::Mandible);
    let standing = Tooth::fdi(35).unwrap();
    assert!(!right.missing.contains(&standing), "the cast has this tooth");
    let told = read(&mesh, Arch::Mandible, Some(&right)).found_teeth.expect("teeth were looked for");
    assert!(told.occupied.is_empty() && told.numbers > 0.5, "{told:?}");
    let mut wrong = right.clone();
    wrong.missing.push(standing);
    let anatomy = read(&mesh, Arch::Mandible, Some(&wrong));
    let told = anatomy.found_teeth.expect("teeth were looked for");
    assert!(told.occupied.contains(&standing), "{:?}", told.occupied);
    assert!(anatomy.crowns.is_empty(), "crowns are shown, not used: {}", anatomy.crowns.len());
    assert!(!told.unsure.is_empty());
}

#[test]
fn an_unsure_plane_counts_where_a_whole_row_of_teeth_fits_it_and_not_where_few_do() {
    // Behind the premolars nothing is left: from its shape alone the front of an arch tells no plane.
    let pair = casts(&people::drawn(1));
    let mesh = scan(pair.cast(Arch::Mandible), &Density::even(0.6));
    let known = |mesh: &Mesh| frame::find(mesh, &Topology::new(mesh), Arch::Mandible, None);
    let (front, _) = mesh.part(|f| mesh.face_centre(f).y > -12.0);
    for part in [&front, &mesh.part(|f| mesh.face_centre(f).x > 4.0).0] {
        if let Ok(f) = read(part, Arch::Mandible, None).frame {
            let off = angle_deg(&f.frame.occlusal, &Vector::z());
            assert!(off < 6.0, "{off} at confidence {}", f.confidence);
        }
    }
    let whole = read(&mesh, Arch::Mandible, None).frame.expect("a whole arch has a plane");
    let off = |f: &KnownFrame| angle_deg(&f.frame.occlusal, &Vector::z());
    assert!(off(&whole) < 3.0 && off(&known(&mesh).unwrap()) < 6.0);
}

#[test]
fn without_a_chart_the_gaps_are_proposed() {
    let pair = casts(&people::drawn(8));
    let mesh = scan(pair.cast(Arch::Mandible), &Density::even(0.6));
    let anatomy = read(&mesh, Arch::Mandible, None);
    let told = anatomy.found_teeth.as_ref().expect("teeth were looked for");
    let proposed = told.proposed.as_ref().expect("a chart is proposed");
    assert_eq!(proposed.missing, chart_of(&pair, Arch::Mandible).missing);
    assert!(!anatomy.spans.is_empty());
}

#[test]
fn half_an_arch_and_an_arch_without_teeth_give_no_sure_crown() {
    let pair = casts(&people::drawn(1));
    let mesh = scan(pair.cast(Arch::Mandible), &Density::even(0.7));
    let (quadrant, _) = mesh.part(|f| mesh.face_centre(f).x > 4.0);
    let anatomy = read(&quadrant, Arch::Mandible, None);
    assert!(
        anatomy.crowns.is_empty(),
        "{:?}",
        anatomy.crowns.iter().map(|c| (c.tooth, c.confidence)).collect::<Vec<_>>()
    );
    let (back, _) = mesh.part(|f| mesh.face_centre(f).z < -6.5);
    let anatomy = read(&back, Arch::Mandible, None);
    assert!(anatomy.crowns.is_empty(), "soft tissue alone: {:?}", anatomy.crowns.len());
}
