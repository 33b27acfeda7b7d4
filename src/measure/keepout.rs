//! Quantity: keep-out of tori: where nothing rigid may bear, and the relief under whatever may still cross (no published
//! figure for either; both are settings of practice).
//!
//! Definition: the keep-out curve is the set of places whose distance over the surface from the outlines is the margin;
//! tori whose keep-outs meet share one curve. The relief solid lies between the surface inside the curve and the same
//! surface moved square to itself, along its vertex normals, by the relief.
//!
//! Frame and units: mm, mm2, mm3; positions in the file's axes.
//!
//! Method and its error: next to an outline the distance is the straight one to its nearest chord; from there a front
//! goes over the triangles, each unfolded beside the last (`spread`). On a plane the curve around a straight outline
//! is exact; around a bend the front of a few triangles is off by under 3 % of the margin.
//!
//! Not covered: the solid of a sharply hollow foot may pass through itself by less than the relief.
//!
//! Checked by: a disc on a plane (area of the widened disc, closed solid, volume = area times relief).

use std::collections::{BTreeMap, BinaryHeap};

use super::torus::{Torus, level_line};
use crate::mesh::{FaceId, Mesh, Reached, Topology, VertexId};
use crate::report::TorusState;
use crate::space::{Point, Vector, direction};

/// A margin of nothing is taken as this, mm, so that the curve still runs outside the outline.
const LEAST_MARGIN_MM: f64 = 0.01;

/// Keep-out of all tori of a cast.
#[derive(Clone, Debug, PartialEq)]
pub struct KeepOut {
    /// One closed curve for each piece, first position not repeated, mm.
    pub curves: Vec<Vec<Point>>,
    /// Length of all curves, mm.
    pub length_mm: f64,
    /// Surface inside, mm2.
    pub area_mm2: f64,
    /// Closed solids of the relief; `None` where there is no torus or the relief is 0.
    pub solid: Option<Mesh>,
}

/// Widens the outlines of the tori that are found or marked by `margin_mm` and lifts the surface inside by `relief_mm`.
pub fn keepout(mesh: &Mesh, topology: &Topology, tori: &[Torus], margin_mm: f64, relief_mm: f64) -> KeepOut {
    let margin_mm = margin_mm.max(LEAST_MARGIN_MM);
    let sure: Vec<&Torus> = tori.iter().filter(|t| t.state != TorusState::Possible).collect();
    let distance = spread(mesh, topology, &sure, margin_mm);
    let value = |v: VertexId| distance.get(&v).map_or(-1e-3, |d| margin_mm - d);
    let mut curves = Vec::new();
    let mut seen: Vec<FaceId> = Vec::new();
    for torus in &sure {
        let inside = torus.faces.iter().any(|f| seen.binary_search(f).is_ok());
        let start = torus.faces.first().map(|&f| mesh.faces()[f as usize][0]);
        let Some(line) = start.filter(|_| !inside).and_then(|v| level_line(mesh, topology, v, &value)) else {
            continue;
        };
        seen.extend(&line.faces);
        seen.sort_unstable();
        curves.push(line.outline);
    }
    let length = |c: &Vec<Point>| (0..c.len()).map(|i| (c[(i + 1) % c.len()] - c[i]).norm()).sum::<f64>();
    let patch = Patch::inside(mesh, topology, &distance, margin_mm);
    KeepOut {
        length_mm: curves.iter().map(length).sum(),
        area_mm2: patch.area_mm2(),
        solid: patch.lifted(relief_mm),
        curves,
    }
}

/// Distance of vertices from the tori over the surface, mm, as far as a little beyond `most_mm`; 0 inside.
pub(super) fn spread(
    mesh: &Mesh,
    topology: &Topology,
    tori: &[&Torus],
    most_mm: f64,
) -> BTreeMap<VertexId, f64> {
    let mut distance: BTreeMap<VertexId, f64> = BTreeMap::new();
    for torus in tori {
        let mut inside: Vec<VertexId> = torus.faces.iter().flat_map(|&f| mesh.faces()[f as usize]).collect();
        inside.sort_unstable();
        inside.dedup();
        // A triangle counts as inside when most of it is: the corner that is not lies outside the outline.
        for &v in &inside {
            let whole = topology.faces_of_vertex(v).iter().all(|f| torus.faces.binary_search(f).is_ok());
            let d = if whole { 0.0 } else { signed_from_outline(mesh, topology, torus, v) };
            let old = distance.entry(v).or_insert(f64::INFINITY);
            *old = old.min(d.max(0.0));
        }
        let beside = inside.iter().flat_map(|&v| topology.neighbours(mesh, v));
        let outer: Vec<VertexId> = beside.filter(|w| inside.binary_search(w).is_err()).collect();
        for w in outer {
            let d = to_outline(&torus.outline, &mesh.vertex(w));
            let old = distance.entry(w).or_insert(f64::INFINITY);
            *old = old.min(d);
        }
    }
    spread_from(mesh, topology, distance, most_mm)
}

/// Distances over the surface from vertices whose distance is given, mm, as far as a little beyond `most_mm`.
pub(super) fn spread_from(
    mesh: &Mesh,
    topology: &Topology,
    mut distance: BTreeMap<VertexId, f64>,
    most_mm: f64,
) -> BTreeMap<VertexId, f64> {
    let mut heap: BinaryHeap<Reached> = distance.iter().map(|(&v, &d)| Reached(d, v)).collect();
    while let Some(Reached(d, v)) = heap.pop() {
        if d > most_mm || distance.get(&v).is_some_and(|&b| b < d) {
            continue;
        }
        for &f in topology.faces_of_vertex(v) {
            let corners = mesh.faces()[f as usize];
            for to in corners.into_iter().filter(|&w| w != v) {
                let other = corners.into_iter().find(|&w| w != v && w != to);
                let with = other.and_then(|o| distance.get(&o).map(|&e| (o, e)));
                let far = front(mesh, (v, d), with, to);
                if distance.get(&to).is_none_or(|&b| far < b) {
                    distance.insert(to, far);
                    heap.push(Reached(far, to));
                }
            }
        }
    }
    distance
}

/// Distance of a vertex at the rim: 0 where the torus lies around it on more than half of its triangles.
fn signed_from_outline(mesh: &Mesh, topology: &Topology, torus: &Torus, v: VertexId) -> f64 {
    let around = topology.faces_of_vertex(v);
    let inside = around.iter().filter(|f| torus.faces.binary_search(f).is_ok()).count();
    if 2 * inside >= around.len() { 0.0 } else { to_outline(&torus.outline, &mesh.vertex(v)) }
}

/// Straight distance of a place from a closed curve, mm; infinite where the curve is empty.
pub(super) fn to_outline(outline: &[Point], p: &Point) -> f64 {
    let n = outline.len();
    (0..n)
        .map(|i| {
            let (a, b) = (outline[i], outline[(i + 1) % n]);
            let along = b - a;
            let length2 = along.norm_squared();
            let t = if length2 > 0.0 { ((p - a).dot(&along) / length2).clamp(0.0, 1.0) } else { 0.0 };
            (p - (a + along * t)).norm()
        })
        .fold(f64::INFINITY, f64::min)
}

/// Distance of a corner from the front through the two others: the front is taken for straight across the triangle.
fn front(mesh: &Mesh, (a, da): (VertexId, f64), with: Option<(VertexId, f64)>, c: VertexId) -> f64 {
    let (pa, pc) = (mesh.vertex(a), mesh.vertex(c));
    let along_edge = da + (pc - pa).norm();
    let Some((b, db)) = with else { return along_edge };
    let pb = mesh.vertex(b);
    let along_edge = along_edge.min(db + (pc - pb).norm());
    let (ab, ac) = (pb - pa, pc - pa);
    let length = ab.norm();
    let slope = (db - da) / length;
    if length <= 0.0 || slope.abs() >= 1.0 {
        return along_edge;
    }
    let x = ac.dot(&ab) / length;
    let y = (ac.norm_squared() - x * x).max(0.0).sqrt();
    let steep = (1.0 - slope * slope).sqrt();
    // The front reaches c along its own normal (slope, steep); that ray must come through the edge ab.
    let from = x - y * slope / steep;
    if (0.0..=length).contains(&from) { da + slope * x + steep * y } else { along_edge }
}

fn unit(v: Vector) -> Vector {
    direction(v).map_or_else(Vector::zeros, |d| d.into_inner())
}

/// The surface inside the keep-out curve, its rim cut exactly.
struct Patch {
    places: Vec<Point>,
    normals: Vec<Vector>,
    faces: Vec<[u32; 3]>,
}

impl Patch {
    fn inside(mesh: &Mesh, topology: &Topology, distance: &BTreeMap<VertexId, f64>, margin_mm: f64) -> Patch {
        let mut faces: Vec<FaceId> = distance
            .iter()
            .filter(|(_, d)| **d < margin_mm)
            .flat_map(|(&v, _)| topology.faces_of_vertex(v).iter().copied())
            .collect();
        faces.sort_unstable();
        faces.dedup();
        let mut patch = Patch { places: Vec::new(), normals: Vec::new(), faces: Vec::new() };
        let mut index: BTreeMap<(VertexId, VertexId), u32> = BTreeMap::new();
        let value = |v: VertexId| distance.get(&v).map_or(-1e-3, |d| margin_mm - d);
        for f in faces {
            let corners = mesh.faces()[f as usize];
            let mut rim = Vec::with_capacity(4);
            for k in 0..3 {
                let (a, b) = (corners[k], corners[(k + 1) % 3]);
                let (va, vb) = (value(a), value(b));
                if va > 0.0 {
                    rim.push(patch.corner(mesh, topology, &mut index, (a, a), 0.0));
                }
                if (va > 0.0) != (vb > 0.0) {
                    let (lo, hi) = (a.min(b), a.max(b));
                    let t = value(lo) / (value(lo) - value(hi));
                    rim.push(patch.corner(mesh, topology, &mut index, (lo, hi), t));
                }
            }
            for k in 1..rim.len().saturating_sub(1) {
                patch.faces.push([rim[0], rim[k], rim[k + 1]]);
            }
        }
        patch
    }

    fn corner(
        &mut self,
        mesh: &Mesh,
        topology: &Topology,
        index: &mut BTreeMap<(VertexId, VertexId), u32>,
        (a, b): (VertexId, VertexId),
        t: f64,
    ) -> u32 {
        *index.entry((a, b)).or_insert_with(|| {
            let normal = |v: VertexId| {
                let around = topology.faces_of_vertex(v).iter();
                unit(around.fold(Vector::zeros(), |s, &f| s + mesh.doubled_area_normal(f)))
            };
            self.places.push(mesh.vertex(a) + (mesh.vertex(b) - mesh.vertex(a)) * t);
            self.normals.push(unit(normal(a) * (1.0 - t) + normal(b) * t));
            self.places.len() as u32 - 1
        })
    }

    fn area_mm2(&self) -> f64 {
        self.faces
            .iter()
            .map(|f| {
                let [a, b, c] = f.map(|v| self.places[v as usize]);
                0.5 * (b - a).cross(&(c - a)).norm()
            })
            .sum()
    }

    /// The closed solid between the patch and the patch moved along its normals; `None` for a relief of 0.
    fn lifted(&self, relief_mm: f64) -> Option<Mesh> {
        if relief_mm <= 0.0 || self.faces.is_empty() {
            return None;
        }
        let n = self.places.len() as u32;
        let mut vertices = self.places.clone();
        vertices.extend(self.places.iter().zip(&self.normals).map(|(p, m)| p + m * relief_mm));
        let mut faces: Vec<[u32; 3]> = self.faces.iter().map(|&[a, b, c]| [a, c, b]).collect();
        faces.extend(self.faces.iter().map(|f| f.map(|v| v + n)));
        let mut sides: BTreeMap<(u32, u32), i32> = BTreeMap::new();
        for &[a, b, c] in &self.faces {
            for (p, q) in [(a, b), (b, c), (c, a)] {
                *sides.entry((p, q)).or_insert(0) += 1;
                *sides.entry((q, p)).or_insert(0) -= 1;
            }
        }
        for ((p, q), _) in sides.into_iter().filter(|(_, count)| *count > 0) {
            faces.extend([[p, q, q + n], [p, q + n, p + n]]);
        }
        Mesh::new(vertices, faces).ok()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::TorusSide;

    /// A sheet of `edge` mm, and a torus whose outline is a circle of radius 3 on it.
    fn disc(edge: f64) -> (Mesh, Torus) {
        let n = (16.0 / edge).round() as u32 + 1;
        let at = |i: u32| f64::from(i) * 16.0 / f64::from(n - 1) - 8.0;
        let vertices = (0..n * n).map(|k| Point::new(at(k % n), at(k / n), 0.0)).collect();
        let mut faces = Vec::new();
        for j in 0..n - 1 {
            for i in 0..n - 1 {
                let a = j * n + i;
                faces.extend([[a, a + 1, a + n + 1], [a, a + n + 1, a + n]]);
            }
        }
        let mesh = Mesh::new(vertices, faces).unwrap();
        let inside = |p: &Point| p.coords.norm() < 3.0;
        let faces = (0..mesh.faces().len() as u32)
            .filter(|&f| mesh.corners(f).iter().filter(|p| inside(p)).count() >= 2)
            .collect();
        let outline = (0..120)
            .map(|k| {
                let t = f64::from(k) / 120.0 * std::f64::consts::TAU;
                Point::new(3.0 * crate::space::cos(t), 3.0 * crate::space::sin(t), 0.0)
            })
            .collect();
        let torus = Torus {
            side: Some(TorusSide::Left),
            height_mm: 1.0,
            height_method_mm: 0.1,
            length_mm: 6.0,
            width_mm: 6.0,
            area_mm2: 28.3,
            volume_mm3: 20.0,
            summit: Point::origin(),
            outline,
            faces,
            confidence: 1.0,
            state: TorusState::Marked,
            doubts: Vec::new(),
        };
        (mesh, torus)
    }

    #[test]
    fn a_disc_is_widened_all_round_and_its_relief_is_a_closed_solid() {
        for (edge, within) in [(0.2, 0.02), (0.4, 0.04)] {
            let (mesh, torus) = disc(edge);
            let topology = Topology::new(&mesh);
            let found = keepout(&mesh, &topology, std::slice::from_ref(&torus), 1.5, 0.5);
            let wanted = std::f64::consts::PI * 4.5 * 4.5;
            assert!((found.area_mm2 / wanted - 1.0).abs() < within, "{} for {wanted}", found.area_mm2);
            assert_eq!(found.curves.len(), 1);
            let round = std::f64::consts::TAU * 4.5;
            assert!((found.length_mm / round - 1.0).abs() < within, "{} for {round}", found.length_mm);
            assert!(found.curves[0].iter().all(|p| (p.coords.norm() - 4.5).abs() < 0.1));
            let solid = found.solid.unwrap();
            assert!(Topology::new(&solid).edges().iter().all(|e| e.faces == 2));
            assert!((solid.signed_volume_mm3() - 0.5 * found.area_mm2).abs() < 1e-6);
        }
    }

    #[test]
    fn a_possible_torus_and_no_relief_make_no_solid() {
        let (mesh, torus) = disc(0.4);
        let topology = Topology::new(&mesh);
        let flat = keepout(&mesh, &topology, std::slice::from_ref(&torus), 1.0, 0.0);
        assert!(flat.solid.is_none() && flat.curves.len() == 1);
        let possible = Torus { state: TorusState::Possible, ..torus };
        let none = keepout(&mesh, &topology, &[possible], 1.0, 0.5);
        assert!(none.solid.is_none() && none.curves.is_empty() && none.area_mm2.abs() < 1e-12);
    }
}
