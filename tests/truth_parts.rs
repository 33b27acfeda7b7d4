//! The parts of a truth record against their own definitions, by other ways through the same field.

use saddleroom::case::{Arch, Tooth};
use saddleroom::phantom::demo;
use saddleroom::phantom::patient::Pair;
use saddleroom::phantom::truth::{
    self, Wanted, lingual, near, room, seats, surfaces, survey, tori, undercut,
};
use saddleroom::space::{Direction, Point, Vector, cos, sin};
use std::sync::OnceLock;

fn pair() -> &'static Pair {
    static PAIR: OnceLock<Pair> = OnceLock::new();
    PAIR.get_or_init(|| demo::pair("oban").expect("a case"))
}

fn tooth(number: u8) -> Tooth {
    Tooth::fdi(number).expect("a tooth")
}

fn leaning() -> Direction {
    Direction::new_normalize(Vector::new(0.06, 0.09, 1.0))
}

#[test]
fn the_nearest_place_of_a_dented_sphere_is_found_on_the_right_side_and_at_its_border() {
    let field = |p: &Point| (p.coords.norm() - 5.0).max(1.0 - (p - Point::new(0.0, 0.0, 5.5)).norm());
    let border = |p: &Point| p.x - 2.0;
    let shell = near::Shell::new(Point::new(-6.0, -6.0, -6.0), Point::new(6.0, 6.0, 6.0), &field, &border);
    let from_left = shell.nearest(&Point::new(-9.0, 0.5, 0.0)).unwrap();
    assert!((from_left - Point::origin()).norm() - 5.0 < 1e-6 && from_left.x < -4.9);
    // Beyond the border the nearest place is on it: a circle of radius sqrt(21) at x = 2.
    let p = Point::new(9.0, 6.0, 0.0);
    let expected = Point::new(2.0, 21.0f64.sqrt(), 0.0);
    assert!((shell.nearest(&p).unwrap() - expected).norm() < 1e-4);
}

#[test]
fn no_place_of_the_opposing_arch_is_nearer_than_the_nearest() {
    let crests = demo::spans(&pair().mandible);
    let opposing = &pair().maxilla;
    let stations = truth::crest::stations(opposing, &crests[0], &Vector::z());
    for s in stations.iter().step_by(7) {
        let (Some(q), Some(near)) = (s.nearest_at, s.nearest_mm()) else { panic!("nothing near {}", s.at) };
        assert!(opposing.value(&q).abs() < 1e-6);
        assert!(s.along_mm.is_none_or(|a| near <= a + 1e-6));
        // A ball that the arch does not enter: directions all around, a hair shorter than the distance.
        for i in 0..400 {
            let z = 1.0 - 2.0 * (f64::from(i) + 0.5) / 400.0;
            let turn = f64::from(i) * 2.399_963;
            let flat = (1.0 - z * z).sqrt();
            let way = Vector::new(flat * cos(turn), flat * sin(turn), z);
            assert!(opposing.value(&(s.at + way * (near - 1e-4))) > 0.0, "nearer than {near} at {}", s.at);
        }
    }
}

#[test]
fn undercut_depth_is_the_least_way_over_many_directions() {
    let cast = pair().mandible.as_ref();
    let crown = truth::crown_of(cast, tooth(35)).unwrap();
    let d = leaning();
    let path = undercut::Path::new(cast, &d);
    let (u, v) = saddleroom::space::across(&d);
    let covered =
        |p: &Point| (1..600).any(|k| cast.value(&(p + d.into_inner() * (0.02 * f64::from(k)))) < 0.0);
    let mut undercut = 0;
    for (p, mm) in surfaces::samples(&path, crown, 6, 2) {
        assert!(cast.value(&p).abs() < 1e-5);
        if mm < 0.05 {
            continue;
        }
        undercut += 1;
        let turned = |i: i32| {
            let turn = f64::from(i) * std::f64::consts::PI / 90.0;
            u * cos(turn) + v * sin(turn)
        };
        // A little nearer everything is covered, a little further something is not.
        assert!((0..180).all(|i| covered(&(p + turned(i) * (mm - 0.01)))), "{mm} at {p} is too much");
        assert!((0..180).any(|i| !covered(&(p + turned(i) * (mm + 0.01)))), "{mm} at {p} is too little");
    }
    assert!(undercut > 3, "only {undercut} places were undercut");
}

#[test]
fn the_deepest_place_is_deeper_than_samples_and_a_survey_line_is_square_to_the_path() {
    let cast = pair().mandible.as_ref();
    let crown = truth::crown_of(cast, tooth(35)).unwrap();
    let d = leaning();
    let path = undercut::Path::new(cast, &d);
    let deepest = surfaces::deepest(&path, crown).iter().map(|s| s.depth_mm).fold(0.0, f64::max);
    let sampled = surfaces::samples(&path, crown, 8, 2).iter().map(|s| s.1).fold(0.0, f64::max);
    assert!(deepest > 0.1 && deepest >= sampled - 1e-4, "{deepest} against {sampled}");
    let line = survey::line(&path, crown);
    let shown: Vec<_> = line.iter().filter(|p| p.shown).collect();
    assert!(shown.len() > line.len() / 2);
    for p in &shown {
        let normal = cast.gradient(&p.at).normalize();
        assert!(normal.dot(&d).abs() < 0.02, "{} at {}", normal.dot(&d), p.at);
    }
    assert!(line.windows(2).all(|w| (w[1].at - w[0].at).norm() < 1.5));
}

#[test]
fn tori_lobes_walls_seats_and_bodies_agree_with_the_field() {
    let cast = pair().mandible.as_ref();
    let free = |p: &Point| cast.value_with(p, false);
    let found = tori::tori(cast);
    assert_eq!(found.len(), 1);
    assert!(found[0].closed && found[0].outline.len() > 30);
    for p in &found[0].outline {
        assert!(cast.value(p).abs() < 1e-6);
        assert!(((truth::foot(&free, p, p) - p).norm() - tori::OUTLINE_MM).abs() < 1e-5);
    }
    let wall = lingual::wall(cast, tooth(35)).unwrap();
    assert!(wall.along_mm > wall.vertical_mm && wall.vertical_mm > 3.0);
    let plane = |p: &Point| (p - wall.line[0]).dot(&wall.normal).abs();
    assert!(wall.line.iter().all(|p| cast.value(p).abs() < 1e-5 && plane(p) < 1e-6));
    let up = Direction::new_unchecked(Vector::z());
    let seats = seats::seats(cast, &pair().maxilla, &up);
    assert_eq!(seats.len(), 3);
    for s in &seats {
        assert!(cast.value(&s.floor).abs() < 1e-5 && s.depth_mm >= s.square_depth_mm - 1e-6);
        assert!(s.depth_mm > 0.5 && s.depth_mm < 3.0, "{s:?}");
    }
    let wanted = Wanted::of(pair(), Arch::Mandible);
    assert_eq!(wanted.crests.len(), 2);
    for body in &wanted.bodies {
        let room = room::room(cast, &pair().maxilla, body).unwrap();
        assert!(room.room_mm <= room.pointwise_mm + 1e-9);
        let apart = (room.opposing_at - room.tissue_at).dot(&body.up);
        assert!((apart - room.room_mm).abs() < 1e-9);
        assert!(
            cast.value(&room.tissue_at).abs() < 1e-5 && pair().maxilla.value(&room.opposing_at).abs() < 1e-5
        );
    }
}
