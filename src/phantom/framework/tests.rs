use super::*;
use crate::locate::Surface;
use crate::mesh::Topology;
use crate::phantom::scan::Density;
use crate::space::{Direction, Vector};
use std::sync::OnceLock;

/// What stands on one tooth of `oban`, made on a coarse scan: enough to measure, and quick.
struct Made {
    bench: Bench,
    mesh: Mesh,
    parts: Vec<PartTruth>,
}

const TOOTH: u8 = 46;

fn on_a_tooth(fault: Option<Fault>) -> &'static Made {
    static SOUND: OnceLock<Made> = OnceLock::new();
    static CAUGHT: OnceLock<Made> = OnceLock::new();
    let make = || {
        let bench = Bench::with("oban", &(Density::coarse(0.6), None), ([6.0, -40.0], [34.0, -8.0])).unwrap();
        let (mesh, parts) = {
            let site = bench.site(fault);
            let plan = bench.plan(&site, fault);
            let mut body = bench.body(&plan);
            body.parts.retain(|p| p.truth.tooth == Some(TOOTH));
            let cast = bench.pair.cast(bench.case.restored);
            let parts = body.parts.iter().map(|p| stated(&body, p, cast, Wanted::Place)).collect();
            (cleared(contoured(&body, 0.18, &EDGES_MM), &body), parts)
        };
        Made { bench, mesh, parts }
    };
    match fault {
        None => SOUND.get_or_init(make),
        _ => CAUGHT.get_or_init(make),
    }
}

fn part(made: &Made, kind: Kind) -> &PartTruth {
    made.parts.iter().find(|p| p.kind == kind).unwrap()
}

/// Where the metal begins and ends over the place where a part is stated, mm, by a ray.
fn by_ray(made: &Made, part: &PartTruth) -> [f64; 2] {
    let way = Direction::new_normalize(Vector::from(part.way));
    let from = Point::from(part.at_mm) - way.into_inner();
    let hits = Surface::new(&made.mesh).cast_all(&from, &way, 6.0);
    let (first, last) =
        (hits.iter().find(|h| !h.from_behind).unwrap(), hits.iter().find(|h| h.from_behind).unwrap());
    [first.distance_mm - 1.0, last.distance_mm - 1.0]
}

#[test]
fn a_rest_is_as_thick_and_as_near_as_it_is_said_to_be() {
    let made = on_a_tooth(None);
    let rest = part(made, Kind::Rest);
    let [gap, end] = by_ray(made, rest);
    assert!((gap - rest.gap_mm).abs() < 0.03 && (end - gap - rest.thickness_mm).abs() < 0.04, "{gap} {end}");
    // What was wanted: 1.3 mm over a gap of 0.04 mm.
    assert!((rest.thickness_mm - 1.3).abs() < 0.03 && (rest.gap_mm - 0.04).abs() < 0.02, "{rest:?}");
}

#[test]
fn an_arm_tapers_and_is_as_thick_as_it_is_said_to_be() {
    let made = on_a_tooth(None);
    let arm = part(made, Kind::ClaspArm);
    let [gap, end] = by_ray(made, arm);
    // Near its origin the arm stands off the tooth by a few hundredths, which its truth says.
    assert!((gap - arm.gap_mm).abs() < 0.02 && gap < 0.12, "{gap} {arm:?}");
    assert!((end - gap - arm.thickness_mm).abs() < 0.07, "{gap} {end} {arm:?}");
    assert!(arm.thickness_mm > 1.0 && arm.tip_thickness_mm.unwrap() < 0.65 && arm.length_mm.unwrap() > 10.0);
}

#[test]
fn only_the_tip_of_the_arm_is_caught_on_the_way_out() {
    let caught = |made: &Made| -> f64 {
        let tip = Point::from(part(made, Kind::ClaspArm).tip_at_mm.unwrap());
        let root = made.mesh.vertices().iter().filter(|p| (*p - tip).norm() > 5.0);
        root.map(|p| -made.bench.ground.blocked_mm(p)).fold(f64::NEG_INFINITY, f64::max)
    };
    let sound = caught(on_a_tooth(None));
    assert!(sound < 0.06, "{sound}");
    let spoiled = caught(on_a_tooth(Some(Fault::CaughtOnPath)));
    assert!(spoiled > 0.3, "{spoiled}");
}

#[test]
fn faults_of_the_surface_are_what_their_names_say() {
    let made = on_a_tooth(None);
    let at = made.mesh.vertex(0);
    let open = fault::done_to(made.mesh.clone(), Fault::OpenShell, &at);
    assert!(!Topology::new(&open).border_loops(&open).is_empty());
    let beside = fault::done_to(made.mesh.clone(), Fault::FloatingShell, &(at + Vector::z() * 20.0));
    assert_eq!(Topology::new(&beside).pieces().1, 2);
    let sheet = fault::done_to(made.mesh.clone(), Fault::ZeroThickness, &at);
    assert!((sheet.area_mm2() - made.mesh.area_mm2() - 18.0).abs() < 1e-6);
    assert!((sheet.signed_volume_mm3() - made.mesh.signed_volume_mm3()).abs() < 1e-6);
    let metres = fault::done_to(made.mesh.clone(), Fault::Metres, &at);
    assert!((metres.area_mm2() * 1e6 - made.mesh.area_mm2()).abs() < 1e-3);
}

#[test]
fn faults_have_names_of_their_own() {
    for (i, a) in Fault::ALL.iter().enumerate() {
        assert!(Fault::ALL[..i].iter().all(|b| b.name() != a.name()));
    }
    assert!(sound("nowhere").is_none());
}

#[test]
fn sections_and_balls_of_a_body_are_those_of_its_field() {
    // A rod of 1 mm about the x axis, high over the cast.
    const HIGH_MM: f64 = 30.0;
    let bench = &on_a_tooth(None).bench;
    let middle = Point::new(20.0, -25.0, HIGH_MM);
    let mut box_of = parts::BoxOf::new(1.5);
    box_of.hold(&(middle - Vector::x() * 2.0));
    box_of.hold(&(middle + Vector::x() * 2.0));
    let rod = box_of.part(parts::plain(Kind::Bar, 0.0, middle.into()), move |q| {
        let d = q.p - middle;
        (crate::space::hypot(d.y, d.z) - 1.0).max(d.x.abs() - 2.0)
    });
    let form = &bench.pair.cast(bench.case.restored).form;
    let body = Body { ground: &bench.ground, form, parts: vec![rod], opposed: false };
    let across = outline::Sheet::square_to(middle, &Vector::x()).unwrap();
    let line = outline::nearest(outline::outlines(&body, &across, [1.6; 2]), [0.0; 2]).unwrap();
    assert!((outline::length(&line) - 2.0 * std::f64::consts::PI).abs() < 0.005);
    assert!(outline::sizes(&line).iter().all(|mm| (mm - 2.0).abs() < 0.002), "{:?}", outline::sizes(&line));
    assert!(outline::middle(&line).iter().all(|mm| mm.abs() < 1e-3));
    // The half that looks down faces the cast: what looks up stands off it by its whole thickness at the most.
    let down: Vec<bool> = line.iter().map(|p| p[1] < 0.0).collect();
    assert!((outline::stands_off(&line, &down).unwrap() - 2.0f64.sqrt()).abs() < 0.05);
    let reach = Vector::repeat(2.4);
    let cloud = ridge::Cloud::of(&body, &(middle - reach), &(middle + reach));
    assert!((cloud.within(&middle, 3.0) - 1.0).abs() < 0.003, "{}", cloud.within(&middle, 3.0));
    assert!((cloud.within(&(middle + Vector::new(1.5, 0.0, 0.0)), 3.0) - 0.5).abs() < 0.003);
}
