//! The middle of an arch in plan and the line about which its heights are most alike left and right.

use rayon::prelude::*;

use super::arch_form::turned;
use super::plan::HeightMap;
use crate::space::{Plane, Point, Vector, direction};

/// Heights this far below the occlusal plane and deeper count alike, mm.
const FLOOR_MM: f64 = 15.0;
/// A difference counts no more than this, so that a tooth on one side alone turns no axis, mm.
const MOST_MM: f64 = 3.0;
/// How far the axis may turn from its first guess, degrees.
const MOST_TURN_DEG: i32 = 20;

/// Middle of the arch in plan, on the plane: the middle between the borders of what stands near the occlusal plane.
pub fn arch_middle(map: &HeightMap, plane: &Plane, depth_mm: f64) -> Point {
    let top = plane.point.coords.dot(&map.up);
    let (mut xs, mut ys) = (Vec::new(), Vec::new());
    for j in 0..map.size[1] {
        for i in 0..map.size[0] {
            if map.cell_height(i, j).is_some_and(|h| h > top - depth_mm && h < top + 4.0) {
                let [x, y] = map.middle(i, j);
                xs.push(x);
                ys.push(y);
            }
        }
    }
    let middle = |values: &mut Vec<f64>| {
        values.sort_by(f64::total_cmp);
        let at = |share: f64| values.get((share * (values.len().saturating_sub(1)) as f64) as usize).copied();
        Some((at(0.01)? + at(0.99)?) / 2.0)
    };
    match (middle(&mut xs), middle(&mut ys)) {
        (Some(x), Some(y)) => map.position([x, y], top),
        _ => plane.point,
    }
}

/// The anterior direction of the axis through a midline mark about which the cast is most alike left and right,
/// within 20 degrees of `rough`. `None` where the map is too empty to tell.
pub fn axis_through(map: &HeightMap, plane: &Plane, midline: &Point, rough: Vector) -> Option<Vector> {
    best_axis(map, plane, &|_| Some(map.plan(midline)), rough, MOST_TURN_DEG).map(|(axis, _, _)| axis)
}

/// The most symmetric axis near `rough` (a vector in the plane): its direction, a point of it in plan, and the mean
/// difference of heights about it, mm. `through` gives a fixed point of the axis, or `None` where it is free.
pub fn best_axis(
    map: &HeightMap,
    plane: &Plane,
    through: &dyn Fn(&Vector) -> Option<[f64; 2]>,
    rough: Vector,
    most_turn_deg: i32,
) -> Option<(Vector, [f64; 2], f64)> {
    let ahead = direction(rough - map.up.into_inner() * rough.dot(&map.up))?.into_inner();
    let aside = map.up.cross(&ahead);
    let middle = map.plan(&arch_middle(map, plane, 9.0));
    let relief = relief(map, plane);
    if relief.cells.len() < 100 {
        return None;
    }
    let mut best: Option<(f64, Vector, [f64; 2])> = None;
    let mut consider = |turn_deg: f64| {
        let axis = turned(&ahead, &aside, turn_deg.to_radians());
        let square = [axis.cross(&map.up).dot(&map.u), axis.cross(&map.up).dot(&map.v)];
        let fixed = through(&axis);
        let shifts = if fixed.is_some() { 0..=0 } else { -16..=16 };
        let base = fixed.unwrap_or(middle);
        let tried = shifts.into_par_iter().map(|s| {
            let point = [base[0] + 0.5 * f64::from(s) * square[0], base[1] + 0.5 * f64::from(s) * square[1]];
            (unlikeness(map, &relief, point, square), point)
        });
        for (cost, point) in tried.collect::<Vec<_>>() {
            if best.is_none_or(|(least, _, _)| cost < least) {
                best = Some((cost, axis, point));
            }
        }
        best
    };
    let mut found = None;
    for turn in -most_turn_deg..=most_turn_deg {
        if turn % 2 == 0 || most_turn_deg < 20 {
            found = consider(f64::from(turn));
        }
    }
    let (_, axis, _) = found?;
    let first_deg = crate::space::atan2(axis.dot(&aside), axis.dot(&ahead)).to_degrees();
    for step in -6..=6 {
        found = consider(first_deg + 0.25 * f64::from(step));
    }
    found.map(|(cost, axis, point)| (axis, point, cost))
}

/// What takes part in the comparison.
struct Relief {
    /// Height that counts as nothing, mm along the map's direction.
    floor: f64,
    /// Plan places with their heights above the floor, mm.
    cells: Vec<([f64; 2], f64)>,
}

fn relief(map: &HeightMap, plane: &Plane) -> Relief {
    let floor = plane.point.coords.dot(&map.up) - FLOOR_MM;
    let mut cells = Vec::new();
    for j in 0..map.size[1] {
        for i in 0..map.size[0] {
            if let Some(h) = map.cell_height(i, j).map(|h| (h - floor).min(FLOOR_MM + 3.0))
                && h > 0.0
            {
                cells.push((map.middle(i, j), h));
            }
        }
    }
    Relief { floor, cells }
}

/// Mean difference between the heights and those mirrored about an axis, mm; empty places count as floor.
fn unlikeness(map: &HeightMap, relief: &Relief, point: [f64; 2], square: [f64; 2]) -> f64 {
    let mut sum = 0.0;
    for (at, h) in &relief.cells {
        let off = (at[0] - point[0]) * square[0] + (at[1] - point[1]) * square[1];
        let mirrored = [at[0] - 2.0 * off * square[0], at[1] - 2.0 * off * square[1]];
        let other =
            map.at(mirrored[0], mirrored[1]).map_or(0.0, |k| (k - relief.floor).clamp(0.0, FLOOR_MM + 3.0));
        sum += (h - other).abs().min(MOST_MM);
    }
    sum / relief.cells.len() as f64
}
