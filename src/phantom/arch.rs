//! The form of an arch in plan, and places along and across it.
//!
//! Axes of a phantom: +x the patient's right, +y anterior, +z from the mandible to the maxilla; the occlusal plane is
//! z = 0 and the incisors of the mandible stand near the origin. `s` runs along the arch from the patient's right
//! (negative) to the left, `t` across it, buccal positive, both mm.

use super::field::step;
use crate::space::{Point, Vector, atan2, cos, hypot, powf, sin};

/// An arch curve `y = front - depth (|x| / half_width)^power`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ArchCurve {
    /// y at the midline, mm.
    pub front_mm: f64,
    /// How far the curve has gone back where it is `half_width_mm` from the midline, mm.
    pub depth_mm: f64,
    /// See `depth_mm`.
    pub half_width_mm: f64,
    /// Form: 2 is a parabola, 3 is squarer.
    pub power: f64,
    /// How much wider the patient's left (-x) is than the right, as a share.
    pub skew: f64,
}

impl ArchCurve {
    /// Half width on the side of `x`, where the curve has gone back by `depth_mm`.
    fn half(&self, x: f64) -> f64 {
        self.half_width_mm * (1.0 - 0.5 * self.skew * x.signum())
    }

    /// How far the curve stands from the midline at `y`, on the side of `x`, mm; 0 in front of it.
    pub fn out_mm(&self, x: f64, y: f64) -> f64 {
        self.half(x) * powf(((self.front_mm - y) / self.depth_mm).max(0.0), 1.0 / self.power)
    }
}

/// A place in arch coordinates.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// Along the arch from the midline, left positive, mm.
    pub s: f64,
    /// Across it, buccal positive, mm.
    pub t: f64,
}

const STEPS: usize = 301;
const LIMIT: f64 = 2.7;

/// An arch curve tabled by the angle around a centre behind it, so that arch coordinates are smooth also far inside.
#[derive(Clone, Debug)]
pub struct ArchForm {
    curve: ArchCurve,
    centre_y: f64,
    /// Distance of the curve from the centre, cosine of its obliquity, s.
    table: Vec<[f64; 3]>,
}

impl ArchForm {
    /// Tables a curve around (0, `front - 38`).
    pub fn new(curve: &ArchCurve) -> ArchForm {
        let centre_y = curve.front_mm - 38.0;
        let reach = |phi: f64| {
            let (mut lo, mut hi) = (0.0, 120.0);
            for _ in 0..60 {
                let r = 0.5 * (lo + hi);
                let x = -r * sin(phi);
                let back = curve.depth_mm * powf(x.abs() / curve.half(x), curve.power);
                if centre_y + r * cos(phi) - curve.front_mm + back > 0.0 { hi = r } else { lo = r }
            }
            0.5 * (lo + hi)
        };
        let wide = 2.0 * LIMIT / (STEPS - 1) as f64;
        let angle = |i: usize| (i as f64 - (STEPS / 2) as f64) * wide;
        let mut table: Vec<[f64; 3]> = (0..STEPS)
            .map(|i| {
                let phi = angle(i);
                let r = reach(phi);
                let slope = (reach(phi + 1e-4) - reach(phi - 1e-4)) / 2e-4;
                [r, r / hypot(r, slope), 0.0]
            })
            .collect();
        // Length of the curve by Simpson's rule over ds = r / cos(obliquity) dphi.
        let piece = |table: &[[f64; 3]], from: usize, to: usize| {
            let mid = 0.5 * (angle(from) + angle(to));
            let r = reach(mid);
            let slope = (reach(mid + 1e-4) - reach(mid - 1e-4)) / 2e-4;
            let ends = table[from][0] / table[from][1] + table[to][0] / table[to][1];
            wide / 6.0 * (ends + 4.0 * hypot(r, slope))
        };
        for i in STEPS / 2 + 1..STEPS {
            table[i][2] = table[i - 1][2] + piece(&table, i - 1, i);
        }
        for i in (0..STEPS / 2).rev() {
            table[i][2] = table[i + 1][2] - piece(&table, i + 1, i);
        }
        ArchForm { curve: *curve, centre_y, table }
    }

    /// How far inside of the curve a place lies, mm: square to it in front, toward its side further back, where arch
    /// coordinates lose their meaning near the midline.
    pub fn inside_mm(&self, x: f64, y: f64, place: Place) -> f64 {
        let back = step(-20.0, -34.0, y - self.curve.front_mm);
        if back <= 0.0 {
            return -place.t;
        }
        let aside = self.curve.out_mm(x, y) - x.abs();
        back * aside + (1.0 - back) * -place.t
    }

    fn at_angle(&self, phi: f64) -> [f64; 3] {
        let x = ((phi + LIMIT) / (2.0 * LIMIT) * (STEPS - 1) as f64).clamp(0.0, (STEPS - 1) as f64);
        let i = (x as usize).min(STEPS - 2);
        let f = x - i as f64;
        let row = |j: isize| self.table[(i as isize + j).clamp(0, STEPS as isize - 1) as usize];
        let (a, b, c, d) = (row(-1), row(0), row(1), row(2));
        std::array::from_fn(|k| {
            let (m0, m1) = (0.5 * (c[k] - a[k]), 0.5 * (d[k] - b[k]));
            let (f2, f3) = (f * f, f * f * f);
            b[k] * (2.0 * f3 - 3.0 * f2 + 1.0)
                + m0 * (f3 - 2.0 * f2 + f)
                + c[k] * (3.0 * f2 - 2.0 * f3)
                + m1 * (f3 - f2)
        })
    }

    /// Arch coordinates of a place in plan.
    pub fn place(&self, x: f64, y: f64) -> Place {
        let (dx, dy) = (x, y - self.centre_y);
        let [r, lean, s] = self.at_angle(atan2(-dx, dy));
        Place { s, t: (hypot(dx, dy) - r) * lean }
    }

    fn angle_of(&self, s: f64) -> f64 {
        let (mut lo, mut hi) = (-LIMIT, LIMIT);
        for _ in 0..60 {
            let mid = 0.5 * (lo + hi);
            if self.at_angle(mid)[2] > s { hi = mid } else { lo = mid }
        }
        0.5 * (lo + hi)
    }

    /// The position with the given arch coordinates at height `z`.
    pub fn point(&self, place: Place, z: f64) -> Point {
        let phi = self.angle_of(place.s);
        let [r, lean, _] = self.at_angle(phi);
        let r = r + place.t / lean;
        Point::new(-r * sin(phi), self.centre_y + r * cos(phi), z)
    }

    /// Unit vectors at `s`: along the arch toward the patient's left, and outward (buccal).
    pub fn axes(&self, s: f64) -> (Vector, Vector) {
        let at = |s| self.point(Place { s, t: 0.0 }, 0.0);
        let along = (at(s + 0.05) - at(s - 0.05)).normalize();
        (along, Vector::new(along.y, -along.x, 0.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn arch_coordinates_and_positions_are_inverse() {
        let form = ArchForm::new(&ArchCurve {
            front_mm: 0.0,
            depth_mm: 27.0,
            half_width_mm: 23.5,
            power: 2.6,
            skew: 0.03,
        });
        for s in [-45.0, -20.0, -3.0, 0.0, 7.0, 30.0, 52.0] {
            for t in [-6.0, 0.0, 5.0] {
                let p = form.point(Place { s, t }, 1.0);
                let back = form.place(p.x, p.y);
                assert!((back.s - s).abs() < 1e-9 && (back.t - t).abs() < 1e-9, "{s} {t} {back:?}");
            }
        }
        // The patient's left is -x, and outward from the midline is anterior.
        assert!(form.point(Place { s: 30.0, t: 0.0 }, 0.0).x < -15.0);
        assert!(form.axes(0.0).1.y > 0.999 && form.axes(30.0).1.x < -0.5);
    }

    #[test]
    fn s_is_the_length_of_the_curve() {
        let form = ArchForm::new(&ArchCurve {
            front_mm: 0.0,
            depth_mm: 27.0,
            half_width_mm: 23.5,
            power: 2.6,
            skew: 0.03,
        });
        let mut length = 0.0;
        for i in 0..4000 {
            let at = |i: i32| form.point(Place { s: f64::from(i) * 0.01, t: 0.0 }, 0.0);
            length += (at(i + 1) - at(i)).norm();
        }
        assert!((length - 40.0).abs() < 0.01, "{length}");
    }
}
