//! The arm of a circumferential clasp: half round, tapered, its first two thirds over the survey line, its tip under it.

use super::super::crown::CrownBody;
use super::super::field::{smax, step};
use super::super::truth::undercut::{Path, occlusal};
use super::body::{Held, Part, Probe, TOUCH_MM};
use super::outline::halved;
use super::parts::{BoxOf, Site, plain};
use super::record::{Kind, PartTruth};
use crate::space::{Point, Vector, atan2, cos, hypot, sin};

/// Gap to the blocked-out cast at its root and further along its rigid part, mm: less than what that is off by on a wall.
const OFF_MM: [f64; 2] = [0.05, -0.02];
/// Half width and thickness of a cast arm at its root, mm; at its tip it has half of both.
pub(super) const CAST_MM: Size = Size { half_mm: 0.8, thick_mm: 1.2, tip_share: 0.5 };
/// Those of a wire of 19 gauge.
pub(super) const WIRE_MM: Size = Size { half_mm: 0.455, thick_mm: 0.91, tip_share: 1.0 };
/// Greatest height of its axis on the buccal and on the lingual side, as a share of the crown's.
const HIGHEST_SHARE: [f64; 2] = [0.62, 0.74];
/// Points to both sides over which its height is evened.
const REACH: usize = 6;
/// Points of its axis.
const POINTS: usize = 49;
/// Where its root lies, degrees from the proximal wall toward the surface that it runs on.
const ROOT_DEG: f64 = 22.0;
/// Share of its length from which it may go under the survey line.
const RIGID_SHARE: f64 = 0.667;
/// Least height of the axis of its tip over the margin, mm; where it lies too deep in its undercut.
pub(super) const OVER_MARGIN_MM: [f64; 2] = [1.35, 1.0];
/// Room between a tip and another tooth, mm.
const ROOM_MM: f64 = 0.3;
/// A depth that counts as undercut where the survey line is sought, mm: twice what the blocked-out surface is off by.
const SEEN_MM: f64 = 0.06;

/// Section of an arm at its root, and what is left of it at its tip.
#[derive(Clone, Copy)]
pub(super) struct Size {
    pub half_mm: f64,
    pub thick_mm: f64,
    pub tip_share: f64,
}

impl Size {
    /// Half width and thickness at a share of the length, mm.
    fn at(&self, share: f64) -> [f64; 2] {
        [self.half_mm, self.thick_mm].map(|r| r * (1.0 - (1.0 - self.tip_share) * share))
    }
}

/// An arm that is wanted.
#[derive(Clone, Copy)]
pub(super) struct Arm<'a> {
    pub crown: &'a CrownBody,
    /// Wall that its root lies on: 1 distal, -1 mesial.
    pub root: f64,
    /// Surface that it runs on: 1 buccal, -1 lingual.
    pub face: f64,
    /// Its name.
    pub surface: &'static str,
    /// Depth wanted under its tip, mm.
    pub depth_mm: f64,
    /// Least height of the axis of its tip over the margin, mm.
    pub over_margin_mm: f64,
    /// Its section.
    pub size: Size,
}

/// A place of the wall: degrees from the root's wall, and height on the crown, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
struct At {
    deg: f64,
    w: f64,
}

impl Arm<'_> {
    /// Place of the cast at a place of the wall, own position.
    fn place(&self, site: &Site<'_>, at: At) -> Point {
        let a = at.deg.to_radians();
        let c = self.crown;
        let turn = atan2(c.half_bl * sin(a) * self.face, c.half_md * cos(a) * self.root);
        let p = c.world(c.on_wall(turn, at.w));
        site.ground.surface().closest(&p).map_or(p, |c| c.at)
    }

    /// About the undercut depth there, mm.
    fn about_mm(&self, site: &Site<'_>, at: At) -> f64 {
        -site.ground.blocked_mm(&self.place(site, at))
    }

    /// Height of the survey line.
    fn survey_w(&self, site: &Site<'_>, deg: f64) -> f64 {
        let top = 0.78 * self.crown.height;
        let under = |w: &f64| self.about_mm(site, At { deg, w: *w }) > SEEN_MM;
        (0..80).map(|i| top - 0.1 * f64::from(i)).take_while(|w| *w > 0.3).find(under).unwrap_or(0.3)
    }

    /// Where the tip lies: as high over the margin as the depth wanted allows; where it is not reached, the deepest place.
    fn tip(&self, site: &Site<'_>) -> At {
        let mut best: Option<At> = None;
        let mut deepest = (At { deg: 130.0, w: self.over_margin_mm }, 0.0);
        for i in 0..11 {
            let deg = 105.0 + 5.0 * f64::from(i);
            let from = self.survey_w(site, deg);
            let mut w = from;
            while w > self.over_margin_mm {
                let at = At { deg, w };
                let mm = self.about_mm(site, at);
                if self.near_a_neighbour(site, at) {
                    w -= 0.1;
                    continue;
                }
                if mm > deepest.1 {
                    deepest = (at, mm);
                }
                if mm >= self.depth_mm {
                    // A longer arm is worth some height.
                    let worth = |a: &At| a.w + 0.03 * a.deg;
                    if best.is_none_or(|b| worth(&at) > worth(&b)) {
                        best = Some(at);
                    }
                    break;
                }
                w -= 0.1;
            }
        }
        let at = best.unwrap_or(deepest.0);
        if best.is_some() { self.settled(site, at) } else { at }
    }

    /// Whether the metal of a tip there would come against another tooth.
    fn near_a_neighbour(&self, site: &Site<'_>, at: At) -> bool {
        let [half, thick] = self.size.at(1.0);
        let out = thick + ROOM_MM;
        let ahead =
            At { deg: at.deg + (half / self.crown.half_md.min(self.crown.half_bl)).to_degrees(), ..at };
        [at, ahead].into_iter().any(|at| {
            let p = self.place(site, at);
            let Some(foot) = site.ground.surface().closest(&p) else { return false };
            let way = site.ground.normal(&foot.at, foot.face).normalize();
            site.ground.tissue_mm(&(foot.at + way * out)) < 0.9 * out
        })
    }

    /// The place above or below one at which the depth is that wanted, by the cast's own field.
    fn settled(&self, site: &Site<'_>, at: At) -> At {
        let deep = |w: f64| self.depth_at(site, At { w, ..at }) > self.depth_mm;
        At { w: halved([(at.w - 0.5).max(self.over_margin_mm - 0.2), at.w + 0.5], 12, deep), ..at }
    }

    fn depth_at(&self, site: &Site<'_>, at: At) -> f64 {
        let path = Path::new(site.cast, &occlusal(site.cast.arch));
        path.depth_mm(&site.cast.own(&self.place(site, at)))
    }

    /// Its axis on the wall, from root to tip.
    fn axis(&self, site: &Site<'_>, tip: At) -> Vec<At> {
        let share = |i: usize| i as f64 / (POINTS - 1) as f64;
        let degs: Vec<f64> = (0..POINTS).map(|i| ROOT_DEG + (tip.deg - ROOT_DEG) * share(i)).collect();
        let survey: Vec<f64> = degs.iter().map(|d| self.survey_w(site, *d)).collect();
        let most = HIGHEST_SHARE[usize::from(self.face < 0.0)] * self.crown.height;
        let needed: Vec<f64> = (0..POINTS).map(|i| survey[i] + self.size.at(share(i))[0] + 0.15).collect();
        let around = |list: &[f64], i: usize, fold: &dyn Fn(&[f64]) -> f64| {
            fold(&list[i.saturating_sub(REACH)..(i + REACH + 1).min(POINTS)])
        };
        // Nowhere lower than needed, and even.
        let greatest: Vec<f64> = (0..POINTS)
            .map(|i| around(&needed, i, &|l| l.iter().copied().fold(f64::NEG_INFINITY, f64::max)))
            .collect();
        let even = |i: usize| around(&greatest, i, &|l| l.iter().sum::<f64>() / l.len() as f64);
        (0..POINTS)
            .map(|i| {
                let over = even(i).min(most);
                let down = ((share(i) - 0.58) / 0.42).max(0.0);
                let down = down * down * (1.6 - 0.6 * down);
                At { deg: degs[i], w: over + (tip.w - over) * down }
            })
            .collect()
    }
}

/// Nearest place of a polyline: distance and share of its length.
fn nearest(line: &[(Point, f64)], p: &Point) -> (f64, f64) {
    let mut best = (f64::INFINITY, 0.0);
    for two in line.windows(2) {
        let [(a, sa), (b, sb)] = [two[0], two[1]];
        let way: Vector = b - a;
        let t = ((p - a).dot(&way) / way.norm_squared().max(1e-12)).clamp(0.0, 1.0);
        let d = (a + way * t - p).norm_squared();
        if d < best.0 {
            best = (d, sa + (sb - sa) * t);
        }
    }
    (best.0.sqrt(), best.1)
}

/// The arm as a part.
pub(super) fn arm<'a>(site: &'a Site<'a>, wanted: &Arm<'_>) -> Part<'a> {
    let size = wanted.size;
    let tip = wanted.tip(site);
    let axis = wanted.axis(site, tip);
    let points: Vec<Point> = axis.iter().map(|a| wanted.place(site, *a)).collect();
    let mut along = vec![0.0];
    for two in points.windows(2) {
        along.push(along.last().copied().unwrap_or(0.0) + (two[1] - two[0]).norm());
    }
    let length_mm = along.last().copied().unwrap_or(0.0);
    let line: Vec<(Point, f64)> = points.iter().zip(&along).map(|(p, l)| (*p, l / length_mm)).collect();
    let mut box_of = BoxOf::new(size.half_mm + size.thick_mm);
    points.iter().for_each(|p| box_of.hold(p));
    const STATED: f64 = 0.2;
    let stated = line.iter().find(|(_, s)| *s >= STATED).map_or(points[0], |(p, _)| *p);
    let end = points[POINTS - 1];
    let truth = PartTruth {
        tooth: Some(wanted.crown.tooth.number()),
        place: Some(wanted.surface),
        thickness_mm: size.at(STATED)[1],
        tip_thickness_mm: Some(size.at(1.0)[1]),
        width_mm: Some(2.0 * size.at(STATED)[0]),
        length_mm: Some(length_mm + size.at(1.0)[0]),
        depth_mm: Some(wanted.depth_at(site, tip)),
        tip_at_mm: Some(site.file(&end)),
        ..plain(Kind::ClaspArm, TOUCH_MM, site.file(&stated))
    };
    let field = move |q: &Probe<'_>| {
        let (far, share) = nearest(&line, &q.p);
        let [half, thick] = size.at(share);
        let d = q.tissue();
        let beside = (far * far - d * d).max(0.0).sqrt();
        let out = thick + TOUCH_MM;
        // Its rigid part stands on the blocked-out wall.
        let flexes = step(RIGID_SHARE - 0.04, RIGID_SHARE + 0.12, share);
        let b = q.blocked();
        let (x, y) = (beside / half, (b + (d - b) * flexes) / out);
        let (k0, k1) = (hypot(x, y), hypot(x / half, y / out));
        let round = if k1 < 1e-9 { -half.min(out) } else { k0 * (k0 - 1.0) / k1 };
        // Its rigid part keeps out of undercuts.
        let free = 3.0 * flexes;
        let off = OFF_MM[0] + (OFF_MM[1] - OFF_MM[0]) * step(0.1, 0.18, share);
        smax(round, TOUCH_MM - d, 0.1).max(off - b - free)
    };
    Part { axis: points, held: Held::Touching, ..box_of.part(truth, field) }
}
