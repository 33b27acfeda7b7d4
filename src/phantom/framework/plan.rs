//! Which parts the framework of a case has, and where.

use super::super::arch::Place;
use super::super::crown::{CrownBody, Seat, SeatKind};
use super::super::demo::Named;
use super::super::field::through;
use super::super::patient::Pair;
use super::super::truth::margin::{border_down, exit};
use super::super::truth::{self, crown_of, proximal_s, spans};
use super::Fault;
use super::arm::{Arm, CAST_MM, OVER_MARGIN_MM, WIRE_MM, arm};
use super::body::{Held, Part};
use super::parts::{Bar, ON_TOOTH_MM, Plate, Rest, Site, Strip};
use super::record::Kind;
use super::saddle::{BORDER_MM, RidgeMesh, Strap};
use crate::case::{Arch, Tooth};
use crate::space::Point;

/// Thickness of a rest over the marginal ridge, mm.
const REST_MM: f64 = 1.3;
/// How much thicker one is that leaves its crown between two teeth, where it bends down toward the tongue at once, mm.
const BETWEEN_MM: f64 = 0.2;
/// Gap under a rest, mm.
const REST_GAP_MM: f64 = 0.04;
/// Thickness of plates beside gaps, mm.
const PLATE_MM: f64 = 1.05;
/// Thickness of minor connectors through embrasures, mm.
const MINOR_MM: f64 = 1.2;
/// Lift and thickness of a mesh, mm.
const MESH_MM: [f64; 2] = [0.8, 0.9];
/// How far the bar lies under the lingual margins, mm.
const BAR_DOWN_MM: f64 = 4.2;
/// Height and thickness of the bar, mm: where its relief changes beside a torus it is a tenth thinner than on an even wall.
const BAR_MM: [f64; 2] = [4.1, 2.25];
/// Depth of the undercut that a cast circumferential arm is given, mm.
const CLASP_MM: f64 = 0.25;
/// Depth that a wrought wire is given, mm.
const WIRE_DEPTH_MM: f64 = 0.5;
/// How much deeper than that a tip goes that lies too deep, mm, as far as the cast has it.
const TOO_DEEP_MM: f64 = 0.6;
/// Thickness of a palatal strap and its gap, mm; least half of its width, mm.
const STRAP_MM: [f64; 3] = [0.8, 0.05, 4.3];
/// Share of a distal extension that its mesh covers.
const COVERED: f64 = 0.75;

/// A gap that carries a mesh.
struct Gap {
    from_s: f64,
    to_s: f64,
    beside: Vec<Tooth>,
    /// Where its leg to the major connector stands, mm along the arch.
    leg_s: f64,
    /// Where its tissue stop stands.
    stop_s: Option<f64>,
}

/// What a plan is made for.
pub(super) struct Plan<'a> {
    pub case: &'a Named,
    pub pair: &'a Pair,
    pub site: &'a Site<'a>,
    pub fault: Option<Fault>,
}

impl<'a> Plan<'a> {
    fn is(&self, fault: Fault) -> bool {
        self.fault == Some(fault)
    }

    fn s_of(&self, crown: &CrownBody) -> f64 {
        self.site.cast.form.place(crown.origin.x, crown.origin.y).s
    }

    fn gaps(&self) -> Vec<Gap> {
        let cast = self.site.cast;
        let s_of = |p: &Point| {
            let own = cast.own(p);
            cast.form.place(own.x, own.y).s
        };
        let gap = |span: &truth::spans::Span| {
            let (a, b) = (s_of(span.crest.first()?), s_of(span.crest.last()?));
            if span.is_bounded() {
                let beside = span.beside.clone();
                return Some(Gap { from_s: a, to_s: b, beside, leg_s: 0.5 * (a + b), stop_s: None });
            }
            let way = (b - a).signum();
            let end = a + COVERED * (b - a);
            let (from_s, to_s) = (a.min(end), a.max(end));
            let beside = span.beside.clone();
            Some(Gap { from_s, to_s, beside, leg_s: a + 3.2 * way, stop_s: Some(end - 1.2 * way) })
        };
        spans(cast).iter().filter_map(gap).collect()
    }

    /// All parts.
    pub fn parts(&self) -> Vec<Part<'a>> {
        let gaps = self.gaps();
        let tops = self.bar_tops();
        let mut parts = Vec::new();
        let toward = |s: f64, p: &Point, mm: f64| (s, p + self.site.cast.form.axes(s).1 * mm);
        let mut reached: Vec<(f64, Point)> =
            gaps.iter().map(|g| toward(g.leg_s, &self.site.crest(g.leg_s, 0.0), -BORDER_MM)).collect();
        for (i, (crown, seat)) in self.rests().iter().enumerate() {
            let rest = self.rest(i, crown, seat);
            parts.push(self.site.rest(&rest));
            if !self.beside_gap(&gaps, crown, seat.at[0].signum()) {
                let strip = self.embrasure(crown, seat, &rest, &tops);
                let s = self.site.cast.form.place(strip.middle.x, strip.middle.y).s;
                reached.push(toward(s, &strip.middle, strip.to_mm + 1.5));
                parts.push(self.site.strip(&strip));
            }
        }
        for gap in &gaps {
            parts.extend(self.over_gap(gap, &tops));
        }
        parts.extend(self.arms(&gaps));
        let ends =
            reached.iter().fold([f64::INFINITY, f64::NEG_INFINITY], |[a, b], (s, _)| [a.min(*s), b.max(*s)]);
        let mut major = match self.site.cast.arch {
            Arch::Mandible => self.bar(ends, tops),
            Arch::Maxilla => self.strap(&reached, &gaps),
        };
        if self.is(Fault::NoRelief) || self.is(Fault::BarIntoTorus) {
            major.held = Held::Free;
        }
        parts.push(major);
        parts
    }

    /// Clasps that are asked for and not made: an arm across a closed embrasure has no room under the opposing teeth, and
    /// no approach arm is made.
    pub fn left_out(&self) -> Vec<(Tooth, &'static str)> {
        let gaps = self.gaps();
        let has_root = |c: &(Tooth, &str, &str)| {
            crown_of(self.site.cast, c.0).is_some_and(|crown| self.root(&gaps, crown, c.1).is_some())
        };
        let made = |c: &&(Tooth, &str, &str)| c.2 != "bar" && has_root(c);
        self.case.clasps.iter().filter(|c| !made(c)).map(|c| (c.0, c.1)).collect()
    }

    /// The strap, between what it has to reach on both sides.
    fn strap(&self, reached: &[(f64, Point)], gaps: &[Gap]) -> Part<'a> {
        let ends: Vec<Point> = reached.iter().map(|(_, p)| Point::new(p.x, p.y, 0.0)).collect();
        let side = |sign: f64| {
            let all: Vec<&Point> = ends.iter().filter(|p| p.x * sign > 0.0).collect();
            let n = all.len().max(1) as f64;
            Point::from(all.iter().map(|p| p.coords).sum::<crate::space::Vector>() / n)
        };
        let [thickness_mm, gap_mm, least] = STRAP_MM;
        let (right, left) = (side(1.0), side(-1.0));
        let way = (left - right).normalize();
        let aside = |p: &Point| ((p - right).cross(&way).z).abs();
        let half = |sign: f64| {
            let all = ends.iter().filter(|p| p.x * sign > 0.0);
            all.map(aside).fold(least - 1.0, f64::max) + 1.0
        };
        let half_mm = [half(1.0), half(-1.0)];
        let gap_from_s = gaps.first().map_or(99.0, |g| if g.from_s > 0.0 { g.from_s } else { g.to_s });
        let thickness_mm = if self.is(Fault::ThinBar) { 0.4 } else { thickness_mm };
        let gap_mm = if self.is(Fault::NoRelief) { 0.0 } else { gap_mm };
        self.site.strap(&Strap { right, left, half_mm, thickness_mm, gap_mm, gap_from_s })
    }

    fn rests(&self) -> Vec<(&'a CrownBody, &'a Seat)> {
        let cast = self.site.cast;
        let arch = self.case.restored;
        let of = |(tooth, _): &(Tooth, _)| (tooth.arch() == arch).then(|| crown_of(cast, *tooth)).flatten();
        let mut crowns: Vec<&CrownBody> = self.case.patient.seats.iter().filter_map(of).collect();
        crowns.dedup_by_key(|c| c.tooth);
        let back = |s: &&Seat| matches!(s.kind, SeatKind::Mesial | SeatKind::Distal);
        crowns.into_iter().flat_map(|c| c.seats.iter().filter(back).map(move |s| (c, s))).collect()
    }

    /// Whether another tooth stands beside a crown where a rest leaves it.
    fn beside(&self, crown: &CrownBody, seat: &Seat) -> bool {
        let beyond = crown.world([seat.at[0].signum() * (crown.half_md + 1.0), 0.0, 0.5 * crown.height]);
        let others = self.site.cast.crowns.iter().filter(|c| c.tooth != crown.tooth);
        others.into_iter().any(|c| (c.world([0.0, 0.0, 0.5 * c.height]) - beyond).norm() < 1.2 * c.half_md)
    }

    fn rest(&self, index: usize, crown: &'a CrownBody, seat: &'a Seat) -> Rest<'a> {
        let between = if self.beside(crown, seat) { BETWEEN_MM } else { 0.0 };
        let thickness_mm = REST_MM + between;
        let mut rest = Rest { crown, seat, thickness_mm, gap_mm: REST_GAP_MM, out_mm: 0.75 };
        if self.is(Fault::ThinRest) && index == 0 {
            rest.thickness_mm = 0.6;
        }
        if self.is(Fault::RestHigh) && index == 2 {
            rest.gap_mm = 0.3;
        }
        if self.is(Fault::OpposingContact) && index == 1 {
            let [u, v, w] = self.site.floor(crown, seat);
            let floor = self.site.cast.own(&crown.world([u, v, w]));
            let way = truth::occlusal(self.case.restored).into_inner();
            let room = truth::along_mm(self.pair.cast(self.case.restored.opposing()), &floor, &way);
            rest.thickness_mm = room.unwrap_or(2.0) + 0.3;
        }
        rest
    }

    fn beside_gap(&self, gaps: &[Gap], crown: &CrownBody, side: f64) -> bool {
        gaps.iter().any(|g| g.beside.contains(&crown.tooth) && self.gap_side(g, crown) == side)
    }

    /// On which wall of a tooth a gap lies: 1 distal, -1 mesial.
    fn gap_side(&self, gap: &Gap, crown: &CrownBody) -> f64 {
        let s = self.s_of(crown);
        (0.5 * (gap.from_s + gap.to_s) - s).signum() * s.signum()
    }

    /// The strip from a rest through the embrasure beside it.
    fn embrasure(
        &self,
        crown: &CrownBody,
        seat: &Seat,
        rest: &Rest<'_>,
        tops: &(Vec<f64>, Vec<f64>),
    ) -> Strip {
        let cast = self.site.cast;
        let mesial = seat.at[0] < 0.0;
        let own_s = proximal_s(cast, crown, mesial);
        // A little toward the abutment.
        let s = own_s + 0.35 * (self.s_of(crown) - own_s).signum();
        let t = cast.form.place(crown.origin.x, crown.origin.y).t;
        let (along, out) = cast.form.axes(s);
        let [u, v, floor] = self.site.floor(crown, seat);
        let high = crown.world([u, v, floor + rest.gap_mm + rest.thickness_mm]).z;
        let margin = through(&cast.levels.s, &cast.levels.margin, s);
        let lower = cast.arch == Arch::Mandible;
        let end = cast.form.point(Place { s, t: -BORDER_MM - 1.5 }, 0.0);
        let vault = self.site.ground.height_mm(end.x, end.y).unwrap_or(margin - 9.0) - 1.0;
        Strip {
            kind: Kind::MinorConnector,
            tooth: Some(crown.tooth.number()),
            place: Some(if mesial { "mesial" } else { "distal" }),
            middle: cast.form.point(Place { s, t }, margin),
            along,
            out,
            half_mm: 1.3,
            from_mm: -0.9,
            to_mm: if lower { -14.0 } else { -BORDER_MM - t - 1.5 },
            low_mm: if lower { through(&tops.0, &tops.1, s) - 2.6 } else { vault },
            high_mm: high,
            thickness_mm: MINOR_MM,
            gaps: [self.site.relief_mm, ON_TOOTH_MM, margin + 1.5],
        }
    }

    fn over_gap(&self, gap: &Gap, tops: &(Vec<f64>, Vec<f64>)) -> Vec<Part<'a>> {
        let (site, cast) = (self.site, self.site.cast);
        let [lift_mm, thickness_mm] = MESH_MM;
        let mesh = RidgeMesh {
            from_s: gap.from_s,
            to_s: gap.to_s,
            half_mm: 3.4,
            lift_mm,
            thickness_mm,
            holes: gap.stop_s.map_or([0.0; 2], |stop| {
                let way = (stop - 0.5 * (gap.from_s + gap.to_s)).signum();
                let (near, far) =
                    (stop - 3.4 * way, if way > 0.0 { gap.from_s } else { gap.to_s } + 1.6 * way);
                [near.min(far), near.max(far)]
            }),
        };
        // A rest that stands off its seat takes its plate along.
        let high = self.rests().get(2).map(|r| r.1).filter(|_| self.is(Fault::RestHigh));
        let mut parts = vec![site.mesh(&mesh)];
        for (i, crown) in gap.beside.iter().filter_map(|t| crown_of(cast, *t)).enumerate() {
            let side = self.gap_side(gap, crown);
            let seat = crown.seats.iter().find(|s| s.at[0].signum() == side);
            let top_mm = match seat {
                Some(seat) => site.floor(crown, seat)[2] + 0.6,
                None => 0.56 * crown.height,
            };
            let s = proximal_s(cast, crown, side < 0.0);
            let foot = site.crest(s + 1.2 * (0.5 * (gap.from_s + gap.to_s) - s).signum(), 0.0);
            parts.push(site.plate(&Plate {
                crown,
                side,
                half_mm: 2.0,
                low_mm: foot.z + lift_mm - 0.2,
                top_mm,
                thickness_mm: PLATE_MM,
                gap_mm: if seat.is_some_and(|s| high.is_some_and(|h| std::ptr::eq(h, s))) {
                    0.5
                } else {
                    ON_TOOTH_MM
                },
                undercut: self.is(Fault::CaughtOnPath)
                    && i == 0
                    && !gap.beside.is_empty()
                    && gap.stop_s.is_none(),
            }));
        }
        if let Some(s) = gap.stop_s {
            parts.push(site.stop(s, lift_mm + thickness_mm - 0.2));
        }
        let lower = cast.arch == Arch::Mandible;
        let middle = site.crest(gap.leg_s, 0.0);
        let (along, out) = cast.form.axes(gap.leg_s);
        let to_mm = if lower { -14.0 } else { -BORDER_MM - 1.5 };
        let end = middle + out * to_mm;
        let vault = site.ground.height_mm(end.x, end.y).unwrap_or(middle.z - 9.0) - 1.0;
        parts.push(site.strip(&Strip {
            kind: Kind::Mesh,
            tooth: None,
            place: Some("leg"),
            middle,
            along,
            out,
            half_mm: 1.8,
            from_mm: -0.8,
            to_mm,
            low_mm: if lower { through(&tops.0, &tops.1, gap.leg_s) - 2.6 } else { vault },
            high_mm: middle.z + lift_mm + thickness_mm,
            thickness_mm: MINOR_MM,
            gaps: [site.relief_mm, lift_mm, middle.z - 2.0],
        }));
        parts
    }

    fn arms(&self, gaps: &[Gap]) -> Vec<Part<'a>> {
        let cast = self.site.cast;
        let mut parts = Vec::new();
        for (tooth, surface, kind) in &self.case.clasps {
            let cast_arm = *kind == "cast_circumferential";
            let Some(crown) = crown_of(cast, *tooth).filter(|_| cast_arm || *kind == "wrought_wire") else {
                continue;
            };
            let Some(root) = self.root(gaps, crown, surface) else { continue };
            let deep = self.is(Fault::TipTooDeep);
            let depth_mm = if cast_arm { CLASP_MM } else { WIRE_DEPTH_MM };
            let wanted = Arm {
                crown,
                root,
                face: if *surface == "buccal" { 1.0 } else { -1.0 },
                surface,
                depth_mm: if deep { depth_mm + TOO_DEEP_MM } else { depth_mm },
                over_margin_mm: OVER_MARGIN_MM[usize::from(deep)],
                size: if cast_arm { CAST_MM } else { WIRE_MM },
            };
            let mut made = arm(self.site, &wanted);
            made.truth.wanted_depth_mm = Some(depth_mm);
            parts.push(made);
        }
        parts
    }

    /// On which wall of a tooth an arm begins: beside the gap, or for a lingual arm at the minor connector of its rest.
    fn root(&self, gaps: &[Gap], crown: &CrownBody, surface: &str) -> Option<f64> {
        let beside = gaps.iter().find(|g| g.beside.contains(&crown.tooth)).map(|g| self.gap_side(g, crown));
        let rests = self.rests();
        let rest = rests.iter().find(|r| r.0.tooth == crown.tooth).map(|r| r.1.at[0].signum());
        beside.or(rest.filter(|_| surface == "lingual"))
    }

    /// Lowest lingual margins: places along the arch and own z.
    fn margins(&self) -> Vec<(f64, f64)> {
        let cast = self.site.cast;
        let turns = [-0.85f64, -0.7, -0.6, -0.5, -0.4, -0.3, -0.15].map(|t| t * std::f64::consts::PI);
        let of = |crown: &CrownBody| {
            turns.map(|turn| {
                let p = exit(cast, crown, turn, border_down(cast, crown, turn));
                (cast.form.place(p.x, p.y).s, p.z)
            })
        };
        cast.crowns.iter().flat_map(of).collect()
    }

    /// Height of the bar's upper border along the arch.
    fn bar_tops(&self) -> (Vec<f64>, Vec<f64>) {
        const STEP_MM: f64 = 2.0;
        const NEAR_MM: f64 = 3.0;
        let cast = self.site.cast;
        let margins = self.margins();
        let down = if self.is(Fault::BorderNearMargin) { 1.5 } else { BAR_DOWN_MM };
        let [from, to] = cast.limits.ends;
        let n = ((to - from) / STEP_MM) as usize;
        let places: Vec<f64> = (0..=n).map(|i| from + STEP_MM * i as f64).collect();
        let least = |s: &f64| {
            let near = margins.iter().filter(|m| (m.0 - s).abs() < NEAR_MM).map(|m| m.1);
            near.fold(through(&cast.levels.s, &cast.levels.margin, *s), f64::min)
        };
        let least: Vec<f64> = places.iter().map(least).collect();
        let tops = (0..=n)
            .map(|i| {
                let near = &least[i.saturating_sub(2)..(i + 3).min(n + 1)];
                near.iter().sum::<f64>() / near.len() as f64 - down
            })
            .collect();
        (places, tops)
    }

    fn bar(&self, [from_s, to_s]: [f64; 2], tops: (Vec<f64>, Vec<f64>)) -> Part<'a> {
        let (from_s, to_s) = (from_s - 1.5, to_s + 1.5);
        let inside = |m: &&(f64, f64)| m.0 > from_s && m.0 < to_s;
        let margins = self.margins();
        let below = margins.iter().filter(inside).map(|(s, z)| z - through(&tops.0, &tops.1, *s));
        let below_margin_mm = below.fold(f64::INFINITY, f64::min);
        let thin = self.is(Fault::ThinBar);
        let relief_mm = if self.is(Fault::NoRelief) { 0.0 } else { self.site.relief_mm };
        self.site.bar(&Bar {
            from_s,
            to_s,
            middle_s: 0.0,
            tops,
            below_margin_mm,
            thickness_mm: if thin { 1.1 } else { BAR_MM[1] },
            height_mm: BAR_MM[0],
            relief_mm,
        })
    }
}
