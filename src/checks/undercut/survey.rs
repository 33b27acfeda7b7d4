//! The abutments surveyed: axes, surfaces, gauges, survey line.

use super::Along;
use crate::anatomy::Crown;
use crate::case::{ClaspKind, RestPlace, Tooth};
use crate::estimate::{Estimate, Measured, NotMeasured, Source};
use crate::facts::{Facts, Path};
use crate::measure::bulge_areas::{self, BulgeAreas};
use crate::measure::gauges::{self, GaugeAsked, GaugePlace, SurfaceUndercut, Surveyed};
use crate::measure::survey_line::SurveyLine;
use crate::measure::tooth_axes::ToothAxes;
use crate::mesh::chord_mm;
use crate::report::{AbutmentShown, ClaspShown, GaugeShown, GuidingPlaneShown, SurfaceShown, Zone};
use crate::space::{Direction, Point, hypot, sin};
use crate::units;
use rayon::prelude::*;

/// The three gauges of the trade, mm (trade facts, shortlist row 1).
const GAUGES_MM: [f64; 3] = [0.25, 0.50, 0.75];

/// An abutment, surveyed.
#[derive(Debug)]
pub(super) struct Abutment<'a> {
    /// Its crown.
    pub crown: &'a Crown,
    /// Its axes.
    pub axes: ToothAxes,
    /// Its four surfaces.
    pub surfaces: Vec<SurfaceUndercut>,
    /// How far below the survey line the deepest place of each surface lies, mm, and where it is.
    pub deepest: Vec<Option<Deepest>>,
    /// Its survey line.
    pub line: Vec<Vec<Point>>,
    /// Crown above and below it.
    pub bulge: BulgeAreas,
    /// Mean length of the mesh's edges, mm.
    pub edge_mm: f64,
}

/// The deepest place of a surface.
#[derive(Clone, Copy, Debug)]
pub(super) struct Deepest {
    /// Depth, mm.
    pub depth_mm: f64,
    /// Where, mm.
    pub at: Point,
    /// Height of the survey line above it, mm; 0 where there is none.
    pub below_mm: f64,
    /// How far the surface may stand off the triangles there, mm.
    pub chord_mm: f64,
}

/// Surveys each tooth, in the order given.
pub(super) fn abutments<'a>(along: &Along<'a, '_>, teeth: &[Tooth]) -> Vec<(Tooth, Measured<Abutment<'a>>)> {
    let facts = along.facts;
    let mesh = facts.restored.mesh();
    let normals = facts.restored.normals();
    let line = SurveyLine::with_normals(mesh, &facts.restored.topology, along.field, normals);
    let surveyed = Surveyed {
        mesh,
        topology: &facts.restored.topology,
        normals,
        cast: along.cast,
        field: along.field,
        line: &line,
        along_normal: along.normal.filter(|n| !is_path(&n.direction(), &along.path.withdrawal)),
    };
    teeth.par_iter().map(|&tooth| (tooth, abutment(facts, &surveyed, tooth))).collect()
}

fn abutment<'a>(facts: &'a Facts<'a>, surveyed: &Surveyed<'_, '_>, tooth: Tooth) -> Measured<Abutment<'a>> {
    let anatomy = &facts.restored.anatomy;
    let crown = anatomy.crown(tooth).ok_or_else(|| no_crown(facts, tooth))?;
    let axes = ToothAxes::of(surveyed.mesh, crown, anatomy)?;
    let asked = GaugeAsked {
        crown,
        axes: &axes,
        gauges_mm: &gauges_mm(facts, tooth),
        away_from_rest: away_from_rest(facts, tooth),
    };
    let surfaces = gauges::surfaces(surveyed, &asked);
    let deepest = surfaces.iter().map(|s| deepest(facts, surveyed, s)).collect();
    Ok(Abutment {
        crown,
        axes,
        surfaces,
        deepest,
        line: surveyed.line.lines(Some(&crown.faces)),
        bulge: bulge_areas::areas(surveyed.mesh, surveyed.normals, &crown.faces, surveyed.field),
        edge_mm: surveyed.mesh.mean_edge_mm(),
    })
}

fn no_crown(facts: &Facts<'_>, tooth: Tooth) -> NotMeasured {
    let anatomy = &facts.restored.anatomy;
    let own = anatomy.margins_unused.iter().find(|(t, _)| *t == tooth).map(|(_, reason)| reason.clone());
    own.or_else(|| anatomy.crowns_lacking.clone()).unwrap_or_else(|| {
        NotMeasured::new(
            format!("the crown of {} is not known", facts.tooth_words(tooth)),
            format!("[marks] margins for {}", facts.tooth_words(tooth)),
        )
    })
}

/// The trade's gauges, and those of the clasps asked for where the case file sets others.
fn gauges_mm(facts: &Facts<'_>, tooth: Tooth) -> Vec<f64> {
    let mut all = GAUGES_MM.to_vec();
    all.push(super::clasp::gauge_mm(facts, ClaspKind::CastCircumferential));
    all.extend(
        facts
            .case
            .file
            .design
            .clasps
            .iter()
            .filter(|c| c.tooth == tooth)
            .map(|c| super::clasp::gauge_mm(facts, c.kind)),
    );
    all.sort_by(f64::total_cmp);
    all.dedup_by(|a, b| (*a - *b).abs() < 1e-9);
    all
}

/// The third away from the rest, where one rest is asked for beside it.
fn away_from_rest(facts: &Facts<'_>, tooth: Tooth) -> Option<Zone> {
    let mut zones =
        facts.case.file.design.rests.iter().filter(|r| r.tooth == tooth).filter_map(|r| match r.place {
            RestPlace::Mesial => Some(Zone::Distal),
            RestPlace::Distal => Some(Zone::Mesial),
            RestPlace::Cingulum | RestPlace::Incisal => None,
        });
    let first = zones.next()?;
    zones.all(|z| z == first).then_some(first)
}

fn deepest(facts: &Facts<'_>, surveyed: &Surveyed<'_, '_>, surface: &SurfaceUndercut) -> Option<Deepest> {
    let (depth_mm, v) = surface.deepest?;
    let at = surveyed.mesh.vertex(v);
    let faces = facts.restored.topology.faces_of_vertex(v);
    let below = faces.first().and_then(|&f| {
        let depth = surveyed.cast.depth_at(&at, f);
        surveyed.line.above_mm(&at, &depth)
    });
    let chord_mm =
        faces.iter().map(|&f| chord_mm(surveyed.mesh, &facts.restored.topology, f)).fold(0.0, f64::max);
    Some(Deepest { depth_mm, at, below_mm: below.unwrap_or(0.0), chord_mm })
}

/// A depth with its uncertainty: the scan, what a lean of the path by its uncertainty adds over the height below the
/// survey line, the facets' chord error where the rod touches and at the place itself.
pub(super) fn estimate(facts: &Facts<'_>, path: &Path, abutment: &Abutment<'_>, at: &Deepest) -> Estimate {
    let radius = abutment.axes.half_mm[0].min(abutment.axes.half_mm[1]).max(0.5);
    Estimate::new(at.depth_mm, vec![])
        .with(Source::Scan, facts.case.file.accuracy.scan_mm)
        .with(Source::Direction, at.below_mm * sin(path.uncertainty_deg.to_radians()))
        .with(Source::Spacing, hypot(abutment.edge_mm * abutment.edge_mm / (8.0 * radius), at.chord_mm))
}

/// The abutment as it goes into the report.
pub(super) fn shown(
    along: &Along<'_, '_>,
    abutment: &Abutment<'_>,
    guiding_planes: Vec<GuidingPlaneShown>,
    clasps: Vec<ClaspShown>,
) -> AbutmentShown {
    let surfaces = abutment
        .surfaces
        .iter()
        .zip(&abutment.deepest)
        .map(|(s, deepest)| SurfaceShown {
            surface: s.surface,
            deepest_mm: deepest.map(|d| units::json(d.depth_mm)),
            deepest_at_mm: deepest.filter(|d| d.depth_mm > 0.0).map(|d| units::json_place(&d.at)),
            gauges: s.gauges.iter().flat_map(|g| gauge_shown(along, g.gauge_mm, &g.places)).collect(),
        })
        .collect();
    AbutmentShown {
        tooth: abutment.crown.tooth,
        surfaces,
        survey_line_mm: abutment
            .line
            .iter()
            .map(|line| line.iter().map(units::json_place).collect())
            .collect(),
        guiding_planes,
        rests: Vec::new(),
        suprabulge_mm2: Some(units::json(abutment.bulge.suprabulge_mm2)),
        infrabulge_mm2: Some(units::json(abutment.bulge.infrabulge_mm2)),
        clasps,
    }
}

/// Depth of a place along the occlusal normal, mm: that along the path where the path is the normal.
fn along_normal_mm(along: &Along<'_, '_>, place: &GaugePlace) -> Option<f64> {
    let path = along.path.withdrawal;
    let normal = along.facts.restored.anatomy.frame.as_ref().ok()?.frame.occlusal;
    place.along_normal_mm.or_else(|| is_path(&normal, &path).then_some(place.depth.depth_mm))
}

fn is_path(normal: &Direction, path: &Direction) -> bool {
    normal.dot(path) >= 1.0 - 1e-12
}

fn gauge_shown(along: &Along<'_, '_>, gauge_mm: f64, places: &[GaugePlace]) -> Vec<GaugeShown> {
    let facts = along.facts;
    let none = GaugeShown {
        gauge_mm: units::json(gauge_mm),
        reached: false,
        below_survey_line_mm: None,
        above_margin_mm: None,
        at_mm: None,
        zone: None,
        convergence_deg: None,
        along_normal_mm: None,
        near_margin: None,
        by_tilt_alone: None,
    };
    if places.is_empty() {
        return vec![none];
    }
    places
        .iter()
        .map(|p| GaugeShown {
            reached: true,
            below_survey_line_mm: p.below_survey_line_mm.map(units::json),
            above_margin_mm: p.above_margin_mm.map(units::json),
            at_mm: Some(units::json_place(&p.at)),
            zone: Some(p.zone),
            convergence_deg: Some(units::json(p.convergence_deg)),
            along_normal_mm: along_normal_mm(along, p).map(units::json),
            near_margin: super::gauges::near_margin(facts, p),
            by_tilt_alone: along_normal_mm(along, p)
                .map(|_| super::gauges::by_tilt_alone(facts, gauge_mm, p) == Some(true)),
            ..none.clone()
        })
        .collect()
}
