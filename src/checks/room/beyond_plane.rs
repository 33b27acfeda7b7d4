//! Opposing teeth that stand beyond the plane of their arch into the space over a span.

use super::denture_teeth::Over;
use super::{CHECK, Part};
use crate::anatomy::Crown;
use crate::estimate::{Estimate, Source};
use crate::facts::ArchFacts;
use crate::locate::Surface;
use crate::measure::beyond_plane::{plane_of, tip};
use crate::measure::clearance::Antagonist;
use crate::mesh::Mesh;
use crate::report::{BeyondShown, Finding, Preparation, SpanShown, Verdict, Where};
use crate::rules::judge;
use crate::space::{Direction, Plane, Point};
use crate::units::{self, Unit};

/// A crown whose tip stands this near to a crest in plan stands over it, mm.
const OVER_MM: f64 = 6.0;

/// An opposing crown over the span, with its tip and its excess.
struct Raised<'a> {
    crown: &'a Crown,
    tip: Point,
    beyond_mm: f64,
}

/// Looks for raised teeth over a span and for the room that taking them down would gain.
pub(super) fn measure(over: &Over<'_>, shown: &mut SpanShown, part: &mut Part) {
    let Some(other) = &over.facts.opposing else { return };
    let Some((plane, rms, raised)) = raised(over, other) else { return };
    let rule = over.facts.rules.get("beyond_plane_mm");
    let room_now = least(over, over.antagonist);
    for tooth in raised {
        let figure = Estimate::new(tooth.beyond_mm, vec![])
            .with(Source::Scan, over.facts.case.file.accuracy.scan_mm)
            .with(Source::Method, rms);
        let verdict = judge(&figure, rule);
        if verdict != Verdict::Exceeds {
            continue;
        }
        let room_at = |taken_mm: f64| {
            let level = tooth.beyond_mm - taken_mm;
            let lowered = Surface::new(&lowered(other.mesh(), tooth.crown, &plane, level)?);
            least(over, &Antagonist::new(&lowered, over.antagonist.opening()))
        };
        let gained = room_at(1.0).zip(room_now).map(|(then, now)| then - now);
        let without = room_at(tooth.beyond_mm);
        let number = tooth.crown.tooth;
        let gains = match (room_now, gained, without) {
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
             {} are within the curve of an arch. Where it is taken down to the plane, {gains}.",
            units::mm(tooth.beyond_mm),
            over.name,
            units::mm(rule.number)
        );
        part.findings.push(
            Finding::new(CHECK.id, "opposing_tooth_beyond_plane", Verdict::Caution, says)
                .figure(&figure, Unit::Mm)
                .limit(rule.shown())
                .at(Where { tooth: Some(number), ..Where::span(&over.span.teeth) }.at(&tooth.tip))
                .settled_by("the dentist: whether it may be taken down, and by how much"),
        );
        part.preparation.push(Preparation {
            tooth: number,
            place: "occlusal surface, beyond the plane of its arch".into(),
            removal_mm: units::json(tooth.beyond_mm),
            gains,
            height_mm: None,
            width_mm: None,
            at_mm: Some(units::json_place(&tooth.tip)),
            volume_mm3: None,
            uncertainty_mm: Some(units::json(figure.standard())),
        });
        shown.beyond_plane.push(BeyondShown {
            tooth: number,
            beyond_mm: units::json(tooth.beyond_mm),
            at_mm: units::json_place(&tooth.tip),
            room_mm: room_now.map(units::json),
            gained_per_mm: gained.map(units::json),
            room_without_mm: without.map(units::json),
        });
    }
}

/// The plane of the opposing arch without the teeth over spans, its residual, and the crowns over this span.
fn raised<'a>(over: &Over<'_>, other: &'a ArchFacts<'_>) -> Option<(Plane, f64, Vec<Raised<'a>>)> {
    let occlusal = -*over.antagonist.opening();
    let mesh = other.mesh();
    let tips: Vec<(&Crown, Point)> = other
        .anatomy
        .crowns
        .iter()
        .filter_map(|c| Some((c, tip(c.vertices.iter().map(|&v| mesh.vertex(v)), &occlusal)?)))
        .collect();
    let crests: Vec<&[Point]> = over
        .facts
        .restored
        .anatomy
        .spans
        .iter()
        .filter_map(|s| s.crest.as_ref().ok())
        .map(Vec::as_slice)
        .collect();
    let stands_over =
        |crest: &[Point], at: &Point| crest.iter().any(|p| flat(&(at - p), &occlusal) <= OVER_MM);
    let rest: Vec<Point> =
        tips.iter().filter(|(_, at)| !crests.iter().any(|c| stands_over(c, at))).map(|(_, at)| *at).collect();
    let (plane, rms) = plane_of(&rest, &occlusal)?;
    let own = over.span.crest.as_ref().ok()?;
    let raised = tips
        .into_iter()
        .filter(|(_, at)| stands_over(own, at))
        .map(|(crown, tip)| Raised { crown, tip, beyond_mm: plane.height_mm(&tip) })
        .collect();
    Some((plane, rms, raised))
}

/// Length of a way across a direction, mm.
fn flat(way: &crate::space::Vector, up: &Direction) -> f64 {
    (way - up.into_inner() * way.dot(up)).norm()
}

/// Least interarch distance along the opening direction over the crest, mm.
fn least(over: &Over<'_>, antagonist: &Antagonist<'_>) -> Option<f64> {
    let stations = over.line.stations(0.5);
    stations.iter().filter_map(|(_, p)| antagonist.along(p)).map(|a| a.mm).min_by(f64::total_cmp)
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
