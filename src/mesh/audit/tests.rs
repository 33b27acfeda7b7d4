use super::*;
use crate::space::{Motion, Vector, cos, exp, sin};
use std::f64::consts::PI;

/// Height of a toy arch: a ridge along a half circle of 25 mm with round crowns of 3 mm on it, 0 around.
fn arch(x: f64, y: f64) -> f64 {
    let (r, turn) = (crate::space::hypot(x, y), crate::space::atan2(y, x));
    let across = (r - 25.0) / 6.0;
    let ridge = 7.0 * exp(-across * across) * if y > 0.0 { 1.0 } else { exp(-y * y / 20.0) };
    let crown = (turn / PI * 11.0).round().clamp(0.0, 11.0) / 11.0 * PI;
    let from = crate::space::hypot(x - 25.0 * cos(crown), y - 25.0 * sin(crown));
    ridge.max(7.0 + (9.0 - from * from).max(0.0).sqrt() - if from < 3.0 { 0.0 } else { 7.0 })
}

const N: u32 = 113;

fn plan(k: u32) -> (f64, f64) {
    (f64::from(k % N) / 1.4 - 40.0, f64::from(k / N) / 1.4 - 40.0)
}

fn grid(shift: u32, facing_up: bool) -> Vec<[u32; 3]> {
    let mut faces = Vec::new();
    for k in (0..N * (N - 1)).filter(|k| k % N != N - 1) {
        let (a, b, c, d) = (shift + k, shift + k + 1, shift + k + N + 1, shift + k + N);
        faces.extend(if facing_up { [[a, b, c], [a, c, d]] } else { [[a, c, b], [a, d, c]] });
    }
    faces
}

fn sheet(height: impl Fn(f64, f64) -> f64) -> Mesh {
    let place = |k| {
        let (x, y) = plan(k);
        Point::new(x, y, height(x, y))
    };
    Mesh::new((0..N * N).map(place).collect(), grid(0, true)).unwrap()
}

/// A closed body between two height fields.
fn slab(bottom: impl Fn(f64, f64) -> f64, top: impl Fn(f64, f64) -> f64) -> Mesh {
    let mut vertices: Vec<Point> = sheet(bottom).vertices().to_vec();
    vertices.extend(sheet(top).vertices());
    let mut faces = grid(0, false);
    faces.extend(grid(N * N, true));
    let ring: Vec<u32> = (0..N)
        .chain((1..N).map(|j| j * N + N - 1))
        .chain((0..N - 1).rev().map(|i| (N - 1) * N + i))
        .chain((1..N - 1).rev().map(|j| j * N))
        .collect();
    for (a, b) in ring.iter().zip(ring.iter().cycle().skip(1)) {
        faces.extend([[*a, *b, *b + N * N], [*a, *b + N * N, *a + N * N]]);
    }
    Mesh::new(vertices, faces).unwrap()
}

fn ball(centre: Point, radius: f64) -> Mesh {
    let (rows, columns) = (24u32, 48u32);
    let mut vertices = vec![centre + Vector::z() * radius, centre - Vector::z() * radius];
    for i in 1..rows {
        for j in 0..columns {
            let (a, b) = (PI * f64::from(i) / f64::from(rows), 2.0 * PI * f64::from(j) / f64::from(columns));
            vertices.push(centre + Vector::new(sin(a) * cos(b), sin(a) * sin(b), cos(a)) * radius);
        }
    }
    let at = |i: u32, j: u32| 2 + (i - 1) * columns + j % columns;
    let mut faces = Vec::new();
    for j in 0..columns {
        faces.push([0, at(1, j), at(1, j + 1)]);
        faces.push([1, at(rows - 1, j + 1), at(rows - 1, j)]);
        for i in 1..rows - 1 {
            faces.push([at(i, j), at(i + 1, j), at(i + 1, j + 1)]);
            faces.push([at(i, j), at(i + 1, j + 1), at(i, j + 1)]);
        }
    }
    Mesh::new(vertices, faces).unwrap()
}

fn scaled(mesh: &Mesh, factor: f64) -> Mesh {
    Mesh::new(mesh.vertices().iter().map(|p| p * factor).collect(), mesh.faces().to_vec()).unwrap()
}

fn moved(mesh: &Mesh, turn: [f64; 3], shift: [f64; 3]) -> Mesh {
    mesh.moved(&Motion::new(Vector::from(shift), Vector::from(turn)))
}

fn found(mesh: &Mesh) -> Vec<(DefectKind, usize)> {
    audit(mesh, &Topology::new(mesh)).into_iter().map(|d| (d.kind, d.count)).collect()
}

#[test]
fn a_sound_cast_has_no_defect_and_an_open_scan_only_its_border() {
    assert_eq!(found(&slab(|_, _| -10.0, arch)), []);
    assert_eq!(found(&sheet(arch)), [(DefectKind::OpenBorder, 1)]);
}

#[test]
fn a_surface_that_faces_inward_is_named_in_every_pose_and_none_that_faces_outward() {
    for (i, surface) in [sheet(arch), slab(|_, _| -10.0, arch)].iter().enumerate() {
        for k in 0..8 {
            let turn = [f64::from(k), 1.3 * f64::from(k % 3), -0.7 * f64::from(k)];
            let posed = moved(surface, turn, [30.0 * f64::from(k), -12.0, 5.0]);
            assert_eq!(facing::facing(&posed), facing::Facing::Outward, "surface {i}, pose {k}");
            assert_eq!(facing::facing(&posed.turned_over()), facing::Facing::Inward, "surface {i}, pose {k}");
        }
    }
    assert_eq!(facing::facing(&sheet(|_, _| 0.0)), facing::Facing::Unsure);
    assert!(found(&slab(|_, _| -10.0, arch).turned_over()).contains(&(DefectKind::InsideOut, 1)));
}

#[test]
fn an_impression_is_a_negative_and_a_cast_is_none() {
    let impression = slab(arch, |_, _| 20.0);
    for k in 0..4 {
        let turn = [f64::from(k), 2.0 * f64::from(k), 0.5 * f64::from(k)];
        let defects = found(&moved(&impression, turn, [9.0, 9.0, 9.0]));
        assert!(defects.contains(&(DefectKind::Negative, 1)), "pose {k}: {defects:?}");
        let cast = moved(&slab(|_, _| -10.0, arch), turn, [9.0, 9.0, 9.0]);
        assert!(!found(&cast).contains(&(DefectKind::Negative, 1)), "pose {k}");
    }
}

#[test]
fn holes_are_told_from_the_outer_border() {
    let whole = sheet(arch);
    // Two triangles out of the middle of the sheet, at two places.
    let gone = [2 * (30 * (N - 1) + 45), 2 * (70 * (N - 1) + 16)];
    let (holed, _) = whole.part(|f| !gone.contains(&(f & !1)));
    assert_eq!(found(&holed), [(DefectKind::Hole, 2), (DefectKind::OpenBorder, 1)]);
    let (closed_but_one, _) = slab(|_, _| -10.0, arch).part(|f| f != 4000);
    assert_eq!(found(&closed_but_one), [(DefectKind::Hole, 1)]);
}

#[test]
fn edges_that_join_three_triangles_or_face_two_ways_are_counted() {
    let p = |x: f64, y: f64, z: f64| Point::new(x, y, z);
    let fin = Mesh::new(
        vec![p(0., 0., 0.), p(60., 0., 0.), p(30., 40., 0.), p(30., -40., 0.), p(30., 0., 50.)],
        vec![[0, 1, 2], [1, 0, 3], [0, 1, 4]],
    )
    .unwrap();
    assert!(found(&fin).contains(&(DefectKind::NonManifoldEdge, 1)));
    let fold = Mesh::new(fin.vertices()[..4].to_vec(), vec![[0, 1, 2], [0, 1, 3]]).unwrap();
    assert!(found(&fold).contains(&(DefectKind::InconsistentFacing, 1)));
    let needle = Mesh::new(vec![p(0., 0., 0.), p(60., 0., 0.), p(30., 0.5, 0.)], vec![[0, 1, 2]]).unwrap();
    assert!(found(&needle).contains(&(DefectKind::Sliver, 1)));
}

#[test]
fn pieces_are_debris_inner_walls_or_other_arches() {
    let cast = slab(|_, _| -10.0, arch);
    let crumb = ball(Point::new(0.0, 0.0, 30.0), 1.0);
    assert_eq!(found(&Mesh::together([&cast, &crumb])), [(DefectKind::Debris, 1)]);
    let cavity = slab(|x, y| if x.abs().max(y.abs()) > 39.0 { -3.0 } else { -5.0 }, |_, _| -2.0);
    let cavity = scaled(&cavity, 0.9).turned_over();
    assert_eq!(found(&Mesh::together([&cast, &cavity])), [(DefectKind::InnerWall, 1)]);
    let opposing = moved(&cast, [PI, 0.0, 0.0], [1.0, 2.0, 30.0]);
    assert_eq!(found(&Mesh::together([&cast, &opposing])), [(DefectKind::BothArchesInOne, 2)]);
    let beside = moved(&cast, [0.0; 3], [100.0, 0.0, 0.0]);
    assert_eq!(found(&Mesh::together([&cast, &beside])), [(DefectKind::SeveralShells, 2)]);
}

#[test]
fn a_thin_shell_with_an_opening_is_a_hollow_model() {
    let shell = slab(|x, y| arch(x, y) - 2.5, arch);
    assert!(found(&shell).contains(&(DefectKind::InnerWall, 1)), "{:?}", found(&shell));
}

#[test]
fn the_likely_unit_is_named_and_nothing_is_scaled() {
    let cast = slab(|_, _| -10.0, arch);
    for unit in LengthUnit::ALL {
        let read_as_mm = scaled(&cast, 1.0 / unit.mm());
        let defects = audit(&read_as_mm, &Topology::new(&read_as_mm));
        match unit {
            LengthUnit::Mm => assert!(defects.is_empty()),
            _ => {
                let of_unit = defects.iter().find(|d| d.kind == DefectKind::UnlikelyUnit).unwrap();
                assert!(of_unit.says.contains(&format!("unit = \"{}\"", unit.word())), "{}", of_unit.says);
            }
        }
    }
    // A scan in mm that the case file calls metres.
    let metres = scaled(&cast, 1000.0);
    let defects = audit_in(&metres, &Topology::new(&metres), LengthUnit::M);
    assert!(defects[0].says.contains("unit = \"mm\""), "{}", defects[0].says);
}

#[test]
fn the_same_surface_twice_is_seen_in_any_order_and_pose_and_two_surfaces_are_not() {
    let a = sheet(arch);
    let reordered = {
        let n = a.vertices().len() as u32;
        let vertices = a.vertices().iter().rev().copied().collect();
        let faces = a.faces().iter().rev().map(|f| [n - 1 - f[1], n - 1 - f[2], n - 1 - f[0]]).collect();
        Mesh::new(vertices, faces).unwrap()
    };
    for other in [a.clone(), reordered, moved(&a, [0.3, 0.2, 0.1], [5.0, 0.0, 1.0])] {
        let defects = pair(&a, &other);
        assert_eq!((defects.len(), defects[0].kind), (1, DefectKind::SameFileTwice));
    }
    assert_eq!(pair(&a, &sheet(|x, y| arch(x, y) + 0.01 * x)), []);
}
