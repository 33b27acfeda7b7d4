//! The curve in which a plane cuts a mesh.

use std::collections::BTreeMap;

use crate::mesh::{Mesh, VertexId};
use crate::space::{Plane, Point};

/// A crossed edge of the mesh, lower end first.
type Crossed = (VertexId, VertexId);

/// Cuts `mesh` with `plane`: open and closed polylines, mm, in the order of their lowest triangle. A closed one repeats
/// its first position. A vertex on the plane counts as above it, so that every crossed triangle gives one piece.
pub fn cut(mesh: &Mesh, plane: &Plane) -> Vec<Vec<Point>> {
    let above: Vec<bool> = mesh.vertices().iter().map(|p| plane.height_mm(p) >= 0.0).collect();
    let mut pieces: Vec<[Crossed; 2]> = Vec::new();
    for corners in mesh.faces() {
        let mut ends = (0..3).filter_map(|k| {
            let (a, b) = (corners[k], corners[(k + 1) % 3]);
            (above[a as usize] != above[b as usize]).then(|| (a.min(b), a.max(b)))
        });
        if let (Some(first), Some(second)) = (ends.next(), ends.next()) {
            pieces.push([first, second]);
        }
    }
    joined(&pieces)
        .into_iter()
        .map(|chain| chain.into_iter().map(|edge| crossing(mesh, plane, edge)).collect())
        .collect()
}

fn crossing(mesh: &Mesh, plane: &Plane, (a, b): Crossed) -> Point {
    let (p, q) = (mesh.vertex(a), mesh.vertex(b));
    let (hp, hq) = (plane.height_mm(&p), plane.height_mm(&q));
    p + (q - p) * (hp / (hp - hq)).clamp(0.0, 1.0)
}

/// Joins pieces that share a crossed edge into chains.
fn joined(pieces: &[[Crossed; 2]]) -> Vec<Vec<Crossed>> {
    let mut at: BTreeMap<Crossed, Vec<usize>> = BTreeMap::new();
    for (i, piece) in pieces.iter().enumerate() {
        piece.iter().for_each(|&e| at.entry(e).or_default().push(i));
    }
    let mut used = vec![false; pieces.len()];
    let walk = |from: Crossed, used: &mut Vec<bool>| {
        let mut chain = vec![from];
        let mut edge = from;
        while let Some(&next) = at.get(&edge).and_then(|here| here.iter().find(|&&i| !used[i])) {
            used[next] = true;
            edge = if pieces[next][0] == edge { pieces[next][1] } else { pieces[next][0] };
            chain.push(edge);
        }
        chain
    };
    let mut chains = Vec::new();
    for i in 0..pieces.len() {
        if used[i] {
            continue;
        }
        used[i] = true;
        let [start, end] = pieces[i];
        let mut back = walk(start, &mut used);
        let forward = walk(end, &mut used);
        back.reverse();
        back.extend(forward);
        chains.push(back);
    }
    chains
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::space::{Direction, Vector};

    /// A tetrahedron with its base at z = 0 and its tip at z = 4.
    fn tetrahedron() -> Mesh {
        let p = Point::new;
        let vertices = vec![p(0., 0., 0.), p(4., 0., 0.), p(0., 4., 0.), p(0., 0., 4.)];
        Mesh::new(vertices, vec![[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]]).unwrap()
    }

    fn level(z: f64) -> Plane {
        Plane { point: Point::new(0., 0., z), normal: Direction::new_normalize(Vector::z()) }
    }

    #[test]
    fn a_cut_through_a_closed_surface_is_one_closed_curve() {
        let chains = cut(&tetrahedron(), &level(1.0));
        assert_eq!(chains.len(), 1);
        let chain = &chains[0];
        assert_eq!((chain.len(), chain[0]), (4, chain[3]));
        // The section is a right triangle with legs of 3: its border is 6 + 3 sqrt 2 long.
        let length: f64 = chain.windows(2).map(|w| (w[1] - w[0]).norm()).sum();
        assert!((length - (6.0 + 3.0 * 2.0_f64.sqrt())).abs() < 1e-12);
        assert!(chain.iter().all(|p| (p.z - 1.0).abs() < 1e-12));
    }

    #[test]
    fn a_plane_beside_the_surface_cuts_nothing() {
        assert!(cut(&tetrahedron(), &level(9.0)).is_empty());
        assert!(cut(&tetrahedron(), &level(-0.1)).is_empty());
    }

    #[test]
    fn an_open_surface_gives_an_open_curve() {
        let open = tetrahedron().part(|f| f != 2).0;
        let chains = cut(&open, &level(1.0));
        assert_eq!((chains.len(), chains[0].len()), (1, 3));
    }
}
