//! Plates and domes with closed-form distances, for the tests of the measures of room.

use crate::mesh::Mesh;
use crate::space::{Direction, Point, Vector};

/// A sheet over the square `side_mm` around (0, 0), edge length `edge_mm`, at the height that `height` gives for
/// (x, y); `up` turns its normals toward +z.
pub(crate) fn sheet(side_mm: f64, edge_mm: f64, up: bool, height: impl Fn(f64, f64) -> f64) -> Mesh {
    let n = (side_mm / edge_mm).round() as u32;
    let at = |i: u32| side_mm * (f64::from(i) / f64::from(n) - 0.5);
    let vertices = (0..(n + 1) * (n + 1))
        .map(|k| (at(k % (n + 1)), at(k / (n + 1))))
        .map(|(x, y)| Point::new(x, y, height(x, y)))
        .collect();
    let mut faces = Vec::new();
    for k in (0..n * n).map(|k| k / n * (n + 1) + k % n) {
        faces.extend([[k, k + 1, k + n + 2], [k, k + n + 2, k + n + 1]]);
    }
    let mesh = Mesh::new(vertices, faces).unwrap();
    if up { mesh } else { mesh.turned_over() }
}

/// A closed sphere of rings and sectors with edges of about `edge_mm`, normals outward.
pub(crate) fn sphere(centre: Point, radius_mm: f64, edge_mm: f64) -> Mesh {
    use crate::space::{cos, sin};
    let rings = (std::f64::consts::PI * radius_mm / edge_mm).ceil() as u32;
    let sectors = 2 * rings;
    let mut vertices = vec![centre + Vector::z() * radius_mm, centre - Vector::z() * radius_mm];
    for j in 1..rings {
        let theta = std::f64::consts::PI * f64::from(j) / f64::from(rings);
        for i in 0..sectors {
            let phi = std::f64::consts::TAU * f64::from(i) / f64::from(sectors);
            vertices.push(
                centre + Vector::new(sin(theta) * cos(phi), sin(theta) * sin(phi), cos(theta)) * radius_mm,
            );
        }
    }
    let id = |j: u32, i: u32| 2 + (j - 1) * sectors + i % sectors;
    let mut faces = Vec::new();
    for i in 0..sectors {
        faces.push([0, id(1, i), id(1, i + 1)]);
        faces.push([1, id(rings - 1, i + 1), id(rings - 1, i)]);
        for j in 1..rings - 1 {
            faces.extend([
                [id(j, i), id(j + 1, i), id(j + 1, i + 1)],
                [id(j, i), id(j + 1, i + 1), id(j, i + 1)],
            ]);
        }
    }
    Mesh::new(vertices, faces).unwrap()
}

/// +z.
pub(crate) fn up() -> Direction {
    Direction::new_unchecked(Vector::z())
}
