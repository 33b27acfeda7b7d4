//! Crowns: their surface, and those that labels give.

use std::collections::{BTreeMap, BTreeSet};

use super::{Crown, Origin, curves};
use crate::case::Tooth;
use crate::locate::Surface;
use crate::mesh::{FaceId, Mesh, Topology, VertexId};
use crate::space::Point;

/// Spacing of the stored margin, mm.
pub(super) const MARGIN_STEP_MM: f64 = 0.3;

/// Area-weighted middle of some triangles and their area, mm2.
pub(super) fn centre(mesh: &Mesh, faces: &[FaceId]) -> (Point, f64) {
    let (mut sum, mut area) = (crate::space::Vector::zeros(), 0.0);
    for &f in faces {
        let [a, b, c] = mesh.corners(f);
        let doubled = mesh.doubled_area_normal(f).norm();
        sum += (a.coords + b.coords + c.coords) / 3.0 * doubled;
        area += doubled;
    }
    (if area > 0.0 { Point::from(sum / area) } else { Point::origin() }, area / 2.0)
}

/// A crown of some triangles; `None` where they have no area.
pub(super) fn crown(
    mesh: &Mesh,
    tooth: Tooth,
    faces: Vec<FaceId>,
    margin: Vec<Point>,
    confidence: f64,
) -> Option<Crown> {
    let (middle, area_mm2) = centre(mesh, &faces);
    if area_mm2 <= 0.0 {
        return None;
    }
    let vertices: BTreeSet<VertexId> = faces.iter().flat_map(|&f| mesh.faces()[f as usize]).collect();
    Some(Crown {
        tooth,
        faces,
        vertices: vertices.into_iter().collect(),
        margin,
        centre: middle,
        area_mm2,
        confidence,
        origin: Origin::Given,
    })
}

/// The number that two corners of a triangle bear at least, else 0.
pub fn of_corners([a, b, c]: [u8; 3]) -> u8 {
    if a == b || a == c {
        a
    } else if b == c {
        b
    } else {
        0
    }
}

/// Crowns from one FDI number a vertex: of each number the largest piece of triangles with at least two such corners.
pub fn from_labels(surface: &Surface, topology: &Topology, labels: &[u8]) -> Vec<Crown> {
    let mesh = surface.mesh();
    let mut number = vec![0u8; mesh.faces().len()];
    let mut by_number: BTreeMap<u8, Vec<FaceId>> = BTreeMap::new();
    for (f, corners) in mesh.faces().iter().enumerate() {
        let most = of_corners(corners.map(|v| labels.get(v as usize).copied().unwrap_or(0)));
        number[f] = most;
        if most != 0 {
            by_number.entry(most).or_default().push(f as FaceId);
        }
    }
    let mut crowns = Vec::new();
    for (n, faces) in by_number {
        let Some(tooth) = Tooth::fdi(n) else { continue };
        let faces = largest_piece(mesh, topology, &faces, &number, n);
        let margin = border_curve(surface, &faces);
        let confidence = if margin.is_empty() { 0.5 } else { 0.9 };
        crowns.extend(crown(mesh, tooth, faces, margin, confidence).filter(|c| c.area_mm2 > 5.0));
    }
    crowns
}

fn largest_piece(mesh: &Mesh, topology: &Topology, faces: &[FaceId], number: &[u8], n: u8) -> Vec<FaceId> {
    let mut left: BTreeSet<FaceId> = faces.iter().copied().collect();
    let mut best: (f64, Vec<FaceId>) = (0.0, Vec::new());
    while let Some(seed) = left.pop_first() {
        let (mut piece, mut queue) = (vec![seed], vec![seed]);
        while let Some(f) = queue.pop() {
            for e in topology.edges_of_face(f) {
                for &g in topology.faces_of_edge(e) {
                    if number[g as usize] == n && left.remove(&g) {
                        piece.push(g);
                        queue.push(g);
                    }
                }
            }
        }
        let (_, area) = centre(mesh, &piece);
        if area > best.0 {
            best = (area, piece);
        }
    }
    best.1.sort_unstable();
    best.1
}

/// The longest border of a patch as a closed curve, its steps along triangle sides smoothed; empty without a border.
pub(super) fn border_curve(surface: &Surface, faces: &[FaceId]) -> Vec<Point> {
    let (part, old_of) = surface.mesh().part_of(faces);
    let around = |chain: &[VertexId]| -> Vec<Point> {
        chain.iter().map(|&v| surface.mesh().vertex(old_of[v as usize])).collect()
    };
    let mut best: (f64, Vec<Point>) = (0.0, Vec::new());
    for chain in Topology::new(&part).border_loops(&part) {
        let points = around(&chain);
        let length = curves::length_mm(&points);
        if length > best.0 {
            best = (length, points);
        }
    }
    let mut curve = best.1;
    let Some(&first) = curve.first() else { return curve };
    curve.push(first);
    curve = curves::evenly(&curve, MARGIN_STEP_MM);
    curve.pop();
    for _ in 0..6 {
        let n = curve.len();
        let smooth: Vec<Point> = (0..n)
            .map(|i| {
                let beside = (curve[(i + 1) % n].coords + curve[(i + n - 1) % n].coords) / 2.0;
                Point::from((curve[i].coords + beside) / 2.0)
            })
            .collect();
        curve = smooth;
    }
    curve.iter().filter_map(|p| surface.closest(p)).map(|c| c.at).collect()
}

#[cfg(test)]
mod tests {
    use super::super::test_casts::{FieldCast, overlap, radius};
    use super::*;
    use crate::case::Arch;

    #[test]
    fn labels_give_crowns_with_closed_margins() {
        let cast = FieldCast::new(Arch::Maxilla, &|t| t.place() != 5, 0.5);
        let labels: Vec<u8> = cast
            .mesh
            .vertices()
            .iter()
            .map(|p| {
                let near = cast
                    .centres
                    .iter()
                    .find(|(t, c)| crate::space::hypot(p.x - c[0], p.y - c[1]) < radius(*t));
                near.map_or(0, |(t, _)| t.number())
            })
            .collect();
        let crowns = from_labels(&Surface::new(&cast.mesh), &Topology::new(&cast.mesh), &labels);
        assert_eq!(crowns.len(), cast.centres.len());
        for c in &crowns {
            assert!(overlap(&cast, c) > 0.75, "{}: {}", c.tooth, overlap(&cast, c));
            let circle = std::f64::consts::TAU * radius(c.tooth);
            let around = curves::length_mm(&c.margin) / circle;
            // The gum falls away to both sides, so that the margin is a little longer than its circle in plan.
            assert!((0.9..1.35).contains(&around), "{}: {around}", c.tooth);
        }
    }
}
