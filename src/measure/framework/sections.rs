//! Sections of a framework: the loops in which a plane cuts it, and how wide and thick they are.
//!
//! Definition: *thickness* of a loop is its least width between two parallel lines, *height* (or width) its extent square to
//! that. On a half-pear bar these are depth and height of the pear.
//!
//! Method and its error: exact on the triangles; the least width of a polygon stands on one of the sides of its hull.
//!
//! Checked by: a rectangle turned by any angle, a half-round, below.

use crate::locate::cut::cut;
use crate::mesh::Mesh;
use crate::space::{Plane, Point, Vector, across};

/// A loop that starts and ends within this is closed, mm.
const CLOSED_MM: f64 = 1e-6;

/// A loop of a section.
#[derive(Clone, Debug)]
pub struct Loop {
    /// Its places, the first not repeated, mm.
    pub places: Vec<Point>,
    /// Whether it is closed.
    pub closed: bool,
    /// Middle of its places, weighted by the length beside them, mm.
    pub middle: Point,
}

/// Sizes of a loop, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sizes {
    /// Least width.
    pub thickness_mm: f64,
    /// Extent square to it.
    pub height_mm: f64,
    /// Way through the loop in the direction of the thickness, in the middle of its height: that of the metal where the loop
    /// leans about something round, as an arm about a tooth.
    pub middle_mm: f64,
}

/// The loops of a section with at least three places.
pub fn loops(mesh: &Mesh, plane: &Plane) -> Vec<Loop> {
    cut(mesh, plane).into_iter().filter_map(of_chain).collect()
}

fn of_chain(mut places: Vec<Point>) -> Option<Loop> {
    let closed = places.len() > 3 && (places[0] - places[places.len() - 1]).norm() < CLOSED_MM;
    if closed {
        places.pop();
    }
    if places.len() < 3 {
        return None;
    }
    let n = places.len();
    let (mut sum, mut whole) = (Vector::zeros(), 0.0);
    for i in 0..if closed { n } else { n - 1 } {
        let (a, b) = (places[i], places[(i + 1) % n]);
        let length = (b - a).norm();
        sum += (a.coords + b.coords) * (length / 2.0);
        whole += length;
    }
    let middle = if whole > 0.0 { Point::from(sum / whole) } else { places[0] };
    Some(Loop { places, closed, middle })
}

impl Loop {
    /// Its sizes in a plane.
    pub fn sizes(&self, plane: &Plane) -> Option<Sizes> {
        let (u, v) = across(&plane.normal);
        let flat: Vec<[f64; 2]> = self
            .places
            .iter()
            .map(|p| {
                let way = p - plane.point;
                [way.dot(&u), way.dot(&v)]
            })
            .collect();
        let hull = hull(flat.clone());
        let mut best: Option<(Sizes, [f64; 2])> = None;
        for i in 0..hull.len() {
            let (a, b) = (hull[i], hull[(i + 1) % hull.len()]);
            let length = crate::space::hypot(b[0] - a[0], b[1] - a[1]);
            if length < 1e-9 {
                continue;
            }
            let along = [(b[0] - a[0]) / length, (b[1] - a[1]) / length];
            let extent = |axis: [f64; 2]| {
                let of = hull.iter().map(|p| p[0] * axis[0] + p[1] * axis[1]);
                let (low, high) =
                    of.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), x| (l.min(x), h.max(x)));
                high - low
            };
            let thickness_mm = extent([-along[1], along[0]]);
            if best.is_none_or(|(b, _)| thickness_mm < b.thickness_mm) {
                best =
                    Some((Sizes { thickness_mm, height_mm: extent(along), middle_mm: thickness_mm }, along));
            }
        }
        let (sizes, along) = best?;
        let middle_mm = through(&flat, along).unwrap_or(sizes.thickness_mm);
        Some(Sizes { middle_mm, ..sizes })
    }
}

/// From the first to the last crossing of a closed line square to `along`, half way between its ends along it.
fn through(flat: &[[f64; 2]], along: [f64; 2]) -> Option<f64> {
    let turned: Vec<[f64; 2]> =
        flat.iter().map(|p| [p[0] * along[0] + p[1] * along[1], p[1] * along[0] - p[0] * along[1]]).collect();
    let ends = |all: &mut dyn Iterator<Item = f64>| {
        all.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), x| (l.min(x), h.max(x)))
    };
    let (low, high) = ends(&mut turned.iter().map(|p| p[0]));
    let aim = (low + high) / 2.0;
    let n = turned.len();
    let (from, to) = ends(&mut (0..n).filter_map(|i| {
        let (a, b) = (turned[i], turned[(i + 1) % n]);
        let crosses = (a[0] <= aim) != (b[0] <= aim);
        crosses.then(|| a[1] + (b[1] - a[1]) * (aim - a[0]) / (b[0] - a[0]))
    }));
    (to > from).then_some(to - from)
}

/// Extent of places of a section along the longer axis of their box in the plane: lowest, highest, and the axis.
pub(super) fn in_plane_up(plane: &Plane, places: impl Iterator<Item = Point>) -> Option<(f64, f64, Vector)> {
    let all: Vec<Point> = places.collect();
    let first = all.first()?;
    let far = |from: &Point| {
        all.iter().max_by(|a, b| (*a - from).norm_squared().total_cmp(&(*b - from).norm_squared())).copied()
    };
    let end = far(first)?;
    let other = far(&end)?;
    let way = other - end;
    let axis = (way - plane.normal.into_inner() * way.dot(&plane.normal)).try_normalize(1e-9)?;
    let heights = all.iter().map(|p| p.coords.dot(&axis));
    let (low, high) = heights.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), x| (l.min(x), h.max(x)));
    Some((low, high, axis))
}

/// Corners of the convex hull, counter-clockwise.
fn hull(mut flat: Vec<[f64; 2]>) -> Vec<[f64; 2]> {
    flat.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    flat.dedup();
    if flat.len() < 3 {
        return flat;
    }
    let turns_left = |a: [f64; 2], b: [f64; 2], c: [f64; 2]| {
        (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]) > 0.0
    };
    let half = |places: &mut dyn Iterator<Item = [f64; 2]>| {
        let mut chain: Vec<[f64; 2]> = Vec::new();
        for p in places {
            while chain.len() >= 2 && !turns_left(chain[chain.len() - 2], chain[chain.len() - 1], p) {
                chain.pop();
            }
            chain.push(p);
        }
        chain.pop();
        chain
    };
    let mut all = half(&mut flat.iter().copied());
    all.extend(half(&mut flat.iter().rev().copied()));
    all
}

#[cfg(test)]
mod tests {
    use super::super::tests::fine_box;
    use super::*;
    use crate::space::{Direction, Motion, cos, sin};

    #[test]
    fn a_turned_box_has_its_own_sizes_in_its_section() {
        let bar = fine_box([-2.0, -1.0, -5.0], [2.0, 1.0, 5.0], 0.5);
        for turn in [0.0, 0.3, 1.1] {
            let motion = Motion::rotation(Vector::new(0.0, 0.0, turn));
            let plane =
                Plane { point: Point::new(0.0, 0.0, 0.13), normal: Direction::new_normalize(Vector::z()) };
            let loops = loops(&bar.moved(&motion), &plane);
            assert_eq!(loops.len(), 1);
            let sizes = loops[0].sizes(&plane).unwrap();
            assert!(
                (sizes.thickness_mm - 2.0).abs() < 1e-6 && (sizes.height_mm - 4.0).abs() < 1e-6,
                "{sizes:?}"
            );
            assert!(loops[0].closed && loops[0].middle.coords.xy().norm() < 1e-6);
        }
    }

    #[test]
    fn a_bent_strip_is_as_thick_in_its_middle_as_its_wall() {
        // An arc of 60 degrees of a tube with the radii 4 and 5: its wall is 1 mm, its hull 5 - 4 cos 30 = 1.536 mm.
        let arc = |r: f64, k: i32| {
            let a = (f64::from(k) - 30.0).to_radians();
            Point::new(r * cos(a), r * sin(a), 0.0)
        };
        let places: Vec<Point> =
            (0..=60).map(|k| arc(5.0, k)).chain((0..=60).rev().map(|k| arc(4.0, k))).collect();
        let plane = Plane { point: Point::origin(), normal: Direction::new_normalize(Vector::z()) };
        let sizes = Loop { places, closed: true, middle: Point::origin() }.sizes(&plane).unwrap();
        let hull = 5.0 - 4.0 * cos(30f64.to_radians());
        assert!(
            (sizes.thickness_mm - hull).abs() < 0.002 && (sizes.middle_mm - 1.0).abs() < 0.002,
            "{sizes:?}"
        );
    }

    #[test]
    fn a_half_round_is_half_as_thick_as_high() {
        let places: Vec<Point> = (0..=60)
            .map(|k| f64::from(k) / 60.0 * std::f64::consts::PI)
            .map(|a| Point::new(sin(a), cos(a), 0.0))
            .collect();
        let plane = Plane { point: Point::origin(), normal: Direction::new_normalize(Vector::z()) };
        let half = Loop { places, closed: true, middle: Point::origin() };
        let sizes = half.sizes(&plane).unwrap();
        assert!(
            (sizes.thickness_mm - 1.0).abs() < 0.002 && (sizes.height_mm - 2.0).abs() < 0.002,
            "{sizes:?}"
        );
    }
}
