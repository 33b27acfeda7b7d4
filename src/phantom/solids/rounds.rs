//! Solids of revolution and ellipsoids.

use super::{Parts, cuts, lathe, line_to};
use crate::mesh::Mesh;
use crate::space::{Direction, Motion, Point, Vector, cos, sin, tan};
use nalgebra::{Translation3, UnitQuaternion};
use std::collections::BTreeMap;
use std::f64::consts::PI;

/// Sphere about the origin from a subdivided icosahedron, edges at most about `edge_mm`.
pub fn icosphere(radius_mm: f64, edge_mm: f64) -> Mesh {
    ellipsoid([radius_mm; 3], edge_mm)
}

/// Ellipsoid about the origin with semi-axes along x, y, z; every vertex on it.
pub fn ellipsoid(semi_axes_mm: [f64; 3], edge_mm: f64) -> Mesh {
    let longest = semi_axes_mm.iter().fold(0.0f64, |m, a| m.max(*a));
    let (mut vertices, mut faces) = icosahedron();
    // An icosahedron's edge is 1.0515 times its radius and each round halves it; 1.27 allows for the stretch of the middles.
    let mut edge = 1.0515 * longest * 1.27;
    while edge > edge_mm * 1.0001 {
        (vertices, faces) = halved(vertices, &faces);
        edge *= 0.5;
    }
    let [a, b, c] = semi_axes_mm;
    let vertices = vertices.iter().map(|v| Point::new(a * v.x, b * v.y, c * v.z)).collect();
    Parts { vertices, faces }.mesh()
}

fn icosahedron() -> (Vec<Point>, Vec<[u32; 3]>) {
    let g = 0.5 * (1.0 + 5.0f64.sqrt());
    let mut vertices = Vec::new();
    for k in 0..3 {
        for (s, t) in [(1.0, g), (-1.0, g), (1.0, -g), (-1.0, -g)] {
            let mut p = [0.0; 3];
            p[(k + 1) % 3] = s;
            p[(k + 2) % 3] = t;
            vertices.push(Point::from(Vector::from(p).normalize()));
        }
    }
    let mut faces = Vec::new();
    for i in 0..12u32 {
        for j in i + 1..12 {
            for k in j + 1..12 {
                let [a, b, c] = [i, j, k].map(|v| vertices[v as usize].coords);
                let near = |p: Vector, q: Vector| (p - q).norm() < 1.2;
                if near(a, b) && near(b, c) && near(c, a) {
                    let out = (b - a).cross(&(c - a)).dot(&a) > 0.0;
                    faces.push(if out { [i, j, k] } else { [i, k, j] });
                }
            }
        }
    }
    (vertices, faces)
}

fn halved(mut vertices: Vec<Point>, faces: &[[u32; 3]]) -> (Vec<Point>, Vec<[u32; 3]>) {
    let mut middle_of = BTreeMap::new();
    let mut out = Vec::with_capacity(faces.len() * 4);
    for &[a, b, c] in faces {
        let mut middle = |p: u32, q: u32| {
            *middle_of.entry((p.min(q), p.max(q))).or_insert_with(|| {
                let m = vertices[p as usize].coords + vertices[q as usize].coords;
                vertices.push(Point::from(m.normalize()));
                vertices.len() as u32 - 1
            })
        };
        let (ab, bc, ca) = (middle(a, b), middle(b, c), middle(c, a));
        out.extend([[a, ab, ca], [b, bc, ab], [c, ca, bc], [ab, bc, ca]]);
    }
    (vertices, out)
}

/// Sphere about the origin in circles of latitude and longitude.
pub fn lat_long_sphere(radius_mm: f64, edge_mm: f64) -> Mesh {
    let n = cuts(PI * radius_mm, edge_mm).max(8);
    let profile: Vec<[f64; 2]> = (0..=n)
        .map(|i| {
            let latitude = PI * (i as f64 / n as f64 - 0.5);
            let r = if i == 0 || i == n { 0.0 } else { radius_mm * cos(latitude) };
            [r, radius_mm * sin(latitude)]
        })
        .collect();
    lathe(&profile, 2 * n)
}

/// Undercut depth of a sphere of radius R at height `below_mm` under the equator: `R - sqrt(R^2 - h^2)`, which is
/// `R (1 - cos latitude)` (trade facts, section 10). `None` off the sphere.
pub fn sphere_depth_mm(radius_mm: f64, below_mm: f64) -> Option<f64> {
    spheroid_depth_mm(radius_mm, radius_mm, below_mm)
}

/// Undercut depth of an ellipsoid in the plane that holds z and the semi-axis `across_mm`, at `below_mm` under its
/// equator: `a (1 - sqrt(1 - h^2 / c^2))` with c = `along_mm`. Holds all round where the other horizontal axis equals
/// a; otherwise on the axis itself, for depths up to `b^2 / a`.
pub fn spheroid_depth_mm(across_mm: f64, along_mm: f64, below_mm: f64) -> Option<f64> {
    let t = below_mm / along_mm;
    (t.abs() <= 1.0).then(|| across_mm * (1.0 - (1.0 - t * t).sqrt()))
}

/// Undercut depth of a plane wall that overhangs by `tilt_deg`, `below_mm` under its upper edge: `h tan(tilt)` (trade
/// facts, section 10). Also that of a cone that widens upward.
pub fn wall_depth_mm(tilt_deg: f64, below_mm: f64) -> f64 {
    below_mm * tan(tilt_deg.to_radians())
}

fn around(radius: f64, edge: f64) -> usize {
    // A multiple of four puts vertices on both horizontal axes, where formulas are checked.
    4 * cuts(0.5 * PI * radius, edge).max(4)
}

/// Cylinder on z = 0 around the z axis; with lids where `closed`.
pub fn cylinder(radius_mm: f64, height_mm: f64, edge_mm: f64, closed: bool) -> Mesh {
    cone([radius_mm, radius_mm], height_mm, edge_mm, closed)
}

/// Frustum on z = 0: `radii_mm` below and above; wider above is the inverted cone, whose wall is undercut by
/// [`wall_depth_mm`]. A radius of 0 makes a tip. With lids where `closed`.
pub fn cone(radii_mm: [f64; 2], height_mm: f64, edge_mm: f64, closed: bool) -> Mesh {
    let [low, high] = radii_mm;
    let mut profile = Vec::new();
    if closed && low > 0.0 {
        profile.push([0.0, 0.0]);
    }
    line_to(&mut profile, [low, 0.0], edge_mm);
    line_to(&mut profile, [high, height_mm], edge_mm);
    if closed && high > 0.0 {
        line_to(&mut profile, [0.0, height_mm], edge_mm);
    }
    lathe(&profile, around(low.max(high), edge_mm))
}

/// Closed cylinder whose axis leans from z toward x by `tilt_deg`; the centre of its lower lid is the origin.
pub fn tilted_cylinder(radius_mm: f64, length_mm: f64, tilt_deg: f64, edge_mm: f64) -> Mesh {
    let axis = Direction::new_unchecked(Vector::y());
    let half = 0.5 * tilt_deg.to_radians();
    let turn = UnitQuaternion::new_unchecked(nalgebra::Quaternion::from_parts(cos(half), *axis * sin(half)));
    let motion = Motion::from_parts(Translation3::identity(), turn);
    cylinder(radius_mm, length_mm, edge_mm, true).moved(&motion)
}

/// Undercut depth of [`tilted_cylinder`] on the line of its wall that looks most downward (y = 0, greatest x), at
/// `along_mm` from the upper lid measured along the axis: `l sin(tilt)`, up to `R cos(tilt)`, beyond which the rod
/// leaves sooner toward y.
pub fn tilted_cylinder_depth_mm(radius_mm: f64, tilt_deg: f64, along_mm: f64) -> Option<f64> {
    let t = tilt_deg.to_radians();
    let depth = along_mm * sin(t);
    (depth <= radius_mm * cos(t)).then_some(depth)
}

/// Ring: a circle of radius `tube_mm` turned about the z axis at `ring_mm`. On its outer lower side the depth is
/// `tube (1 - cos latitude)`, as on a sphere.
pub fn torus_ring(ring_mm: f64, tube_mm: f64, edge_mm: f64) -> Mesh {
    let n = around(tube_mm, edge_mm);
    let profile: Vec<[f64; 2]> = (0..=n)
        .map(|i| {
            let t = 2.0 * PI * (i % n) as f64 / n as f64;
            [ring_mm + tube_mm * cos(t), tube_mm * sin(t)]
        })
        .collect();
    lathe(&profile, around(ring_mm + tube_mm, edge_mm))
}

/// A tooth reduced to a barrel: wall of circular profile, flat top, standing on z = 0.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Barrel {
    /// Radius at the height of contour, mm.
    pub belly_mm: f64,
    /// Height of the height of contour over the plate, mm.
    pub belly_at_mm: f64,
    /// Height of the flat top, mm.
    pub height_mm: f64,
    /// Radius of curvature of the wall's profile, mm; more than the heights above and below the belly.
    pub wall_mm: f64,
}

impl Barrel {
    /// Radius at height `z_mm`: `belly - (rho - sqrt(rho^2 - (z - z0)^2))`.
    pub fn radius_mm(&self, z_mm: f64) -> f64 {
        let h = z_mm - self.belly_at_mm;
        self.belly_mm - (self.wall_mm - (self.wall_mm * self.wall_mm - h * h).sqrt())
    }

    /// Undercut depth of the wall at height `z_mm`: what the radius lacks to the belly; 0 above it.
    pub fn depth_mm(&self, z_mm: f64) -> f64 {
        if z_mm >= self.belly_at_mm { 0.0 } else { self.belly_mm - self.radius_mm(z_mm) }
    }

    /// Undercut depth of the plate at `from_axis_mm`: `belly - r`, 0 outside the belly.
    pub fn plate_depth_mm(&self, from_axis_mm: f64) -> f64 {
        (self.belly_mm - from_axis_mm).max(0.0)
    }

    /// How far below the height of contour the depth reaches a gauge: `sqrt(2 rho u - u^2)`. `None` where the wall
    /// ends before.
    pub fn gauge_below_mm(&self, gauge_mm: f64) -> Option<f64> {
        let h = (2.0 * self.wall_mm * gauge_mm - gauge_mm * gauge_mm).sqrt();
        (h <= self.belly_at_mm).then_some(h)
    }

    /// Profile from its foot to the middle of its top.
    pub(super) fn profile(&self, edge: f64) -> Vec<[f64; 2]> {
        let n = cuts(self.height_mm, edge);
        // The belly is a station, so that the survey line runs through vertices.
        let below = ((n as f64 * self.belly_at_mm / self.height_mm).round() as usize).clamp(1, n.max(2) - 1);
        let above = n.max(2) - below;
        let mut profile: Vec<[f64; 2]> =
            (0..=below)
                .map(|i| self.belly_at_mm * i as f64 / below as f64)
                .chain((1..=above).map(|i| {
                    self.belly_at_mm + (self.height_mm - self.belly_at_mm) * i as f64 / above as f64
                }))
                .map(|z| [self.radius_mm(z), z])
                .collect();
        line_to(&mut profile, [0.0, self.height_mm], edge);
        profile
    }
}

/// A barrel in the middle of a round plate of radius `plate_mm`, open below, or closed by a floor 3 mm down.
pub fn barrel_on_plate(barrel: &Barrel, plate_mm: f64, edge_mm: f64, closed: bool) -> Mesh {
    let mut profile = Vec::new();
    if closed {
        profile.push([0.0, -3.0]);
        line_to(&mut profile, [plate_mm, -3.0], edge_mm);
    }
    line_to(&mut profile, [plate_mm, 0.0], edge_mm);
    line_to(&mut profile, [barrel.radius_mm(0.0), 0.0], edge_mm);
    profile.extend(barrel.profile(edge_mm).into_iter().skip(1));
    lathe(&profile, around(barrel.belly_mm, edge_mm))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::Topology;

    fn closed(mesh: &Mesh) -> bool {
        Topology::new(mesh).edges().iter().all(|e| e.faces == 2)
    }

    #[test]
    fn closed_solids_are_watertight_and_face_outward() {
        let barrel = Barrel { belly_mm: 4.0, belly_at_mm: 3.0, height_mm: 6.0, wall_mm: 6.0 };
        let solids = [
            (icosphere(5.0, 0.4), 4.0 / 3.0 * PI * 125.0),
            (lat_long_sphere(5.0, 0.4), 4.0 / 3.0 * PI * 125.0),
            (ellipsoid([3.0, 4.0, 6.0], 0.4), 4.0 / 3.0 * PI * 72.0),
            (cylinder(3.0, 5.0, 0.4, true), PI * 45.0),
            (tilted_cylinder(3.0, 5.0, 20.0, 0.4), PI * 45.0),
            (cone([2.0, 4.0], 5.0, 0.4, true), PI * 5.0 / 3.0 * 28.0),
            (cone([2.0, 0.0], 5.0, 0.4, true), PI * 5.0 / 3.0 * 4.0),
            (torus_ring(6.0, 2.0, 0.4), 2.0 * PI * PI * 24.0),
        ];
        for (i, (mesh, volume)) in solids.iter().enumerate() {
            assert!(closed(mesh), "solid {i} has a border");
            let got = mesh.signed_volume_mm3();
            assert!(got > 0.97 * volume && got < 1.0001 * volume, "solid {i}: {got} against {volume}");
        }
        assert!(closed(&barrel_on_plate(&barrel, 9.0, 0.4, true)));
        assert!(barrel_on_plate(&barrel, 9.0, 0.4, true).signed_volume_mm3() > PI * 81.0 * 3.0);
        let open = barrel_on_plate(&barrel, 9.0, 0.4, false);
        assert!(Topology::new(&open).edges().iter().any(|e| e.faces == 1));
    }

    #[test]
    fn edges_keep_the_wanted_length() {
        for edge in [0.1, 0.2, 0.4] {
            let mesh = icosphere(5.0, edge);
            for f in 0..mesh.faces().len() as u32 {
                let [a, b, _] = mesh.corners(f);
                assert!((a - b).norm() <= edge * 1.001);
            }
        }
    }

    #[test]
    fn depths_agree_with_the_trade_facts() {
        // Section 10: height under the equator at which gauges 0.25, 0.50, 0.75 are reached.
        let table =
            [(5.0, [1.561, 2.179, 2.634]), (4.0, [1.392, 1.936, 2.332]), (6.0, [1.714, 2.398, 2.905])];
        for (radius, heights) in table {
            for (h, u) in heights.iter().zip([0.25, 0.50, 0.75]) {
                assert!((sphere_depth_mm(radius, *h).unwrap() - u).abs() < 6e-4);
            }
        }
        assert!((wall_depth_mm(10.0, 1.42) - 0.25).abs() < 2e-3);
        assert!((wall_depth_mm(5.0, 5.72) - 0.50).abs() < 2e-3);
        let barrel = Barrel { belly_mm: 4.0, belly_at_mm: 3.0, height_mm: 6.0, wall_mm: 5.0 };
        let h = barrel.gauge_below_mm(0.25).unwrap();
        assert!((h - 1.561).abs() < 1e-3 && (barrel.depth_mm(3.0 - h) - 0.25).abs() < 1e-12);
    }
}
