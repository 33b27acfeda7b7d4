//! The surface as a graph of places about two thirds of a millimetre apart, with the curvature at each.
//!
//! Crowns are told on this graph, whatever the density of the scan; the answer is carried back to every vertex.

use rayon::prelude::*;

use crate::anatomy::quadric::Quadric;
use crate::mesh::{Mesh, Topology, VertexId};
use crate::space::{Point, Vector, across, direction};

/// Vertices within this way of a place's first vertex join it, mm.
const REACH_MM: f64 = 0.36;
/// Radius of the neighbourhood of the curvature fit, mm, and its greatest where it holds too few places.
const RADIUS_MM: [f64; 3] = [1.2, 1.7, 2.2];
/// Least number of neighbours of a fit.
const LEAST_NEIGHBOURS: usize = 8;
/// Pieces under this share of the surface are left out.
const LEAST_PIECE: f64 = 0.02;

/// Curvature in the tangent plane: normal curvature along `x u + y v` is `a x^2 + 2 b x y + c y^2`, 1/mm, convex positive.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Curvature {
    /// First tangent axis.
    pub u: Vector,
    /// Second tangent axis.
    pub v: Vector,
    /// See above.
    pub form: [f64; 3],
}

impl Curvature {
    /// Least and greatest normal curvature, 1/mm.
    pub fn principal(&self) -> [f64; 2] {
        let [a, b, c] = self.form;
        let (mean, half) = ((a + c) / 2.0, (((a - c) / 2.0) * ((a - c) / 2.0) + b * b).sqrt());
        [mean - half, mean + half]
    }

    /// Normal curvature along a direction (its tangential part), 1/mm; `None` along the normal.
    pub fn along(&self, way: &Vector) -> Option<f64> {
        let (x, y) = (way.dot(&self.u), way.dot(&self.v));
        let square = x * x + y * y;
        (square > 1e-12)
            .then(|| (self.form[0] * x * x + 2.0 * self.form[1] * x * y + self.form[2] * y * y) / square)
    }
}

/// Places of a surface with their neighbours.
#[derive(Clone, Debug)]
pub struct Graph {
    /// Where, mm.
    pub at: Vec<Point>,
    /// Unit normals.
    pub normal: Vec<Vector>,
    /// Surface that a place stands for, mm2.
    pub area: Vec<f64>,
    /// Curvature, where the surface around allows a fit.
    pub curvature: Vec<Option<Curvature>>,
    /// Whether a border of the scan runs through it.
    pub border: Vec<bool>,
    /// Place of each vertex; `None` in pieces that are left out.
    pub place_of: Vec<Option<u32>>,
    start: Vec<u32>,
    near: Vec<u32>,
}

impl Graph {
    /// The graph of a mesh.
    pub fn new(mesh: &Mesh, topology: &Topology) -> Graph {
        let (place_of, count) = gathered(mesh, topology);
        let (mut at, mut normal) = (vec![Vector::zeros(); count], vec![Vector::zeros(); count]);
        let (mut area, mut number) = (vec![0.0; count], vec![0.0; count]);
        for (v, place) in place_of.iter().enumerate() {
            if let Some(p) = *place {
                at[p as usize] += mesh.vertex(v as VertexId).coords;
                number[p as usize] += 1.0;
            }
        }
        for (f, corners) in mesh.faces().iter().enumerate() {
            let doubled = mesh.doubled_area_normal(f as u32);
            for p in corners.iter().filter_map(|&v| place_of[v as usize]) {
                normal[p as usize] += doubled;
                area[p as usize] += doubled.norm() / 6.0;
            }
        }
        let mut border = vec![false; count];
        let mut links: Vec<(u32, u32)> = Vec::new();
        for e in topology.edges() {
            let [a, b] = e.ends.map(|v| place_of[v as usize]);
            let (Some(a), Some(b)) = (a, b) else { continue };
            if e.faces == 1 {
                border[a as usize] = true;
                border[b as usize] = true;
            }
            if a != b {
                links.push((a, b));
                links.push((b, a));
            }
        }
        links.sort_unstable();
        links.dedup();
        let mut start = vec![0u32; count + 1];
        links.iter().for_each(|l| start[l.0 as usize + 1] += 1);
        for k in 0..count {
            start[k + 1] += start[k];
        }
        let mut graph = Graph {
            at: at.iter().zip(&number).map(|(s, n)| Point::from(s / f64::max(*n, 1.0))).collect(),
            normal: normal
                .into_iter()
                .map(|n| direction(n).map_or_else(Vector::z, |d| d.into_inner()))
                .collect(),
            area,
            curvature: Vec::new(),
            border,
            place_of,
            start,
            near: links.into_iter().map(|l| l.1).collect(),
        };
        graph.curvature = (0..count).into_par_iter().map(|i| graph.fit(i as u32)).collect();
        graph
    }

    /// Number of places.
    pub fn len(&self) -> usize {
        self.at.len()
    }

    /// Whether nothing is left of the surface.
    pub fn is_empty(&self) -> bool {
        self.at.is_empty()
    }

    /// Neighbours of a place, ascending.
    pub fn near(&self, i: u32) -> &[u32] {
        &self.near[self.start[i as usize] as usize..self.start[i as usize + 1] as usize]
    }

    /// Position of the first neighbour of a place in the list of all neighbours.
    pub fn first(&self, i: u32) -> usize {
        self.start[i as usize] as usize
    }

    /// Places that can be reached within `radius_mm` of a place without leaving that ball, itself first.
    pub fn around(&self, i: u32, radius_mm: f64) -> Vec<u32> {
        let (mut found, mut next) = (vec![i], 0);
        while let Some(&j) = found.get(next) {
            next += 1;
            for &k in self.near(j) {
                let close =
                    (self.at[k as usize] - self.at[i as usize]).norm_squared() <= radius_mm * radius_mm;
                if close && !found.contains(&k) {
                    found.push(k);
                }
            }
        }
        found
    }

    /// A quadric over the places around one, weighted toward it.
    fn fit(&self, i: u32) -> Option<Curvature> {
        if self.border[i as usize] {
            return None;
        }
        let (here, n) = (self.at[i as usize], self.normal[i as usize]);
        let (u, v) = across(&direction(n)?);
        for radius in RADIUS_MM {
            let mut quadric = Quadric::default();
            for j in self.around(i, radius) {
                let d = self.at[j as usize] - here;
                if self.normal[j as usize].dot(&n) > 0.0 {
                    let square = d.norm_squared() / (radius * radius);
                    quadric.add([d.dot(&u), d.dot(&v), d.dot(&n)], square);
                }
            }
            if quadric.count > LEAST_NEIGHBOURS {
                let [a, b, c] = quadric.solved()?;
                return Some(Curvature { u, v, form: [-2.0 * a, -b, -2.0 * c] });
            }
        }
        None
    }

    /// Greatest of the two curvatures without sign, 1/mm; 0 where none could be fitted.
    pub fn most_curved(&self, i: usize) -> f64 {
        self.curvature[i].map_or(0.0, |c| {
            let [low, high] = c.principal();
            low.abs().max(high.abs())
        })
    }
}

/// The place of each vertex and their number. Vertices join the first vertex of a place over edges of the mesh only.
fn gathered(mesh: &Mesh, topology: &Topology) -> (Vec<Option<u32>>, usize) {
    let kept = kept_vertices(mesh, topology);
    let mut place: Vec<Option<u32>> = vec![None; mesh.vertices().len()];
    let (mut count, mut queue) = (0u32, Vec::new());
    for seed in 0..place.len() as VertexId {
        if place[seed as usize].is_some() || !kept[seed as usize] {
            continue;
        }
        let middle = mesh.vertex(seed);
        place[seed as usize] = Some(count);
        queue.push(seed);
        while let Some(v) = queue.pop() {
            for &f in topology.faces_of_vertex(v) {
                for w in mesh.faces()[f as usize] {
                    let close = (mesh.vertex(w) - middle).norm_squared() <= REACH_MM * REACH_MM;
                    if close && place[w as usize].is_none() {
                        place[w as usize] = Some(count);
                        queue.push(w);
                    }
                }
            }
        }
        count += 1;
    }
    (place, count as usize)
}

fn kept_vertices(mesh: &Mesh, topology: &Topology) -> Vec<bool> {
    let (piece, area) = topology.piece_areas_mm2(mesh);
    let total: f64 = area.iter().sum();
    let mut kept = vec![false; mesh.vertices().len()];
    for (f, corners) in mesh.faces().iter().enumerate() {
        if area[piece[f] as usize] >= LEAST_PIECE * total {
            corners.iter().for_each(|&v| kept[v as usize] = true);
        }
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A cap of a sphere of 5 mm as a height field.
    fn cap(step: f64) -> Mesh {
        let n = (3.0 / step) as i32;
        let wide = (2 * n + 1) as u32;
        let at = |k: i32| step * f64::from(k);
        let height = |x: f64, y: f64| (25.0 - x * x - y * y).sqrt();
        let vertices = (-n..=n)
            .flat_map(|j| (-n..=n).map(move |i| (at(i), at(j))))
            .map(|(x, y)| Point::new(x, y, height(x, y)))
            .collect();
        let mut faces = Vec::new();
        for a in (0..wide - 1).flat_map(|j| (0..wide - 1).map(move |i| j * wide + i)) {
            faces.extend([[a, a + 1, a + wide + 1], [a, a + wide + 1, a + wide]]);
        }
        Mesh::new(vertices, faces).unwrap()
    }

    #[test]
    fn a_sphere_of_5_mm_has_curvature_a_fifth_in_every_direction_and_at_any_density() {
        for step in [0.12, 0.5] {
            let mesh = cap(step);
            let graph = Graph::new(&mesh, &Topology::new(&mesh));
            assert!(graph.place_of.iter().all(Option::is_some));
            let top = (0..graph.len()).max_by(|&a, &b| graph.at[a].z.total_cmp(&graph.at[b].z)).unwrap();
            let c = graph.curvature[top].unwrap();
            for way in [Vector::x(), Vector::y(), Vector::new(1.0, 1.0, 0.0)] {
                assert!((c.along(&way).unwrap() - 0.2).abs() < 0.02, "{step}: {:?}", c.form);
            }
            let area: f64 = graph.area.iter().sum();
            assert!((area - mesh.area_mm2()).abs() < 1e-6 * area);
        }
        let [fine, coarse] = [0.12, 0.5].map(|s| {
            let mesh = cap(s);
            (Graph::new(&mesh, &Topology::new(&mesh)).len(), mesh.vertices().len())
        });
        assert!(5 * fine.0 < fine.1, "a fine mesh is joined: {fine:?}");
        assert_eq!(coarse.0, coarse.1, "a coarse one is taken as it is");
    }
}
