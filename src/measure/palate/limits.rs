//! What bounds the palate on both sides of a station: gingival margins, else crests of spans; and what the connector joins.

use super::{Cast, STEP_MM};
use crate::anatomy::Anatomy;
use crate::case::{Side, Tooth};
use crate::estimate::{Measured, NotMeasured};
use crate::measure::connector::MarginFrom;
use crate::space::{Frame, Point};

/// Longest stretch over which a limit is laid between its neighbours, mm.
const BRIDGE_MM: f64 = 8.0;
/// Most stations, so that a scan in wrong units takes no endless time.
const MOST: usize = 300;

/// Where a section is to be cut.
#[derive(Clone, Copy, Debug)]
pub(super) struct Place {
    /// Along the frame's anterior axis, mm.
    pub anterior_mm: f64,
    /// Right and left limit.
    pub limits: [(Point, MarginFrom); 2],
    /// Nearest tooth on either side.
    pub teeth: [Tooth; 2],
}

/// A curve that bounds the palate.
struct Bound<'a> {
    curve: &'a [Point],
    closed: bool,
    from: MarginFrom,
}

/// Stations from the front backwards, those without a limit on both sides left out at the ends.
pub(super) fn places(anatomy: &Anatomy, frame: &Frame) -> Measured<Vec<Place>> {
    let with_margin = anatomy.crowns.iter().filter(|c| c.margin.len() > 2);
    if anatomy.crowns.len() < 3 || with_margin.clone().count() == 0 {
        return Err(NotMeasured::new(
            "fewer than three crowns are known, so that the gingival margins around the palate are not",
            "[marks] margins of the teeth that the connector passes",
        ));
    }
    let bounds = |side: Side| -> Vec<Bound<'_>> {
        let margins = anatomy.crowns.iter().filter(|c| side_of(c.tooth) == side && c.margin.len() > 2);
        let crests = anatomy.spans.iter().filter(|s| s.teeth.iter().any(|t| side_of(*t) == side));
        margins
            .map(|c| Bound { curve: &c.margin, closed: true, from: MarginFrom::Crown(c.tooth) })
            .chain(crests.filter_map(|s| {
                let crest = s.crest.as_ref().ok()?;
                Some(Bound { curve: crest, closed: false, from: MarginFrom::Crest })
            }))
            .collect()
    };
    let sides = [bounds(Side::Right), bounds(Side::Left)];
    let ahead = |p: &Point| frame.local(p)[0];
    let all = || sides.iter().flatten().flat_map(|b| b.curve.iter().map(ahead));
    let (back, front) = all().fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), a| (lo.min(a), hi.max(a)));
    let count = ((front - back) / STEP_MM).floor().clamp(0.0, MOST as f64) as usize;
    // Half a step inside, so that no section touches the ends of the curves only.
    let rows: Vec<f64> = (0..count).map(|k| front - (k as f64 + 0.5) * STEP_MM).collect();
    let limits: Vec<Vec<Option<(Point, MarginFrom)>>> = sides
        .iter()
        .enumerate()
        .map(|(k, bounds)| {
            let sign = if k == 0 { -1.0 } else { 1.0 };
            bridged(&rows, rows.iter().map(|a| crossed(bounds, frame, *a, sign)).collect())
        })
        .collect();
    let mut found = Vec::new();
    for (i, &anterior_mm) in rows.iter().enumerate() {
        let (Some(right), Some(left)) = (limits[0][i], limits[1][i]) else { continue };
        let teeth = [nearest(anatomy, Side::Right, &right.0), nearest(anatomy, Side::Left, &left.0)];
        let [Some(a), Some(b)] = teeth else { continue };
        found.push(Place { anterior_mm, limits: [right, left], teeth: [a, b] });
    }
    if found.is_empty() {
        return Err(NotMeasured::new(
            "no place is bounded by gingival margins or crests on both sides",
            "[marks] margins of teeth on both sides",
        ));
    }
    Ok(found)
}

fn side_of(tooth: Tooth) -> Side {
    if tooth.along() > 0 { Side::Left } else { Side::Right }
}

fn nearest(anatomy: &Anatomy, side: Side, p: &Point) -> Option<Tooth> {
    let own = anatomy.crowns.iter().filter(|c| side_of(c.tooth) == side);
    own.min_by(|a, b| (a.centre - p).norm().total_cmp(&(b.centre - p).norm()).then(a.tooth.cmp(&b.tooth)))
        .map(|c| c.tooth)
}

/// The crossing of the section nearest to the midline; margins go before crests.
fn crossed(bounds: &[Bound<'_>], frame: &Frame, anterior_mm: f64, sign: f64) -> Option<(Point, MarginFrom)> {
    let mut best: Option<(bool, f64, Point, MarginFrom)> = None;
    for bound in bounds {
        let n = bound.curve.len();
        for i in 0..if bound.closed { n } else { n.saturating_sub(1) } {
            let (a, b) = (bound.curve[i], bound.curve[(i + 1) % n]);
            let (da, db) = (frame.local(&a)[0] - anterior_mm, frame.local(&b)[0] - anterior_mm);
            if (da > 0.0) == (db > 0.0) {
                continue;
            }
            let p = a + (b - a) * (da / (da - db));
            let aside = frame.local(&p)[1] * sign;
            let crest = bound.from == MarginFrom::Crest;
            let better = best.is_none_or(|(c, m, _, _)| (crest, aside) < (c, m));
            if better {
                best = Some((crest, aside, p, bound.from));
            }
        }
    }
    best.map(|(_, _, p, from)| (p, from))
}

/// Limits laid between their neighbours where those are near enough.
fn bridged(rows: &[f64], known: Vec<Option<(Point, MarginFrom)>>) -> Vec<Option<(Point, MarginFrom)>> {
    let mut all = known.clone();
    for i in 0..all.len() {
        if known[i].is_some() {
            continue;
        }
        let before = (0..i).rev().find_map(|k| known[k].map(|m| (k, m.0)));
        let after = (i + 1..known.len()).find_map(|k| known[k].map(|m| (k, m.0)));
        if let (Some((a, pa)), Some((b, pb))) = (before, after) {
            let t = (i - a) as f64 / (b - a) as f64;
            let wide = rows[a] - rows[b] > BRIDGE_MM;
            let from = if wide { MarginFrom::Unknown } else { MarginFrom::Between };
            all[i] = Some((pa + (pb - pa) * t, from));
        }
    }
    all
}

/// How far forward and backward the connector reaches, and between which teeth.
pub(super) struct Joined {
    /// Foremost and hindmost place, along the anterior axis, mm.
    pub ahead_mm: (f64, f64),
    /// The teeth there.
    pub teeth: (Tooth, Tooth),
}

/// What the connector joins: abutments, else teeth beside spans, else all; and the crests of the spans.
pub(super) fn joined(cast: &Cast<'_>, frame: &Frame) -> Measured<Joined> {
    let ahead = |p: &Point| frame.local(p)[0];
    let known = |t: &Tooth| cast.anatomy.crown(*t).is_some();
    let beside = cast.anatomy.spans.iter().flat_map(|s| [s.front, s.back]).flatten();
    let mut teeth: Vec<Tooth> = cast.abutments.iter().copied().chain(beside).filter(known).collect();
    if teeth.is_empty() {
        teeth = cast.anatomy.crowns.iter().map(|c| c.tooth).collect();
    }
    let mut at: Vec<(f64, Tooth)> =
        teeth.iter().filter_map(|t| cast.anatomy.crown(*t).map(|c| (ahead(&c.centre), *t))).collect();
    at.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    let (Some(front), Some(back)) = (at.first(), at.last()) else {
        return Err(NotMeasured::new("no crown is known", "[marks] margins, or labels of the teeth"));
    };
    // A crown reaches half its length before and behind its middle; a saddle as far as its crest.
    let reach = |t: &(f64, Tooth)| {
        let margin = cast.anatomy.crown(t.1).map_or(&[][..], |c| &c.margin);
        margin.iter().map(ahead).fold((t.0, t.0), |(lo, hi), a| (lo.min(a), hi.max(a)))
    };
    let crests = cast.anatomy.spans.iter().filter_map(|s| s.crest.as_ref().ok()).flatten().map(ahead);
    let (back_mm, front_mm) =
        crests.fold((reach(back).0, reach(front).1), |(lo, hi), a| (lo.min(a), hi.max(a)));
    Ok(Joined { ahead_mm: (front_mm, back_mm), teeth: (front.1, back.1) })
}
