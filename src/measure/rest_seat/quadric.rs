//! Quadratic surfaces laid through heights.

use nalgebra::{SMatrix, SVector};

/// A surface `z` over a plane: 1, x, y, xx, xy, yy.
#[derive(Clone, Debug)]
pub(super) struct Quadric(SVector<f64, 6>);

impl Quadric {
    /// The one with the least squares; `None` where there are fewer than 20 points or they lie in a line.
    pub fn through(points: &[([f64; 2], f64)]) -> Option<Quadric> {
        if points.len() < 20 {
            return None;
        }
        let (mut m, mut r) = (SMatrix::<f64, 6, 6>::zeros(), SVector::<f64, 6>::zeros());
        for &(at, z) in points {
            let row = Quadric::row(at);
            for a in 0..6 {
                for b in 0..6 {
                    m[(a, b)] += row[a] * row[b];
                }
                r[a] += row[a] * z;
            }
        }
        m.lu().solve(&r).filter(|c| c.iter().all(|v| v.is_finite())).map(Quadric)
    }

    fn row([x, y]: [f64; 2]) -> SVector<f64, 6> {
        SVector::<f64, 6>::new(1.0, x, y, x * x, x * y, y * y)
    }

    /// Its height.
    pub fn at(&self, at: [f64; 2]) -> f64 {
        let row = Quadric::row(at);
        (0..6).map(|k| row[k] * self.0[k]).sum()
    }

    /// Half its second derivative along x.
    pub fn xx(&self) -> f64 {
        self.0[3]
    }

    /// Half its second derivative along y.
    pub fn yy(&self) -> f64 {
        self.0[5]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quadratic_surface_is_found_again() {
        let z = |[x, y]: [f64; 2]| 1.0 - 0.5 * x + 0.25 * y + 0.3 * x * x - 0.2 * x * y + 0.1 * y * y;
        let points: Vec<_> =
            (0..40).map(|k| [0.3 * f64::from(k % 7), 0.2 * f64::from(k / 7)]).map(|at| (at, z(at))).collect();
        let found = Quadric::through(&points).unwrap();
        assert!((found.xx() - 0.3).abs() < 1e-9 && (found.yy() - 0.1).abs() < 1e-9);
        assert!((found.at([5.0, -2.0]) - z([5.0, -2.0])).abs() < 1e-8);
        assert!(Quadric::through(&points[..19]).is_none());
    }
}
