//! A cast prepared once for all directions: centred coordinates, neighbours in space near each other in memory, and
//! which triangles meet at each edge.

use super::crossing;
use crate::mesh::made_once;
use crate::mesh::{Mesh, Topology};
use crate::space::Point;
use std::sync::OnceLock;

/// An edge with two triangles. The first triangle runs along it from the first end to the second; the other, unless
/// the two are turned against each other, runs backwards.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Edge {
    pub ends: [u32; 2],
    pub faces: [u32; 2],
}

/// An edge with one triangle, which runs along it from the first end to the second.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct BorderEdge {
    pub ends: [u32; 2],
    pub face: u32,
}

/// An edge shared by more than two triangles, with the sense in which each runs along it.
#[derive(Clone, Debug)]
pub(super) struct Fan {
    pub ends: [u32; 2],
    pub faces: Vec<(u32, bool)>,
}

/// The prepared surface. Vertices and triangles are numbered along a space-filling curve.
#[derive(Debug)]
pub(super) struct Shell {
    /// What was taken off all coordinates.
    pub centre: Point,
    pub points: Vec<[f64; 3]>,
    pub faces: Vec<[u32; 3]>,
    /// Edges between two triangles that run along them in opposite senses.
    pub edges: Vec<Edge>,
    /// Borders.
    pub borders: Vec<BorderEdge>,
    /// Edges between two triangles that run along them in the same sense, so that their facings disagree.
    pub turned_edges: Vec<Edge>,
    pub fans: Vec<Fan>,
    /// For each vertex here, the vertex of the mesh.
    pub vertex_from: Vec<u32>,
    /// For each vertex of the mesh, the vertex here.
    pub vertex_here: Vec<u32>,
    /// For each triangle of the mesh, the triangle here.
    pub face_here: Vec<u32>,
    /// Whether a triangle meets the vertex.
    pub used: Vec<bool>,
    /// Mean length of a side, mm.
    pub mean_side: f64,
    /// Square of the longest side, mm2, a little more.
    pub longest_square: f64,
    /// Sums over all triangles of the longest side, mm, and of its square, mm2.
    pub sides: [f64; 2],
    /// Greatest coordinate, mm.
    pub reach: f64,
    crossed: OnceLock<Vec<bool>>,
    alone: OnceLock<Vec<bool>>,
}

impl Shell {
    /// Prepares a mesh.
    pub fn new(mesh: &Mesh, topology: &Topology) -> Shell {
        let centre = match mesh.bounds() {
            Some((lo, hi)) => Point::from((lo.coords + hi.coords) / 2.0),
            None => Point::origin(),
        };
        let reach =
            mesh.vertices().iter().map(|p| (p - centre).amax()).fold(0.0, f64::max).max(f64::MIN_POSITIVE);
        let key = |p: &Point| curve_key((p - centre).map(|c| c / reach).into());
        let vertex_from = sorted_by_key(mesh.vertices().len(), |v| key(&mesh.vertices()[v as usize]));
        let face_from = sorted_by_key(mesh.faces().len(), |f| key(&mesh.face_centre(f)));
        let vertex_here = inverse(&vertex_from);
        let face_here = inverse(&face_from);
        let points: Vec<[f64; 3]> =
            vertex_from.iter().map(|&v| (mesh.vertices()[v as usize] - centre).into()).collect();
        let faces: Vec<[u32; 3]> =
            face_from.iter().map(|&f| mesh.faces()[f as usize].map(|v| vertex_here[v as usize])).collect();
        let mut used = vec![false; points.len()];
        faces.iter().flatten().for_each(|&v| used[v as usize] = true);
        let square = |a: u32, b: u32| {
            let (p, q): (&[f64; 3], &[f64; 3]) = (&points[a as usize], &points[b as usize]);
            (0..3).map(|k| (p[k] - q[k]) * (p[k] - q[k])).sum::<f64>()
        };
        let (mut longest_square, mut sides) = (0.0f64, [0.0; 2]);
        for &[a, b, c] in &faces {
            let longest = square(a, b).max(square(b, c)).max(square(c, a));
            longest_square = longest_square.max(longest);
            sides = [sides[0] + longest.sqrt(), sides[1] + longest];
        }
        let mut shell = Shell {
            centre,
            longest_square: 1.001 * longest_square,
            sides,
            reach: points.iter().flatten().fold(0.0, |m, c| c.abs().max(m)),
            edges: Vec::with_capacity(topology.edges().len()),
            borders: Vec::new(),
            turned_edges: Vec::new(),
            fans: Vec::new(),
            mean_side: mesh.mean_edge_mm(),
            points,
            faces,
            vertex_from,
            vertex_here,
            face_here,
            used,
            crossed: OnceLock::new(),
            alone: OnceLock::new(),
        };
        shell.gather_edges(mesh, topology);
        shell
    }

    /// For each triangle, whether another one passes through it, touches it or lies within rounding of it, without
    /// being its neighbour there.
    pub fn crossed(&self) -> &[bool] {
        made_once::<Vec<bool>>(&self.crossed, || crossing::crossed(&self.points, &self.faces))
    }

    /// For each vertex, whether its triangles may stand over one another or another triangle passes through one of them,
    /// so that it tells nothing about its neighbours.
    pub fn alone(&self) -> &[bool] {
        made_once::<Vec<bool>>(&self.alone, || {
            let mut alone: Vec<bool> =
                crossing::flat_corners(&self.points, &self.faces).into_iter().map(|flat| !flat).collect();
            for (corners, _) in self.faces.iter().zip(self.crossed()).filter(|(_, crossed)| **crossed) {
                corners.iter().for_each(|&v| alone[v as usize] = true);
            }
            alone
        })
    }

    fn gather_edges(&mut self, mesh: &Mesh, topology: &Topology) {
        for (i, edge) in topology.edges().iter().enumerate() {
            let ends = edge.ends.map(|v| self.vertex_here[v as usize]);
            let here = |f: u32| (self.face_here[f as usize], runs(mesh, f, edge.ends[0], edge.ends[1]));
            match topology.faces_of_edge(i as u32) {
                &[f] => {
                    let (f, along) = here(f);
                    let ends = if along { ends } else { [ends[1], ends[0]] };
                    self.borders.push(BorderEdge { ends, face: f });
                }
                &[f, g] => {
                    let (first, second) = (here(f).min(here(g)), here(f).max(here(g)));
                    let ends = if first.1 { ends } else { [ends[1], ends[0]] };
                    let edge = Edge { ends, faces: [first.0, second.0] };
                    if first.1 == second.1 { self.turned_edges.push(edge) } else { self.edges.push(edge) }
                }
                many => {
                    let faces = many.iter().map(|&f| here(f)).collect();
                    self.fans.push(Fan { ends, faces });
                }
            }
        }
        self.edges.sort_unstable_by_key(|e| e.faces);
        self.turned_edges.sort_unstable_by_key(|e| e.faces);
        self.borders.sort_unstable_by_key(|e| (e.face, e.ends));
    }
}

fn inverse(order: &[u32]) -> Vec<u32> {
    let mut back = vec![0u32; order.len()];
    for (new, &old) in order.iter().enumerate() {
        back[old as usize] = new as u32;
    }
    back
}

fn sorted_by_key(n: usize, key: impl Fn(u32) -> u64) -> Vec<u32> {
    let mut keyed: Vec<(u64, u32)> = (0..n as u32).map(|i| (key(i), i)).collect();
    keyed.sort_unstable();
    keyed.into_iter().map(|(_, i)| i).collect()
}

/// Place along a Z-order curve of a point with coordinates -1 to 1.
fn curve_key(p: [f64; 3]) -> u64 {
    let spread = |c: f64| {
        let mut x = (((c + 1.0) * 0.5).clamp(0.0, 1.0) * 2_097_151.0) as u64;
        x = (x | (x << 32)) & 0x1f_0000_0000_ffff;
        x = (x | (x << 16)) & 0x1f_0000_ff00_00ff;
        x = (x | (x << 8)) & 0x100f_00f0_0f00_f00f;
        x = (x | (x << 4)) & 0x10c3_0c30_c30c_30c3;
        (x | (x << 2)) & 0x1249_2492_4924_9249
    };
    spread(p[0]) | (spread(p[1]) << 1) | (spread(p[2]) << 2)
}

/// Whether triangle `face` of `mesh` runs from `a` to `b`.
fn runs(mesh: &Mesh, face: u32, a: u32, b: u32) -> bool {
    let c = mesh.faces()[face as usize];
    (0..3).any(|k| c[k] == a && c[(k + 1) % 3] == b)
}
