//! Closed-form solids: every vertex lies on the true surface, so that a figure differs from its formula by no more than
//! the chord error of the facets, `edge^2 / (8 radius)`.
//!
//! Axes are file axes, mm; `edge_mm` is the wanted length of the edges (0.1 to 0.4 is useful). Withdrawal is +z unless
//! a function says otherwise. Depth formulas follow the definition of undercut depth: how far a vertical rod at the
//! height of the point must be moved aside to be free (trade facts, section 10, for sphere and tilted wall).
//!
//! # Panics
//! These solids are made for tests and demonstrations: a size that is not a finite positive number panics.

mod domes;
mod pairs;
mod rounds;
mod row;
mod sheets;

pub use domes::{Base, Bump, bumps_on};
pub use pairs::{CrestAndCusp, crest_and_cusp, plate_pair, tilted_plate_pair};
pub use rounds::{
    Barrel, barrel_on_plate, cone, cylinder, ellipsoid, icosphere, lat_long_sphere, sphere_depth_mm,
    spheroid_depth_mm, tilted_cylinder, tilted_cylinder_depth_mm, torus_ring, wall_depth_mm,
};
pub use row::barrel_row;
pub use sheets::{cuboid, leaning_wall, plate};

use crate::mesh::{Mesh, VertexId};
use crate::space::{Point, cos, sin};

/// Vertices and triangles under construction.
#[derive(Default)]
pub(crate) struct Parts {
    /// Vertices, mm.
    pub vertices: Vec<Point>,
    /// Triangles.
    pub faces: Vec<[VertexId; 3]>,
}

impl Parts {
    /// The finished mesh; equal positions are joined and triangles that lose a corner by it are left out.
    pub fn mesh(self) -> Mesh {
        let mut seen = std::collections::BTreeMap::new();
        let mut vertices = Vec::new();
        let joined: Vec<u32> = self
            .vertices
            .iter()
            .map(|p| {
                // Positions that should be equal differ in their last digits only.
                let key = [p.x, p.y, p.z].map(|c| (c * 1e7).round() as i64);
                *seen.entry(key).or_insert_with(|| {
                    vertices.push(*p);
                    vertices.len() as u32 - 1
                })
            })
            .collect();
        let faces = self
            .faces
            .iter()
            .map(|f| f.map(|v| joined[v as usize]))
            .filter(|[a, b, c]| a != b && b != c && c != a)
            .collect();
        Mesh::new(vertices, faces).expect("sizes of a solid are finite positive numbers")
    }

    /// Adds a rectangular sheet of `across` times `along` cells, `at(i, j)` in cell units; the front is where
    /// (d/di) x (d/dj) points.
    pub fn sheet(&mut self, across: usize, along: usize, at: impl Fn(usize, usize) -> Point) {
        let first = self.vertices.len() as u32;
        for j in 0..=along {
            for i in 0..=across {
                self.vertices.push(at(i, j));
            }
        }
        let id = |i: usize, j: usize| first + (j * (across + 1) + i) as u32;
        for j in 0..along {
            for i in 0..across {
                self.faces.push([id(i, j), id(i + 1, j), id(i + 1, j + 1)]);
                self.faces.push([id(i, j), id(i + 1, j + 1), id(i, j + 1)]);
            }
        }
    }
}

/// Number of parts of at most `edge` into which `length` is cut.
pub(crate) fn cuts(length: f64, edge: f64) -> usize {
    ((length / edge - 1e-9).ceil() as usize).max(1)
}

/// Turns a profile of (radius, height) around the z axis. Upward the surface faces outward, inward it faces up.
pub(crate) fn lathe(profile: &[[f64; 2]], around: usize) -> Mesh {
    let turn = |j: usize| 2.0 * std::f64::consts::PI * (j % around) as f64 / around as f64;
    let ring: Vec<(f64, f64)> = (0..around).map(|j| (cos(turn(j)), sin(turn(j)))).collect();
    let mut parts = Parts::default();
    parts.sheet(around, profile.len() - 1, |j, i| {
        let [r, z] = profile[i];
        let (c, s) = ring[j % around];
        Point::new(r * c, r * s, z)
    });
    parts.mesh()
}

/// Appends a straight piece to a profile, its first point left out where the profile already ends there.
pub(crate) fn line_to(profile: &mut Vec<[f64; 2]>, to: [f64; 2], edge: f64) {
    let Some(&from) = profile.last() else {
        profile.push(to);
        return;
    };
    let n = cuts(crate::space::hypot(to[0] - from[0], to[1] - from[1]), edge);
    for k in 1..=n {
        let t = k as f64 / n as f64;
        profile.push([from[0] + (to[0] - from[0]) * t, from[1] + (to[1] - from[1]) * t]);
    }
}
