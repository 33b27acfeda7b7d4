//! The clearance profile along a crest, and what stands opposite each station.

use crate::anatomy::arch_form::crown_width_mm;
use crate::anatomy::{Region, Span};
use crate::case::{SpanKind, Tooth};
use crate::facts::{ArchFacts, Facts};
use crate::measure::clearance::{Antagonist, Clearance};
use crate::measure::crest_line::CrestLine;
use crate::report::{Finding, LeastShown, Opposing, SpanShown, Station, Verdict, Where};
use crate::space::Point;
use crate::units;

/// Greatest distance between stations, mm.
const STEP_MM: f64 = 0.5;
/// An opposing place farther than this from every crown that is known lies over a ridge, mm.
const BESIDE_CROWN_MM: f64 = 4.0;

/// Stations along the crest, the first one at the abutment in front.
pub(super) fn stations(
    facts: &Facts<'_>,
    span: &Span,
    line: &CrestLine,
    antagonist: &Antagonist<'_>,
) -> Vec<Station> {
    let order = in_order(span);
    line.stations(STEP_MM)
        .into_iter()
        .map(|(s, p)| {
            let c = antagonist.at(&p);
            Station {
                s_mm: units::json(s),
                at_mm: units::json_place(&p),
                along_opening_mm: c.along_mm.map(units::json),
                nearest_mm: c.nearest_mm.map(units::json),
                opposing: opposing(facts, &c, replaced(span, &order, s, line.length_mm())),
            }
        })
        .collect()
}

/// Missing teeth from the front abutment backwards.
fn in_order(span: &Span) -> Vec<Tooth> {
    let mut teeth = span.teeth.clone();
    if let Some(front) = span.front {
        teeth.sort_by_key(|t| (t.along() - front.along()).unsigned_abs());
    }
    teeth
}

/// The missing tooth whose place a station lies in: average crown widths from the abutment backwards, in a bounded
/// span stretched to its length.
fn replaced(span: &Span, order: &[Tooth], s_mm: f64, length_mm: f64) -> Option<Tooth> {
    let width = |t: &Tooth| crown_width_mm(t.arch(), t.place());
    let total: f64 = order.iter().map(width).sum();
    let scale = if span.kind == SpanKind::Bounded && total > 0.0 { length_mm / total } else { 1.0 };
    let mut end = 0.0;
    order
        .iter()
        .find(|t| {
            end += width(t) * scale;
            s_mm <= end
        })
        .or(order.last())
        .copied()
}

/// What stands opposite: by the opposing arch's labels or marks, else by its chart, else a tooth is taken for granted.
fn opposing(facts: &Facts<'_>, c: &Clearance, replaced: Option<Tooth>) -> Opposing {
    let (Some(face), Some(at), Some(other)) = (c.along_face, c.along_at, &facts.opposing) else {
        return Opposing::None;
    };
    let anatomy = &other.anatomy;
    let corners = other.mesh().faces()[face as usize];
    if corners.iter().any(|&v| anatomy.tooth_of[v as usize] != 0) {
        return Opposing::Tooth;
    }
    if corners.iter().any(|&v| anatomy.region[v as usize] == Region::ResidualRidge) {
        return Opposing::Ridge;
    }
    let missing_by_chart = replaced
        .and_then(|t| Tooth::at(other.arch, t.along()))
        .is_some_and(|t| anatomy.spans.iter().any(|s| s.teeth.contains(&t)));
    let ridge = if anatomy.crowns.is_empty() { missing_by_chart } else { !beside_crown(other, &at) };
    if ridge { Opposing::Ridge } else { Opposing::Tooth }
}

fn beside_crown(other: &ArchFacts<'_>, at: &Point) -> bool {
    let near2 = BESIDE_CROWN_MM * BESIDE_CROWN_MM;
    let mesh = other.mesh();
    let crowns = &other.anatomy.crowns;
    crowns.iter().any(|c| c.vertices.iter().any(|&v| (mesh.vertex(v) - at).norm_squared() <= near2))
}

/// The least of a profile; `None` without a station.
pub(super) fn least(stations: &[Station]) -> Option<LeastShown> {
    if stations.is_empty() {
        return None;
    }
    let along = stations
        .iter()
        .filter_map(|s| Some((s.along_opening_mm?, s.at_mm)))
        .min_by(|a, b| a.0.total_cmp(&b.0));
    let nearest = stations.iter().filter_map(|s| s.nearest_mm).min_by(f64::total_cmp);
    Some(LeastShown { along_opening_mm: along.map(|a| a.0), nearest_mm: nearest, at_mm: along.map(|a| a.1) })
}

/// The statement for a bounded span: its least clearance, or that it shares its space with an opposing denture.
pub(super) fn statement(facts: &Facts<'_>, span: &Span, name: &str, shown: &SpanShown) -> Option<Finding> {
    let least = shown.least.as_ref()?;
    let (mm, at) = (least.along_opening_mm?, least.at_mm?);
    let at = Point::from(at);
    let ridge = shown.profile.iter().any(|s| s.opposing == Opposing::Ridge);
    let says = if ridge {
        format!(
            "Over {name} the least distance to the opposing surface is {}; part of it is an opposing ridge, and the \
             space there is shared with an opposing denture.",
            units::mm(mm)
        )
    } else {
        format!(
            "Over {name} the least distance to the opposing arch is {} along the opening direction.",
            units::mm(mm)
        )
    };
    let figure = super::attachment::estimate(facts, mm, &at, 0.0, 0.0);
    Some(
        Finding::new(super::CHECK.id, "least_clearance", Verdict::Caution, says)
            .figure(&figure, crate::units::Unit::Mm)
            .at(Where::span(&span.teeth).at(&at)),
    )
}
