//! A row of barrels on one plate: neighbours that cover each other's undercut.

use super::rounds::Barrel;
use super::{Parts, cuts};
use crate::mesh::Mesh;
use crate::space::{Point, cos, sin};
use std::f64::consts::PI;

/// Barrels in a row along x, one every `cell_mm`, the first at the origin, each in the middle of its square of plate
/// z = 0. `cell_mm` is more than twice the greatest belly.
///
/// Between two equal bellies a rod passes where the gap `cell - 2 belly` is open; depths are those of a single
/// [`Barrel`], for the nearest free place of a wall point is straight out from its own axis.
pub fn barrel_row(barrels: &[Barrel], cell_mm: f64, edge_mm: f64) -> Mesh {
    let side = cuts(cell_mm, edge_mm).max(4);
    let mut parts = Parts::default();
    for (k, barrel) in barrels.iter().enumerate() {
        let x0 = k as f64 * cell_mm;
        let foot = barrel.radius_mm(0.0);
        let rings = cuts(0.5 * cell_mm - foot, edge_mm);
        let profile = barrel.profile(edge_mm);
        parts.sheet(4 * side, rings + profile.len() - 1, |j, i| {
            let turn = 2.0 * PI * ((j % (4 * side)) as f64 / (4 * side) as f64 - 0.125);
            let (c, s) = (cos(turn), sin(turn));
            if i <= rings {
                let t = i as f64 / rings as f64;
                let [qx, qy] = square(j % (4 * side), side, cell_mm);
                return Point::new(x0 + qx + (foot * c - qx) * t, qy + (foot * s - qy) * t, 0.0);
            }
            let [r, z] = profile[i - rings];
            Point::new(x0 + r * c, r * s, z)
        });
    }
    parts.mesh()
}

/// Station `j` of the border of a square about the origin, anticlockwise from its corner (+, -).
fn square(j: usize, side: usize, cell: f64) -> [f64; 2] {
    let t = ((j % side) as f64 / side as f64 - 0.5) * cell;
    let h = 0.5 * cell;
    match j / side {
        0 => [h, t],
        1 => [-t, h],
        2 => [-h, -t],
        _ => [t, -h],
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::Topology;

    #[test]
    fn a_row_is_one_piece_with_one_border() {
        let barrel = Barrel { belly_mm: 3.5, belly_at_mm: 3.0, height_mm: 6.0, wall_mm: 6.0 };
        let mesh = barrel_row(&[barrel; 3], 7.4, 0.4);
        let topology = Topology::new(&mesh);
        assert!(topology.edges().iter().all(|e| e.faces <= 2));
        let border: f64 = topology
            .edges()
            .iter()
            .filter(|e| e.faces == 1)
            .map(|e| (mesh.vertex(e.ends[0]) - mesh.vertex(e.ends[1])).norm())
            .sum();
        assert!((border - 8.0 * 7.4).abs() < 1e-6, "{border}");
        let top = mesh.vertices().iter().filter(|p| (p.z - 6.0).abs() < 1e-9).count();
        assert!(top > 3);
        // All triangles of the plate and of the tops face up.
        for f in 0..mesh.faces().len() as u32 {
            let c = mesh.face_centre(f);
            if c.z.abs() < 1e-9 || (c.z - 6.0).abs() < 1e-9 {
                assert!(mesh.doubled_area_normal(f).z >= 0.0);
            }
        }
    }
}
