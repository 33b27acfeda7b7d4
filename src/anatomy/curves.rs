//! Curves laid onto a surface: marked polylines snapped to it, joined over it, evenly spaced.

use std::collections::{BTreeMap, BinaryHeap};

use crate::locate::Surface;
use crate::mesh::{Reached, Topology, VertexId};
use crate::space::{Point, Vector};

/// Length of a polyline, mm.
pub fn length_mm(line: &[Point]) -> f64 {
    line.windows(2).map(|w| (w[1] - w[0]).norm()).sum()
}

/// The same polyline with points added so that none are more than `most_mm` apart.
pub fn densified(line: &[Point], most_mm: f64) -> Vec<Point> {
    let mut dense: Vec<Point> = line.first().copied().into_iter().collect();
    for w in line.windows(2) {
        let parts = (((w[1] - w[0]).norm() / most_mm).ceil() as usize).max(1);
        dense.extend((1..=parts).map(|k| w[0] + (w[1] - w[0]) * (k as f64 / parts as f64)));
    }
    dense
}

/// The same polyline at equal distances of at most `most_mm`, ends kept.
pub fn evenly(line: &[Point], most_mm: f64) -> Vec<Point> {
    let total = length_mm(line);
    let (Some(first), Some(last)) = (line.first(), line.last()) else { return Vec::new() };
    let parts = ((total / most_mm).ceil() as usize).max(1);
    let mut points = vec![*first];
    let (mut done, mut next) = (0.0, 1usize);
    for w in line.windows(2) {
        let piece = (w[1] - w[0]).norm();
        while next < parts && total * next as f64 / parts as f64 <= done + piece && piece > 0.0 {
            let share = (total * next as f64 / parts as f64 - done) / piece;
            points.push(w[0] + (w[1] - w[0]) * share);
            next += 1;
        }
        done += piece;
    }
    points.push(*last);
    points
}

/// A polyline laid onto the surface: straight pieces between successive points are projected to the nearest surface.
/// Points at most `most_mm` apart. Empty where the surface has no triangle.
pub fn laid(surface: &Surface, line: &[Point], most_mm: f64) -> Vec<Point> {
    let onto = |points: Vec<Point>| -> Vec<Point> {
        points.iter().filter_map(|p| surface.closest(p)).map(|c| c.at).collect()
    };
    let mut on = onto(line.to_vec());
    // Projection spreads points where the straight piece runs deep below a bulge: two rounds close the gaps.
    for _ in 0..2 {
        on = onto(densified(&on, 0.7 * most_mm));
    }
    on.dedup_by(|a, b| (*a - *b).norm() < 1e-9);
    if on.len() < 2 { on } else { densified(&evenly(&on, most_mm), most_mm) }
}

/// Edge path over the surface from one vertex to another that keeps near the straight line between them.
/// `None` where the surface does not join them within some millimetres.
pub fn edge_path(
    surface: &Surface,
    topology: &Topology,
    from: VertexId,
    to: VertexId,
) -> Option<Vec<VertexId>> {
    let mesh = surface.mesh();
    let (start, goal) = (mesh.vertex(from), mesh.vertex(to));
    let axis = goal - start;
    let straight = axis.norm();
    let aside = |p: &Point| -> f64 {
        let v: Vector = p - start;
        let along = if straight > 0.0 { (v.dot(&axis) / (straight * straight)).clamp(0.0, 1.0) } else { 0.0 };
        (v - axis * along).norm()
    };
    let most = 20.0 * straight + 30.0;
    let mut cost: BTreeMap<VertexId, (f64, VertexId)> = BTreeMap::new();
    let mut queue = BinaryHeap::new();
    cost.insert(from, (0.0, from));
    queue.push(Reached(0.0, from));
    while let Some(Reached(so_far, vertex)) = queue.pop() {
        if vertex == to {
            let mut path = vec![to];
            let mut at = to;
            while at != from {
                at = cost.get(&at)?.1;
                path.push(at);
            }
            path.reverse();
            return Some(path);
        }
        if cost.get(&vertex).is_some_and(|(best, _)| so_far > *best) || so_far > most {
            continue;
        }
        let here = mesh.vertex(vertex);
        for next in topology.neighbours(mesh, vertex) {
            let there = mesh.vertex(next);
            // Straying costs extra, so that the path follows the marked line and not a shorter groove beside it.
            let step = (there - here).norm() * (1.0 + aside(&there).min(1.0));
            let sum = so_far + step;
            if cost.get(&next).is_none_or(|(old, _)| sum < *old) {
                cost.insert(next, (sum, vertex));
                queue.push(Reached(sum, next));
            }
        }
    }
    None
}

/// Distance of a point from a polyline, mm; `None` for an empty one.
pub fn distance_mm(line: &[Point], p: &Point) -> Option<f64> {
    let to_piece = |w: &[Point]| {
        let axis = w[1] - w[0];
        let square = axis.norm_squared();
        let t = if square > 0.0 { ((p - w[0]).dot(&axis) / square).clamp(0.0, 1.0) } else { 0.0 };
        (p - (w[0] + axis * t)).norm()
    };
    let ends = line.first().map(|a| (p - a).norm());
    line.windows(2).map(to_piece).fold(ends, |best, d| Some(best.map_or(d, |b: f64| b.min(d))))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn even_spacing_keeps_ends_and_length() {
        let line = [Point::origin(), Point::new(3.0, 0.0, 0.0), Point::new(3.0, 4.0, 0.0)];
        let even = evenly(&line, 0.5);
        assert_eq!(even.len(), 15);
        assert!((length_mm(&even) - 7.0).abs() < 0.05, "a corner may be cut");
        assert_eq!((even[0], even[14]), (line[0], line[2]));
        assert!(even.windows(2).all(|w| (w[1] - w[0]).norm() <= 0.5 + 1e-9));
        assert!((distance_mm(&line, &Point::new(1.0, 2.0, 0.0)).unwrap() - 2.0).abs() < 1e-12);
    }
}
