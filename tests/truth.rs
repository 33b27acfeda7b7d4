//! Measured figures against the truth of the phantom's distance function, on small casts.

use saddleroom::locate::Surface;
use saddleroom::measure::{clearance, undercut::Surveyor};
use saddleroom::mesh::{Mesh, Topology};
use saddleroom::phantom::demo;
use saddleroom::phantom::patient::Pair;
use saddleroom::phantom::scan::{Density, scan};
use saddleroom::phantom::truth;
use saddleroom::space::{Direction, Vector};
use std::sync::OnceLock;

const CELL_MM: f64 = 0.6;

fn scene() -> &'static (Pair, Mesh, Mesh) {
    static SCENE: OnceLock<(Pair, Mesh, Mesh)> = OnceLock::new();
    SCENE.get_or_init(|| {
        let pair = demo::pair("oban").expect("a case");
        let lower = scan(&pair.mandible, &Density::coarse(CELL_MM));
        let upper = scan(&pair.maxilla, &Density::coarse(CELL_MM));
        (pair, lower, upper)
    })
}

fn up() -> Direction {
    Direction::new_unchecked(Vector::z())
}

/// Distance of a chord from its arc: the cell is no longer than 0.6 mm, its diagonal 0.85 mm, and cusps and ridges
/// have radii of 1 mm and more.
const CHORD_MM: f64 = 0.85 * 0.85 / 8.0;

#[test]
fn every_vertex_stands_on_the_zero_set_and_each_cast_has_one_border() {
    let (pair, lower, upper) = scene();
    for (cast, mesh) in [(pair.mandible.as_ref(), lower), (&pair.maxilla, upper)] {
        let off = mesh.vertices().iter().find(|p| !cast.passes_within(p, 1e-3));
        assert!(off.is_none(), "the vertex at {off:?} stands more than 1 um off the surface");
        let topology = Topology::new(mesh);
        assert!(topology.edges().iter().all(|e| e.faces <= 2));
        assert_eq!(topology.border_loops(mesh).len(), 1);
    }
}

#[test]
fn room_along_the_opening_agrees_with_the_field() {
    let (pair, _, upper) = scene();
    let opposing = Surface::new(upper);
    let antagonist = clearance::Antagonist::new(&opposing, &up());
    let mut stations = 0;
    for crest in demo::spans(&pair.mandible) {
        for p in crest.iter().step_by(6) {
            let measured = antagonist.at(p);
            let (Some(along), Some(true_along)) =
                (measured.along_mm, truth::along_mm(&pair.maxilla, p, &Vector::z()))
            else {
                continue;
            };
            // The opposing cusps slope by up to 45 degrees, over which a chord error counts 1.5 times along the ray.
            assert!((along - true_along).abs() < 1.5 * CHORD_MM, "along {along} against {true_along} at {p}");
            stations += 1;
        }
        let stations = truth::crest::stations(&pair.maxilla, &crest, &Vector::z());
        for s in stations.iter().step_by(6) {
            let (Some(measured), Some(nearest)) = (antagonist.at(&s.at).nearest_mm, s.nearest_mm()) else {
                continue;
            };
            // Facets lie inside what bulges: the truth is the nearer of the two but for hollows.
            assert!(
                (measured - nearest).abs() < 1.5 * CHORD_MM,
                "nearest {measured} against {nearest} at {}",
                s.at
            );
        }
    }
    assert!(stations > 8, "only {stations} stations were compared");
}

#[test]
fn undercut_depth_agrees_with_the_field() {
    let (pair, lower, _) = scene();
    let topology = Topology::new(lower);
    let field = Surveyor::new(lower, &topology).field(&up());
    let mut compared = 0;
    // Vertices of the crown walls of the abutments, a few of each.
    for crown in pair.mandible.crowns.iter().filter(|c| [35, 44, 46].contains(&c.tooth.number())) {
        let wall = |v: usize| {
            let [_, _, w] = crown.local(&lower.vertices()[v]);
            let on = crown.value(crown.local(&lower.vertices()[v])).abs() < 0.02;
            on && w > 0.1 * crown.height && w < 0.5 * crown.height
        };
        for v in (0..lower.vertices().len()).filter(|v| wall(*v)).step_by(19).take(8) {
            let measured = field.depth_mm[v].unwrap();
            let expected = truth::undercut_mm(&pair.mandible, &lower.vertices()[v]);
            assert!(
                (measured - expected).abs() < CHORD_MM,
                "{} at {v}: {measured} against {expected}",
                crown.tooth
            );
            compared += 1;
        }
    }
    assert!(compared > 12, "only {compared} places were compared");
}

#[test]
fn a_torus_stands_as_high_as_it_was_made() {
    let (pair, ..) = scene();
    let tori: Vec<_> = pair.mandible.rises.iter().filter(|r| r.torus).collect();
    assert_eq!(tori.len(), 1);
    let (height, summit) = truth::torus_height(&pair.mandible, tori[0]);
    // It was asked to stand 3.0 mm over the wall at its middle; the wall is hollow there, which adds a little.
    assert!(height > 2.9 && height < 4.2, "{height}");
    assert!(pair.mandible.value(&summit).abs() < 1e-6 && summit.x < 0.0);
}
