//! Quantity: survey line (height of contour).

use super::undercut::UndercutField;
use crate::mesh::{FaceId, Mesh, Topology};
use crate::space::Point;

/// Survey lines on the given triangles (all where `None`) as polylines, mm, in a fixed order.
pub fn survey_lines(
    _mesh: &Mesh,
    _topology: &Topology,
    _field: &UndercutField,
    _faces: Option<&[FaceId]>,
) -> Vec<Vec<Point>> {
    Vec::new()
}
