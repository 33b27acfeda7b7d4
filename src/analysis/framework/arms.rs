//! Clasp arms of a framework: which the case asks for, which flex, what each engages.

use rayon::prelude::*;

use super::{Placed, said};
use crate::case::{Clasp, ClaspKind, RestPlace, Surface as Side, Tooth};
use crate::checks::clasp_arms;
use crate::estimate::{Estimate, Source};
use crate::measure::framework::arms::{ArmAsked, ArmFound, follow};
use crate::measure::framework::parts::Over;
use crate::measure::reciprocal::opposite;
use crate::mechanics::clasp_flexure::{self, Arm, Section};
use crate::mesh::{FaceId, VertexId};
use crate::report::{FrameworkFile, PartKind, PartShown, Where};
use crate::space::Point;
use crate::units;

/// Where along an arm its origin is read, a share of its length, and its tip, mm before its end.
const ORIGIN_SHARE: f64 = 0.1;
const TIP_BEFORE_END_MM: f64 = 1.0;
/// Rigid metal this near to the tooth holds it, mm.
const HOLDS_MM: f64 = 0.1;
/// Lifts at which the hold is looked at, mm apart.
const HOLD_STEP_MM: f64 = 0.1;
/// An arm this near runs past, mm.
const PASSES_MM: f64 = 2.2;
/// Arms seen beside the asked ones: least length, mm.
const LEAST_ARM_MM: f64 = 5.0;

/// The arms of a framework.
pub(super) struct Arms {
    /// Those asked for, with what was found.
    pub asked: Vec<(Clasp, Option<ArmFound>)>,
    /// Those seen though nobody asked for them.
    pub others: Vec<ArmFound>,
    flexing: Vec<bool>,
}

impl Arms {
    /// Whether an arm runs past a place.
    pub fn pass(&self, p: &Point) -> bool {
        let found = self.asked.iter().filter_map(|(_, a)| a.as_ref()).chain(&self.others);
        // Its origin is the body's, which may cross.
        let beyond = |a: &ArmFound| {
            a.sections
                .iter()
                .filter(|s| s.s_mm > 0.3 * a.length_mm)
                .any(|s| (s.middle - p).norm() <= PASSES_MM)
        };
        found.into_iter().any(beyond)
    }

    /// Whether a vertex belongs to what flexes.
    pub fn flexes(&self, v: VertexId) -> bool {
        self.flexing.get(v as usize).copied().unwrap_or(false)
    }
}

impl Placed<'_, '_> {
    /// Follows the arms that the case asks for, then looks for others on the abutments.
    pub(super) fn arms(&self) -> Arms {
        let depth = |p: &Point, f: FaceId| self.tilted.depth_at(p, f).depth_mm;
        let one = |tooth: Tooth, side: Side| -> Option<ArmFound> {
            let asked =
                ArmAsked { tooth, side, axes: self.axes.get(&tooth)?, begins_near: self.arm_begins(tooth) };
            follow(self.framework, &self.cast, (&self.near, &self.over), &asked, &depth)
        };
        let clasps = &self.facts.case.file.design.clasps;
        let asked: Vec<(Clasp, Option<ArmFound>)> =
            clasps.par_iter().map(|c| (*c, one(c.tooth, c.surface))).collect();
        let sides = self.axes.keys().flat_map(|&t| [(t, Side::Buccal), (t, Side::Lingual)]);
        let left =
            |&(tooth, side): &(Tooth, Side)| clasps.iter().all(|c| c.tooth != tooth || c.surface != side);
        let left: Vec<(Tooth, Side)> = sides.filter(left).collect();
        let engages = |a: &ArmFound| {
            a.ends_seen && a.length_mm >= LEAST_ARM_MM && a.tip_depth_mm.is_some_and(|d| d > 0.05)
        };
        let others: Vec<ArmFound> =
            left.par_iter().filter_map(|&(tooth, side)| one(tooth, side)).filter(engages).collect();
        let mut flexing = vec![false; self.near.len()];
        let found = asked.iter().filter_map(|(_, a)| a.as_ref()).chain(&others);
        found.flat_map(|a| &a.flexing).for_each(|&v| flexing[v as usize] = true);
        Arms { asked, others, flexing }
    }

    /// Where the rest of a clasped tooth lies: the arm begins on that side.
    fn arm_begins(&self, tooth: Tooth) -> Option<Point> {
        let axes = self.axes.get(&tooth)?;
        let metal_on = |way: f64| {
            let on = self.vertices_over(|o| o == Over::CrownTop(tooth) || o == Over::CrownWall(tooth));
            let half = axes.half_mm[0];
            let beyond = |v: &VertexId| {
                let [m, b, _] = axes.local(&self.framework.mesh().vertex(*v));
                way * m > 0.6 * half && b.abs() < 0.6 * axes.half_mm[1]
            };
            on.iter().filter(|v| beyond(v)).count()
        };
        // The body stands at the end of the tooth where the most metal is.
        let (mesial, distal) = (metal_on(1.0), metal_on(-1.0));
        let rest = self.facts.case.file.design.rests.iter().find(|r| r.tooth == tooth).map(|r| r.place);
        let way = match (mesial.cmp(&distal), rest) {
            (std::cmp::Ordering::Greater, _) => 1.0,
            (std::cmp::Ordering::Less, _) => -1.0,
            (_, Some(RestPlace::Distal)) => -1.0,
            _ => 1.0,
        };
        Some(axes.centre + axes.mesial * (way * axes.half_mm[0]))
    }

    pub(super) fn clasp_arms(&self, arms: &Arms, file: &mut FrameworkFile) {
        for (clasp, found) in &arms.asked {
            let Some(arm) = found else {
                said::no_arm(self, clasp, file);
                continue;
            };
            let gauge_mm = crate::checks::undercut::wanted_mm(self.facts, clasp.kind);
            let mut part = self.arm_shown(arm);
            part.asked_for = true;
            part.gauge_mm = Some(units::json(gauge_mm));
            part.spread_n = self.spread_n(clasp, arm).map(units::json);
            part.reciprocation_mm = self.reciprocation(arm, arms).map(|r| r.map(units::json));
            said::of_arm(self, clasp, arm, gauge_mm, &part, file);
            file.parts.push(part);
        }
        for arm in &arms.others {
            file.parts.push(self.arm_shown(arm));
            said::arm_not_asked_for(self, arm, file);
        }
    }

    fn arm_shown(&self, arm: &ArmFound) -> PartShown {
        let at = arm.at_share(0.5).map_or(arm.tip, |s| s.middle);
        let mut part = PartShown::new(PartKind::ClaspArm, vec![arm.tooth], units::json_place(&at));
        part.surface = Some(arm.side);
        part.confidence = if arm.ends_seen { 0.9 } else { 0.6 };
        let (origin, tip) = (arm.at_share(ORIGIN_SHARE), arm.before_end(TIP_BEFORE_END_MM));
        part.thickness_mm = origin.map(|s| units::json(s.thickness_mm));
        part.height_mm = origin.map(|s| units::json(s.height_mm));
        part.tip_thickness_mm = tip.map(|t| units::json(t[0]));
        part.tip_height_mm = tip.map(|t| units::json(t[1]));
        part.length_mm = Some(units::json(arm.length_mm));
        part.tip_depth_mm = arm.tip_depth_mm.map(units::json);
        part.tip_deepest_mm = arm.tip_deepest_mm.map(units::json);
        part.tip_at_mm = arm.tip_at.as_ref().map(units::json_place);
        part.crosses_survey_line_at_mm = arm.crosses_at_mm.map(units::json);
        part
    }

    /// Force to spread the arm over what its tip engages, by its own length and section.
    fn spread_n(&self, clasp: &Clasp, arm: &ArmFound) -> Option<f64> {
        let (origin, [tip_mm, _]) = (arm.at_share(ORIGIN_SHARE)?, arm.before_end(TIP_BEFORE_END_MM)?);
        let section = if clasp.kind == ClaspKind::WroughtWire {
            Section::Round { diameter_mm: origin.thickness_mm }
        } else {
            Section::HalfRound { radius_mm: origin.thickness_mm }
        };
        let model = Arm {
            section,
            taper_share: (tip_mm / origin.thickness_mm).clamp(0.05, 1.0),
            length_mm: arm.length_mm,
            modulus_mpa: 1000.0 * self.facts.rules.number(clasp_arms::modulus(clasp_arms::alloy(clasp))),
        };
        clasp_flexure::spread(&model, arm.tip_depth_mm?).ok().map(|s| s.force_n)
    }

    /// Lift up to which rigid metal holds the side opposite the tip, and lift at which the tip passes the height of contour.
    fn reciprocation(&self, arm: &ArmFound, arms: &Arms) -> Option<[f64; 2]> {
        let d = self.d?;
        let axes = self.axes.get(&arm.tooth)?;
        let away = axes.outward(opposite(arm.side));
        let opposite_metal: Vec<Point> = self
            .vertices_over(|o| o == Over::CrownWall(arm.tooth))
            .into_iter()
            .filter(|&v| !arms.flexes(v))
            .map(|v| self.framework.mesh().vertex(v))
            .filter(|p| (p - axes.centre).normalize().dot(&away) > 0.6)
            .collect();
        let mut holds = 0.0;
        if opposite_metal.is_empty() {
            return None;
        }
        let mut lift = 0.0;
        while lift < 6.0 {
            let touches = opposite_metal.iter().any(|p| {
                let there = p + d.into_inner() * lift;
                self.cast
                    .surface
                    .closest_within(&there, HOLDS_MM)
                    .is_some_and(|c| self.cast.tooth_at(c.face) == arm.tooth.number())
            });
            if !touches {
                break;
            }
            holds = lift;
            lift += HOLD_STEP_MM;
        }
        let tip = arm.tip_at?;
        let face = self.cast.surface.closest(&tip)?.face;
        let passes = self.tilted.depth_at(&tip, face).touches_above_mm.unwrap_or(0.0);
        Some([holds, passes])
    }

    /// A thickness or depth with what makes it uncertain.
    pub(super) fn size(&self, mm: f64) -> Estimate {
        Estimate::new(mm, Vec::new()).with(Source::Method, 0.01).with(Source::Spacing, self.off_mm)
    }

    /// A place on a tooth.
    pub(super) fn at_tooth(&self, tooth: Tooth, at: &Point) -> Where {
        Where::tooth(tooth).at(at)
    }
}
