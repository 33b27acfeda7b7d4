//! Who meets whom: edges with their triangles, triangles around a vertex, borders, connected pieces.

use std::sync::OnceLock;

use super::{FaceId, Mesh, VertexId};

/// An edge and the triangles that meet at it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Edge {
    /// Its ends, lower index first.
    pub ends: [VertexId; 2],
    /// Start of its triangles in [`Topology::edge_faces`].
    first: u32,
    /// Number of triangles that meet here: 1 at a border, 2 inside, more where it is not a manifold.
    pub faces: u32,
}

/// Adjacency of a mesh. Built once; the order depends only on the mesh.
#[derive(Clone, Debug)]
pub struct Topology {
    edges: Vec<Edge>,
    edge_faces: Vec<FaceId>,
    face_edges: Vec<[u32; 3]>,
    vertex_start: Vec<u32>,
    vertex_faces: Vec<FaceId>,
    pieces: OnceLock<(Vec<u32>, usize)>,
    trimmed: OnceLock<Vec<bool>>,
}

impl Topology {
    /// Builds the adjacency of `mesh`. Side `k` of a triangle runs from corner `k` to corner `k + 1`.
    pub fn new(mesh: &Mesh) -> Topology {
        let faces = mesh.faces();
        let n = mesh.vertices().len();
        let (vertex_start, vertex_faces) = around_vertices(faces, n);

        // Sides sorted by counting on their lower end, then by upper end within each small bucket.
        let mut start = vec![0u32; n + 1];
        for corners in faces {
            for k in 0..3 {
                start[corners[k].min(corners[(k + 1) % 3]) as usize + 1] += 1;
            }
        }
        for v in 0..n {
            start[v + 1] += start[v];
        }
        let mut fill = start.clone();
        let mut sides = vec![(0u32, 0u32); faces.len() * 3];
        for (f, corners) in faces.iter().enumerate() {
            for k in 0..3 {
                let (a, b) = (corners[k], corners[(k + 1) % 3]);
                let slot = &mut fill[a.min(b) as usize];
                sides[*slot as usize] = (a.max(b), (3 * f + k) as u32);
                *slot += 1;
            }
        }
        let mut edges = Vec::with_capacity(faces.len() * 3 / 2 + 16);
        let mut edge_faces = Vec::with_capacity(sides.len());
        let mut face_edges = vec![[0u32; 3]; faces.len()];
        for low in 0..n {
            let bucket = &mut sides[start[low] as usize..start[low + 1] as usize];
            bucket.sort_unstable();
            for &(high, side) in bucket.iter() {
                let ends = [low as u32, high];
                if edges.last().is_none_or(|e: &Edge| e.ends != ends) {
                    edges.push(Edge { ends, first: edge_faces.len() as u32, faces: 0 });
                }
                let index = edges.len() - 1;
                edges[index].faces += 1;
                edge_faces.push(side / 3);
                face_edges[side as usize / 3][side as usize % 3] = index as u32;
            }
        }
        Topology {
            edges,
            edge_faces,
            face_edges,
            vertex_start,
            vertex_faces,
            pieces: OnceLock::new(),
            trimmed: OnceLock::new(),
        }
    }

    /// Which triangles were trimmed flat, as `tell` finds them where it was not asked before.
    pub(crate) fn trimmed(&self, tell: impl FnOnce() -> Vec<bool>) -> &[bool] {
        super::made_once::<Vec<bool>>(&self.trimmed, tell)
    }

    /// All edges, ordered by their ends.
    pub fn edges(&self) -> &[Edge] {
        &self.edges
    }

    /// Triangles at an edge, lowest index first.
    pub fn faces_of_edge(&self, edge: u32) -> &[FaceId] {
        let e = &self.edges[edge as usize];
        &self.edge_faces[e.first as usize..(e.first + e.faces) as usize]
    }

    /// Edges of a triangle; edge `k` runs from corner `k` to corner `k + 1`.
    pub fn edges_of_face(&self, face: FaceId) -> [u32; 3] {
        self.face_edges[face as usize]
    }

    /// Triangles around a vertex, lowest index first.
    pub fn faces_of_vertex(&self, v: VertexId) -> &[FaceId] {
        &self.vertex_faces[self.vertex_start[v as usize] as usize..self.vertex_start[v as usize + 1] as usize]
    }

    /// Vertices joined to `v` by an edge, in order of index.
    pub fn neighbours(&self, mesh: &Mesh, v: VertexId) -> Vec<VertexId> {
        let mut around: Vec<VertexId> = self
            .faces_of_vertex(v)
            .iter()
            .flat_map(|&f| mesh.faces()[f as usize])
            .filter(|&w| w != v)
            .collect();
        around.sort_unstable();
        around.dedup();
        around
    }

    /// Piece number of each triangle, joined over shared edges, and the number of pieces. Numbered by lowest triangle.
    pub fn pieces(&self) -> (&[u32], usize) {
        let (piece, count) = self.pieces.get_or_init(|| self.find_pieces());
        (piece, *count)
    }

    fn find_pieces(&self) -> (Vec<u32>, usize) {
        let mut piece = vec![u32::MAX; self.face_edges.len()];
        let (mut count, mut stack) = (0u32, Vec::new());
        for seed in 0..piece.len() {
            if piece[seed] != u32::MAX {
                continue;
            }
            piece[seed] = count;
            stack.push(seed as u32);
            while let Some(f) = stack.pop() {
                for e in self.face_edges[f as usize] {
                    for &g in self.faces_of_edge(e) {
                        if piece[g as usize] == u32::MAX {
                            piece[g as usize] = count;
                            stack.push(g);
                        }
                    }
                }
            }
            count += 1;
        }
        (piece, count as usize)
    }

    /// Piece number of each triangle, as [`Topology::pieces`] tells them, and the area of each piece, mm2.
    pub fn piece_areas_mm2(&self, mesh: &Mesh) -> (Vec<u32>, Vec<f64>) {
        let (piece, count) = self.pieces();
        let mut area = vec![0.0; count];
        for (f, &p) in piece.iter().enumerate() {
            area[p as usize] += mesh.face_area_mm2(f as FaceId);
        }
        (piece.to_vec(), area)
    }

    /// Closed chains of border edges, each as vertices in the direction in which its triangles run along it.
    /// A border that meets itself in a vertex is split there; chains start at their lowest vertex, lowest first.
    pub fn border_loops(&self, mesh: &Mesh) -> Vec<Vec<VertexId>> {
        let mut next: std::collections::BTreeMap<VertexId, Vec<VertexId>> = std::collections::BTreeMap::new();
        for (i, e) in self.edges.iter().enumerate() {
            if e.faces != 1 {
                continue;
            }
            let corners = mesh.faces()[self.faces_of_edge(i as u32)[0] as usize];
            let forward = (0..3).any(|k| corners[k] == e.ends[0] && corners[(k + 1) % 3] == e.ends[1]);
            let (a, b) = if forward { (e.ends[0], e.ends[1]) } else { (e.ends[1], e.ends[0]) };
            next.entry(a).or_default().push(b);
        }
        for exits in next.values_mut() {
            exits.sort_unstable_by(|a, b| b.cmp(a));
        }
        let mut loops = Vec::new();
        // Place of each vertex in the chain that is being walked, so that a chain meeting itself is split at once.
        let mut place = vec![usize::MAX; mesh.vertices().len()];
        while let Some((&start, _)) = next.iter().next() {
            let mut chain = vec![start];
            place[start as usize] = 0;
            while let Some(&at) = chain.last() {
                let Some(exits) = next.get_mut(&at) else { break };
                let Some(to) = exits.pop() else { break };
                if exits.is_empty() {
                    next.remove(&at);
                }
                let met = place[to as usize];
                if met == usize::MAX {
                    place[to as usize] = chain.len();
                    chain.push(to);
                    continue;
                }
                let closed: Vec<VertexId> = chain.drain(met..).collect();
                closed.iter().for_each(|&v| place[v as usize] = usize::MAX);
                if closed.len() > 2 {
                    loops.push(closed);
                }
                if met == 0 {
                    break;
                }
                place[to as usize] = chain.len();
                chain.push(to);
            }
            chain.iter().for_each(|&v| place[v as usize] = usize::MAX);
        }
        loops
    }
}

fn around_vertices(faces: &[[VertexId; 3]], n: usize) -> (Vec<u32>, Vec<FaceId>) {
    let mut start = vec![0u32; n + 1];
    for &v in faces.iter().flatten() {
        start[v as usize + 1] += 1;
    }
    for v in 0..n {
        start[v + 1] += start[v];
    }
    let mut fill = start.clone();
    let mut around = vec![0u32; faces.len() * 3];
    for (f, corners) in faces.iter().enumerate() {
        for &v in corners {
            around[fill[v as usize] as usize] = f as u32;
            fill[v as usize] += 1;
        }
    }
    (start, around)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::space::Point;

    /// A 3 by 3 grid of squares without the middle one.
    fn ring() -> Mesh {
        let vertices = (0..16).map(|i| Point::new((i % 4) as f64, (i / 4) as f64, 0.0)).collect();
        let mut faces = Vec::new();
        for y in 0..3u32 {
            for x in 0..3u32 {
                if (x, y) != (1, 1) {
                    let a = y * 4 + x;
                    faces.extend([[a, a + 1, a + 5], [a, a + 5, a + 4]]);
                }
            }
        }
        Mesh::new(vertices, faces).unwrap()
    }

    #[test]
    fn a_ring_has_two_borders_and_one_piece() {
        let (m, t) = (ring(), Topology::new(&ring()));
        let loops = t.border_loops(&m);
        let mut lengths: Vec<usize> = loops.iter().map(Vec::len).collect();
        lengths.sort_unstable();
        assert_eq!(lengths, [4, 12]);
        assert_eq!(t.pieces().1, 1);
        // Euler characteristic of an annulus is 0.
        assert_eq!(m.vertices().len() + m.faces().len(), t.edges().len());
    }

    #[test]
    fn edges_know_their_triangles() {
        let (m, t) = (ring(), Topology::new(&ring()));
        for f in 0..m.faces().len() as u32 {
            for (k, e) in t.edges_of_face(f).into_iter().enumerate() {
                let (a, b) = (m.faces()[f as usize][k], m.faces()[f as usize][(k + 1) % 3]);
                assert_eq!(t.edges()[e as usize].ends, [a.min(b), a.max(b)]);
                assert!(t.faces_of_edge(e).contains(&f));
            }
        }
        assert_eq!(t.neighbours(&m, 0), [1, 4, 5]);
    }
}
