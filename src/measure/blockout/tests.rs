use super::*;
use crate::measure::undercut::Surveyor;
use crate::phantom::solids;
use crate::space::Vector;
use std::f64::consts::PI;

fn up() -> Direction {
    Vector::z_axis()
}

fn raised(mesh: &Mesh, by: f64) -> Mesh {
    Mesh::new(mesh.vertices().iter().map(|p| p + Vector::z() * by).collect(), mesh.faces().to_vec()).unwrap()
}

struct Read {
    space: DeadSpace,
    solid: Option<Mesh>,
}

/// The dead space of a whole mesh along a direction, and its solid.
fn read(mesh: &Mesh, d: Direction) -> Read {
    let topology = Topology::new(mesh);
    let base = base_below(mesh, &topology, &d);
    let cast = Cast { mesh, topology: &topology, base: &base };
    let surveyor = Surveyor::new(mesh, &topology);
    let tilted = surveyor.tilted(&d);
    let field = tilted.field();
    let all = whole(&cast);
    let along = Along { tilted: &tilted, field: &field, uncertainty_deg: 1.0 };
    let space = dead_space(&cast, &along, &[&all]).0.remove(0);
    Read { space, solid: solid(&cast, &d, &[&all]) }
}

fn closed(mesh: &Mesh) {
    let topology = Topology::new(mesh);
    let (points, mut used) = (mesh.vertices().len(), std::collections::BTreeMap::new());
    assert!(points > 0);
    for f in mesh.faces() {
        for k in 0..3 {
            *used.entry((f[k], f[(k + 1) % 3])).or_insert(0) += 1;
        }
    }
    assert!(used.iter().all(|((a, b), n)| *n == 1 && used.get(&(*b, *a)) == Some(&1)));
    assert!(topology.edges().iter().enumerate().all(|(e, _)| topology.faces_of_edge(e as u32).len() == 2));
}

#[track_caller]
fn agrees(mesh: &Mesh, d: Direction, volume: f64) -> Read {
    let found = read(mesh, d);
    let got = found.space.volume_mm3;
    assert!((got / volume - 1.0).abs() < 0.01, "{got} for {volume}");
    let solid = found.solid.as_ref().unwrap();
    closed(solid);
    let own = solid.signed_volume_mm3();
    assert!((own / volume - 1.0).abs() < 0.02, "solid {own} for {volume}");
    found
}

#[test]
fn a_sphere_over_a_plate_leaves_a_cylinder_less_half_a_ball() {
    let r = 5.0;
    let mesh = Mesh::together(&[raised(&solids::icosphere(r, 0.3), r), solids::plate([14.0, 14.0], 0.5)]);
    let found = agrees(&mesh, up(), PI * r * r * r / 3.0);
    // Under it: the lower half of the sphere and a disc of the plate.
    let area = 2.0 * PI * r * r + PI * r * r;
    assert!((found.space.area_mm2 / area - 1.0).abs() < 0.01, "{}", found.space.area_mm2);
    let (_, at, depth) = found.space.deepest.unwrap();
    assert!((depth - r).abs() < 0.2 && at.z < 0.2, "{depth} at {at}");
}

#[test]
fn a_sphere_alone_is_blocked_out_down_to_its_lowest_point() {
    agrees(&solids::icosphere(4.0, 0.3), up(), PI * 64.0 / 3.0);
}

#[test]
fn a_box_under_a_lid_is_dead_throughout() {
    // A lid 1 mm thick over the middle of a plate, 3 mm above it; its underside is a small plane.
    let lid = raised(&solids::cuboid([8.0, 6.0, 1.0], 1.0), 0.0);
    let low = lid.vertices().iter().map(|p| p.z).fold(f64::INFINITY, f64::min);
    // The plate's edges lie aside of the lid's, so that its triangles are clipped.
    let mesh = Mesh::together(&[raised(&lid, 3.0 - low), solids::plate([12.0, 12.0], 0.37)]);
    let found = agrees(&mesh, up(), 8.0 * 6.0 * 3.0);
    assert!((found.space.area_mm2 - 96.0).abs() < 0.5, "{}", found.space.area_mm2);
}

#[test]
fn an_inverted_cone_and_a_barrel_on_a_plate() {
    let cone = solids::cone([3.0, 4.0], 6.0, 0.25, true);
    let low = cone.vertices().iter().map(|p| p.z).fold(f64::INFINITY, f64::min);
    let mesh = Mesh::together(&[raised(&cone, -low), solids::plate([12.0, 12.0], 0.5)]);
    // Cylinder of the upper radius less the frustum.
    agrees(&mesh, up(), PI * 6.0 * (16.0 - (9.0 + 12.0 + 16.0) / 3.0));
}

#[test]
fn a_barrel_on_a_plate() {
    let barrel = solids::Barrel { belly_mm: 4.0, belly_at_mm: 5.0, height_mm: 7.0, wall_mm: 9.0 };
    let mesh = solids::barrel_on_plate(&barrel, 7.0, 0.2, false);
    // Shells of the cylinder around the belly that lie outside the wall.
    let (n, b) = (4000, barrel.belly_mm);
    let volume: f64 = (0..n)
        .map(|i| {
            let r = barrel.radius_mm((f64::from(i) + 0.5) * barrel.belly_at_mm / f64::from(n));
            PI * (b * b - r * r) * barrel.belly_at_mm / f64::from(n)
        })
        .sum();
    agrees(&mesh, up(), volume);
    // Closed by a floor 3 mm down: nothing lies below a trimmed base.
    agrees(&solids::barrel_on_plate(&barrel, 7.0, 0.2, true), up(), volume);
}

#[test]
fn a_leaning_wall_over_a_plate_leaves_a_wedge() {
    for tilt in [5.0, 15.0] {
        let mesh = Mesh::together(&[
            solids::leaning_wall([3.0, 20.0, 6.0], tilt, 0.5),
            solids::plate([16.0, 26.0], 1.0),
        ]);
        agrees(&mesh, up(), 20.0 * crate::space::tan(f64::to_radians(tilt)) * 36.0 / 2.0);
    }
}

#[test]
fn a_direction_that_is_less_sure_makes_the_volume_less_sure() {
    let mesh = Mesh::together(&[raised(&solids::icosphere(4.0, 0.4), 4.0), solids::plate([16.0, 16.0], 1.0)]);
    let found = read(&mesh, up());
    // A sphere looks the same from everywhere, so that only the plate's lean remains.
    assert!(found.space.volume_by_direction_mm3 < 0.02 * found.space.volume_mm3);
    assert!(found.solid.is_some());
}

#[test]
fn turned_over_and_doubled_triangles_change_nothing() {
    let mesh = Mesh::together(&[raised(&solids::icosphere(3.0, 0.4), 3.0), solids::plate([10.0, 10.0], 1.0)]);
    let plain = read(&mesh, up()).space.volume_mm3;
    let over = read(&mesh.turned_over(), up()).space.volume_mm3;
    let faces = mesh.faces().iter().chain(mesh.faces()).copied().collect();
    let doubled = Mesh::new(mesh.vertices().to_vec(), faces).unwrap();
    assert!((plain - over).abs() < 1e-9 * plain, "{plain} {over}");
    assert!((read(&doubled, up()).space.volume_mm3 - plain).abs() < 1e-9 * plain);
}

#[test]
fn a_plane_has_no_dead_space_and_no_solid() {
    let found = read(&solids::plate([10.0, 10.0], 1.0), up());
    assert_eq!((found.space.volume_mm3, found.space.area_mm2, found.space.deepest), (0.0, 0.0, None));
    assert!(found.solid.is_none());
}

#[test]
fn a_part_that_ends_above_the_ground_is_blocked_out_down_to_its_own_border() {
    let mesh = Mesh::together(&[raised(&solids::icosphere(4.0, 0.3), 4.0), solids::plate([12.0, 12.0], 0.5)]);
    let topology = Topology::new(&mesh);
    let base = vec![false; mesh.faces().len()];
    let cast = Cast { mesh: &mesh, topology: &topology, base: &base };
    // The zone of the sphere between 2 mm and 4 mm height: below the equator by 2 mm at most.
    let part: Vec<bool> = (0..mesh.faces().len() as u32)
        .map(|f| {
            let c = mesh.face_centre(f);
            c.z > 2.0 && c.z < 4.5
        })
        .collect();
    let columns = Columns::new(&cast, &up(), COLUMN_MM);
    let got = columns.volume_mm3(&columns.over_part(&mesh, &topology, &part));
    // Cylinder of 2 mm less the zone of the ball beside the equator.
    let (r, h) = (4.0f64, 2.0);
    let volume = PI * r * r * h - PI * (r * r * h - h * h * h / 3.0);
    assert!((got / volume - 1.0).abs() < 0.08, "{got} for {volume}");
}

#[test]
fn columns_stand_as_close_as_asked_over_a_cast_and_wider_over_what_is_too_large_for_one() {
    let spacing = |mesh: &Mesh| {
        let topology = Topology::new(mesh);
        let base = vec![false; mesh.faces().len()];
        let cast = Cast { mesh, topology: &topology, base: &base };
        Columns::new(&cast, &up(), COLUMN_MM).spacing_mm()
    };
    // Upper and lower side are cut, so that 70 mm square are 0.98 million crossings at 0.1 mm.
    assert!((spacing(&solids::cuboid([70.0, 70.0, 20.0], 70.0)) - COLUMN_MM).abs() < 1e-12);
    // 400 mm square are 32 million: a million, and no more, are cut.
    let wide = spacing(&solids::cuboid([400.0, 400.0, 20.0], 400.0));
    let crossings = 2.0 * 400.0 * 400.0 / (wide * wide);
    assert!((0.9e6..=1.0001e6).contains(&crossings), "{crossings} at {wide} mm");
}
