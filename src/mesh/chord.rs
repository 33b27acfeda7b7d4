//! How far a curved surface may stand off the triangles that stand for it.

use super::{FaceId, Mesh, Topology};
use crate::space::angle_deg;

/// How far the surface stands off a triangle, mm, as a standard uncertainty. The triangles around turn by an angle over
/// the distance of their centres; on that curve the longest edge bridges `edge^2 angle / (8 distance)`, the sagitta. The
/// surface lies anywhere between the triangle and that, so its root mean square, `sagitta / sqrt(3)`, is given. 0 where
/// the surface is flat, or the triangle is not there.
pub fn chord_mm(mesh: &Mesh, topology: &Topology, face: FaceId) -> f64 {
    let Some(corners) = mesh.faces().get(face as usize) else { return 0.0 };
    let Some(normal) = mesh.face_normal(face) else { return 0.0 };
    let centre = mesh.face_centre(face);
    let around = corners.iter().flat_map(|&v| topology.faces_of_vertex(v)).filter(|&&f| f != face);
    let curves = around.filter_map(|&other| {
        let apart_mm = (mesh.face_centre(other) - centre).norm();
        let turned = mesh.face_normal(other).filter(|_| apart_mm > 0.0)?;
        Some(angle_deg(&normal, &turned).to_radians() / apart_mm)
    });
    let most_per_mm = curves.fold(0.0, f64::max);
    let edge_mm = longest_edge_mm(mesh, face);
    // A sharp edge or a doubled triangle is no curve: more than half of itself an edge does not bridge.
    (edge_mm * edge_mm * most_per_mm / 8.0).min(edge_mm / 2.0) / 3.0_f64.sqrt()
}

fn longest_edge_mm(mesh: &Mesh, face: FaceId) -> f64 {
    let [a, b, c] = mesh.corners(face);
    (b - a).norm().max((c - b).norm()).max((a - c).norm())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phantom::solids;

    #[test]
    fn a_sphere_stands_off_its_triangles_by_the_sagitta_and_a_plate_by_nothing() {
        let plate = solids::plate([6.0, 6.0], 0.5);
        let topology = Topology::new(&plate);
        assert!((0..plate.faces().len() as u32).all(|f| chord_mm(&plate, &topology, f) < 1e-9));
        for (radius, edge) in [(4.0, 0.8), (4.0, 0.4), (1.0, 0.4)] {
            let ball = solids::icosphere(radius, edge);
            let topology = Topology::new(&ball);
            for f in (0..ball.faces().len() as u32).step_by(7) {
                // How far the middle of a triangle's longest edge lies under the sphere.
                let e = longest_edge_mm(&ball, f);
                let sagitta = radius - (radius * radius - e * e / 4.0).sqrt();
                let found = 3.0_f64.sqrt() * chord_mm(&ball, &topology, f);
                assert!(
                    found > 0.9 * sagitta && found < 2.2 * sagitta,
                    "{radius} {edge}: {found} for {sagitta}"
                );
            }
        }
    }
}
