//! Pairs of surfaces whose distance is known: tissue below, facing +z; opposing above, facing -z.

use super::sheets::plate;
use super::{Parts, cuts};
use crate::mesh::Mesh;
use crate::space::{Point, cos, sin, tan};

/// Two parallel plates, `gap_mm` apart: along and nearest are both the gap (negative for an overlap).
pub fn plate_pair(size_mm: [f64; 2], gap_mm: f64, edge_mm: f64) -> (Mesh, Mesh) {
    tilted_plate_pair(size_mm, gap_mm, 0.0, edge_mm)
}

/// The same with the upper plate `z = gap + x tan(tilt)`. Over (x, y), away from its border: along is that height,
/// nearest is `(gap + x tan(tilt)) cos(tilt)`.
pub fn tilted_plate_pair(size_mm: [f64; 2], gap_mm: f64, tilt_deg: f64, edge_mm: f64) -> (Mesh, Mesh) {
    let tissue = plate(size_mm, edge_mm);
    let slope = tan(tilt_deg.to_radians());
    let mut parts = Parts::default();
    let (nx, ny) = (cuts(size_mm[0], edge_mm), cuts(size_mm[1], edge_mm));
    parts.sheet(ny, nx, |j, i| {
        let x = size_mm[0] * (i as f64 / nx as f64 - 0.5);
        Point::new(x, size_mm[1] * (j as f64 / ny as f64 - 0.5), gap_mm + x * slope)
    });
    (tissue, parts.mesh())
}

/// A ridge crest on one side and a cusp row on the other: the least pointwise gap overstates what fits.
///
/// Tissue `z = -slope |x + offset|`, opposing `z = gap + slope |x - offset|`, both along y.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CrestAndCusp {
    /// Height of the cusps over the crest, mm.
    pub gap_mm: f64,
    /// Distance of crest and cusps from the plane x = 0, mm.
    pub offset_mm: f64,
    /// Slope of both flanks (rise over run).
    pub slope: f64,
}

impl CrestAndCusp {
    /// Least pointwise gap: `gap + 2 slope offset`, reached for all |x| <= offset.
    pub fn pointwise_mm(&self) -> f64 {
        self.gap_mm + 2.0 * self.slope * self.offset_mm
    }

    /// Room for a rigid body along z whose footprint holds both lines: `gap`.
    pub fn room_mm(&self) -> f64 {
        self.gap_mm
    }

    /// Room along an axis that leans from z toward +x by `tilt_deg`: `gap cos + 2 offset sin`. Holds while `tan(tilt)`
    /// is less than the slope and the leaning footprint still holds both lines.
    pub fn tilted_room_mm(&self, tilt_deg: f64) -> f64 {
        let t = tilt_deg.to_radians();
        self.gap_mm * cos(t) + 2.0 * self.offset_mm * sin(t)
    }
}

/// Tissue and opposing surface of a [`CrestAndCusp`], `half_mm` to each side of the origin.
pub fn crest_and_cusp(form: &CrestAndCusp, half_mm: [f64; 2], edge_mm: f64) -> (Mesh, Mesh) {
    // Stations along x that hold both lines, so that the edges lie on them.
    let mut stations = vec![-half_mm[0]];
    for to in [-form.offset_mm, form.offset_mm, half_mm[0]] {
        let from = stations.last().copied().unwrap_or(to);
        let n = cuts(to - from, edge_mm);
        stations.extend((1..=n).map(|k| from + (to - from) * k as f64 / n as f64));
    }
    let nx = stations.len() - 1;
    let ny = cuts(2.0 * half_mm[1], edge_mm);
    let y = |j: usize| half_mm[1] * (2.0 * j as f64 / ny as f64 - 1.0);
    let (mut tissue, mut opposing) = (Parts::default(), Parts::default());
    tissue.sheet(nx, ny, |i, j| {
        let x = stations[i];
        Point::new(x, y(j), -form.slope * (x + form.offset_mm).abs())
    });
    opposing.sheet(ny, nx, |j, i| {
        let x = stations[i];
        Point::new(x, y(j), form.gap_mm + form.slope * (x - form.offset_mm).abs())
    });
    (tissue.mesh(), opposing.mesh())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pairs_face_each_other() {
        let form = CrestAndCusp { gap_mm: 5.0, offset_mm: 2.0, slope: 0.25 };
        for (tissue, opposing) in [
            plate_pair([4.0, 4.0], 5.0, 0.5),
            tilted_plate_pair([4.0, 4.0], 5.0, 10.0, 0.5),
            crest_and_cusp(&form, [5.0, 4.0], 0.5),
        ] {
            assert!((0..tissue.faces().len() as u32).all(|f| tissue.doubled_area_normal(f).z > 0.0));
            assert!((0..opposing.faces().len() as u32).all(|f| opposing.doubled_area_normal(f).z < 0.0));
        }
    }

    #[test]
    fn crest_and_cusp_give_six_where_five_fits() {
        let form = CrestAndCusp { gap_mm: 5.0, offset_mm: 2.0, slope: 0.25 };
        assert!((form.pointwise_mm() - 6.0).abs() < 1e-12 && (form.room_mm() - 5.0).abs() < 1e-12);
        let (tissue, opposing) = crest_and_cusp(&form, [5.0, 4.0], 0.4);
        let least = opposing.vertices().iter().fold(f64::MAX, |m, p| m.min(p.z));
        let most = tissue.vertices().iter().fold(f64::MIN, |m, p| m.max(p.z));
        assert!((least - most - 5.0).abs() < 1e-12);
    }
}
