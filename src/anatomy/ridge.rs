//! The crest of a residual ridge: sections square to the arch, and the highest line through them that bends least.

use super::Crown;
use super::arch_form::ArchFit;
use super::plan::HeightMap;
use super::ridge_end::{self, RidgeEnd};
use crate::case::Arch;
use crate::space::{Direction, Point, Vector};

/// Distance between sections, and between heights across a section, mm.
const STEP_MM: f64 = 0.5;
/// Heights are looked at this far to both sides of the average arch, mm.
const ACROSS_MM: f64 = 8.0;
/// Half the width of ridge over which heights are averaged across, mm.
const CENTRE_MM: f64 = 1.5;
/// What leaving the average arch costs, mm of height per mm2, and what swerving from one section to the next costs.
const ASIDE_COST: f64 = 0.012;
const SWERVE_COST: f64 = 1.5;
/// A distal extension ends where its crest has dropped this far below the lowest of the stations between `BEFORE[0]` and
/// `BEFORE[1]` before, mm, or where the surface has a gap this wide, mm.
const DROP_MM: f64 = 2.5;
const BEFORE: [usize; 2] = [16, 3];
const GAP_MM: f64 = 4.0;
/// The ridge is followed this far behind the place where the missing teeth would end, mm.
const BEHIND_MM: f64 = 14.0;

/// The span whose crest is wanted.
#[derive(Clone, Copy, Debug)]
pub struct Wanted<'a> {
    /// Occlusal direction.
    pub occlusal: Direction,
    /// The average arch laid over this cast.
    pub form: &'a ArchFit,
    /// Crown in front.
    pub front: &'a Crown,
    /// Crown behind; `None` for a distal extension.
    pub back: Option<&'a Crown>,
    /// Whether the span runs toward the patient's left from the front crown.
    pub leftward: bool,
    /// Length that the missing teeth would take, mm.
    pub teeth_mm: f64,
    /// The arch.
    pub arch: Arch,
    /// Height of its occlusal plane along the occlusal direction, mm.
    pub plane_mm: f64,
    /// Whether the crest is wanted as far as the surface goes, and not only to the end of the ridge.
    pub whole: bool,
}

/// A crest that was found.
#[derive(Clone, Debug)]
pub struct Found {
    /// Stations from the front crown backwards, about 0.5 mm apart.
    pub line: Vec<Point>,
    /// The end of a distal extension.
    pub end: Option<RidgeEnd>,
}

/// The crest from the front crown backwards, stations about 0.5 mm apart, on the height map (which holds the cast
/// without its crowns). `None` where the ridge is not on the scan.
pub fn crest(map: &HeightMap, wanted: &Wanted<'_>) -> Option<Found> {
    let line = reference(map, wanted)?;
    let (heights, places) = sections(map, &line);
    let offsets = highest(&heights, wanted.back.is_some())?;
    let mut points: Vec<(Point, f64)> = Vec::new();
    for (i, &k) in offsets.iter().enumerate() {
        let Some(h) = heights[i][k] else { continue };
        points.push((map.position(places[i][k], h), h));
    }
    let mut end = None;
    if wanted.back.is_none() {
        let count = end_of(&points);
        let fell = count < points.len();
        points.truncate(count);
        let Wanted { arch, teeth_mm, plane_mm, .. } = *wanted;
        let followed = ridge_end::Followed { arch, points: &points, teeth_mm, plane_mm, fell };
        let (stations, found) = ridge_end::find(&followed)?;
        if !wanted.whole {
            points.truncate(stations);
        }
        end = Some(found);
    }
    let line = smoothed(&points.iter().map(|(p, _)| *p).collect::<Vec<_>>());
    (line.len() > 2).then_some(Found { line, end })
}

/// The average arch from the front crown's margin backwards, shifted onto the margins of the crowns; plan places at
/// equal steps.
fn reference(map: &HeightMap, wanted: &Wanted<'_>) -> Option<Vec<[f64; 2]>> {
    let curve: Vec<[f64; 2]> = wanted.form.curve(STEP_MM).iter().map(|p| map.plan(p)).collect();
    let nearest = |c: [f64; 2]| {
        (0..curve.len()).min_by(|&a, &b| gap(curve[a], c).total_cmp(&gap(curve[b], c)).then(a.cmp(&b)))
    };
    let from = nearest(map.plan(&wanted.front.centre))?;
    let forward = match wanted.back {
        Some(back) => nearest(map.plan(&back.centre))? > from,
        None => wanted.leftward,
    };
    let along = |i: usize| -> Option<[f64; 2]> {
        let (a, b) = if forward { (i, i + 6) } else { (i, i.checked_sub(6)?) };
        let (p, q) = (curve.get(a)?, curve.get(b)?);
        let d = gap(*p, *q);
        (d > 0.0).then(|| [(q[0] - p[0]) / d, (q[1] - p[1]) / d])
    };
    let start = outermost(map, wanted.front, along(from)?)?;
    let first = nearest(start)?;
    let shift = [start[0] - curve[first][0], start[1] - curve[first][1]];
    let run = |last: usize| -> Vec<[f64; 2]> {
        if forward {
            curve[first..=last.max(first)].to_vec()
        } else {
            curve[last.min(first)..=first].iter().rev().copied().collect()
        }
    };
    let mut line = match wanted.back {
        Some(back) => {
            let to = nearest(map.plan(&back.centre))?;
            let ahead = along(from)?;
            let end = outermost(map, back, [-ahead[0], -ahead[1]])?;
            let last = nearest(end)?;
            let end_shift = [end[0] - curve[last][0], end[1] - curve[last][1]];
            let mut line = run(last.clamp(first.min(to), first.max(to)));
            let parts = (line.len().max(2) - 1) as f64;
            for (i, p) in line.iter_mut().enumerate() {
                let t = i as f64 / parts;
                p[0] += shift[0] * (1.0 - t) + end_shift[0] * t;
                p[1] += shift[1] * (1.0 - t) + end_shift[1] * t;
            }
            line
        }
        None => {
            let steps = ((wanted.teeth_mm + BEHIND_MM) / STEP_MM) as usize;
            let last =
                if forward { (first + steps).min(curve.len() - 1) } else { first.saturating_sub(steps) };
            let mut line = run(last);
            line.iter_mut().for_each(|p| *p = [p[0] + shift[0], p[1] + shift[1]]);
            line
        }
    };
    line.dedup();
    (line.len() > 3).then_some(line)
}

fn gap(a: [f64; 2], b: [f64; 2]) -> f64 {
    crate::space::hypot(a[0] - b[0], a[1] - b[1])
}

/// The place of a crown's margin farthest in a direction, near the line through its middle.
fn outermost(map: &HeightMap, crown: &Crown, toward: [f64; 2]) -> Option<[f64; 2]> {
    let middle = map.plan(&crown.centre);
    let reach = |p: &[f64; 2]| {
        let (x, y) = (p[0] - middle[0], p[1] - middle[1]);
        x * toward[0] + y * toward[1] - 0.5 * (x * toward[1] - y * toward[0]).abs()
    };
    let places: Vec<[f64; 2]> = crown.margin.iter().map(|p| map.plan(p)).collect();
    places.into_iter().max_by(|a, b| reach(a).total_cmp(&reach(b)))
}

type Heights = Vec<Vec<Option<f64>>>;
type Places = Vec<Vec<[f64; 2]>>;

/// Heights across each station of a line, and their places.
fn sections(map: &HeightMap, line: &[[f64; 2]]) -> (Heights, Places) {
    let half = (ACROSS_MM / STEP_MM) as i64;
    let mut heights = Vec::with_capacity(line.len());
    let mut places = Vec::with_capacity(line.len());
    for i in 0..line.len() {
        let (a, b) = (line[i.saturating_sub(4)], line[(i + 4).min(line.len() - 1)]);
        let length = gap(a, b).max(1e-9);
        let square = [-(b[1] - a[1]) / length, (b[0] - a[0]) / length];
        let across: Vec<[f64; 2]> = (-half..=half)
            .map(|k| {
                let t = k as f64 * STEP_MM;
                [line[i][0] + t * square[0], line[i][1] + t * square[1]]
            })
            .collect();
        let raw: Vec<Option<f64>> = across.iter().map(|p| smooth_height(map, *p)).collect();
        heights.push(centred(&raw));
        places.push(across);
    }
    (heights, places)
}

/// Heights with their mean over a width of ridge, so that of a flat ridge the middle counts as its top; where the
/// surface ends within that width, the lowest of the section stands in.
fn centred(raw: &[Option<f64>]) -> Vec<Option<f64>> {
    let reach = (CENTRE_MM / STEP_MM) as usize;
    let lowest = raw.iter().flatten().copied().fold(f64::INFINITY, f64::min);
    let at = |k: i64| usize::try_from(k).ok().and_then(|k| raw.get(k).copied().flatten()).unwrap_or(lowest);
    (0..raw.len())
        .map(|k| {
            let own = raw[k]?;
            let about = (1..=reach as i64).map(|d| at(k as i64 - d) + at(k as i64 + d)).sum::<f64>();
            Some((own + about) / (2 * reach + 1) as f64)
        })
        .collect()
}

/// Mean height about a place; `None` where the place itself holds no surface.
fn smooth_height(map: &HeightMap, p: [f64; 2]) -> Option<f64> {
    map.at(p[0], p[1])?;
    let c = map.cell_mm;
    let (mut sum, mut count) = (0.0, 0.0);
    for (dx, dy) in [(0.0, 0.0), (c, 0.0), (-c, 0.0), (0.0, c), (0.0, -c)] {
        if let Some(h) = map.at(p[0] + dx, p[1] + dy) {
            sum += h;
            count += 1.0;
        }
    }
    Some(sum / count)
}

/// The line of greatest height: for each section the index across. Begins (and, where `closed`, ends) in the middle.
fn highest(heights: &Heights, closed: bool) -> Option<Vec<usize>> {
    let width = heights.first()?.len();
    let middle = width / 2;
    let lowest = heights.iter().flatten().flatten().copied().fold(f64::INFINITY, f64::min);
    if !lowest.is_finite() {
        return None;
    }
    let worth = |i: usize, k: usize| {
        let t = (k as f64 - middle as f64) * STEP_MM;
        heights[i][k].unwrap_or(lowest - 6.0) - ASIDE_COST * t * t
    };
    let mut value: Vec<f64> =
        (0..width).map(|k| if k.abs_diff(middle) <= 2 { worth(0, k) } else { f64::NEG_INFINITY }).collect();
    let mut back: Vec<Vec<usize>> = Vec::with_capacity(heights.len());
    for i in 1..heights.len() {
        let mut next = vec![f64::NEG_INFINITY; width];
        let mut from = vec![0; width];
        for k in 0..width {
            for j in k.saturating_sub(3)..=(k + 3).min(width - 1) {
                let d = k.abs_diff(j) as f64 * STEP_MM;
                let sum = value[j] - SWERVE_COST * d * d + worth(i, k);
                if sum > next[k] {
                    (next[k], from[k]) = (sum, j);
                }
            }
        }
        value = next;
        back.push(from);
    }
    let last = if closed {
        (middle.saturating_sub(2)..=(middle + 2).min(width - 1))
            .max_by(|&a, &b| value[a].total_cmp(&value[b]).then(b.cmp(&a)))?
    } else {
        (0..width).max_by(|&a, &b| value[a].total_cmp(&value[b]).then(b.cmp(&a)))?
    };
    let mut path = vec![last];
    for from in back.iter().rev() {
        path.push(from[*path.last()?]);
    }
    path.reverse();
    Some(path)
}

/// Number of stations up to where the crest falls away or jumps over a gap of the scan.
fn end_of(points: &[(Point, f64)]) -> usize {
    for i in 1..points.len() {
        if (points[i].0 - points[i - 1].0).norm() > GAP_MM {
            return i;
        }
        // The slope down from an abutment to a resorbed ridge is no end: only what falls within a few stations.
        let before = &points[i.saturating_sub(BEFORE[0])..i.saturating_sub(BEFORE[1])];
        let least = before.iter().map(|(_, h)| *h).fold(f64::INFINITY, f64::min);
        if before.len() == BEFORE[0] - BEFORE[1] && points[i].1 < least - DROP_MM {
            return i;
        }
    }
    points.len()
}

/// Moving mean over nine stations, ends kept.
fn smoothed(points: &[Point]) -> Vec<Point> {
    (0..points.len())
        .map(|i| {
            let reach = 4.min(i).min(points.len() - 1 - i);
            let about = &points[i - reach..=i + reach];
            Point::from(about.iter().map(|p| p.coords).sum::<Vector>() / about.len() as f64)
        })
        .collect()
}
