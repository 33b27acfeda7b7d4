//! Closed forms, and a march over all triangles on random surfaces.

use super::*;
use crate::phantom::solids::{self, Barrel};
use crate::space::{Vector, cos, direction, hypot, sin};

fn up() -> Direction {
    Direction::new_unchecked(Vector::z())
}

fn surveyor(mesh: &Mesh) -> Surveyor {
    Surveyor::new(mesh, &Topology::new(mesh))
}

/// Depths against a formula (of the vertex; `None` = not judged): greatest difference, over how many.
fn worst(mesh: &Mesh, d: &Direction, truth: impl Fn(&Point) -> Option<f64>) -> (f64, usize) {
    let field = surveyor(mesh).field(d);
    let mut out = (0.0f64, 0);
    for (p, depth) in mesh.vertices().iter().zip(&field.depth_mm) {
        if let Some(wanted) = truth(p) {
            let got = depth.unwrap();
            out = (out.0.max((got - wanted).abs()), out.1 + 1);
        }
    }
    out
}

#[test]
fn sphere_by_its_latitude() {
    for (radius, edge) in [(4.0, 0.1), (5.0, 0.2), (6.0, 0.4)] {
        for mesh in [solids::icosphere(radius, edge), solids::lat_long_sphere(radius, edge)] {
            for d in [Vector::z(), Vector::new(0.3, -0.5, 0.9), Vector::new(-1.0, 0.2, -0.1)] {
                let d = direction(d).unwrap();
                let (most, n) = worst(&mesh, &d, |p| {
                    let h = p.coords.dot(&d);
                    if h < 0.0 { solids::sphere_depth_mm(radius, -h.max(-radius)) } else { Some(0.0) }
                });
                let chord = 1.3 * edge * edge / (8.0 * radius);
                assert!(most <= 2.0 * chord + 0.005, "R {radius} edge {edge}: {most} over {n}");
                assert!(n > 1000);
            }
        }
    }
}

#[test]
fn leaning_wall_cone_cylinder_ring_and_ellipsoid() {
    for (tilt, edge) in [(5.0, 0.4), (10.0, 0.2), (15.0, 0.3)] {
        let wall = solids::leaning_wall([4.0, 6.0, 5.0], tilt, edge);
        let slope = crate::space::tan(f64::to_radians(tilt));
        let (most, n) = worst(&wall, &up(), |p| {
            let on_wall = (p.x - 2.0 - p.z * slope).abs() < 1e-9 && p.y.abs() < 1.6;
            on_wall.then(|| solids::wall_depth_mm(tilt, 5.0 - p.z))
        });
        assert!(most < 1e-5 && n > 50, "wall {tilt}: {most} over {n}");
        let cone = solids::cone([2.0, 2.0 + 4.0 * slope], 4.0, edge, true);
        let (most, n) = worst(&cone, &up(), |p| {
            let r = hypot(p.x, p.y);
            ((r - 2.0 - p.z * slope).abs() < 1e-9).then(|| solids::wall_depth_mm(tilt, 4.0 - p.z))
        });
        assert!(most < edge * edge / (8.0 * 2.0) + 0.005 && n > 100, "cone {tilt}: {most} over {n}");
        let cylinder = solids::tilted_cylinder(3.0, 6.0, tilt, edge);
        let t = f64::to_radians(tilt);
        let axis = Vector::new(sin(t), 0.0, cos(t));
        let (most, n) = worst(&cylinder, &up(), |p| {
            let along = p.coords.dot(&axis);
            let lowest = p.y.abs() < 1e-9 && (p.coords - axis * along).x > 2.85;
            (lowest && along > 0.0)
                .then(|| solids::tilted_cylinder_depth_mm(3.0, tilt, 6.0 - along))
                .flatten()
        });
        assert!(most < edge * edge / 24.0 + 0.005 && n > 8, "cylinder {tilt}: {most} over {n}");
    }
    let ring = solids::torus_ring(4.0, 1.5, 0.2);
    let (most, n) = worst(&ring, &up(), |p| {
        let out = hypot(p.x, p.y) - 4.0;
        (out > 0.0 && p.z < -1e-9).then_some(1.5 - out)
    });
    assert!(most < 0.04 / 12.0 + 0.005 && n > 1000, "ring: {most} over {n}");
    let egg = solids::ellipsoid([4.0, 4.0, 6.0], 0.2);
    let (most, n) =
        worst(&egg, &up(), |p| (p.z < 0.0).then(|| solids::spheroid_depth_mm(4.0, 6.0, -p.z)).flatten());
    assert!(most < 2.0 * 0.05 / 32.0 + 0.005 && n > 1000, "ellipsoid: {most} over {n}");
}

#[test]
fn barrels_on_a_plate_alone_and_in_contact() {
    let barrel = Barrel { belly_mm: 3.5, belly_at_mm: 3.5, height_mm: 6.0, wall_mm: 6.0 };
    for (edge, closed) in [(0.1, false), (0.2, true), (0.4, false)] {
        let mesh = solids::barrel_on_plate(&barrel, 8.0, edge, closed);
        let (most, n) = worst(&mesh, &up(), |p| {
            let r = hypot(p.x, p.y);
            if p.z.abs() < 1e-9 && r < 7.9 {
                Some(barrel.plate_depth_mm(r))
            } else {
                (p.z > 0.0 && p.z < 6.0).then(|| barrel.depth_mm(p.z))
            }
        });
        assert!(most < 2.0 * edge * edge / 28.0 + 0.005 && n > 500, "barrel {edge}: {most} over {n}");
    }
    // Nearly in contact: what lies between two bellies is free only toward the open sides (y), or through the gap.
    let (cell, belly) = (7.02, 3.5);
    let row = solids::barrel_row(&[barrel; 3], cell, 0.2);
    let (most, n) = worst(&row, &up(), |p| {
        let on_plate = p.z.abs() < 1e-9 && p.x > 0.0 && p.x < 2.0 * cell && p.y.abs() < 3.0;
        let r = (0..3).map(|k| hypot(p.x - f64::from(k) * cell, p.y)).fold(f64::INFINITY, f64::min);
        (on_plate && r < belly).then_some(belly - r)
    });
    assert!(most < 2.0 * 0.04 / 28.0 + 0.005 && n > 100, "row: {most} over {n}");
    // In contact, with bellies that overlap by 0.2 mm: the notch between two circles is the nearest free place.
    let tight = crossing_barrels(&barrel, 6.8);
    let notch = (belly * belly - 3.4f64 * 3.4).sqrt();
    let (most, n) = worst(&tight, &up(), |p| {
        // Places under both, near the middle: straight out to the notch.
        ((p.x - 3.4).abs() < 0.02 && p.y.abs() < 0.3 && p.z.abs() < 1e-9).then(|| notch - p.y.abs())
    });
    assert!(most < 0.03 && n > 0, "in contact: {most} over {n}");
}

/// Two barrels that stand in one another, one shell.
fn crossing_barrels(barrel: &Barrel, apart: f64) -> Mesh {
    let one = solids::barrel_on_plate(barrel, 3.6, 0.1, false);
    let shift = crate::space::Motion::translation(apart, 0.0, 0.0);
    Mesh::together([
        &one,
        &one.moved(&shift),
        &solids::plate([20.0, 20.0], 0.4).moved(&crate::space::Motion::translation(3.4, 0.0, -0.5)),
    ])
}

#[test]
fn walls_along_the_path_are_free_whatever_the_pose() {
    for d in [Vector::z(), Vector::new(0.3, 0.4, 0.8), Vector::x(), Vector::new(0.0, -0.7, 0.1)] {
        let d = direction(d).unwrap();
        let turn = nalgebra::UnitQuaternion::rotation_between(&Vector::z(), &d).unwrap();
        let motion = crate::space::Motion::from_parts(nalgebra::Translation3::new(1e6, -1e6, 3.0), turn);
        for edge in [0.5, 20.0] {
            let box_ = solids::cuboid([4.0, 6.0, 3.0], edge).moved(&motion);
            let field = surveyor(&box_).field(&d);
            let low = box_.vertices().iter().map(|p| p.coords.dot(&d)).fold(f64::INFINITY, f64::min);
            for (p, depth) in box_.vertices().iter().zip(&field.depth_mm) {
                let inner = box_.vertices().len() > 8 && p.coords.dot(&d) < low + 1e-6;
                if !inner {
                    assert_eq!(*depth, Some(0.0));
                }
            }
        }
    }
    // The underside of a box of 4 by 6 mm: the depth of a place is its distance from the nearest wall.
    let box_ = solids::cuboid([4.0, 6.0, 3.0], 0.5);
    let (most, n) = worst(&box_, &up(), |p| (p.z < -1.4999).then(|| (2.0 - p.x.abs()).min(3.0 - p.y.abs())));
    assert!(most < 1e-5 && n > 90, "{most} {n}");
}

#[test]
fn stacked_and_double_surfaces_keep_their_common_border() {
    let shift = |z| crate::space::Motion::translation(0.0, 0.0, z);
    let plate = solids::plate([6.0, 6.0], 1.0);
    let stack = Mesh::together([
        &plate,
        &plate.moved(&shift(2.0)),
        &plate.moved(&shift(4.0)),
        &plate.moved(&shift(4.0)).turned_over(),
    ]);
    let (most, n) =
        worst(&stack, &up(), |p| Some(if p.z > 3.0 { 0.0 } else { 3.0 - p.x.abs().max(p.y.abs()) }));
    assert!(most < 1e-5 && n == stack.vertices().len(), "{most}");
    // Every triangle twice, and once more turned over: non-manifold everywhere, the figures stay.
    let ball = solids::icosphere(3.0, 0.4);
    let mut faces = ball.faces().to_vec();
    faces.extend_from_slice(ball.faces());
    faces.extend(ball.turned_over().faces());
    let triple = Mesh::new(ball.vertices().to_vec(), faces).unwrap();
    let depths = |mesh: &Mesh| surveyor(mesh).field(&up()).depth_mm;
    let once = depths(&ball);
    for other in [depths(&triple), depths(&ball.turned_over())] {
        let apart = |(a, b): (&Option<f64>, &Option<f64>)| (a.unwrap() - b.unwrap()).abs();
        assert!(once.iter().zip(&other).map(apart).fold(0.0, f64::max) < 1e-6);
    }
}

/// Numbers that look random and are the same everywhere.
struct Dice(u64);

impl Dice {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }
    fn between(&mut self, lo: f64, hi: f64) -> f64 {
        lo + (hi - lo) * self.next()
    }
}

/// A sheet thrown into folds, with some triangles missing and some loose vertices moved: it overhangs and crosses itself.
fn crumpled(dice: &mut Dice, n: usize) -> Mesh {
    let wave: Vec<[f64; 5]> = (0..6)
        .map(|_| std::array::from_fn(|k| dice.between(-1.0, 1.0) * [1.2, 1.2, 3.2, 1.1, 1.1][k]))
        .collect();
    let mut vertices = Vec::new();
    for j in 0..=n {
        for i in 0..=n {
            let (x, y) = (12.0 * i as f64 / n as f64, 12.0 * j as f64 / n as f64);
            let mut p = Point::new(x, y, 0.0);
            for w in &wave {
                let s = sin(w[0] * x + w[1] * y + w[2]);
                p += Vector::new(w[3] * s, w[4] * s, 0.9 * s * w[3]);
            }
            vertices.push(p + Vector::new(dice.next(), dice.next(), dice.next()) * 0.1);
        }
    }
    let mut faces = Vec::new();
    for j in 0..n {
        for i in 0..n {
            let a = (j * (n + 1) + i) as u32;
            let (b, c, d) = (a + 1, a + n as u32 + 2, a + n as u32 + 1);
            faces.extend([[a, b, c], [a, c, d]]);
        }
    }
    Mesh::new(vertices, faces).unwrap()
}

/// Greatest height over a place, by every triangle.
fn highest(triangles: &[[[f64; 3]; 3]], q: [f64; 2]) -> f64 {
    let mut most = f64::NEG_INFINITY;
    for [a, b, c] in triangles {
        let cross =
            |p: &[f64; 3], r: &[f64; 3]| (p[0] - q[0]) * (r[1] - q[1]) - (p[1] - q[1]) * (r[0] - q[0]);
        let (u, v, w) = (cross(b, c), cross(c, a), cross(a, b));
        if (u >= 0.0 && v >= 0.0 && w >= 0.0) || (u <= 0.0 && v <= 0.0 && w <= 0.0) {
            let sum = u + v + w;
            if sum != 0.0 {
                most = most.max((u * a[2] + v * b[2] + w * c[2]) / sum);
            }
        }
    }
    most
}

#[test]
fn random_surfaces_against_every_triangle() {
    let mut dice = Dice(7);
    let (mut undercut, mut free) = (0, 0);
    for round in 0..8 {
        let mesh = crumpled(&mut dice, 12 + 4 * (round % 3));
        let d =
            direction(Vector::new(dice.between(-1.0, 1.0), dice.between(-1.0, 1.0), dice.between(-0.5, 1.0)))
                .unwrap();
        let surveyor = surveyor(&mesh);
        let field = surveyor.field(&d);
        let (u, v) = crate::space::across(&d);
        let flat = |p: &Point| [p.coords.dot(&u), p.coords.dot(&v), p.coords.dot(&d)];
        let triangles: Vec<[[f64; 3]; 3]> =
            (0..mesh.faces().len() as u32).map(|f| mesh.corners(f).map(|p| flat(&p))).collect();
        for (i, p) in mesh.vertices().iter().enumerate().step_by(3) {
            let [x, y, h] = flat(p);
            let others: Vec<[[f64; 3]; 3]> = triangles
                .iter()
                .zip(mesh.faces())
                .filter(|(_, f)| !f.contains(&(i as u32)))
                .map(|(t, _)| *t)
                .collect();
            let over = highest(&others, [x, y]);
            let depth = field.depth_mm[i].unwrap();
            assert_eq!(depth > 0.0, over > h + 1e-6, "round {round}, vertex {i}: {depth}, {over} over {h}");
            if depth == 0.0 {
                free += 1;
                continue;
            }
            undercut += 1;
            // No free place nearer than the depth ...
            for k in 0..120 {
                let (r, a) = ((depth - 1e-5) * dice.next().sqrt(), dice.between(0.0, std::f64::consts::TAU));
                let r = if k % 3 == 0 { depth - 1e-5 } else { r };
                let q = [x + r * cos(a), y + r * sin(a)];
                let over = highest(&triangles, q);
                assert!(over > h, "round {round}, vertex {i}: free at {r} of {depth}");
            }
            // ... and a free one right behind the place that was found.
            let face = mesh.faces().iter().position(|f| f.contains(&(i as u32))).unwrap() as u32;
            let at = surveyor.tilted(&d).depth_at(p, face);
            if at.depth_mm > 0.0 {
                let q = flat(&at.free_at.unwrap());
                let near = (0..64).any(|k| {
                    let a = std::f64::consts::TAU * f64::from(k) / 64.0;
                    highest(&triangles, [q[0] + 1e-5 * cos(a), q[1] + 1e-5 * sin(a)]) <= h + 1e-4
                });
                assert!(near, "round {round}, vertex {i}");
            }
        }
    }
    assert!(undercut > 200 && free > 100, "{undercut} undercut, {free} free");
}

#[test]
fn depths_of_some_vertices_are_those_of_the_whole() {
    let mut dice = Dice(11);
    let mut undercut = 0;
    for round in 0..6 {
        let mesh = crumpled(&mut dice, 30);
        let d = direction(Vector::new(dice.between(-1.0, 1.0), dice.between(-1.0, 1.0), 1.0)).unwrap();
        let surveyor = surveyor(&mesh);
        let tilted = surveyor.tilted(&d);
        let whole = tilted.field().depth_mm;
        // A few places near one another, and one far away.
        let first = (dice.next() * 600.0) as u32;
        let some: Vec<u32> = (first..first + 40).chain([900]).collect();
        for (v, depth) in some.iter().zip(tilted.depths_of(&some)) {
            let wanted = whole[*v as usize].unwrap();
            assert!((depth - wanted).abs() < 1e-6, "round {round}, vertex {v}: {depth}, {wanted}");
            undercut += usize::from(depth > 0.0);
        }
        assert_eq!(tilted.depths_of(&[]), Vec::<f64>::new());
    }
    assert!(undercut > 60, "{undercut}");
}

/// Every vertex asked by itself, against all triangles but its own.
#[test]
fn flags_that_neighbours_share_are_those_of_each_vertex() {
    let mut dice = Dice(5);
    let (mut undercut, mut free) = (0, 0);
    for round in 0..6 {
        let mesh = crumpled(&mut dice, 24 + 6 * (round % 2));
        let d = direction(Vector::new(dice.between(-1.0, 1.0), dice.between(-1.0, 1.0), 0.7)).unwrap();
        let (u, v) = crate::space::across(&d);
        let flat = |p: &Point| [p.coords.dot(&u), p.coords.dot(&v), p.coords.dot(&d)];
        let triangles: Vec<[[f64; 3]; 3]> =
            (0..mesh.faces().len() as u32).map(|f| mesh.corners(f).map(|p| flat(&p))).collect();
        let flags = surveyor(&mesh).tilted(&d).flags();
        for (i, p) in mesh.vertices().iter().enumerate() {
            let [x, y, h] = flat(p);
            let others = triangles.iter().zip(mesh.faces()).filter(|(_, f)| !f.contains(&(i as u32)));
            let others: Vec<[[f64; 3]; 3]> = others.map(|(t, _)| *t).collect();
            let over = highest(&others, [x, y]) > h + 1e-6;
            assert_eq!(flags[i], Some(over), "round {round}, vertex {i}");
            if over { undercut += 1 } else { free += 1 }
        }
    }
    assert!(undercut > 500 && free > 300, "{undercut} undercut, {free} free");
}

#[test]
fn a_hole_frees_nothing_without_a_note() {
    let ball = solids::lat_long_sphere(5.0, 0.25);
    let whole = surveyor(&ball).field(&up());
    // Holes in the side, over the height of contour, and on top.
    for (centre, width) in [
        (Point::new(5.0, 0.0, 0.2), 1.2),
        (Point::new(0.0, 5.0, -1.5), 0.9),
        (Point::new(0.0, 0.0, 5.0), 1.5),
    ] {
        let (holed, old) = ball.part(|f| (ball.face_centre(f) - centre).norm() > width);
        let field = surveyor(&holed).field(&up());
        for (v, &from) in old.iter().enumerate() {
            let (got, wanted) = (field.depth_mm[v].unwrap(), whole.depth_mm[from as usize].unwrap());
            let noted = field.closed_hole[v];
            assert!(noted || (got - wanted).abs() < 0.02, "{:?}: {got}, {wanted}", holed.vertices()[v]);
        }
        let share = field.closed_hole.iter().filter(|c| **c).count() as f64 / old.len() as f64;
        // Through a hole on top, a rod would enter the ball: depths near its floor then rest on the lid.
        assert!(share < 0.12 || centre.z > 4.0, "{share} of the vertices noted for one hole");
    }
    // A dome open below is no cast with a hole.
    let (dome, _) = ball.part(|f| ball.face_centre(f).z > -3.0);
    assert_eq!(surveyor(&dome).closed_holes(), 0);
}

#[test]
fn threads_and_loose_vertices_change_nothing() {
    let mut dice = Dice(3);
    let mesh = crumpled(&mut dice, 40);
    let d = direction(Vector::new(0.2, 0.3, 1.0)).unwrap();
    let pool = |n| rayon::ThreadPoolBuilder::new().num_threads(n).build().unwrap();
    let bits = |f: &UndercutField| f.depth_mm.iter().map(|d| d.map(f64::to_bits)).collect::<Vec<_>>();
    let one = pool(1).install(|| surveyor(&mesh).field(&d));
    let four = pool(4).install(|| surveyor(&mesh).field(&d));
    assert_eq!(bits(&one), bits(&four));
    let mut vertices = mesh.vertices().to_vec();
    vertices.push(Point::new(500.0, 0.0, 0.0));
    let loose = Mesh::new(vertices, mesh.faces().to_vec()).unwrap();
    let field = surveyor(&loose).field(&d);
    assert_eq!(field.depth_mm.last(), Some(&None));
    let empty = Mesh::new(vec![], vec![]).unwrap();
    assert!(surveyor(&empty).field(&d).depth_mm.is_empty());
}
