//! Triangle meshes: immutable, and valid by construction.
//!
//! A [`Mesh`] that exists has finite coordinates, indices in range and no triangle with a repeated corner. All else
//! (holes, folds, debris, inside-out shells) is a defect that [`audit`] reports, never a refusal.

pub mod audit;
mod chord;
mod once;
mod reached;
pub mod topology;

pub use chord::chord_mm;
pub(crate) use once::made_once;
pub use reached::Reached;
pub use topology::{Edge, Topology};

use std::sync::OnceLock;

use crate::space::{Motion, Point, Vector};

/// Triangles of a box whose corners are counted by bits: 1 = far in x, 2 = in y, 4 = in z; outward.
#[rustfmt::skip]
pub const BOX_FACES: [[VertexId; 3]; 12] = [
    [0, 2, 1], [1, 2, 3], [4, 5, 6], [5, 7, 6], [0, 1, 4], [1, 5, 4],
    [2, 6, 3], [3, 6, 7], [0, 4, 2], [2, 4, 6], [1, 3, 5], [3, 7, 5],
];

/// Index of a vertex.
pub type VertexId = u32;
/// Index of a triangle.
pub type FaceId = u32;

/// Why vertices and triangles make no mesh.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum MeshError {
    /// A coordinate is NaN or infinite.
    #[error("vertex {vertex} has a coordinate that is not a finite number")]
    NotFinite {
        /// The vertex.
        vertex: VertexId,
    },
    /// A corner names a vertex that is not there.
    #[error("triangle {face} names vertex {vertex}, but there are only {vertices} vertices")]
    OutOfRange {
        /// The triangle.
        face: FaceId,
        /// The index it names.
        vertex: VertexId,
        /// Number of vertices.
        vertices: usize,
    },
    /// A triangle uses a vertex twice.
    #[error("triangle {face} uses vertex {vertex} twice")]
    RepeatedCorner {
        /// The triangle.
        face: FaceId,
        /// The vertex.
        vertex: VertexId,
    },
    /// More vertices or triangles than 32-bit indices can number.
    #[error("more than 4,294,967,294 vertices or triangles")]
    TooMany,
}

/// An immutable triangle mesh, mm.
#[derive(Clone, Debug)]
pub struct Mesh {
    vertices: Vec<Point>,
    faces: Vec<[VertexId; 3]>,
    /// Worked out once: many measurements ask for it.
    mean_edge_mm: OnceLock<f64>,
    /// The same.
    normals: OnceLock<Vec<Vector>>,
}

impl PartialEq for Mesh {
    fn eq(&self, other: &Mesh) -> bool {
        self.vertices == other.vertices && self.faces == other.faces
    }
}

impl Mesh {
    fn of(vertices: Vec<Point>, faces: Vec<[VertexId; 3]>) -> Mesh {
        Mesh { vertices, faces, mean_edge_mm: OnceLock::new(), normals: OnceLock::new() }
    }

    /// Checks and keeps vertices (mm) and triangles.
    ///
    /// # Errors
    /// A coordinate that is not finite, an index out of range, a repeated corner.
    pub fn new(vertices: Vec<Point>, faces: Vec<[VertexId; 3]>) -> Result<Mesh, MeshError> {
        if vertices.len() >= u32::MAX as usize || faces.len() >= u32::MAX as usize {
            return Err(MeshError::TooMany);
        }
        if let Some(i) = vertices.iter().position(|p| !p.iter().all(|c| c.is_finite())) {
            return Err(MeshError::NotFinite { vertex: i as u32 });
        }
        for (f, corners) in faces.iter().enumerate() {
            for &v in corners {
                if v as usize >= vertices.len() {
                    return Err(MeshError::OutOfRange {
                        face: f as u32,
                        vertex: v,
                        vertices: vertices.len(),
                    });
                }
            }
            let [a, b, c] = *corners;
            if a == b || c == a {
                return Err(MeshError::RepeatedCorner { face: f as u32, vertex: a });
            }
            if b == c {
                return Err(MeshError::RepeatedCorner { face: f as u32, vertex: b });
            }
        }
        Ok(Mesh::of(vertices, faces))
    }

    /// All vertices, mm.
    pub fn vertices(&self) -> &[Point] {
        &self.vertices
    }

    /// All triangles, as indices of vertices.
    pub fn faces(&self) -> &[[VertexId; 3]] {
        &self.faces
    }

    /// Position of a vertex, mm.
    pub fn vertex(&self, v: VertexId) -> Point {
        self.vertices[v as usize]
    }

    /// The three corners of a triangle, mm.
    pub fn corners(&self, face: FaceId) -> [Point; 3] {
        self.faces[face as usize].map(|v| self.vertices[v as usize])
    }

    /// Cross product of two sides: along the normal, twice the area long, mm2. Zero for a triangle without area.
    pub fn doubled_area_normal(&self, face: FaceId) -> Vector {
        let [a, b, c] = self.corners(face);
        (b - a).cross(&(c - a))
    }

    /// Unit normal of a triangle; `None` where it has no area.
    pub fn face_normal(&self, face: FaceId) -> Option<Vector> {
        let n = self.doubled_area_normal(face);
        let length = n.norm();
        (length > 0.0).then(|| n / length)
    }

    /// Area of a triangle, mm2.
    pub fn face_area_mm2(&self, face: FaceId) -> f64 {
        0.5 * self.doubled_area_normal(face).norm()
    }

    /// Centroid of a triangle, mm.
    pub fn face_centre(&self, face: FaceId) -> Point {
        let [a, b, c] = self.corners(face);
        Point::from((a.coords + b.coords + c.coords) / 3.0)
    }

    /// Area of the whole surface, mm2.
    pub fn area_mm2(&self) -> f64 {
        (0..self.faces.len() as u32).map(|f| self.face_area_mm2(f)).sum()
    }

    /// Signed volume inside a closed, outward-oriented surface, mm3; on an open one a figure without meaning.
    pub fn signed_volume_mm3(&self) -> f64 {
        let Some(origin) = self.vertices.first().copied() else { return 0.0 };
        (0..self.faces.len() as u32)
            .map(|f| {
                let [a, b, c] = self.corners(f);
                (a - origin).cross(&(b - origin)).dot(&(c - origin)) / 6.0
            })
            .sum()
    }

    /// Least and greatest corner of the axis-aligned box around all vertices, mm. `None` for an empty mesh.
    pub fn bounds(&self) -> Option<(Point, Point)> {
        let first = *self.vertices.first()?;
        Some(self.vertices.iter().fold((first, first), |(lo, hi), p| (lo.inf(p), hi.sup(p))))
    }

    /// Middle of the box of its vertices; the origin without any.
    pub fn middle(&self) -> Point {
        self.bounds().map_or_else(Point::origin, |(low, high)| low + (high - low) / 2.0)
    }

    /// Unit normal of each vertex, weighted by the corner's angle; zero where no triangle with area meets it.
    pub fn vertex_normals(&self) -> &[Vector] {
        self.normals.get_or_init(|| self.find_normals())
    }

    fn find_normals(&self) -> Vec<Vector> {
        let mut normals = vec![Vector::zeros(); self.vertices.len()];
        for (f, corners) in self.faces.iter().enumerate() {
            let Some(n) = self.face_normal(f as u32) else { continue };
            let p = self.corners(f as u32);
            for k in 0..3 {
                let (a, b) = (p[(k + 1) % 3] - p[k], p[(k + 2) % 3] - p[k]);
                normals[corners[k] as usize] += n * crate::space::atan2(a.cross(&b).norm(), a.dot(&b));
            }
        }
        for n in &mut normals {
            let length = n.norm();
            if length > 0.0 {
                *n /= length;
            }
        }
        normals
    }

    /// Mean edge length, mm; 0 for a mesh without triangles.
    pub fn mean_edge_mm(&self) -> f64 {
        let worked_out = || {
            let sum: f64 = (0..self.faces.len() as u32)
                .map(|f| {
                    let [a, b, c] = self.corners(f);
                    (b - a).norm() + (c - b).norm() + (a - c).norm()
                })
                .sum();
            sum / (3.0 * self.faces.len().max(1) as f64)
        };
        *self.mean_edge_mm.get_or_init(worked_out)
    }

    /// The same surface after a rigid motion.
    pub fn moved(&self, motion: &Motion) -> Mesh {
        Mesh::of(self.vertices.iter().map(|p| motion * p).collect(), self.faces.clone())
    }

    /// Surfaces as one, one behind the other in the order given.
    pub fn together<'m>(parts: impl IntoIterator<Item = &'m Mesh>) -> Mesh {
        let (mut vertices, mut faces) = (Vec::new(), Vec::new());
        for part in parts {
            let first = vertices.len() as u32;
            vertices.extend_from_slice(&part.vertices);
            faces.extend(part.faces.iter().map(|f| f.map(|v| v + first)));
        }
        Mesh::of(vertices, faces)
    }

    /// The same surface with every triangle turned over.
    pub fn turned_over(&self) -> Mesh {
        Mesh::of(self.vertices.clone(), self.faces.iter().map(|&[a, b, c]| [a, c, b]).collect())
    }

    /// The triangles for which `keep` holds, with the vertices they use, and for each new vertex its old index.
    pub fn part(&self, mut keep: impl FnMut(FaceId) -> bool) -> (Mesh, Vec<VertexId>) {
        let kept: Vec<FaceId> = (0..self.faces.len() as FaceId).filter(|f| keep(*f)).collect();
        self.part_of(&kept)
    }

    /// The triangles named, in that order, with the vertices they use, and for each new vertex its old index.
    pub fn part_of(&self, kept: &[FaceId]) -> (Mesh, Vec<VertexId>) {
        let mut new_of = vec![u32::MAX; self.vertices.len()];
        let (mut old_of, mut faces) = (Vec::new(), Vec::new());
        for &f in kept {
            faces.push(self.faces[f as usize].map(|v| {
                let slot = &mut new_of[v as usize];
                if *slot == u32::MAX {
                    *slot = old_of.len() as u32;
                    old_of.push(v);
                }
                *slot
            }));
        }
        (Mesh::of(old_of.iter().map(|&v| self.vertices[v as usize]).collect(), faces), old_of)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn square() -> Mesh {
        let p = |x, y| Point::new(x, y, 0.0);
        Mesh::new(vec![p(0., 0.), p(2., 0.), p(2., 2.), p(0., 2.)], vec![[0, 1, 2], [0, 2, 3]]).unwrap()
    }

    #[test]
    fn a_mesh_that_exists_is_finite_indexed_and_without_repeated_corners() {
        let p = Point::origin();
        let bad = Point::new(f64::NAN, 0.0, 0.0);
        assert_eq!(Mesh::new(vec![bad], vec![]), Err(MeshError::NotFinite { vertex: 0 }));
        assert!(matches!(Mesh::new(vec![p], vec![[0, 1, 2]]), Err(MeshError::OutOfRange { vertex: 1, .. })));
        assert!(matches!(
            Mesh::new(vec![p; 3], vec![[0, 2, 2]]),
            Err(MeshError::RepeatedCorner { face: 0, vertex: 2 })
        ));
    }

    #[test]
    fn area_bounds_and_normals_of_a_square() {
        let m = square();
        assert!((m.area_mm2() - 4.0).abs() < 1e-12);
        assert_eq!(m.bounds().unwrap().1, Point::new(2.0, 2.0, 0.0));
        assert!(m.vertex_normals().iter().all(|n| (n - Vector::z()).norm() < 1e-12));
        let (half, old) = m.part(|f| f == 1);
        assert_eq!((half.faces().len(), old), (1, vec![0, 2, 3]));
    }
}
