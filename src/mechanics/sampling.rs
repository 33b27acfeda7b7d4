//! Latin hypercube of assumed numbers, and what a set of runs says: medians, bands, rank correlation.
//!
//! Method: each input's range is cut into as many like parts as there are runs; each part is used once, at a place drawn in
//! it, in a shuffled order of its own. The generator is fixed (an integer mix of 64 bits), so the same seed gives the
//! same runs everywhere.

use crate::space::{exp, ln};

/// A range of an input, both ends allowed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Range {
    /// Least.
    pub low: f64,
    /// Greatest.
    pub high: f64,
    /// Whether like ratios, instead of like differences, are equally likely.
    pub by_ratio: bool,
}

impl Range {
    /// Like differences equally likely.
    pub fn even(low: f64, high: f64) -> Range {
        Range { low, high, by_ratio: false }
    }

    /// Like ratios equally likely; both ends must be positive.
    pub fn by_ratio(low: f64, high: f64) -> Range {
        Range { low, high, by_ratio: low > 0.0 && high > 0.0 }
    }

    /// The figure at a share of the way through.
    pub fn at(&self, share: f64) -> f64 {
        if self.by_ratio {
            let (low, high) = (ln(self.low), ln(self.high));
            exp(low + share * (high - low))
        } else {
            self.low + share * (self.high - self.low)
        }
    }

    /// Its middle.
    pub fn middle(&self) -> f64 {
        self.at(0.5)
    }
}

/// A generator of 64-bit numbers: a counter whose bits are mixed.
#[derive(Clone, Debug)]
struct Mixed(u64);

impl Mixed {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// 0 to 1, one left out.
    fn share(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn below(&mut self, n: usize) -> usize {
        ((self.share() * n as f64) as usize).min(n.saturating_sub(1))
    }
}

/// `runs` rows with a figure for each range.
pub fn latin_hypercube(ranges: &[Range], runs: usize, seed: u64) -> Vec<Vec<f64>> {
    let mut mixed = Mixed(seed);
    let mut rows = vec![Vec::with_capacity(ranges.len()); runs];
    for range in ranges {
        let mut parts: Vec<usize> = (0..runs).collect();
        for i in (1..runs).rev() {
            parts.swap(i, mixed.below(i + 1));
        }
        for (row, part) in rows.iter_mut().zip(parts) {
            row.push(range.at((part as f64 + mixed.share()) / runs as f64));
        }
    }
    rows
}

/// Median, and the figures that 5 and 95 % of the runs stay under.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Band {
    /// 5 %.
    pub low: f64,
    /// 50 %.
    pub median: f64,
    /// 95 %.
    pub high: f64,
}

/// The band of some figures; `None` of none.
pub fn band(figures: &[f64]) -> Option<Band> {
    let mut sorted = figures.to_vec();
    sorted.sort_by(f64::total_cmp);
    let at = |share: f64| {
        let place = share * (sorted.len() - 1) as f64;
        let below = place.floor() as usize;
        let above = (below + 1).min(sorted.len() - 1);
        sorted[below] + (place - below as f64) * (sorted[above] - sorted[below])
    };
    (!sorted.is_empty()).then(|| Band { low: at(0.05), median: at(0.5), high: at(0.95) })
}

/// Ranks from 0; like figures share the mean of theirs.
fn ranks(figures: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..figures.len()).collect();
    order.sort_by(|&a, &b| figures[a].total_cmp(&figures[b]).then(a.cmp(&b)));
    let mut ranks = vec![0.0; figures.len()];
    let mut from = 0;
    while from < order.len() {
        let same = order[from..].iter().take_while(|&&i| figures[i] == figures[order[from]]).count();
        let mean = from as f64 + (same as f64 - 1.0) / 2.0;
        order[from..from + same].iter().for_each(|&i| ranks[i] = mean);
        from += same;
    }
    ranks
}

/// Rank correlation (Spearman), -1 to 1; 0 where one of the two does not vary.
pub fn rank_correlation(a: &[f64], b: &[f64]) -> f64 {
    let (a, b) = (ranks(a), ranks(b));
    let mean = (a.len() as f64 - 1.0) / 2.0;
    let (mut ab, mut aa, mut bb) = (0.0, 0.0, 0.0);
    for (x, y) in a.iter().zip(&b) {
        let (x, y) = (x - mean, y - mean);
        (ab, aa, bb) = (ab + x * y, aa + x * x, bb + y * y);
    }
    if aa > 0.0 && bb > 0.0 { ab / (aa * bb).sqrt() } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_part_of_every_range_is_used_once() {
        let ranges = [Range::even(0.0, 1.0), Range::by_ratio(1.0, 1000.0)];
        let rows = latin_hypercube(&ranges, 50, 7);
        for (k, range) in ranges.iter().enumerate() {
            let mut parts: Vec<usize> = rows
                .iter()
                .map(|r| (0..50).rev().find(|&p| r[k] >= range.at(p as f64 / 50.0)).unwrap())
                .collect();
            parts.sort_unstable();
            assert_eq!(parts, (0..50).collect::<Vec<_>>());
        }
        assert_eq!(rows, latin_hypercube(&ranges, 50, 7));
        assert_ne!(rows, latin_hypercube(&ranges, 50, 8));
        assert!(
            rank_correlation(
                &rows.iter().map(|r| r[0]).collect::<Vec<_>>(),
                &rows.iter().map(|r| r[1]).collect::<Vec<_>>()
            )
            .abs()
                < 0.4
        );
    }

    #[test]
    fn band_and_ranks_by_hand() {
        let figures: Vec<f64> = (0..=100).rev().map(f64::from).collect();
        assert_eq!(band(&figures), Some(Band { low: 5.0, median: 50.0, high: 95.0 }));
        assert_eq!(band(&[]), None);
        let x = [1.0, 2.0, 3.0, 4.0];
        assert!((rank_correlation(&x, &[1.0, 8.0, 27.0, 64.0]) - 1.0).abs() < 1e-12);
        assert!((rank_correlation(&x, &[4.0, 3.0, 2.0, 1.0]) + 1.0).abs() < 1e-12);
        assert_eq!(rank_correlation(&x, &[5.0; 4]), 0.0);
        // Ranks 0 1 3 2 against 0 1 2 3: 1 - 6 * 2 / (4 * 15).
        assert!((rank_correlation(&x, &[1.0, 2.0, 4.0, 3.0]) - 0.8).abs() < 1e-12);
    }
}
