//! Pieces taken out of a scan and pieces that do not belong to it.

use crate::mesh::{FaceId, Mesh, MeshError, Topology, VertexId};
use crate::phantom::field::{Variety, Waves};
use crate::space::{Point, Vector};
use std::collections::{BTreeMap, BTreeSet};

/// Places tried for one hole or one piece of debris before it is given up.
const TRIES: usize = 400;

/// Round holes of `radius_mm` at places by chance, clear of borders and of each other.
pub(super) fn holed(
    mesh: &Mesh,
    count: usize,
    radius_mm: f64,
    allowed: &dyn Fn(&Point) -> bool,
    variety: &mut Variety,
) -> Mesh {
    let topology = Topology::new(mesh);
    let border: BTreeSet<VertexId> =
        topology.edges().iter().filter(|e| e.faces != 2).flat_map(|e| e.ends).collect();
    let border: Vec<Point> = border.into_iter().map(|v| mesh.vertex(v)).collect();
    let reach = radius_mm + 2.0 * mesh.mean_edge_mm();
    let (mut gone, mut centres): (BTreeSet<FaceId>, Vec<Point>) = Default::default();
    for _ in 0..count {
        for _ in 0..TRIES {
            let Some(v) = chosen(variety, mesh.vertices().len()) else { break };
            let p = mesh.vertices()[v];
            let clear = |q: &Point, far: f64| (p - q).norm_squared() > far * far;
            if allowed(&p)
                && border.iter().all(|q| clear(q, reach))
                && centres.iter().all(|q| clear(q, 2.0 * reach))
            {
                gone.extend(patch(mesh, &topology, v as VertexId, radius_mm));
                centres.push(p);
                break;
            }
        }
    }
    without(mesh, |f| gone.contains(&f))
}

fn chosen(variety: &mut Variety, n: usize) -> Option<usize> {
    (variety.bits() as usize).checked_rem(n)
}

/// Triangles around `v` that are joined to it within a ball of `radius_mm`.
fn patch(mesh: &Mesh, topology: &Topology, v: VertexId, radius_mm: f64) -> BTreeSet<FaceId> {
    let centre = mesh.vertex(v);
    let mut found: BTreeSet<FaceId> = topology.faces_of_vertex(v).iter().copied().collect();
    let mut stack: Vec<FaceId> = found.iter().copied().collect();
    while let Some(f) = stack.pop() {
        for e in topology.edges_of_face(f) {
            for &g in topology.faces_of_edge(e) {
                if (mesh.face_centre(g) - centre).norm() < radius_mm && found.insert(g) {
                    stack.push(g);
                }
            }
        }
    }
    found
}

/// A mesh without some triangles: of each of its pieces the largest part that is left, and no vertex at which two parts
/// merely touch.
pub(super) fn without(mesh: &Mesh, gone: impl Fn(FaceId) -> bool) -> Mesh {
    let mut piece = Topology::new(mesh).pieces().0.to_vec();
    let (mut mesh, mut gone): (Mesh, Vec<bool>) =
        (mesh.clone(), (0..mesh.faces().len() as FaceId).map(gone).collect());
    while gone.contains(&true) {
        piece = piece.iter().zip(&gone).filter(|(_, g)| !**g).map(|(p, _)| *p).collect();
        mesh = mesh.part(|f| !gone[f as usize]).0;
        let small = torn_off(&mesh, &piece);
        piece = piece.iter().zip(&small).filter(|(_, s)| !**s).map(|(p, _)| *p).collect();
        mesh = mesh.part(|f| !small[f as usize]).0;
        let extra = pinched(&mesh);
        gone = (0..mesh.faces().len() as FaceId).map(|f| extra.contains(&f)).collect();
    }
    mesh
}

/// For each triangle whether its part is not the largest of the piece it came from.
fn torn_off(mesh: &Mesh, piece: &[u32]) -> Vec<bool> {
    let topology = Topology::new(mesh);
    let (part, parts) = topology.pieces();
    let mut count = vec![0usize; parts];
    part.iter().for_each(|p| count[*p as usize] += 1);
    let mut largest: BTreeMap<u32, u32> = BTreeMap::new();
    for (part, piece) in part.iter().zip(piece) {
        let best = largest.entry(*piece).or_insert(*part);
        if count[*part as usize] > count[*best as usize] {
            *best = *part;
        }
    }
    part.iter().zip(piece).map(|(part, piece)| largest.get(piece) != Some(part)).collect()
}

/// Where the triangles around a vertex are not one fan: those of all fans but the greatest.
fn pinched(mesh: &Mesh) -> BTreeSet<FaceId> {
    let topology = Topology::new(mesh);
    let mut extra = BTreeSet::new();
    for v in 0..mesh.vertices().len() as VertexId {
        let mut left: Vec<FaceId> = topology.faces_of_vertex(v).to_vec();
        let mut fans: Vec<Vec<FaceId>> = Vec::new();
        while let Some(f) = left.pop() {
            let mut fan = vec![f];
            let mut next = 0;
            while let Some(&g) = fan.get(next) {
                let shares = |h: &FaceId| {
                    mesh.faces()[*h as usize].iter().filter(|w| mesh.faces()[g as usize].contains(w)).count()
                        > 1
                };
                fan.extend(left.iter().copied().filter(shares));
                left.retain(|h| !shares(h));
                next += 1;
            }
            fans.push(fan);
        }
        if fans.len() > 1 {
            let most = (0..fans.len()).rev().max_by_key(|&i| fans[i].len()).unwrap_or(0);
            extra.extend(fans.iter().enumerate().filter(|(i, _)| *i != most).flat_map(|(_, f)| f));
        }
    }
    extra
}

/// Blobs and flakes floating clear of the surface and of each other.
pub(super) fn littered(
    mesh: &Mesh,
    count: usize,
    radius_mm: f64,
    variety: &mut Variety,
) -> Result<Mesh, MeshError> {
    let normals = mesh.vertex_normals();
    let (mut vertices, mut faces) = (mesh.vertices().to_vec(), mesh.faces().to_vec());
    let mut taken: Vec<(Point, f64)> = Vec::new();
    for i in 0..count {
        for _ in 0..TRIES {
            let Some(v) = chosen(variety, mesh.vertices().len()) else { break };
            let size = radius_mm * (0.75 + 0.25 * variety.even());
            let centre = mesh.vertices()[v] + normals[v] * (1.8 * size + 1.2 * (1.0 + variety.even()));
            let clear = 1.5 * size + mesh.mean_edge_mm();
            let free = mesh.vertices().iter().all(|p| (p - centre).norm_squared() > clear * clear)
                && taken.iter().all(|(p, r)| (p - centre).norm() > 1.5 * (r + size));
            if free {
                taken.push((centre, size));
                add_piece(&mut vertices, &mut faces, (centre, size), i % 2 == 1, variety);
                break;
            }
        }
    }
    Mesh::new(vertices, faces)
}

/// A lumpy ball of 80 triangles, or its upper part alone.
fn add_piece(
    vertices: &mut Vec<Point>,
    faces: &mut Vec<[VertexId; 3]>,
    (centre, size): (Point, f64),
    open: bool,
    variety: &mut Variety,
) {
    let (ball, triangles) = ball();
    let lumps = Waves::new(variety, 2.5);
    let flat = 0.8 + 0.2 * variety.even();
    let mut new_of: BTreeMap<VertexId, VertexId> = BTreeMap::new();
    for corners in triangles {
        if open && corners.iter().any(|v| ball[*v as usize].z < -0.1) {
            continue;
        }
        faces.push(corners.map(|v| {
            *new_of.entry(v).or_insert_with(|| {
                let n = ball[v as usize];
                let mut d = n * (size * (1.0 + 0.25 * lumps.at(n.x * 2.0, n.y * 2.0, n.z * 2.0)));
                d.z *= flat;
                vertices.push(centre + d);
                vertices.len() as VertexId - 1
            })
        }));
    }
}

/// Unit vectors and triangles of an octahedron divided twice by the middles of its sides, facing outward.
fn ball() -> (Vec<Vector>, Vec<[VertexId; 3]>) {
    let mut points: Vec<Vector> =
        vec![Vector::x(), Vector::y(), Vector::z(), -Vector::x(), -Vector::y(), -Vector::z()];
    let mut triangles: Vec<[VertexId; 3]> =
        vec![[0, 1, 2], [1, 3, 2], [3, 4, 2], [4, 0, 2], [1, 0, 5], [3, 1, 5], [4, 3, 5], [0, 4, 5]];
    for _ in 0..2 {
        let mut middles: BTreeMap<(VertexId, VertexId), VertexId> = BTreeMap::new();
        let mut finer = Vec::new();
        for [a, b, c] in triangles {
            let mut middle = |p: VertexId, q: VertexId| {
                *middles.entry((p.min(q), p.max(q))).or_insert_with(|| {
                    points.push((points[p as usize] + points[q as usize]).normalize());
                    points.len() as VertexId - 1
                })
            };
            let (ab, bc, ca) = (middle(a, b), middle(b, c), middle(c, a));
            finer.extend([[a, ab, ca], [ab, b, bc], [ca, bc, c], [ab, bc, ca]]);
        }
        triangles = finer;
    }
    (points, triangles)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phantom::faults::{Fault, Places, apply, tests::borders, tests::dome};

    #[test]
    fn each_hole_has_its_own_border_of_about_the_radius_asked_for() {
        let mesh = dome(0.3);
        let places = Places::Within(vec![(Point::new(0.0, 0.0, 8.0), 6.0)]);
        let holes = Fault::Holes { count: 3, radius_mm: 1.0, places };
        let holed = apply(&mesh, &[holes], 21).unwrap().mesh;
        assert_eq!(borders(&holed), borders(&mesh) + 3);
        let lost = mesh.area_mm2() - holed.area_mm2();
        assert!((lost / (3.0 * std::f64::consts::PI) - 1.0).abs() < 0.2, "{lost}");
        let (low, _) = holed.bounds().unwrap();
        assert!((low.z - mesh.bounds().unwrap().0.z).abs() < 1e-12);
    }

    #[test]
    fn debris_adds_pieces_that_touch_nothing() {
        let mesh = dome(0.5);
        let debris = apply(&mesh, &[Fault::Debris { count: 7, radius_mm: 0.6 }], 2).unwrap().mesh;
        let topology = Topology::new(&debris);
        assert_eq!(topology.pieces().1, 1 + 7);
        // Flakes are open, blobs closed: three of seven have a border.
        assert_eq!(borders(&debris), 1 + 3);
        assert!(debris.vertices().iter().skip(mesh.vertices().len()).all(|p| p.coords.norm() > 8.0));
    }

    #[test]
    fn a_ball_of_debris_is_closed_and_faces_outward() {
        let (points, triangles) = ball();
        let mesh = Mesh::new(points.into_iter().map(Point::from).collect(), triangles).unwrap();
        assert!(Topology::new(&mesh).edges().iter().all(|e| e.faces == 2));
        assert!(mesh.signed_volume_mm3() > 3.5);
    }

    #[test]
    fn parts_that_touch_in_a_vertex_are_parted() {
        let p = |x: f64, y: f64| Point::new(x, y, 0.0);
        let points = vec![p(0., 0.), p(1., 0.), p(1., 1.), p(0., 1.), p(-1., 0.), p(-1., -1.)];
        let mesh = Mesh::new(points, vec![[0, 1, 2], [0, 2, 3], [0, 4, 5], [0, 3, 4]]).unwrap();
        assert_eq!(without(&mesh, |f| f == 3).faces().len(), 2);
    }
}
