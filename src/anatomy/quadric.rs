//! A quadratic surface laid through what lies about a place, near places counting more: the curvature there.

/// The equations of `a xx + b xy + c yy + d x + e y + f` with the least weighted squares.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Quadric {
    m: [[f64; 6]; 6],
    rhs: [f64; 6],
    /// Points that were added.
    pub count: usize,
}

impl Quadric {
    /// Adds a point with coordinates in the tangent plane and over it; `square` is that of its distance as a share of
    /// the radius looked at.
    pub fn add(&mut self, [x, y, z]: [f64; 3], square: f64) {
        let weight = (1.0 - square) * (1.0 - square) + 0.05;
        let row = [x * x, x * y, y * y, x, y, 1.0];
        self.count += 1;
        for a in 0..6 {
            self.rhs[a] += weight * row[a] * z;
            for b in 0..6 {
                self.m[a][b] += weight * row[a] * row[b];
            }
        }
    }

    /// `a`, `b` and `c`; `None` where the points do not settle the surface.
    pub fn solved(&self) -> Option<[f64; 3]> {
        solved(self.m, self.rhs).map(|[a, b, c, ..]| [a, b, c])
    }
}

/// Solves symmetric positive equations by elimination; `None` where they do not settle all unknowns.
fn solved(mut m: [[f64; 6]; 6], mut rhs: [f64; 6]) -> Option<[f64; 6]> {
    for k in 0..6 {
        m[k][k] += 1e-9;
        if m[k][k] <= 1e-8 {
            return None;
        }
        for r in k + 1..6 {
            let factor = m[r][k] / m[k][k];
            for c in k..6 {
                m[r][c] -= factor * m[k][c];
            }
            rhs[r] -= factor * rhs[k];
        }
    }
    let mut x = [0.0; 6];
    for k in (0..6).rev() {
        let known: f64 = (k + 1..6).map(|c| m[k][c] * x[c]).sum();
        x[k] = (rhs[k] - known) / m[k][k];
    }
    Some(x)
}
