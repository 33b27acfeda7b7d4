//! The lingual wall of a mandible from a tooth's margin to the floor of the mouth.
//!
//! Definition: in the section square to the arch through the middle of the tooth's lingual margin, along the tissue from
//! the margin to the place where the wall turns into the floor; the vertical figure stands beside. The wall has turned
//! where over the next 2 mm, clear of tori, it falls by less than 20 degrees, or where the section rises again by
//! 0.5 mm: in the one case it turns at the place farthest from the chord over 2 mm before and behind, in the other at
//! the deepest place.

use super::super::cast::Cast;
use super::margin::{border_down, crown_of, exit};
use super::near::foot;
use super::tori::OUTLINE_MM;
use crate::case::{Arch, Tooth};
use crate::space::{Point, Vector};

/// Step along the section, mm.
const STEP_MM: f64 = 0.03;
/// Rise behind the deepest place that makes it the sulcus, mm.
const RISE_MM: f64 = 0.5;
/// Sine of 20 degrees, and the length over which the fall is read, mm.
const FLAT: (f64, f64) = (0.342_020_143, 2.0);
/// Length that a wall has at least, mm: the gingiva below the margin may be flat.
const LEAST_MM: f64 = 2.0;
/// Length followed at most, mm.
const MOST_MM: f64 = 30.0;

/// How a wall ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// It turns into the floor.
    Floor,
    /// The scan ends first.
    ScanBorder,
}

/// A lingual wall.
#[derive(Clone, Debug, PartialEq)]
pub struct Wall {
    /// Below which tooth.
    pub tooth: Tooth,
    /// Length along the tissue, mm.
    pub along_mm: f64,
    /// Fall square to the occlusal plane, mm.
    pub vertical_mm: f64,
    /// How it ends.
    pub end: End,
    /// Along the arch there: the section's normal.
    pub normal: Vector,
    /// The section from the margin to the end, 0.03 mm apart.
    pub line: Vec<Point>,
}

/// The wall below a tooth; `None` for a maxilla or a tooth that is not there.
pub fn wall(cast: &Cast, tooth: Tooth) -> Option<Wall> {
    let crown = crown_of(cast, tooth).filter(|_| cast.arch == Arch::Mandible)?;
    let turn = -0.5 * std::f64::consts::PI;
    let start = exit(cast, crown, turn, border_down(cast, crown, turn));
    let (normal, outward) = cast.form.axes(cast.form.place(start.x, start.y).s);
    let (line, at_border) = section(cast, &start, &normal, &(-outward - Vector::z()))?;
    let last = line.len() - 1;
    let (last, end) = match floor(cast, &line) {
        Some(i) => (i, End::Floor),
        None if at_border => (last, End::ScanBorder),
        None => (last, End::Floor),
    };
    let line: Vec<Point> = line.into_iter().take(last + 1).collect();
    let along_mm = line.windows(2).map(|w| (w[1] - w[0]).norm()).sum();
    let vertical_mm = line.first()?.z - line.last()?.z;
    Some(Wall { tooth, along_mm, vertical_mm, end, normal, line })
}

/// The section of the surface from `start` in the plane with `normal`, begun toward `way`; whether it met the border.
fn section(cast: &Cast, start: &Point, normal: &Vector, way: &Vector) -> Option<(Vec<Point>, bool)> {
    let flat = |v: Vector| v - normal * v.dot(normal);
    let settled = |p: &Point| {
        let mut q = *p;
        for _ in 0..8 {
            let f = cast.value(&q);
            if f.abs() < 1e-8 {
                break;
            }
            let g = flat(cast.gradient(&q));
            let step = g * (f / g.norm_squared().max(0.05));
            q -= step * (0.05 / step.norm()).min(1.0);
        }
        q
    };
    let mut line = vec![settled(start)];
    let mut way = *way;
    while (line.len() as f64) * STEP_MM < MOST_MM {
        let last = *line.last()?;
        if cast.border(&last) > 0.0 {
            return Some((line, true));
        }
        let tangent = cast.gradient(&last).cross(normal).try_normalize(1e-9)?;
        way = if tangent.dot(&way) < 0.0 { -tangent } else { tangent };
        line.push(settled(&(last + way * STEP_MM)));
    }
    Some((line, false))
}

/// Where a section turns into the floor.
fn floor(cast: &Cast, line: &[Point]) -> Option<usize> {
    let free = |q: &Point| cast.value_with(q, false);
    let on_torus = |p: &Point| free(p) > 0.1 && (foot(&free, p, p) - p).norm() > OUTLINE_MM;
    let torus: Vec<bool> = line.iter().map(on_torus).collect();
    let mut along = vec![0.0];
    for w in line.windows(2) {
        along.push(along[along.len() - 1] + (w[1] - w[0]).norm());
    }
    let mut deepest = 0;
    for i in 1..line.len() {
        if line[i].z < line[deepest].z {
            deepest = i;
        }
        if line[i].z > line[deepest].z + RISE_MM && !torus[i] && along[deepest] > LEAST_MM {
            return Some(deepest);
        }
        let Some(j) = (i..line.len()).find(|&j| along[j] - along[i] >= FLAT.1) else { continue };
        let falls = line[i].z - line[j].z;
        if along[i] > LEAST_MM && falls < FLAT.0 * (along[j] - along[i]) && !torus[i..=j].contains(&true) {
            let before = (0..=i).find(|&k| along[i] - along[k] <= FLAT.1).unwrap_or(i);
            return Some(elbow(line, before, i, j));
        }
    }
    None
}

/// The place between `before` and `behind` farthest from their chord; `i` where none is.
fn elbow(line: &[Point], before: usize, i: usize, behind: usize) -> usize {
    let chord = line[behind] - line[before];
    let off = |k: usize| (line[k] - line[before]).cross(&chord).norm();
    (before..=behind).fold(i, |best, k| if off(k) > off(best) { k } else { best })
}
