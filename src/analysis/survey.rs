//! The survey of one cast: undercut of every vertex along one direction, and the gauge put to one point.

use super::{cautions, sections, shown};
use crate::anatomy::{KnownFrame, frame};
use crate::case::{Arch, Scan};
use crate::estimate::NotMeasured;
use crate::facts::Path;
use crate::locate::Surface;
use crate::measure::survey_line;
use crate::measure::undercut::{Surveyor, UndercutField};
use crate::mesh::{Mesh, Topology, audit};
use crate::report::{ChosenBy, Cut, GaugeReading, SurveyFile, Tool};
use crate::space::{Direction, Point, Vector};
use crate::units;

/// Farther from the cast than this, a gauge point is refused: nobody means it.
const GAUGE_FARTHEST_MM: f64 = 5.0;

/// What is asked of a survey.
#[derive(Clone, Copy, Debug, Default)]
pub struct SurveyWanted {
    /// The withdrawal direction; the occlusal normal found on the cast where `None`.
    pub withdrawal: Option<Direction>,
    /// Where to put the gauge, mm.
    pub gauge: Option<Point>,
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
    /// The upright section through the gauge reading.
    pub section: Option<Cut>,
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
pub fn survey(scan: &Scan, wanted: &SurveyWanted) -> Result<Survey, SurveyRefused> {
    let mesh = &scan.import.mesh;
    let topology = Topology::new(mesh);
    let known = frame::find(mesh, &topology, wanted.arch.unwrap_or(Arch::Mandible), None);
    let path =
        path(wanted, known.as_ref().ok().filter(|_| wanted.arch.is_some()), known.as_ref().err(), &known)?;
    let surface = Surface::new(mesh);
    let surveyor = Surveyor::new(mesh, &topology);
    let gauge = wanted.gauge.map(|p| gauge(&surface, &surveyor, &path.withdrawal, &p)).transpose()?;
    let section = gauge
        .as_ref()
        .and_then(|(reading, normal)| sections::of_gauge(mesh, &path.withdrawal, reading, normal));
    let gauge = gauge.map(|(reading, _)| reading);
    let field = surveyor.field(&path.withdrawal);
    let mut defects = scan.import.defects.clone();
    defects.extend(audit::audit(mesh, &topology));
    let share = share(mesh, &field);
    let deepest = deepest(&field);
    let file = SurveyFile {
        schema: "saddleroom/survey/1".into(),
        tool: Tool::this(),
        inputs: vec![shown::input("cast", scan, &defects)],
        frame: known.ok().filter(|_| wanted.arch.is_some()).as_ref().map(shown::frame_found),
        path: shown::path_shown(&path),
        undercut_share: units::json(share.0),
        undercut_area_mm2: units::json(share.1),
        deepest_mm: units::json(deepest.map_or(0.0, |(_, mm)| mm)),
        deepest_at_mm: deepest.and_then(|(v, _)| mesh.vertices().get(v)).map(units::json_place),
        closed_hole_vertices: field.closed_hole.iter().filter(|&&c| c).count(),
        survey_line_mm: survey_line::survey_lines(mesh, &topology, &field, None)
            .iter()
            .map(|line| line.iter().map(units::json_place).collect())
            .collect(),
        gauge,
        findings: Vec::new(),
        cautions: cautions::of_a_survey(),
    };
    Ok(Survey { file, field, section })
}

fn path(
    wanted: &SurveyWanted,
    told: Option<&KnownFrame>,
    lacking: Option<&NotMeasured>,
    found: &Result<KnownFrame, NotMeasured>,
) -> Result<Path, SurveyRefused> {
    let tilt = |d: &Direction| told.filter(|f| f.anterior_known).and_then(|f| f.frame.tilt_of(d));
    match (wanted.withdrawal, found) {
        (Some(d), _) => {
            Ok(Path { withdrawal: d, tilt: tilt(&d), chosen_by: ChosenBy::Case, uncertainty_deg: 1.0 })
        }
        (None, Ok(f)) => {
            let d = f.frame.occlusal;
            let uncertainty_deg = f.uncertainty_deg;
            Ok(Path { withdrawal: d, tilt: tilt(&d), chosen_by: ChosenBy::OcclusalNormal, uncertainty_deg })
        }
        (None, Err(reason)) => Err(SurveyRefused::NoDirection(lacking.unwrap_or(reason).clone())),
    }
}

fn gauge(
    surface: &Surface,
    surveyor: &Surveyor,
    d: &Direction,
    asked: &Point,
) -> Result<(GaugeReading, Vector), SurveyRefused> {
    let near = surface.closest(asked).ok_or(SurveyRefused::NoSurface)?;
    if near.distance_mm > GAUGE_FARTHEST_MM {
        let asked = units::place_words(asked);
        return Err(SurveyRefused::GaugeFar { asked, distance_mm: near.distance_mm });
    }
    let depth = surveyor.depth_at(d, &near.at, near.face);
    let reading = GaugeReading {
        asked_mm: units::json_place(asked),
        at_mm: units::json_place(&near.at),
        depth_mm: units::json(depth.depth_mm),
        closed_hole: depth.closed_hole,
        below_survey_line_mm: None,
        rod_mm: depth.free_at.as_ref().map(units::json_place),
    };
    Ok((reading, surface.mesh().face_normal(near.face).unwrap_or_default()))
}

/// Share of the measured surface that is undercut, and its area, mm2: a triangle counts by its undercut corners.
fn share(mesh: &Mesh, field: &UndercutField) -> (f64, f64) {
    let (mut under, mut all) = (0.0, 0.0);
    for (f, corners) in mesh.faces().iter().enumerate() {
        let depths: Vec<f64> =
            corners.iter().filter_map(|&v| field.depth_mm.get(v as usize).copied().flatten()).collect();
        if depths.len() == 3 {
            let area = mesh.face_area_mm2(f as u32);
            all += area;
            under += area * depths.iter().filter(|&&d| d > 0.0).count() as f64 / 3.0;
        }
    }
    (if all > 0.0 { under / all } else { 0.0 }, under)
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
