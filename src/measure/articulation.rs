//! Quantity: how the two arches stand to each other.

use crate::locate::Surface;
use crate::report::ArticulationState;
use crate::space::{Direction, Point};

/// State of a pair of arches.
#[derive(Clone, Debug, PartialEq)]
pub struct ArticulationFact {
    /// The state.
    pub state: ArticulationState,
    /// Contact patches: centre of each, mm.
    pub contacts: Vec<Point>,
    /// Deepest overlap along the opening direction, mm, and where.
    pub deepest_overlap: Option<(f64, Point)>,
    /// Least gap along the opening direction, mm, and where, where nothing touches.
    pub least_gap: Option<(f64, Point)>,
}

/// State of `restored` against `opposing`; `opening` points from the restored tissue toward the opposing arch.
pub fn state(
    _restored: &Surface,
    _opposing: &Surface,
    _opening: &Direction,
    _contact_gap_mm: f64,
    _overlap_allowed_mm: f64,
) -> ArticulationFact {
    ArticulationFact {
        state: ArticulationState::Unknown,
        contacts: vec![],
        deepest_overlap: None,
        least_gap: None,
    }
}
