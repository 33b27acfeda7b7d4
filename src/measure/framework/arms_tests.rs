//! An arc about a cylinder, followed as an arm.

use super::arms::{ArmAsked, follow};
use super::parts::Over;
use super::tests::fine_box;
use super::{Cast, Framework};
use crate::anatomy::Anatomy;
use crate::case::{Surface as Side, Tooth};
use crate::estimate::NotMeasured;
use crate::locate::Surface;
use crate::measure::tooth_axes::ToothAxes;
use crate::mesh::FaceId;
use crate::mesh::Mesh;
use crate::space::{Direction, Point, Vector, cos, sin};

/// A square bar bent about the z axis: inner radius 4, 1 mm thick, 1.4 mm high, from -100 to 50 degrees.
fn bent() -> Mesh {
    let straight = fine_box([0.0, 0.0, 0.0], [13.0, 1.0, 1.4], 0.25);
    let out = |p: &Point| {
        let deg = -100.0 + 150.0 * p.x / 13.0;
        let r = 4.0 + p.y;
        Point::new(r * cos(deg.to_radians()), r * sin(deg.to_radians()), p.z)
    };
    // x runs along, y outward: turned to (cos, sin) the facing is reversed.
    Mesh::new(straight.vertices().iter().map(out).collect(), straight.faces().to_vec()).unwrap().turned_over()
}

fn cylinder() -> Mesh {
    let around = 180;
    let (mut vertices, mut faces) = (Vec::new(), Vec::new());
    for row in 0..=16 {
        for k in 0..around {
            let a = std::f64::consts::TAU * f64::from(k) / f64::from(around);
            vertices.push(Point::new(3.98 * cos(a), 3.98 * sin(a), -4.0 + 0.5 * f64::from(row)));
        }
    }
    for row in 0..16_u32 {
        for k in 0..around as u32 {
            let (a, b) = (row * 180 + k, row * 180 + (k + 1) % 180);
            faces.extend([[a, b, b + 180], [a, b + 180, a + 180]]);
        }
    }
    Mesh::new(vertices, faces).unwrap()
}

#[test]
fn an_arc_about_a_cylinder_is_as_long_and_thick_as_it_is() {
    let mesh = cylinder();
    let surface = Surface::new(&mesh);
    let normals = mesh.vertex_normals();
    let anatomy = Anatomy::bare(Err(NotMeasured::only("none")), mesh.vertices().len());
    let cast = Cast { surface: &surface, normals, anatomy: &anatomy };
    let framework = Framework::new(&bent());
    let near = cast.under(&framework);
    let tooth = Tooth::fdi(44).unwrap();
    let over = vec![Over::CrownWall(tooth); near.len()];
    let axes = ToothAxes {
        centre: Point::origin(),
        mesial: Vector::y(),
        buccal: Vector::x(),
        occlusal: Direction::new_normalize(Vector::z()),
        half_mm: [4.0, 4.0],
    };
    let asked =
        ArmAsked { tooth, side: Side::Buccal, axes: &axes, begins_near: Some(Point::new(0.0, -3.0, 0.0)) };
    // A depth that grows with y, to see where the tip is taken to engage.
    let depth = |p: &Point, _: FaceId| (0.1 * p.y).max(0.0);
    let arm = follow(&framework, &cast, (&near, &over), &asked, &depth).unwrap();
    // Its middle line has the radius 4.5.
    let truth = 4.5 * 150.0_f64.to_radians();
    assert!((arm.length_mm - truth).abs() < 0.35, "{} for {truth}", arm.length_mm);
    let middle = arm.at_share(0.5).unwrap();
    assert!((middle.thickness_mm - 1.0).abs() < 0.03 && (middle.height_mm - 1.4).abs() < 0.03, "{middle:?}");
    // The arm ends at 50 degrees; half its height, 0.7 mm, before that along the tooth its tip engages.
    let at_tip = 0.398 * sin(50.0_f64.to_radians() - 0.7 / 3.98);
    assert!((arm.tip_depth_mm.unwrap() - at_tip).abs() < 0.015, "{:?} for {at_tip}", arm.tip_depth_mm);
    assert!(arm.ends_seen && !arm.flexing.is_empty());
    assert!(arm.flexing.iter().all(|&v| framework.mesh().vertex(v).x > 0.0), "the tip's part flexes");
}
