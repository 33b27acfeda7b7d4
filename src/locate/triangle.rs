//! One triangle: its point nearest to a place, and where a ray crosses it. Every figure of `locate` is decided here.

use crate::space::{Point, Vector};

/// Squared distance and nearest point of the segment from `a` along `ab`.
fn on_segment(p: &Point, a: &Point, ab: &Vector) -> (f64, Point) {
    let length2 = ab.norm_squared();
    let t = if length2 > 0.0 { ((p - a).dot(ab) / length2).clamp(0.0, 1.0) } else { 0.0 };
    // From the nearer end, so that an end point is returned exactly.
    let q = if t < 0.5 { a + ab * t } else { (a + ab) - ab * (1.0 - t) };
    ((p - q).norm_squared(), q)
}

/// Squared distance from `p` to the triangle, and its nearest point.
///
/// Inside the prism over the triangle the plane decides, elsewhere the sides. In a needle the rounding of the cross
/// product would tip the plane about the short side; there the normal is made square to the longest side again.
pub(super) fn closest(p: &Point, [a, b, c]: &[Point; 3]) -> (f64, Point) {
    let (ab, bc, ca) = (b - a, c - b, a - c);
    let mut normal = ab.cross(&(c - a));
    let sides = [ab.norm_squared(), bc.norm_squared(), ca.norm_squared()];
    let longest = sides[0].max(sides[1]).max(sides[2]);
    if normal.norm_squared() < 1e-8 * longest * longest {
        let along = if sides[0] >= longest {
            &ab
        } else if sides[1] >= longest {
            &bc
        } else {
            &ca
        };
        normal -= along * (normal.dot(along) / longest);
    }
    let ap = p - a;
    let inside = normal.cross(&ab).dot(&ap) >= 0.0
        && normal.cross(&bc).dot(&(p - b)) >= 0.0
        && normal.cross(&ca).dot(&(p - c)) >= 0.0;
    let length2 = normal.norm_squared();
    // Under this area the plane has no direction left; the sides are within 1e-12 mm of every point of it.
    if inside && length2 > 1e-24 * longest {
        let q = p - normal * (normal.dot(&ap) / length2);
        return ((p - q).norm_squared(), q);
    }
    let mut best = on_segment(p, a, &ab);
    for other in [on_segment(p, b, &bc), on_segment(p, c, &ca)] {
        if other.0 < best.0 {
            best = other;
        }
    }
    best
}

/// Share of its greatest size by which a triangle's plane may be off for the rounding of its normal, with room to spare.
const PLANE_OFF: f64 = 1e-11;

/// Whether the plane of a triangle alone is farther from `p` than the squared distance `most2`: then so is all of it, and its
/// sides need no look. Never said of what lies no farther, nor of a needle, whose plane is not known well enough.
pub(super) fn is_beyond(p: &Point, [a, b, c]: &[Point; 3], most2: f64) -> bool {
    let (ab, ac, ap) = (b - a, c - a, p - a);
    let normal = ab.cross(&ac);
    let longest2 = ab.norm_squared().max(ac.norm_squared());
    let length2 = normal.norm_squared();
    let off = normal.dot(&ap);
    let most2 = most2 * (1.0 + 1e-9) + PLANE_OFF * ap.norm_squared();
    length2 > 1e-8 * longest2 * longest2 && off * off > most2 * length2
}

/// A ray with the shear that turns it into a coordinate axis. All triangles see the same shear, so two triangles
/// that share a side see exactly opposite signs along it and no ray passes between them.
#[derive(Clone, Copy, Debug)]
pub(super) struct Ray {
    pub origin: Point,
    pub d: Vector,
    axis: [usize; 3],
    shear: Vector,
}

/// A crossing: distance in lengths of `d`, and whether the ray runs along the triangle's normal.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Crossing {
    pub t: f64,
    pub from_behind: bool,
}

impl Ray {
    pub fn new(origin: Point, d: Vector) -> Ray {
        let largest = d.iamax();
        let mut axis = [(largest + 1) % 3, (largest + 2) % 3, largest];
        // Keeps the turning sense of every triangle.
        if d[largest] < 0.0 {
            axis.swap(0, 1);
        }
        let shear = Vector::new(d[axis[0]] / d[largest], d[axis[1]] / d[largest], 1.0 / d[largest]);
        Ray { origin, d, axis, shear }
    }

    fn sheared(&self, p: &Point) -> (f64, f64, f64) {
        let v = p - self.origin;
        let [x, y, z] = self.axis;
        (v[x] - self.shear.x * v[z], v[y] - self.shear.y * v[z], self.shear.z * v[z])
    }

    /// Crossing with a triangle, its sides and corners included. `None` for one that is seen edge-on.
    pub fn crosses(&self, corners: &[Point; 3]) -> Option<Crossing> {
        let [a, b, c] = corners.each_ref().map(|p| self.sheared(p));
        let u = c.0 * b.1 - c.1 * b.0;
        let v = a.0 * c.1 - a.1 * c.0;
        let w = b.0 * a.1 - b.1 * a.0;
        if (u < 0.0 || v < 0.0 || w < 0.0) && (u > 0.0 || v > 0.0 || w > 0.0) {
            return None;
        }
        let sum = u + v + w;
        if sum == 0.0 {
            return None;
        }
        // The weights are positive shares of the sum, so the distance stays within those of the corners.
        let t = (u / sum) * a.2 + (v / sum) * b.2 + (w / sum) * c.2;
        Some(Crossing { t, from_behind: sum < 0.0 })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn triangle() -> [Point; 3] {
        [Point::new(0., 0., 0.), Point::new(2., 0., 0.), Point::new(0., 2., 0.)]
    }

    #[test]
    fn nearest_point_lies_inside_on_a_side_or_at_a_corner() {
        for (p, q) in [
            ([0.5, 0.5, 3.0], [0.5, 0.5, 0.0]),
            ([1.0, -1.0, 0.0], [1.0, 0.0, 0.0]),
            ([3.0, 3.0, 1.0], [1.0, 1.0, 0.0]),
            ([-1.0, -2.0, 0.5], [0.0, 0.0, 0.0]),
            ([5.0, -1.0, 0.0], [2.0, 0.0, 0.0]),
        ] {
            let (d2, at) = closest(&Point::from(p), &triangle());
            assert!((at - Point::from(q)).norm() < 1e-14, "{p:?}");
            assert!((d2 - (Point::from(p) - Point::from(q)).norm_squared()).abs() < 1e-13);
        }
    }

    #[test]
    fn what_lies_beyond_by_its_plane_is_never_nearer() {
        // Places and corners spread by a multiplier, some triangles thin, some seen edge-on.
        let spread = |k: u32| f64::from(k.wrapping_mul(2_654_435_761) >> 8) / f64::from(1u32 << 24) - 0.5;
        let point = |k: u32, long: f64| Point::new(spread(k), spread(k + 1), spread(k + 2)) * long;
        let mut beyond = 0;
        for k in 0..20_000_u32 {
            let (a, p) = (point(10 * k, 3.0), point(10 * k + 3, 4.0));
            let thin = if k.is_multiple_of(3) { 1e-5 } else { 1.0 };
            let b = a + (point(10 * k + 5, 1.0) - Point::origin());
            let c = a + (b - a) * 0.4 + (point(10 * k + 7, thin) - Point::origin());
            let corners = [a, b, c];
            let d2 = closest(&p, &corners).0;
            assert!(!is_beyond(&p, &corners, d2), "{k}: not beyond its own distance");
            beyond += u32::from(is_beyond(&p, &corners, 0.1 * d2));
        }
        assert!(beyond > 4000, "{beyond} of 20000");
        let flat = triangle();
        assert!(is_beyond(&Point::new(0.5, 0.5, 2.0), &flat, 3.9));
        assert!(!is_beyond(&Point::new(0.5, 0.5, 2.0), &flat, 4.0));
        assert!(!is_beyond(&Point::new(9.0, 0.5, 0.0), &flat, 0.5), "in its plane only the sides tell");
    }

    #[test]
    fn a_needle_is_as_exact_as_its_long_side() {
        // A point above the middle of a needle 10 mm long and 1e-7 mm wide: the distance is its height.
        let needle = [Point::new(0., 0., 0.), Point::new(10., 1., 0.3), Point::new(5., 0.5, 0.15 + 1e-7)];
        let above = Point::new(5., 0.5, 0.15) + Vector::new(-0.1, 1.0, 0.0).normalize() * 4.0;
        assert!((closest(&above, &needle).0.sqrt() - 4.0).abs() < 1e-9);
        let flat = [Point::new(0., 0., 0.), Point::new(1., 0., 0.), Point::new(3., 0., 0.)];
        assert!((closest(&Point::new(2., 0., 2.), &flat).0.sqrt() - 2.0).abs() < 1e-12);
    }

    #[test]
    fn a_ray_tells_front_from_behind() {
        let down = Ray::new(Point::new(0.5, 0.5, 3.0), -Vector::z());
        assert_eq!(down.crosses(&triangle()), Some(Crossing { t: 3.0, from_behind: false }));
        let up = Ray::new(Point::new(0.5, 0.5, -2.0), Vector::z());
        assert_eq!(up.crosses(&triangle()), Some(Crossing { t: 2.0, from_behind: true }));
        assert_eq!(Ray::new(Point::new(1.5, 1.5, 1.0), -Vector::z()).crosses(&triangle()), None);
    }
}
