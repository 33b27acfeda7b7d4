//! The palate in one section: followed from the right limit to the left one, free stretches and tori told along it.

use std::collections::BTreeMap;

use super::limits::Place;
use super::{Cast, Section};
use crate::estimate::{Measured, NotMeasured};
use crate::locate::cut::cut;
use crate::measure::connector::MarginFrom;
use crate::mesh::{FaceId, VertexId};
use crate::report::TorusState;
use crate::space::{Frame, Plane, Point};

/// Chord over which lengths are summed and places read, mm.
const CHORD_MM: f64 = 0.25;
/// Greatest distance of a limit from the section of the surface, mm.
const OFF_MM: f64 = 2.0;
/// Half the thickness of the slice of the mesh that is cut, mm.
const SLICE_MM: f64 = 0.01;

/// The surface with what is known of each place.
pub(super) struct Field<'a> {
    pub cast: &'a Cast<'a>,
    pub frame: &'a Frame,
    /// Distance from the gingival margins, mm; a vertex that has none is farther than the border.
    pub margin_mm: &'a BTreeMap<VertexId, f64>,
    /// Distance from tori, mm; a vertex that has none is farther than the keep-out.
    pub torus_mm: &'a BTreeMap<VertexId, f64>,
}

impl Field<'_> {
    /// The section of a place.
    ///
    /// # Errors
    /// Where no margin is known there, or the scan does not show the palate from one side to the other.
    pub fn section(&self, place: &Place) -> Measured<Section> {
        if place.limits.iter().any(|l| l.1 == MarginFrom::Unknown) {
            return Err(NotMeasured::new(
                "no gingival margin is known there",
                "[marks] margins of the teeth that the connector passes",
            ));
        }
        let lines = self.cut(place.anterior_mm);
        let [right, left] = place.limits.map(|l| l.0);
        let way = lines.iter().filter_map(|line| between(line, &right, &left));
        let line = way.min_by(|a, b| length(a).total_cmp(&length(b))).ok_or_else(|| {
            NotMeasured::new(
                "the scan does not show the palate from one side to the other there",
                "a scan that holds the palate",
            )
        })?;
        Ok(self.read(chords(&line)))
    }

    fn cut(&self, anterior_mm: f64) -> Vec<Vec<Point>> {
        let normal = self.frame.anterior;
        let wall = |by: f64, normal| Plane { point: self.frame.world([anterior_mm + by, 0.0, 0.0]), normal };
        let near: Vec<FaceId> =
            self.cast.surface.faces_within(&[wall(SLICE_MM, normal), wall(-SLICE_MM, -normal)]);
        let (slice, _) = self.cast.surface.mesh().part_of(&near);
        cut(&slice, &wall(0.0, normal))
    }

    /// Free stretches and tori along a section.
    fn read(&self, line: Vec<Point>) -> Section {
        let mesh = self.cast.surface.mesh();
        let closest = self.cast.surface.closest_each(&line);
        let far = |distance: &BTreeMap<VertexId, f64>, most: f64, i: usize| {
            let Some(c) = closest.get(i).copied().flatten() else { return 0.0 };
            let corners = mesh.faces()[c.face as usize];
            let weights = weights(&c.at, &mesh.corners(c.face));
            (0..3).map(|k| weights[k] * distance.get(&corners[k]).copied().unwrap_or(most + 0.5)).sum()
        };
        let (border, keep) = (self.cast.border_mm, self.cast.keep_mm.max(0.01));
        let mut along = vec![0.0];
        for w in line.windows(2) {
            along.push(along[along.len() - 1] + (w[1] - w[0]).norm());
        }
        // How far a place is inside the free field, mm: negative outside.
        let clear: Vec<f64> = (0..line.len())
            .map(|i| (far(self.margin_mm, border, i) - border).min(far(self.torus_mm, keep, i) - keep))
            .collect();
        let torus_at = |i: usize| {
            let face = closest.get(i).copied().flatten()?.face;
            let sure = self.cast.tori.iter().enumerate().filter(|(_, t)| t.state != TorusState::Possible);
            sure.filter(|(_, t)| t.faces.binary_search(&face).is_ok()).map(|(k, _)| k).next()
        };
        let mut tori: Vec<(usize, [f64; 2])> = Vec::new();
        for i in 0..line.len() {
            let Some(k) = torus_at(i) else { continue };
            match tori.last_mut() {
                Some((same, [_, to])) if *same == k && along[i] - *to < 3.0 * CHORD_MM => *to = along[i],
                _ => tori.push((k, [along[i], along[i]])),
            }
        }
        let aside = |i: usize| self.frame.local(&line[i])[1];
        let middle = (1..line.len()).find(|&i| aside(i) >= 0.0).unwrap_or(line.len() - 1);
        let t = match (aside(middle.saturating_sub(1)), aside(middle)) {
            (a, b) if b > a => (-a / (b - a)).clamp(0.0, 1.0),
            _ => 1.0,
        };
        let before = middle.saturating_sub(1);
        Section {
            length_mm: along[along.len() - 1],
            midline_mm: along[before] + (along[middle] - along[before]) * t,
            midline: line[before] + (line[middle] - line[before]) * t,
            free_mm: stretches(&along, &clear),
            tori,
            line,
        }
    }
}

/// Stretches over which a value is not negative, its zeros between two places laid straight.
fn stretches(along: &[f64], clear: &[f64]) -> Vec<[f64; 2]> {
    let mut all: Vec<[f64; 2]> = Vec::new();
    for i in 0..along.len() {
        let zero = |a: usize, b: usize| along[a] + (along[b] - along[a]) * clear[a] / (clear[a] - clear[b]);
        if clear[i] >= 0.0 {
            match i.checked_sub(1) {
                Some(k) if clear[k] >= 0.0 => {}
                Some(k) => all.push([zero(k, i), along[i]]),
                None => all.push([along[i], along[i]]),
            }
            if let Some(last) = all.last_mut() {
                last[1] = along[i];
            }
        } else if let Some(k) = i.checked_sub(1).filter(|&k| clear[k] >= 0.0)
            && let Some(last) = all.last_mut()
        {
            last[1] = zero(k, i);
        }
    }
    all
}

/// The part of a line from beside `a` to beside `b`, in that direction; the shorter way round where it is closed. `None`
/// where it does not pass both.
fn between(line: &[Point], a: &Point, b: &Point) -> Option<Vec<Point>> {
    let nearest = |p: &Point| {
        let far = |i: &usize| (line[*i] - p).norm();
        (0..line.len()).min_by(|i, j| far(i).total_cmp(&far(j))).filter(|i| far(i) <= OFF_MM)
    };
    let (i, j) = (nearest(a)?, nearest(b)?);
    let straight: Vec<Point> =
        if i <= j { line[i..=j].to_vec() } else { line[j..=i].iter().rev().copied().collect() };
    let closed = line.len() > 3 && (line[0] - line[line.len() - 1]).norm() < 1e-9;
    if !closed {
        return (straight.len() > 1).then_some(straight);
    }
    let ring = &line[..line.len() - 1];
    let n = ring.len();
    let (i, j) = (i % n, j % n);
    let round = |step: usize| {
        let mut at = i;
        let mut way = vec![ring[at]];
        while at != j && way.len() <= n {
            at = (at + step) % n;
            way.push(ring[at]);
        }
        way
    };
    let (one, other) = (round(1), round(n - 1));
    let way = if length(&one) <= length(&other) { one } else { other };
    (way.len() > 1).then_some(way)
}

fn length(line: &[Point]) -> f64 {
    line.windows(2).map(|w| (w[1] - w[0]).norm()).sum()
}

/// Places of a line a chord apart, first and last kept.
fn chords(line: &[Point]) -> Vec<Point> {
    let whole = length(line);
    let parts = (whole / CHORD_MM).ceil().clamp(1.0, 2000.0);
    let mut all = Vec::with_capacity(parts as usize + 1);
    let (mut run, mut next) = (0.0, 0.0);
    for w in line.windows(2) {
        let step = (w[1] - w[0]).norm();
        while step > 0.0 && next <= run + step && next < whole {
            all.push(w[0] + (w[1] - w[0]) * ((next - run) / step));
            next += whole / parts;
        }
        run += step;
    }
    all.extend(line.last());
    all
}

/// Barycentric weights of a place on a triangle.
fn weights(p: &Point, [a, b, c]: &[Point; 3]) -> [f64; 3] {
    let normal = (b - a).cross(&(c - a));
    let whole = normal.norm_squared();
    if whole <= 0.0 {
        return [1.0, 0.0, 0.0];
    }
    let wb = (p - a).cross(&(c - a)).dot(&normal) / whole;
    let wc = (b - a).cross(&(p - a)).dot(&normal) / whole;
    [1.0 - wb - wc, wb, wc]
}
