//! Quantity: sharp inner edges of a framework, such as finish lines have.
//!
//! Definition: an edge at which the surface turns inward by 45 degrees or more. Its *inner angle*, measured in the free
//! space, is 180 degrees less that turn: a finish line shall be sharp, with an inner angle of no more than a right angle
//! (from memory, not checked). Edges with an inner angle over 105 degrees count as blunt.
//!
//! Method and its error: the triangles on both sides; a rounded inner edge whose facets turn by less each is none.
//!
//! Checked by: a step, below.

use super::Framework;
use crate::space::{Point, angle_deg};

/// Least turn, degrees.
const SHARP_DEG: f64 = 45.0;
/// Turn from which the inner angle is no blunter than 105 degrees.
const RIGHT_DEG: f64 = 75.0;

/// Lengths of inner edges, mm.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct InnerEdges {
    /// Middle of the longest edge of those with an inner angle over 105 degrees, of all where there are none, mm.
    pub at: Option<Point>,
    /// All sharp ones.
    pub sharp_mm: f64,
    /// Those with an inner angle over 105 degrees.
    pub blunt_mm: f64,
}

/// Measures them.
pub fn inner(framework: &Framework) -> InnerEdges {
    let mesh = framework.mesh();
    let mut found = InnerEdges::default();
    let mut longest = (false, 0.0);
    for (k, edge) in framework.topology.edges().iter().enumerate() {
        let &[a, b] = framework.topology.faces_of_edge(k as u32) else { continue };
        let (Some(n), Some(m)) = (mesh.face_normal(a), mesh.face_normal(b)) else { continue };
        let turn = angle_deg(&n, &m);
        let start = mesh.vertex(edge.ends[0]);
        let inward = (mesh.face_centre(b) - start).dot(&n) > 0.0;
        if inward && turn >= SHARP_DEG {
            let length = (mesh.vertex(edge.ends[1]) - start).norm();
            found.sharp_mm += length;
            let blunt = turn < RIGHT_DEG;
            if blunt {
                found.blunt_mm += length;
            }
            if (blunt, length) > longest {
                longest = (blunt, length);
                found.at = Some(nalgebra::center(&start, &mesh.vertex(edge.ends[1])));
            }
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::super::tests::fine_box;
    use super::*;
    use crate::mesh::Mesh;
    use crate::space::Point;

    #[test]
    fn the_inner_edge_of_a_step_is_as_long_as_it_is() {
        assert_eq!(inner(&Framework::new(&fine_box([0.0; 3], [4.0, 4.0, 1.0], 0.5))), InnerEdges::default());
        // Two faces that meet at a valley of 3 mm, one level, one leaning up by `deg`.
        let valley = |deg: f64| {
            let (s, c) = (crate::space::sin(deg.to_radians()), crate::space::cos(deg.to_radians()));
            let p = |x: f64, y: f64, z: f64| Point::new(x, y, z);
            let places = vec![
                p(0., 0., 0.),
                p(0., 3., 0.),
                p(-2., 0., 0.),
                p(-2., 3., 0.),
                p(2. * c, 0., 2. * s),
                p(2. * c, 3., 2. * s),
            ];
            let faces = vec![[2, 0, 1], [2, 1, 3], [0, 4, 5], [0, 5, 1]];
            inner(&Framework::new(&Mesh::new(places, faces).unwrap()))
        };
        assert!((valley(90.0).sharp_mm - 3.0).abs() < 1e-9 && valley(90.0).blunt_mm == 0.0);
        assert!((valley(60.0).blunt_mm - 3.0).abs() < 1e-9);
        assert_eq!(valley(30.0), InnerEdges::default());
        // Turned over, the valley is a ridge.
        assert_eq!(valley(-90.0), InnerEdges::default());
    }
}
