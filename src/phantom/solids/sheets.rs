//! Plates, boxes and leaning walls.

use super::{Parts, cuts};
use crate::mesh::Mesh;
use crate::space::{Point, tan};

/// Square grid on z = 0 with `size_mm` along x and y, its middle at the origin, facing +z.
pub fn plate(size_mm: [f64; 2], edge_mm: f64) -> Mesh {
    let mut parts = Parts::default();
    let (nx, ny) = (cuts(size_mm[0], edge_mm), cuts(size_mm[1], edge_mm));
    parts.sheet(nx, ny, |i, j| {
        Point::new(size_mm[0] * (i as f64 / nx as f64 - 0.5), size_mm[1] * (j as f64 / ny as f64 - 0.5), 0.0)
    });
    parts.mesh()
}

/// Closed box with its middle at the origin.
pub fn cuboid(size_mm: [f64; 3], edge_mm: f64) -> Mesh {
    block(size_mm, edge_mm, Point::new)
}

/// Closed block on z = 0 whose sides lean: every horizontal slice is the same rectangle `size_mm[0]` by `size_mm[1]`,
/// moved toward +x by `z tan(tilt)`. Its wall at +x overhangs: depth [`super::wall_depth_mm`] of the height below the
/// top, up to half of the size along y. The origin is the middle of the lower face.
pub fn leaning_wall(size_mm: [f64; 3], tilt_deg: f64, edge_mm: f64) -> Mesh {
    let slope = tan(tilt_deg.to_radians());
    block(size_mm, edge_mm, |x, y, z| {
        let up = z + 0.5 * size_mm[2];
        Point::new(x + up * slope, y, up)
    })
}

fn block(size: [f64; 3], edge: f64, place: impl Fn(f64, f64, f64) -> Point) -> Mesh {
    let n = size.map(|s| cuts(s, edge));
    let along = |k: usize, i: usize| size[k] * (i as f64 / n[k] as f64 - 0.5);
    let half = size.map(|s| 0.5 * s);
    let mut parts = Parts::default();
    parts.sheet(n[0], n[1], |i, j| place(along(0, i), along(1, j), half[2]));
    parts.sheet(n[1], n[0], |j, i| place(along(0, i), along(1, j), -half[2]));
    parts.sheet(n[1], n[2], |i, j| place(half[0], along(1, i), along(2, j)));
    parts.sheet(n[2], n[1], |j, i| place(-half[0], along(1, i), along(2, j)));
    parts.sheet(n[2], n[0], |i, j| place(along(0, j), half[1], along(2, i)));
    parts.sheet(n[0], n[2], |j, i| place(along(0, j), -half[1], along(2, i)));
    parts.mesh()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::Topology;

    #[test]
    fn blocks_are_closed_and_have_their_volume() {
        for mesh in [cuboid([2.0, 3.0, 4.0], 0.3), leaning_wall([2.0, 3.0, 4.0], 15.0, 0.3)] {
            assert!(Topology::new(&mesh).edges().iter().all(|e| e.faces == 2));
            assert!((mesh.signed_volume_mm3() - 24.0).abs() < 1e-9);
        }
    }

    #[test]
    fn a_plate_faces_up() {
        let mesh = plate([4.0, 2.0], 0.3);
        assert!((mesh.area_mm2() - 8.0).abs() < 1e-9);
        assert!((0..mesh.faces().len() as u32).all(|f| mesh.doubled_area_normal(f).z > 0.0));
    }
}
