//! Quantity: how far a tooth stands beyond the plane of its arch (an overerupted tooth over an edentulous span).
//!
//! Definition: the plane goes through the tips of the arch's other crowns, least squares; tips farther than 1.5 mm from it
//! are left out and it is laid once more. A crown's tip is its place highest along the arch's occlusal direction; its
//! excess is the height of the tip over the plane, along its normal.
//!
//! Frame and units: mm; file axes.
//!
//! Method and its error: the curves of the arch (Spee, Wilson) leave residuals of up to about 1 mm, which the limit has to
//! allow; the residual of the other tips stands in the uncertainty.
//!
//! Not covered: teeth without a known crown; the curve of the individual arch.
//!
//! Checked by: tips on a plane with one raised, below.

use crate::space::{Direction, Plane, Point, across, direction};

/// Tips farther from the plane than this do not make it, mm.
const OUTLIER_MM: f64 = 1.5;
/// Fewest tips that make a plane.
const FEWEST: usize = 4;

/// The highest of `places` along `occlusal`.
pub fn tip(places: impl Iterator<Item = Point>, occlusal: &Direction) -> Option<Point> {
    places.max_by(|a, b| a.coords.dot(occlusal).total_cmp(&b.coords.dot(occlusal)))
}

/// A plane through tips, and the root mean square of their residuals, mm.
///
/// `None` with fewer than four tips, or where they stand in a line.
pub fn plane_of(tips: &[Point], occlusal: &Direction) -> Option<(Plane, f64)> {
    let (first, _) = laid(tips, occlusal)?;
    let near: Vec<Point> = tips.iter().copied().filter(|p| first.height_mm(p).abs() <= OUTLIER_MM).collect();
    laid(&near, occlusal).or_else(|| laid(tips, occlusal))
}

/// Least squares of height over the plan.
fn laid(tips: &[Point], occlusal: &Direction) -> Option<(Plane, f64)> {
    if tips.len() < FEWEST {
        return None;
    }
    let (u, v) = across(occlusal);
    let middle = tips.iter().fold(nalgebra::Vector3::zeros(), |sum, p| sum + p.coords) / tips.len() as f64;
    let (mut uu, mut uv, mut vv, mut uh, mut vh) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for p in tips {
        let d = p.coords - middle;
        let (x, y, h) = (d.dot(&u), d.dot(&v), d.dot(occlusal));
        uu += x * x;
        uv += x * y;
        vv += y * y;
        uh += x * h;
        vh += y * h;
    }
    let det = uu * vv - uv * uv;
    if det <= 1e-3 * (uu + vv) * (uu + vv) {
        return None;
    }
    let (a, b) = ((uh * vv - vh * uv) / det, (vh * uu - uh * uv) / det);
    let plane = Plane { point: middle.into(), normal: direction(occlusal.into_inner() - u * a - v * b)? };
    let square: f64 = tips.iter().map(|p| plane.height_mm(p)).map(|h| h * h).sum();
    Some((plane, (square / tips.len() as f64).sqrt()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::space::Vector;

    #[test]
    fn a_raised_tip_stands_out_by_its_height_whatever_the_tilt_of_the_arch() {
        let normal = direction(Vector::new(0.1, -0.05, 1.0)).unwrap();
        let plane = Plane { point: Point::new(1.0, 2.0, 3.0), normal };
        let (u, v) = across(&normal);
        let mut tips: Vec<Point> = (0..12)
            .map(|k| f64::from(k) * 0.5)
            .map(|a| plane.point + u * (25.0 * crate::space::cos(a)) + v * (20.0 * crate::space::sin(a)))
            .collect();
        tips[3] += normal.into_inner() * 2.4;
        let up = direction(Vector::z()).unwrap();
        let (found, rms) = plane_of(&tips, &up).unwrap();
        assert!((found.height_mm(&tips[3]) - 2.4).abs() < 0.02, "{}", found.height_mm(&tips[3]));
        assert!(rms < 0.02);
        assert!(plane_of(&tips[..3], &up).is_none());
        let line: Vec<Point> = (0..6).map(|k| Point::new(f64::from(k), 0.0, 0.0)).collect();
        assert!(plane_of(&line, &up).is_none());
    }
}
