//! A cast prepared once for all directions: centred coordinates, neighbours in space near each other in memory, and
//! who stands beside whom at each side of a triangle.

use crate::mesh::{Mesh, Topology};
use crate::space::Point;

/// What lies across one side of a triangle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Side {
    /// Nothing: a border.
    Border,
    /// More than one other triangle.
    Fan,
    /// One triangle; `turned` where the two run along the side in the same sense, so that their facings disagree.
    Beside { face: u32, turned: bool },
}

/// A side shared by more than two triangles, with the sense in which each runs along it.
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
    pub sides: Vec<[Side; 3]>,
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
        let sides = face_from.iter().map(|&f| sides_of(mesh, topology, &face_here, f)).collect();
        let mut used = vec![false; points.len()];
        faces.iter().flatten().for_each(|&v| used[v as usize] = true);
        Shell {
            centre,
            fans: fans(mesh, topology, &vertex_here, &face_here),
            mean_side: mesh.mean_edge_mm(),
            points,
            faces,
            sides,
            vertex_from,
            vertex_here,
            face_here,
            used,
        }
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

fn sides_of(mesh: &Mesh, topology: &Topology, face_here: &[u32], face: u32) -> [Side; 3] {
    let corners = mesh.faces()[face as usize];
    let edges = topology.edges_of_face(face);
    std::array::from_fn(|k| match topology.faces_of_edge(edges[k]) {
        [_] => Side::Border,
        &[f, g] => {
            let other = if f == face { g } else { f };
            let turned = runs(mesh, other, corners[k], corners[(k + 1) % 3]);
            Side::Beside { face: face_here[other as usize], turned }
        }
        _ => Side::Fan,
    })
}

fn fans(mesh: &Mesh, topology: &Topology, vertex_here: &[u32], face_here: &[u32]) -> Vec<Fan> {
    topology
        .edges()
        .iter()
        .enumerate()
        .filter(|(_, e)| e.faces > 2)
        .map(|(i, e)| Fan {
            ends: e.ends.map(|v| vertex_here[v as usize]),
            faces: topology
                .faces_of_edge(i as u32)
                .iter()
                .map(|&f| (face_here[f as usize], runs(mesh, f, e.ends[0], e.ends[1])))
                .collect(),
        })
        .collect()
}
