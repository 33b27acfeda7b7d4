//! A lighter copy of a mesh for the screen. It keeps vertices of the scan where they are and leaves others out, so that what
//! is read at one of its vertices is the scan's own figure; no figure is ever taken from its triangles.

use meshopt::SimplifyOptions;

use crate::mesh::{Mesh, VertexId};

/// Vertices of a lighter mesh at most, so that two bytes can count them.
const MOST_VERTICES: usize = 65_535;

/// A lighter mesh.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DisplayMesh {
    /// Vertices of the scan that are kept, ascending.
    pub kept: Vec<VertexId>,
    /// Triangles over `kept`.
    pub faces: Vec<[u32; 3]>,
}

/// The mesh with at most `most` triangles.
pub fn display(mesh: &Mesh, most: usize) -> DisplayMesh {
    let all: Vec<u32> = mesh.faces().iter().flatten().copied().collect();
    let mut indices = if mesh.faces().len() <= most { all } else { lighter(mesh, &all, most) };
    let mut kept = used(&indices);
    if kept.len() > MOST_VERTICES {
        // Only loose triangles have so many corners of their own.
        indices.truncate(MOST_VERTICES / 3 * 3);
        kept = used(&indices);
    }
    let place = |v: u32| kept.binary_search(&v).map_or(0, |k| k as u32);
    let faces = indices.chunks_exact(3).map(|f| [place(f[0]), place(f[1]), place(f[2])]).collect();
    DisplayMesh { kept, faces }
}

/// The vertices of some corners, ascending.
fn used(corners: &[u32]) -> Vec<VertexId> {
    let mut all = corners.to_vec();
    all.sort_unstable();
    all.dedup();
    all
}

fn lighter(mesh: &Mesh, all: &[u32], most: usize) -> Vec<u32> {
    let middle = mesh.middle();
    let places: Vec<[f32; 3]> =
        mesh.vertices().iter().map(|p| p - middle).map(|v| [v.x as f32, v.y as f32, v.z as f32]).collect();
    let target = 3 * most;
    let options = SimplifyOptions::Prune;
    let mut indices = meshopt::simplify_decoder(all, &places, target, 1.0, options, None);
    if indices.len() > target {
        // A surface of many loose pieces: whole pieces are left out, the last ones first.
        indices.truncate(target);
    }
    indices
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::space::Point;

    /// A curved sheet of 2 n n triangles.
    fn sheet(n: u32) -> Mesh {
        let at = |i: u32, j: u32| {
            let (x, y) = (f64::from(i) * 0.2, f64::from(j) * 0.2);
            Point::new(1e5 + x, y, crate::space::sin(x) * crate::space::cos(y))
        };
        let vertices = (0..=n).flat_map(|i| (0..=n).map(move |j| at(i, j))).collect();
        let id = |i: u32, j: u32| i * (n + 1) + j;
        let faces = (0..n)
            .flat_map(|i| (0..n).map(move |j| (i, j)))
            .flat_map(|(i, j)| {
                [[id(i, j), id(i + 1, j), id(i, j + 1)], [id(i + 1, j), id(i + 1, j + 1), id(i, j + 1)]]
            })
            .collect();
        Mesh::new(vertices, faces).unwrap()
    }

    #[test]
    fn a_lighter_mesh_keeps_to_the_number_and_to_the_surface() {
        let mesh = sheet(60);
        let light = display(&mesh, 1000);
        assert!(light.faces.len() <= 1000 && light.faces.len() > 500, "{}", light.faces.len());
        assert!(light.faces.iter().flatten().all(|&v| (v as usize) < light.kept.len()));
        assert!(light.kept.windows(2).all(|w| w[0] < w[1]));
        // The area of the sheet is kept within a few percent: nothing fell out.
        let places = light.kept.iter().map(|&v| mesh.vertex(v)).collect();
        let area = Mesh::new(places, light.faces.clone()).unwrap().area_mm2();
        assert!((area / mesh.area_mm2() - 1.0).abs() < 0.05, "{area} of {}", mesh.area_mm2());
        assert_eq!(light, display(&mesh, 1000));
    }

    #[test]
    fn loose_triangles_never_outnumber_two_bytes() {
        let corner = |n: usize| {
            Point::new((n / 3) as f64 * 2.0 + (n % 3 == 1) as u8 as f64, (n % 3 == 2) as u8 as f64, 0.0)
        };
        let faces = (0..30_000_u32).map(|f| [3 * f, 3 * f + 1, 3 * f + 2]).collect();
        let mesh = Mesh::new((0..90_000).map(corner).collect(), faces).unwrap();
        let light = display(&mesh, 32_000);
        assert!(light.kept.len() <= MOST_VERTICES && light.faces.len() == MOST_VERTICES / 3);
        assert!(light.faces.iter().flatten().all(|&v| (v as usize) < light.kept.len()));
    }

    #[test]
    fn a_small_mesh_stays_as_it_is() {
        let mesh = sheet(4);
        assert_eq!(display(&mesh, 1000).faces.len(), mesh.faces().len());
    }
}
