//! The bite: upper teeth come down until they meet the lower ones.

use super::cast::Cast;
use super::crown::CrownBody;
use super::patient::Stance;
use crate::space::{Point, Vector};

/// Moves each crown of the maxilla up or down until it would bite about 0.25 mm into the mandible. A tooth that was asked
/// to have grown out of its row stays where that put it.
pub(super) fn erupt(maxilla: &mut Cast, mandible: &Cast, stances: &[Stance]) {
    let points = occlusal_points(mandible);
    let free = |c: &CrownBody| stances.iter().any(|w| w.tooth == c.tooth && w.erupted_mm != 0.0);
    for crown in maxilla.crowns.iter_mut().filter(|c| !free(c)) {
        let start = crown.origin;
        let (middle, radius) = crown.bound();
        let near: Vec<Point> = points
            .iter()
            .map(|p| Point::new(p.x, p.y, -p.z))
            .filter(|p| {
                // Only what stands under the crown itself: a neighbour of its antagonist does not hold it.
                let [u, v, _] = crown.local(p);
                (p - middle).norm() < radius + 2.0
                    && u.abs() < 0.85 * crown.half_md
                    && v.abs() < crown.half_bl
            })
            .collect();
        let bite = |crown: &CrownBody| {
            near.iter().map(|p| -crown.value(crown.local(p))).fold(f64::NEG_INFINITY, f64::max)
        };
        // Only a tooth whose antagonist stands below it is moved: bitten into at the lowest place of the range.
        let (mut lo, mut hi) = (-2.2, 0.8);
        crown.origin = start + Vector::z() * hi;
        if bite(crown) < 0.25 {
            crown.origin = start;
            continue;
        }
        for _ in 0..24 {
            let mid = 0.5 * (lo + hi);
            crown.origin = start + Vector::z() * mid;
            if bite(crown) > 0.25 { hi = mid } else { lo = mid }
        }
        crown.origin = start + Vector::z() * lo;
    }
}

/// Points on the occlusal surfaces of a mandible about 0.4 mm apart.
fn occlusal_points(mandible: &Cast) -> Vec<Point> {
    let mut out = Vec::new();
    for crown in &mandible.crowns {
        let (nu, nv) = ((crown.half_md / 0.4) as i32, (crown.half_bl / 0.4) as i32);
        for i in -nu..=nu {
            for j in -nv..=nv {
                let (u, v) = (0.4 * f64::from(i), 0.4 * f64::from(j));
                let (mut lo, mut hi) = (0.3 * crown.height, crown.height + 1.0);
                if crown.value([u, v, lo]) > 0.0 {
                    continue;
                }
                for _ in 0..20 {
                    let w = 0.5 * (lo + hi);
                    if crown.value([u, v, w]) > 0.0 { hi = w } else { lo = w }
                }
                out.push(crown.world([u, v, lo]));
            }
        }
    }
    out
}
