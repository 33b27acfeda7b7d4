//! Nearest vertex, closest point, rays, triangles of a column. The only module that uses `kiddo` (and, in tests, `parry3d`).
//!
//! The k-d tree of the vertices proposes how far the surface can be at most; a tree of boxes then leads to the
//! triangles, and these decide, in f64 and relative to the centre of the mesh, so that a scan a million millimetres
//! from its origin loses nothing beyond its own digits. Answers do not depend on the order of the search: the nearest
//! wins, and the lowest index among equals. Accurate to 1e-9 mm of an f64 test of every triangle, subject to
//! coordinates within 1e6 mm of the origin.

pub mod cut;
pub mod meet;
mod tree;
mod triangle;
mod vertices;

use std::sync::OnceLock;

use rayon::prelude::*;

use crate::mesh::made_once;
use crate::mesh::{FaceId, Mesh, VertexId};
use crate::space::{Direction, Plane, Point, Vector};
use tree::{RayHit, Tree, Triangle};
use triangle::Ray;
use vertices::Vertices;

/// A surface prepared for distance and ray queries. Distances are exact point-to-triangle figures in f64.
#[derive(Debug)]
pub struct Surface {
    mesh: Mesh,
    centre: Vector,
    tree: Tree,
    vertices: OnceLock<Option<Vertices>>,
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
    /// Whether the ray meets the triangle from behind: it runs along the triangle's normal, not against it.
    pub from_behind: bool,
}

impl Surface {
    /// Prepares a mesh. The k-d tree of its vertices is grown when first asked for.
    pub fn new(mesh: &Mesh) -> Surface {
        let centre = mesh.bounds().map_or_else(Vector::zeros, |(low, high)| (low.coords + high.coords) / 2.0);
        let triangles = (0..mesh.faces().len() as u32)
            .map(|face| Triangle { corners: mesh.corners(face).map(|p| p - centre), face })
            .collect();
        Surface { mesh: mesh.clone(), centre, tree: Tree::new(triangles), vertices: OnceLock::new() }
    }

    /// The mesh.
    pub fn mesh(&self) -> &Mesh {
        &self.mesh
    }

    fn vertices(&self) -> Option<&Vertices> {
        made_once(&self.vertices, || Vertices::new(&self.mesh, &self.centre)).as_ref()
    }

    /// Closest point of the surface; `None` where it has no triangle.
    pub fn closest(&self, p: &Point) -> Option<Closest> {
        let proposal = self.vertices()?.proposal(&(p - self.centre));
        self.closest_by(p, proposal).or_else(|| self.closest_by(p, f64::INFINITY))
    }

    /// Closest point of the surface within `most_mm`.
    pub fn closest_within(&self, p: &Point, most_mm: f64) -> Option<Closest> {
        self.closest_by(p, most_mm * most_mm).filter(|c| c.distance_mm <= most_mm)
    }

    /// Closest point, where another point of the surface, close by, is already known: as [`Surface::closest`], but
    /// faster for points that follow each other along a mesh.
    pub fn closest_from(&self, p: &Point, known: &Closest) -> Option<Closest> {
        let (d2, _) =
            triangle::closest(&(p - self.centre), &self.mesh.corners(known.face).map(|q| q - self.centre));
        self.closest_by(p, d2)
    }

    /// Closest points of many places that follow each other along a mesh, in their order, on all threads.
    pub fn closest_each(&self, places: &[Point]) -> Vec<Option<Closest>> {
        let chunk = |chunk: &[Point]| -> Vec<Option<Closest>> {
            let mut last: Option<Closest> = None;
            let next = |p: &Point| {
                // Neighbours lie close by, so the last answer bounds the next search.
                let closest = match &last {
                    Some(known) => self.closest_from(p, known),
                    None => self.closest(p),
                };
                last = closest;
                closest
            };
            chunk.iter().map(next).collect()
        };
        places.par_chunks(256).flat_map_iter(chunk).collect()
    }

    fn closest_by(&self, p: &Point, proposal2: f64) -> Option<Closest> {
        // Above the rounding of the proposal, so that its own triangle is never passed over.
        let most2 = proposal2 * (1.0 + 1e-9) + 1e-18;
        let (d2, face, at) = self.tree.closest(&(p - self.centre), most2)?;
        Some(Closest { at: at + self.centre, distance_mm: d2.sqrt(), face })
    }

    /// Nearest vertex of a triangle and its distance, mm; the lowest index where several are equally near.
    pub fn nearest_vertex(&self, p: &Point) -> Option<(VertexId, f64)> {
        Some(self.vertices()?.nearest(&(p - self.centre)))
    }

    /// First hit of the ray from `origin` along `d`, within `most_mm`. Sides and corners belong to their triangles, so
    /// no ray slips between two that share them; a triangle seen edge-on is not met.
    pub fn cast(&self, origin: &Point, d: &Direction, most_mm: f64) -> Option<Hit> {
        let ray = Ray::new(origin - self.centre, d.into_inner());
        let hit = self.tree.first_hit(&ray, (0.0, most_mm), |_| true)?;
        Some(hit_at(origin, d, hit))
    }

    /// First hit of that ray on a triangle that it meets from behind, or from the front.
    pub fn cast_facing(&self, origin: &Point, d: &Direction, most_mm: f64, from_behind: bool) -> Option<Hit> {
        let ray = Ray::new(origin - self.centre, d.into_inner());
        let hit = self.tree.first_hit(&ray, (0.0, most_mm), |behind| behind == from_behind)?;
        Some(hit_at(origin, d, hit))
    }

    /// All hits of that ray, nearest first. One that meets a shared side is there once for each triangle.
    pub fn cast_all(&self, origin: &Point, d: &Direction, most_mm: f64) -> Vec<Hit> {
        let ray = Ray::new(origin - self.centre, d.into_inner());
        self.tree.all_hits(&ray, 0.0, most_mm).into_iter().map(|hit| hit_at(origin, d, hit)).collect()
    }

    /// Triangles that reach to the inner side (against the normal) of each of `walls`, ascending. One that crosses
    /// outside a corner between two walls may be among them.
    pub fn faces_within(&self, walls: &[Plane]) -> Vec<FaceId> {
        let half_spaces: Vec<(Vector, f64)> = walls
            .iter()
            .map(|w| (w.normal.into_inner(), (w.point - self.centre).coords.dot(&w.normal)))
            .collect();
        self.tree.within(&half_spaces)
    }
}

fn hit_at(origin: &Point, d: &Direction, hit: RayHit) -> Hit {
    Hit {
        at: origin + d.into_inner() * hit.t,
        distance_mm: hit.t,
        face: hit.face,
        from_behind: hit.from_behind,
    }
}

#[cfg(test)]
mod tests;
