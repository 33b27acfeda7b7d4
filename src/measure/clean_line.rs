//! A curve on a surface freed of the zigzag that the facets and the noise of a scan give it.
//!
//! Definition: every place is the mean of the curve around it, weighted by a bell of standard width `width_mm` along the
//! curve, brought back to the nearest place of the surface. Ends of open curves stay where they are.
//!
//! Frame and units: mm, in the file's own axes.
//!
//! Method and its error: a circle of radius R moves by `width^2 / (2 R)` toward its middle before it is brought back:
//! 0.01 mm for 0.3 mm at R = 4 mm, most of which the surface gives back.
//!
//! Checked by: a circle with a sawtooth on it, below; the survey lines of solids in `survey_line`.

use crate::anatomy::curves::evenly;
use crate::locate::Surface;
use crate::space::{Point, Vector, exp};

/// Places in one standard width.
const PER_WIDTH: f64 = 2.0;
/// Standard widths after which the bell is cut off.
const CUT_OFF: f64 = 3.0;

/// The curve freed of its zigzag, its places half a `width_mm` apart. A closed curve ends on its start, before and after.
/// A curve shorter than four widths is returned as it is.
pub fn cleaned(line: &[Point], surface: &Surface, width_mm: f64) -> Vec<Point> {
    let step = width_mm / PER_WIDTH;
    let even = evenly(line, step);
    let closed = line.len() > 2 && line.first() == line.last();
    let n = if closed { even.len().saturating_sub(1) } else { even.len() };
    if n < (4.0 * PER_WIDTH) as usize {
        return line.to_vec();
    }
    let most = (CUT_OFF * PER_WIDTH) as usize;
    let bell: Vec<f64> = (0..=most)
        .map(|k| {
            let widths = k as f64 / PER_WIDTH;
            exp(-0.5 * widths * widths)
        })
        .collect();
    let mean = |i: usize| -> Point {
        // Toward the ends of an open curve the bell narrows, so that they stay.
        let reach = if closed { most.min((n - 1) / 2) } else { most.min(i).min(n - 1 - i) };
        let (mut sum, mut weight) = (even[i].coords * bell[0], bell[0]);
        for (k, w) in bell.iter().enumerate().take(reach + 1).skip(1) {
            let (before, behind): (Vector, Vector) = if closed {
                (even[(i + n - k) % n].coords, even[(i + k) % n].coords)
            } else {
                (even[i - k].coords, even[i + k].coords)
            };
            sum += (before + behind) * *w;
            weight += 2.0 * w;
        }
        Point::from(sum / weight)
    };
    let onto = |p: Point| surface.closest(&p).map_or(p, |c| c.at);
    let mut out: Vec<Point> = (0..n).map(|i| onto(mean(i))).collect();
    if closed && let Some(&first) = out.first() {
        out.push(first);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phantom::solids;
    use crate::space::{angle_deg, cos, hypot, sin};
    use std::f64::consts::TAU;

    /// Sum of the turns along a curve, degrees for each mm.
    fn turn_per_mm(line: &[Point]) -> f64 {
        let steps: Vec<Vector> = line.windows(2).map(|w| w[1] - w[0]).collect();
        let turns: f64 = steps.windows(2).map(|w| angle_deg(&w[0], &w[1])).sum();
        turns / steps.iter().map(Vector::norm).sum::<f64>()
    }

    #[test]
    fn a_sawtooth_on_a_circle_is_smoothed_away_and_the_circle_stays() {
        let surface = Surface::new(&solids::lat_long_sphere(4.0, 0.1));
        let mut saw: Vec<Point> = (0..240)
            .map(|k| {
                let (a, lift) = (TAU * f64::from(k) / 240.0, if k % 2 == 0 { 0.05 } else { -0.05 });
                Point::new(4.0 * cos(a), 4.0 * sin(a), lift)
            })
            .collect();
        saw.push(saw[0]);
        let clean = cleaned(&saw, &surface, 0.3);
        assert_eq!(clean.first(), clean.last());
        // A circle of 4 mm turns by 360 degrees on its 25.13 mm.
        let circle = 360.0 / (TAU * 4.0);
        assert!(turn_per_mm(&saw) > 10.0 * circle, "{}", turn_per_mm(&saw));
        assert!((turn_per_mm(&clean) / circle - 1.0).abs() < 0.03, "{}", turn_per_mm(&clean));
        assert!(clean.iter().all(|p| p.z.abs() < 0.006 && (hypot(p.x, p.y) - 4.0).abs() < 0.003));
        // Open: the ends stay.
        let open = cleaned(&saw[..120], &surface, 0.3);
        assert!((open[0] - saw[0]).norm() < 0.06 && (open[open.len() - 1] - saw[119]).norm() < 0.06);
        assert_eq!(cleaned(&saw[..3], &surface, 0.3), saw[..3].to_vec());
    }
}
