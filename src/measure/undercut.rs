//! Quantity: undercut and its depth.

use crate::mesh::{FaceId, Mesh, Topology};
use crate::space::{Direction, Point};

/// A cast prepared for surveying in any direction.
#[derive(Debug)]
pub struct Surveyor {
    vertices: usize,
}

/// Undercut depth of every vertex for one withdrawal direction.
#[derive(Clone, Debug, PartialEq)]
pub struct UndercutField {
    /// The withdrawal direction.
    pub direction: Direction,
    /// Depth of each vertex, mm; 0 = free, `None` = not measured (no triangle there).
    pub depth_mm: Vec<Option<f64>>,
    /// Whether the depth of the vertex depends on the closing of a hole in the scan.
    pub closed_hole: Vec<bool>,
}

/// Undercut depth at one point.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DepthAt {
    /// Depth, mm; 0 = free.
    pub depth_mm: f64,
    /// The nearest place, at the height of the point, where a rod is free; `None` where the point itself is free.
    pub free_at: Option<Point>,
    /// Whether it depends on the closing of a hole in the scan.
    pub closed_hole: bool,
}

impl Surveyor {
    /// Prepares a cast.
    pub fn new(mesh: &Mesh, _topology: &Topology) -> Surveyor {
        Surveyor { vertices: mesh.vertices().len() }
    }
    /// Depth of every vertex.
    pub fn field(&self, direction: &Direction) -> UndercutField {
        UndercutField {
            direction: *direction,
            depth_mm: vec![None; self.vertices],
            closed_hole: vec![false; self.vertices],
        }
    }
    /// Depth at a point of triangle `face`.
    pub fn depth_at(&self, _direction: &Direction, _at: &Point, _face: FaceId) -> DepthAt {
        DepthAt { depth_mm: 0.0, free_at: None, closed_hole: false }
    }
}
