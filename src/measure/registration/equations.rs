//! Six equations for a small rigid motion, and how well they settle it.

use crate::space::{Motion, Point, Vector};
use nalgebra::{Translation3, UnitQuaternion};

/// A share of the best settled motion below which another is not settled.
const SETTLED: f64 = 1e-5;

/// Normal equations of a small turn (about `centre`, times `radius`) and a small shift.
#[derive(Clone, Debug)]
pub(super) struct Equations {
    centre: Point,
    radius: f64,
    m: [[f64; 6]; 6],
    rhs: [f64; 6],
}

/// A small motion, and the inverse of the equations for its uncertainty.
#[derive(Clone, Debug)]
pub(super) struct Solved {
    centre: Point,
    radius: f64,
    inverse: [[f64; 6]; 6],
    variance: f64,
}

impl Equations {
    /// Empty equations; `radius` makes turns and shifts comparable, mm.
    pub fn new(centre: Point, radius: f64) -> Equations {
        Equations { centre, radius, m: [[0.0; 6]; 6], rhs: [0.0; 6] }
    }

    /// Adds a residual along a normal at a place, with its weight.
    pub fn add(&mut self, at: &Point, normal: &Vector, residual: f64, weight: f64) {
        let row = row(self.centre, self.radius, at, normal);
        for a in 0..6 {
            self.rhs[a] -= weight * row[a] * residual;
            for b in 0..6 {
                self.m[a][b] += weight * row[a] * row[b];
            }
        }
    }

    /// The motion that they ask for, how far it moves a place at `radius` (mm), whether a motion is left that they do
    /// not settle, and the uncertainty. Unsettled motions are not made.
    pub fn solved(&self) -> (Motion, f64, bool, Solved) {
        let (values, vectors) = eigen(self.m);
        let most = values.iter().fold(0.0f64, |m, v| m.max(*v));
        let (mut x, mut inverse, mut slides) = ([0.0; 6], [[0.0; 6]; 6], most <= 0.0);
        for k in 0..6 {
            if values[k] <= SETTLED * most {
                slides = true;
                continue;
            }
            let share: f64 = (0..6).map(|a| vectors[a][k] * self.rhs[a]).sum::<f64>() / values[k];
            for a in 0..6 {
                x[a] += share * vectors[a][k];
                for b in 0..6 {
                    inverse[a][b] += vectors[a][k] * vectors[b][k] / values[k];
                }
            }
        }
        let turn = Vector::new(x[0], x[1], x[2]) / self.radius;
        let shift = Vector::new(x[3], x[4], x[5]);
        let about = self.centre.coords;
        let rotation = UnitQuaternion::from_scaled_axis(turn);
        let motion = Motion::from_parts(Translation3::from(about + shift - rotation * about), rotation);
        let far = turn.norm() * self.radius + shift.norm();
        let solved = Solved { centre: self.centre, radius: self.radius, inverse, variance: 0.0 };
        (motion, far, slides, solved)
    }
}

impl Solved {
    /// With the variance of one independent residual, mm2, times the places that err together.
    pub fn with_variance(&self, variance: f64) -> Solved {
        Solved { variance, ..self.clone() }
    }

    /// Standard uncertainty of the motion at a place along a direction, mm.
    pub fn standard_along(&self, at: &Point, along: &Vector) -> f64 {
        let row = row(self.centre, self.radius, at, along);
        let mut sum = 0.0;
        for a in 0..6 {
            for b in 0..6 {
                sum += row[a] * self.inverse[a][b] * row[b];
            }
        }
        (sum.max(0.0) * self.variance).sqrt()
    }
}

fn row(centre: Point, radius: f64, at: &Point, along: &Vector) -> [f64; 6] {
    let turn = (at - centre).cross(along) / radius;
    [turn.x, turn.y, turn.z, along.x, along.y, along.z]
}

/// Eigenvalues and vectors (in columns) of a symmetric matrix, by Jacobi's turns in fixed order.
fn eigen(mut m: [[f64; 6]; 6]) -> ([f64; 6], [[f64; 6]; 6]) {
    let mut v = [[0.0; 6]; 6];
    for k in 0..6 {
        v[k][k] = 1.0;
    }
    for _ in 0..40 {
        let aside: f64 =
            (0..6).flat_map(|a| (0..a).map(move |b| (a, b))).map(|(a, b)| m[a][b] * m[a][b]).sum();
        let along: f64 = (0..6).map(|a| m[a][a] * m[a][a]).sum();
        if aside <= 1e-26 * along {
            break;
        }
        for p in 0..5 {
            for q in p + 1..6 {
                turned(&mut m, &mut v, p, q);
            }
        }
    }
    (std::array::from_fn(|k| m[k][k]), v)
}

/// One of Jacobi's turns: makes the entry at (p, q) zero.
fn turned(m: &mut [[f64; 6]; 6], v: &mut [[f64; 6]; 6], p: usize, q: usize) {
    if m[p][q].abs() <= 1e-300 {
        return;
    }
    let theta = (m[q][q] - m[p][p]) / (2.0 * m[p][q]);
    let t = theta.signum() / (theta.abs() + (theta * theta + 1.0).sqrt());
    let c = 1.0 / (t * t + 1.0).sqrt();
    let s = t * c;
    for k in 0..6 {
        let (a, b) = (m[k][p], m[k][q]);
        m[k][p] = c * a - s * b;
        m[k][q] = s * a + c * b;
    }
    for k in 0..6 {
        let (a, b) = (m[p][k], m[q][k]);
        m[p][k] = c * a - s * b;
        m[q][k] = s * a + c * b;
    }
    for row in v.iter_mut() {
        let (a, b) = (row[p], row[q]);
        row[p] = c * a - s * b;
        row[q] = s * a + c * b;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exact_residuals_of_a_small_motion_are_undone() {
        let turn = UnitQuaternion::from_scaled_axis(Vector::new(2e-6, -1e-6, 3e-6));
        let shift = Vector::new(1e-5, 2e-5, -3e-5);
        let centre = Point::new(5.0, -40.0, 300.0);
        let mut equations = Equations::new(centre, 20.0);
        for i in 0..60 {
            let i = f64::from(i);
            let part = |a: f64| ((i + 1.0) * a).fract() * 2.0 - 1.0;
            let p = centre + Vector::new(part(0.754_877), part(0.569_840), part(0.618_034)) * 30.0;
            let n = Vector::new(part(0.437_016), part(0.3), part(0.7)).normalize();
            let moved = centre + turn * (p - centre) + shift;
            equations.add(&p, &n, (moved - p).dot(&n), 1.0);
        }
        let (motion, far, slides, _) = equations.solved();
        assert!(!slides && far > 1e-5);
        // The motion asked for takes `moved` back: minus the turn and the shift, at first order.
        let p = centre + Vector::new(10.0, 20.0, -5.0);
        let wanted = centre + turn.inverse() * (p - centre) - shift;
        assert!((motion * p - wanted).norm() < 1e-9, "{:?}", motion * p - wanted);
    }

    #[test]
    fn a_plane_slides_and_its_uncertainty_is_that_of_a_mean() {
        let mut equations = Equations::new(Point::origin(), 1.0);
        for k in 0..4 {
            let p = Point::new([1.0, -1.0, 0.0, 0.0][k], [0.0, 0.0, 1.0, -1.0][k], 0.0);
            equations.add(&p, &Vector::z(), 0.1, 1.0);
        }
        let (motion, _, slides, solved) = equations.solved();
        assert!(slides);
        assert!((motion * Point::origin() - Point::new(0.0, 0.0, -0.1)).norm() < 1e-12);
        // Four residuals of standard deviation 0.2: the mean has 0.1; one unit out, half of the turn is added.
        let solved = solved.with_variance(0.04);
        assert!((solved.standard_along(&Point::origin(), &Vector::z()) - 0.1).abs() < 1e-12);
        let out = solved.standard_along(&Point::new(1.0, 0.0, 0.0), &Vector::z());
        assert!((out - (0.01f64 + 0.02).sqrt()).abs() < 1e-12, "{out}");
    }
}
