//! The surface against an f64 test of every triangle written another way, and against `parry3d`.

use super::*;
use parry3d_f64::math::Vector as ParryVector;
use parry3d_f64::query::{PointQuery, Ray as ParryRay, RayCast};
use parry3d_f64::shape::TriMesh;

/// Numbers between 0 and 1, the same in every run.
struct Rolls(u64);

impl Rolls {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }
    fn point(&mut self, size: f64) -> Point {
        Point::new(self.next(), self.next(), self.next()) * size - Vector::repeat(size / 2.0)
    }
}

/// A rough sheet: a grid with bumps, some slivers among its triangles.
fn sheet(n: u32, shift: Vector) -> Mesh {
    let mut rolls = Rolls(7);
    let mut vertices = Vec::new();
    for j in 0..=n {
        for i in 0..=n {
            let (x, y) =
                (20.0 * f64::from(i) / f64::from(n) - 10.0, 20.0 * f64::from(j) / f64::from(n) - 10.0);
            let squeeze = if i % 7 == 3 { 0.499 } else { 0.0 };
            vertices.push(Point::new(x + squeeze * 20.0 / f64::from(n), y, 2.0 * rolls.next()) + shift);
        }
    }
    let mut faces = Vec::new();
    for j in 0..n {
        for i in 0..n {
            let a = j * (n + 1) + i;
            faces.extend([[a, a + 1, a + n + 2], [a, a + n + 2, a + n + 1]]);
        }
    }
    Mesh::new(vertices, faces).unwrap()
}

/// Distance to a triangle by regions of its corners and sides, independent of `triangle::closest`.
fn reference_distance(p: &Point, [a, b, c]: &[Point; 3]) -> f64 {
    let (ab, ac, ap) = (b - a, c - a, p - a);
    let (d1, d2) = (ab.dot(&ap), ac.dot(&ap));
    if d1 <= 0.0 && d2 <= 0.0 {
        return ap.norm();
    }
    let bp = p - b;
    let (d3, d4) = (ab.dot(&bp), ac.dot(&bp));
    if d3 >= 0.0 && d4 <= d3 {
        return bp.norm();
    }
    let vc = d1 * d4 - d3 * d2;
    if vc <= 0.0 && d1 >= 0.0 && d3 <= 0.0 {
        return (ap - ab * (d1 / (d1 - d3))).norm();
    }
    let cp = p - c;
    let (d5, d6) = (ab.dot(&cp), ac.dot(&cp));
    if d6 >= 0.0 && d5 <= d6 {
        return cp.norm();
    }
    let vb = d5 * d2 - d1 * d6;
    if vb <= 0.0 && d2 >= 0.0 && d6 <= 0.0 {
        return (ap - ac * (d2 / (d2 - d6))).norm();
    }
    let va = d3 * d6 - d5 * d4;
    if va <= 0.0 && d4 - d3 >= 0.0 && d5 - d6 >= 0.0 {
        return (bp - (c - b) * ((d4 - d3) / ((d4 - d3) + (d5 - d6)))).norm();
    }
    let sum = va + vb + vc;
    (ap - ab * (vb / sum) - ac * (vc / sum)).norm()
}

/// Distance along a ray to a triangle by Cramer's rule.
fn reference_ray(origin: &Point, d: &Direction, [a, b, c]: &[Point; 3]) -> Option<f64> {
    let (ab, ac) = (b - a, c - a);
    let h = d.cross(&ac);
    let det = ab.dot(&h);
    let s = (origin - a) / det;
    let (u, q) = (s.dot(&h), s.cross(&ab));
    let v = q.dot(d);
    let t = ac.dot(&q);
    (det.abs() > 1e-12 && u >= 0.0 && v >= 0.0 && u + v <= 1.0 && t >= 0.0).then_some(t)
}

#[test]
fn a_thousand_points_agree_with_a_test_of_every_triangle() {
    for shift in [Vector::zeros(), Vector::new(1e6, -1e6, 1e6)] {
        let mesh = sheet(40, shift);
        let (surface, mut rolls) = (Surface::new(&mesh), Rolls(1));
        for _ in 0..1000 {
            let p = rolls.point(30.0) + shift;
            let expected = (0..mesh.faces().len() as u32)
                .map(|f| reference_distance(&(p - shift), &mesh.corners(f).map(|q| q - shift)))
                .fold(f64::INFINITY, f64::min);
            let got = surface.closest(&p).unwrap();
            assert!((got.distance_mm - expected).abs() < 1e-9, "{} {expected}", got.distance_mm);
            assert!(((got.at - p).norm() - got.distance_mm).abs() < 1e-9);
            assert_eq!(surface.closest_from(&p, &Closest { face: 5, ..got }), Some(got));
            assert_eq!(surface.closest_within(&p, expected * 0.99), None);
        }
    }
}

#[test]
fn nearest_vertex_agrees_with_a_test_of_every_vertex() {
    let mesh = sheet(40, Vector::zeros());
    let (surface, mut rolls) = (Surface::new(&mesh), Rolls(2));
    for _ in 0..1000 {
        let p = rolls.point(30.0);
        let expected = mesh.vertices().iter().map(|q| (p - q).norm()).fold(f64::INFINITY, f64::min);
        assert!((surface.nearest_vertex(&p).unwrap().1 - expected).abs() < 1e-12);
    }
}

#[test]
fn rays_agree_with_a_test_of_every_triangle() {
    let mesh = sheet(40, Vector::zeros());
    let (surface, mut rolls) = (Surface::new(&mesh), Rolls(3));
    let mut met = 0;
    for _ in 0..1000 {
        let origin = rolls.point(30.0);
        let d = Direction::new_normalize((rolls.point(18.0) - origin) + Vector::new(0., 0., 1e-3));
        let mut expected: Vec<f64> = (0..mesh.faces().len() as u32)
            .filter_map(|f| reference_ray(&origin, &d, &mesh.corners(f)))
            .collect();
        expected.sort_by(f64::total_cmp);
        let all = surface.cast_all(&origin, &d, 100.0);
        assert_eq!(all.len(), expected.len());
        assert!(all.iter().zip(&expected).all(|(h, t)| (h.distance_mm - t).abs() < 1e-9));
        let first = surface.cast(&origin, &d, 100.0);
        assert_eq!(first.map(|h| h.distance_mm), all.first().map(|h| h.distance_mm));
        met += usize::from(first.is_some());
        if let Some(h) = first {
            assert_eq!(h.from_behind, mesh.doubled_area_normal(h.face).dot(&d) > 0.0);
            assert_eq!(surface.cast(&origin, &d, h.distance_mm * 0.999), None);
        }
    }
    assert!(met > 300, "{met}");
}

#[test]
fn another_library_reads_the_same_distances_and_rays() {
    let mesh = sheet(30, Vector::zeros());
    let corners = mesh.vertices().iter().map(|p| ParryVector::new(p.x, p.y, p.z)).collect();
    let other = TriMesh::new(corners, mesh.faces().to_vec()).unwrap();
    let (surface, mut rolls) = (Surface::new(&mesh), Rolls(4));
    for _ in 0..500 {
        let p = rolls.point(30.0);
        let q = ParryVector::new(p.x, p.y, p.z);
        let theirs = other.distance_to_local_point(q, false);
        assert!((surface.closest(&p).unwrap().distance_mm - theirs).abs() < 1e-9);
        let ray = ParryRay::new(q, ParryVector::new(0.0, 0.0, -1.0));
        let theirs = other.cast_local_ray(&ray, 100.0, false);
        let ours = surface.cast(&p, &Direction::new_normalize(-Vector::z()), 100.0).map(|h| h.distance_mm);
        assert_eq!(ours.is_some(), theirs.is_some());
        if let (Some(a), Some(b)) = (ours, theirs) {
            assert!((a - b).abs() < 1e-9);
        }
    }
}

#[test]
fn no_ray_slips_between_triangles_of_a_plate() {
    // A plate turned askew, hit exactly at its vertices, at the middles of its sides and at odd places on them.
    let mesh = sheet(24, Vector::new(0.1, 0.2, 0.3));
    let turned =
        mesh.moved(&crate::space::Motion::new(Vector::new(3.3, 0.7, 0.1), Vector::new(0.4, -0.7, 0.2)));
    for mesh in [&mesh, &turned] {
        let surface = Surface::new(mesh);
        let topology = crate::mesh::Topology::new(mesh);
        for d in [Vector::z(), Vector::new(0.3, -0.2, 0.9), Vector::new(0.0, 0.01, 1.0)] {
            let d = Direction::new_normalize(d);
            // At a fold in sight of the ray a hit hangs on the last digit; elsewhere it must be there.
            let faces_up = |v: u32| {
                topology.faces_of_vertex(v).iter().all(|&f| mesh.doubled_area_normal(f).dot(&d) > 1e-6)
            };
            let inner = |v: u32| topology.faces_of_vertex(v).len() == 6 && faces_up(v);
            let mut tried = 0;
            for e in topology.edges().iter().filter(|e| e.faces == 2 && inner(e.ends[0]) && inner(e.ends[1]))
            {
                tried += 1;
                let (a, b) = (mesh.vertex(e.ends[0]), mesh.vertex(e.ends[1]));
                for share in [0.0, 0.5, 1.0 / 3.0, 0.777, 1.0] {
                    let on = a + (b - a) * share;
                    let hits = surface.cast_all(&(on - d.into_inner() * 50.0), &d, 100.0);
                    assert!(
                        hits.iter().any(|h| (h.at - on).norm() < 1e-9),
                        "{:?} at {share} along {d:?}",
                        e.ends
                    );
                }
            }
            assert!(tried > 100, "{tried}");
        }
    }
}

#[test]
fn ties_go_to_the_lowest_index() {
    let p = |x: f64, y: f64| Point::new(x, y, 0.0);
    let plate =
        Mesh::new(vec![p(0., 0.), p(1., 0.), p(1., 1.), p(0., 1.)], vec![[0, 2, 3], [0, 1, 2], [0, 2, 3]])
            .unwrap();
    let surface = Surface::new(&plate);
    assert_eq!(surface.closest(&Point::new(0.5, 0.5, 2.0)).unwrap().face, 0);
    assert_eq!(surface.closest(&Point::new(0.2, 0.6, 2.0)).unwrap().face, 0);
    assert_eq!(surface.nearest_vertex(&Point::new(0.5, 0.5, 1.0)).unwrap().0, 0);
    let down = Direction::new_normalize(-Vector::z());
    assert_eq!(surface.cast(&Point::new(0.2, 0.6, 2.0), &down, 9.0).unwrap().face, 0);
}

#[test]
fn nothing_is_found_on_an_empty_surface() {
    for mesh in [Mesh::new(vec![], vec![]), Mesh::new(vec![Point::origin()], vec![])] {
        let surface = Surface::new(&mesh.unwrap());
        assert_eq!(surface.closest(&Point::origin()), None);
        assert_eq!(surface.nearest_vertex(&Point::origin()), None);
        assert_eq!(surface.cast(&Point::origin(), &Direction::new_normalize(Vector::z()), 9.0), None);
        assert!(surface.faces_within(&[]).is_empty());
    }
}

#[test]
fn a_column_holds_all_triangles_that_reach_into_it() {
    let mesh = sheet(30, Vector::new(5.0, 0.0, 0.0));
    let wall = |x: f64, y: f64, nx: f64, ny: f64| Plane {
        point: Point::new(x, y, 0.0),
        normal: Direction::new_normalize(Vector::new(nx, ny, 0.0)),
    };
    let walls = [wall(7., 0., 1., 0.), wall(4., 0., -1., 0.), wall(0., 2., 0., 1.), wall(0., -1., 0., -1.)];
    let expected: Vec<u32> = (0..mesh.faces().len() as u32)
        .filter(|&f| walls.iter().all(|w| mesh.corners(f).iter().any(|p| w.height_mm(p) <= 0.0)))
        .collect();
    assert_eq!(Surface::new(&mesh).faces_within(&walls), expected);
    assert!(expected.len() > 20);
}
