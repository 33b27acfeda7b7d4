//! Quantity: sanity of a framework's file: closed, one body, no shell afloat, no sheet without thickness, no printing
//! supports, volume.
//!
//! Definition: a *body* is a connected piece; the main body is the one with the greatest area. A *sheet* is a piece, or
//! part of one, that is bounded by a border and encloses nothing. A *strut* is a thin rod that stands off the cast: a
//! connected part farther than `STANDS_OFF_MM` from it that is no thicker than `STRUT_MM` and at least three times as
//! long as thick. The volume is that inside the outward-facing surface.
//!
//! Not covered: shells that cut through each other count as separate bodies, and their common volume twice.
//!
//! Checked by: boxes with and without lids, with rods, below.

use super::thickness::Thick;
use super::{Framework, Near};
use crate::mesh::VertexId;
use crate::mesh::audit::facing::{self, Facing};
use crate::space::Point;

/// Farther than this from the cast no part of a framework is expected, mm.
pub const STANDS_OFF_MM: f64 = 3.0;
/// Thickest strut, mm.
const STRUT_MM: f64 = 1.8;
/// Least length of a strut, mm.
const STRUT_LONG_MM: f64 = 3.0;
/// A wall thinner than this is none, mm.
const NONE_MM: f64 = 0.05;

/// A place with how much of it there is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spot {
    /// Where, mm.
    pub at: Point,
    /// How much: mm, mm2 or a count, as its owner says.
    pub amount: f64,
}

/// Less surface without a wall is the sliver of a seam, mm2.
const LEAST_SHEET_MM2: f64 = 1.0;

/// What the file holds.
#[derive(Clone, Debug, PartialEq)]
pub struct Sane {
    /// Number of pieces.
    pub bodies: usize,
    /// The pieces besides the main body: a place of each, with its area in mm2.
    pub afloat: Vec<Spot>,
    /// Borders: a place of each, with its length in mm.
    pub borders: Vec<Spot>,
    /// Edges at which more than two triangles meet: how many, and one of them.
    pub branching: Option<Spot>,
    /// Surface without an opposite wall, or with one nearer than 0.05 mm: its area in mm2 and a place of it.
    pub no_wall: Option<Spot>,
    /// Rods that stand off the cast: a place of each, with its length in mm.
    pub struts: Vec<Spot>,
    /// Volume, mm3; `None` where the surface is not closed.
    pub volume_mm3: Option<f64>,
    /// Whether the surface faces inward.
    pub inside_out: bool,
}

impl Sane {
    /// Whether the surface is closed and branches nowhere.
    pub fn is_closed(&self) -> bool {
        self.borders.is_empty() && self.branching.is_none()
    }
}

/// Looks at a framework; `near` and `thick` by vertex.
pub fn look(framework: &Framework, near: &[Option<Near>], thick: &[Option<Thick>]) -> Sane {
    let mesh = framework.mesh();
    let topology = &framework.topology;
    let (piece, areas) = topology.piece_areas_mm2(mesh);
    let main = (0..areas.len()).max_by(|&a, &b| areas[a].total_cmp(&areas[b]).then(b.cmp(&a))).unwrap_or(0);
    let first = |k: usize| piece.iter().position(|&p| p as usize == k).map(|f| mesh.face_centre(f as u32));
    let afloat = (0..areas.len())
        .filter(|&k| k != main && areas[k] > 0.0)
        .filter_map(|k| Some(Spot { at: first(k)?, amount: areas[k] }))
        .collect();
    let borders: Vec<Spot> = topology
        .border_loops(mesh)
        .iter()
        .filter_map(|rim| {
            let places: Vec<Point> = rim.iter().map(|&v| mesh.vertex(v)).collect();
            let length = (0..places.len()).map(|i| (places[i] - places[(i + 1) % places.len()]).norm()).sum();
            Some(Spot { at: *places.first()?, amount: length })
        })
        .collect();
    let mut branches = topology.edges().iter().filter(|e| e.faces > 2);
    let branching = branches.next().map(|e| Spot {
        at: nalgebra::center(&mesh.vertex(e.ends[0]), &mesh.vertex(e.ends[1])),
        amount: 1.0 + branches.count() as f64,
    });
    let closed = borders.is_empty() && branching.is_none();
    let volume = mesh.signed_volume_mm3();
    Sane {
        bodies: areas.len(),
        afloat,
        borders,
        branching,
        no_wall: no_wall(framework, thick),
        struts: struts(framework, near, thick),
        volume_mm3: closed.then_some(volume.abs()),
        inside_out: matches!(facing::facing(mesh), Facing::Inward),
    }
}

fn no_wall(framework: &Framework, thick: &[Option<Thick>]) -> Option<Spot> {
    let bare: Vec<bool> = thick.iter().map(|t| t.is_none_or(|t| t.ray_mm < NONE_MM)).collect();
    let mesh = framework.mesh();
    let mut found: Option<Spot> = None;
    for (f, corners) in mesh.faces().iter().enumerate() {
        if corners.iter().all(|&v| bare[v as usize]) {
            let area = mesh.face_area_mm2(f as u32);
            let spot = found.get_or_insert(Spot { at: mesh.face_centre(f as u32), amount: 0.0 });
            spot.amount += area;
        }
    }
    found.filter(|s| s.amount >= LEAST_SHEET_MM2)
}

fn struts(framework: &Framework, near: &[Option<Near>], thick: &[Option<Thick>]) -> Vec<Spot> {
    let off: Vec<bool> = near
        .iter()
        .zip(thick)
        .map(|(n, t)| {
            n.is_some_and(|n| n.signed_mm > STANDS_OFF_MM)
                && t.is_some_and(|t| t.sphere_mm.max(t.ray_mm) <= STRUT_MM)
        })
        .collect();
    let mut found = Vec::new();
    for group in framework.groups(&off) {
        let places: Vec<Point> = group.iter().flat_map(|&v| standing(framework, near, v)).collect();
        let Some(first) = places.first() else { continue };
        let far = |from: &Point| {
            places.iter().max_by(|a, b| (*a - from).norm_squared().total_cmp(&(*b - from).norm_squared()))
        };
        let Some(end) = far(first) else { continue };
        let Some(other) = far(end) else { continue };
        let long = (other - end).norm();
        if long >= STRUT_LONG_MM {
            found.push(Spot { at: nalgebra::center(end, other), amount: long });
        }
    }
    found
}

/// A vertex that stands off the cast, with the places of its edges down to where they no longer do: a rod may have none between
/// its ends.
fn standing(framework: &Framework, near: &[Option<Near>], v: VertexId) -> Vec<Point> {
    let mesh = framework.mesh();
    let (p, off) = (mesh.vertex(v), |v: VertexId| near[v as usize].map(|n| n.signed_mm - STANDS_OFF_MM));
    let ends = framework.topology.neighbours(mesh, v).into_iter().filter_map(|n| {
        let (own, other) = (off(v)?, off(n)?);
        (own > 0.0 && other < 0.0).then(|| p + (mesh.vertex(n) - p) * (own / (own - other)))
    });
    std::iter::once(p).chain(ends).collect()
}

#[cfg(test)]
mod tests {
    use super::super::tests::fine_box;
    use super::super::thickness;
    use super::*;
    use crate::mesh::Mesh;

    fn looked(mesh: &Mesh) -> Sane {
        let framework = Framework::new(mesh);
        let thick = thickness::of_vertices(&framework);
        // A cast so far below that everything above z = 1 stands off it.
        let near: Vec<Option<Near>> = mesh
            .vertices()
            .iter()
            .map(|p| {
                Some(Near {
                    at: Point::new(p.x, p.y, -2.0),
                    face: 0,
                    signed_mm: p.z + 2.0,
                    normal: crate::space::Vector::z(),
                    fitting: false,
                })
            })
            .collect();
        look(&framework, &near, &thick)
    }

    #[test]
    fn a_closed_box_is_sane_and_as_large_as_it_is() {
        let sane = looked(&fine_box([0.0, 0.0, 0.0], [4.0, 3.0, 0.8], 0.5));
        assert!(sane.is_closed() && sane.bodies == 1 && sane.afloat.is_empty() && sane.struts.is_empty());
        assert!(sane.no_wall.is_none() && !sane.inside_out);
        assert!((sane.volume_mm3.unwrap() - 9.6).abs() < 1e-9);
    }

    #[test]
    fn a_missing_lid_a_second_shell_and_a_sheet_are_seen() {
        let whole = fine_box([0.0, 0.0, 0.0], [4.0, 4.0, 0.8], 0.5);
        let centre = |m: &Mesh, f| m.face_centre(f);
        let open = whole.part(|f| !(centre(&whole, f).z > 0.79 && centre(&whole, f).x > 2.0)).0;
        let sane = looked(&open);
        assert!(!sane.is_closed() && sane.volume_mm3.is_none());
        // Half of the lid: 2 and 4 mm, both twice.
        assert!((sane.borders[0].amount - 12.0).abs() < 1e-9);
        let two = Mesh::together(&[whole.clone(), fine_box([9.0, 0.0, 0.0], [10.0, 1.0, 1.0], 0.5)]);
        let sane = looked(&two);
        assert_eq!((sane.bodies, sane.afloat.len()), (2, 1));
        assert!((sane.afloat[0].amount - 6.0).abs() < 1e-9 && sane.afloat[0].at.x > 8.9);
        let sheet = whole.part(|f| centre(&whole, f).z > 0.79).0;
        let sane = looked(&Mesh::together(&[fine_box([9.0, 0.0, 0.0], [14.0, 5.0, 1.0], 0.5), sheet]));
        assert!((sane.no_wall.unwrap().amount - 16.0).abs() < 1e-9);
    }

    #[test]
    fn a_rod_that_stands_off_is_a_strut() {
        let rod = fine_box([1.0, 1.0, 0.5], [1.8, 1.8, 7.0], 0.3);
        let sane = looked(&rod);
        assert_eq!(sane.struts.len(), 1);
        assert!((5.0..7.0).contains(&sane.struts[0].amount));
        // Without a vertex between its ends it stands off from z = 1 on.
        let bare = looked(&fine_box([1.0, 1.0, 0.5], [1.8, 1.8, 7.0], 20.0));
        assert_eq!(bare.struts.len(), 1);
        assert!((6.0..6.2).contains(&bare.struts[0].amount), "{:?}", bare.struts);
        let block = fine_box([0.0, 0.0, 0.5], [5.0, 5.0, 7.0], 0.3);
        assert!(looked(&block).struts.is_empty());
    }
}
