//! The triangles in and about a crown.

use crate::anatomy::Crown;
use crate::mesh::{FaceId, Mesh, Topology, VertexId};
use crate::space::Point;

use super::relief::View;

/// How far beyond the crown the surface is looked at, mm: borders of crowns may be off by half a millimetre.
const BEYOND_MM: f64 = 1.5;

/// The crown's triangles with those close around, and where the scan ends among them.
pub(super) struct Surroundings {
    /// Triangles, ascending.
    pub faces: Vec<FaceId>,
    /// Vertices on a border of the scan.
    border: Vec<VertexId>,
}

impl Surroundings {
    /// Those of a crown.
    pub fn of(mesh: &Mesh, topology: &Topology, crown: &Crown) -> Surroundings {
        let mut taken = vec![false; mesh.faces().len()];
        let mut faces = crown.faces.clone();
        for &f in &faces {
            taken[f as usize] = true;
        }
        // Breadth first along the surface, each triangle with its way from the crown.
        let mut front: Vec<(FaceId, f64)> = crown.faces.iter().map(|&f| (f, 0.0)).collect();
        while !front.is_empty() {
            let mut next = Vec::new();
            for &(f, way) in &front {
                for e in topology.edges_of_face(f) {
                    for &g in topology.faces_of_edge(e) {
                        let way = way + (mesh.face_centre(g) - mesh.face_centre(f)).norm();
                        if way <= BEYOND_MM && !taken[g as usize] {
                            taken[g as usize] = true;
                            faces.push(g);
                            next.push((g, way));
                        }
                    }
                }
            }
            front = next;
        }
        let mut border = Vec::new();
        for &f in &faces {
            for e in topology.edges_of_face(f) {
                if topology.faces_of_edge(e).len() == 1
                    && let Some(edge) = topology.edges().get(e as usize)
                {
                    border.extend(edge.ends);
                }
            }
        }
        border.sort_unstable();
        border.dedup();
        faces.sort_unstable();
        Surroundings { faces, border }
    }

    /// Whether the scan ends within so many mm of a place.
    pub fn border_within(&self, mesh: &Mesh, at: &Point, mm: f64) -> bool {
        self.border.iter().any(|&v| (mesh.vertex(v) - at).norm() < mm)
    }
}

/// Normal (outward, up) of the proximal surface below a floor, of length one in the section along the crown; `None`
/// where less than 1 mm2 of it is seen.
pub(super) fn proximal_normal(mesh: &Mesh, crown: &Crown, view: &View, at: &Point) -> Option<(f64, f64)> {
    let [_, y, z] = view.local(at);
    let (mut nx, mut nz, mut area) = (0.0, 0.0, 0.0);
    for &f in &crown.faces {
        let [_, cy, cz] = view.local(&mesh.face_centre(f));
        let doubled = mesh.doubled_area_normal(f);
        let (a, c) = (doubled.dot(&view.x), doubled.dot(&view.up));
        if (cy - y).abs() < 1.2 && (0.5..3.0).contains(&(z - cz)) && a > 0.6 * doubled.norm() {
            (nx, nz, area) = (nx + a, nz + c, area + doubled.norm() / 2.0);
        }
    }
    let length = (nx * nx + nz * nz).sqrt();
    (area >= 1.0 && length > 0.0).then(|| (nx / length, nz / length))
}
