//! Mesial, distal, buccal and lingual at a tooth.
//!
//! Mesial runs along the arch toward the midline: along the lines to the neighbouring crowns where they stand next to
//! the tooth, else along an average arch in the frame (mostly to the midline at an incisor, mostly forward at a molar).
//! Buccal is square to it, away from the arch. A place belongs to the surface toward which it lies farthest from the
//! crown's middle, as a share of the crown's half width that way, so that a long crown has long buccal surfaces.

use crate::anatomy::{Anatomy, Crown, KnownFrame};
use crate::case::{Side, Surface};
use crate::estimate::{Measured, NotMeasured};
use crate::mesh::Mesh;
use crate::report::Zone;
use crate::space::{Direction, Point, Vector, cos, direction, sin};

/// A neighbour counts where it lies no farther than this from the tooth, centre to centre, mm: next to it, not across
/// a span.
const NEXT_MM: f64 = 13.0;
/// Angle of the average arch from the transverse line at each place from the midline, degrees (trade facts, section
/// 12.2: intercanine and intermolar widths and depth of the arch, joined by a parabola).
const ALONG_ARCH_DEG: [f64; 8] = [8.0, 25.0, 45.0, 58.0, 66.0, 72.0, 77.0, 80.0];

/// Directions at a tooth, and its size in them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ToothAxes {
    /// Middle of the crown's extents, mm.
    pub centre: Point,
    /// Toward the midline along the arch, unit, square to the occlusal direction.
    pub mesial: Vector,
    /// Toward cheek or lip, unit, square to the others.
    pub buccal: Vector,
    /// Away from the tissue.
    pub occlusal: Direction,
    /// Half the mesiodistal and half the buccolingual extent of the crown, mm.
    pub half_mm: [f64; 2],
}

impl ToothAxes {
    /// Axes of a crown; the reason where nothing tells where the midline lies.
    pub fn of(mesh: &Mesh, crown: &Crown, anatomy: &Anatomy) -> Measured<ToothAxes> {
        let known = anatomy.frame.as_ref().map_err(Clone::clone)?;
        let occlusal = known.frame.occlusal;
        let flat = |v: Vector| v - occlusal.into_inner() * v.dot(&occlusal);
        let along_row = from_neighbours(crown, &anatomy.crowns, flat);
        let mesial = along_row
            .or_else(|| known.anterior_known.then(|| on_average_arch(crown, known)))
            .and_then(|v| direction(flat(v)))
            .ok_or_else(|| {
                NotMeasured::new(
                    format!("nothing tells where the midline lies from tooth {}", crown.tooth),
                    "a mark between the central incisors (marks.midline)",
                )
            })?
            .into_inner();
        // From the patient's right round the front to the left, buccal lies on one hand all the way.
        let across = occlusal.cross(&mesial);
        let left_handed = known.frame.left.dot(&occlusal.cross(&known.frame.anterior)) < 0.0;
        let buccal = if (crown.tooth.side() == Side::Left) != left_handed { across } else { -across };
        let mut axes = ToothAxes { centre: crown.centre, mesial, buccal, occlusal, half_mm: [1.0; 2] };
        let mut lo = [f64::INFINITY; 3];
        let mut hi = [f64::NEG_INFINITY; 3];
        for &v in &crown.vertices {
            let l = axes.local(&mesh.vertex(v));
            for k in 0..3 {
                lo[k] = lo[k].min(l[k]);
                hi[k] = hi[k].max(l[k]);
            }
        }
        if lo[0] < hi[0] && lo[1] < hi[1] {
            axes.half_mm = [(hi[0] - lo[0]) / 2.0, (hi[1] - lo[1]) / 2.0];
            axes.centre += axes.mesial * ((hi[0] + lo[0]) / 2.0) + axes.buccal * ((hi[1] + lo[1]) / 2.0);
        }
        Ok(axes)
    }

    /// Mesial, buccal and occlusal coordinates from the crown's middle, mm.
    pub fn local(&self, p: &Point) -> [f64; 3] {
        let v = p - self.centre;
        [v.dot(&self.mesial), v.dot(&self.buccal), v.dot(&self.occlusal)]
    }

    /// The surface on which a place lies.
    pub fn surface(&self, p: &Point) -> Surface {
        let [m, b, _] = self.local(p);
        match (m.abs() / self.half_mm[0] > b.abs() / self.half_mm[1], m > 0.0, b > 0.0) {
            (true, true, _) => Surface::Mesial,
            (true, false, _) => Surface::Distal,
            (false, _, true) => Surface::Buccal,
            (false, _, false) => Surface::Lingual,
        }
    }

    /// The third of a buccal or lingual surface; proximal surfaces have no mesial and distal third, all is middle.
    pub fn zone(&self, surface: Surface, p: &Point) -> Zone {
        let share = self.local(p)[0] / self.half_mm[0];
        match surface {
            Surface::Mesial | Surface::Distal => Zone::Middle,
            _ if share > 1.0 / 3.0 => Zone::Mesial,
            _ if share < -1.0 / 3.0 => Zone::Distal,
            _ => Zone::Middle,
        }
    }

    /// Outward direction of a surface, unit.
    pub fn outward(&self, surface: Surface) -> Vector {
        match surface {
            Surface::Buccal => self.buccal,
            Surface::Lingual => -self.buccal,
            Surface::Mesial => self.mesial,
            Surface::Distal => -self.mesial,
        }
    }
}

/// Mean of the directions to the mesial neighbour and from the distal one, where they stand next to the tooth.
fn from_neighbours(crown: &Crown, crowns: &[Crown], flat: impl Fn(Vector) -> Vector) -> Option<Vector> {
    let next = |tooth| {
        crowns
            .iter()
            .find(|c| Some(c.tooth) == tooth)
            .map(|c| flat(c.centre - crown.centre))
            .filter(|v| v.norm() < NEXT_MM)
            .and_then(direction)
            .map(Direction::into_inner)
    };
    let (mesial, distal) = (next(Some(crown.tooth.mesial())), next(crown.tooth.distal()));
    match (mesial, distal) {
        (Some(m), Some(d)) => Some(m - d),
        (Some(m), None) => Some(m),
        (None, d) => d.map(|d| -d),
    }
}

fn on_average_arch(crown: &Crown, known: &KnownFrame) -> Vector {
    let place = usize::from(crown.tooth.place()).clamp(1, 8);
    let angle = ALONG_ARCH_DEG[place - 1].to_radians();
    let left = known.frame.left.into_inner();
    let inward = if crown.tooth.side() == Side::Left { -left } else { left };
    inward * cos(angle) + known.frame.anterior.into_inner() * sin(angle)
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::anatomy::Origin;
    use crate::case::Tooth;
    use crate::space::Frame;

    /// A crown of all triangles of a mesh.
    pub fn whole(mesh: &Mesh, tooth: u8) -> Crown {
        let faces: Vec<u32> = (0..mesh.faces().len() as u32).collect();
        part(mesh, tooth, faces)
    }

    /// A crown of some triangles of a mesh.
    pub fn part(mesh: &Mesh, tooth: u8, faces: Vec<u32>) -> Crown {
        let mut vertices: Vec<u32> = faces.iter().flat_map(|&f| mesh.faces()[f as usize]).collect();
        vertices.sort_unstable();
        vertices.dedup();
        let sum: Vector = vertices.iter().map(|&v| mesh.vertex(v).coords).sum();
        Crown {
            tooth: Tooth::fdi(tooth).unwrap(),
            centre: Point::from(sum / vertices.len() as f64),
            area_mm2: 1.0,
            margin: Vec::new(),
            confidence: 1.0,
            origin: Origin::Given,
            faces,
            vertices,
        }
    }

    /// An anatomy with a frame and crowns, nothing else. Occlusal +z, anterior +y; the patient's left is -x in a
    /// mandible and +x in a maxilla.
    pub fn anatomy(mandible: bool, crowns: Vec<Crown>, vertices: usize) -> Anatomy {
        let up = direction(Vector::z()).unwrap();
        let frame = KnownFrame::given(Frame::new(Point::origin(), up, Vector::y(), mandible).unwrap(), 1.0);
        Anatomy { crowns, ..Anatomy::bare(Ok(frame), vertices) }
    }

    fn ball(at: Vector) -> Mesh {
        crate::phantom::solids::icosphere(4.0, 1.0)
            .moved(&crate::space::Motion::translation(at.x, at.y, at.z))
    }

    #[test]
    fn surfaces_are_told_alike_with_and_without_neighbours_on_both_sides_of_both_arches() {
        for (mandible, left, quadrant) in [(true, -1.0, 3), (true, 1.0, 4), (false, 1.0, 2), (false, -1.0, 1)]
        {
            let here = Vector::new(20.0 * left, 10.0, 0.0);
            let mesh = ball(here);
            let tooth = whole(&mesh, 10 * quadrant + 5);
            let front = ball(here + Vector::new(-2.0 * left, 7.5, 0.0));
            let front = Crown {
                centre: Point::from(here + Vector::new(-2.0 * left, 7.5, 0.0)),
                ..whole(&front, 10 * quadrant + 4)
            };
            for crowns in [vec![tooth.clone()], vec![tooth.clone(), front]] {
                let n = mesh.vertices().len();
                let axes = ToothAxes::of(&mesh, &tooth, &anatomy(mandible, crowns, n)).unwrap();
                let at = |x: f64, y: f64| axes.surface(&Point::from(here + Vector::new(x, y, 0.0)));
                assert_eq!(at(3.0 * left, 0.0), Surface::Buccal);
                assert_eq!(at(-3.0 * left, 0.0), Surface::Lingual);
                assert_eq!(at(0.0, 3.0), Surface::Mesial);
                assert_eq!(at(0.0, -3.0), Surface::Distal);
                let zone =
                    |y: f64| axes.zone(Surface::Buccal, &Point::from(here + Vector::new(3.0 * left, y, 0.0)));
                assert_eq!([zone(2.9), zone(0.5), zone(-2.9)], [Zone::Mesial, Zone::Middle, Zone::Distal]);
            }
        }
    }

    #[test]
    fn mesial_of_an_incisor_is_toward_the_midline() {
        let here = Vector::new(-3.0, 25.0, 0.0);
        let mesh = ball(here);
        let tooth = whole(&mesh, 31);
        let axes = ToothAxes::of(&mesh, &tooth, &anatomy(true, vec![tooth.clone()], 1)).unwrap();
        assert!(axes.mesial.x > 0.9 && axes.buccal.y > 0.9);
        // A tooth across a span tells nothing: 36 stands 20 mm away.
        let far = Crown { centre: Point::new(-20.0, 12.0, 0.0), ..whole(&mesh, 32) };
        let same = ToothAxes::of(&mesh, &tooth, &anatomy(true, vec![tooth.clone(), far], 1)).unwrap();
        assert_eq!(axes.mesial, same.mesial);
    }

    #[test]
    fn without_frame_or_midline_nothing_is_told() {
        let mesh = ball(Vector::zeros());
        let tooth = whole(&mesh, 35);
        let mut known = anatomy(true, vec![tooth.clone()], 1);
        if let Ok(f) = &mut known.frame {
            f.anterior_known = false;
        }
        assert!(ToothAxes::of(&mesh, &tooth, &known).unwrap_err().because.contains("midline"));
    }
}
