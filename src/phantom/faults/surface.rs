//! Faults of the place of vertices: noise, and a bend over the whole arch.

use crate::mesh::{Mesh, MeshError};
use crate::phantom::field::Variety;

/// Every vertex moved along its normal by a normally spread amount, standard deviation `sigma_mm`.
pub(super) fn noisy(mesh: &Mesh, sigma_mm: f64, variety: &mut Variety) -> Result<Mesh, MeshError> {
    let normals = mesh.vertex_normals();
    let moved = mesh.vertices().iter().zip(normals).map(|(p, n)| p + n * (sigma_mm * variety.normal()));
    Mesh::new(moved.collect(), mesh.faces().to_vec())
}

/// Every vertex moved in one direction across the longest extent, by the square of its share of that extent.
pub(super) fn warped(mesh: &Mesh, far_end_mm: f64, variety: &mut Variety) -> Result<Mesh, MeshError> {
    let Some((low, high)) = mesh.bounds() else { return Ok(mesh.clone()) };
    let extent = high - low;
    let longest = (0..3).rev().max_by(|&a, &b| extent[a].total_cmp(&extent[b])).unwrap_or(0);
    let mut to = super::in_any_direction(variety);
    // A displacement along the extent itself would only stretch it.
    to[longest] *= 0.3;
    let to = to.normalize() * far_end_mm;
    let backward = variety.even() < 0.0;
    let moved = mesh.vertices().iter().map(|p| {
        let share = (p[longest] - low[longest]) / extent[longest].max(1e-9);
        let share = if backward { 1.0 - share } else { share };
        p + to * (share * share)
    });
    Mesh::new(moved.collect(), mesh.faces().to_vec())
}

#[cfg(test)]
mod tests {
    use crate::phantom::faults::{Fault, apply, tests::dome};

    #[test]
    fn noise_has_the_spread_asked_for_and_no_bias() {
        let mesh = dome(0.3);
        let noisy = apply(&mesh, &[Fault::Noise { sigma_mm: 0.03 }], 11).unwrap().mesh;
        // Off the dome the radius tells the displacement; its vertices stand on the chords of the grid at first.
        let moved: Vec<f64> = noisy
            .vertices()
            .iter()
            .zip(mesh.vertices())
            .map(|(q, p)| q.coords.norm() - p.coords.norm())
            .collect();
        let n = moved.len() as f64;
        let mean = moved.iter().sum::<f64>() / n;
        let rms = (moved.iter().map(|d| d * d).sum::<f64>() / n).sqrt();
        assert!(moved.len() > 3000 && (rms / 0.03 - 1.0).abs() < 0.05, "{rms}");
        assert!(mean.abs() < 3.0 * 0.03 / n.sqrt(), "{mean}");
    }

    #[test]
    fn a_warp_grows_to_its_size_at_one_end_and_hardly_stretches_a_triangle() {
        let mesh = dome(0.6);
        let warped = apply(&mesh, &[Fault::Warp { far_end_mm: 0.4 }], 3).unwrap().mesh;
        let moved: Vec<f64> =
            warped.vertices().iter().zip(mesh.vertices()).map(|(q, p)| (q - p).norm()).collect();
        let (least, most) = moved.iter().fold((f64::INFINITY, 0.0f64), |(a, b), d| (a.min(*d), b.max(*d)));
        assert!(least < 1e-9 && (most - 0.4).abs() < 1e-9, "{least} {most}");
        for f in mesh.faces() {
            let side = |m: &crate::mesh::Mesh| (m.vertex(f[0]) - m.vertex(f[1])).norm();
            // The slope of the displacement is at most twice its size over the extent of 16 mm.
            assert!((side(&warped) / side(&mesh) - 1.0).abs() < 2.0 * 0.4 / 16.0 + 0.01);
        }
    }
}
