//! Nearest vertex, closest point, rays and heights. The only module that uses `kiddo` and `parry3d`.

use crate::mesh::{FaceId, Mesh, VertexId};
use crate::space::{Direction, Point};

/// A surface prepared for distance and ray queries. Distances are exact point-to-triangle figures in f64.
#[derive(Debug)]
pub struct Surface {
    mesh: Mesh,
}

/// A closest point.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Closest {
    /// Where on the surface, mm.
    pub at: Point,
    /// Distance, mm, not negative.
    pub distance_mm: f64,
    /// Its triangle (the lowest index where several are equally near).
    pub face: FaceId,
}

/// Where a ray meets the surface.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hit {
    /// Where, mm.
    pub at: Point,
    /// Distance from the ray's origin, mm, not negative.
    pub distance_mm: f64,
    /// Its triangle.
    pub face: FaceId,
}

impl Surface {
    /// Prepares a mesh.
    pub fn new(mesh: &Mesh) -> Surface {
        Surface { mesh: mesh.clone() }
    }
    /// The mesh.
    pub fn mesh(&self) -> &Mesh {
        &self.mesh
    }
    /// Closest point of the surface; `None` where it has no triangle.
    pub fn closest(&self, _p: &Point) -> Option<Closest> {
        None
    }
    /// Nearest vertex and its distance, mm.
    pub fn nearest_vertex(&self, _p: &Point) -> Option<(VertexId, f64)> {
        None
    }
    /// First hit of the ray from `origin` along `d`, within `most_mm`.
    pub fn cast(&self, _origin: &Point, _d: &Direction, _most_mm: f64) -> Option<Hit> {
        None
    }
}
