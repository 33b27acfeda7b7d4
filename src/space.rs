//! Points, directions and the frame of an arch, in millimetres.
//!
//! Right-handed file coordinates. The frame of an arch is three unit vectors and an origin, never a rotation: in a
//! maxilla (anterior, left, occlusal) is left-handed.

use nalgebra as na;

/// A position, mm.
pub type Point = na::Point3<f64>;
/// A displacement, mm, or a direction of any length.
pub type Vector = na::Vector3<f64>;
/// A direction of length one.
pub type Direction = na::Unit<Vector>;
/// A rigid motion: rotation, then translation in mm.
pub type Motion = na::Isometry3<f64>;
/// A position in a plane across a direction, mm.
pub type Point2 = na::Point2<f64>;
/// A displacement in such a plane, mm.
pub type Vector2 = na::Vector2<f64>;

/// Makes a direction of length one. `None` where the vector is shorter than 1e-9 or not finite.
pub fn direction(v: Vector) -> Option<Direction> {
    let length = v.norm();
    (length.is_finite() && length > 1e-9).then(|| Direction::new_unchecked(v / length))
}

/// The motion whose rotation and way stand in three rows [r, r, r, t], mm. `None` where the first three columns are no
/// rotation to within a thousandth.
pub fn motion_of_rows(rows: [[f64; 4]; 3]) -> Option<Motion> {
    let row = |k: usize| Vector::new(rows[k][0], rows[k][1], rows[k][2]);
    let (a, b, c) = (row(0), row(1), row(2));
    let square = |u: &Vector, v: &Vector| u.dot(v).abs() < 1e-3;
    let unit = [a, b, c].iter().all(|v| (v.norm() - 1.0).abs() < 1e-3);
    if !(unit && square(&a, &b) && square(&b, &c) && square(&c, &a) && a.cross(&b).dot(&c) > 0.0) {
        return None;
    }
    // Made exactly orthonormal from the first two rows.
    let x = a.normalize();
    let y = (b - x * b.dot(&x)).normalize();
    let z = x.cross(&y);
    let matrix = na::Matrix3::from_rows(&[x.transpose(), y.transpose(), z.transpose()]);
    let rotation = na::UnitQuaternion::from_rotation_matrix(&na::Rotation3::from_matrix_unchecked(matrix));
    let way = Vector::new(rows[0][3], rows[1][3], rows[2][3]);
    (way.iter().all(|t| t.is_finite())).then(|| Motion::from_parts(way.into(), rotation))
}

/// A plane through `point` with unit `normal`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plane {
    /// A point of the plane, mm.
    pub point: Point,
    /// Its unit normal.
    pub normal: Direction,
}

impl Plane {
    /// Signed distance of `p` from the plane, mm, positive on the side of the normal.
    pub fn height_mm(&self, p: &Point) -> f64 {
        (p - self.point).dot(&self.normal)
    }

    /// Plane through three points, normal by the right-hand rule. `None` where they stand in a line.
    pub fn through(a: &Point, b: &Point, c: &Point) -> Option<Plane> {
        let cross = (b - a).cross(&(c - a));
        let scale = (b - a).norm().max((c - a).norm());
        if cross.norm() <= 1e-6 * scale * scale {
            return None;
        }
        Some(Plane { point: *a, normal: direction(cross)? })
    }
}

/// Axes of an arch. Origin at the arch's centre on the occlusal plane.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Frame {
    /// Origin, mm.
    pub origin: Point,
    /// Away from the tissue, square to the occlusal plane.
    pub occlusal: Direction,
    /// Toward the incisors, in the occlusal plane.
    pub anterior: Direction,
    /// Toward the patient's left, in the occlusal plane.
    pub left: Direction,
}

impl Frame {
    /// Frame from an occlusal normal and a rough anterior direction; `mandible` settles which side is left.
    ///
    /// In a mandible (anterior, left, occlusal) is right-handed, in a maxilla left-handed. `None` where the anterior
    /// direction is along the normal.
    pub fn new(origin: Point, occlusal: Direction, anterior: Vector, mandible: bool) -> Option<Frame> {
        let flat = anterior - occlusal.into_inner() * anterior.dot(&occlusal);
        let anterior = direction(flat)?;
        let left = occlusal.cross(&anterior);
        let left = direction(if mandible { left } else { -left })?;
        Some(Frame { origin, occlusal, anterior, left })
    }

    /// Coordinates (anterior, left, occlusal) of a position, mm.
    pub fn local(&self, p: &Point) -> [f64; 3] {
        let v = p - self.origin;
        [v.dot(&self.anterior), v.dot(&self.left), v.dot(&self.occlusal)]
    }

    /// Position of frame coordinates (anterior, left, occlusal), mm.
    pub fn world(&self, local: [f64; 3]) -> Point {
        self.origin
            + self.anterior.into_inner() * local[0]
            + self.left.into_inner() * local[1]
            + self.occlusal.into_inner() * local[2]
    }

    /// Withdrawal direction of a tilt: leans from the occlusal normal toward anterior and toward the patient's left.
    pub fn tilted(&self, tilt: Tilt) -> Direction {
        let v = self.occlusal.into_inner()
            + self.anterior.into_inner() * tan(tilt.anterior_deg.to_radians())
            + self.left.into_inner() * tan(tilt.left_deg.to_radians());
        Direction::new_normalize(v)
    }

    /// Tilt of a withdrawal direction; `None` where it points into the tissue or lies in the occlusal plane.
    pub fn tilt_of(&self, d: &Direction) -> Option<Tilt> {
        let up = d.dot(&self.occlusal);
        (up > 1e-6).then(|| Tilt {
            anterior_deg: atan2(d.dot(&self.anterior), up).to_degrees(),
            left_deg: atan2(d.dot(&self.left), up).to_degrees(),
        })
    }
}

/// Angles by which a withdrawal direction leans from the occlusal normal.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Tilt {
    /// Toward anterior, degrees.
    pub anterior_deg: f64,
    /// Toward the patient's left, degrees.
    pub left_deg: f64,
}

/// A turn about a point; `turn` keeps the origin where it is.
pub fn about(point: &Point, turn: Motion) -> Motion {
    let back = point - turn * point;
    Motion::translation(back.x, back.y, back.z) * turn
}

/// Length of the part of a way that is square to `d`, mm.
pub fn aside_mm(way: &Vector, d: &Direction) -> f64 {
    (way - d.into_inner() * way.dot(d)).norm()
}

/// So many directions, spread evenly over the sphere along a spiral.
pub fn over_the_sphere(count: usize) -> Vec<Direction> {
    let turn = std::f64::consts::PI * (3.0 - 5.0_f64.sqrt());
    let one = |i: usize| {
        let z = 1.0 - (2.0 * i as f64 + 1.0) / count as f64;
        let (r, a) = ((1.0 - z * z).sqrt(), turn * i as f64);
        Direction::new_unchecked(Vector::new(r * cos(a), r * sin(a), z))
    };
    (0..count).map(one).collect()
}

/// Two unit vectors that span the plane across `d`; (u, v, d) is right-handed. The same `d` gives the same pair.
pub fn across(d: &Direction) -> (Vector, Vector) {
    let helper = if d.x.abs() < 0.6 { Vector::x() } else { Vector::y() };
    let u = (helper - d.into_inner() * helper.dot(d)).normalize();
    (u, d.cross(&u))
}

/// Angle between two vectors, degrees, 0 to 180, exact for small angles.
pub fn angle_deg(a: &Vector, b: &Vector) -> f64 {
    atan2(a.cross(b).norm(), a.dot(b)).to_degrees()
}

/// Portable sine (radians).
pub fn sin(x: f64) -> f64 {
    libm::sin(x)
}
/// Portable cosine (radians).
pub fn cos(x: f64) -> f64 {
    libm::cos(x)
}
/// Portable tangent (radians).
pub fn tan(x: f64) -> f64 {
    libm::tan(x)
}
/// Portable arc sine, radians; the argument is clamped to -1..1.
pub fn asin(x: f64) -> f64 {
    libm::asin(x.clamp(-1.0, 1.0))
}
/// Portable arc cosine, radians; the argument is clamped to -1..1.
pub fn acos(x: f64) -> f64 {
    libm::acos(x.clamp(-1.0, 1.0))
}
/// Portable two-argument arc tangent, radians.
pub fn atan2(y: f64, x: f64) -> f64 {
    libm::atan2(y, x)
}
/// Portable exponential.
pub fn exp(x: f64) -> f64 {
    libm::exp(x)
}
/// Portable natural logarithm.
pub fn ln(x: f64) -> f64 {
    libm::log(x)
}
/// Portable power.
pub fn powf(x: f64, y: f64) -> f64 {
    libm::pow(x, y)
}
/// Least count that is not below `x`: 0 where `x` is negative or no number.
pub fn count_from(x: f64) -> usize {
    if x > 0.0 {
        let whole = x as usize;
        whole.saturating_add(usize::from((whole as f64) < x))
    } else {
        0
    }
}
/// Portable length of (x, y).
pub fn hypot(x: f64, y: f64) -> f64 {
    (x * x + y * y).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_from_a_number_upwards_are_its_ceiling() {
        for x in [
            -1e300,
            -1.0,
            -0.3,
            -0.0,
            0.0,
            1e-300,
            0.5,
            1.0,
            1.0 + f64::EPSILON,
            41.9,
            42.0,
            4.0e15,
            f64::INFINITY,
        ] {
            assert_eq!(count_from(x), x.ceil().max(0.0) as usize, "{x}");
        }
        assert_eq!(count_from(f64::NAN), 0);
    }

    #[test]
    fn left_is_the_patients_left_in_both_arches() {
        // Mandible seen from above, incisors toward +y: the patient's left is at -x for a right-handed
        // (anterior, left, occlusal) with occlusal +z, since y cross (-x) = z.
        let up = Direction::new_normalize(Vector::z());
        let mandible = Frame::new(Point::origin(), up, Vector::y(), true).unwrap();
        assert!((mandible.left.into_inner() + Vector::x()).norm() < 1e-12);
        // Maxilla in the same head: occlusal points down, anterior and left stay where they are.
        let down = Direction::new_normalize(-Vector::z());
        let maxilla = Frame::new(Point::origin(), down, Vector::y(), false).unwrap();
        assert!((maxilla.left.into_inner() - mandible.left.into_inner()).norm() < 1e-12);
    }

    #[test]
    fn tilt_and_direction_are_inverse() {
        let up = Direction::new_normalize(Vector::z());
        let frame = Frame::new(Point::new(1.0, 2.0, 3.0), up, Vector::y(), true).unwrap();
        let tilt = Tilt { anterior_deg: 7.0, left_deg: -4.0 };
        let back = frame.tilt_of(&frame.tilted(tilt)).unwrap();
        assert!((back.anterior_deg - 7.0).abs() < 1e-9 && (back.left_deg + 4.0).abs() < 1e-9);
        let p = Point::new(4.0, -1.0, 9.0);
        assert!((frame.world(frame.local(&p)) - p).norm() < 1e-12);
    }

    #[test]
    fn three_points_in_a_line_make_no_plane() {
        let (a, b) = (Point::origin(), Point::new(1.0, 0.0, 0.0));
        assert!(Plane::through(&a, &b, &Point::new(2.0, 0.0, 0.0)).is_none());
        assert!(Plane::through(&a, &b, &Point::new(0.0, 1.0, 0.0)).is_some());
    }
}
