//! The parts of a framework, each a field built from the distance to the cast, so that its gap and its thickness hold
//! by construction.

use super::super::arch::Place;
use super::super::cast::{Cast, Rise};
use super::super::crown::{CrownBody, Seat};
use super::super::field::{Weights, smax, step, through};
use super::body::{Held, Part, Probe};
use super::ground::Ground;
use super::record::{Kind, PartTruth};
use crate::space::{Point, Vector, hypot};

/// Rounding of the edges of plates, mm.
const EDGE_MM: f64 = 0.25;
/// How far from its seat's inner end a rest begins, mm.
pub(super) const REST_INSET_MM: f64 = 0.3;
/// Gap of parts that lie on teeth, mm.
pub(super) const ON_TOOTH_MM: f64 = 0.05;

/// A case's cast, what stands on it and the reliefs wanted.
pub(super) struct Site<'a> {
    /// The cast.
    pub cast: &'a Cast,
    /// Distances to it.
    pub ground: &'a Ground,
    /// Gap of connectors over tissue, mm.
    pub relief_mm: f64,
    /// Gap over tori, mm.
    pub torus_mm: f64,
}

/// Extent along one line: `from` to `from + thick`, negative between.
pub(super) fn slab(x: f64, from: f64, thick: f64) -> f64 {
    (from - x).max(x - from - thick)
}

/// Intersection with rounded edges.
pub(super) fn cut(all: &[f64]) -> f64 {
    all.iter().skip(1).fold(all[0], |a, b| smax(a, *b, EDGE_MM))
}

/// Share of a torus over a place: 1 over it, 0 a little outside of its outline; felt square to its surface.
fn over(rise: &Rise, p: &Point) -> f64 {
    let d = p - rise.centre;
    let x = d.dot(&rise.axes[0]) / (rise.half[0] + 0.5 * rise.blend + 0.6);
    let y = d.dot(&rise.axes[2]) / (rise.half[2] + 0.5 * rise.blend + 0.6);
    let high = d.dot(&rise.axes[1]);
    step(1.5, 1.1, hypot(x, y)) * step(-6.0, -4.0, high)
}

impl<'a> Site<'a> {
    /// Gap wanted over tissue at a place, mm.
    pub fn gap_mm(&self, base: f64, p: &Point) -> f64 {
        let most = self.cast.rises.iter().filter(|r| r.torus).map(|r| over(r, p)).fold(0.0, f64::max);
        base + (self.torus_mm - base) * most
    }

    pub(super) fn at(&self, values: &[f64], s: f64) -> f64 {
        through(&self.cast.levels.s, values, s)
    }

    /// The place of the cast under or beside a position, file coordinates.
    pub fn on_cast(&self, p: &Point) -> [f64; 3] {
        let at = self.ground.surface().closest(p).map_or(*p, |c| c.at);
        self.file(&at)
    }

    /// File coordinates of an own position.
    pub fn file(&self, p: &Point) -> [f64; 3] {
        let p = self.cast.own(p);
        [p.x, p.y, p.z]
    }

    /// Position over the crest at `s`, `out` mm to buccal, at the height of the cast.
    pub fn crest(&self, s: f64, out: f64) -> Point {
        let p = self.cast.form.point(Place { s, t: self.at(&self.cast.levels.shift, s) + out }, 0.0);
        Point::new(p.x, p.y, self.ground.height_mm(p.x, p.y).unwrap_or(0.0))
    }

    /// A lingual bar, half a pear in section.
    pub fn bar(&'a self, bar: &Bar) -> Part<'a> {
        let Bar { from_s, to_s, thickness_mm, height_mm, relief_mm, .. } = *bar;
        let tops = bar.tops.clone();
        let walls = self.walls(bar);
        let wall_line: Vec<Point> =
            walls.iter().map(|(s, t)| self.cast.form.point(Place { s: *s, t: *t }, 0.0)).collect();
        let deep = relief_mm.max(self.torus_mm) + thickness_mm + 0.9;
        let field = move |q: &Probe<'_>| {
            let place = q.place();
            let weights = Weights::at(&self.cast.levels.s, place.s);
            let buccal = place.t - weights.of(&self.cast.levels.shift) + 1.0;
            // The floor of the mouth carries nothing.
            let inner = buccal.max(in_plan_mm(&wall_line, &q.p) - deep);
            let top = through(&tops.0, &tops.1, place.s);
            let share = ((q.p.z - top + height_mm) / height_mm).clamp(0.0, 1.0);
            let thick = thickness_mm * pear(share);
            let gap = self.gap_mm(relief_mm, &q.p);
            let ends = (from_s - place.s).max(place.s - to_s);
            let b = q.blocked();
            cut(&[b - gap - thick, q.p.z - top, top - height_mm - q.p.z, inner, ends, gap - b])
        };
        let mut box_of = BoxOf::new(4.0);
        for i in 0..=40 {
            let s = from_s + (to_s - from_s) * f64::from(i) / 40.0;
            let top = through(&bar.tops.0, &bar.tops.1, s);
            for t in [-1.0, -9.0] {
                box_of.hold(&self.cast.form.point(Place { s, t }, top));
                box_of.hold(&self.cast.form.point(Place { s, t }, top - height_mm));
            }
        }
        let low = |s: f64| through(&bar.tops.0, &bar.tops.1, s) - (1.0 - THICKEST) * height_mm;
        let wall = |(s, t): &(f64, f64)| self.cast.form.point(Place { s: *s, t: *t }, low(*s));
        let middle =
            walls.iter().min_by(|a, b| (a.0 - bar.middle_s).abs().total_cmp(&(b.0 - bar.middle_s).abs()));
        let at = middle.map_or(Point::origin(), wall);
        let length_mm = walls.windows(2).map(|w| (wall(&w[1]) - wall(&w[0])).norm()).sum();
        let torus = self.cast.rises.iter().any(|r| {
            r.torus && {
                let s = self.cast.form.place(r.centre.x, r.centre.y).s;
                s > from_s && s < to_s
            }
        });
        let truth = PartTruth {
            thickness_mm,
            width_mm: Some(height_mm),
            length_mm: Some(length_mm),
            torus_gap_mm: torus.then_some(self.torus_mm),
            below_margin_mm: Some(bar.below_margin_mm),
            ..plain(Kind::Bar, relief_mm, self.on_cast(&at))
        };
        let axis = walls.iter().map(wall).collect();
        Part { axis, ..box_of.part(truth, field) }
    }

    /// Where the blocked-out lingual wall stands behind a bar: places along and across the arch, mm.
    fn walls(&self, bar: &Bar) -> Vec<(f64, f64)> {
        const STEPS: i32 = 160;
        let at = |i: i32| {
            let s = bar.from_s + (bar.to_s - bar.from_s) * f64::from(i) / f64::from(STEPS);
            let z = through(&bar.tops.0, &bar.tops.1, s) - (1.0 - THICKEST) * bar.height_mm;
            let from = self.at(&self.cast.levels.shift, s);
            // From the middle of the process toward the tongue.
            let free = |t: &f64| self.ground.blocked_mm(&self.cast.form.point(Place { s, t: *t }, z)) > 0.0;
            (s, (0..280).map(|k| from - 0.05 * f64::from(k)).find(free).unwrap_or(from - 5.0))
        };
        (0..=STEPS).map(at).collect()
    }

    /// An upright strip from a tooth or a mesh down to the major connector, lingually.
    pub fn strip(&'a self, strip: &Strip) -> Part<'a> {
        let Strip { middle, along, out, half_mm, from_mm, to_mm, low_mm, high_mm, thickness_mm, .. } = *strip;
        let gaps = strip.gaps;
        let field = move |q: &Probe<'_>| {
            let d = q.p - middle;
            let (x, y) = (d.dot(&along), d.dot(&out));
            let base = gaps[0] + (gaps[1] - gaps[0]) * step(gaps[2] - 1.0, gaps[2] + 1.0, q.p.z);
            let gap = self.gap_mm(base, &q.p);
            let b = q.blocked();
            let sides = (x.abs() - half_mm).max(y - from_mm).max(to_mm - y);
            cut(&[slab(b, gap, thickness_mm), sides, slab(q.p.z, low_mm, high_mm - low_mm)])
        };
        let mut box_of = BoxOf::new(0.6);
        for x in [-half_mm, half_mm] {
            for y in [from_mm, to_mm] {
                for z in [low_mm, high_mm] {
                    box_of.hold(&(middle + along * x + out * y + Vector::z() * (z - middle.z)));
                }
            }
        }
        let at = self.on_wall(strip);
        let truth = PartTruth {
            tooth: strip.tooth,
            place: strip.place,
            thickness_mm,
            width_mm: Some(2.0 * half_mm),
            ..plain(strip.kind, self.gap_mm(gaps[0], &at), self.file(&at))
        };
        box_of.part(truth, field)
    }

    /// Place of the cast that a strip passes where its blocked-out surface is least off the cast.
    fn on_wall(&self, strip: &Strip) -> Point {
        const STEPS: i32 = 24;
        let at = |z: f64, y: f64| strip.middle + strip.out * y + Vector::z() * (z - strip.middle.z);
        let wall = |z: f64| {
            let (mut lo, mut hi) = (strip.to_mm, 0.0);
            for _ in 0..40 {
                let y = 0.5 * (lo + hi);
                if self.ground.blocked_mm(&at(z, y)) > 0.0 { lo = y } else { hi = y }
            }
            at(z, lo)
        };
        let (from, to) = (strip.low_mm + 3.0, strip.high_mm - 1.5);
        let off = |p: &Point| self.ground.tissue_mm(p).abs();
        let places = (0..=STEPS).map(|i| wall(from + (to - from) * f64::from(i) / f64::from(STEPS)));
        let best = places.min_by(|a, b| off(a).total_cmp(&off(b))).unwrap_or(strip.middle);
        self.ground.surface().closest(&best).map_or(best, |c| c.at)
    }

    /// A plate on the wall of a tooth beside a gap.
    pub fn plate(&'a self, plate: &Plate<'a>) -> Part<'a> {
        let Plate { crown, side, half_mm, low_mm, top_mm, thickness_mm, gap_mm, undercut } = *plate;
        let relief = self.relief_mm;
        let field = move |q: &Probe<'_>| {
            let [u, v, w] = crown.local(&q.p);
            let gap = gap_mm + (relief - gap_mm) * step(0.8, -0.8, w);
            let d = if undercut { q.tissue() } else { q.blocked() };
            let sides = (v.abs() - half_mm).max(0.35 * crown.half_md - u * side);
            cut(&[slab(d, gap, thickness_mm), sides, w - top_mm, low_mm - q.p.z])
        };
        let mut box_of = BoxOf::new(1.2);
        for u in [0.35 * crown.half_md, crown.half_md + 1.5] {
            for v in [-half_mm, half_mm] {
                box_of.hold(&crown.world([u * side, v, top_mm]));
                let foot = crown.world([u * side, v, 0.0]);
                box_of.hold(&Point::new(foot.x, foot.y, low_mm));
            }
        }
        let turn = if side > 0.0 { 0.0 } else { std::f64::consts::PI };
        let at = |i: i32| crown.world(crown.on_wall(turn, top_mm - 1.1 - 0.1 * f64::from(i)));
        // Where it lies on the wall, or hangs on to it under the bulge.
        let off =
            |p: &Point| if undercut { self.ground.blocked_mm(p) } else { self.ground.blocked_mm(p).abs() };
        let places = (0..28).map(at).filter(|p| p.z > low_mm + 0.8);
        let wall = places.min_by(|a, b| off(a).total_cmp(&off(b))).unwrap_or(crown.origin);
        let truth = PartTruth {
            tooth: Some(crown.tooth.number()),
            place: Some(if side > 0.0 { "distal" } else { "mesial" }),
            thickness_mm,
            width_mm: Some(2.0 * half_mm),
            caught: undercut.then_some(true),
            ..plain(Kind::MinorConnector, gap_mm, self.on_cast(&wall))
        };
        let mut part = box_of.part(truth, field);
        if undercut {
            part.held = Held::Touching;
        }
        part
    }

    /// Floor of a seat over the marginal ridge in the crown's own axes, mm: of the cast, which may be ground in.
    pub fn floor(&self, crown: &CrownBody, seat: &Seat) -> [f64; 3] {
        super::stated::cast_floor(self.ground, crown, seat)
    }

    /// A rest in its seat.
    pub fn rest(&'a self, rest: &Rest<'a>) -> Part<'a> {
        let Rest { crown, seat, thickness_mm, gap_mm, out_mm, .. } = *rest;
        let [au, av, floor] = self.floor(crown, seat);
        let side = seat.at[0].signum();
        let half = (seat.half[1] - 0.5).max(1.0);
        let inner = side * seat.centre[0] - seat.half[0] + REST_INSET_MM;
        let outer = crown.half_md + out_mm;
        let top_at = floor + gap_mm + thickness_mm;
        let field = move |q: &Probe<'_>| {
            let [u, v, w] = crown.local(&q.p);
            // Outside of the marginal ridge it falls again.
            let beyond = (side * (u - au)).max(0.0);
            let plane = top_at + seat.tilt[0] * (u - au) + seat.tilt[1] * (v - av) - 0.4 * beyond;
            // Nowhere thin: over a marginal ridge that is higher than the seat, and at its own sides.
            let least =
                thickness_mm * (SIDE_SHARE + (MIDDLE_SHARE - SIDE_SHARE) * step(half, half - 0.6, v.abs()));
            let top = (w - plane).min((q.tissue() - gap_mm - least).max(w - plane - CLIMBS_MM));
            let ends = slab(u * side, inner, outer - inner);
            let plan = smax(v.abs() - half, ends, 1.2);
            let below = floor - 0.7 - w + 0.35 * (side * (au - u)).max(0.0);
            cut(&[top.max(gap_mm - q.tissue()), plan, below])
        };
        let mut box_of = BoxOf::new(0.8);
        for u in [inner, outer] {
            for v in [-half, half] {
                for w in [floor - 1.8, top_at + 0.6] {
                    box_of.hold(&crown.world([u * side, v, w]));
                }
            }
        }
        let truth = PartTruth {
            tooth: Some(crown.tooth.number()),
            place: Some(if side > 0.0 { "distal" } else { "mesial" }),
            thickness_mm,
            width_mm: Some(2.0 * half),
            length_mm: Some(outer - inner),
            ..plain(Kind::Rest, gap_mm, self.on_cast(&crown.world([au, av, floor])))
        };
        box_of.part(truth, field)
    }
}

/// How thick a rest is at the least at its sides and in its middle, as shares of its thickness.
const SIDE_SHARE: f64 = 0.5;
const MIDDLE_SHARE: f64 = 0.95;
/// How far it may climb over its plane for that, mm.
const CLIMBS_MM: f64 = 0.6;

/// Distance of a place from a line, both in plan, mm.
fn in_plan_mm(line: &[Point], p: &Point) -> f64 {
    let p = Point::new(p.x, p.y, 0.0);
    let off = |two: &[Point]| {
        let way = two[1] - two[0];
        let t = ((p - two[0]).dot(&way) / way.norm_squared().max(1e-12)).clamp(0.0, 1.0);
        (two[0] + way * t - p).norm_squared()
    };
    line.windows(2).map(off).fold(f64::INFINITY, f64::min).sqrt()
}

/// Where in the height of a bar it is thickest, as a share from below.
const THICKEST: f64 = 0.36;

/// Thickness of a half pear at a share of its height from below, against its greatest.
fn pear(share: f64) -> f64 {
    let x = share - THICKEST;
    let x = if x > 0.0 { x / 0.72 } else { x / 0.5 };
    (1.0 - x * x).max(0.0).sqrt()
}

/// What is common to the truth of all parts.
pub(super) fn plain(kind: Kind, gap_mm: f64, at_mm: [f64; 3]) -> PartTruth {
    PartTruth {
        kind,
        tooth: None,
        place: None,
        thickness_mm: 0.0,
        ridge_thickness_mm: None,
        seat_gap_mm: None,
        least_thickness_mm: None,
        least_width_mm: None,
        tip_thickness_mm: None,
        width_mm: None,
        length_mm: None,
        gap_mm,
        torus_gap_mm: None,
        below_margin_mm: None,
        depth_mm: None,
        wanted_depth_mm: None,
        tip_at_mm: None,
        caught: None,
        at_mm,
        way: [0.0; 3],
    }
}

/// A box that grows by what it has to hold.
pub(super) struct BoxOf {
    low: Point,
    high: Point,
    room_mm: f64,
}

impl BoxOf {
    pub fn new(room_mm: f64) -> BoxOf {
        let high = Point::from(Vector::repeat(f64::NEG_INFINITY));
        BoxOf { low: -high, high, room_mm }
    }

    pub fn hold(&mut self, p: &Point) {
        self.low = self.low.inf(p);
        self.high = self.high.sup(p);
    }

    pub fn part<'a>(
        self,
        truth: PartTruth,
        field: impl Fn(&Probe<'_>) -> f64 + Send + Sync + 'a,
    ) -> Part<'a> {
        let room = Vector::repeat(self.room_mm);
        Part {
            truth,
            low: self.low - room,
            high: self.high + room,
            held: Held::Rigid,
            axis: Vec::new(),
            field: Box::new(field),
        }
    }
}

/// See [`Site::bar`].
pub(super) struct Bar {
    /// Its ends along the arch, mm.
    pub from_s: f64,
    pub to_s: f64,
    /// Where along the arch its truth is stated, mm.
    pub middle_s: f64,
    /// Height of its upper border along the arch: places and own z, mm.
    pub tops: (Vec<f64>, Vec<f64>),
    /// What that leaves to the margins at least, mm.
    pub below_margin_mm: f64,
    pub thickness_mm: f64,
    pub height_mm: f64,
    pub relief_mm: f64,
}

/// See [`Site::strip`].
#[derive(Clone, Copy)]
pub(super) struct Strip {
    pub kind: Kind,
    pub tooth: Option<u8>,
    pub place: Option<&'static str>,
    /// Origin of its own plan, and directions along the arch and to buccal.
    pub middle: Point,
    pub along: Vector,
    pub out: Vector,
    /// Half its width, mm.
    pub half_mm: f64,
    /// How far to buccal it begins and ends, mm.
    pub from_mm: f64,
    pub to_mm: f64,
    /// Own z of its lower and its upper end, mm.
    pub low_mm: f64,
    pub high_mm: f64,
    pub thickness_mm: f64,
    /// Gap under and over an own z, mm, and that z.
    pub gaps: [f64; 3],
}

/// See [`Site::plate`].
#[derive(Clone, Copy)]
pub(super) struct Plate<'a> {
    pub crown: &'a CrownBody,
    /// 1 on the distal wall, -1 on the mesial.
    pub side: f64,
    pub half_mm: f64,
    /// Own z where it ends below, and height of its upper end on the crown, mm.
    pub low_mm: f64,
    pub top_mm: f64,
    pub thickness_mm: f64,
    /// Gap on the tooth, mm.
    pub gap_mm: f64,
    /// Whether it follows the wall under the survey line.
    pub undercut: bool,
}

/// See [`Site::rest`].
#[derive(Clone, Copy)]
pub(super) struct Rest<'a> {
    pub crown: &'a CrownBody,
    pub seat: &'a Seat,
    pub thickness_mm: f64,
    pub gap_mm: f64,
    /// How far beyond the crown it reaches, mm.
    pub out_mm: f64,
}
