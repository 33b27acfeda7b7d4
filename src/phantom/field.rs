//! Building blocks of the signed distance functions: smooth minima, profiles through knots, repeatable variety.
//!
//! A field is negative inside the cast, positive in the air, and close to the distance in mm near its zero set.

use crate::space::sin;

/// Smooth minimum: the union of two bodies whose edge is filled with a fillet about `k` mm wide; the plain minimum
/// where the two differ by `k` or more.
pub fn smin(a: f64, b: f64, k: f64) -> f64 {
    let h = (k - (a - b).abs()).max(0.0);
    if k > 0.0 { a.min(b) - h * h / (4.0 * k) } else { a.min(b) }
}

/// Smooth maximum: the intersection with its edge rounded over about `k` mm.
pub fn smax(a: f64, b: f64, k: f64) -> f64 {
    -smin(-a, -b, k)
}

/// 0 below `from`, 1 above `to`, smooth between.
pub fn step(from: f64, to: f64, x: f64) -> f64 {
    let t = ((x - from) / (to - from)).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

/// A bell of height 1 at 0 that ends smoothly at +-1.
pub fn bell(x: f64) -> f64 {
    let q = (1.0 - x * x).max(0.0);
    q * q
}

/// Weights of the values at four knots for the smooth curve through all of them at one place.
#[derive(Clone, Copy, Debug)]
pub struct Weights {
    first: usize,
    of: [f64; 4],
}

impl Weights {
    /// Weights at `x` among ascending knots; level outside of them. Knots of an empty or single list weigh nothing.
    pub fn at(knots: &[f64], x: f64) -> Weights {
        let n = knots.len();
        if n < 2 || x <= knots[0] {
            return Weights { first: 0, of: [1.0, 0.0, 0.0, 0.0] };
        }
        if x >= knots[n - 1] {
            return Weights { first: n - 1, of: [1.0, 0.0, 0.0, 0.0] };
        }
        let i = knots.partition_point(|k| *k <= x).clamp(1, n - 1);
        let (x0, x1) = (knots[i - 1], knots[i]);
        let (h, t) = (x1 - x0, (x - x0) / (x1 - x0));
        let (t2, t3) = (t * t, t * t * t);
        let (h00, h01) = (2.0 * t3 - 3.0 * t2 + 1.0, 3.0 * t2 - 2.0 * t3);
        let (h10, h11) = (h * (t3 - 2.0 * t2 + t), h * (t3 - t2));
        // Slopes run through the neighbours of a knot, and are level at both ends.
        let first = i.saturating_sub(2);
        let mut of = [0.0; 4];
        of[i - 1 - first] += h00;
        of[i - first] += h01;
        if i >= 2 {
            let width = knots[i] - knots[i - 2];
            of[i - first] += h10 / width;
            of[i - 2 - first] -= h10 / width;
        }
        if i + 1 < n {
            let width = knots[i + 1] - knots[i - 1];
            of[i + 1 - first] += h11 / width;
            of[i - 1 - first] -= h11 / width;
        }
        Weights { first, of }
    }

    /// The curve through `values`.
    pub fn of(&self, values: &[f64]) -> f64 {
        values.iter().skip(self.first).zip(&self.of).map(|(v, w)| v * w).sum()
    }
}

/// Value at `x` of the smooth curve through `(knots[i], values[i])`, level outside of them. Knots ascend.
pub fn through(knots: &[f64], values: &[f64], x: f64) -> f64 {
    Weights::at(knots, x).of(values)
}

/// Repeatable numbers from a seed (SplitMix64 by Steele, Lea and Flood).
#[derive(Clone, Debug)]
pub struct Variety(u64);

impl Variety {
    /// Starts from a seed.
    pub fn new(seed: u64) -> Variety {
        Variety(seed)
    }

    /// The next 64 bits.
    pub fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Evenly between -1 and 1.
    pub fn even(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1u64 << 52) as f64 - 1.0
    }

    /// Around 0 with standard deviation 1, never beyond 4.3: the sum of six even numbers has variance 2.
    pub fn normal(&mut self) -> f64 {
        (0..6).map(|_| self.even()).sum::<f64>() * std::f64::consts::FRAC_1_SQRT_2
    }
}

/// Slow waves in space: unevenness of tissue. Between about -1 and 1.
#[derive(Clone, Debug)]
pub struct Waves([[f64; 4]; 4]);

impl Waves {
    /// Waves with lengths around `length_mm`.
    pub fn new(variety: &mut Variety, length_mm: f64) -> Waves {
        let k = 2.0 * std::f64::consts::PI / length_mm;
        Waves(std::array::from_fn(|_| {
            [
                k * (0.6 + 0.4 * variety.even()),
                k * (0.6 + 0.4 * variety.even()),
                k * (0.5 + 0.4 * variety.even()),
                3.0 * variety.even(),
            ]
        }))
    }

    /// Value at a place.
    pub fn at(&self, x: f64, y: f64, z: f64) -> f64 {
        let [a, b, c, d] = &self.0;
        let wave = |w: &[f64; 4], sx: f64, sy: f64| sin(sx * w[0] * x + sy * w[1] * y + w[2] * z + w[3]);
        0.3 * (wave(a, 1.0, 1.0) + wave(b, 1.0, -1.0) + wave(c, -1.0, 0.4) + wave(d, 0.3, 1.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn smooth_minimum_is_the_minimum_away_from_the_edge() {
        assert_eq!(smin(1.0, 3.0, 1.0), 1.0);
        assert!((smin(1.0, 1.0, 1.0) - 0.75).abs() < 1e-12);
        assert_eq!(smax(1.0, 3.0, 0.0), 3.0);
    }

    #[test]
    fn a_profile_meets_its_knots() {
        let (knots, values) = ([-0.5, 0.0, 0.4, 1.0], [0.6, 0.9, 1.0, 0.7]);
        for (k, v) in knots.iter().zip(values) {
            assert!((through(&knots, &values, *k) - v).abs() < 1e-12);
        }
        assert_eq!(through(&knots, &values, 9.0), 0.7);
    }

    #[test]
    fn variety_is_repeatable_and_centred() {
        let (mut a, mut b) = (Variety::new(7), Variety::new(7));
        let mut sum = 0.0;
        let mut squares = 0.0;
        for _ in 0..4000 {
            let x = a.normal();
            assert_eq!(x, b.normal());
            sum += x;
            squares += x * x;
        }
        assert!((sum / 4000.0).abs() < 0.06 && ((squares / 4000.0) - 1.0).abs() < 0.15);
    }
}
