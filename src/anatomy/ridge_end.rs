//! Where the residual ridge of a distal extension ends: at the retromolar pad of a mandible, at the tuberosity of a maxilla.
//!
//! The crest falls from the abutment, runs, and rises again to the pad, which stands behind the low point of the ridge.
//! A tuberosity stands out likewise, or rounds down behind. Where the scan shows neither, the end is the average length
//! of the missing teeth and is not known.

use crate::case::Arch;
use crate::space::{Point, exp};

/// How the end of a ridge was told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EndKind {
    /// At the front of the retromolar pad.
    RetromolarPad,
    /// At the tuberosity.
    Tuberosity,
    /// Marked in `ridge_ends`, or by the end of a marked crest.
    Marked,
    /// Where the scan ends.
    ScanBorder,
    /// After the average width of the missing teeth: the scan does not show it.
    AverageLength,
}

impl EndKind {
    /// Its word in results.
    pub fn word(self) -> &'static str {
        match self {
            EndKind::RetromolarPad => "retromolar_pad",
            EndKind::Tuberosity => "tuberosity",
            EndKind::Marked => "marked",
            EndKind::ScanBorder => "scan_border",
            EndKind::AverageLength => "average_length",
        }
    }
}

/// The distal end of a ridge.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RidgeEnd {
    /// How it was told.
    pub kind: EndKind,
    /// Where, mm.
    pub at: Point,
    /// 0 to 1.
    pub confidence: f64,
}

/// A crest that was followed as far as the surface lets, with heights along the occlusal direction.
#[derive(Clone, Copy, Debug)]
pub struct Followed<'a> {
    /// The arch.
    pub arch: Arch,
    /// Stations from the abutment backwards, with their heights, mm.
    pub points: &'a [(Point, f64)],
    /// Length that the missing teeth would take, mm.
    pub teeth_mm: f64,
    /// Height of the occlusal plane, mm.
    pub plane_mm: f64,
    /// Whether the crest was left because it fell away or met the border of the scan.
    pub fell: bool,
}

/// A pad or tuberosity stands over the low point of the ridge in front of it by at least this, and clearly by this, mm.
const RISE_MM: [f64; 2] = [0.5, 1.2];
/// The front of a pad is where the crest comes within this of its top, mm.
const NEAR_TOP_MM: f64 = 0.15;
/// The end is looked for from this far in front of the average length to this far behind it, mm.
const LOOKED_FOR_MM: [f64; 2] = [-5.0, 14.0];
/// Where pads begin behind the average place of the last tooth, and the spread of that, mm.
const USUAL_MM: (f64, f64) = (4.0, 6.0);
/// A pad stays this far under the occlusal plane; what stands higher is the ramus or a fold of the cheek, mm.
const UNDER_PLANE_MM: f64 = 1.0;
/// A tuberosity has rounded down where the crest has fallen this far under its height 10 mm before, mm.
const ROUNDED_MM: f64 = 1.5;
/// Least confidence of an end that is used, and that of an average length.
const LEAST: f64 = 0.35;
const AVERAGE: f64 = 0.2;

/// The end of a ridge, and the number of stations up to it. `None` without a station.
pub fn find(followed: &Followed<'_>) -> Option<(usize, RidgeEnd)> {
    let line = Line::new(followed)?;
    let told = [line.stands_out(followed), line.rounds_down(followed)];
    let best = told
        .into_iter()
        .flatten()
        .filter(|t| t.2 >= LEAST)
        .max_by(|a, b| a.2.total_cmp(&b.2).then(b.0.cmp(&a.0)));
    let (index, kind, confidence) = best.unwrap_or_else(|| {
        let index = line.index_at(followed.teeth_mm);
        if index + 1 == line.s.len() && followed.fell {
            (index, EndKind::ScanBorder, AVERAGE)
        } else {
            (index, EndKind::AverageLength, AVERAGE)
        }
    });
    let at = followed.points.get(index)?.0;
    Some((index + 1, RidgeEnd { kind, at, confidence }))
}

/// Distances and smoothed heights along the crest.
struct Line {
    s: Vec<f64>,
    h: Vec<f64>,
}

impl Line {
    fn new(followed: &Followed<'_>) -> Option<Line> {
        let points = followed.points;
        let mut s = vec![0.0];
        for w in points.windows(2) {
            s.push(s.last()? + (w[1].0 - w[0].0).norm());
        }
        let h = (0..points.len())
            .map(|i| {
                let about = &points[i.saturating_sub(2)..(i + 3).min(points.len())];
                about.iter().map(|(_, h)| h).sum::<f64>() / about.len() as f64
            })
            .collect();
        (!points.is_empty()).then_some(Line { s, h })
    }

    /// The last station not farther than `s_mm`.
    fn index_at(&self, s_mm: f64) -> usize {
        self.s.partition_point(|&s| s <= s_mm).saturating_sub(1)
    }

    /// How usual it is for a ridge to end there.
    fn usual(&self, index: usize, teeth_mm: f64) -> f64 {
        let off = (self.s[index] - teeth_mm - USUAL_MM.0) / USUAL_MM.1;
        exp(-0.5 * off * off)
    }

    /// The front of a rise behind the low point of the ridge.
    fn stands_out(&self, followed: &Followed<'_>) -> Option<(usize, EndKind, f64)> {
        let from = self.index_at(followed.teeth_mm + LOOKED_FOR_MM[0]);
        let to = self.index_at(followed.teeth_mm + LOOKED_FOR_MM[1]);
        let ceiling = followed.plane_mm - UNDER_PLANE_MM;
        let low = (self.h.iter().take(from + 1)).copied().fold(f64::INFINITY, f64::min);
        let kind = if followed.arch == Arch::Mandible { EndKind::RetromolarPad } else { EndKind::Tuberosity };
        // A top: from there the crest falls again or runs level.
        let is_top = |i: usize| {
            let ahead = &self.h[i + 1..(i + 9).min(self.h.len())];
            let higher = ahead.iter().any(|h| *h > self.h[i] + NEAR_TOP_MM / 2.0);
            ahead.len() >= 4 && !higher && self.h[i] > low + RISE_MM[0] && self.h[i] <= ceiling
        };
        let told = |top: usize| {
            let front = (from..=top).find(|&i| self.h[i] > self.h[top] - NEAR_TOP_MM)?;
            let clear = ((self.h[top] - low - RISE_MM[0]) / (RISE_MM[1] - RISE_MM[0])).clamp(0.0, 1.0);
            Some((front, kind, 0.9 * clear * self.usual(front, followed.teeth_mm)))
        };
        (from..=to)
            .filter(|&i| is_top(i))
            .filter_map(told)
            .max_by(|a, b| a.2.total_cmp(&b.2).then(b.0.cmp(&a.0)))
    }

    /// The place where the crest of a maxilla has rounded down behind.
    fn rounds_down(&self, followed: &Followed<'_>) -> Option<(usize, EndKind, f64)> {
        if followed.arch != Arch::Maxilla {
            return None;
        }
        let from = self.index_at(followed.teeth_mm + LOOKED_FOR_MM[0]);
        let to = self.index_at(followed.teeth_mm + LOOKED_FOR_MM[1]);
        let index = (from..=to).find(|&i| {
            let before = &self.h[self.index_at(self.s[i] - 10.0)..i.max(1)];
            before.iter().copied().fold(f64::NEG_INFINITY, f64::max) - self.h[i] > ROUNDED_MM
        })?;
        Some((index, EndKind::Tuberosity, 0.6 * self.usual(index, followed.teeth_mm)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A crest along x at half a millimetre, of given height.
    fn crest(length: f64, height: impl Fn(f64) -> f64) -> Vec<(Point, f64)> {
        (0..=(2.0 * length) as usize)
            .map(|i| 0.5 * i as f64)
            .map(|s| (Point::new(s, 0.0, height(s)), height(s)))
            .collect()
    }

    fn ended(arch: Arch, points: &[(Point, f64)]) -> (f64, RidgeEnd) {
        let followed = Followed { arch, points, teeth_mm: 21.0, plane_mm: 8.0, fell: false };
        let (count, end) = find(&followed).unwrap();
        assert_eq!(points[count - 1].0, end.at);
        (end.at.x, end)
    }

    #[test]
    fn a_pad_behind_the_low_point_ends_the_ridge_at_its_front() {
        // Down from the abutment, level, up by 2 mm between 20 and 24 mm, then a broad top.
        let height = |s: f64| 2.0 * (1.0 - s / 8.0).max(0.0) + 2.0 * ((s - 20.0) / 4.0).clamp(0.0, 1.0);
        let (s, end) = ended(Arch::Mandible, &crest(36.0, |s| height(s) - 0.1 * (s - 30.0).max(0.0)));
        assert_eq!(end.kind, EndKind::RetromolarPad);
        assert!((s - 24.0).abs() < 1.0 && end.confidence > 0.6, "{end:?}");
    }

    #[test]
    fn a_level_ridge_ends_at_an_average_length_and_nobody_claims_to_know() {
        for arch in [Arch::Mandible, Arch::Maxilla] {
            let (s, end) = ended(arch, &crest(36.0, |_| 0.0));
            assert_eq!(end.kind, EndKind::AverageLength);
            assert!((s - 21.0).abs() < 0.6 && end.confidence < 0.5);
        }
    }

    #[test]
    fn a_ramus_that_rises_over_the_occlusal_plane_is_no_pad() {
        let (_, end) = ended(Arch::Mandible, &crest(36.0, |s| (1.0 * (s - 18.0)).clamp(0.0, 9.0)));
        assert_eq!(end.kind, EndKind::AverageLength);
    }

    #[test]
    fn a_tuberosity_that_rounds_down_ends_the_ridge_there() {
        let round = |s: f64| -0.05 * (s - 18.0).max(0.0) * (s - 18.0).max(0.0);
        let (s, end) = ended(Arch::Maxilla, &crest(30.0, round));
        assert_eq!(end.kind, EndKind::Tuberosity);
        // 0.05 d2 = 1.5 at d = 5.5 mm.
        assert!((s - 23.5).abs() < 1.5, "{end:?}");
    }

    #[test]
    fn the_border_of_the_scan_is_said_to_be_one() {
        let points = crest(15.0, |_| 0.0);
        let followed =
            Followed { arch: Arch::Mandible, points: &points, teeth_mm: 21.0, plane_mm: 8.0, fell: true };
        let (count, end) = find(&followed).unwrap();
        assert_eq!((count, end.kind), (points.len(), EndKind::ScanBorder));
    }
}
