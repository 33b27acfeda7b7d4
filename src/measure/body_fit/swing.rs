//! The swing of a hinged base about its axis.

use super::{Body, Pose, REACH_MM};
use crate::locate::Surface;
use crate::locate::meet;
use crate::measure::clearance::Antagonist;
use crate::mesh::FaceId;
use crate::space::{Direction, Motion, Point, about, asin};

/// What swings, and about what.
#[derive(Clone, Copy, Debug)]
pub struct Swung<'a> {
    /// The body that turns with the base.
    pub body: &'a Body,
    /// Where it stands.
    pub pose: &'a Pose,
    /// A point of the axis, mm, and its direction, across the crest.
    pub axis: (Point, Direction),
    /// Crest behind the body, from it to the end of the ridge.
    pub crest: &'a [Point],
    /// Height of the base with its teeth over the crest, mm.
    pub base_mm: f64,
    /// Way of the end of the base, mm; toward the tissue where positive.
    pub move_mm: f64,
}

/// Where a swing leads.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Swing {
    /// Way of the end of the base, mm; toward the tissue where positive.
    pub move_mm: f64,
    /// Angle of the swing, degrees.
    pub angle_deg: f64,
    /// From the axis to the end of the base, mm.
    pub lever_mm: f64,
    /// Least gap from the turned body to the opposing arch along the opening direction at its corners, mm; `None` where
    /// nothing stands over it.
    pub body_to_opposing_mm: Option<f64>,
    /// Nearest distance from the turned body to the abutment's crown, mm; 0 where it strikes.
    pub body_to_abutment_mm: Option<f64>,
    /// Least gap from the top of the base with its teeth to the opposing arch, mm, and where; negative where it strikes.
    pub base_to_opposing_mm: Option<(f64, Point)>,
}

/// Turns body and base. `None` where the end of the base lies no farther from the axis than it moves.
pub fn swing(
    swung: &Swung<'_>,
    antagonist: &Antagonist<'_>,
    restored: &Surface,
    abutment: &[FaceId],
) -> Option<Swing> {
    let (point, axis) = swung.axis;
    let end = swung.crest.last()?;
    let arm = end - point;
    let lever_mm = (arm - axis.into_inner() * arm.dot(&axis)).norm();
    if lever_mm <= swung.move_mm.abs() {
        return None;
    }
    let angle = asin(swung.move_mm / lever_mm);
    let turn = about(&point, Motion::rotation(axis.into_inner() * angle));
    let placed: Vec<[Point; 3]> = swung.body.placed(swung.pose).iter().map(|t| t.map(|p| turn * p)).collect();
    let over = placed.iter().flatten().filter_map(|p| antagonist.along(p)).map(|a| a.mm);
    let of_crown = |f: FaceId| abutment.binary_search(&f).is_ok();
    let to_crown = (!abutment.is_empty())
        .then(|| meet::nearest(&placed, restored, REACH_MM, of_crown))
        .flatten()
        .map(|n| n.distance_mm);
    let up = antagonist.opening().into_inner();
    let base = swung
        .crest
        .iter()
        .map(|p| turn * (p + up * swung.base_mm))
        .filter_map(|p| Some((antagonist.along(&p)?.mm, p)))
        .min_by(|a, b| a.0.total_cmp(&b.0));
    Some(Swing {
        move_mm: swung.move_mm,
        angle_deg: angle.to_degrees(),
        lever_mm,
        body_to_opposing_mm: over.min_by(f64::total_cmp),
        body_to_abutment_mm: to_crown,
        base_to_opposing_mm: base,
    })
}
