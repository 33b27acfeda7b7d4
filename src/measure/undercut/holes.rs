//! Closing of holes: the borders inside the outer border get a lid, so that no rod is taken to pass through a hole of
//! the scan. Lids only ever raise the surface that stands above; they can make nothing free.

use crate::mesh::{Mesh, Topology, VertexId};
use crate::space::{Point, Vector};

/// A piece stays open along its longest border where that border reaches at least this share of the piece's own reach;
/// a shorter one is a hole. A dome reaches 1, the open end of a tall tube 0.6, a hole in a crown 0.1 to 0.3.
const OPEN_REACH: f64 = 0.5;
/// Longest border whose lid is the one of least area (the search grows with the cube of the length); a longer one gets
/// a fan around its centroid.
const LEAST_AREA_LONGEST: usize = 120;

/// A closed hole.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Hole {
    /// Its border, in the file's coordinates.
    pub rim: Vec<Point>,
    /// Normal of the lid (of its vector area); zero where it has none.
    pub normal: Vector,
    /// Greatest distance of two points of the border, estimated from its centroid, mm.
    pub width_mm: f64,
}

/// The surface with lids on its holes: vertices of the mesh first, triangles of the mesh first.
pub(super) struct Closed {
    /// The closed surface.
    pub mesh: Mesh,
    /// The holes.
    pub holes: Vec<Hole>,
}

/// Closes the holes of a mesh; `None` where it has none.
pub(super) fn close(mesh: &Mesh, topology: &Topology) -> Option<Closed> {
    let loops = topology.border_loops(mesh);
    let open = outer_borders(mesh, topology, &loops);
    let inner: Vec<&Vec<VertexId>> =
        loops.iter().zip(&open).filter(|(_, open)| !**open).map(|(rim, _)| rim).collect();
    if inner.is_empty() {
        return None;
    }
    let mut vertices = mesh.vertices().to_vec();
    let mut faces = mesh.faces().to_vec();
    let mut holes = Vec::new();
    for rim in inner {
        let points: Vec<Point> = rim.iter().map(|&v| mesh.vertex(v)).collect();
        if rim.len() <= LEAST_AREA_LONGEST {
            // The lid runs along the border against the sense of the surface, so that the facings agree.
            faces.extend(least_area(&points).into_iter().map(|[a, b, c]| [rim[a], rim[c], rim[b]]));
        } else {
            let hub = vertices.len() as u32;
            vertices.push(centroid(&points));
            faces.extend((0..rim.len()).map(|i| [rim[(i + 1) % rim.len()], rim[i], hub]));
        }
        holes.push(hole(points));
    }
    Mesh::new(vertices, faces).ok().map(|mesh| Closed { mesh, holes })
}

/// For each border, whether it stays open.
fn outer_borders(mesh: &Mesh, topology: &Topology, loops: &[Vec<VertexId>]) -> Vec<bool> {
    let (piece_of, pieces) = topology.pieces();
    let piece_at = |v: VertexId| topology.faces_of_vertex(v).first().map(|&f| piece_of[f as usize] as usize);
    let mut box_of: Vec<Option<(Point, Point)>> = vec![None; pieces];
    for (f, corners) in mesh.faces().iter().enumerate() {
        let slot = &mut box_of[piece_of[f] as usize];
        for &v in corners {
            let p = mesh.vertex(v);
            *slot = Some(slot.map_or((p, p), |(lo, hi)| (lo.inf(&p), hi.sup(&p))));
        }
    }
    let length = |rim: &[VertexId]| -> f64 {
        (0..rim.len()).map(|i| (mesh.vertex(rim[i]) - mesh.vertex(rim[(i + 1) % rim.len()])).norm()).sum()
    };
    let mut longest: Vec<Option<(f64, usize)>> = vec![None; pieces];
    for (i, rim) in loops.iter().enumerate() {
        let Some(piece) = rim.first().and_then(|&v| piece_at(v)) else { continue };
        let l = length(rim);
        if longest[piece].is_none_or(|(most, _)| l > most) {
            longest[piece] = Some((l, i));
        }
    }
    let middle: Vec<Option<Point>> =
        box_of.iter().map(|b| b.map(|(lo, hi)| Point::from((lo.coords + hi.coords) / 2.0))).collect();
    let mut piece_reach = vec![0.0f64; pieces];
    for (corners, &piece) in mesh.faces().iter().zip(piece_of) {
        let Some(middle) = middle[piece as usize] else { continue };
        let slot = &mut piece_reach[piece as usize];
        *slot = corners.iter().map(|&v| (mesh.vertex(v) - middle).norm()).fold(*slot, f64::max);
    }
    let mut open = vec![false; loops.len()];
    for (found, most) in longest.iter().zip(&piece_reach) {
        if let Some((_, i)) = found {
            let points: Vec<Point> = loops[*i].iter().map(|&v| mesh.vertex(v)).collect();
            open[*i] = reach(&points) >= OPEN_REACH * most;
        }
    }
    open
}

fn centroid(points: &[Point]) -> Point {
    let sum: Vector = points.iter().map(|p| p.coords).sum();
    Point::from(sum / points.len().max(1) as f64)
}

fn reach(points: &[Point]) -> f64 {
    let c = centroid(points);
    points.iter().map(|p| (p - c).norm()).fold(0.0, f64::max)
}

fn hole(rim: Vec<Point>) -> Hole {
    let c = centroid(&rim);
    let area: Vector = (0..rim.len()).map(|i| (rim[i] - c).cross(&(rim[(i + 1) % rim.len()] - c))).sum();
    Hole { normal: area.try_normalize(1e-12).unwrap_or_else(Vector::zeros), width_mm: 2.0 * reach(&rim), rim }
}

/// Triangles (as places in `rim`) of the lid of least area, by the recurrence over its chords.
fn least_area(rim: &[Point]) -> Vec<[usize; 3]> {
    let n = rim.len();
    let area = |a: usize, b: usize, c: usize| (rim[b] - rim[a]).cross(&(rim[c] - rim[a])).norm();
    let mut least = vec![0.0f64; n * n];
    let mut split = vec![0usize; n * n];
    for gap in 2..n {
        for i in 0..n - gap {
            let j = i + gap;
            let mut best = (f64::INFINITY, i + 1);
            for k in i + 1..j {
                let total = least[i * n + k] + least[k * n + j] + area(i, k, j);
                if total < best.0 {
                    best = (total, k);
                }
            }
            (least[i * n + j], split[i * n + j]) = best;
        }
    }
    let mut lid = Vec::with_capacity(n.saturating_sub(2));
    let mut todo = vec![(0, n.saturating_sub(1))];
    while let Some((i, j)) = todo.pop() {
        if j < i + 2 {
            continue;
        }
        let k = split[i * n + j];
        lid.push([i, k, j]);
        todo.push((i, k));
        todo.push((k, j));
    }
    lid
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A square plate of `n` by `n` cells of 1 mm without the cell in the middle.
    fn plate_with_hole(n: usize) -> Mesh {
        let p = (0..=n * (n + 2)).map(|i| Point::new((i % (n + 1)) as f64, (i / (n + 1)) as f64, 0.0));
        let mut faces = Vec::new();
        for j in 0..n {
            for i in 0..n {
                if (i, j) != (n / 2, n / 2) {
                    let a = (j * (n + 1) + i) as u32;
                    let (b, c, d) = (a + 1, a + n as u32 + 2, a + n as u32 + 1);
                    faces.extend([[a, b, c], [a, c, d]]);
                }
            }
        }
        Mesh::new(p.collect(), faces).unwrap()
    }

    #[test]
    fn the_hole_is_closed_and_the_outer_border_stays_open() {
        let mesh = plate_with_hole(5);
        let closed = close(&mesh, &Topology::new(&mesh)).unwrap();
        assert_eq!(closed.holes.len(), 1);
        assert!((closed.mesh.area_mm2() - 25.0).abs() < 1e-12);
        // Facings agree: the vector area of the whole is that of the square.
        let area: Vector =
            (0..closed.mesh.faces().len() as u32).map(|f| closed.mesh.doubled_area_normal(f) / 2.0).sum();
        assert!((area - Vector::z() * 25.0).norm() < 1e-12);
        let whole = closed.mesh;
        assert!(close(&whole, &Topology::new(&whole)).is_none());
    }

    #[test]
    fn a_closed_body_with_one_small_hole_has_no_outer_border() {
        // A cube of 4 mm on which one small triangle is missing.
        let mesh = plate_with_hole(4);
        let lifted: Vec<Point> = mesh
            .vertices()
            .iter()
            .map(|p| {
                // The plate bent to a closed bag: all border vertices meet in one point.
                let border = p.x == 0.0 || p.y == 0.0 || p.x == 4.0 || p.y == 4.0;
                if border { Point::new(2.0, 2.0, 5.0) } else { *p }
            })
            .collect();
        let mut ids: Vec<u32> = (0..lifted.len() as u32).collect();
        for i in 0..lifted.len() {
            ids[i] = lifted.iter().position(|q| *q == lifted[i]).unwrap() as u32;
        }
        let faces: Vec<[u32; 3]> = mesh
            .faces()
            .iter()
            .map(|f| f.map(|v| ids[v as usize]))
            .filter(|[a, b, c]| a != b && b != c && a != c)
            .collect();
        let bag = Mesh::new(lifted, faces).unwrap();
        let closed = close(&bag, &Topology::new(&bag)).unwrap();
        assert_eq!(closed.holes.len(), 1);
        assert!((closed.holes[0].width_mm - 2f64.sqrt()).abs() < 1e-9);
    }
}
