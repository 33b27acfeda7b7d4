//! Quantity: guiding plane beside a span.
//!
//! Two or more vertically parallel surfaces of abutments that direct the denture in its placement and removal (Glossary
//! of Prosthodontic Terms, ninth edition: "guiding planes").
//!
//! Definition: the largest connected part of the proximal surface beside the span that leans from the withdrawal
//! direction by no more than a band. Height is its extent along the direction, width its extent across it along the
//! surface.
//!
//! Frame and units: mm; lean in degrees, the greatest within the part.
//!
//! Method and its error: triangles by their own normal or by the mean of their vertices' normals, so that neither flat
//! prepared planes nor rough scans lose their rims; extents are off by up to one edge of the mesh at either end.
//!
//! Not covered: whether several planes are parallel enough to each other. What would have to go for a plane:
//! `plane_preparation`.
//!
//! Checked by: a box whose walls lean by known angles, a barrel (height of the band on a circle), below.

use super::tooth_axes::ToothAxes;
use crate::anatomy::Crown;
use crate::case::Surface;
use crate::mesh::{FaceId, Mesh, Topology};
use crate::space::{Direction, Vector, asin};

/// A triangle on the side of the span belongs to the surface there where its normal turns from that side's outward
/// direction by less than 45 degrees (cosine).
const FACING: f64 = 0.7;

/// A part of a surface that runs along the path.
#[derive(Clone, Debug, PartialEq)]
pub struct GuidingPlane {
    /// Which surface.
    pub surface: Surface,
    /// Extent along the path, mm.
    pub height_mm: f64,
    /// Extent across it, mm.
    pub width_mm: f64,
    /// Greatest lean from the path within it, degrees.
    pub deviation_deg: f64,
    /// Its triangles, ascending.
    pub faces: Vec<FaceId>,
}

/// What is asked: a surface of a crown and a band.
#[derive(Clone, Copy, Debug)]
pub struct PlaneAsked<'a> {
    /// The cast.
    pub mesh: &'a Mesh,
    /// Its adjacency.
    pub topology: &'a Topology,
    /// Unit normals of its vertices.
    pub normals: &'a [Vector],
    /// The crown.
    pub crown: &'a Crown,
    /// Its axes.
    pub axes: &'a ToothAxes,
    /// The surface beside the span.
    pub surface: Surface,
    /// The withdrawal direction.
    pub direction: Direction,
    /// Greatest lean allowed, degrees.
    pub band_deg: f64,
}

/// The largest part within the band; `None` where no triangle of the surface is.
pub fn find(asked: &PlaneAsked<'_>) -> Option<GuidingPlane> {
    find_where(asked, |_| true)
}

/// The largest part within the band among the triangles that `keep` allows.
pub fn find_where(asked: &PlaneAsked<'_>, keep: impl Fn(FaceId) -> bool) -> Option<GuidingPlane> {
    let leans: Vec<(FaceId, f64)> = asked
        .crown
        .faces
        .iter()
        .filter(|&&f| keep(f))
        .filter_map(|&f| Some((f, lean_deg(asked, asked.normals, f)?)))
        .filter(|(_, lean)| *lean <= asked.band_deg)
        .collect();
    let faces: Vec<FaceId> = leans.iter().map(|(f, _)| *f).collect();
    let piece = largest_piece(asked, &faces);
    if piece.is_empty() {
        return None;
    }
    let d = asked.direction.into_inner();
    let facing: crate::space::Vector = piece.iter().map(|&f| asked.mesh.doubled_area_normal(f)).sum();
    let across = d.cross(&facing).try_normalize(1e-9)?;
    let corners = || piece.iter().flat_map(|&f| asked.mesh.corners(f));
    let extent = |axis: &crate::space::Vector| {
        let (lo, hi) = corners().fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), p| {
            let x = p.coords.dot(axis);
            (lo.min(x), hi.max(x))
        });
        hi - lo
    };
    let deviation_deg = leans
        .iter()
        .filter(|(f, _)| piece.binary_search(f).is_ok())
        .map(|(_, lean)| *lean)
        .fold(0.0, f64::max);
    Some(GuidingPlane {
        surface: asked.surface,
        height_mm: extent(&d),
        width_mm: extent(&across),
        deviation_deg,
        faces: piece,
    })
}

/// Lean of a triangle from the path, degrees; `None` where it is not of the surface.
fn lean_deg(asked: &PlaneAsked<'_>, normals: &[crate::space::Vector], f: FaceId) -> Option<f64> {
    let own = asked.mesh.face_normal(f)?;
    let outward = asked.axes.outward(asked.surface);
    if (asked.mesh.face_centre(f) - asked.axes.centre).dot(&outward) <= 0.0 {
        return None;
    }
    // Turned so that an inside-out scan reads the same.
    if own.dot(&outward).abs() < FACING {
        return None;
    }
    let mean: crate::space::Vector =
        asked.mesh.faces()[f as usize].iter().map(|&v| normals[v as usize]).sum();
    let lean = |n: crate::space::Vector| asin(n.dot(&asked.direction)).to_degrees().abs();
    let of_mean = mean.try_normalize(1e-9).map_or(f64::INFINITY, lean);
    Some(lean(own).min(of_mean))
}

/// The connected part with the greatest area; the one with the lowest triangle where several are equal.
fn largest_piece(asked: &PlaneAsked<'_>, faces: &[FaceId]) -> Vec<FaceId> {
    let mut seen = vec![false; faces.len()];
    let mut best: (f64, Vec<FaceId>) = (0.0, Vec::new());
    for start in 0..faces.len() {
        if seen[start] {
            continue;
        }
        seen[start] = true;
        let (mut piece, mut todo, mut area) = (Vec::new(), vec![start], 0.0);
        while let Some(i) = todo.pop() {
            piece.push(faces[i]);
            area += asked.mesh.face_area_mm2(faces[i]);
            for e in asked.topology.edges_of_face(faces[i]) {
                for g in asked.topology.faces_of_edge(e) {
                    if let Ok(k) = faces.binary_search(g)
                        && !seen[k]
                    {
                        seen[k] = true;
                        todo.push(k);
                    }
                }
            }
        }
        if area > best.0 {
            piece.sort_unstable();
            best = (area, piece);
        }
    }
    best.1
}

#[cfg(test)]
mod tests {
    use super::super::tooth_axes::tests::{anatomy, part};
    use super::*;
    use crate::phantom::solids::{self, Barrel};
    use crate::space::{Vector, cos, direction, sin};

    fn on(mesh: &Mesh, tooth: u8, lean_deg: f64, band_deg: f64) -> Option<GuidingPlane> {
        let faces = (0..mesh.faces().len() as u32).filter(|&f| mesh.face_centre(f).z > 0.01).collect();
        let crown = part(mesh, tooth, faces);
        let axes = ToothAxes::of(mesh, &crown, &anatomy(true, vec![crown.clone()], 1)).unwrap();
        let t = lean_deg.to_radians();
        let direction = direction(axes.mesial * sin(t) + Vector::z() * cos(t)).unwrap();
        find(&PlaneAsked {
            mesh,
            topology: &Topology::new(mesh),
            normals: mesh.vertex_normals(),
            crown: &crown,
            axes: &axes,
            surface: Surface::Mesial,
            direction,
            band_deg,
        })
    }

    #[test]
    fn a_box_wall_is_a_plane_of_its_own_height_within_its_band() {
        // Tooth 48: mesial is nearly +y.
        let up = crate::space::Motion::translation(0.0, 0.0, 2.0);
        let mesh = solids::cuboid([6.0, 7.0, 4.0], 0.25).moved(&up);
        let plane = on(&mesh, 48, 0.0, 2.0).unwrap();
        assert!((plane.height_mm - 4.0).abs() < 0.3 && plane.deviation_deg < 1e-6, "{}", plane.height_mm);
        assert!((plane.width_mm - 6.0).abs() < 0.3, "{}", plane.width_mm);
        // Leaning by 3 degrees: no plane of 2, a plane of 5.
        assert!(on(&mesh, 48, 3.0, 2.0).is_none_or(|p| p.width_mm * p.height_mm < 2.0));
        let leaning = on(&mesh, 48, 3.0, 5.0).unwrap();
        assert!((leaning.height_mm - 4.0).abs() < 0.6 && (leaning.deviation_deg - 3.0).abs() < 0.2);
    }

    #[test]
    fn on_a_barrel_the_band_is_that_of_its_circle() {
        let barrel = Barrel { belly_mm: 4.0, belly_at_mm: 3.0, height_mm: 6.0, wall_mm: 6.0 };
        let mesh = solids::barrel_on_plate(&barrel, 6.0, 0.1, false);
        let plane = on(&mesh, 48, 0.0, 5.0).unwrap();
        let wanted = 2.0 * 6.0 * sin(5f64.to_radians());
        assert!((plane.height_mm - wanted).abs() < 0.25, "{} {wanted}", plane.height_mm);
    }
}
