//! Flat faces that were trimmed on a model: its base and its sides.

use crate::mesh::{FaceId, Mesh, Topology};
use crate::space::{Direction, Vector, cos, direction, sin};

/// Turn between neighbouring triangles that still lie in one flat face, degrees.
const FLAT_DEG: f64 = 2.0;
/// Least area of a flat face that was trimmed on a model, mm2.
const BASE_MM2: f64 = 80.0;
/// Least length of the mean normal of a trimmed face.
const BASE_STRAIGHT: f64 = 0.99;
/// Greatest thickness of a trimmed face, mm.
const BASE_THICK_MM: f64 = 0.6;

/// Triangles of flat trimmed faces of a model: large, plane patches such as no tissue forms. Looked for once a topology.
pub fn faces<'t>(mesh: &Mesh, topology: &'t Topology) -> &'t [bool] {
    topology.trimmed(|| find(mesh, topology))
}

fn find(mesh: &Mesh, topology: &Topology) -> Vec<bool> {
    let normals: Vec<Option<Vector>> = (0..mesh.faces().len() as u32).map(|f| mesh.face_normal(f)).collect();
    let least = cos(FLAT_DEG.to_radians());
    let mut group = vec![u32::MAX; mesh.faces().len()];
    let mut flat = vec![false; mesh.faces().len()];
    let mut patch: Vec<FaceId> = Vec::new();
    for seed in 0..mesh.faces().len() {
        let (Some(_), true) = (normals[seed], group[seed] == u32::MAX) else { continue };
        patch.clear();
        patch.push(seed as FaceId);
        let mut next = 0;
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

/// Sides of a base stand square to its bottom within this, degrees.
const SQUARE_DEG: f64 = 8.0;
/// Least surface of trimmed faces that tells a base, mm2.
const TELLING_MM2: f64 = 1200.0;

/// No base has more faces than this.
const MOST_PATCHES: usize = 64;

/// The axis that a trimmed base was cut along: out of its bottom, or square to its sides; without a sign. `None` where
/// the trimmed faces (as [`faces`] marks them) do not settle it.
pub fn axis(mesh: &Mesh, trimmed: &[bool]) -> Option<Direction> {
    let normals: Vec<Vector> = (0..mesh.faces().len() as u32)
        .filter(|f| trimmed.get(*f as usize).copied().unwrap_or(false))
        .map(|f| mesh.doubled_area_normal(f) / 2.0)
        .collect();
    let patches = patches(&normals);
    let total: f64 = patches.iter().map(|p| p.norm()).sum();
    if total < TELLING_MM2 {
        return None;
    }
    let mut candidates: Vec<Vector> = patches.clone();
    for (i, a) in patches.iter().enumerate() {
        candidates.extend(patches[i + 1..].iter().map(|b| a.cross(b)));
    }
    let (square, along) = (sin(SQUARE_DEG.to_radians()), cos(SQUARE_DEG.to_radians()));
    let fits = |d: &Direction, p: &Vector| {
        let c = (p.dot(d) / p.norm()).abs();
        c < square || c > along
    };
    let score = |d: &Direction| -> f64 { patches.iter().filter(|p| fits(d, p)).map(|p| p.norm()).sum() };
    let mut best: Option<(f64, Direction)> = None;
    for d in candidates.into_iter().filter_map(direction) {
        // An axis has sides around it: patches square to it that face more than one way.
        let sides: Vec<&Vector> = patches.iter().filter(|p| (p.dot(&d) / p.norm()).abs() < square).collect();
        let around =
            sides.iter().any(|a| sides.iter().any(|b| a.cross(b).norm() > 0.3 * a.norm() * b.norm()));
        let value = score(&d);
        if around && best.as_ref().is_none_or(|b| value > b.0) {
            best = Some((value, d));
        }
    }
    let (_, d) = best.filter(|b| b.0 > 0.7 * total)?;
    Some(squared(&patches, &d, square, along).unwrap_or(d))
}

/// Normals that differ little, joined; by area, the largest first.
fn patches(normals: &[Vector]) -> Vec<Vector> {
    let mut out: Vec<Vector> = Vec::new();
    for n in normals.iter().filter(|n| n.norm() > 0.0) {
        match out.iter().position(|p| p.dot(n) > 0.99 * p.norm() * n.norm()) {
            Some(i) => out[i] += n,
            None if out.len() < MOST_PATCHES => out.push(*n),
            None => {}
        }
    }
    out.retain(|p| p.norm() > BASE_MM2 / 2.0);
    out.sort_by(|a, b| b.norm().total_cmp(&a.norm()));
    out
}

/// The axis to which sides are most nearly square and bottoms most nearly parallel, near a rough one.
fn squared(patches: &[Vector], rough: &Direction, square: f64, along: f64) -> Option<Direction> {
    let mut m = nalgebra::Matrix3::zeros();
    for p in patches {
        let n = p / p.norm();
        let c = n.dot(rough).abs();
        let sign = if c < square {
            1.0
        } else if c > along {
            -1.0
        } else {
            continue;
        };
        for i in 0..3 {
            for j in 0..3 {
                m[(i, j)] += sign * p.norm() * n[i] * n[j];
            }
        }
    }
    let eigen: nalgebra::SymmetricEigen<f64, nalgebra::Const<3>> = m.symmetric_eigen();
    let least = (0..3).min_by(|&a, &b| eigen.eigenvalues[a].total_cmp(&eigen.eigenvalues[b]))?;
    direction(eigen.eigenvectors.column(least).into_owned())
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
            let flat = find(mesh, &Topology::new(mesh));
            flat.iter().filter(|f| **f).count() as f64 / flat.len() as f64
        };
        assert_eq!(share(&field(0.0)), 1.0);
        assert_eq!(share(&field(0.02)), 0.0);
    }

    #[test]
    fn the_axis_of_a_prism_is_told_and_a_lone_plate_has_none() {
        // A trimmed base with five sides: its axis leans.
        let axis = direction(Vector::new(0.2, -0.3, 1.0)).unwrap();
        let (u, v) = crate::space::across(&axis);
        let corner = |k: usize, h: f64| {
            let turn = std::f64::consts::TAU * k as f64 / 5.0;
            Point::origin() + u * (30.0 * cos(turn)) + v * (30.0 * sin(turn)) + axis.into_inner() * h
        };
        let mut vertices: Vec<Point> = (0..5).map(|k| corner(k, 0.0)).collect();
        vertices.extend((0..5).map(|k| corner(k, 20.0)));
        let mut faces: Vec<[u32; 3]> = (0..5u32)
            .flat_map(|k| [[k, (k + 1) % 5, 5 + k], [(k + 1) % 5, 5 + (k + 1) % 5, 5 + k]])
            .collect();
        faces.extend([[0, 2, 1], [0, 3, 2], [0, 4, 3]]);
        let mesh = Mesh::new(vertices, faces).unwrap();
        let flat = find(&mesh, &Topology::new(&mesh));
        let found = super::axis(&mesh, &flat).unwrap();
        assert!(found.dot(&axis).abs() > 0.99999, "{found:?}");
        let plate = |v: Vec<Point>| Mesh::new(v, vec![[0, 1, 2], [0, 2, 3]]).unwrap();
        let p = |x: f64, y: f64| Point::new(x, y, 0.0);
        let mesh = plate(vec![p(0.0, 0.0), p(60.0, 0.0), p(60.0, 60.0), p(0.0, 60.0)]);
        assert!(super::axis(&mesh, &[true, true]).is_none(), "no sides around it");
    }
}
