//! The surface at the scale of cusps and pits: corners within a cell of 1.4 mm become one.
//!
//! Noise and the triangles' own size drop out, so that the share of domes and pits can be compared between a scan of
//! 16 thousand triangles and one of a million.

use crate::mesh::{Mesh, Topology};
use crate::space::{Point, Vector, atan2};

/// Side of a cell, mm.
const CELL_MM: f64 = 1.4;
/// A dome or pit: mean curvature beyond this, 1/mm.
const MEAN: f64 = 0.25;
/// And Gaussian curvature at least this share of the mean's square: 1 for a ball, 0 for an edge, so that the rims of a
/// trimmed base or an impression tray do not count.
const ROUND: f64 = 0.5;
/// A flat face: neighbours within 4 degrees of each other, larger than this, mm2, its mean normal longer than that.
const FLAT_COSINE: f64 = 0.99756;
const FLAT_MM2: f64 = 60.0;
const FLAT_MEAN: f64 = 0.985;
/// Rings of vertices around it that are left out too.
const FLAT_RINGS: usize = 2;
/// A second wall is looked for this far behind the surface, mm.
const WALL_MM: f64 = 4.5;

/// The coarse surface.
pub(super) struct Coarse {
    mesh: Mesh,
    topology: Topology,
}

/// Area of strongly curved domes and pits, mm2.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Features {
    pub domes_mm2: f64,
    pub pits_mm2: f64,
}

type Cell = [i64; 3];

fn cell_of(p: &Point, origin: &Point, side: f64) -> Cell {
    [0, 1, 2].map(|k| ((p[k] - origin[k]) / side).floor() as i64)
}

/// Items sorted by cell, so that no order of hashing reaches a result.
struct Cells(Vec<(Cell, u32)>);

impl Cells {
    fn new(points: &[Point], origin: &Point, side: f64) -> Cells {
        let mut items: Vec<(Cell, u32)> =
            points.iter().enumerate().map(|(i, p)| (cell_of(p, origin, side), i as u32)).collect();
        items.sort_unstable();
        Cells(items)
    }

    fn at(&self, cell: Cell) -> &[(Cell, u32)] {
        let from = self.0.partition_point(|(c, _)| *c < cell);
        let rest = self.0.get(from..).unwrap_or_default();
        &rest[..rest.partition_point(|(c, _)| *c == cell)]
    }
}

impl Coarse {
    /// `None` where nothing is left at this scale.
    pub(super) fn new(mesh: &Mesh) -> Option<Coarse> {
        let (low, _) = mesh.bounds()?;
        let cells = Cells::new(mesh.vertices(), &low, CELL_MM);
        let mut new_of = vec![0u32; mesh.vertices().len()];
        let mut places = Vec::new();
        for group in cells.0.chunk_by(|a, b| a.0 == b.0) {
            let sum = group.iter().fold(Vector::zeros(), |s, (_, v)| s + (mesh.vertex(*v) - low));
            group.iter().for_each(|(_, v)| new_of[*v as usize] = places.len() as u32);
            places.push(low + sum / group.len() as f64);
        }
        let mut faces: Vec<[u32; 3]> = mesh
            .faces()
            .iter()
            .map(|f| f.map(|v| new_of[v as usize]))
            .filter(|[a, b, c]| a != b && b != c && c != a)
            .collect();
        // The same triangle may come from several; each corner order is a facing, so turn the lowest corner to the front.
        for f in &mut faces {
            let lowest = (0..3).min_by_key(|k| f[*k]).unwrap_or(0);
            f.rotate_left(lowest);
        }
        faces.sort_unstable();
        faces.dedup();
        let mesh = Mesh::new(places, faces).ok()?;
        let topology = Topology::new(&mesh);
        Some(Coarse { mesh, topology })
    }

    /// Area of domes and of pits as seen from the side that the surface faces.
    pub(super) fn features(&self) -> Features {
        let n = self.mesh.vertices().len();
        let (mut area, mut angle, mut mean) = (vec![0.0; n], vec![0.0; n], vec![0.0; n]);
        for (f, corners) in self.mesh.faces().iter().enumerate() {
            let p = self.mesh.corners(f as u32);
            let third = self.mesh.face_area_mm2(f as u32) / 3.0;
            for k in 0..3 {
                let (a, b) = (p[(k + 1) % 3] - p[k], p[(k + 2) % 3] - p[k]);
                angle[corners[k] as usize] += atan2(a.cross(&b).norm(), a.dot(&b));
                area[corners[k] as usize] += third;
            }
        }
        let mut whole = vec![true; n];
        for (e, edge) in self.topology.edges().iter().enumerate() {
            let bend = match *self.topology.faces_of_edge(e as u32) {
                [f, g] => self.bend(f, g, edge.ends),
                _ => None,
            };
            for v in edge.ends {
                match bend {
                    // Half the bend times the length is the edge's mean curvature; half of that goes to each end.
                    Some(bend) => mean[v as usize] += bend / 4.0,
                    None => whole[v as usize] = false,
                }
            }
        }
        let trimmed = self.at_flat_faces();
        let mut features = Features { domes_mm2: 0.0, pits_mm2: 0.0 };
        for v in (0..n).filter(|v| whole[*v] && area[*v] > 0.0 && !trimmed[*v]) {
            let gauss = (2.0 * std::f64::consts::PI - angle[v]) / area[v];
            let curvature = mean[v] / area[v];
            if gauss > ROUND * curvature * curvature && curvature > MEAN {
                features.domes_mm2 += area[v];
            } else if gauss > ROUND * curvature * curvature && curvature < -MEAN {
                features.pits_mm2 += area[v];
            }
        }
        features
    }

    /// Marks vertices of large flat faces and their neighbourhood: the rims of a trimmed base or of an impression block,
    /// which look like domes where cells cut them unevenly.
    fn at_flat_faces(&self) -> Vec<bool> {
        let faces = self.mesh.faces();
        let mut marked = vec![false; self.mesh.vertices().len()];
        let mut done = vec![false; faces.len()];
        for seed in 0..faces.len() as u32 {
            let (mut patch, mut next) = (vec![seed], 0);
            if std::mem::replace(&mut done[seed as usize], true) {
                continue;
            }
            while let Some(&f) = patch.get(next) {
                next += 1;
                for e in self.topology.edges_of_face(f) {
                    for &g in self.topology.faces_of_edge(e) {
                        if !done[g as usize] && self.parallel(f, g) {
                            done[g as usize] = true;
                            patch.push(g);
                        }
                    }
                }
            }
            let area: f64 = patch.iter().map(|f| self.mesh.face_area_mm2(*f)).sum();
            let sum = patch.iter().fold(Vector::zeros(), |s, f| s + self.mesh.doubled_area_normal(*f) / 2.0);
            if area > FLAT_MM2 && sum.norm() > FLAT_MEAN * area {
                patch.iter().flat_map(|f| faces[*f as usize]).for_each(|v| marked[v as usize] = true);
            }
        }
        for _ in 0..FLAT_RINGS {
            let before = marked.clone();
            for edge in self.topology.edges() {
                let [a, b] = edge.ends.map(|v| v as usize);
                marked[a] |= before[b];
                marked[b] |= before[a];
            }
        }
        marked
    }

    fn parallel(&self, f: u32, g: u32) -> bool {
        let (Some(a), Some(b)) = (self.mesh.face_normal(f), self.mesh.face_normal(g)) else { return false };
        a.dot(&b) > FLAT_COSINE
    }

    /// Angle between two triangles times the length of their edge, positive where it sticks out; `None` where they
    /// face opposite ways along it.
    fn bend(&self, f: u32, g: u32, ends: [u32; 2]) -> Option<f64> {
        let side = |face: u32| {
            let c = self.mesh.faces()[face as usize];
            (0..3).any(|k| c[k] == ends[0] && c[(k + 1) % 3] == ends[1])
        };
        let (nf, ng) = (self.mesh.face_normal(f)?, self.mesh.face_normal(g)?);
        let edge = self.mesh.vertex(ends[1]) - self.mesh.vertex(ends[0]);
        let (first, second) = match (side(f), side(g)) {
            (true, false) => (nf, ng),
            (false, true) => (ng, nf),
            _ => return None,
        };
        let turn = first.cross(&second);
        let angle = atan2(turn.norm(), first.dot(&second));
        Some(if turn.dot(&edge) < 0.0 { -angle } else { angle } * edge.norm())
    }

    /// Share of the vertices behind which, at up to 4.5 mm, the surface faces the other way; and the first of them.
    pub(super) fn share_with_wall_behind(&self) -> (f64, Option<Point>) {
        let Some((low, _)) = self.mesh.bounds() else { return (0.0, None) };
        let normals = self.mesh.vertex_normals();
        let cells = Cells::new(self.mesh.vertices(), &low, WALL_MM);
        let (mut count, mut first) = (0, None);
        for (v, p) in self.mesh.vertices().iter().enumerate() {
            let n = normals[v];
            let home = cell_of(p, &low, WALL_MM);
            let wall = (0..27).any(|k: i64| {
                let cell = [home[0] + k % 3 - 1, home[1] + k / 3 % 3 - 1, home[2] + k / 9 - 1];
                cells.at(cell).iter().any(|(_, w)| {
                    let d = self.mesh.vertex(*w) - p;
                    let depth = -d.dot(&n);
                    depth > 0.5
                        && depth <= WALL_MM
                        && depth > 0.87 * d.norm()
                        && normals[*w as usize].dot(&n) < -0.8
                })
            });
            if wall {
                count += 1;
                first.get_or_insert(*p);
            }
        }
        (count as f64 / self.mesh.vertices().len().max(1) as f64, first)
    }
}
