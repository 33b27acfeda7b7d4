//! The model against statics by hand, and the directions in which it must go.

use proptest::prelude::*;

use super::answers::{Answer, Asked, answer};
use super::bed::BedFace;
use super::equilibrium::{Unheld, find};
use super::scene::{Abutment, Base, ClaspTip, Kind, Load, Plate, Rest, Scene, Stiffness};
use super::sensitivity::{Input, Ranges, run};
use super::springs::{Sense, Spring, System, about, at};
use crate::space::{Direction, Point, Vector};

fn near(got: f64, want: f64, share: f64) {
    assert!((got - want).abs() <= share * want.abs().max(1e-9), "{got} instead of {want}");
}

/// Numbers so high that abutments stand like rock.
fn rock() -> Stiffness {
    Stiffness {
        mucosa_mpa: 4.0,
        mucosa_mm: 1.0,
        axial_n_per_mm: 1e7,
        lateral_n_per_mm: 1e7,
        root_mm: 12.0,
        joint_n_mm_per_rad: 1e5,
        clasp_share: 1.0,
        plate_gap_mm: 0.0,
        hinge_play_deg: 0.0,
        load_shift_mm: 0.0,
    }
}

fn abutment(x: f64, y: f64) -> Abutment {
    Abutment {
        crown: Point::new(x, y, -1.0),
        mesial: Vector::y(),
        buccal: if x < 0.0 { -Vector::x() } else { Vector::x() },
        neck_mm: 4.0,
        root_share: 1.0,
        firmness_share: 1.0,
    }
}

/// A flat ridge 1 mm wide that runs from `from` to `to` mm behind an abutment at the origin, in `steps` strips; a rest at
/// the origin, the joint there too; nothing else. Occlusal +z, the patient's left -x.
fn strip(from: f64, to: f64, steps: usize) -> Scene {
    let step = (to - from) / steps as f64;
    let bed = (0..steps)
        .map(|i| BedFace::new(Point::new(0.0, -from - (i as f64 + 0.5) * step, 0.0), Vector::z(), step))
        .collect();
    Scene {
        origin: Point::origin(),
        occlusal: Direction::new_normalize(Vector::z()),
        anterior: Direction::new_normalize(Vector::y()),
        left: Direction::new_normalize(-Vector::x()),
        withdrawal: Direction::new_normalize(Vector::z()),
        abutments: vec![abutment(0.0, 0.0)],
        rests: vec![Rest { abutment: 0, at: Point::origin() }],
        plates: vec![],
        clasps: vec![],
        bases: vec![Base {
            extension: true,
            front: Some(0),
            crest: vec![Point::new(0.0, -from, 0.0), Point::new(0.0, -to, 0.0)],
            outward: -Vector::x(),
            joint_at: Point::origin(),
            bed,
        }],
    }
}

fn load(base: usize, x: f64, y: f64) -> Load {
    Load { base, at: Point::new(x, y, 0.0), force: -Vector::z() * 100.0 }
}

/// The trade facts' saddle: ridge from 2 to 30 mm, 4 N/mm2, 100 N at `c`, joined by the attachment.
fn saddle(joint: f64, c: f64, mucosa_mpa: f64) -> Answer {
    let mut scene = strip(2.0, 30.0, 700);
    // Nothing but the attachment holds it against rolling and turning.
    scene.rests.clear();
    let stiffness = Stiffness { joint_n_mm_per_rad: joint, mucosa_mpa, ..rock() };
    let loads = [load(0, 0.0, -c)];
    answer(&Asked { scene: &scene, kind: Kind::Clamped, stiffness: &stiffness, loads: &loads }, None).unwrap()
}

#[test]
fn a_saddle_on_a_joint_of_given_stiffness() {
    // Trade facts, section 9.6.
    for (joint, rest, moment) in [(1e4, 29.862, 391.4), (1e5, 76.280, 1323.6), (1e6, 96.886, 1737.5)] {
        let found = saddle(joint, 18.0, 4.0);
        near(found.abutment_share * 100.0, rest, 1e-3);
        near(found.abutments[0].distal_n_mm, moment, 1e-3);
        assert!(found.balance_share < 1e-9, "{}", found.balance_share);
    }
}

/// A framework on three rests and a base hinged to it over the trade facts' ridge.
fn hinged(c: f64, mucosa_mpa: f64) -> Answer {
    let mut scene = strip(2.0, 30.0, 700);
    scene.abutments.extend([abutment(-40.0, 0.0), abutment(-20.0, 25.0)]);
    let more = [(1, Point::new(-40.0, 0.0, 0.0)), (2, Point::new(-20.0, 25.0, 0.0))];
    scene.rests.extend(more.map(|(abutment, at)| Rest { abutment, at }));
    let stiffness = Stiffness { mucosa_mpa, ..rock() };
    let loads = [load(0, 0.0, -c)];
    answer(&Asked { scene: &scene, kind: Kind::Hinged, stiffness: &stiffness, loads: &loads }, None).unwrap()
}

#[test]
fn a_hinged_saddle_bears_on_its_rest_whatever_the_ridge() {
    for mucosa in [0.4, 4.0, 40.0] {
        near(hinged(18.0, mucosa).abutment_share * 100.0, 10.373, 1e-3);
        near(hinged(12.0, mucosa).abutment_share * 100.0, 40.25, 1e-3);
    }
    let found = hinged(18.0, 4.0);
    near(found.bases[0].sinks_mm, 0.05001 * 30.0, 2e-3);
    assert!(found.abutments[0].distal_n_mm.abs() < 1.0, "{:?}", found.abutments);
}

#[test]
fn a_load_behind_a_certain_place_lifts_the_hinge_and_is_no_mechanism() {
    // Two thirds of (b3 - a3) / (b2 - a2) = 20.08 mm.
    let before = hinged(19.9, 4.0);
    assert!(before.rests[0].force_n > 0.0 && before.rests[0].lift_mm == 0.0);
    let behind = hinged(24.0, 4.0);
    assert!(behind.rests[0].force_n == 0.0 && behind.rests[0].lift_mm > 0.0, "{:?}", behind.rests);
    near(behind.ridge_share + behind.abutment_share, 1.0, 1e-9);
}

#[test]
fn the_stop_bears_once_the_play_is_used_up() {
    // A load in front of the joint's reach would lift the base: the framework goes down more than the base's front end.
    let scene = Scene { plates: vec![], ..arch() };
    let turn = |play: f64| {
        let stiffness = Stiffness { hinge_play_deg: play, ..ranges().middle() };
        of(&scene, Kind::Hinged, &stiffness, 14.0).bases[0].hinge.unwrap()
    };
    let (none, little, much) = (turn(0.0), turn(0.2), turn(20.0));
    assert!(none.on_stop && none.turn_deg.abs() < 0.01, "{none:?}");
    assert!(little.on_stop && (little.turn_deg + 0.2).abs() < 0.01, "{little:?}");
    assert!(!much.on_stop && much.turn_deg < -0.2, "{much:?}");
}

#[test]
fn a_beam_on_an_elastic_bed_inside_and_outside_its_kern() {
    // Length 28, width 1, load 100 N at e from the middle: inside a sixth, p = P/L (1 + 6 e / L) at the end; outside,
    // 3 (L/2 - e) bears and the end has twice the mean.
    let mut scene = strip(2.0, 30.0, 1400);
    scene.rests.clear();
    let free = |e: f64| {
        let mut system = System::new(1);
        let o = scene.origin;
        for face in &scene.bases[0].bed {
            let row = at(&o, &face.at, &face.normal);
            system.springs.push(Spring::to_jaw(0, row, 4.0 * face.area_mm2, Sense::Pushes));
        }
        for (row, k) in [
            (at(&o, &o, &Vector::x()), 1e3),
            (at(&o, &o, &Vector::y()), 1e3),
            (about(&Vector::y()), 1e6),
            (about(&Vector::z()), 1e6),
        ] {
            system.springs.push(Spring::to_jaw(0, row, k, Sense::Both));
        }
        system.push(0, &o, &Point::new(0.0, -16.0 - e, 0.0), &(-Vector::z() * 100.0));
        let found = find(&system, None).unwrap();
        assert!(found.balance_share < 1e-9);
        let pressures: Vec<f64> =
            system.springs[..1400].iter().map(|s| s.push(&found.motion) / 0.02).collect();
        pressures
    };
    // The last strip's middle lies 0.01 mm inside the end.
    let inside = free(3.0);
    near(inside[1399], 100.0 / 28.0 * (1.0 + 12.0 * 3.0 * 13.99 / (28.0 * 28.0)), 1e-3);
    near(inside[0], 100.0 / 28.0 * (1.0 - 12.0 * 3.0 * 13.99 / (28.0 * 28.0)), 1e-3);
    let outside = free(8.0);
    let bears = 3.0 * (14.0 - 8.0);
    near(outside[1399], 2.0 * 100.0 / bears * (1.0 - 0.01 / bears), 1e-3);
    let pressed = outside.iter().filter(|p| **p > 0.0).count() as f64 * 0.02;
    near(pressed, bears, 2e-3);
}

#[test]
fn three_points_share_a_load_by_levers() {
    let mut scene = strip(2.0, 30.0, 10);
    scene.bases[0].bed.clear();
    scene.abutments = vec![abutment(-20.0, 0.0), abutment(20.0, 0.0), abutment(0.0, 30.0)];
    let places = [Point::new(-20.0, 0.0, 0.0), Point::new(20.0, 0.0, 0.0), Point::new(0.0, 30.0, 0.0)];
    scene.rests = places.iter().enumerate().map(|(abutment, &at)| Rest { abutment, at }).collect();
    // At (5, 12): the front bears 12/30; of the rest the right bears (20 + 5/0.6)/40.
    let loads = [load(0, 5.0, 12.0)];
    for axial in [200.0, 900.0] {
        let stiffness = Stiffness { axial_n_per_mm: axial, lateral_n_per_mm: 75.0, ..rock() };
        let asked = Asked { scene: &scene, kind: Kind::Rigid, stiffness: &stiffness, loads: &loads };
        let found = answer(&asked, None).unwrap();
        near(found.abutments[2].load_share, 0.4, 1e-3);
        near(found.abutments[1].load_share, 0.6 * (20.0 + 5.0 / 0.6) / 40.0, 1e-3);
        near(found.abutments[0].load_share, 0.6 * (20.0 - 5.0 / 0.6) / 40.0, 1e-3);
        assert!(found.balance_share < 1e-9);
    }
}

#[test]
fn a_rest_at_the_edge_of_a_tooth_tips_it_by_its_lever() {
    // 100 N straight over a rest 3 mm behind the tooth's middle: 300 N mm toward distal; in front: toward mesial.
    for (y, want) in [(-3.0, 300.0), (3.0, -300.0)] {
        let mut scene = strip(2.0, 30.0, 10);
        scene.bases[0].bed.clear();
        scene.abutments = vec![abutment(0.0, 0.0), abutment(-40.0, 0.0), abutment(-20.0, 25.0)];
        scene.rests = vec![
            Rest { abutment: 0, at: Point::new(0.0, y, 0.0) },
            Rest { abutment: 1, at: Point::new(-40.0, 0.0, 0.0) },
            Rest { abutment: 2, at: Point::new(-20.0, 25.0, 0.0) },
        ];
        let loads = [load(0, 0.0, y)];
        // The softer the teeth, the more of it the framework takes sideways to the others.
        let rock = Stiffness { axial_n_per_mm: 1e9, lateral_n_per_mm: 1e9, ..rock() };
        let asked = Asked { scene: &scene, kind: Kind::Rigid, stiffness: &rock, loads: &loads };
        let found = answer(&asked, None).unwrap();
        near(found.abutments[0].distal_n_mm, want, 1e-3);
        near(found.abutments[0].load_share, 1.0, 1e-3);
    }
}

#[test]
fn what_nothing_holds_is_told_with_its_axis() {
    // Two rests and no ridge: free to turn about the line through them.
    let mut scene = strip(2.0, 30.0, 10);
    scene.bases[0].bed.clear();
    scene.abutments.push(abutment(-40.0, 0.0));
    scene.rests.push(Rest { abutment: 1, at: Point::new(-40.0, 0.0, 0.0) });
    let loads = [load(0, 0.0, -18.0)];
    let asked = Asked { scene: &scene, kind: Kind::Rigid, stiffness: &rock(), loads: &loads };
    match answer(&asked, None) {
        Err(Unheld::Turns { axis, through, .. }) => {
            assert!(axis.x.abs() > 0.999, "{axis}");
            assert!(through.y.abs() < 0.01 && through.z.abs() < 0.01, "{through}");
        }
        other => panic!("{other:?}"),
    }
    // A load that lifts: nothing pushes back.
    let up = [Load { force: Vector::z() * 10.0, ..load(0, 0.0, -18.0) }];
    let full = arch();
    let asked = Asked { scene: &full, kind: Kind::Rigid, stiffness: &ranges().middle(), loads: &up };
    let bare = Scene { clasps: vec![], ..full.clone() };
    assert!(answer(&Asked { scene: &bare, ..asked }, None).is_err());
    assert_eq!(answer(&Asked { loads: &[], ..asked }, None), Err(Unheld::NoLoad));
}

/// A mandible with a distal extension on the left behind a premolar and three rests; a rounded ridge 9 mm wide.
pub(super) fn arch() -> Scene {
    let mut scene = strip(2.0, 26.0, 2);
    scene.origin = Point::new(20.0, 0.0, 0.0);
    scene.bases[0].bed = rounded(24, 10);
    scene.bases[0].joint_at = Point::new(0.0, -4.0, -1.0);
    scene.bases[0].crest = vec![Point::new(0.0, -2.0, -6.0), Point::new(0.0, -26.0, -6.0)];
    scene.abutments = vec![abutment(0.0, 4.0), abutment(40.0, -6.0), abutment(34.0, 8.0)];
    scene.abutments[0].buccal = -Vector::x();
    scene.rests = vec![
        Rest { abutment: 0, at: Point::new(0.0, 7.0, 0.0) },
        Rest { abutment: 1, at: Point::new(40.0, -3.0, 0.0) },
        Rest { abutment: 2, at: Point::new(34.0, 5.0, 0.0) },
    ];
    scene.plates = vec![Plate { abutment: 0, at: Point::new(0.0, 0.5, -3.0), outward: -Vector::y() }];
    scene.clasps = vec![ClaspTip {
        abutment: 0,
        at: Point::new(-3.5, 2.0, -4.0),
        outward: -Vector::x(),
        wall_deg: 15.0,
        stiffness_n_per_mm: 10.0,
    }];
    scene
}

/// A half cylinder of radius 4.5 mm, cut in facets along and across.
fn rounded(along: usize, across: usize) -> Vec<BedFace> {
    let (radius, from, to) = (4.5, 2.0, 26.0);
    let step = (to - from) / along as f64;
    let lean = 150.0_f64.to_radians() / across as f64;
    let mut all = Vec::new();
    for i in 0..along {
        for j in 0..across {
            let angle = -75.0_f64.to_radians() + (j as f64 + 0.5) * lean;
            let normal = Vector::new(crate::space::sin(angle), 0.0, crate::space::cos(angle));
            let at = Point::new(0.0, -from - (i as f64 + 0.5) * step, -10.5) + normal * radius;
            all.push(BedFace::new(at, normal, radius * lean * step));
        }
    }
    all
}

pub(super) fn ranges() -> Ranges {
    use super::sampling::Range;
    Ranges([
        Range::by_ratio(1.0, 5.0),
        Range::even(1.5, 3.0),
        Range::by_ratio(200.0, 900.0),
        Range::by_ratio(45.0, 300.0),
        Range::even(10.0, 16.0),
        Range::by_ratio(1e4, 1e6),
        Range::by_ratio(0.5, 2.0),
        Range::even(0.0, 0.1),
        Range::even(0.0, 2.0),
        Range::even(-2.0, 2.0),
    ])
}

fn of(scene: &Scene, kind: Kind, stiffness: &Stiffness, back: f64) -> Answer {
    let loads = [load(0, 0.0, -back)];
    answer(&Asked { scene, kind, stiffness, loads: &loads }, None).unwrap()
}

#[test]
fn four_times_as_many_faces_change_no_share_by_a_hundredth() {
    let stiffness = ranges().middle();
    for kind in Kind::ALL {
        let coarse = of(&arch(), kind, &stiffness, 14.0);
        let mut fine = arch();
        fine.bases[0].bed = rounded(48, 20);
        let fine = of(&fine, kind, &stiffness, 14.0);
        for (a, b) in [(coarse.abutment_share, fine.abutment_share), (coarse.ridge_share, fine.ridge_share)] {
            assert!((a - b).abs() < 0.01 * a.abs().max(b.abs()), "{}: {a} {b}", kind.word());
        }
    }
}

#[test]
fn joined_faces_give_the_shares_of_the_single_ones() {
    let stiffness = ranges().middle();
    let mut fine = arch();
    fine.bases[0].bed = rounded(96, 40);
    let few = fine.coarser(super::sensitivity::CELL_MM);
    assert!(few.bases[0].bed.len() < 200);
    for kind in Kind::ALL {
        let (all, few) = (of(&fine, kind, &stiffness, 14.0), of(&few, kind, &stiffness, 14.0));
        assert!((all.abutment_share - few.abutment_share).abs() < 0.01, "{}", kind.word());
        near(few.bases[0].sinks_mm, all.bases[0].sinks_mm, 0.02);
    }
}

#[test]
fn runs_are_the_same_whatever_the_threads_and_name_what_governs() {
    let scene = arch();
    let cases = vec![vec![load(0, 0.0, -14.0)]];
    let pool = |n| rayon::ThreadPoolBuilder::new().num_threads(n).build().unwrap();
    let one = pool(1).install(|| run(&scene, &cases, &ranges()));
    let three = pool(3).install(|| run(&scene, &cases, &ranges()));
    assert_eq!(one, three);
    let runs = one[0].as_ref().unwrap();
    assert_eq!(runs.used, super::sensitivity::RUNS, "{:?}", runs.used);
    for spread in &runs.designs {
        assert!(spread.bands.iter().all(|b| b.low <= b.median && b.median <= b.high));
    }
    // What the attachment's stiffness is can only count where there is one.
    let joint = Input::ALL.iter().position(|i| *i == Input::Joint).unwrap();
    assert!(runs.designs[0].weights[joint].abs() < 0.2);
    let moment = |d: usize| runs.designs[d].bands[2].median;
    assert!(moment(1) > 1.5 * moment(0).max(moment(2)), "{} {} {}", moment(0), moment(1), moment(2));
    let sinks = |d: usize| runs.designs[d].bands[5].median;
    assert!(sinks(1) < sinks(0) && sinks(0) < sinks(2));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    #[test]
    fn a_stiffer_joint_bears_more_and_relieves_the_ridge(joint in 1e3..1e6_f64, c in 8.0..19.0_f64, k in 1.0..10.0_f64) {
        let (soft, stiff) = (saddle(joint, c, k), saddle(joint * 1.5, c, k));
        prop_assert!(stiff.abutment_share > soft.abutment_share);
        prop_assert!(stiff.abutments[0].distal_n_mm > soft.abutments[0].distal_n_mm);
        prop_assert!(stiff.ridge_share < soft.ridge_share);
        prop_assert!(stiff.bases[0].sinks_mm < soft.bases[0].sinks_mm);
        prop_assert!((soft.abutment_share + soft.ridge_share - 1.0).abs() < 1e-9);
    }

    #[test]
    fn a_stiffer_ridge_turns_the_base_less_and_relieves_the_joint(joint in 1e3..1e6_f64, c in 8.0..19.0_f64, k in 1.0..10.0_f64) {
        let (soft, firm) = (saddle(joint, c, k), saddle(joint, c, 1.5 * k));
        prop_assert!(firm.bases[0].sinks_mm < soft.bases[0].sinks_mm);
        prop_assert!(firm.abutments[0].distal_n_mm < soft.abutments[0].distal_n_mm);
    }

    #[test]
    fn shares_add_up_and_go_with_no_size_of_load(back in 4.0..22.0_f64, side in -2.0..2.0_f64, which in 0_usize..3) {
        let (scene, stiffness) = (arch(), Stiffness { plate_gap_mm: 0.0, hinge_play_deg: 0.0, ..ranges().middle() });
        let loads = [load(0, side, -back)];
        let asked = Asked { scene: &scene, kind: Kind::ALL[which], stiffness: &stiffness, loads: &loads };
        let found = answer(&asked, None).unwrap();
        prop_assert!((found.abutment_share + found.ridge_share - 1.0).abs() < 1e-8);
        prop_assert!(found.balance_share < 1e-9);
        let twice = [Load { force: loads[0].force * 2.0, ..loads[0] }];
        let double = answer(&Asked { loads: &twice, ..asked }, None).unwrap();
        prop_assert!((double.abutment_share - found.abutment_share).abs() < 1e-7);
        prop_assert!((double.bases[0].sinks_mm - 2.0 * found.bases[0].sinks_mm).abs() < 1e-6);
    }

    #[test]
    fn a_rigid_motion_of_everything_changes_no_figure(angle in 0.0..6.0_f64, which in 0_usize..3) {
        let (scene, stiffness) = (arch(), ranges().middle());
        let motion = crate::space::Motion::new(Vector::new(5.0, -3.0, 11.0), Vector::new(0.3, 0.5, -0.8).normalize() * angle);
        let moved = moved(&scene, &motion);
        let here = [load(0, 0.0, -14.0)];
        let there = [Load { at: motion * here[0].at, force: motion * here[0].force, base: 0 }];
        let kind = Kind::ALL[which];
        let a = answer(&Asked { scene: &scene, kind, stiffness: &stiffness, loads: &here }, None).unwrap();
        let b = answer(&Asked { scene: &moved, kind, stiffness: &stiffness, loads: &there }, None).unwrap();
        prop_assert!((a.abutment_share - b.abutment_share).abs() < 1e-7);
        prop_assert!((a.abutments[0].distal_n_mm - b.abutments[0].distal_n_mm).abs() < 1e-4);
        prop_assert!((a.bases[0].roll_deg - b.bases[0].roll_deg).abs() < 1e-6);
        prop_assert!((a.clasps[0].along_mm - b.clasps[0].along_mm).abs() < 1e-6);
    }
}

fn moved(scene: &Scene, motion: &crate::space::Motion) -> Scene {
    let mut s = scene.clone();
    let turn = |d: Direction| Direction::new_normalize(motion * d.into_inner());
    s.origin = motion * s.origin;
    (s.occlusal, s.anterior) = (turn(s.occlusal), turn(s.anterior));
    (s.left, s.withdrawal) = (turn(s.left), turn(s.withdrawal));
    for a in &mut s.abutments {
        (a.crown, a.mesial, a.buccal) = (motion * a.crown, motion * a.mesial, motion * a.buccal);
    }
    s.rests.iter_mut().for_each(|r| r.at = motion * r.at);
    for p in &mut s.plates {
        (p.at, p.outward) = (motion * p.at, motion * p.outward);
    }
    for c in &mut s.clasps {
        (c.at, c.outward) = (motion * c.at, motion * c.outward);
    }
    for b in &mut s.bases {
        (b.joint_at, b.outward) = (motion * b.joint_at, motion * b.outward);
        b.crest.iter_mut().for_each(|p| *p = motion * *p);
        for f in &mut b.bed {
            (f.at, f.normal) = (motion * f.at, motion * f.normal);
        }
    }
    s
}
