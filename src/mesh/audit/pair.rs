//! Whether two scans hold the same surface.

use super::{Defect, DefectKind};
use crate::mesh::Mesh;
use crate::space::Point;

/// Two scans of different arches never agree in area and edge length to this share.
const SAME_SHARE: f64 = 1e-5;

/// Defects of a pair of scans: the same surface twice, whatever the order of its triangles, and even if one of them was
/// moved or saved with other digits. `at` is in the axes of `b`.
pub fn pair(a: &Mesh, b: &Mesh) -> Vec<Defect> {
    let Some(first) = b.vertices().first() else { return Vec::new() };
    let how = if sorted_places(a) == sorted_places(b) {
        "the same places, one for one"
    } else if same_measures(a, b) {
        "the same triangles, moved or saved with other digits"
    } else {
        return Vec::new();
    };
    vec![Defect {
        kind: DefectKind::SameFileTwice,
        count: 1,
        at: Some(*first),
        says: format!(
            "Both scans hold the same surface ({how}): one arch was given twice. Distances between them mean nothing; \
             give the scan of the other arch."
        ),
        mended: false,
    }]
}

fn sorted_places(mesh: &Mesh) -> Vec<[u64; 3]> {
    // Adding zero takes the sign from -0.0.
    let bits = |p: &Point| [p.x, p.y, p.z].map(|c| (c + 0.0).to_bits());
    let mut places: Vec<_> = mesh.vertices().iter().map(bits).collect();
    places.sort_unstable();
    places
}

fn same_measures(a: &Mesh, b: &Mesh) -> bool {
    let near = |x: f64, y: f64| (x - y).abs() <= SAME_SHARE * x.abs().max(y.abs());
    // A handful of triangles can agree by chance.
    a.faces().len() >= 100
        && a.faces().len() == b.faces().len()
        && a.vertices().len() == b.vertices().len()
        && near(a.area_mm2(), b.area_mm2())
        && near(a.mean_edge_mm(), b.mean_edge_mm())
}
