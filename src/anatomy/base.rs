//! Flat faces that were trimmed on a model: its base and its sides.

use crate::mesh::{FaceId, Mesh, Topology};
use crate::space::Vector;

/// Turn between neighbouring triangles that still lie in one flat face, degrees.
const FLAT_DEG: f64 = 2.0;
/// Least area of a flat face that was trimmed on a model, mm2.
const BASE_MM2: f64 = 80.0;
/// Least length of the mean normal of a trimmed face.
const BASE_STRAIGHT: f64 = 0.99;
/// Greatest thickness of a trimmed face, mm.
const BASE_THICK_MM: f64 = 0.6;

/// Triangles of flat trimmed faces of a model: large, plane patches such as no tissue forms.
pub fn faces(mesh: &Mesh, topology: &Topology) -> Vec<bool> {
    let normals: Vec<Option<Vector>> = (0..mesh.faces().len() as u32).map(|f| mesh.face_normal(f)).collect();
    let least = crate::space::cos(FLAT_DEG.to_radians());
    let mut group = vec![u32::MAX; mesh.faces().len()];
    let mut flat = vec![false; mesh.faces().len()];
    for seed in 0..mesh.faces().len() {
        let (Some(_), true) = (normals[seed], group[seed] == u32::MAX) else { continue };
        let (mut patch, mut next) = (vec![seed as FaceId], 0);
        group[seed] = seed as u32;
        while let Some(&f) = patch.get(next) {
            next += 1;
            let Some(n) = normals[f as usize] else { continue };
            for e in topology.edges_of_face(f) {
                for &g in topology.faces_of_edge(e) {
                    let alike = normals[g as usize].is_some_and(|m| m.dot(&n) >= least);
                    if group[g as usize] == u32::MAX && alike {
                        group[g as usize] = seed as u32;
                        patch.push(g);
                    }
                }
            }
        }
        if is_trimmed(mesh, &patch) {
            patch.iter().for_each(|&f| flat[f as usize] = true);
        }
    }
    flat
}

fn is_trimmed(mesh: &Mesh, patch: &[FaceId]) -> bool {
    let (mut sum, mut area) = (Vector::zeros(), 0.0);
    for &f in patch {
        let n = mesh.doubled_area_normal(f) / 2.0;
        sum += n;
        area += n.norm();
    }
    if area < BASE_MM2 || sum.norm() < BASE_STRAIGHT * area {
        return false;
    }
    let n = sum / sum.norm();
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for p in patch.iter().flat_map(|&f| mesh.corners(f)) {
        let h = p.coords.dot(&n);
        low = low.min(h);
        high = high.max(h);
    }
    high - low < BASE_THICK_MM
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::space::Point;

    #[test]
    fn a_plate_is_a_trimmed_face_and_a_bulging_one_is_not() {
        let field = |bulge: f64| {
            let at = |i: usize, j: usize| {
                let (x, y) = (i as f64 - 10.0, j as f64 - 10.0);
                Point::new(x, y, bulge * (x * x + y * y))
            };
            let vertices = (0..21 * 21).map(|k| at(k % 21, k / 21)).collect();
            let mut faces = Vec::new();
            for a in (0..20u32).flat_map(|j| (0..20u32).map(move |i| j * 21 + i)) {
                faces.extend([[a, a + 1, a + 22], [a, a + 22, a + 21]]);
            }
            Mesh::new(vertices, faces).unwrap()
        };
        let share = |mesh: &Mesh| {
            let flat = faces(mesh, &Topology::new(mesh));
            flat.iter().filter(|f| **f).count() as f64 / flat.len() as f64
        };
        assert_eq!(share(&field(0.0)), 1.0);
        assert_eq!(share(&field(0.02)), 0.0);
    }
}
