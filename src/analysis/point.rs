//! What is read at one point of the restored arch: gauge, section, clearance, and how far it lies from another.

use serde::Serialize;

use super::survey::{Put, reading};
use super::{Analysis, sections};
use crate::case::{Surface as ToothSurface, Tooth};
use crate::estimate::{Estimate, Measured, NotMeasured, Source};
use crate::facts::{Facts, Path};
use crate::locate::Closest;
use crate::measure::clearance::Antagonist;
use crate::measure::survey_line::SurveyLine;
use crate::measure::tooth_axes::ToothAxes;
use crate::measure::undercut::UndercutField;
use crate::report::{Cut, GaugeReading, Place};
use crate::space::{Direction, Point, aside_mm};
use crate::units;

/// Farther from the cast than this, a point is refused: nobody means it.
const FARTHEST_MM: f64 = 5.0;

/// How a point is given.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Aim {
    /// A place; the nearest surface point is meant.
    Place(Point),
    /// What a ray meets first.
    Ray(Point, Direction),
}

/// Clearance at a point, mm.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ClearanceAt {
    /// Along the opening direction.
    pub along_mm: Option<f64>,
    /// Nearest in any direction; negative where the arches overlap.
    pub nearest_mm: Option<f64>,
    /// Standard uncertainty.
    pub uncertainty_mm: f64,
}

/// What is read at a point.
#[derive(Clone, Debug)]
pub struct PointRead {
    /// The surface point.
    pub at: Point,
    /// The tooth it lies on.
    pub tooth: Option<Tooth>,
    /// Surface of that tooth; absent where its axes are not known.
    pub surface: Option<ToothSurface>,
    /// Region as in `anatomy.ply`.
    pub region: u8,
    /// The gauge put to it; absent without a path.
    pub gauge: Option<GaugeReading>,
    /// The upright section through it.
    pub section: Option<Cut>,
    /// Clearance; absent without another arch or opening direction.
    pub clearance: Option<ClearanceAt>,
}

/// Two points beside each other, mm.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Apart {
    /// From.
    pub from_mm: Place,
    /// To.
    pub to_mm: Place,
    /// Straight.
    pub straight_mm: f64,
    /// Along the withdrawal direction; positive where the second stands higher. Absent without a path.
    pub along_path_mm: Option<f64>,
    /// Across it.
    pub across_path_mm: Option<f64>,
    /// Standard uncertainty of each.
    pub uncertainty_mm: f64,
}

/// The surface point that is aimed at.
///
/// # Errors
/// The ray meets nothing; the place lies far from the cast.
pub fn aimed(facts: &Facts<'_>, aim: &Aim) -> Measured<Closest> {
    let surface = &facts.restored.surface;
    match aim {
        Aim::Place(p) => surface
            .closest(p)
            .filter(|c| c.distance_mm <= FARTHEST_MM)
            .ok_or_else(|| NotMeasured::only(format!("{} lies far from the cast", units::place_words(p)))),
        Aim::Ray(from, toward) => surface
            .cast(from, toward, f64::INFINITY)
            .map(|hit| Closest { at: hit.at, distance_mm: 0.0, face: hit.face })
            .ok_or_else(|| NotMeasured::only("the cast is not met there")),
    }
}

/// Reads a point along a path with its depths (those of [`super::at_tilt`] do).
///
/// # Errors
/// As [`aimed`].
pub fn read_point(
    done: &Analysis<'_>,
    along: Option<(&Path, &UndercutField)>,
    aim: &Aim,
) -> Measured<PointRead> {
    let facts = &done.facts;
    let here = aimed(facts, aim)?;
    let mesh = facts.restored.mesh();
    let put = along.map(|(path, field)| {
        let normal = mesh.face_normal(here.face).unwrap_or_default();
        let depth = facts.surveyor.depth_at(&path.withdrawal, &here.at, here.face);
        let put = Put { asked: here.at, at: here.at, face: here.face, normal, depth };
        let line = SurveyLine::with_normals(mesh, &facts.restored.topology, field, facts.restored.normals());
        let below_mm = line.above_mm(&put.at, &put.depth);
        let gauge = reading((mesh, &facts.restored.topology), path, &put, below_mm);
        let words = sections::Gauge { name: "gauge".to_owned(), below_mm };
        (gauge, sections::of_gauge(mesh, &path.withdrawal, &put, &words))
    });
    let (gauge, section) = put.map_or((None, None), |(gauge, section)| (Some(gauge), section));
    let corner = mesh.faces().get(here.face as usize).map(|f| f[0] as usize);
    let anatomy = &facts.restored.anatomy;
    let tooth = corner.and_then(|v| anatomy.tooth_of.get(v).copied()).and_then(Tooth::fdi);
    let axes = tooth.and_then(|t| anatomy.crown(t)).and_then(|c| ToothAxes::of(mesh, c, anatomy).ok());
    let surface = axes.map(|a| a.surface(&here.at));
    Ok(PointRead {
        at: here.at,
        tooth,
        surface,
        region: corner.and_then(|v| anatomy.region.get(v)).map_or(0, |r| *r as u8),
        gauge,
        section,
        clearance: clearance(facts, &here.at),
    })
}

fn clearance(facts: &Facts<'_>, at: &Point) -> Option<ClearanceAt> {
    let (other, opening) = (facts.opposing.as_ref()?, facts.opening.as_ref().ok()?);
    facts.clearance.as_ref()?;
    let read = Antagonist::new(&other.surface, opening).at(at);
    let accuracy = &facts.case.file.accuracy;
    let figure = Estimate::new(0.0, vec![])
        .with(Source::Scan, std::f64::consts::SQRT_2 * accuracy.scan_mm)
        .with(Source::Articulation, accuracy.articulation_mm);
    Some(ClearanceAt {
        along_mm: read.along_mm.map(units::json),
        nearest_mm: read.nearest_mm.map(units::json),
        uncertainty_mm: units::json(figure.standard()),
    })
}

/// How two surface points lie to each other.
pub fn apart(facts: &Facts<'_>, path: Option<&Path>, from: &Point, to: &Point) -> Apart {
    let way = to - from;
    let along = path.map(|p| way.dot(&p.withdrawal));
    let across = path.map(|p| aside_mm(&way, &p.withdrawal));
    let scan = facts.case.file.accuracy.scan_mm;
    Apart {
        from_mm: units::json_place(from),
        to_mm: units::json_place(to),
        straight_mm: units::json(way.norm()),
        along_path_mm: along.map(units::json),
        across_path_mm: across.map(units::json),
        uncertainty_mm: units::json(std::f64::consts::SQRT_2 * scan),
    }
}
