//! What one tilt gives and costs.

use super::Limits;
use super::places::{Guiding, HeldPlaces, Piece, Places};
use crate::space::{Direction, angle_deg, sin};

/// What one tilt gives and costs. `None` = not known on this cast.
#[derive(Clone, Debug, PartialEq)]
pub struct Parts {
    /// Usable undercut of each clasp, mm, along the tilt and along the occlusal normal.
    pub usable_mm: Vec<f64>,
    /// Mean over the clasps of the share of the gauge wanted that they reach, 0 to 1.
    pub retention_share: Option<f64>,
    /// Greatest less least usable undercut, each up to the ceiling, mm; `None` for fewer than two.
    pub spread_mm: Option<f64>,
    /// Area of each surface beside a span that guides, mm2.
    pub guiding_mm2: Vec<f64>,
    /// Mean share of the area wanted, 0 to 1.
    pub guiding_share: Option<f64>,
    /// Area of tissue crossed that is undercut, mm2.
    pub tissue_mm2: Option<f64>,
    /// Its greatest depth, mm.
    pub tissue_deepest_mm: Option<f64>,
    /// Dead space under the tissue crossed and the surfaces beside spans, mm3.
    pub blockout_mm3: Option<f64>,
    /// Angle from the occlusal normal, degrees.
    pub lean_deg: f64,
}

/// A cast seen along a tilt.
pub(super) struct Seen<'a> {
    pub places: &'a Places,
    pub limits: &'a Limits,
    pub direction: &'a Direction,
    pub occlusal: &'a Direction,
    /// Depths of the wanted vertices along the tilt, mm.
    pub depth_mm: &'a [f64],
    /// The same along the occlusal normal.
    pub along_normal_mm: &'a [f64],
}

/// Figures are compared and shown to a thousandth of their unit, so that what is shown is what was compared.
fn kept(value: f64) -> f64 {
    let rounded = (value * 1000.0).round() / 1000.0;
    if rounded == 0.0 { 0.0 } else { rounded }
}

pub(super) fn of(seen: &Seen<'_>) -> Parts {
    let places = seen.places;
    let usable: Vec<f64> = places.held.iter().map(|h| usable_mm(seen, h)).collect();
    let shares = usable.iter().zip(&places.held).map(|(u, h)| (u / h.held.gauge_mm).min(1.0));
    let capped = || usable.iter().map(|u| u.min(seen.limits.ceiling_mm));
    let spread = capped().fold(0.0, f64::max) - capped().fold(f64::INFINITY, f64::min);
    let guiding: Vec<(f64, f64)> = places.guiding.iter().map(|g| guiding(seen, g)).collect();
    let known = !places.tissue.is_empty();
    let proximal = !places.proximal.is_empty();
    let dead = |list: &[Piece]| list.iter().map(|p| dead_mm3(seen, p)).sum::<f64>();
    let lean = angle_deg(seen.direction, seen.occlusal);
    Parts {
        retention_share: mean(shares),
        spread_mm: (usable.len() > 1).then(|| kept(spread)),
        usable_mm: usable.iter().map(|u| kept(*u)).collect(),
        guiding_share: mean(guiding.iter().map(|g| g.1)),
        guiding_mm2: guiding.iter().map(|g| kept(g.0)).collect(),
        tissue_mm2: known.then(|| kept(places.tissue.iter().map(|p| deep_mm2(seen, p)).sum())),
        tissue_deepest_mm: known.then(|| {
            let corners = places.tissue.iter().flat_map(|p| p.corners);
            kept(corners.map(|v| depth(seen.depth_mm, v)).fold(0.0, f64::max))
        }),
        blockout_mm3: (known || proximal).then(|| kept(dead(&places.tissue) + dead(&places.proximal))),
        lean_deg: kept(lean),
    }
}

fn mean(all: impl Iterator<Item = f64>) -> Option<f64> {
    let (mut sum, mut n) = (0.0, 0.0);
    for v in all {
        sum += v;
        n += 1.0;
    }
    (n > 0.0).then(|| kept(sum / n))
}

fn depth(list: &[f64], v: u32) -> f64 {
    list.get(v as usize).copied().unwrap_or(0.0)
}

/// The deepest undercut on a clasp's surfaces that stands along both directions, no nearer to the margin than the tip
/// may lie, mm. Between two places on either side of that distance it is read where an edge passes it.
fn usable_mm(seen: &Seen<'_>, on: &HeldPlaces) -> f64 {
    let both = |i: usize| {
        let v = on.tips[i].0;
        depth(seen.depth_mm, v).min(depth(seen.along_normal_mm, v))
    };
    let spare: Vec<f64> =
        on.tips.iter().map(|(_, up)| up.dot(seen.direction) - seen.limits.tip_above_margin_mm).collect();
    let mut most = 0.0_f64;
    for (i, s) in spare.iter().enumerate() {
        if *s >= 0.0 {
            most = most.max(both(i));
        }
    }
    for &[a, b] in &on.edges {
        let (a, b) = (a as usize, b as usize);
        if (spare[a] >= 0.0) != (spare[b] >= 0.0) {
            let t = spare[a] / (spare[a] - spare[b]);
            let (da, db) = (both(a), both(b));
            most = most.max(da + (db - da) * t);
        }
    }
    most
}

/// Area within the narrow band, fading out to the wide one, mm2; and how far the best part of the surface, as large as the
/// area wanted, guides, 0 to 1: so that much surface which leans does not stand for a plane.
fn guiding(seen: &Seen<'_>, on: &Guiding) -> (f64, f64) {
    let [good, prepare] = seen.limits.guiding_deg.map(|deg| sin(deg.to_radians()));
    let fade = (prepare - good).max(1e-9);
    let mut parts: Vec<(f64, f64)> = on
        .faces
        .iter()
        .map(|(normals, area)| {
            let lean = normals[0].dot(seen.direction).abs().min(normals[1].dot(seen.direction).abs());
            (((prepare - lean) / fade).clamp(0.0, 1.0), *area)
        })
        .filter(|(guides, _)| *guides > 0.0)
        .collect();
    parts.sort_by(|a, b| b.0.total_cmp(&a.0).then(b.1.total_cmp(&a.1)));
    let (mut credited, mut best, mut left) = (0.0, 0.0, on.wanted_mm2);
    for (guides, area) in parts {
        credited += guides * area;
        let taken = area.min(left);
        best += guides * taken;
        left -= taken;
    }
    (credited, if on.wanted_mm2 > 0.0 { best / on.wanted_mm2 } else { 0.0 })
}

/// Part of a triangle that is undercut deeper than the scan is true, depth linear between its corners, mm2.
fn deep_mm2(seen: &Seen<'_>, piece: &Piece) -> f64 {
    let mut d = piece.corners.map(|v| depth(seen.depth_mm, v));
    d.sort_by(f64::total_cmp);
    let [a, b, c] = d;
    let t = seen.limits.scan_mm;
    let share = if a > t {
        1.0
    } else if c <= t {
        0.0
    } else if b <= t {
        (c - t) * (c - t) / ((c - a) * (c - b))
    } else {
        1.0 - (t - a) * (t - a) / ((b - a) * (c - a))
    };
    piece.area_mm2 * share
}

/// Depth times upright extent, mm3: for a plane wall the wedge between it and the upright plane through its upper edge.
fn dead_mm3(seen: &Seen<'_>, piece: &Piece) -> f64 {
    let mean = piece.corners.iter().map(|&v| depth(seen.depth_mm, v)).sum::<f64>() / 3.0;
    let n = piece.normal_mm2;
    let upright = (n - seen.direction.into_inner() * n.dot(seen.direction)).norm();
    mean * upright
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::space::{Vector, direction};

    fn seen_piece(depth_mm: &[f64], scan_mm: f64, run: impl Fn(&Seen<'_>)) {
        let limits = super::super::trials::limits(scan_mm);
        let up = direction(Vector::z()).unwrap();
        run(&Seen {
            places: &Places::default(),
            limits: &limits,
            direction: &up,
            occlusal: &up,
            depth_mm,
            along_normal_mm: depth_mm,
        });
    }

    #[test]
    fn a_triangle_is_undercut_in_the_part_that_its_depths_say() {
        // Depth 0 at one corner and 0.1 at two: the part under 0.05 is a triangle of half the size.
        let piece = Piece { corners: [0, 1, 2], area_mm2: 2.0, normal_mm2: Vector::x() * 2.0 };
        seen_piece(&[0.0, 0.1, 0.1], 0.05, |s| assert!((deep_mm2(s, &piece) - 1.5).abs() < 1e-12));
        seen_piece(&[0.1, 0.0, 0.0], 0.05, |s| assert!((deep_mm2(s, &piece) - 0.5).abs() < 1e-12));
        seen_piece(&[0.1, 0.1, 0.1], 0.05, |s| assert!((deep_mm2(s, &piece) - 2.0).abs() < 1e-12));
        seen_piece(&[0.01, 0.02, 0.03], 0.05, |s| assert_eq!(deep_mm2(s, &piece), 0.0));
    }

    #[test]
    fn dead_space_counts_walls_by_their_depth_and_ledges_not_at_all() {
        let wall = Piece { corners: [0, 1, 2], area_mm2: 3.0, normal_mm2: Vector::x() * 3.0 };
        let ledge = Piece { normal_mm2: Vector::z() * 3.0, ..wall };
        seen_piece(&[0.2, 0.4, 0.6], 0.05, |s| {
            assert!((dead_mm3(s, &wall) - 1.2).abs() < 1e-12);
            assert_eq!(dead_mm3(s, &ledge), 0.0);
        });
    }
}
