//! The abutments along a tilt that is tried: the same measurement and the same check as for the path of the case.

use super::Analysis;
use crate::checks::Part;
use crate::checks::undercut::{self, Along};
use crate::estimate::{Measured, NotMeasured};
use crate::facts::{Facts, Path};
use crate::measure::undercut::{TiltedCast, UndercutField};
use crate::mesh::VertexId;
use crate::report::{AbutmentShown, ChosenBy, Finding, PathShown};
use crate::space::Tilt;

/// What serves every tilt of a case: the cast along the occlusal normal, and the vertices whose depth is wanted.
#[derive(Debug)]
pub struct Ready<'f> {
    normal: Option<TiltedCast<'f>>,
    asked: Vec<bool>,
}

/// The abutments along one tilt.
#[derive(Clone, Debug)]
pub struct AtTilt {
    /// The path.
    pub path: Path,
    /// It as it is shown.
    pub shown: PathShown,
    /// Depths of the vertices asked for, of the abutments' crowns, and of all that is free.
    pub field: UndercutField,
    /// The abutments.
    pub abutments: Vec<AbutmentShown>,
    /// What the check of undercut says.
    pub findings: Vec<Finding>,
}

impl<'f> Ready<'f> {
    /// Prepares for tilts; `shown` are vertices whose depth is wanted beside those of the abutments.
    pub fn new(facts: &'f Facts<'_>, shown: &[VertexId]) -> Ready<'f> {
        let mut asked = vec![false; facts.restored.mesh().vertices().len()];
        let crowns = undercut::abutments(facts).into_iter().filter_map(|t| facts.restored.anatomy.crown(t));
        for &v in shown.iter().chain(crowns.flat_map(|c| &c.vertices)) {
            if let Some(slot) = asked.get_mut(v as usize) {
                *slot = true;
            }
        }
        Ready { normal: undercut::along_normal(facts), asked }
    }
}

/// The path that a tilt gives.
///
/// # Errors
/// The arch has no frame to lean from.
pub fn path_of(facts: &Facts<'_>, tilt: Tilt) -> Measured<Path> {
    let known = facts.restored.anatomy.frame.as_ref().map_err(NotMeasured::clone)?;
    Ok(Path {
        withdrawal: known.frame.tilted(tilt),
        tilt: Some(tilt),
        chosen_by: ChosenBy::Case,
        uncertainty_deg: known.uncertainty_deg,
    })
}

/// Measures the abutments along a tilt; along the path of the case where `None`.
///
/// # Errors
/// There is no frame, or the case has no path.
pub fn at_tilt<'f>(done: &'f Analysis<'f>, ready: &Ready<'f>, tilt: Option<Tilt>) -> Measured<AtTilt> {
    let facts = &done.facts;
    let path = match tilt {
        Some(tilt) => path_of(facts, tilt)?,
        None => facts.path.clone()?,
    };
    let cast = facts.surveyor.tilted(&path.withdrawal);
    let field = cast.field_of(&ready.asked);
    let along = Along { facts, path: &path, field: &field, cast: &cast, normal: ready.normal.as_ref() };
    let Part { abutments, findings, .. } = undercut::run_along(&along);
    let shown = super::shown::path_shown(&path);
    Ok(AtTilt { path, shown, field, abutments, findings })
}
