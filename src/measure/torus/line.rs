//! The arch line in plan, smooth, from which the wall is seen.

use crate::anatomy::curves;
use crate::space::{Point, Point2, Vector, exp};

/// Step of the line and the standard deviation of its smoothing, mm.
const LINE_MM: (f64, f64) = (0.5, 4.0);

/// Points along a curve through corners that turns from chord to chord (Catmull and Rom 1974, from memory, over the chords'
/// lengths): where teeth are missing the arch bows out of the chord between those that stand.
fn rounded(corners: &[Point2]) -> Vec<Point2> {
    const PARTS: usize = 8;
    let n = corners.len();
    let slope = |i: usize| {
        let (a, b) = (i.saturating_sub(1), (i + 1).min(n - 1));
        let length: f64 = (a..b).map(|k| (corners[k + 1] - corners[k]).norm()).sum();
        if length > 0.0 { (corners[b] - corners[a]) / length } else { nalgebra::Vector2::zeros() }
    };
    let mut points: Vec<Point2> = Vec::new();
    for i in 0..n.saturating_sub(1) {
        let length = (corners[i + 1] - corners[i]).norm();
        let (from, to) = (slope(i) * length, slope(i + 1) * length);
        for k in 0..PARTS {
            let t = k as f64 / PARTS as f64;
            let (t2, t3) = (t * t, t * t * t);
            points.push(Point2::from(
                corners[i].coords * (2.0 * t3 - 3.0 * t2 + 1.0)
                    + from * (t3 - 2.0 * t2 + t)
                    + corners[i + 1].coords * (3.0 * t2 - 2.0 * t3)
                    + to * (t3 - t2),
            ));
        }
    }
    points.extend(corners.last());
    points
}

/// The arch line in plan, smooth, in even steps.
#[derive(Debug)]
pub(super) struct Line {
    points: Vec<Point2>,
    inside: Point2,
}

/// The place of a line in plan that is nearest to a place beside it.
#[derive(Clone, Copy)]
pub(super) struct Foot {
    /// Where.
    pub at: Point2,
    /// How far along the line, mm.
    pub along: f64,
    /// How far from it the place lies, mm.
    pub far: f64,
    /// The ends of the piece on which it lies.
    pub piece: [Point2; 2],
}

impl Foot {
    /// Of a place beside a line; `None` where the line has no length.
    pub fn on(line: &[Point2], p: Point2) -> Option<Foot> {
        let mut best: Option<Foot> = None;
        let mut from = 0.0;
        for pair in line.windows(2) {
            let piece = pair[1] - pair[0];
            let length2 = piece.norm_squared();
            if length2 <= 0.0 {
                continue;
            }
            let (t, length) = (((p - pair[0]).dot(&piece) / length2).clamp(0.0, 1.0), length2.sqrt());
            let at = pair[0] + piece * t;
            let far = (p - at).norm();
            if best.is_none_or(|b| far < b.far) {
                best = Some(Foot { at, along: from + t * length, far, piece: [pair[0], pair[1]] });
            }
            from += length;
        }
        best
    }
}

impl Line {
    /// Through corners in the order of the arch; `inside` lies on its lingual side.
    pub fn smooth(corners: &[Point2], inside: Point2) -> Option<Line> {
        let (step, soft) = LINE_MM;
        let flat: Vec<Point> = rounded(corners).iter().map(|p| Point::new(p.x, p.y, 0.0)).collect();
        let even = curves::evenly(&flat, step);
        let n = even.len();
        let points = (0..n)
            .map(|i| {
                // As far to one side as to the other, so that the ends stay where they are.
                let half = i.min(n - 1 - i).min((3.0 * soft / step) as usize);
                let mut sum = (Vector::zeros(), 0.0);
                for k in i - half..=i + half {
                    let far = (k as f64 - i as f64) * step / soft;
                    let weight = exp(-0.5 * far * far);
                    sum = (sum.0 + even[k].coords * weight, sum.1 + weight);
                }
                Point2::new(sum.0.x / sum.1, sum.0.y / sum.1)
            })
            .collect();
        (n > 2).then_some(Line { points, inside })
    }

    /// The nearest place of the line; `None` where `p` lies buccal of it.
    pub fn foot(&self, p: Point2) -> Option<Foot> {
        Foot::on(&self.points, p).filter(|foot| (p - foot.at).dot(&(self.inside - foot.at)) > 0.0)
    }
}
