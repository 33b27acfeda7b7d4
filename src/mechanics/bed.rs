//! Quantity: the residual ridge as what carries a denture base.
//!
//! Definition: a bed of springs that only push, one for each face of the measured ridge surface, along the face's normal:
//! stiffness = area times modulus over thickness of the mucosa (N/mm). Pressure is force over area (MPa).
//!
//! Frame and units: mm, N, MPa; normals point out of the tissue.
//!
//! Method and its error: neighbouring faces do not help each other, so the mucosa is taken for thinner than the base is wide and
//! for free to give way sideways; a confined one is stiffer (the range of the modulus covers it). For runs by the
//! hundred the faces of a cell are joined into one spring at their centroid, along their mean normal, with the
//! stiffness that they have along it together; what that costs is stated with the runs.
//!
//! Not covered: flow of fluid in the mucosa with time, pre-compression by the impression, bone that gives.
//!
//! Checked by: closed forms in the tests of `mechanics::closed_forms`, refinement and joining below.

use std::collections::BTreeMap;

use crate::space::{Point, Vector};

/// A face of the ridge that a base bears on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BedFace {
    /// Its middle, mm.
    pub at: Point,
    /// Unit normal, out of the tissue.
    pub normal: Vector,
    /// Area, mm2.
    pub area_mm2: f64,
    /// Area that counts for its stiffness, mm2: less than its area where faces that lean differently were joined.
    pub stiff_area_mm2: f64,
}

impl BedFace {
    /// A plane face.
    pub fn new(at: Point, normal: Vector, area_mm2: f64) -> BedFace {
        BedFace { at, normal, area_mm2, stiff_area_mm2: area_mm2 }
    }
}

/// The faces of each cube of so many millimetres joined into one, in the order of the cubes.
pub fn joined(faces: &[BedFace], cell_mm: f64) -> Vec<BedFace> {
    let mut cells: BTreeMap<[i64; 3], Vec<&BedFace>> = BTreeMap::new();
    for face in faces {
        let cell = [face.at.x, face.at.y, face.at.z].map(|v| (v / cell_mm).floor() as i64);
        cells.entry(cell).or_default().push(face);
    }
    cells.values().filter_map(|of| one(of)).collect()
}

fn one(faces: &[&BedFace]) -> Option<BedFace> {
    let area_mm2: f64 = faces.iter().map(|f| f.area_mm2).sum();
    let sum = faces.iter().fold(Vector::zeros(), |s, f| s + f.normal * f.area_mm2);
    if area_mm2 <= 0.0 || sum.norm() <= 1e-9 * area_mm2 {
        return None;
    }
    let normal = sum.normalize();
    let middle = faces.iter().fold(Vector::zeros(), |s, f| s + f.at.coords * f.area_mm2) / area_mm2;
    let stiff = |f: &&BedFace| f.stiff_area_mm2 * f.normal.dot(&normal) * f.normal.dot(&normal);
    let stiff_area_mm2 = faces.iter().map(stiff).sum();
    Some(BedFace { at: Point::from(middle), normal, area_mm2, stiff_area_mm2 })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn joining_keeps_area_and_centre() {
        let up = Vector::z();
        let faces: Vec<BedFace> =
            (0..40).map(|i| BedFace::new(Point::new(0.25 * f64::from(i), 0.1, 0.0), up, 0.5)).collect();
        let few = joined(&faces, 2.0);
        assert_eq!(few.len(), 5);
        let area: f64 = few.iter().map(|f| f.area_mm2).sum();
        let moment: f64 = few.iter().map(|f| f.area_mm2 * f.at.x).sum();
        assert!((area - 20.0).abs() < 1e-12 && (moment - 20.0 * 4.875).abs() < 1e-9);
        assert!(few.iter().all(|f| (f.stiff_area_mm2 - f.area_mm2).abs() < 1e-12));
    }

    #[test]
    fn two_slopes_in_one_cell_are_as_stiff_upright_as_apart() {
        let lean = |x: f64| Vector::new(x, 0.0, 0.8);
        let faces = [
            BedFace::new(Point::new(0.2, 0.0, 0.0), lean(0.6), 1.0),
            BedFace::new(Point::new(0.8, 0.0, 0.0), lean(-0.6), 1.0),
        ];
        let few = joined(&faces, 1.0);
        assert_eq!(few.len(), 1);
        assert!((few[0].stiff_area_mm2 - 2.0 * 0.64).abs() < 1e-12 && (few[0].normal.z - 1.0).abs() < 1e-12);
    }
}
