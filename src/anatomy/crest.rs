//! Crest lines: marked ones laid onto the ridge and led to the abutments.

use super::{Crown, curves};
use crate::locate::Surface;
use crate::mesh::FaceId;
use crate::space::Point;

/// Greatest distance between stations, mm.
pub const STEP_MM: f64 = 0.5;
/// A crest that begins up to this far from its abutment is prolonged to it, mm.
const PROLONGED_MM: f64 = 6.0;
/// A mark of a ridge's end counts for a crest that passes or ends within this distance, mm.
const RIDGE_END_MM: f64 = 8.0;

/// What bounds a crest line.
#[derive(Clone, Copy, Debug)]
pub struct Ends<'a> {
    /// Crown in front.
    pub front: Option<&'a Crown>,
    /// Crown behind.
    pub back: Option<&'a Crown>,
    /// Marked ends of distal extensions.
    pub ridge_ends: &'a [Point],
}

/// A marked crest line on the surface, beginning at the front crown's margin and, where there is one, ending at that
/// of the crown behind; stations at most [`STEP_MM`] apart. `marked` runs from the front. Empty where nothing is left.
pub fn laid(surface: &Surface, marked: &[Point], ends: &Ends<'_>) -> Vec<Point> {
    let mut line = curves::laid(surface, marked, STEP_MM);
    if let Some(crown) = ends.front {
        line.reverse();
        line = led_to(surface, line, crown);
        line.reverse();
    }
    match ends.back {
        Some(crown) => line = led_to(surface, line, crown),
        None => line = ended(surface, line, ends.ridge_ends),
    }
    curves::densified(&curves::evenly(&line, STEP_MM), STEP_MM)
}

/// The line ending at the margin of the crown that its end meets: cut where it climbs the crown, else prolonged.
fn led_to(surface: &Surface, mut line: Vec<Point>, crown: &Crown) -> Vec<Point> {
    let on_crown = |p: &Point| {
        surface.closest(p).is_some_and(|c| crown.faces.binary_search(&(c.face as FaceId)).is_ok())
    };
    let half = line.len() / 2;
    if let Some(first_on) = (half..line.len()).find(|&i| on_crown(&line[i])) {
        line.truncate(first_on.max(1));
    }
    let Some(&end) = line.last() else { return line };
    let nearest = crown
        .margin
        .iter()
        .min_by(|a, b| (*a - end).norm_squared().total_cmp(&(*b - end).norm_squared()))
        .copied();
    if let Some(margin) = nearest.filter(|m| (1e-6..=PROLONGED_MM).contains(&(m - end).norm())) {
        let joined = curves::laid(surface, &[end, margin], STEP_MM);
        line.extend(joined.into_iter().skip(1));
    }
    line
}

/// The line ending at a marked end of the ridge, cut or prolonged, where one is near its distal half.
fn ended(surface: &Surface, mut line: Vec<Point>, ridge_ends: &[Point]) -> Vec<Point> {
    let half = line.len() / 2;
    let near = |e: &Point| -> Option<(usize, f64)> {
        (half..line.len()).map(|i| (i, (line[i] - e).norm())).min_by(|a, b| a.1.total_cmp(&b.1))
    };
    let best = ridge_ends
        .iter()
        .filter_map(|e| near(e).map(|(i, d)| (i, d, *e)))
        .filter(|(_, d, _)| *d <= RIDGE_END_MM)
        .min_by(|a, b| a.1.total_cmp(&b.1));
    let Some((index, _, mark)) = best else { return line };
    if index + 1 < line.len() {
        line.truncate(index + 1);
    } else if let Some(&end) = line.last() {
        line.extend(curves::laid(surface, &[end, mark], STEP_MM).into_iter().skip(1));
    }
    line
}
