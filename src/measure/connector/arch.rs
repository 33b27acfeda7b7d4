//! The line of the arch in plan, its stations, and the lingual margin at each.

use std::collections::BTreeMap;

use super::{Cast, MarginFrom};
use crate::anatomy::Anatomy;
use crate::case::Tooth;
use crate::estimate::{Measured, NotMeasured};
use crate::space::{Frame, Point, Vector, direction};

/// Greatest distance between stations, mm.
const STEP_MM: f64 = 1.0;
/// Half the chord whose direction is that of the arch, mm.
const CHORD_MM: f64 = 3.0;
/// How far along the arch a crown's margin, or a crest, is taken into account, mm.
const REACH_MM: f64 = 8.0;
/// Longest stretch over which a margin is interpolated, mm.
const BRIDGE_MM: f64 = 8.0;
/// Spacing of the crest points taken into the line, mm.
const CREST_STEP_MM: f64 = 2.0;

/// A station: where on the arch, and the axes of its section.
#[derive(Clone, Copy, Debug)]
pub(super) struct Station {
    /// Distance along the arch from its right end, mm.
    pub s_mm: f64,
    /// On the line of the arch.
    pub at: Point,
    /// Along the arch, from right to left, square to the occlusal direction: normal of the section.
    pub along: Vector,
    /// Toward the tongue.
    pub lingual: Vector,
}

/// The margin at a station.
#[derive(Clone, Copy, Debug)]
pub(super) struct MarginAt {
    pub station: Station,
    pub at: Point,
    pub from: MarginFrom,
}

/// The line through crowns and crests from the patient's right to left, in the occlusal plane through the origin.
#[derive(Debug)]
pub(super) struct Line {
    points: Vec<Point>,
    s_mm: Vec<f64>,
    teeth: Vec<(Tooth, f64)>,
    up: Vector,
    inside: Point,
}

impl Line {
    /// Through the crowns' centres and the spans' crests.
    pub fn through(anatomy: &Anatomy, frame: &Frame) -> Measured<Line> {
        let up = frame.occlusal.into_inner();
        let flat = |p: &Point| p - up * (p - frame.origin).dot(&up);
        let mut pieces: Vec<(i8, Option<Tooth>, Vec<Point>)> = anatomy
            .crowns
            .iter()
            .map(|c| (2 * c.tooth.along(), Some(c.tooth), vec![flat(&c.centre)]))
            .collect();
        for span in &anatomy.spans {
            let (Ok(crest), Some(first), Some(last)) = (&span.crest, span.teeth.first(), span.teeth.last())
            else {
                continue;
            };
            pieces.push((first.along() + last.along(), None, thinned(crest).iter().map(flat).collect()));
        }
        pieces.sort_by_key(|p| p.0);
        if pieces.iter().filter(|p| p.1.is_some()).count() < 3 {
            return Err(NotMeasured::new(
                "fewer than three crowns are known, so that the line of the arch is not",
                "[marks] margins of the teeth that the connector passes",
            ));
        }
        Ok(Line::joined(&pieces, up))
    }

    fn joined(pieces: &[(i8, Option<Tooth>, Vec<Point>)], up: Vector) -> Line {
        let mut points: Vec<Point> = Vec::new();
        let mut at_tooth = Vec::new();
        for (k, (_, tooth, piece)) in pieces.iter().enumerate() {
            let next = pieces.get(k + 1).and_then(|p| p.2.first());
            let turned = match (points.last(), piece.first(), piece.last(), next) {
                (Some(before), Some(a), Some(b), _) => (b - before).norm() < (a - before).norm(),
                (None, Some(a), Some(b), Some(next)) => (a - next).norm() < (b - next).norm(),
                _ => false,
            };
            if let Some(tooth) = tooth {
                at_tooth.push((*tooth, points.len()));
            }
            if turned { points.extend(piece.iter().rev()) } else { points.extend(piece) }
        }
        let mut s_mm = vec![0.0];
        for w in points.windows(2) {
            s_mm.push(s_mm[s_mm.len() - 1] + (w[1] - w[0]).norm());
        }
        let teeth = at_tooth.into_iter().map(|(t, i)| (t, s_mm[i])).collect();
        let middle = points.iter().fold(Vector::zeros(), |s, p| s + p.coords) / points.len() as f64;
        let ends = (points[0].coords + points[points.len() - 1].coords) / 2.0;
        Line { inside: Point::from((middle + ends) / 2.0), points, s_mm, teeth, up }
    }

    fn at(&self, s: f64) -> Point {
        let k = self.s_mm.partition_point(|v| *v < s).clamp(1, self.s_mm.len() - 1);
        let length = self.s_mm[k] - self.s_mm[k - 1];
        let t = if length > 0.0 { (s - self.s_mm[k - 1]) / length } else { 0.0 };
        self.points[k - 1] + (self.points[k] - self.points[k - 1]) * t
    }

    fn station(&self, s_mm: f64) -> Option<Station> {
        let along = direction(self.at(s_mm + CHORD_MM) - self.at(s_mm - CHORD_MM))?.into_inner();
        let at = self.at(s_mm);
        let side = self.up.cross(&along);
        let lingual = if side.dot(&(self.inside - at)) < 0.0 { -side } else { side };
        Some(Station { s_mm, at, along, lingual })
    }

    fn s_of(&self, tooth: Tooth) -> Option<f64> {
        self.teeth.iter().find(|(t, _)| *t == tooth).map(|(_, s)| *s)
    }

    /// The known tooth nearest along the arch.
    pub fn nearest_tooth(&self, s: f64) -> Tooth {
        let far = |t: &(Tooth, f64)| (t.1 - s).abs();
        // A line has at least three teeth.
        let first = self.teeth[0];
        self.teeth.iter().fold(first, |best, t| if far(t) < far(&best) { *t } else { best }).0
    }

    /// A figure known at some teeth, linear between them along the arch, beyond the last ones as there.
    pub fn interpolated(&self, at_teeth: &BTreeMap<Tooth, f64>, s: f64) -> Option<f64> {
        let known: Vec<(f64, f64)> =
            self.teeth.iter().filter_map(|(t, s)| at_teeth.get(t).map(|v| (*s, *v))).collect();
        let before = known.iter().rev().find(|k| k.0 <= s);
        let after = known.iter().find(|k| k.0 >= s);
        match (before, after) {
            (Some(a), Some(b)) if b.0 > a.0 => Some(a.1 + (b.1 - a.1) * (s - a.0) / (b.0 - a.0)),
            (Some(k), _) | (None, Some(k)) => Some(k.1),
            (None, None) => None,
        }
    }
}

fn thinned(crest: &[Point]) -> Vec<Point> {
    let mut kept: Vec<Point> = Vec::new();
    for p in crest {
        if kept.last().is_none_or(|last| (p - last).norm() >= CREST_STEP_MM) {
            kept.push(*p);
        }
    }
    kept
}

/// First and last tooth that the connector joins: abutments, else the teeth beside spans, else all; where they stand on
/// one side only, the other end is the last known tooth of the other side up to the same place.
pub(super) fn joined(cast: &Cast<'_>) -> Measured<(Tooth, Tooth)> {
    let known = |t: &Tooth| cast.anatomy.crown(*t).is_some();
    let beside = cast.anatomy.spans.iter().flat_map(|s| [s.front, s.back]).flatten();
    let mut ends: Vec<Tooth> = cast.abutments.iter().copied().chain(beside).filter(known).collect();
    if ends.is_empty() {
        ends = cast.anatomy.crowns.iter().map(|c| c.tooth).collect();
    }
    let (Some(&first), Some(&last)) =
        (ends.iter().min_by_key(|t| t.along()), ends.iter().max_by_key(|t| t.along()))
    else {
        return Err(NotMeasured::new("no crown is known", "[marks] margins, or labels of the teeth"));
    };
    let crowns = cast.anatomy.crowns.iter().map(|c| c.tooth);
    if last.along() < 0 {
        let most = first.place() as i8;
        let other = crowns.filter(|t| t.along() > 0 && t.along() <= most).max_by_key(|t| t.along());
        return Ok((first, other.unwrap_or(last)));
    }
    if first.along() > 0 {
        let most = last.place() as i8;
        let other = crowns.filter(|t| t.along() < 0 && -t.along() <= most).min_by_key(|t| t.along());
        return Ok((other.unwrap_or(first), last));
    }
    Ok((first, last))
}

/// Margins at the stations between two teeth.
pub(super) fn margins(anatomy: &Anatomy, line: &Line, (from, to): (Tooth, Tooth)) -> Measured<Vec<MarginAt>> {
    let none = || {
        NotMeasured::new(
            "no lingual margin is known along the way",
            "[marks] margins of the teeth that the connector passes",
        )
    };
    let (start, end) = line.s_of(from).zip(line.s_of(to)).ok_or_else(none)?;
    let steps = ((end - start) / STEP_MM).ceil().clamp(1.0, 400.0);
    let stations: Vec<Station> =
        (0..=steps as usize).filter_map(|k| line.station(start + (end - start) * k as f64 / steps)).collect();
    let known: Vec<Option<(Point, MarginFrom)>> =
        stations.iter().map(|s| lingual_margin(anatomy, line, s)).collect();
    let mut all = Vec::new();
    for (i, station) in stations.iter().enumerate() {
        if let Some((at, from)) = known[i] {
            all.push(MarginAt { station: *station, at, from });
            continue;
        }
        let before = (0..i).rev().find_map(|k| known[k].map(|m| (k, m.0)));
        let after = (i + 1..stations.len()).find_map(|k| known[k].map(|m| (k, m.0)));
        let (Some((a, pa)), Some((b, pb))) = (before, after) else { continue };
        let t = (i - a) as f64 / (b - a) as f64;
        let wide = stations[b].s_mm - stations[a].s_mm > BRIDGE_MM;
        let from = if wide { MarginFrom::Unknown } else { MarginFrom::Between };
        all.push(MarginAt { station: *station, at: pa + (pb - pa) * t, from });
    }
    if all.is_empty() { Err(none()) } else { Ok(all) }
}

/// The most lingual crossing of the section with the margin of the nearest crown that it crosses, else with a crest.
fn lingual_margin(anatomy: &Anatomy, line: &Line, station: &Station) -> Option<(Point, MarginFrom)> {
    let mut crowns: Vec<(f64, Tooth)> = line
        .teeth
        .iter()
        .map(|(t, s)| ((s - station.s_mm).abs(), *t))
        .filter(|(far, _)| *far < REACH_MM)
        .collect();
    crowns.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    for (_, tooth) in crowns {
        let Some(crown) = anatomy.crown(tooth) else { continue };
        if let Some(p) = crossing(&crown.margin, true, station) {
            return Some((p, MarginFrom::Crown(tooth)));
        }
    }
    anatomy
        .spans
        .iter()
        .filter_map(|s| s.crest.as_ref().ok())
        .find_map(|crest| crossing(crest, false, station))
        .map(|p| (p, MarginFrom::Crest))
}

/// The most lingual place where a curve crosses the section near the station.
pub(super) fn crossing(curve: &[Point], closed: bool, station: &Station) -> Option<Point> {
    let n = curve.len();
    if n < 2 {
        return None;
    }
    let side = |p: &Point| (p - station.at).dot(&station.along);
    let lingual = |p: &Point| (p - station.at).dot(&station.lingual);
    let mut best: Option<Point> = None;
    for i in 0..if closed { n } else { n - 1 } {
        let (a, b) = (curve[i], curve[(i + 1) % n]);
        let (da, db) = (side(&a), side(&b));
        if (da > 0.0) == (db > 0.0) {
            continue;
        }
        let p = a + (b - a) * (da / (da - db));
        if lingual(&p).abs() < REACH_MM && best.is_none_or(|q| lingual(&p) > lingual(&q)) {
            best = Some(p);
        }
    }
    best
}
