//! Area of the surface that is undercut: triangles clipped where the shadow of what stands above ends.

use crate::measure::undercut::{TiltedCast, UndercutField};
use crate::mesh::{FaceId, Mesh};
use crate::space::Point;

/// What stands less than this above a place does not make it undercut, mm.
const LEVEL_MM: f64 = 1e-6;
/// Halvings of an edge on which the undercut ends: a 4096th of its length.
const HALVINGS: usize = 12;

/// Undercut area of some triangles, mm2. A triangle with corners that were not measured counts for nothing.
pub fn undercut_area_mm2(
    mesh: &Mesh,
    cast: &TiltedCast<'_>,
    field: &UndercutField,
    faces: impl Iterator<Item = FaceId>,
) -> f64 {
    faces.map(|f| mesh.face_area_mm2(f) * undercut_share(mesh, cast, field, f)).sum()
}

fn undercut_share(mesh: &Mesh, cast: &TiltedCast<'_>, field: &UndercutField, face: FaceId) -> f64 {
    let Some(corners) = mesh.faces().get(face as usize) else { return 0.0 };
    let depth = corners.map(|v| field.depth_mm.get(v as usize).copied().flatten());
    let [Some(a), Some(b), Some(c)] = depth else { return 0.0 };
    let under = [a, b, c].map(|d| d > 0.0);
    let count = under.iter().filter(|u| **u).count();
    if count == 3 {
        return 1.0;
    }
    if count == 0 {
        // The corner of an underside may have all its corners on the contour.
        let down = mesh.doubled_area_normal(face).dot(&cast.direction()) < 0.0;
        return f64::from(u8::from(down && covered(cast, &mesh.face_centre(face))));
    }
    // The corner that is alone in its state, and the part of its two edges that shares it.
    let Some(lone) = (0..3).find(|&k| under[k] == (count == 1)) else { return 0.0 };
    let p = mesh.corners(face);
    let part: f64 =
        [1, 2].iter().map(|k| same_part(cast, &p[lone], &p[(lone + k) % 3], under[lone])).product();
    if under[lone] { part } else { 1.0 - part }
}

/// Share of an edge from its first end, over which the state of that end holds.
fn same_part(cast: &TiltedCast<'_>, from: &Point, to: &Point, under: bool) -> f64 {
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..HALVINGS {
        let middle = (low + high) / 2.0;
        let at = from + (to - from) * middle;
        if covered(cast, &at) == under { low = middle } else { high = middle }
    }
    (low + high) / 2.0
}

fn covered(cast: &TiltedCast<'_>, at: &Point) -> bool {
    cast.highest_above_mm(at).is_some_and(|mm| mm > LEVEL_MM)
}
