//! Bumps of known height over a plane, a cylinder or a sphere: what a torus detector must find.

use super::{Parts, cuts};
use crate::mesh::Mesh;
use crate::space::{Point, cos, hypot, sin};

/// A bump: its height along the normal of the base as a function of the surface coordinates (s, t), mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Bump {
    /// Spherical cap: a sphere through the foot circle.
    Cap {
        /// Height of the summit, mm.
        height_mm: f64,
        /// Radius of the foot, mm.
        foot_mm: f64,
    },
    /// Half of an ellipsoid; its foot is square to the base.
    HalfEllipsoid {
        /// Height of the summit, mm.
        height_mm: f64,
        /// Semi-axis along s, mm.
        half_s_mm: f64,
        /// Semi-axis along t, mm.
        half_t_mm: f64,
    },
    /// `h (1 - rho^2)^2`: runs out smoothly into the base, as a torus does.
    SoftFoot {
        /// Height of the summit, mm.
        height_mm: f64,
        /// Half extent of the foot along s, mm.
        half_s_mm: f64,
        /// Half extent of the foot along t, mm.
        half_t_mm: f64,
    },
}

impl Bump {
    /// Height of the summit, mm.
    pub fn height_mm(&self) -> f64 {
        match *self {
            Bump::Cap { height_mm, .. }
            | Bump::HalfEllipsoid { height_mm, .. }
            | Bump::SoftFoot { height_mm, .. } => height_mm,
        }
    }

    /// Height over the base at (s, t) from the middle of the bump, mm; 0 outside the foot.
    pub fn at_mm(&self, s: f64, t: f64) -> f64 {
        match *self {
            Bump::Cap { height_mm, foot_mm } => {
                let radius = 0.5 * (foot_mm * foot_mm + height_mm * height_mm) / height_mm;
                let d2 = s * s + t * t;
                if d2 >= foot_mm * foot_mm { 0.0 } else { (radius * radius - d2).sqrt() - radius + height_mm }
            }
            Bump::HalfEllipsoid { height_mm, half_s_mm, half_t_mm } => {
                height_mm * (1.0 - rho2(s / half_s_mm, t / half_t_mm)).max(0.0).sqrt()
            }
            Bump::SoftFoot { height_mm, half_s_mm, half_t_mm } => {
                let q = (1.0 - rho2(s / half_s_mm, t / half_t_mm)).max(0.0);
                height_mm * q * q
            }
        }
    }

    /// Semi-axes along s and t of the outline at `level_mm` over the base: an ellipse on a plane. `None` above the
    /// summit.
    pub fn outline_mm(&self, level_mm: f64) -> Option<[f64; 2]> {
        let share = level_mm / self.height_mm();
        if !(0.0..=1.0).contains(&share) {
            return None;
        }
        Some(match *self {
            Bump::Cap { height_mm, foot_mm } => {
                let radius = 0.5 * (foot_mm * foot_mm + height_mm * height_mm) / height_mm;
                let up = radius - height_mm + level_mm;
                [(radius * radius - up * up).max(0.0).sqrt(); 2]
            }
            Bump::HalfEllipsoid { half_s_mm, half_t_mm, .. } => {
                let rho = (1.0 - share * share).sqrt();
                [half_s_mm * rho, half_t_mm * rho]
            }
            Bump::SoftFoot { half_s_mm, half_t_mm, .. } => {
                let rho = (1.0 - share.sqrt()).sqrt();
                [half_s_mm * rho, half_t_mm * rho]
            }
        })
    }
}

fn rho2(a: f64, b: f64) -> f64 {
    a * a + b * b
}

/// What the bumps stand on. The middle of the surface coordinates (s, t) is the origin, where the normal is +z.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Base {
    /// The plane z = 0: s along x, t along y.
    Plane,
    /// Top of a cylinder along y, its axis below the origin: s around it, t along it.
    Cylinder {
        /// Its radius, mm.
        radius_mm: f64,
    },
    /// Top of a sphere whose centre is below the origin; (s, t) are distances on it from the origin.
    Sphere {
        /// Its radius, mm.
        radius_mm: f64,
    },
}

impl Base {
    /// The position over (s, t) at `up_mm` along the normal.
    pub fn over(&self, s: f64, t: f64, up_mm: f64) -> Point {
        match *self {
            Base::Plane => Point::new(s, t, up_mm),
            Base::Cylinder { radius_mm } => {
                let a = s / radius_mm;
                let r = radius_mm + up_mm;
                Point::new(r * sin(a), t, r * cos(a) - radius_mm)
            }
            Base::Sphere { radius_mm } => {
                let d = hypot(s, t);
                let r = radius_mm + up_mm;
                if d < 1e-12 {
                    return Point::new(0.0, 0.0, up_mm);
                }
                let (c, k) = (cos(d / radius_mm), r * sin(d / radius_mm) / d);
                Point::new(k * s, k * t, r * c - radius_mm)
            }
        }
    }
}

/// A sheet of `half_mm` to each side of the origin of `base` with bumps at given (s, t), facing outward; the highest
/// bump counts where they overlap. Height over the base is exact at every vertex: [`Bump::at_mm`].
///
/// Two equal bumps of foot `a` at distance `d < 2a` along s make two lobes; the saddle between them lies at
/// `at_mm(d / 2, 0)`.
pub fn bumps_on(base: Base, bumps: &[([f64; 2], Bump)], half_mm: [f64; 2], edge_mm: f64) -> Mesh {
    let mut parts = Parts::default();
    let n = half_mm.map(|h| 2 * cuts(h, edge_mm));
    parts.sheet(n[0], n[1], |i, j| {
        let s = half_mm[0] * (2.0 * i as f64 / n[0] as f64 - 1.0);
        let t = half_mm[1] * (2.0 * j as f64 / n[1] as f64 - 1.0);
        let up = bumps.iter().fold(0.0f64, |m, ([s0, t0], b)| m.max(b.at_mm(s - s0, t - t0)));
        base.over(s, t, up)
    });
    parts.mesh()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn outline_and_height_agree() {
        for bump in [
            Bump::Cap { height_mm: 2.5, foot_mm: 5.0 },
            Bump::HalfEllipsoid { height_mm: 3.0, half_s_mm: 6.0, half_t_mm: 4.0 },
            Bump::SoftFoot { height_mm: 3.0, half_s_mm: 6.0, half_t_mm: 4.0 },
        ] {
            assert!((bump.at_mm(0.0, 0.0) - bump.height_mm()).abs() < 1e-12);
            for level in [0.5, 1.0, 2.0] {
                let [a, b] = bump.outline_mm(level).unwrap();
                assert!((bump.at_mm(a, 0.0) - level).abs() < 1e-9);
                assert!((bump.at_mm(0.0, b) - level).abs() < 1e-9);
            }
            assert!(bump.outline_mm(4.0).is_none());
        }
    }

    #[test]
    fn a_summit_stands_at_its_height_on_every_base() {
        let bump = Bump::SoftFoot { height_mm: 2.0, half_s_mm: 4.0, half_t_mm: 4.0 };
        for base in [Base::Plane, Base::Cylinder { radius_mm: 12.0 }, Base::Sphere { radius_mm: 12.0 }] {
            let mesh = bumps_on(base, &[([0.0, 0.0], bump)], [8.0, 8.0], 0.3);
            let top = mesh.vertices().iter().fold(f64::MIN, |m, p| m.max(p.z));
            assert!((top - 2.0).abs() < 1e-12);
            assert!((0..mesh.faces().len() as u32).all(|f| mesh.doubled_area_normal(f).z > 0.0));
        }
    }
}
