//! Quantity: interarch distance, along the opening direction and nearest.

use crate::locate::Surface;
use crate::space::{Direction, Point};

/// Clearance at one tissue point.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Clearance {
    /// Along the opening direction, mm; negative where the arches overlap; `None` where nothing is there.
    pub along_mm: Option<f64>,
    /// Where the ray meets the opposing surface, mm.
    pub along_at: Option<Point>,
    /// Nearest in any direction, mm; negative where the arches overlap.
    pub nearest_mm: Option<f64>,
    /// The nearest opposing point, mm.
    pub nearest_at: Option<Point>,
}

/// Clearance of one point.
pub fn at(_opposing: &Surface, _opening: &Direction, _p: &Point) -> Clearance {
    Clearance { along_mm: None, along_at: None, nearest_mm: None, nearest_at: None }
}

/// Clearance of every vertex of `tissue`, in their order.
pub fn map(tissue: &Surface, opposing: &Surface, opening: &Direction) -> Vec<Clearance> {
    tissue.mesh().vertices().iter().map(|p| at(opposing, opening, p)).collect()
}
