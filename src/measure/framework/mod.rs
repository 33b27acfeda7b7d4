//! Quantities of a designed framework against its cast: where it lies, how it seats, what it touches, how thick it is.
//!
//! Framework: the skeletal portion of a removable partial denture to which the remaining parts are attached (Glossary of
//! Prosthodontic Terms, ninth edition: "framework"). Its *fitting surface* is what faces teeth and tissue.
//!
//! Definition: the distance of a place of the framework is that to the closest point of the cast, negative inside it; a
//! place belongs to the fitting surface where its outward normal runs against the cast's normal there.
//!
//! Frame and units: mm in the cast's axes.
//!
//! Method and its error: closest points on triangles, exact; the sign by the normal interpolated at the closest point.
//! Figures are read at the framework's vertices, so a curved wall is off by up to the chord of its edges.
//!
//! Not covered: play of the alloy's shrinkage, polish, and what the fitting of the casting takes away.
//!
//! Checked by: plates and balls in closed form here, `tests/framework.rs` on generated frameworks.

mod arm_cuts;
pub mod arms;
#[cfg(test)]
mod arms_tests;
pub mod brought;
pub mod connectors;
pub mod edges;
pub mod laid;
pub mod margins;
pub mod opposing;
pub mod parts;
pub mod rests;
pub mod saddles;
pub mod seating;
pub mod sections;
pub mod shells;
pub mod thickness;

use rayon::prelude::*;

use crate::anatomy::Anatomy;
use crate::locate::Surface;
use crate::mesh::{FaceId, Mesh, Topology, VertexId};
use crate::space::{Direction, Point, Vector};

/// Cosine of the angle between the framework's normal and the reversed normal of the cast from which a place counts as
/// part of the fitting surface: 60 degrees.
const FITTING: f64 = 0.5;

/// A framework, prepared.
#[derive(Debug)]
pub struct Framework {
    /// Its surface.
    pub surface: Surface,
    /// Its adjacency.
    pub topology: Topology,
    /// Unit normals of its vertices, outward.
    pub normals: Vec<Vector>,
}

/// The cast on which it lies.
#[derive(Clone, Copy, Debug)]
pub struct Cast<'a> {
    /// Its surface.
    pub surface: &'a Surface,
    /// Unit normals of its vertices.
    pub normals: &'a [Vector],
    /// What is where on it.
    pub anatomy: &'a Anatomy,
}

/// What a place of the framework stands over.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Near {
    /// Closest point of the cast, mm.
    pub at: Point,
    /// Its triangle.
    pub face: FaceId,
    /// Distance, mm; negative inside the cast.
    pub signed_mm: f64,
    /// Unit normal of the cast there.
    pub normal: Vector,
    /// Whether the place belongs to the fitting surface.
    pub fitting: bool,
}

impl Framework {
    /// Prepares a mesh.
    pub fn new(mesh: &Mesh) -> Framework {
        Framework {
            surface: Surface::new(mesh),
            topology: Topology::new(mesh),
            normals: mesh.vertex_normals().to_vec(),
        }
    }

    /// Its mesh.
    pub fn mesh(&self) -> &Mesh {
        self.surface.mesh()
    }

    /// A third of the area of the triangles about each vertex, mm2.
    pub fn vertex_areas_mm2(&self) -> Vec<f64> {
        let mut areas = vec![0.0; self.mesh().vertices().len()];
        for (f, corners) in self.mesh().faces().iter().enumerate() {
            let third = self.mesh().face_area_mm2(f as FaceId) / 3.0;
            corners.iter().for_each(|&v| areas[v as usize] += third);
        }
        areas
    }

    /// Groups of `chosen` vertices that hang together by edges, each ascending, by their first vertex.
    pub fn groups(&self, chosen: &[bool]) -> Vec<Vec<VertexId>> {
        let mut seen = vec![false; chosen.len()];
        let mut groups = Vec::new();
        for start in 0..chosen.len() {
            if !chosen[start] || seen[start] {
                continue;
            }
            seen[start] = true;
            let (mut group, mut open) = (Vec::new(), vec![start as VertexId]);
            while let Some(v) = open.pop() {
                group.push(v);
                for n in self.topology.neighbours(self.mesh(), v) {
                    if chosen[n as usize] && !seen[n as usize] {
                        seen[n as usize] = true;
                        open.push(n);
                    }
                }
            }
            group.sort_unstable();
            groups.push(group);
        }
        groups
    }
}

/// Normal of a surface at a point of a triangle, interpolated between its corners'.
pub fn normal_at(mesh: &Mesh, normals: &[Vector], face: FaceId, at: &Point) -> Vector {
    let corners = mesh.faces()[face as usize];
    let [a, b, c] = mesh.corners(face);
    let n = (b - a).cross(&(c - a));
    let whole = n.norm_squared();
    if whole <= 0.0 {
        return normals[corners[0] as usize];
    }
    let share = |p: &Point, q: &Point| (q - p).cross(&(at - p)).dot(&n) / whole;
    let weights = [share(&b, &c), share(&c, &a), share(&a, &b)];
    let sum: Vector = (0..3).map(|k| normals[corners[k] as usize] * weights[k].clamp(0.0, 1.0)).sum();
    let length = sum.norm();
    if length > 1e-9 { sum / length } else { n / whole.sqrt() }
}

impl Cast<'_> {
    /// Distance of a place, mm, negative inside, with the closest point; `None` for a cast without triangles.
    pub fn near(&self, p: &Point, own_normal: &Vector) -> Option<Near> {
        self.of(p, own_normal, self.surface.closest(p)?)
    }

    /// The same within `most_mm`.
    pub fn near_within(&self, p: &Point, most_mm: f64) -> Option<Near> {
        self.of(p, &Vector::zeros(), self.surface.closest_within(p, most_mm)?)
    }

    fn of(&self, p: &Point, own_normal: &Vector, closest: crate::locate::Closest) -> Option<Near> {
        let mesh = self.surface.mesh();
        let normal = normal_at(mesh, self.normals, closest.face, &closest.at);
        let way = p - closest.at;
        // On an edge of facets the triangle's own normal may err; the interpolated one does not.
        let inside = way.dot(&normal) < 0.0;
        Some(Near {
            at: closest.at,
            face: closest.face,
            signed_mm: if inside { -closest.distance_mm } else { closest.distance_mm },
            normal,
            fitting: own_normal.dot(&normal) < -FITTING,
        })
    }

    /// What each vertex of the framework stands over.
    pub fn under(&self, framework: &Framework) -> Vec<Option<Near>> {
        let places = framework.mesh().vertices();
        let closest = self.surface.closest_each(places);
        (0..places.len())
            .into_par_iter()
            .map(|v| closest[v].and_then(|c| self.of(&places[v], &framework.normals[v], c)))
            .collect()
    }

    /// The tooth on whose crown a point of a triangle lies, 0 where on none: what two of its corners say.
    pub fn tooth_at(&self, face: FaceId) -> u8 {
        let [a, b, c] = self.surface.mesh().faces()[face as usize].map(|v| self.anatomy.tooth_of[v as usize]);
        if a == b || a == c {
            a
        } else if b == c {
            b
        } else {
            0
        }
    }
}

/// Where the framework goes along the withdrawal direction `d` when it is lifted by `lift_mm`.
pub(crate) fn lifted(p: &Point, d: &Direction, lift_mm: f64) -> Point {
    p + d.into_inner() * lift_mm
}

/// The middle of numbers, halves of both middle ones for an even count; `None` without any.
pub fn median(mut numbers: Vec<f64>) -> Option<f64> {
    if numbers.is_empty() {
        return None;
    }
    numbers.sort_by(f64::total_cmp);
    let n = numbers.len();
    Some(if n % 2 == 1 { numbers[n / 2] } else { (numbers[n / 2 - 1] + numbers[n / 2]) / 2.0 })
}

/// The number that `share` of all do not exceed; `None` without any.
pub fn quantile(mut numbers: Vec<f64>, share: f64) -> Option<f64> {
    numbers.sort_by(f64::total_cmp);
    let last = numbers.len().checked_sub(1)?;
    numbers.get((share * last as f64).round() as usize).copied()
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::mesh::BOX_FACES;

    /// A box with each side cut into squares of `edge_mm`, welded; outward.
    pub fn fine_box(low: [f64; 3], high: [f64; 3], edge_mm: f64) -> Mesh {
        let corners = (0..8).map(|k| {
            Point::new(
                if k & 1 == 0 { low[0] } else { high[0] },
                if k & 2 == 0 { low[1] } else { high[1] },
                if k & 4 == 0 { low[2] } else { high[2] },
            )
        });
        let mut mesh = Mesh::new(corners.collect(), BOX_FACES.to_vec()).unwrap();
        while mesh.mean_edge_mm() > edge_mm {
            mesh = divided(&mesh);
        }
        mesh
    }

    /// Each triangle in four.
    pub fn divided(mesh: &Mesh) -> Mesh {
        let mut vertices = mesh.vertices().to_vec();
        let mut middles = std::collections::BTreeMap::new();
        let mut faces = Vec::new();
        for &[a, b, c] in mesh.faces() {
            let mut middle = |p: u32, q: u32| {
                *middles.entry((p.min(q), p.max(q))).or_insert_with(|| {
                    vertices.push(nalgebra::center(&mesh.vertex(p), &mesh.vertex(q)));
                    vertices.len() as u32 - 1
                })
            };
            let (ab, bc, ca) = (middle(a, b), middle(b, c), middle(c, a));
            faces.extend([[a, ab, ca], [ab, b, bc], [ca, bc, c], [ab, bc, ca]]);
        }
        Mesh::new(vertices, faces).unwrap()
    }

    #[test]
    fn a_plate_half_a_millimetre_over_a_block_is_half_a_millimetre_away() {
        let block = fine_box([0.0, 0.0, 0.0], [16.0, 16.0, 8.0], 2.0);
        let surface = Surface::new(&block);
        let normals = block.vertex_normals();
        let frame = crate::estimate::NotMeasured::only("no frame");
        let anatomy = Anatomy::bare(Err(frame), block.vertices().len());
        let cast = Cast { surface: &surface, normals, anatomy: &anatomy };
        let plate = Framework::new(&fine_box([4.0, 4.0, 8.5], [12.0, 12.0, 9.5], 1.0));
        for (near, p) in cast.under(&plate).iter().zip(plate.mesh().vertices()) {
            let near = near.unwrap();
            assert!((near.signed_mm - (p.z - 8.0)).abs() < 1e-9);
            // Away from its rim the lower side is the fitting surface, the upper is not.
            if (5.0..11.0).contains(&p.x) && (5.0..11.0).contains(&p.y) {
                assert_eq!(near.fitting, p.z < 9.0);
            }
        }
        let sunk = cast.near(&Point::new(8.0, 8.0, 7.75), &Vector::zeros()).unwrap();
        assert!((sunk.signed_mm + 0.25).abs() < 1e-9, "inside is negative");
    }

    #[test]
    fn middle_and_share() {
        assert_eq!(median(vec![3.0, 1.0, 2.0, 10.0]), Some(2.5));
        assert_eq!(median(vec![]), None);
        assert_eq!(quantile(vec![4.0, 0.0, 1.0, 3.0, 2.0], 0.75), Some(3.0));
    }
}
