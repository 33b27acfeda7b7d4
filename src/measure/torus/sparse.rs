//! The two linear systems behind smoothing and filling: conjugate gradients for the large well-conditioned one, a
//! skyline Cholesky factor for the small stiff one. One thread each, sums in a fixed order.

use crate::space::Vector;

/// Solves `apply(x) = b` for a symmetric positive definite operator by conjugate gradients with a diagonal
/// preconditioner, the three coordinates side by side, from the start `x`, until the residual is `tolerance` of `b`.
pub(super) fn conjugate_gradients(
    apply: impl Fn(&[Vector], &mut [Vector]),
    diagonal: &[f64],
    b: &[Vector],
    mut x: Vec<Vector>,
    (tolerance, most): (f64, usize),
) -> Vec<Vector> {
    let n = b.len();
    let mut along = vec![Vector::zeros(); n];
    apply(&x, &mut along);
    let mut r: Vec<Vector> = (0..n).map(|i| b[i] - along[i]).collect();
    let mut z: Vec<Vector> = (0..n).map(|i| r[i] / diagonal[i]).collect();
    let mut p = z.clone();
    let mut rz = dots(&r, &z);
    let goal = dots(b, b).map(|v| v * tolerance * tolerance);
    for _ in 0..most {
        let left = dots(&r, &r);
        if (0..3).all(|k| left[k] <= goal[k]) {
            break;
        }
        apply(&p, &mut along);
        let curved = dots(&p, &along);
        let step = ratio(&rz, &curved);
        for i in 0..n {
            x[i] += p[i].component_mul(&step);
            r[i] -= along[i].component_mul(&step);
            z[i] = r[i] / diagonal[i];
        }
        let next = dots(&r, &z);
        let turn = ratio(&next, &rz);
        for i in 0..n {
            p[i] = z[i] + p[i].component_mul(&turn);
        }
        rz = next;
    }
    x
}

fn dots(a: &[Vector], b: &[Vector]) -> [f64; 3] {
    let sum = a.iter().zip(b).fold(Vector::zeros(), |s, (u, v)| s + u.component_mul(v));
    [sum.x, sum.y, sum.z]
}

fn ratio(a: &[f64; 3], b: &[f64; 3]) -> Vector {
    let one = |k: usize| if b[k] > 0.0 { a[k] / b[k] } else { 0.0 };
    Vector::new(one(0), one(1), one(2))
}

/// A symmetric matrix of which row `i` is stored from its first column that is not zero to the diagonal.
#[derive(Debug)]
pub(super) struct Skyline {
    first: Vec<usize>,
    rows: Vec<Vec<f64>>,
}

impl Skyline {
    /// A matrix of zeros; `first[i]` is the first column of row `i`, at most `i`.
    pub fn new(first: Vec<usize>) -> Skyline {
        let rows = first.iter().enumerate().map(|(i, &f)| vec![0.0; i + 1 - f]).collect();
        Skyline { first, rows }
    }

    /// Adds to the element in row `i`, column `j`, either way round; it must lie in the skyline.
    pub fn add(&mut self, i: usize, j: usize, value: f64) {
        let (i, j) = (i.max(j), i.min(j));
        self.rows[i][j - self.first[i]] += value;
    }

    /// Factors in place and solves for right sides of three coordinates. `None` where it is not positive definite.
    pub fn solve(mut self, mut b: Vec<Vector>) -> Option<Vec<Vector>> {
        let n = self.rows.len();
        for i in 0..n {
            let (done, rest) = self.rows.split_at_mut(i);
            let row = &mut rest[0];
            let fi = self.first[i];
            for j in fi..i {
                let fj = self.first[j];
                let from = fi.max(fj);
                let known = &done[j];
                let s = row[j - fi] - dot(&row[from - fi..j - fi], &known[from - fj..j - fj]);
                row[j - fi] = s / known[j - fj];
            }
            let pivot = row[i - fi] - dot(&row[..i - fi], &row[..i - fi]);
            if pivot.is_nan() || pivot <= 0.0 {
                return None;
            }
            row[i - fi] = pivot.sqrt();
            let mut s = b[i];
            for j in fi..i {
                s -= b[j] * row[j - fi];
            }
            b[i] = s / row[i - fi];
        }
        for i in (0..n).rev() {
            let (row, fi) = (&self.rows[i], self.first[i]);
            b[i] /= row[i - fi];
            let x = b[i];
            for j in fi..i {
                b[j] -= x * row[j - fi];
            }
        }
        Some(b)
    }
}

/// Sum of products in eight interleaved sums: the order is fixed, and eight may run side by side.
fn dot(a: &[f64], b: &[f64]) -> f64 {
    let mut sums = [0.0; 8];
    let (heads_a, heads_b) = (a.chunks_exact(8), b.chunks_exact(8));
    let rest: f64 = heads_a.remainder().iter().zip(heads_b.remainder()).map(|(x, y)| x * y).sum();
    for (x, y) in heads_a.zip(heads_b) {
        for k in 0..8 {
            sums[k] += x[k] * y[k];
        }
    }
    sums.iter().sum::<f64>() + rest
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 4 on the diagonal, -1 beside it: its solution is checked by multiplying back.
    #[test]
    fn both_solvers_satisfy_the_equations() {
        let n = 40;
        let b: Vec<Vector> = (0..n).map(|i| Vector::new(1.0, i as f64, (i * i % 7) as f64)).collect();
        let apply = |x: &[Vector], y: &mut [Vector]| {
            for i in 0..n {
                y[i] = x[i] * 4.0;
                if i > 0 {
                    y[i] -= x[i - 1];
                }
                if i + 1 < n {
                    y[i] -= x[i + 1];
                }
            }
        };
        let iterated = conjugate_gradients(apply, &vec![4.0; n], &b, vec![Vector::zeros(); n], (1e-10, 200));
        let mut matrix = Skyline::new((0..n).map(|i: usize| i.saturating_sub(1)).collect());
        for i in 0..n {
            matrix.add(i, i, 4.0);
            if i > 0 {
                matrix.add(i - 1, i, -1.0);
            }
        }
        let direct = matrix.solve(b.clone()).unwrap();
        for x in [iterated, direct] {
            let mut back = vec![Vector::zeros(); n];
            apply(&x, &mut back);
            assert!((0..n).all(|i| (back[i] - b[i]).norm() < 1e-7));
        }
    }

    #[test]
    fn a_matrix_that_is_not_positive_definite_has_no_factor() {
        let mut matrix = Skyline::new(vec![0, 0]);
        matrix.add(0, 0, 1.0);
        matrix.add(1, 0, 2.0);
        matrix.add(1, 1, 1.0);
        assert!(matrix.solve(vec![Vector::zeros(); 2]).is_none());
    }
}
