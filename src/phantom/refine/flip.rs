//! Edges turned to the other diagonal of their two triangles where that makes better triangles.

use super::finished;
use crate::mesh::{Mesh, Topology, VertexId};
use crate::space::{Point, Vector};
use std::collections::BTreeSet;

/// Rounds of turning; later ones find next to nothing.
const ROUNDS: usize = 5;
/// Cosine of the greatest angle by which the surface may bend at an edge that is turned or made: about 30 degrees.
const FLAT: f64 = 0.87;

/// Greatest distance between the two diagonals as a share of the shorter: by so much turning may move the surface.
const GAP: f64 = 0.12;

/// The mesh with edges turned for the greatest least angles, without bending the surface.
pub(super) fn flipped(mesh: &Mesh) -> Mesh {
    let mut faces = mesh.faces().to_vec();
    for _ in 0..ROUNDS {
        let turned = finished(mesh.vertices().to_vec(), faces.clone());
        if !round(&turned, &mut faces) {
            break;
        }
    }
    finished(mesh.vertices().to_vec(), faces)
}

/// One look at every edge; a triangle changes once at the most. Whether any did.
fn round(mesh: &Mesh, faces: &mut [[VertexId; 3]]) -> bool {
    let topology = Topology::new(mesh);
    let mut touched = vec![false; faces.len()];
    let mut made: BTreeSet<(VertexId, VertexId)> = BTreeSet::new();
    for (i, edge) in topology.edges().iter().enumerate() {
        let [f, g] = match topology.faces_of_edge(i as u32) {
            [f, g] if !touched[*f as usize] && !touched[*g as usize] => [*f as usize, *g as usize],
            _ => continue,
        };
        let Some([a, b, c]) = from(faces[f], edge.ends) else { continue };
        let Some(d) = faces[g].into_iter().find(|v| *v != a && *v != b) else { continue };
        let joined = |v: VertexId| faces_hold(mesh, &topology, c, v);
        if c == d || made.contains(&(c.min(d), c.max(d))) || joined(d) {
            continue;
        }
        let [pa, pb, pc, pd] = [a, b, c, d].map(|v| mesh.vertex(v));
        if is_better([pa, pb, pc, pd]) {
            faces[f] = [a, d, c];
            faces[g] = [d, b, c];
            touched[f] = true;
            touched[g] = true;
            made.insert((c.min(d), c.max(d)));
        }
    }
    !made.is_empty()
}

/// A triangle from the end of the edge along which it runs forward: (start, end, the third). `None` where it has not both.
fn from(face: [VertexId; 3], ends: [VertexId; 2]) -> Option<[VertexId; 3]> {
    let k = (0..3).find(|&k| !ends.contains(&face[(k + 2) % 3]))?;
    Some([face[k], face[(k + 1) % 3], face[(k + 2) % 3]])
}

fn faces_hold(mesh: &Mesh, topology: &Topology, v: VertexId, w: VertexId) -> bool {
    topology.faces_of_vertex(v).iter().any(|f| mesh.faces()[*f as usize].contains(&w))
}

/// Whether triangles (a, d, c) and (d, b, c) are better than (a, b, c) and (b, a, d), and bend no more.
fn is_better([a, b, c, d]: [Point; 4]) -> bool {
    let shape = |p: Point, q: Point, r: Point| {
        let n = (q - p).cross(&(r - p));
        let sides = (q - p).norm_squared() + (r - q).norm_squared() + (p - r).norm_squared();
        (n, n.norm() / sides.max(f64::MIN_POSITIVE))
    };
    let ([m, n], [even_m, even_n]) = both(shape(a, b, c), shape(b, a, d));
    let ([v, w], [even_v, even_w]) = both(shape(a, d, c), shape(d, b, c));
    if even_v.min(even_w) < 1.05 * even_m.min(even_n) {
        return false;
    }
    let (old, new) = (b - a, d - c);
    let across = old.cross(&new);
    let gap = (c - a).dot(&across).abs() / across.norm().max(f64::MIN_POSITIVE);
    if gap > GAP * old.norm().min(new.norm()) {
        return false;
    }
    let flat = |p: Vector, q: Vector| p.dot(&q) > FLAT * p.norm() * q.norm();
    let whole = m + n;
    flat(v, w) && flat(v, whole) && flat(w, whole)
}

fn both((n, p): (Vector, f64), (m, q): (Vector, f64)) -> ([Vector; 2], [f64; 2]) {
    ([n, m], [p, q])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_diagonal_is_turned_and_a_ridge_is_kept() {
        let kite = |z: f64| {
            let points = [(-2.0, 0.0, 0.0), (2.0, 0.0, 0.0), (0.0, 0.5, z), (0.0, -0.5, z)];
            let points = points.map(|(x, y, z)| Point::new(x, y, z)).to_vec();
            flipped(&Mesh::new(points, vec![[0, 1, 2], [1, 0, 3]]).unwrap())
        };
        assert!(kite(0.0).faces().iter().all(|f| f.contains(&2) && f.contains(&3)));
        assert!((kite(0.0).area_mm2() - 2.0).abs() < 1e-12);
        assert!(kite(-0.5).faces().iter().all(|f| f.contains(&0) && f.contains(&1)));
    }
}
