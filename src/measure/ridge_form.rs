//! Quantity: height and width of the residual ridge along its crest.
//!
//! Definition (Glossary of Prosthodontic Terms, key `G9`: residual ridge, the portion of the residual bone and its soft
//! tissue covering that remains after the removal of teeth): in the section square to the crest, height = height of the
//! crest along the occlusal direction over the deepest recorded place of the sulcus, buccal and lingual apart; width =
//! distance across between the first places on both sides that lie a stated depth under the crest.
//!
//! Frame and units: the file's own axes, occlusal direction given; mm.
//!
//! Method and its error: the plane cuts the triangles exactly; both sides are followed from the crest outward. The sulcus
//! is where the surface rises again by 0.4 mm. An error of the occlusal direction tips the section: height errs by the
//! distance of the sulcus times its sine, width by what that does to the depth on either wall.
//!
//! Not covered: a sulcus that the scan does not hold (the height is then not measured), the sulcus in function, the
//! height of the bone under the mucosa, the palatal side of a maxilla, which has no sulcus.
//!
//! Checked by: a parabolic ridge in closed form here, ridges of the generator against their distance function.

use crate::anatomy::ridge_section::{Section, SideEnd};
use crate::space::Point;

/// Height of the crest over one sulcus.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Height {
    /// It, and how far across the sulcus lies, mm.
    Measured {
        /// Height, mm.
        height_mm: f64,
        /// Distance of the sulcus from the crest across, mm.
        across_mm: f64,
    },
    /// The scan ends before a sulcus.
    CutAway,
    /// There is no sulcus within reach.
    NoSulcus,
}

/// A width at a depth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Width {
    /// It, mm.
    pub width_mm: f64,
    /// How much it changes for a millimetre of depth on both sides together, in quadrature.
    pub run_share: f64,
}

/// The form of the ridge at a station.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Station {
    /// Distance along the crest, mm.
    pub s_mm: f64,
    /// Place on the crest.
    pub at: Point,
    /// Height over the buccal and over the lingual sulcus.
    pub heights: [Height; 2],
    /// Width at each depth wanted; `None` where a side does not get so deep on the scan.
    pub widths: [Option<Width>; 2],
}

/// The form of a ridge at its sections, its widths at stated depths under the crest, mm.
pub fn form(sections: &[Section], depths_mm: [f64; 2]) -> Vec<Station> {
    let station = |s: &Section| Station {
        s_mm: s.s_mm,
        at: s.at,
        heights: [0, 1].map(|k| height(s, k)),
        widths: depths_mm.map(|depth| width(s, depth)),
    };
    sections.iter().map(station).collect()
}

fn height(section: &Section, side: usize) -> Height {
    let side = &section.sides[side];
    match (side.end, side.path.get(side.deepest)) {
        (SideEnd::Sulcus, Some([x, h])) => Height::Measured { height_mm: -h, across_mm: *x },
        (SideEnd::ScanBorder, _) => Height::CutAway,
        _ => Height::NoSulcus,
    }
}

fn width(section: &Section, depth_mm: f64) -> Option<Width> {
    let [buccal, lingual] = &section.sides;
    let ((a, run_a), (b, run_b)) = (buccal.across_at(depth_mm)?, lingual.across_at(depth_mm)?);
    Some(Width { width_mm: a + b, run_share: crate::space::hypot(run_a, run_b) })
}

/// The middle of some figures; `None` of none.
pub fn median(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut sorted: Vec<f64> = values.collect();
    sorted.sort_by(f64::total_cmp);
    sorted.get(sorted.len() / 2).copied()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::anatomy::ridge_section::{Asked, sections};
    use crate::mesh::Mesh;
    use crate::space::{Direction, Vector};

    /// A ridge along y whose section is a parabola: `-x^2 / 3` down to `height`, then rising.
    fn ridge(height: f64, lowest_x: f64) -> Mesh {
        let sulcus = (3.0 * height).sqrt();
        let profile =
            |x: f64| if x.abs() < sulcus { -x * x / 3.0 } else { -height + 0.8 * (x.abs() - sulcus) };
        let xs: Vec<f64> = (0..).map(|i| lowest_x + 0.1 * f64::from(i)).take_while(|x| *x < 9.0).collect();
        let vertices = (0..=48)
            .flat_map(|j| xs.iter().map(move |x| Point::new(*x, 0.5 * f64::from(j), profile(*x))))
            .collect();
        let w = xs.len() as u32;
        let mut faces = Vec::new();
        for a in (0..48).flat_map(|j| (0..w - 1).map(move |i| j * w + i)) {
            faces.extend([[a, a + 1, a + w + 1], [a, a + w + 1, a + w]]);
        }
        Mesh::new(vertices, faces).unwrap()
    }

    fn stations(mesh: &Mesh) -> Vec<Station> {
        let crest: Vec<Point> = (0..=40).map(|j| Point::new(0.0, 2.0 + 0.5 * f64::from(j), 0.0)).collect();
        let found = sections(&Asked {
            mesh,
            crest: &crest,
            occlusal: Direction::new_normalize(Vector::z()),
            inside: Point::new(-20.0, 12.0, 0.0),
            step_mm: 1.0,
        });
        form(&found, [3.0, 5.0])
    }

    #[test]
    fn a_parabola_has_the_width_and_height_of_its_formula() {
        let found = stations(&ridge(7.0, -9.0));
        assert_eq!(found.len(), 21);
        for s in found {
            for h in s.heights {
                let Height::Measured { height_mm, across_mm } = h else { panic!("{h:?}") };
                assert!((height_mm - 7.0).abs() < 0.05 && (across_mm - 21.0_f64.sqrt()).abs() < 0.1);
            }
            // x = sqrt(3 d) on either side; it changes by 3 / (2 x) for a millimetre of depth.
            for (w, d) in s.widths.iter().zip([3.0_f64, 5.0]) {
                let w = w.unwrap();
                let x = (3.0 * d).sqrt();
                assert!((w.width_mm - 2.0 * x).abs() < 0.02, "{w:?}");
                assert!((w.run_share - 2.0_f64.sqrt() * 1.5 / x).abs() < 0.05, "{w:?}");
            }
        }
    }

    #[test]
    fn what_the_scan_does_not_hold_is_not_measured() {
        // The lingual wall ends 1.3 mm under the crest; the shallow ridge has no place 5 mm under it.
        for s in stations(&ridge(7.0, -2.0)) {
            assert_eq!((s.heights[1], s.widths), (Height::CutAway, [None, None]));
            assert!(matches!(s.heights[0], Height::Measured { .. }));
        }
        for s in stations(&ridge(4.0, -9.0)) {
            assert!(s.widths[0].is_some() && s.widths[1].is_none());
        }
    }
}
