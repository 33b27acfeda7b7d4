//! Room while the mandible moves forward and to the sides with its teeth in contact.

use super::attachment::estimate;
use super::denture_teeth::Over;
use super::{CHECK, Part};
use crate::case::{Request, SpanKind};
use crate::facts::Facts;
use crate::measure::body_fit::Pose;
use crate::measure::clearance::{Antagonist, REACH_MM};
use crate::measure::column::Column;
use crate::measure::excursion::{self, Arches, Excursion, Joint, JointSettings, Position};
use crate::measure::site_room::COVERED;
use crate::report::{ArticulationState, ExcursionsShown, Finding, PositionShown, SpanShown, Verdict, Where};
use crate::space::{Motion, Point};
use crate::units::{self, Unit};

/// Half the strip about the midline, and how far from the occlusal plane, in which the incisal point is looked for, mm.
const INCISAL_MM: f64 = 4.0;
/// Shares of the way that are followed.
const WAYS: [f64; 3] = [1.0 / 3.0, 2.0 / 3.0, 1.0];

/// The positions of a pair of arches.
pub(super) struct Moving<'a> {
    antagonist: &'a Antagonist<'a>,
    positions: Vec<Position>,
}

impl<'a> Moving<'a> {
    /// `None` where the arches do not occlude or the frame does not tell anterior.
    pub(super) fn new(facts: &Facts<'_>, antagonist: &'a Antagonist<'a>) -> Option<Moving<'a>> {
        let frame = facts.restored.anatomy.frame.as_ref().ok().filter(|f| f.anterior_known)?.frame;
        if facts.articulation.state != ArticulationState::Occluding || facts.relation.is_err() {
            return None;
        }
        let mesh = facts.restored.mesh();
        let incisal = mesh
            .vertices()
            .iter()
            .map(|p| frame.local(p))
            .filter(|[_, left, up]| left.abs() <= INCISAL_MM && up.abs() <= INCISAL_MM)
            .max_by(|a, b| a[0].total_cmp(&b[0]))?;
        let number = |id: &str| facts.rules.number(id);
        let settings = JointSettings {
            guidance_deg: facts
                .case
                .file
                .relation
                .guidance_deg
                .unwrap_or([number("condylar_guidance_deg"); 2]),
            bennett_deg: number("bennett_deg"),
            intercondylar_mm: number("intercondylar_mm"),
            to_incisors_mm: BONWILL_MM,
            balkwill_deg: number("balkwill_deg"),
        };
        let arch = facts.restored.arch;
        let joint = Joint::behind(&frame, arch, frame.world([incisal[0], 0.0, 0.0]), &settings)?;
        let arches = Arches { arch, restored: mesh, map: facts.clearance.as_ref()?, antagonist };
        let ways = WAYS.map(|share| share * number("excursion_mm"));
        let positions = excursion::positions(&arches, &joint, &ways);
        (!positions.is_empty()).then_some(Moving { antagonist, positions })
    }

    /// Where the restored arch goes in each position.
    pub(super) fn motions(&self) -> Vec<Motion> {
        self.positions.iter().map(|p| p.restored).collect()
    }

    /// Least interarch distance over a crest in a position, and where on the crest.
    fn least(&self, over: &Over<'_>, position: &Position) -> Option<(f64, Point)> {
        over.line
            .stations(0.5)
            .into_iter()
            .filter_map(|(_, p)| Some((self.antagonist.along(&(position.restored * p))?.mm, p)))
            .min_by(|a, b| a.0.total_cmp(&b.0))
    }

    /// Room at a site with the restored arch moved: the body goes with it. `None` where opposing surface is missing over it.
    fn room(&self, over: &Over<'_>, shown: &SpanShown, restored: &Motion) -> Option<f64> {
        let site = shown.site.as_ref()?;
        let opening = over.facts.opening.as_ref().ok()?;
        let at = Point::from(site.at_mm);
        let middle = (site.along_crest_mm[0] + site.along_crest_mm[1]) / 2.0;
        let [length, width] = site.footprint_mm;
        let pose = Pose::leaning(at, &over.line.chord(middle, length / 2.0), opening, site.tilt_deg)?;
        let column = Column::rectangle(at, pose.up(), &pose.along(), length, width)?;
        let tissue =
            column.heights(&column.triangles(&over.facts.restored.surface, 0.0), f64::NEG_INFINITY)?;
        let there = column.moved(restored);
        let over = there.triangles(self.antagonist.surface(), 0.0);
        let over_it = there.heights(&over, tissue.greatest_mm - REACH_MM)?;
        (over_it.covered >= COVERED).then_some(over_it.least_mm - tissue.greatest_mm)
    }
}

/// Sides of Bonwill's triangle, mm.
const BONWILL_MM: f64 = 101.6;

/// Measures a span over all positions, and says the least where an attachment has its site.
pub(super) fn measure(over: &Over<'_>, moving: &Moving<'_>, shown: &mut SpanShown, part: &mut Part) {
    let facts = over.facts;
    // A body over which the opposing surface has a hole in the bite as scanned is not followed in motion either.
    let whole = moving.room(over, shown, &Motion::identity()).is_some();
    let mut positions = Vec::new();
    let mut least: Option<(f64, Point, usize)> = None;
    for (k, position) in moving.positions.iter().enumerate() {
        let along = moving.least(over, position);
        if let Some((mm, at)) = along
            && least.is_none_or(|l| mm < l.0)
        {
            least = Some((mm, at, k));
        }
        positions.push(PositionShown {
            excursion: word(position.kind).to_owned(),
            way_mm: units::json(position.way_mm),
            opened_deg: units::json(position.opened_deg),
            least_along_mm: along.map(|a| units::json(a.0)),
            room_mm: moving.room(over, shown, &position.restored).filter(|_| whole).map(units::json),
        });
    }
    let followed = positions.iter().filter(|p| p.room_mm.is_some()).count();
    let missing = positions.len() - followed;
    let least_room = positions.iter().filter_map(|p| p.room_mm).min_by(f64::total_cmp);
    let rule = facts.rules.get("condylar_guidance_deg");
    let sides = facts.case.file.relation.guidance_deg;
    shown.excursions = Some(ExcursionsShown {
        condylar_guidance_deg: sides.is_none().then_some(rule.number),
        condylar_guidance_right_left_deg: sides,
        bennett_deg: facts.rules.number("bennett_deg"),
        intercondylar_mm: facts.rules.number("intercondylar_mm"),
        guidance_given: rule.changed,
        positions,
        least_along_mm: least.map(|l| units::json(l.0)),
        least_room_mm: least_room,
    });
    let Some((along, at, k)) = least else { return };
    let kind = moving.positions.get(k).map_or("", |p| phrase(p.kind));
    let hinge =
        facts.case.file.attachment.is_some() || facts.case.file.design.request == Some(Request::Hinge);
    let (number, what) = match (least_room, shown.site.as_ref()) {
        (Some(room), Some(site)) if hinge => (
            room,
            format!(
                "a rigid body at the site finds {} at least (in the bite as scanned {}{}); ",
                units::mm(room),
                units::mm(site.room_mm),
                if missing > 0 {
                    format!(
                        "; in {missing} of {} positions opposing surface is missing over it",
                        followed + missing
                    )
                } else {
                    String::new()
                }
            ),
        ),
        _ => (along, String::new()),
    };
    if span_quiet(over, shown) {
        return;
    }
    let given = if rule.changed { "as given" } else { "an average, from memory" };
    let says = format!(
        "Over {}, while the mandible moves {} forward and to either side with its teeth in contact: {what}the least distance \
         over the crest is {}, when moving {kind}. Condylar guidance {} ({given}), intercondylar distance {}.",
        over.name,
        units::mm(facts.rules.number("excursion_mm")),
        units::mm(along),
        sides.map_or_else(
            || units::deg(rule.number),
            |[right, left]| format!("{} right and {} left", units::deg(right), units::deg(left))
        ),
        units::mm(facts.rules.number("intercondylar_mm"))
    );
    let figure = estimate(facts, number, &at, 0.0, 0.0);
    part.findings.push(
        Finding::new(CHECK.id, "room_in_excursions", Verdict::Caution, says)
            .figure(&figure, Unit::Mm)
            .at(Where::span(&over.span.teeth).at(&at))
            .settled_by(if rule.changed {
                "the set-up in an articulator"
            } else {
                "condylar guidance of the patient in [articulation], or the set-up in an articulator"
            }),
    );
}

/// Whether nothing is lost by leaving the sentence out: a bounded span whose least room hardly changes.
fn span_quiet(over: &Over<'_>, shown: &SpanShown) -> bool {
    let now = shown.least.as_ref().and_then(|l| l.along_opening_mm);
    let moved = shown.excursions.as_ref().and_then(|e| e.least_along_mm);
    over.span.kind == SpanKind::Bounded && now.zip(moved).is_some_and(|(now, moved)| moved >= now - 0.2)
}

fn word(kind: Excursion) -> &'static str {
    match kind {
        Excursion::Protrusive => "protrusive",
        Excursion::Right => "to_right",
        Excursion::Left => "to_left",
    }
}

fn phrase(kind: Excursion) -> &'static str {
    match kind {
        Excursion::Protrusive => "forward",
        Excursion::Right => "to the right",
        Excursion::Left => "to the left",
    }
}
