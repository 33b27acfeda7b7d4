//! Quantity: suprabulge and infrabulge of a crown.
//!
//! Suprabulge: the portion of a crown that converges toward the occlusal surface, above the survey line; infrabulge: the
//! portion apical to it (Glossary of Prosthodontic Terms, key G9).
//!
//! Definition: for the withdrawal direction, suprabulge is the area of the crown above the gingival margin that is free
//! (nothing stands above it), infrabulge the area that is undercut.
//!
//! Frame and units: mm2, areas of the surface itself, not of its plan.
//!
//! Method and its error: a triangle whose corners are all undercut counts whole. Any other is divided where the normal,
//! interpolated between its corners, is square to the path, as the survey line is; where no corner leans below that, in
//! the middle of the sides between free and undercut corners (the edge of what another part hides). Off by what the line is off: under a tenth of an
//! edge times the length of the line.
//!
//! Not covered: the crown under the gingiva.
//!
//! Checked by: a sphere and a barrel, below.

use super::undercut::UndercutField;
use crate::mesh::{FaceId, Mesh};
use crate::space::Vector;

/// A normal is square to the path within this (sine): rounding of walls along the path, as in `survey_line`.
const SQUARE: f64 = 1e-5;

/// Areas of a crown.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct BulgeAreas {
    /// Above the survey line, mm2.
    pub suprabulge_mm2: f64,
    /// Below it, mm2.
    pub infrabulge_mm2: f64,
}

/// Divides the triangles `faces` of a crown; `normals` are those of the vertices of the whole mesh.
pub fn areas(mesh: &Mesh, normals: &[Vector], faces: &[FaceId], field: &UndercutField) -> BulgeAreas {
    let mut sum = BulgeAreas::default();
    let under = |v: u32| field.depth_mm.get(v as usize).copied().flatten().map(|d| d > 0.0);
    let lean = |v: u32| normals.get(v as usize).map_or(0.0, |m| m.dot(&field.direction));
    for &f in faces {
        let corners = mesh.faces()[f as usize];
        let [Some(a), Some(b), Some(c)] = corners.map(under) else { continue };
        let share = if a && b && c { 1.0 } else { below(corners.map(lean), [a, b, c]) };
        let area = mesh.face_area_mm2(f);
        sum.infrabulge_mm2 += area * share;
        sum.suprabulge_mm2 += area * (1.0 - share);
    }
    sum
}

/// Share of a triangle with a free corner that lies below the survey line: by the lean of the normals at its corners; where
/// none of them leans below, what another part hides: by the undercut corners.
fn below(lean: [f64; 3], under: [bool; 3]) -> f64 {
    let down = lean.map(|g| g < -SQUARE);
    if down.iter().any(|d| *d) {
        return lone_share(down, |a, b| {
            let (up, down) = (lean[a].max(lean[b]).max(0.0), lean[a].min(lean[b]));
            let from_up = up / (up - down);
            if lean[a] > lean[b] { from_up } else { 1.0 - from_up }
        });
    }
    lone_share(under, |_, _| 0.5)
}

/// Share of a triangle that the corners with `set` keep, where each side between unlike corners is cut at a share from
/// its first corner.
fn lone_share(set: [bool; 3], cut: impl Fn(usize, usize) -> f64) -> f64 {
    let count = set.iter().filter(|s| **s).count();
    if count == 0 || count == 3 {
        return if count == 3 { 1.0 } else { 0.0 };
    }
    let alone = set.iter().position(|s| *s == (count == 1)).unwrap_or(0);
    let kept = cut(alone, (alone + 1) % 3) * cut(alone, (alone + 2) % 3);
    if count == 1 { kept } else { 1.0 - kept }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::undercut::Surveyor;
    use crate::mesh::Topology;
    use crate::phantom::solids::{self, Barrel};
    use crate::space::direction;
    use std::f64::consts::PI;

    fn of(mesh: &Mesh, keep: impl Fn(f64) -> bool) -> BulgeAreas {
        let faces: Vec<u32> =
            (0..mesh.faces().len() as u32).filter(|&f| keep(mesh.face_centre(f).z)).collect();
        let field = Surveyor::new(mesh, &Topology::new(mesh)).field(&direction(Vector::z()).unwrap());
        areas(mesh, mesh.vertex_normals(), &faces, &field)
    }

    #[test]
    fn half_of_a_sphere_is_suprabulge() {
        for mesh in [solids::icosphere(5.0, 0.25), solids::lat_long_sphere(5.0, 0.25)] {
            let got = of(&mesh, |_| true);
            let half = 2.0 * PI * 25.0;
            assert!((got.suprabulge_mm2 / half - 1.0).abs() < 0.005, "{got:?} {half}");
            assert!((got.infrabulge_mm2 / half - 1.0).abs() < 0.005, "{got:?} {half}");
        }
    }

    #[test]
    fn the_wall_of_a_barrel_below_its_belly_is_infrabulge() {
        let barrel = Barrel { belly_mm: 4.0, belly_at_mm: 3.0, height_mm: 6.0, wall_mm: 6.0 };
        let mesh = solids::barrel_on_plate(&barrel, 7.0, 0.2, false);
        let got = of(&mesh, |z| z > 1e-6);
        // A ring of a circle's arc: 2 pi times the integral of the radius over the arc from 0 to asin(3 / 6).
        let arc = crate::space::asin(0.5);
        let wanted = 2.0 * PI * ((4.0 - 6.0) * 6.0 * arc + 36.0 * 0.5);
        assert!((got.infrabulge_mm2 / wanted - 1.0).abs() < 0.005, "{got:?} {wanted}");
        let top = PI * barrel.radius_mm(6.0) * barrel.radius_mm(6.0);
        assert!((got.suprabulge_mm2 / (wanted + top) - 1.0).abs() < 0.005, "{got:?}");
    }
}
