//! Two surfaces that may meet: whether their triangles cross, and how near they come.
//!
//! Every pair of triangles whose boxes come near enough is tested in f64: crossing by the sides of each against the
//! other, distance by corners against triangles and sides against sides. Exact to 1e-9 mm of the meshes; touching counts
//! as a distance of 0, not as crossing.

use super::Surface;
use super::triangle;
use crate::mesh::FaceId;
use crate::space::{Direction, Plane, Point, Vector};

/// How near two surfaces come.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Nearest {
    /// Least distance, mm; 0 where they cross.
    pub distance_mm: f64,
    /// Where on the first, mm.
    pub at: Point,
    /// Where on the other, mm.
    pub other_at: Point,
    /// Whether triangles of one pass through triangles of the other.
    pub crossing: bool,
}

type Corners = [Point; 3];

/// How near the surface made of `corners` comes to those triangles of `other` that `keep` accepts; `None` where none of
/// them is within `reach_mm`.
pub fn nearest(
    corners: &[Corners],
    other: &Surface,
    reach_mm: f64,
    keep: impl Fn(FaceId) -> bool,
) -> Option<Nearest> {
    let (low, high) = bounds(corners.iter().flatten())?;
    let far = Vector::repeat(reach_mm);
    let faces: Vec<Corners> = other
        .faces_within(&sides(&(low - far), &(high + far)))
        .into_iter()
        .filter(|&f| keep(f))
        .map(|f| other.mesh().corners(f))
        .collect();
    let boxes: Vec<Option<(Point, Point)>> = faces.iter().map(|t| bounds(t.iter())).collect();
    let mut best: Option<Nearest> = None;
    for a in corners {
        let Some(around) = bounds(a.iter()) else { continue };
        for (b, box_of) in faces.iter().zip(&boxes) {
            let Some(box_of) = box_of else { continue };
            let limit = best.map_or(reach_mm, |n| n.distance_mm);
            if gap2(&around, box_of) > limit * limit || best.is_some_and(|n| n.crossing) {
                continue;
            }
            let Some(found) = pair(a, b) else { continue };
            let better = match best {
                None => found.distance_mm <= reach_mm,
                Some(n) => found.crossing || found.distance_mm < n.distance_mm,
            };
            if better {
                best = Some(found);
            }
        }
    }
    best
}

fn bounds<'p>(points: impl Iterator<Item = &'p Point>) -> Option<(Point, Point)> {
    points.fold(None, |so_far, p| {
        Some(so_far.map_or((*p, *p), |(low, high): (Point, Point)| (low.inf(p), high.sup(p))))
    })
}

/// The six sides of a box, normals outward.
fn sides(low: &Point, high: &Point) -> Vec<Plane> {
    let axes = [Vector::x(), Vector::y(), Vector::z()];
    axes.iter()
        .flat_map(|a| {
            [
                Plane { point: *high, normal: Direction::new_unchecked(*a) },
                Plane { point: *low, normal: Direction::new_unchecked(-a) },
            ]
        })
        .collect()
}

fn gap2(a: &(Point, Point), b: &(Point, Point)) -> f64 {
    (0..3).map(|k| (b.0[k] - a.1[k]).max(a.0[k] - b.1[k]).max(0.0)).map(|gap| gap * gap).sum()
}

/// Two triangles.
fn pair(a: &Corners, b: &Corners) -> Option<Nearest> {
    if let Some(at) = crosses(a, b).or_else(|| crosses(b, a)) {
        return Some(Nearest { distance_mm: 0.0, at, other_at: at, crossing: true });
    }
    let mut best: Option<(f64, Point, Point)> = None;
    let mut keep = |p: Point, q: Point| {
        let d2 = (p - q).norm_squared();
        if best.is_none_or(|b| d2 < b.0) {
            best = Some((d2, p, q));
        }
    };
    for p in a {
        keep(*p, closest(p, b));
    }
    for q in b {
        keep(closest(q, a), *q);
    }
    for i in 0..3 {
        for j in 0..3 {
            let (p, q) = between((a[i], a[(i + 1) % 3]), (b[j], b[(j + 1) % 3]));
            keep(p, q);
        }
    }
    best.map(|(d2, at, other_at)| Nearest { distance_mm: d2.sqrt(), at, other_at, crossing: false })
}

fn closest(p: &Point, t: &Corners) -> Point {
    triangle::closest(p, t).1
}

/// A place where a side of `a` passes through the inside of `b`.
fn crosses(a: &Corners, b: &Corners) -> Option<Point> {
    let normal = (b[1] - b[0]).cross(&(b[2] - b[0]));
    let size = normal.norm();
    if size <= 0.0 {
        return None;
    }
    let height = |p: &Point| (p - b[0]).dot(&normal) / size;
    (0..3).find_map(|i| {
        let (p, q) = (a[i], a[(i + 1) % 3]);
        let (h, k) = (height(&p), height(&q));
        if !((h > TOUCH_MM && k < -TOUCH_MM) || (h < -TOUCH_MM && k > TOUCH_MM)) {
            return None;
        }
        let at = p + (q - p) * (h / (h - k));
        let inside = (0..3).all(|j| {
            let side = b[(j + 1) % 3] - b[j];
            side.cross(&(at - b[j])).dot(&normal) > 0.0
        });
        inside.then_some(at)
    })
}

/// What reaches less far through a triangle touches it, mm.
const TOUCH_MM: f64 = 1e-9;

/// Nearest places of two segments.
fn between((p, p_end): (Point, Point), (q, q_end): (Point, Point)) -> (Point, Point) {
    let (u, v, w) = (p_end - p, q_end - q, p - q);
    let (a, b, c, d, e) = (u.dot(&u), u.dot(&v), v.dot(&v), u.dot(&w), v.dot(&w));
    let det = a * c - b * b;
    let mut s = if det > 1e-12 * a * c { ((b * e - c * d) / det).clamp(0.0, 1.0) } else { 0.0 };
    let mut t = if c > 0.0 { (b * s + e) / c } else { 0.0 };
    if !(0.0..=1.0).contains(&t) {
        t = t.clamp(0.0, 1.0);
        s = if a > 0.0 { ((b * t - d) / a).clamp(0.0, 1.0) } else { 0.0 };
    }
    (p + u * s, q + v * t)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::shapes::sphere;
    use crate::mesh::Mesh;

    fn corners(mesh: &Mesh) -> Vec<Corners> {
        (0..mesh.faces().len() as u32).map(|f| mesh.corners(f)).collect()
    }

    #[test]
    fn two_spheres_come_as_near_as_their_centres_say() {
        let a = sphere(Point::new(0.0, 0.0, 0.0), 3.0, 0.3);
        for (far, crossing) in [(7.5, false), (6.3, false), (5.5, true)] {
            let b = Surface::new(&sphere(Point::new(far * 0.6, far * 0.8, 0.0), 3.0, 0.35));
            let n = nearest(&corners(&a), &b, 5.0, |_| true).unwrap();
            assert_eq!(n.crossing, crossing, "{far}");
            if !crossing {
                // Both tessellations lie inside their spheres by at most the chord error.
                let truth = far - 6.0;
                assert!(n.distance_mm >= truth && n.distance_mm < truth + 0.02, "{far}: {}", n.distance_mm);
                assert!(((n.at - n.other_at).norm() - n.distance_mm).abs() < 1e-12);
            }
        }
    }

    #[test]
    fn sides_that_pass_each_other_are_nearer_than_any_corner() {
        let p = Point::new;
        let a = [p(-1., 0., 0.), p(1., 0., 0.), p(0., 0., -1.)];
        let b = Mesh::new(vec![p(0., -1., 0.2), p(0., 1., 0.2), p(0., 0., 1.2)], vec![[0, 1, 2]]).unwrap();
        let n = nearest(&[a], &Surface::new(&b), 1.0, |_| true).unwrap();
        assert!((n.distance_mm - 0.2).abs() < 1e-12 && !n.crossing);
        assert!((n.at - p(0., 0., 0.)).norm() < 1e-12);
        assert!(nearest(&[a], &Surface::new(&b), 0.1, |_| true).is_none());
    }

    #[test]
    fn a_pair_is_as_near_as_an_independent_library_says() {
        use parry3d_f64::math::{Pose, Vec3};
        use parry3d_f64::query;
        use parry3d_f64::shape::Triangle;
        let mut seed = 7_u64;
        let mut next = || {
            seed = seed.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
            (seed >> 11) as f64 / (1_u64 << 53) as f64 * 2.0 - 1.0
        };
        let mut crossed = 0;
        for _ in 0..2000 {
            let mut triangle = || -> Corners { [0; 3].map(|_| Point::new(next(), next(), next())) };
            let (a, b) = (triangle(), triangle());
            let mine = pair(&a, &b).unwrap();
            let theirs = |t: &Corners| {
                let [a, b, c] = t.map(|p| Vec3::new(p.x, p.y, p.z));
                Triangle::new(a, b, c)
            };
            let judged =
                query::distance(&Pose::IDENTITY, &theirs(&a), &Pose::IDENTITY, &theirs(&b)).unwrap().distance;
            assert!((mine.distance_mm - judged).abs() < 1e-6, "{} {judged}", mine.distance_mm);
            crossed += u32::from(mine.crossing);
        }
        assert!(crossed > 100, "{crossed} pairs crossed");
    }
}
