//! The survey of one cast: undercut of every vertex along one direction, and the gauge put to one point.

use super::{cautions, sections, shown};
use crate::anatomy::{KnownFrame, frame};
use crate::case::{Accuracy, Arch, Scan};
use crate::checks::blockout::{Figures, entry, length_said};
use crate::estimate::{Estimate, Measured, NotMeasured, Source};
use crate::facts::Path;
use crate::locate::Surface;
use crate::measure::blockout::{self, Along, Cast, base_below};
use crate::measure::survey_line::SurveyLine;
use crate::measure::undercut::{DepthAt, Surveyor, TiltedCast, UndercutField};
use crate::mesh::{FaceId, Mesh, Topology, audit, chord_mm};
use crate::report::{
    BlockoutRegion, BlockoutShown, ChosenBy, Cut, Finding, GaugeReading, SurveyFile, Tool, Verdict,
};
use crate::rules::Rules;
use crate::space::{Direction, Point, Vector, angle_deg, hypot, tan};
use crate::units;

/// Farther from the cast than this, a gauge point is refused: nobody means it.
const GAUGE_FARTHEST_MM: f64 = 5.0;

/// What is asked of a survey.
#[derive(Clone, Debug, Default)]
pub struct SurveyWanted {
    /// The withdrawal direction; the occlusal normal found on the cast where `None`.
    pub withdrawal: Option<Direction>,
    /// Length of that direction as it was given; `None` where it was not.
    pub withdrawal_length: Option<f64>,
    /// Where to put the gauge, mm.
    pub gauges: Vec<Point>,
    /// Which arch the cast is, where it is known: settles the patient's left.
    pub arch: Option<Arch>,
}

/// A survey and its layer.
#[derive(Debug)]
pub struct Survey {
    /// What goes into `survey.json`.
    pub file: SurveyFile,
    /// Depth of each vertex.
    pub field: UndercutField,
    /// The upright section through each gauge reading.
    pub sections: Vec<Cut>,
    /// What has to be blocked out under the bulges of the whole cast.
    pub blockout: Option<Mesh>,
}

/// Why a cast was not surveyed.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SurveyRefused {
    /// No direction given and none found.
    #[error("no withdrawal direction: {}", .0.because)]
    NoDirection(NotMeasured),
    /// The gauge point lies nowhere near the cast.
    #[error("the gauge point {asked} lies {} from the cast, more than {}", units::mm(*.distance_mm), units::mm(GAUGE_FARTHEST_MM))]
    GaugeFar {
        /// The point, in words.
        asked: String,
        /// Its distance.
        distance_mm: f64,
    },
    /// Nothing to survey.
    #[error("the file holds no triangle")]
    NoSurface,
}

/// Surveys a cast.
///
/// # Errors
/// No direction, a gauge point far from the cast, no surface.
pub fn survey(scan: &Scan, wanted: &SurveyWanted, rules: &Rules) -> Result<Survey, SurveyRefused> {
    let mesh = &scan.import.mesh;
    let topology = Topology::new(mesh);
    let known = frame::find(mesh, &topology, wanted.arch.unwrap_or(Arch::Mandible), None)
        .and_then(|f| f.sure(rules.number("confidence_least")));
    let path = path(wanted, &known)?;
    let surface = Surface::new(mesh);
    let surveyor = Surveyor::new(mesh, &topology);
    let cast = surveyor.tilted(&path.withdrawal);
    if mesh.faces().is_empty() {
        return Err(SurveyRefused::NoSurface);
    }
    let puts = wanted.gauges.iter().map(|p| put(&surface, &cast, p)).collect::<Result<Vec<Put>, _>>()?;
    let field = cast.field();
    let line = SurveyLine::new(mesh, &topology, &field);
    let below: Vec<Option<f64>> = puts.iter().map(|g| line.above_mm(&g.at, &g.depth)).collect();
    let sections = puts
        .iter()
        .zip(&below)
        .enumerate()
        .filter_map(|(i, (g, below))| {
            let name = if puts.len() == 1 { "gauge".to_owned() } else { format!("gauge-{}", i + 1) };
            sections::of_gauge(mesh, &path.withdrawal, g, &sections::Gauge { name, below_mm: *below })
        })
        .collect();
    let gauges: Vec<GaugeReading> =
        puts.iter().zip(below).map(|(g, below)| reading((mesh, &topology), &path, g, below)).collect();
    let along = Along { tilted: &cast, field: &field, uncertainty_deg: path.uncertainty_deg };
    let filled = (!into_tissue(&path, &known)).then(|| whole_cast(mesh, &topology, &along));
    let (blockout, solid) = filled.map_or((None, None), |(shown, solid)| (Some(shown), solid));
    let mut defects = scan.import.defects.clone();
    defects.extend(audit::audit_in(mesh, &topology, scan.import.unit));
    let share = share(mesh, &along);
    let deepest = deepest(&field);
    let file = SurveyFile {
        schema: "saddleroom/survey/1".into(),
        tool: Tool::this(),
        inputs: vec![shown::input("cast", scan, &defects)],
        findings: findings(wanted, &path, &known, &field, rules),
        frame: known.ok().filter(|_| wanted.arch.is_some()).as_ref().map(shown::frame_found),
        path: shown::path_shown(&path),
        undercut_share: units::json(share.0),
        undercut_area_mm2: units::json(share.1),
        deepest_mm: units::json(deepest.map_or(0.0, |(_, mm)| mm)),
        deepest_at_mm: deepest.and_then(|(v, _)| mesh.vertices().get(v)).map(units::json_place),
        closed_hole_vertices: field.closed_hole.iter().filter(|&&c| c).count(),
        survey_line_mm: line
            .lines(None)
            .iter()
            .map(|line| line.iter().map(units::json_place).collect())
            .collect(),
        blockout,
        gauge: gauges.first().cloned(),
        gauges: if gauges.len() > 1 { gauges } else { Vec::new() },
        cautions: cautions::of_a_survey(),
    };
    Ok(Survey { file, field, sections, blockout: solid })
}

fn path(wanted: &SurveyWanted, found: &Measured<KnownFrame>) -> Result<Path, SurveyRefused> {
    // Without the arch, left and right are not told, and so no tilt.
    let told = found.as_ref().ok().filter(|f| wanted.arch.is_some() && f.anterior_known);
    let tilt = |d: &Direction| told.and_then(|f| f.frame.tilt_of(d));
    match (wanted.withdrawal, found) {
        (Some(d), _) => {
            Ok(Path { withdrawal: d, tilt: tilt(&d), chosen_by: ChosenBy::Case, uncertainty_deg: 1.0 })
        }
        (None, Ok(f)) => {
            let d = f.frame.occlusal;
            let uncertainty_deg = f.uncertainty_deg;
            Ok(Path { withdrawal: d, tilt: tilt(&d), chosen_by: ChosenBy::OcclusalNormal, uncertainty_deg })
        }
        (None, Err(reason)) => Err(SurveyRefused::NoDirection(reason.clone())),
    }
}

/// The gauge put to the surface point nearest to the one asked for.
#[derive(Clone, Copy, Debug)]
pub(super) struct Put {
    pub(super) asked: Point,
    pub(super) at: Point,
    /// Normal of the surface there.
    pub(super) normal: Vector,
    pub(super) depth: DepthAt,
    /// Its triangle.
    pub(super) face: FaceId,
}

fn put(surface: &Surface, cast: &TiltedCast<'_>, asked: &Point) -> Result<Put, SurveyRefused> {
    let near = surface.closest(asked).ok_or(SurveyRefused::NoSurface)?;
    if near.distance_mm > GAUGE_FARTHEST_MM {
        let asked = units::place_words(asked);
        return Err(SurveyRefused::GaugeFar { asked, distance_mm: near.distance_mm });
    }
    let normal = surface.mesh().face_normal(near.face).unwrap_or_default();
    let depth = cast.depth_at(&near.at, near.face);
    Ok(Put { asked: *asked, at: near.at, face: near.face, normal, depth })
}

/// The reading with its uncertainty: the scan's trueness, the direction over the height to the survey line, the chord
/// of an edge on a crown's curve, where the rod touches, and of the edges at the point itself: the groove at a gingival
/// margin is narrow, and long edges bridge it.
pub(super) fn reading(
    (mesh, topology): (&Mesh, &Topology),
    path: &Path,
    put: &Put,
    below: Option<f64>,
) -> GaugeReading {
    const CROWN_RADIUS_MM: f64 = 4.0;
    let edge = mesh.mean_edge_mm();
    let depth = Estimate::new(put.depth.depth_mm, vec![])
        .with(Source::Scan, Accuracy::default().scan_mm)
        .with(Source::Direction, below.unwrap_or(0.0) * tan(path.uncertainty_deg.to_radians()))
        .with(
            Source::Spacing,
            hypot(edge * edge / (8.0 * CROWN_RADIUS_MM), chord_mm(mesh, topology, put.face)),
        );
    GaugeReading {
        asked_mm: units::json_place(&put.asked),
        at_mm: units::json_place(&put.at),
        from_asked_mm: units::json((put.at - put.asked).norm()),
        depth_mm: units::json(depth.value),
        uncertainty_mm: units::json(depth.standard()),
        closed_hole: put.depth.closed_hole,
        below_survey_line_mm: below.map(units::json),
        rod_mm: put.depth.free_at.as_ref().map(units::json_place),
    }
}

/// What has to be said about the direction and about holes: statements, since nothing is wanted of a survey.
fn findings(
    wanted: &SurveyWanted,
    path: &Path,
    known: &Measured<KnownFrame>,
    field: &UndercutField,
    rules: &Rules,
) -> Vec<Finding> {
    let caution = |code: &str, says: String| Finding::new("undercut", code, Verdict::Caution, says);
    let mut all = Vec::new();
    all.extend(length_said("undercut", wanted.withdrawal_length));
    if let Err(reason) = known
        && wanted.withdrawal.is_some()
    {
        let says = format!(
            "The direction was not compared with the cast's occlusal side, because {}: nothing here tells whether it points \
             out of the tissue.",
            reason.because
        );
        all.push(caution("occlusal_side_not_known", says));
    }
    if let Ok(up) = known {
        let lean = angle_deg(&path.withdrawal, &up.frame.occlusal);
        let most = rules.number("tilt_most_deg");
        if lean >= INTO_TISSUE_DEG {
            let says = "The withdrawal direction points into the tissue, as far as the cast itself tells where its \
                        occlusal side is: the depths are those of the cast seen from below. What would have to be blocked out is not told. Give the opposite direction.";
            all.push(caution("path_into_tissue", says.into()).settled_by("the opposite direction"));
        } else if lean >= SIDEWAYS_DEG {
            let says = format!(
                "The direction leans by {} from the occlusal normal found on the cast: it runs nearly along the occlusal \
                 plane, as if the cast lay on its side. No denture comes out that way; the depths are those of the cast \
                 seen from its side.",
                units::deg(lean)
            );
            let mend = "a direction in the axes of the file, or none: then the occlusal normal found is used";
            all.push(caution("path_across", says).limit(rules.get("tilt_most_deg").shown()).settled_by(mend));
        } else if lean >= most {
            let says = format!(
                "The direction leans by {} from the occlusal normal found on the cast, {} or more: undercut that it \
                 makes by leaning alone holds nothing along the normal.",
                units::deg(lean),
                units::deg(most)
            );
            all.push(caution("path_leans_far", says).limit(rules.get("tilt_most_deg").shown()));
        }
    }
    let closed = field.closed_hole.iter().filter(|c| **c).count();
    if closed > 0 {
        let says = format!(
            "At {closed} points the depth depends on the closing of holes in the scan; free points beside a hole are among \
             them. Do not rely on undercut there."
        );
        all.push(caution("undercut_over_hole", says).settled_by("another scan without the holes"));
    }
    all
}

/// From this lean on a direction points into the tissue rather than along the occlusal plane, degrees.
const INTO_TISSUE_DEG: f64 = 100.0;
/// From this lean on a direction runs along the occlusal plane rather than out of the mouth, degrees.
const SIDEWAYS_DEG: f64 = 60.0;

fn into_tissue(path: &Path, known: &Measured<KnownFrame>) -> bool {
    known.as_ref().is_ok_and(|up| angle_deg(&path.withdrawal, &up.frame.occlusal) >= INTO_TISSUE_DEG)
}

/// Share of the measured surface that is undercut, and its area, mm2.
fn share(mesh: &Mesh, along: &Along<'_>) -> (f64, f64) {
    let measured = |f: &FaceId| {
        mesh.faces()[*f as usize]
            .iter()
            .all(|&v| along.field.depth_mm.get(v as usize).is_some_and(Option::is_some))
    };
    let faces = || (0..mesh.faces().len() as FaceId).filter(measured);
    let all: f64 = faces().map(|f| mesh.face_area_mm2(f)).sum();
    let under = blockout::undercut_area_mm2(mesh, along.tilted, along.field, faces());
    (if all > 0.0 { under / all } else { 0.0 }, under)
}

/// What has to be blocked out under the bulges of the whole cast: figures, and the solid.
fn whole_cast(mesh: &Mesh, topology: &Topology, along: &Along<'_>) -> (BlockoutShown, Option<Mesh>) {
    let d = along.tilted.direction();
    let base = base_below(mesh, topology, &d);
    let cast = Cast { mesh, topology, base: &base };
    let all = blockout::whole(&cast);
    let space = blockout::dead_space(&cast, along, &[&all]).0.pop();
    let solid = blockout::solid(&cast, &d, &[&all]);
    let space = space.unwrap_or_default();
    let edge = mesh.mean_edge_mm();
    let figures = Figures::of(Accuracy::default().scan_mm, along.uncertainty_deg, edge, along.tilted, &space);
    let place = "under the bulges of the whole cast, a trimmed base left out".to_owned();
    (entry(BlockoutRegion::WholeCast, place, &space, &figures), solid)
}

/// The deepest vertex; the lowest index where several are equally deep. `None` where nothing is undercut.
fn deepest(field: &UndercutField) -> Option<(usize, f64)> {
    let mut best: Option<(usize, f64)> = None;
    for (v, depth) in field.depth_mm.iter().enumerate() {
        if let Some(mm) = depth.filter(|&mm| mm > best.map_or(0.0, |(_, b)| b)) {
            best = Some((v, mm));
        }
    }
    best
}
