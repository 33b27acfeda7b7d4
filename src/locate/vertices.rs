//! Nearest vertex, by k-d tree.

use kiddo::{ImmutableKdTree, SquaredEuclidean};

use crate::mesh::{Mesh, VertexId};
use crate::space::{Point, Vector};

/// The vertices that a triangle uses, relative to the surface's centre.
#[derive(Debug)]
pub(super) struct Vertices {
    tree: ImmutableKdTree<f64, 3>,
    points: Vec<[f64; 3]>,
    ids: Vec<VertexId>,
}

impl Vertices {
    /// `None` where no triangle uses a vertex: an empty k-d tree would answer with item 0.
    pub fn new(mesh: &Mesh, centre: &Vector) -> Option<Vertices> {
        let mut used = vec![false; mesh.vertices().len()];
        mesh.faces().iter().flatten().for_each(|&v| used[v as usize] = true);
        let ids: Vec<VertexId> = (0..used.len() as u32).filter(|&v| used[v as usize]).collect();
        let points: Vec<[f64; 3]> = ids.iter().map(|&v| (mesh.vertex(v) - centre).into()).collect();
        if points.is_empty() {
            return None;
        }
        let tree = ImmutableKdTree::new_from_slice(&points).ok()?;
        Some(Vertices { tree, points, ids })
    }

    fn distance2(&self, p: &Point, item: u32) -> f64 {
        (p - Point::from(self.points[item as usize])).norm_squared()
    }

    /// Squared distance to the nearest vertex as the k-d tree proposes it.
    pub fn proposal(&self, p: &Point) -> f64 {
        let near = self.tree.query(&[p.x, p.y, p.z]).nearest_one::<SquaredEuclidean<f64>>().execute();
        self.distance2(p, near.item)
    }

    /// Nearest vertex and its distance, mm; the lowest index where several are equally near.
    pub fn nearest(&self, p: &Point) -> (VertexId, f64) {
        let bound = self.proposal(p);
        // Widened by more than the rounding of the tree's own sums.
        let around = self
            .tree
            .query(&[p.x, p.y, p.z])
            .within::<SquaredEuclidean<f64>>(bound * (1.0 + 1e-12))
            .execute();
        let (d2, item) = around
            .iter()
            .map(|r| (self.distance2(p, r.item), r.item))
            .min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)))
            .unwrap_or((bound, 0));
        (self.ids[item as usize], d2.sqrt())
    }
}
