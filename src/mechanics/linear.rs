//! Symmetric positive linear equations, by factors `L D Lt`. Hand loops: the same bytes on every processor.

/// Factors of a symmetric matrix.
#[derive(Clone, Debug)]
pub(super) struct Factors {
    size: usize,
    /// Row-major; the strict lower part holds `L`, the diagonal `D`.
    entries: Vec<f64>,
    /// The first pivot that is nothing beside its own diagonal.
    void: Option<usize>,
}

/// A pivot under this share of its diagonal counts as nothing.
const VOID_SHARE: f64 = 1e-11;

impl Factors {
    /// Factors a row-major symmetric matrix of which the lower part is read. Rows that do not meet are passed over, so
    /// bodies that hang on one other body only cost little.
    pub(super) fn of(mut entries: Vec<f64>, size: usize) -> Factors {
        let diagonal: Vec<f64> = (0..size).map(|j| entries[j * size + j]).collect();
        let most = diagonal.iter().copied().fold(0.0, f64::max);
        let mut void = None;
        let mut rows = Vec::with_capacity(size);
        for j in 0..size {
            let pivot = entries[j * size + j];
            if pivot <= VOID_SHARE * diagonal[j].max(1e-12 * most) || pivot <= 0.0 {
                void = void.or(Some(j));
                entries[j * size + j] = diagonal[j].max(most).max(1.0);
                (j + 1..size).for_each(|i| entries[i * size + j] = 0.0);
                continue;
            }
            rows.clear();
            rows.extend((j + 1..size).filter(|&i| entries[i * size + j] != 0.0));
            for (n, &i) in rows.iter().enumerate() {
                let factor = entries[i * size + j] / pivot;
                for &k in &rows[..=n] {
                    entries[i * size + k] -= factor * entries[k * size + j];
                }
            }
            for &i in &rows {
                entries[i * size + j] /= pivot;
            }
        }
        Factors { size, entries, void }
    }

    /// The solution for a right-hand side.
    pub(super) fn solve(&self, right: &[f64]) -> Vec<f64> {
        let n = self.size;
        let mut x = right.to_vec();
        for j in 0..n {
            let known = x[j];
            if known != 0.0 {
                (j + 1..n).for_each(|i| x[i] -= self.entries[i * n + j] * known);
            }
        }
        (0..n).for_each(|j| x[j] /= self.entries[j * n + j]);
        self.back(&mut x);
        x
    }

    fn back(&self, x: &mut [f64]) {
        let n = self.size;
        for j in (0..n).rev() {
            let known = x[j];
            if known != 0.0 {
                (0..j).for_each(|i| x[i] -= self.entries[j * n + i] * known);
            }
        }
    }

    /// A motion that the matrix does not resist; `None` where it resists all.
    pub(super) fn free_motion(&self) -> Option<Vec<f64>> {
        let j = self.void?;
        let mut x = vec![0.0; self.size];
        x[j] = 1.0;
        self.back(&mut x);
        Some(x)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn three_equations_by_hand() {
        // 4x + 2y = 10, 2x + 5y + 3z = 18, 3y + 6z = 24 has x = 2.5 - y/2; by hand y = 1/5 (2/5): checked by putting in.
        let matrix = vec![4.0, 2.0, 0.0, 2.0, 5.0, 3.0, 0.0, 3.0, 6.0];
        let factors = Factors::of(matrix.clone(), 3);
        let right = [10.0, 18.0, 24.0];
        let x = factors.solve(&right);
        for (i, want) in right.iter().enumerate() {
            let got: f64 = (0..3).map(|j| matrix[3 * i + j] * x[j]).sum();
            assert!((got - want).abs() < 1e-12, "{x:?}");
        }
        assert!(factors.free_motion().is_none());
    }

    #[test]
    fn two_bodies_on_one_spring_are_free_to_go_together() {
        let factors = Factors::of(vec![7.0, -7.0, -7.0, 7.0], 2);
        let free = factors.free_motion().unwrap();
        assert!((free[0] - free[1]).abs() < 1e-12 && free[1] == 1.0);
    }
}
