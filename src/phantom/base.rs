//! The trimmed base of a cast: straight walls around, flat below.

use super::cast::Cast;
use super::field::smax;
use crate::case::Arch;
use crate::space::{Point, cos, sin};

/// A prism with slightly rounded edges.
#[derive(Clone, Debug, PartialEq)]
pub struct Base {
    /// Walls in plan: outward normal and its distance from the origin, mm.
    pub walls: Vec<([f64; 2], f64)>,
    /// Its foot, own z, mm.
    pub foot: f64,
}

/// Rounding of the edges, mm.
const ROUND_MM: f64 = 0.7;
/// How far from an edge a wall counts as plain, mm.
const PLAIN_MM: f64 = 2.0;
/// Stone under the deepest sulcus, mm.
const STONE_MM: f64 = 6.0;

impl Base {
    /// A base around a cast, `k` times as wide as the average: a mandible's has a round front, a maxilla's a pointed one.
    pub(super) fn around(cast: &Cast, k: f64) -> Base {
        let low = |v: &[f64]| v.iter().fold(f64::INFINITY, |m, z| m.min(*z));
        let deepest = match cast.palate {
            Some(palate) => low(&cast.levels.vestibule).min(palate.level - palate.depth),
            None => low(&cast.levels.vestibule).min(low(&cast.levels.floor)),
        };
        let back = cast.limits.back_y;
        // The back wall stands behind the pads, the sides beyond the sulci.
        let mut walls = vec![([0.0, -1.0], -back)];
        // Directions of the walls, degrees from the front, and how far beyond the arch they stand.
        let sides: &[(f64, f64)] = match cast.arch {
            Arch::Mandible => &[(0.0, 10.5), (24.0, 10.0), (48.0, 10.0), (78.0, 10.5), (140.0, 9.0)],
            Arch::Maxilla => &[(28.0, 9.5), (78.0, 10.5), (142.0, 9.0)],
        };
        for &(deg, beyond) in sides {
            let (s, c) = (sin(deg.to_radians()), cos(deg.to_radians()));
            for side in [-1.0, 1.0] {
                if deg == 0.0 && side > 0.0 {
                    continue;
                }
                let normal = [side * s, c];
                // The support of the arch in that direction.
                let far = (-60..=60)
                    .map(|i| cast.form.point(super::arch::Place { s: f64::from(i) * k, t: 0.0 }, 0.0))
                    .filter(|p| p.y > back)
                    .map(|p| p.x * normal[0] + p.y * normal[1])
                    .fold(f64::NEG_INFINITY, f64::max);
                walls.push((normal, far + beyond));
            }
        }
        Base { walls, foot: deepest - STONE_MM }
    }

    /// Field of the prism, own position.
    pub(super) fn value(&self, p: &Point) -> f64 {
        let mut f = self.foot - p.z;
        for ([x, y], far) in &self.walls {
            f = smax(f, p.x * x + p.y * y - far, ROUND_MM);
        }
        f
    }

    /// Least and greatest corner in plan, mm.
    pub fn extent(&self) -> [[f64; 2]; 2] {
        let corners: Vec<[f64; 2]> = self.corners();
        let bound = |pick: fn(f64, f64) -> f64, start: f64| {
            [0, 1].map(|k| corners.iter().map(|c| c[k]).fold(start, pick))
        };
        [bound(f64::min, f64::INFINITY), bound(f64::max, f64::NEG_INFINITY)]
    }

    fn corners(&self) -> Vec<[f64; 2]> {
        let mut out = Vec::new();
        for (i, (a, far_a)) in self.walls.iter().enumerate() {
            for (b, far_b) in self.walls.iter().skip(i + 1) {
                let det = a[0] * b[1] - a[1] * b[0];
                if det.abs() < 1e-9 {
                    continue;
                }
                let c = [(far_a * b[1] - far_b * a[1]) / det, (a[0] * far_b - b[0] * far_a) / det];
                if self.walls.iter().all(|(n, far)| n[0] * c[0] + n[1] * c[1] <= far + 1e-6) {
                    out.push(c);
                }
            }
        }
        out
    }

    /// Whether a place lies on the plain of a wall or of the foot, away from their edges, own position.
    pub(super) fn is_plain(&self, p: &Point) -> bool {
        let foot = std::iter::once(self.foot - p.z);
        let mut far: Vec<f64> =
            foot.chain(self.walls.iter().map(|([x, y], far)| p.x * x + p.y * y - far)).collect();
        far.sort_by(|a, b| b.total_cmp(a));
        matches!(far.as_slice(), [most, next, ..] if *most > -0.1 && *next < most - PLAIN_MM)
    }
}
