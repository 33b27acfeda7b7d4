//! The nearest place of a surface given as the zero set of a field.

use super::super::cast::{Cast, gradient};
use super::super::contour::{Grid, cut_off, zero_set};
use super::super::refine::onto;
use crate::space::{Point, Vector};
use rayon::prelude::*;

/// Cell of the coarse triangles that propose places, mm.
const CELL_MM: f64 = 0.7;
/// How far the surface stands from those triangles at most: a tip of radius 0.9 mm under the diagonal of a cell.
const OFF_MM: f64 = 0.45;
/// How much nearer than that estimate the surface may come over one triangle, mm.
const SLACK_MM: f64 = 0.15;
/// What the way from a start to its foot may gain at most, mm.
const GAIN_MM: f64 = 0.3;
/// Places of one basin are no further apart, mm.
const BASIN_MM: f64 = 0.6;

/// A surface with coarse triangles over it that propose where its nearest place may be; the field decides.
pub struct Shell<'a> {
    field: &'a (dyn Fn(&Point) -> f64 + Sync),
    border: &'a (dyn Fn(&Point) -> f64 + Sync),
    faces: Vec<[Point; 3]>,
}

impl<'a> Shell<'a> {
    /// The zero set of `field` inside a box, as far as `border` is negative.
    pub fn new(
        low: Point,
        high: Point,
        field: &'a (dyn Fn(&Point) -> f64 + Sync),
        border: &'a (dyn Fn(&Point) -> f64 + Sync),
    ) -> Shell<'a> {
        let grid = Grid { low, high, cell_mm: CELL_MM };
        // Of the contour every piece is kept here: a box may cut one surface in two.
        let mesh = zero_set(&grid, &field, &border);
        let inside = |f: u32| mesh.corners(f).iter().any(|p| border(p) < 0.0);
        let faces =
            (0..mesh.faces().len() as u32).into_par_iter().filter(|f| inside(*f)).map(|f| mesh.corners(f));
        Shell { field, border, faces: faces.collect() }
    }

    /// The place nearest to `p`, as far as the scan reaches; `None` where the box holds no surface.
    pub fn nearest(&self, p: &Point) -> Option<Point> {
        let on_faces: Vec<(f64, Point)> = self
            .faces
            .iter()
            .map(|corners| {
                let q = on_triangle(p, corners);
                ((q - p).norm(), q)
            })
            .collect();
        let least = on_faces.iter().map(|f| f.0).min_by(f64::total_cmp)?;
        // The field at a place of a triangle is about how much further the surface is there.
        let near = on_faces.iter().filter(|f| f.0 < least + OFF_MM).map(|f| (f.0 + (self.field)(&f.1), f.1));
        let near: Vec<(f64, Point)> = near.collect();
        let least = near.iter().map(|f| f.0).min_by(f64::total_cmp)?;
        let mut starts: Vec<(f64, Point)> = near
            .iter()
            .filter(|f| f.0 < least + SLACK_MM)
            .map(|f| {
                let q = onto(&self.field, &f.1);
                ((q - p).norm(), q)
            })
            .collect();
        starts.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut basins: Vec<Point> = Vec::new();
        for (_, q) in &starts {
            // Each place is compared with the nearer ones before it, so that a basin is a place with none near it.
            let nearer = starts.iter().take_while(|s| s.1 != *q);
            if nearer.into_iter().all(|s| (s.1 - q).norm() > BASIN_MM) {
                basins.push(*q);
            }
        }
        let mut best: Option<(f64, Point)> = None;
        for start in &basins {
            // Basins come nearest first; from its start a foot comes nearer by less than the start's own distance aside.
            if best.is_some_and(|b| (start - p).norm() > b.0 + GAIN_MM) {
                break;
            }
            let found = self.within(p, &foot(&self.field, p, start)).map(|q| ((q - p).norm(), q));
            best = [best, found].into_iter().flatten().min_by(|a, b| a.0.total_cmp(&b.0));
        }
        best.map(|b| b.1)
    }

    /// A foot as far as the scan reaches: beyond the border the nearest place is one of the border itself.
    fn within(&self, p: &Point, foot: &Point) -> Option<Point> {
        if (self.border)(foot) <= 0.0 {
            return Some(*foot);
        }
        let mut q = self.onto_border(foot)?;
        let mut pace = 1.0;
        for _ in 0..80 {
            let across = gradient(&self.field, &q).cross(&gradient(&self.border, &q));
            let Some(along) = across.try_normalize(1e-9) else { break };
            let step = along * (p - q).dot(&along);
            if step.norm() * pace < 1e-7 {
                break;
            }
            match self.onto_border(&(q + step * pace)) {
                Some(r) if (r - p).norm() < (q - p).norm() => (q, pace) = (r, f64::min(1.0, 1.5 * pace)),
                _ => pace *= 0.4,
            }
        }
        Some(q)
    }

    /// A place of the surface on its border, by Newton steps on both fields.
    fn onto_border(&self, start: &Point) -> Option<Point> {
        let mut q = onto(&self.field, start);
        for _ in 0..30 {
            let b = (self.border)(&q);
            if b.abs() < 1e-7 {
                return Some(q);
            }
            let n = gradient(&self.field, &q).try_normalize(1e-9)?;
            let g = gradient(&self.border, &q);
            let g = g - n * g.dot(&n);
            let step = g * (b / g.norm_squared().max(0.05));
            q = onto(&self.field, &(q - step * (0.5 / step.norm()).min(1.0)));
        }
        None
    }
}

/// Places nearest to each of `points` on a cast; `None` where the cast has no surface near.
///
/// `within_mm` is how far the cast is contoured around the points: at least the distance to be found.
pub fn nearest_all(cast: &Cast, points: &[Point], within_mm: f64) -> Vec<Option<Point>> {
    let Some(first) = points.first() else { return Vec::new() };
    let low = points.iter().fold(*first, |m, p| m.inf(p)) - Vector::repeat(within_mm);
    let high = points.iter().fold(*first, |m, p| m.sup(p)) + Vector::repeat(within_mm);
    let (field, border) = (|p: &Point| cast.value(p), |p: &Point| cast.border(p));
    let shell = Shell::new(low, high, &field, &border);
    // Nothing further than the box's own reach is known to be the nearest.
    let known = |p: &Point| shell.nearest(p).filter(|q| (q - p).norm() <= within_mm);
    points.par_iter().map(known).collect()
}

/// The point of the zero set of `field` nearest to `p`, slid from `start`: Newton steps in the tangent plane on the
/// distance, which bends with the surface; each step is kept only where it comes nearer.
pub fn foot(field: &impl Fn(&Point) -> f64, p: &Point, start: &Point) -> Point {
    let mut q = onto(field, start);
    let mut far = (p - q).norm();
    for _ in 0..40 {
        let slope = gradient(field, &q);
        let Some(n) = slope.try_normalize(1e-9) else { break };
        let d = p - q;
        let aside = d - n * d.dot(&n);
        if aside.norm() < 1e-7 {
            break;
        }
        let bent = bent_step(field, &q, &(n, slope.norm()), &d);
        let nearer = bent.into_iter().chain([aside]).find_map(|step| {
            let step = step * (0.6 / step.norm()).min(1.0);
            [1.0, 0.4, 0.1, 0.02, 0.003].iter().find_map(|share| {
                let r = onto(field, &(q + step * *share));
                ((p - r).norm() < far).then_some(r)
            })
        });
        let Some(r) = nearer else { break };
        let gained = far - (p - r).norm();
        (q, far) = (r, (p - r).norm());
        if gained < 1e-11 {
            break;
        }
    }
    q
}

/// Newton step in the tangent plane toward the least distance; `None` where the distance is not convex.
fn bent_step(
    field: &impl Fn(&Point) -> f64,
    q: &Point,
    (n, slope): &(Vector, f64),
    d: &Vector,
) -> Option<Vector> {
    const H: f64 = 4e-3;
    let aside = d - n * d.dot(n);
    let e1 = aside.try_normalize(1e-12)?;
    let e2 = n.cross(&e1);
    let f = |a: f64, b: f64| field(&(q + e1 * (a * H) + e2 * (b * H)));
    let scale = d.dot(n) / (slope * H * H);
    let middle = 2.0 * f(0.0, 0.0);
    let m11 = 1.0 + scale * (f(1.0, 0.0) + f(-1.0, 0.0) - middle);
    let m22 = 1.0 + scale * (f(0.0, 1.0) + f(0.0, -1.0) - middle);
    let m12 = scale * 0.25 * (f(1.0, 1.0) - f(1.0, -1.0) - f(-1.0, 1.0) + f(-1.0, -1.0));
    let det = m11 * m22 - m12 * m12;
    if m11 <= 0.0 || det <= 1e-9 {
        return None;
    }
    Some((e1 * m22 - e2 * m12) * (aside.norm() / det))
}

/// The place of a triangle nearest to `p`.
fn on_triangle(p: &Point, [a, b, c]: &[Point; 3]) -> Point {
    let n = (b - a).cross(&(c - a));
    let area2 = n.norm_squared();
    if area2 > 0.0 {
        let q = p - n * ((p - a).dot(&n) / area2);
        let inside = |u: &Point, v: &Point| (v - u).cross(&(q - u)).dot(&n) >= 0.0;
        if inside(a, b) && inside(b, c) && inside(c, a) {
            return q;
        }
    }
    let on = |u: &Point, v: &Point| {
        let side = v - u;
        let length2 = side.norm_squared();
        if length2 > 0.0 { u + side * ((p - u).dot(&side) / length2).clamp(0.0, 1.0) } else { *u }
    };
    let far = |q: &Point| (q - p).norm_squared();
    let mut best = on(a, b);
    for q in [on(b, c), on(c, a)] {
        if far(&q) < far(&best) {
            best = q;
        }
    }
    best
}

/// Triangles of a patch of a cast, every vertex on the zero set, as far as the scan reaches.
pub fn patch(cast: &Cast, low: Point, high: Point, cell_mm: f64) -> crate::mesh::Mesh {
    let (field, border) = (|p: &Point| cast.value(p), |p: &Point| cast.border(p));
    let open = cut_off(&zero_set(&Grid { low, high, cell_mm }, &field, &border), &border);
    super::super::refine::pulled(&open, &field)
}
