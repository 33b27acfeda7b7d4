//! What of a case stands in space, gathered from its facts and its report.

use super::Analysis;
use crate::anatomy::Span;
use crate::case::{Arch, Attachment};
use crate::facts::Facts;
use crate::measure::body_fit::Pose;
use crate::measure::column::Column;
use crate::measure::crest_line::CrestLine;
use crate::mesh::{BOX_FACES, Mesh};
use crate::report::{
    AbutmentShown, Curve, CurveKind, Place, Report, Scene, SiteShown, Solid, SolidKind, SpanShown, Spot,
    SpotKind,
};
use crate::space::{Direction, Point, Vector, direction};
use crate::units;

/// The scene of an analysis.
pub(super) fn scene<'a>(done: &'a Analysis<'_>) -> Scene<'a> {
    let facts = &done.facts;
    let (mesh, anatomy) = (facts.restored.mesh(), &facts.restored.anatomy);
    let (nearest_mm, along_mm) = done.clearance();
    let unmeasured = || vec![None; mesh.vertices().len()];
    let (solids, curves) = rayon::join(|| solids(done), || curves(facts, &done.report));
    Scene {
        restored: mesh,
        opposing: facts.opposing.as_ref().map(|o| o.mesh()),
        upper: facts.restored.arch == Arch::Maxilla,
        frame: anatomy.frame.as_ref().ok().map(|k| k.frame),
        withdrawal: facts.path.as_ref().ok().map(|p| p.withdrawal),
        undercut_mm: facts.undercut.as_ref().map_or_else(|_| unmeasured(), |f| f.depth_mm.clone()),
        nearest_mm,
        along_mm,
        tooth_of: &anatomy.tooth_of,
        region: anatomy.region.iter().map(|&r| r as u8).collect(),
        teeth: anatomy.crowns.iter().map(|c| (c.tooth.to_string(), c.centre)).collect(),
        solids,
        curves,
        spots: spots(facts, &done.report),
    }
}

fn solids(done: &Analysis<'_>) -> Vec<Solid> {
    let facts = &done.facts;
    let envelopes = done.report.spans.iter().filter_map(|shown| envelope(facts, shown));
    let mut all: Vec<Solid> = envelopes.map(|mesh| Solid { kind: SolidKind::Attachment, mesh }).collect();
    all.extend(facts.keepout.solid.clone().map(|mesh| Solid { kind: SolidKind::KeepOut, mesh }));
    all.extend(done.blockout_solid().map(|mesh| Solid { kind: SolidKind::Blockout, mesh }));
    all
}

/// Height that stands for an attachment with its tooth where the case gives none: the row of common practice.
fn height_mm(facts: &Facts<'_>) -> f64 {
    let own = facts.case.file.attachment.as_ref().map(Attachment::required_mm);
    own.unwrap_or_else(|| facts.rules.number("attachment_room_mm"))
}

/// Axes of the body at a site: along the crest, across it, and its height.
pub(super) fn axes(facts: &Facts<'_>, span: &Span, site: &SiteShown) -> Option<(Point, [Vector; 3])> {
    let crest = span.crest.as_ref().ok()?;
    let line = CrestLine::new(crest)?;
    let opening = facts.opening.as_ref().ok()?;
    let middle = (site.along_crest_mm[0] + site.along_crest_mm[1]) / 2.0;
    let at = Point::from(Vector::from(site.at_mm));
    let pose = Pose::leaning(at, &line.chord(middle, site.footprint_mm[0] / 2.0), opening, site.tilt_deg)?;
    Some((at, [pose.along(), pose.across(), pose.up()].map(Direction::into_inner)))
}

/// How far the highest tissue under the body stands above the centre of its footprint, along its height, mm.
pub(super) fn seat_mm(facts: &Facts<'_>, at: Point, axes: &[Vector; 3], site: &SiteShown) -> Option<f64> {
    let up = direction(axes[2])?;
    let [length, width] = site.footprint_mm;
    let column = Column::rectangle(at, up, &axes[0], length, width)?;
    let tissue = column.triangles(&facts.restored.surface, 0.0);
    Some(column.heights(&tissue, f64::NEG_INFINITY)?.greatest_mm)
}

/// The box of an attachment with its tooth, standing on the highest tissue of its footprint.
fn envelope(facts: &Facts<'_>, shown: &SpanShown) -> Option<Mesh> {
    let site = shown.site.as_ref()?;
    let span = facts.restored.anatomy.spans.iter().find(|s| s.teeth == shown.teeth)?;
    let (at, [along, across, up]) = axes(facts, span, site)?;
    let from = seat_mm(facts, at, &[along, across, up], site)?;
    let [length, width] = site.footprint_mm.map(|mm| mm / 2.0);
    let corner = |k: usize| {
        let sign = |bit: usize| if k & bit == 0 { -1.0 } else { 1.0 };
        let height = if k & 4 == 0 { from } else { from + height_mm(facts) };
        at + along * (sign(1) * length) + across * (sign(2) * width) + up * height
    };
    Mesh::new((0..8).map(corner).collect(), BOX_FACES.to_vec()).ok()
}

fn curves(facts: &Facts<'_>, report: &Report) -> Vec<Curve> {
    let surface = &facts.restored.surface;
    let normals = surface.mesh().vertex_normals();
    let outward = |p: &Point| {
        let near = surface.nearest_vertex(p).and_then(|(v, _)| normals.get(v as usize));
        near.copied().unwrap_or_default()
    };
    let curve = |kind: CurveKind, of: String, places: Vec<Point>| {
        let outward = places.iter().map(outward).collect();
        Curve { kind, of, places, outward }
    };
    let mut all = Vec::new();
    for a in &report.abutments {
        let lines = a.survey_line_mm.iter();
        all.extend(lines.map(|l| curve(CurveKind::SurveyLine, a.tooth.to_string(), points(l))));
    }
    for t in report.teeth.iter().filter(|t| !t.margin_mm.is_empty()) {
        all.push(curve(CurveKind::Margin, t.tooth.to_string(), closed(&points(&t.margin_mm))));
    }
    for s in report.spans.iter().filter(|s| !s.crest_mm.is_empty()) {
        let teeth: Vec<String> = s.teeth.iter().map(ToString::to_string).collect();
        all.push(curve(CurveKind::Crest, teeth.join("-"), points(&s.crest_mm)));
    }
    for t in &facts.tori {
        let side = t.side.map_or("", |s| s.word());
        all.push(curve(CurveKind::Torus, side.to_owned(), closed(&t.outline)));
    }
    all.extend(facts.keepout.curves.iter().map(|c| curve(CurveKind::KeepOut, String::new(), closed(c))));
    for (of, line) in crate::checks::connector_borders(facts) {
        all.push(curve(CurveKind::ConnectorBorder, of.to_owned(), line));
    }
    all
}

fn spots(facts: &Facts<'_>, report: &Report) -> Vec<Spot> {
    let mut all: Vec<Spot> = report.abutments.iter().flat_map(gauges).collect();
    if let Some(path) = &report.path {
        all.extend(path.tripod.iter().map(|m| Spot {
            kind: SpotKind::Tripod,
            at: Point::from(Vector::from(m.at_mm)),
            says: m.says.clone(),
        }));
    }
    all.extend(facts.tori.iter().map(|t| Spot {
        kind: SpotKind::Summit,
        at: t.summit,
        says: units::mm(t.height_mm),
    }));
    all
}

fn gauges(a: &AbutmentShown) -> Vec<Spot> {
    let mut all = Vec::new();
    for s in &a.surfaces {
        for g in s.gauges.iter().filter(|g| g.reached) {
            let Some(at) = g.at_mm else { continue };
            let says = format!("{} {}: {}", a.tooth, s.surface.word(), units::mm(g.gauge_mm));
            all.push(Spot { kind: SpotKind::Gauge, at: Point::from(Vector::from(at)), says });
        }
    }
    all
}

fn points(line: &[Place]) -> Vec<Point> {
    line.iter().map(|p| Point::from(Vector::from(*p))).collect()
}

fn closed(outline: &[Point]) -> Vec<Point> {
    outline.iter().chain(outline.first()).copied().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_box_is_closed_and_looks_outward() {
        let corner = |k: usize| {
            Point::new((k & 1) as f64 * 6.0, ((k >> 1) & 1) as f64 * 4.0, ((k >> 2) & 1) as f64 * 5.0)
        };
        let mesh = Mesh::new((0..8).map(corner).collect(), BOX_FACES.to_vec()).unwrap();
        assert!((mesh.signed_volume_mm3() - 120.0).abs() < 1e-9, "{}", mesh.signed_volume_mm3());
        let edges: Vec<[u32; 2]> =
            mesh.faces().iter().flat_map(|f| (0..3).map(|k| [f[k], f[(k + 1) % 3]])).collect();
        assert!(edges.iter().all(|&[a, b]| edges.iter().filter(|&&e| e == [b, a]).count() == 1));
    }
}
