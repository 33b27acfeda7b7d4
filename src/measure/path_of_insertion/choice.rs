//! Which tilts no other beats, and which of them is chosen.

use super::{Limits, Parts, Tried};

/// Weights of the respects; only their proportions matter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Weights {
    /// Usable undercut at the clasps.
    pub retention: f64,
    /// Like undercut at all of them.
    pub balance: f64,
    /// Surfaces beside spans that run along the path.
    pub guiding: f64,
    /// Tissue undercut.
    pub tissue: f64,
    /// Dead space.
    pub blockout: f64,
    /// Lean from the occlusal normal.
    pub lean: f64,
}

/// Tissue and dead space of no account, mm2 and mm3: a search that never exceeds them is not driven by them.
const OF_NO_ACCOUNT: f64 = 5.0;

/// What brings each respect to 0 (worst) to 1 (best), and the weights.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Goodness {
    /// The weights.
    pub weights: Weights,
    /// Undercut that counts as the greatest difference, mm.
    pub ceiling_mm: f64,
    /// Tissue undercut that counts as the worst, mm2: the greatest over the grid.
    pub worst_tissue_mm2: f64,
    /// Dead space that counts as the worst, mm3: the greatest over the grid.
    pub worst_blockout_mm3: f64,
    /// Greatest lean, degrees.
    pub cone_deg: f64,
}

impl Goodness {
    pub(super) fn of(grid: &[Parts], limits: &Limits, weights: Weights) -> Goodness {
        let worst = |of: fn(&Parts) -> Option<f64>| grid.iter().filter_map(of).fold(OF_NO_ACCOUNT, f64::max);
        Goodness {
            weights,
            ceiling_mm: limits.ceiling_mm,
            worst_tissue_mm2: worst(|p| p.tissue_mm2),
            worst_blockout_mm3: worst(|p| p.blockout_mm3),
            cone_deg: limits.cone_deg,
        }
    }

    /// Each measured respect, 0 to 1, with its weight.
    pub fn respects(&self, p: &Parts) -> [(f64, Option<f64>); 6] {
        let w = &self.weights;
        let less = |value: Option<f64>, worst: f64| value.map(|v| (1.0 - v / worst).clamp(0.0, 1.0));
        [
            (w.retention, p.retention_share),
            (w.balance, less(p.spread_mm, self.ceiling_mm)),
            (w.guiding, p.guiding_share),
            (w.tissue, less(p.tissue_mm2, self.worst_tissue_mm2)),
            (w.blockout, less(p.blockout_mm3, self.worst_blockout_mm3)),
            (w.lean, less(Some(p.lean_deg), self.cone_deg)),
        ]
    }

    /// Weighted mean of the measured respects; 0 where none has a weight.
    pub fn score(&self, p: &Parts) -> f64 {
        let (mut sum, mut weights) = (0.0, 0.0);
        for (weight, value) in self.respects(p) {
            if let Some(v) = value {
                sum += weight * v;
                weights += weight;
            }
        }
        if weights > 0.0 { crate::units::json(sum / weights) } else { 0.0 }
    }

    /// Whether any respect has a weight.
    pub(super) fn weighted(&self) -> bool {
        let w = &self.weights;
        [w.retention, w.balance, w.guiding, w.tissue, w.blockout, w.lean].iter().any(|v| *v > 0.0)
    }
}

/// The respects of a tilt, each the greater the better; 0 where it was not measured.
pub(super) fn respects(p: &Parts) -> [f64; 6] {
    let less = |v: Option<f64>| -v.unwrap_or(0.0);
    [
        p.retention_share.unwrap_or(0.0),
        less(p.spread_mm),
        p.guiding_share.unwrap_or(0.0),
        less(p.tissue_mm2),
        less(p.blockout_mm3),
        -p.lean_deg,
    ]
}

/// The tilts that no other beats: none is at least as good in every respect and better in one.
pub(super) fn unbeaten(tried: &[Tried]) -> Vec<usize> {
    let all: Vec<[f64; 6]> = tried.iter().map(|t| respects(&t.parts)).collect();
    let beats = |a: &[f64; 6], b: &[f64; 6]| a.iter().zip(b).all(|(x, y)| x >= y) && a != b;
    (0..all.len()).filter(|&i| !all.iter().any(|other| beats(other, &all[i]))).collect()
}

/// The tilt of the highest score: the one that leans least where several are equal, then the first.
pub(super) fn highest(tried: &[Tried]) -> usize {
    let better = |a: &Tried, b: &Tried| {
        a.score > b.score || (a.score >= b.score && a.parts.lean_deg < b.parts.lean_deg)
    };
    (1..tried.len()).fold(0, |best, i| if better(&tried[i], &tried[best]) { i } else { best })
}

/// How far the score of zero tilt is uncertain: root mean square of its change over the turned directions.
pub(super) fn unsure(zero: f64, turned: &[f64]) -> f64 {
    let n = turned.len().max(1) as f64;
    (turned.iter().map(|s| (s - zero) * (s - zero)).sum::<f64>() / n).sqrt()
}

/// Why the tilt was chosen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Why {
    /// A tilt gains more than the frame leaves uncertain.
    Gains {
        /// Its score less that of zero tilt.
        gain: f64,
        /// What the frame leaves uncertain in the score of zero tilt.
        unsure: f64,
    },
    /// No tilt has a higher score than zero tilt.
    ZeroIsBest,
    /// The best tilt wins by no more than the frame leaves uncertain.
    WithinUncertainty {
        /// Its score less that of zero tilt.
        gain: f64,
        /// What the frame leaves uncertain in the score of zero tilt.
        unsure: f64,
    },
    /// The best tilt leans by no more than the occlusal normal is uncertain.
    WithinTheFrame {
        /// Its lean, degrees.
        lean_deg: f64,
        /// Standard uncertainty of the occlusal normal, degrees.
        frame_deg: f64,
    },
    /// All weights are 0.
    NoWeights,
}

/// What decides between zero tilt and the best.
pub(super) struct Weighed {
    pub zero: f64,
    pub best: f64,
    pub lean_deg: f64,
    pub frame_deg: f64,
    pub unsure: f64,
    pub weighted: bool,
}

pub(super) fn why(w: &Weighed) -> Why {
    let gain = w.best - w.zero;
    if !w.weighted {
        Why::NoWeights
    } else if gain <= 0.0 {
        Why::ZeroIsBest
    } else if w.lean_deg <= w.frame_deg {
        Why::WithinTheFrame { lean_deg: w.lean_deg, frame_deg: w.frame_deg }
    } else if gain <= w.unsure {
        Why::WithinUncertainty { gain, unsure: w.unsure }
    } else {
        Why::Gains { gain, unsure: w.unsure }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parts(retention: f64, tissue: f64, lean: f64) -> Parts {
        Parts {
            usable_mm: vec![],
            retention_share: Some(retention),
            spread_mm: None,
            guiding_mm2: vec![],
            guiding_share: None,
            tissue_mm2: Some(tissue),
            tissue_deepest_mm: None,
            blockout_mm3: None,
            lean_deg: lean,
        }
    }

    fn tried(parts: Parts, score: f64) -> Tried {
        Tried { tilt: crate::space::Tilt::default(), parts, score }
    }

    #[test]
    fn what_is_worse_in_all_is_beaten_and_equals_stay() {
        let all = [
            tried(parts(0.5, 10.0, 0.0), 0.0),
            tried(parts(0.8, 10.0, 3.0), 0.0),
            tried(parts(0.8, 12.0, 3.0), 0.0),
            tried(parts(0.5, 10.0, 0.0), 0.0),
        ];
        assert_eq!(unbeaten(&all), [0, 1, 3]);
    }

    #[test]
    fn ties_go_to_the_smaller_lean_then_to_the_first() {
        let all = [(5.0, 0.4), (3.0, 0.6), (1.0, 0.6), (1.0, 0.6)];
        let all: Vec<Tried> = all.iter().map(|&(lean, score)| tried(parts(0.0, 0.0, lean), score)).collect();
        assert_eq!(highest(&all), 2);
    }

    #[test]
    fn a_tilt_wins_only_beyond_what_the_frame_leaves_uncertain() {
        let w = |best, lean_deg, unsure| {
            why(&Weighed { zero: 0.5, best, lean_deg, frame_deg: 1.0, unsure, weighted: true })
        };
        assert!(matches!(w(0.6, 4.0, 0.05), Why::Gains { .. }));
        assert!(matches!(w(0.6, 4.0, 0.15), Why::WithinUncertainty { .. }));
        assert!(matches!(w(0.6, 0.9, 0.05), Why::WithinTheFrame { .. }));
        assert_eq!(w(0.5, 4.0, 0.0), Why::ZeroIsBest);
        assert!((unsure(0.5, &[0.4, 0.6]) - 0.1).abs() < 1e-12);
    }
}
