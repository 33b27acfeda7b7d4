//! Opposing teeth that stand beyond the plane of their arch into the space over a span.

use super::denture_teeth::Over;
use super::{CHECK, Part};
use crate::anatomy::Crown;
use crate::estimate::{Estimate, Source};
use crate::facts::{ArchFacts, Facts};
use crate::locate::Surface;
use crate::measure::beyond_plane::{plane_of, tip};
use crate::measure::clearance::Antagonist;
use crate::mesh::Mesh;
use crate::report::{BeyondShown, Finding, Preparation, SpanShown, Verdict, Where};
use crate::rules::judge;
use crate::space::{Direction, Plane, Point, across, aside_mm};
use crate::units::{self, Unit};

/// A crown whose tip stands this near to a crest in plan stands over it, mm.
const OVER_MM: f64 = 6.0;

/// What lies farther beside a crest in plan is not met by lines through it, mm.
const ASIDE_MM: f64 = 0.01;

/// The opposing arch with the tips of its crowns and the plane through those that stand over no span.
pub(super) struct Opposite<'a> {
    arch: &'a ArchFacts<'a>,
    occlusal: Direction,
    tips: Vec<(&'a Crown, Point)>,
    plane: Plane,
    rms_mm: f64,
}

/// Looks for raised teeth over a span and for the room that taking them down would gain.
pub(super) fn measure(over: &Over<'_>, opposite: &Opposite<'_>, shown: &mut SpanShown, part: &mut Part) {
    let Opposite { arch, occlusal, tips, plane, rms_mm } = opposite;
    let Ok(crest) = &over.span.crest else { return };
    let rule = over.facts.rules.get("beyond_plane_mm");
    for (crown, at) in tips.iter().filter(|(_, at)| stands_over(crest, at, occlusal)) {
        let beyond_mm = plane.height_mm(at);
        let scan_mm = over.facts.case.file.accuracy.scan_mm;
        let figure =
            Estimate::new(beyond_mm, vec![]).with(Source::Scan, scan_mm).with(Source::Method, *rms_mm);
        let verdict = judge(&figure, rule);
        // The limit allows for the curve of the arch: what stays under it by more than the scan is true is not named.
        if verdict == Verdict::Fits || beyond_mm + 2.0 * scan_mm < rule.number {
            continue;
        }
        let room_now = least(over, over.antagonist);
        let room_at = |taken_mm: f64| {
            let level = beyond_mm - taken_mm;
            let lowered = over_crest(&lowered(arch.mesh(), crown, plane, level)?, over, occlusal);
            least(over, &over.antagonist.of_piece(&Surface::new(&lowered)))
        };
        let gained = room_at(1.0).zip(room_now).map(|(then, now)| then - now);
        let without = room_at(beyond_mm);
        let number = crown.tooth;
        let gains = match (room_now, gained, without) {
            (Some(now), _, Some(without)) if units::mm(now) == units::mm(without) => {
                format!("no room is gained over {}: its least, {}, lies elsewhere", over.name, units::mm(now))
            }
            (Some(now), Some(gained), Some(without)) => format!(
                "least room over {} grows from {} to {}: {} for the first millimetre taken off",
                over.name,
                units::mm(now),
                units::mm(without),
                units::mm(gained)
            ),
            _ => format!("room over {}", over.name),
        };
        let says = format!(
            "{number} stands {} beyond the plane through the tips of the other teeth of its arch, into the space over {}; up to \
             {} are within the curve of an arch{}. Where it is taken down to the plane, {gains}.",
            units::mm(beyond_mm),
            over.name,
            units::mm(rule.number),
            if verdict == Verdict::Tight { ": tight, it is not clear that it stands farther" } else { "" }
        );
        part.findings.push(
            Finding::new(CHECK.id, "opposing_tooth_beyond_plane", Verdict::Caution, says)
                .figure(&figure, Unit::Mm)
                .limit(rule.shown())
                .at(Where { tooth: Some(number), ..Where::span(&over.span.teeth) }.at(at))
                .settled_by("the dentist: whether it may be taken down, and by how much"),
        );
        // Where it is not clear that a tooth stands beyond, nothing is listed to be taken off.
        if verdict == Verdict::Exceeds {
            part.preparation.push(Preparation {
                tooth: number,
                place: "occlusal surface, beyond the plane of its arch".into(),
                removal_mm: units::json(beyond_mm),
                gains,
                height_mm: None,
                width_mm: None,
                at_mm: Some(units::json_place(at)),
                volume_mm3: None,
                uncertainty_mm: Some(units::json(figure.standard())),
            });
        }
        shown.beyond_plane.push(BeyondShown {
            tooth: number,
            beyond_mm: units::json(beyond_mm),
            at_mm: units::json_place(at),
            room_mm: room_now.map(units::json),
            gained_per_mm: gained.map(units::json),
            room_without_mm: without.map(units::json),
        });
    }
}

impl<'a> Opposite<'a> {
    /// `None` where too few opposing crowns are known to lay a plane through.
    pub(super) fn new(facts: &'a Facts<'_>, antagonist: &Antagonist<'_>) -> Option<Opposite<'a>> {
        let arch = facts.opposing.as_ref()?;
        let occlusal = -*antagonist.opening();
        let tip_of = |c: &Crown| tip(c.vertices.iter().map(|&v| arch.mesh().vertex(v)), &occlusal);
        let tips: Vec<(&Crown, Point)> =
            arch.anatomy.crowns.iter().filter_map(|c| Some((c, tip_of(c)?))).collect();
        let crests: Vec<&[Point]> =
            facts.restored.anatomy.spans.iter().filter_map(|s| s.crest.as_deref().ok()).collect();
        let over_a_span = |at: &Point| crests.iter().any(|c| stands_over(c, at, &occlusal));
        let rest: Vec<Point> = tips.iter().map(|(_, at)| *at).filter(|at| !over_a_span(at)).collect();
        let (plane, rms_mm) = plane_of(&rest, &occlusal)?;
        Some(Opposite { arch, occlusal, tips, plane, rms_mm })
    }
}

/// Whether a place stands over a crest in plan.
fn stands_over(crest: &[Point], at: &Point, occlusal: &Direction) -> bool {
    crest.iter().any(|p| aside_mm(&(at - p), occlusal) <= OVER_MM)
}

/// Least interarch distance along the opening direction over the crest, mm.
fn least(over: &Over<'_>, antagonist: &Antagonist<'_>) -> Option<f64> {
    let stations = over.line.stations(0.5);
    stations.iter().filter_map(|(_, p)| antagonist.along(p)).map(|a| a.mm).min_by(f64::total_cmp)
}

/// The triangles that lines along the opening direction through a crest may meet.
fn over_crest(mesh: &Mesh, over: &Over<'_>, occlusal: &Direction) -> Mesh {
    let (u, v) = across(occlusal);
    let plan = |p: &Point| [u, v].map(|axis| p.coords.dot(&axis));
    let extent = |places: &mut dyn Iterator<Item = Point>| {
        places.fold([[f64::INFINITY, f64::NEG_INFINITY]; 2], |e, p| {
            let at = plan(&p);
            [0, 1].map(|k| [e[k][0].min(at[k]), e[k][1].max(at[k])])
        })
    };
    let crest = extent(&mut over.line.stations(0.5).into_iter().map(|(_, p)| p));
    let near = |f| {
        let own = extent(&mut mesh.corners(f).into_iter());
        (0..2).all(|k| own[k][0] <= crest[k][1] + ASIDE_MM && own[k][1] >= crest[k][0] - ASIDE_MM)
    };
    mesh.part(near).0
}

/// The arch with a crown cut down to a level over the plane, mm.
fn lowered(mesh: &Mesh, crown: &Crown, plane: &Plane, level_mm: f64) -> Option<Mesh> {
    let mut vertices = mesh.vertices().to_vec();
    for &v in &crown.vertices {
        let p = &mut vertices[v as usize];
        let over = plane.height_mm(p) - level_mm;
        if over > 0.0 {
            *p -= plane.normal.into_inner() * over;
        }
    }
    Mesh::new(vertices, mesh.faces().to_vec()).ok()
}
