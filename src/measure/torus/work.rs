//! The surface on which tori are looked for: seeds spread evenly over the cast, joined as their cells touch, with the
//! lengths, weights and areas that smoothing needs. Heights are measured on the full mesh, not here.

use std::collections::BinaryHeap;

use crate::mesh::{Mesh, Reached, Topology, VertexId};
use crate::space::Vector;

/// Distance within which every vertex has a seed, mm: seeds then stand 0.45 to 0.9 mm apart, enough for shapes of 5 mm.
const SEED_RADIUS_MM: f64 = 0.45;
/// Least and greatest weight of an edge: cotangents of obtuse corners are negative, which would let smoothing sharpen.
const WEIGHTS: (f64, f64) = (0.05, 10.0);
/// Least area around a vertex, mm2, so that it can be divided by.
const LEAST_AREA_MM2: f64 = 1e-3;

/// Weights and areas that a smoothing needs, of the work mesh with its vertices at given places.
#[derive(Clone, Debug)]
pub(super) struct Metric {
    /// Cotangent weight of each edge.
    weight: Vec<f64>,
    /// Area around each vertex, mm2.
    pub area_mm2: Vec<f64>,
}

/// A coarse surface over the cast.
#[derive(Debug)]
pub(super) struct Work {
    /// Its triangles; positions are vertices of the cast.
    pub mesh: Mesh,
    /// Its adjacency.
    pub topology: Topology,
    /// For each vertex of the cast the vertex here whose cell it lies in.
    pub owner: Vec<VertexId>,
    /// For each vertex here the vertex of the cast that it is.
    pub seed: Vec<VertexId>,
    /// First neighbour of each vertex in `to`.
    start: Vec<u32>,
    to: Vec<VertexId>,
    edge: Vec<u32>,
    length: Vec<f64>,
    /// Weights and areas of the surface as it is.
    pub metric: Metric,
    /// Unit normals.
    pub normal: Vec<Vector>,
    /// Whether the vertex lies on a border of the scan.
    pub border: Vec<bool>,
}

impl Work {
    /// Spreads seeds over a cast. Where its edges are already as long as the seeds are apart, every vertex is one.
    pub fn new(mesh: &Mesh, topology: &Topology) -> Work {
        let n = mesh.vertices().len();
        let (owner_seed, seeds) = cells(mesh, topology);
        let mut new_of = vec![u32::MAX; n];
        for (i, &s) in seeds.iter().enumerate() {
            new_of[s as usize] = i as u32;
        }
        let owner: Vec<VertexId> = owner_seed.iter().map(|&s| new_of[s as usize]).collect();
        let mut faces: Vec<[VertexId; 3]> = mesh
            .faces()
            .iter()
            .map(|c| c.map(|v| owner[v as usize]))
            .filter(|&[a, b, c]| a != b && b != c && c != a)
            .map(|[a, b, c]| match a.min(b).min(c) {
                m if m == a => [a, b, c],
                m if m == b => [b, c, a],
                _ => [c, a, b],
            })
            .collect();
        faces.sort_unstable();
        faces.dedup();
        let places = seeds.iter().map(|&s| mesh.vertex(s)).collect();
        match Mesh::new(places, faces) {
            Ok(coarse) => Work::over(coarse, owner, seeds),
            Err(_) => {
                let same: Vec<VertexId> = (0..n as u32).collect();
                Work::over(mesh.clone(), same.clone(), same)
            }
        }
    }

    fn over(mesh: Mesh, owner: Vec<VertexId>, seed: Vec<VertexId>) -> Work {
        let topology = Topology::new(&mesh);
        let n = mesh.vertices().len();
        let mut border = vec![false; n];
        let mut start = vec![0u32; n + 1];
        for e in topology.edges() {
            for v in e.ends {
                start[v as usize + 1] += 1;
                border[v as usize] |= e.faces == 1;
            }
        }
        for v in 0..n {
            start[v + 1] += start[v];
        }
        let mut fill = start.clone();
        let total = start[n] as usize;
        let (mut to, mut edge, mut length) = (vec![0; total], vec![0; total], vec![0.0; total]);
        for (i, e) in topology.edges().iter().enumerate() {
            let d = (mesh.vertex(e.ends[0]) - mesh.vertex(e.ends[1])).norm();
            for (v, w) in [(e.ends[0], e.ends[1]), (e.ends[1], e.ends[0])] {
                let slot = &mut fill[v as usize];
                to[*slot as usize] = w;
                edge[*slot as usize] = i as u32;
                length[*slot as usize] = d;
                *slot += 1;
            }
        }
        let places: Vec<Vector> = mesh.vertices().iter().map(|p| p.coords).collect();
        let metric = Metric::new(&mesh, &topology, &places);
        let mut work =
            Work { mesh, topology, owner, seed, start, to, edge, length, metric, normal: Vec::new(), border };
        work.normal = (0..n as u32).map(|v| work.normal_at(&places, v)).collect();
        work
    }

    /// Weights and areas with some vertices moved: the same to the last bit as of the whole surface with them moved.
    pub fn metric_moved(&self, places: &[Vector], moved: &[VertexId]) -> Metric {
        let mut metric = self.metric.clone();
        let mut faces: Vec<u32> =
            moved.iter().flat_map(|&v| self.topology.faces_of_vertex(v).iter().copied()).collect();
        faces.sort_unstable();
        faces.dedup();
        let mut edges: Vec<u32> = faces.iter().flat_map(|&f| self.topology.edges_of_face(f)).collect();
        edges.sort_unstable();
        edges.dedup();
        let mut vertices: Vec<VertexId> = faces.iter().flat_map(|&f| self.mesh.faces()[f as usize]).collect();
        vertices.sort_unstable();
        vertices.dedup();
        for &e in &edges {
            let mut sum = 0.0;
            for &f in self.topology.faces_of_edge(e) {
                let part = Part::of(&self.mesh, places, f);
                let own = self.topology.edges_of_face(f);
                sum += (0..3).filter(|&k| own[k] == e).map(|k| part.weight[k]).sum::<f64>();
            }
            metric.weight[e as usize] = sum.clamp(WEIGHTS.0, WEIGHTS.1);
        }
        for &v in &vertices {
            let around = self.topology.faces_of_vertex(v).iter();
            let sum: f64 = around.map(|&f| Part::of(&self.mesh, places, f).third_mm2).sum();
            metric.area_mm2[v as usize] = sum.max(LEAST_AREA_MM2);
        }
        metric
    }

    /// Unit normal of a vertex with the vertices at given places.
    fn normal_at(&self, places: &[Vector], v: VertexId) -> Vector {
        let sum = self.topology.faces_of_vertex(v).iter().fold(Vector::zeros(), |s, &f| {
            let [a, b, c] = self.mesh.faces()[f as usize].map(|w| places[w as usize]);
            s + (b - a).cross(&(c - a))
        });
        let length = sum.norm();
        if length > 0.0 { sum / length } else { sum }
    }

    /// Unit normals with some vertices moved.
    pub fn normals_moved(&self, places: &[Vector], moved: &[VertexId]) -> Vec<Vector> {
        let mut normal = self.normal.clone();
        let mut changed: Vec<VertexId> =
            moved.iter().flat_map(|&v| std::iter::once(v).chain(self.around(v).map(|(w, _)| w))).collect();
        changed.sort_unstable();
        changed.dedup();
        for v in changed {
            normal[v as usize] = self.normal_at(places, v);
        }
        normal
    }

    /// Area of a set of vertices, mm2.
    pub fn area_mm2(&self, set: &[VertexId]) -> f64 {
        set.iter().map(|&v| self.metric.area_mm2[v as usize]).sum()
    }

    /// Number of vertices.
    pub fn len(&self) -> usize {
        self.border.len()
    }

    /// Neighbours of a vertex with the length of the edge, mm.
    pub fn around(&self, v: VertexId) -> impl Iterator<Item = (VertexId, f64)> + '_ {
        let range = self.start[v as usize] as usize..self.start[v as usize + 1] as usize;
        range.map(|i| (self.to[i], self.length[i]))
    }

    /// Neighbours of a vertex with the weight of the edge.
    pub fn weights<'a>(
        &'a self,
        metric: &'a Metric,
        v: VertexId,
    ) -> impl Iterator<Item = (VertexId, f64)> + 'a {
        let range = self.start[v as usize] as usize..self.start[v as usize + 1] as usize;
        range.map(|i| (self.to[i], metric.weight[self.edge[i] as usize]))
    }

    /// Distance over the edges from a set of vertices, through vertices for which `through` holds; `None` where it is
    /// more than `most_mm`.
    pub fn distances(
        &self,
        from: &[VertexId],
        most_mm: f64,
        through: impl Fn(VertexId) -> bool,
    ) -> Vec<Option<f64>> {
        let mut best = vec![None; self.len()];
        let mut heap = BinaryHeap::new();
        for &v in from {
            best[v as usize] = Some(0.0);
            heap.push(Reached(0.0, v));
        }
        while let Some(Reached(d, v)) = heap.pop() {
            if best[v as usize].is_some_and(|b| b < d) {
                continue;
            }
            for (w, step) in self.around(v) {
                let far = d + step;
                if far <= most_mm && through(w) && best[w as usize].is_none_or(|b| far < b) {
                    best[w as usize] = Some(far);
                    heap.push(Reached(far, w));
                }
            }
        }
        best
    }

    /// A set of vertices grown by `by_mm` over the edges, ascending.
    pub fn grown(&self, set: &[VertexId], by_mm: f64, through: impl Fn(VertexId) -> bool) -> Vec<VertexId> {
        let reached = self.distances(set, by_mm, through);
        (0..self.len() as u32).filter(|&v| reached[v as usize].is_some()).collect()
    }

    /// Connected pieces of the vertices for which `inside` holds, each ascending, by lowest vertex.
    pub fn pieces(&self, inside: impl Fn(VertexId) -> bool) -> Vec<Vec<VertexId>> {
        let mut seen = vec![false; self.len()];
        let mut pieces = Vec::new();
        for seed in 0..self.len() as u32 {
            if seen[seed as usize] || !inside(seed) {
                continue;
            }
            let (mut piece, mut stack) = (Vec::new(), vec![seed]);
            seen[seed as usize] = true;
            while let Some(v) = stack.pop() {
                piece.push(v);
                for (w, _) in self.around(v) {
                    if !seen[w as usize] && inside(w) {
                        seen[w as usize] = true;
                        stack.push(w);
                    }
                }
            }
            piece.sort_unstable();
            pieces.push(piece);
        }
        pieces
    }
}

impl Metric {
    fn new(mesh: &Mesh, topology: &Topology, places: &[Vector]) -> Metric {
        let mut weight = vec![0.0; topology.edges().len()];
        let mut area = vec![0.0; places.len()];
        for (f, corners) in mesh.faces().iter().enumerate() {
            let part = Part::of(mesh, places, f as u32);
            let edges = topology.edges_of_face(f as u32);
            for k in 0..3 {
                area[corners[k] as usize] += part.third_mm2;
                weight[edges[k] as usize] += part.weight[k];
            }
        }
        weight.iter_mut().for_each(|w| *w = w.clamp(WEIGHTS.0, WEIGHTS.1));
        area.iter_mut().for_each(|a| *a = a.max(LEAST_AREA_MM2));
        Metric { weight, area_mm2: area }
    }
}

/// What a triangle adds to a metric.
struct Part {
    /// Weight of each edge; edge k runs from corner k to the next.
    weight: [f64; 3],
    /// A third of its area, mm2.
    third_mm2: f64,
}

impl Part {
    fn of(mesh: &Mesh, places: &[Vector], face: u32) -> Part {
        let p = mesh.faces()[face as usize].map(|v| places[v as usize]);
        let doubled = (p[1] - p[0]).cross(&(p[2] - p[0])).norm();
        let mut weight = [0.0; 3];
        if doubled > 0.0 {
            for k in 0..3 {
                // Edge k is opposite to corner k + 2.
                let (a, b, c) = (p[k], p[(k + 1) % 3], p[(k + 2) % 3]);
                weight[k] = 0.5 * (a - c).dot(&(b - c)) / doubled;
            }
        }
        Part { weight, third_mm2: doubled / 6.0 }
    }
}

/// For each vertex the seed that is nearest along the edges, and the seeds, ascending.
fn cells(mesh: &Mesh, topology: &Topology) -> (Vec<VertexId>, Vec<VertexId>) {
    let n = mesh.vertices().len();
    let mut start = vec![0u32; n + 1];
    for e in topology.edges() {
        start[e.ends[0] as usize + 1] += 1;
        start[e.ends[1] as usize + 1] += 1;
    }
    for v in 0..n {
        start[v + 1] += start[v];
    }
    let mut fill = start.clone();
    let mut around = vec![(0u32, 0.0f64); start[n] as usize];
    for e in topology.edges() {
        let [a, b] = e.ends;
        let d = (mesh.vertex(a) - mesh.vertex(b)).norm();
        for (v, w) in [(a, b), (b, a)] {
            around[fill[v as usize] as usize] = (w, d);
            fill[v as usize] += 1;
        }
    }
    let mut best = vec![f64::INFINITY; n];
    let mut owner: Vec<VertexId> = (0..n as u32).collect();
    let mut seeds = Vec::new();
    let mut heap = BinaryHeap::new();
    for s in 0..n as u32 {
        if best[s as usize] <= SEED_RADIUS_MM {
            continue;
        }
        seeds.push(s);
        best[s as usize] = 0.0;
        owner[s as usize] = s;
        heap.push(Reached(0.0, s));
        while let Some(Reached(d, v)) = heap.pop() {
            if best[v as usize] < d {
                continue;
            }
            for &(w, step) in &around[start[v as usize] as usize..start[v as usize + 1] as usize] {
                let far = d + step;
                if far <= SEED_RADIUS_MM && far < best[w as usize] {
                    best[w as usize] = far;
                    owner[w as usize] = s;
                    heap.push(Reached(far, w));
                }
            }
        }
    }
    (owner, seeds)
}
