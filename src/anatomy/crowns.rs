//! Crowns from marked margins or from labels: the triangles of each, and its gingival margin as a closed curve.

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use super::{Crown, Origin, curves};
use crate::case::{Marks, Tooth};
use crate::estimate::{Measured, NotMeasured};
use crate::locate::Surface;
use crate::mesh::{FaceId, Mesh, Topology, VertexId};
use crate::space::{Direction, Point};

/// A marked margin farther than this from the surface belongs to another scan or another place, mm.
const FARTHEST_MARK_MM: f64 = 2.0;
/// Spacing of the stored margin, mm.
const MARGIN_STEP_MM: f64 = 0.3;
/// No crown's surface is greater than this, mm2; a patch that grows beyond has leaked.
const GREATEST_CROWN_MM2: f64 = 600.0;
/// Pockets pinched off where the edge path touches itself, mm2.
const POCKET_MM2: f64 = 3.0;

/// Crowns enclosed by marked margins, and for each margin that encloses none the reason.
pub fn from_margins(
    surface: &Surface,
    topology: &Topology,
    marks: &Marks,
    occlusal: Option<Direction>,
) -> (Vec<Crown>, Vec<(Tooth, NotMeasured)>) {
    let (mut crowns, mut failed) = (Vec::new(), Vec::new());
    for (&tooth, curve) in &marks.margins {
        let seed = marks.teeth.get(&tooth);
        match enclosed(surface, topology, tooth, curve, seed, occlusal) {
            Ok(crown) => crowns.push(crown),
            Err(reason) => failed.push((tooth, reason)),
        }
    }
    (share_out(surface.mesh(), topology, crowns), failed)
}

fn enclosed(
    surface: &Surface,
    topology: &Topology,
    tooth: Tooth,
    curve: &[Point],
    seed: Option<&Point>,
    occlusal: Option<Direction>,
) -> Measured<Crown> {
    let again = format!("a closed curve along the gingival margin of {tooth} in [marks] margins");
    let closed = closed_curve(curve);
    if closed.len() < 4 {
        return Err(NotMeasured::new(
            format!("the margin marked for tooth {tooth} has fewer than three separate points"),
            again,
        ));
    }
    for p in &closed {
        let gap = surface.closest(p).map(|c| c.distance_mm);
        if gap.is_none_or(|g| g > FARTHEST_MARK_MM) {
            return Err(NotMeasured::new(
                format!(
                    "the margin marked for tooth {tooth} leaves the surface at {}",
                    crate::units::place_words(p)
                ),
                again,
            ));
        }
    }
    let mut margin = curves::laid(surface, &closed, MARGIN_STEP_MM);
    margin.pop();
    let barrier = barrier(surface, topology, &margin).ok_or_else(|| {
        NotMeasured::new(
            format!("the margin marked for tooth {tooth} crosses a gap of the scan"),
            again.clone(),
        )
    })?;
    let seed_face = seed.and_then(|p| surface.closest(p)).map(|c| c.face);
    let faces = patch(surface.mesh(), topology, &barrier, seed_face, occlusal).ok_or_else(|| {
        NotMeasured::new(
            format!("the margin marked for tooth {tooth} does not close around a crown"),
            again.clone(),
        )
    })?;
    crown(surface.mesh(), tooth, faces, margin, 1.0).ok_or_else(|| {
        NotMeasured::new(format!("the margin marked for tooth {tooth} encloses no triangle"), again)
    })
}

/// The marked curve with its first position repeated at the end, doubled points left out.
fn closed_curve(curve: &[Point]) -> Vec<Point> {
    let mut points: Vec<Point> = Vec::with_capacity(curve.len() + 1);
    for p in curve {
        if points.last().is_none_or(|q| (p - q).norm() > 1e-6) {
            points.push(*p);
        }
    }
    if points.len() > 1 && (points[0] - points[points.len() - 1]).norm() <= 1e-6 {
        points.pop();
    }
    if let Some(&first) = points.first() {
        points.push(first);
    }
    points
}

/// Edges of the closed edge path nearest to a dense closed curve on the surface, as pairs of vertices, lower first.
fn barrier(
    surface: &Surface,
    topology: &Topology,
    margin: &[Point],
) -> Option<BTreeSet<(VertexId, VertexId)>> {
    let mesh = surface.mesh();
    let mut chain: Vec<VertexId> = Vec::new();
    for p in margin {
        // The nearest corner of the triangle under the point, so that the chain stays on this piece of the surface.
        let face = surface.closest(p)?.face;
        let corners = mesh.faces()[face as usize];
        let near = corners.into_iter().min_by(|&a, &b| {
            let far = |v: VertexId| (mesh.vertex(v) - p).norm_squared();
            far(a).total_cmp(&far(b)).then(a.cmp(&b))
        })?;
        if chain.last() != Some(&near) {
            chain.push(near);
        }
    }
    if let Some(&first) = chain.first() {
        chain.push(first);
    }
    let mut edges = BTreeSet::new();
    for w in chain.windows(2).filter(|w| w[0] != w[1]) {
        let path = curves::edge_path(surface, topology, w[0], w[1])?;
        edges.extend(path.windows(2).map(|e| (e[0].min(e[1]), e[0].max(e[1]))));
    }
    Some(edges)
}

/// The triangles that a barrier encloses on the crown's side; `None` where that side does not close.
///
/// The side is that of `seed`; without one the side whose middle lies more occlusal; without a direction the smaller.
fn patch(
    mesh: &Mesh,
    topology: &Topology,
    barrier: &BTreeSet<(VertexId, VertexId)>,
    seed: Option<FaceId>,
    occlusal: Option<Direction>,
) -> Option<Vec<FaceId>> {
    let mut sides: Vec<Vec<FaceId>> = Vec::new();
    let mut seen: BTreeSet<FaceId> = BTreeSet::new();
    let starts: BTreeSet<FaceId> = barrier
        .iter()
        .flat_map(|&(a, b)| {
            topology
                .faces_of_vertex(a)
                .iter()
                .copied()
                .filter(move |&f| mesh.faces()[f as usize].contains(&b))
        })
        .collect();
    for start in starts {
        if seen.contains(&start) {
            continue;
        }
        let (faces, closed) = flood(mesh, topology, barrier, start);
        seen.extend(&faces);
        if closed {
            sides.push(faces);
        }
    }
    let area =
        |faces: &[FaceId]| faces.iter().map(|&f| mesh.doubled_area_normal(f).norm() / 2.0).sum::<f64>();
    let main = match seed {
        Some(face) => sides.iter().position(|s| s.binary_search(&face).is_ok())?,
        None => {
            let height = |faces: &[FaceId]| {
                let (at, _) = centre(mesh, faces);
                occlusal.map_or(0.0, |up| at.coords.dot(&up))
            };
            let large: Vec<usize> = (0..sides.len()).filter(|&i| area(&sides[i]) > POCKET_MM2).collect();
            large.into_iter().min_by(|&a, &b| {
                height(&sides[b])
                    .total_cmp(&height(&sides[a]))
                    .then(area(&sides[a]).total_cmp(&area(&sides[b])))
                    .then(a.cmp(&b))
            })?
        }
    };
    let mut faces = sides.swap_remove(main);
    for pocket in sides.into_iter().filter(|s| area(s) <= POCKET_MM2) {
        faces.extend(pocket);
    }
    faces.sort_unstable();
    Some(faces)
}

fn flood(
    mesh: &Mesh,
    topology: &Topology,
    barrier: &BTreeSet<(VertexId, VertexId)>,
    start: FaceId,
) -> (Vec<FaceId>, bool) {
    let mut faces = BTreeSet::from([start]);
    let mut queue = VecDeque::from([start]);
    let mut area = 0.0;
    while let Some(f) = queue.pop_front() {
        area += mesh.doubled_area_normal(f).norm() / 2.0;
        if area > GREATEST_CROWN_MM2 {
            return (faces.into_iter().collect(), false);
        }
        for e in topology.edges_of_face(f) {
            let [a, b] = topology.edges()[e as usize].ends;
            if barrier.contains(&(a, b)) {
                continue;
            }
            for &g in topology.faces_of_edge(e) {
                if faces.insert(g) {
                    queue.push_back(g);
                }
            }
        }
    }
    (faces.into_iter().collect(), true)
}

/// Area-weighted middle of some triangles and their area, mm2.
pub(super) fn centre(mesh: &Mesh, faces: &[FaceId]) -> (Point, f64) {
    let (mut sum, mut area) = (crate::space::Vector::zeros(), 0.0);
    for &f in faces {
        let [a, b, c] = mesh.corners(f);
        let doubled = mesh.doubled_area_normal(f).norm();
        sum += (a.coords + b.coords + c.coords) / 3.0 * doubled;
        area += doubled;
    }
    (if area > 0.0 { Point::from(sum / area) } else { Point::origin() }, area / 2.0)
}

/// A crown of some triangles; `None` where they have no area.
pub(super) fn crown(
    mesh: &Mesh,
    tooth: Tooth,
    faces: Vec<FaceId>,
    margin: Vec<Point>,
    confidence: f64,
) -> Option<Crown> {
    let (middle, area_mm2) = centre(mesh, &faces);
    if area_mm2 <= 0.0 {
        return None;
    }
    let vertices: BTreeSet<VertexId> = faces.iter().flat_map(|&f| mesh.faces()[f as usize]).collect();
    Some(Crown {
        tooth,
        faces,
        vertices: vertices.into_iter().collect(),
        margin,
        centre: middle,
        area_mm2,
        confidence,
        origin: Origin::Given,
    })
}

/// Gives triangles that two margins claim to the crown whose middle is nearer, so that no triangle has two numbers.
fn share_out(mesh: &Mesh, _topology: &Topology, crowns: Vec<Crown>) -> Vec<Crown> {
    let mut owner: BTreeMap<FaceId, usize> = BTreeMap::new();
    for (i, crown) in crowns.iter().enumerate() {
        for &f in &crown.faces {
            let [a, b, c] = mesh.corners(f);
            let at = Point::from((a.coords + b.coords + c.coords) / 3.0);
            let far = |k: usize| (crowns[k].centre - at).norm_squared();
            owner
                .entry(f)
                .and_modify(|held| {
                    if far(i) < far(*held) {
                        *held = i
                    }
                })
                .or_insert(i);
        }
    }
    let mut faces: Vec<Vec<FaceId>> = vec![Vec::new(); crowns.len()];
    owner.into_iter().for_each(|(f, i)| faces[i].push(f));
    crowns
        .into_iter()
        .zip(faces)
        .filter_map(|(c, mine)| {
            if mine.len() == c.faces.len() {
                return Some(c);
            }
            crown(mesh, c.tooth, mine, c.margin, c.confidence)
        })
        .collect()
}

/// Crowns from one FDI number a vertex: of each number the largest piece of triangles with at least two such corners.
pub fn from_labels(surface: &Surface, topology: &Topology, labels: &[u8]) -> Vec<Crown> {
    let mesh = surface.mesh();
    let mut number = vec![0u8; mesh.faces().len()];
    let mut by_number: BTreeMap<u8, Vec<FaceId>> = BTreeMap::new();
    for (f, corners) in mesh.faces().iter().enumerate() {
        let [a, b, c] = corners.map(|v| labels.get(v as usize).copied().unwrap_or(0));
        let most = if a == b || a == c {
            a
        } else if b == c {
            b
        } else {
            0
        };
        number[f] = most;
        if most != 0 {
            by_number.entry(most).or_default().push(f as FaceId);
        }
    }
    let mut crowns = Vec::new();
    for (n, faces) in by_number {
        let Some(tooth) = Tooth::fdi(n) else { continue };
        let faces = largest_piece(mesh, topology, &faces, &number, n);
        let margin = border_curve(surface, &faces);
        let confidence = if margin.is_empty() { 0.5 } else { 0.9 };
        crowns.extend(crown(mesh, tooth, faces, margin, confidence).filter(|c| c.area_mm2 > 5.0));
    }
    crowns
}

fn largest_piece(mesh: &Mesh, topology: &Topology, faces: &[FaceId], number: &[u8], n: u8) -> Vec<FaceId> {
    let mut left: BTreeSet<FaceId> = faces.iter().copied().collect();
    let mut best: (f64, Vec<FaceId>) = (0.0, Vec::new());
    while let Some(seed) = left.pop_first() {
        let (mut piece, mut queue) = (vec![seed], vec![seed]);
        while let Some(f) = queue.pop() {
            for e in topology.edges_of_face(f) {
                for &g in topology.faces_of_edge(e) {
                    if number[g as usize] == n && left.remove(&g) {
                        piece.push(g);
                        queue.push(g);
                    }
                }
            }
        }
        let (_, area) = centre(mesh, &piece);
        if area > best.0 {
            best = (area, piece);
        }
    }
    best.1.sort_unstable();
    best.1
}

/// The longest border of a patch as a closed curve, its steps along triangle sides smoothed; empty without a border.
pub(super) fn border_curve(surface: &Surface, faces: &[FaceId]) -> Vec<Point> {
    let (part, old_of) = surface.mesh().part(|f| faces.binary_search(&f).is_ok());
    let around = |chain: &[VertexId]| -> Vec<Point> {
        chain.iter().map(|&v| surface.mesh().vertex(old_of[v as usize])).collect()
    };
    let mut best: (f64, Vec<Point>) = (0.0, Vec::new());
    for chain in Topology::new(&part).border_loops(&part) {
        let points = around(&chain);
        let length = curves::length_mm(&points);
        if length > best.0 {
            best = (length, points);
        }
    }
    let mut curve = best.1;
    let Some(&first) = curve.first() else { return curve };
    curve.push(first);
    curve = curves::evenly(&curve, MARGIN_STEP_MM);
    curve.pop();
    for _ in 0..6 {
        let n = curve.len();
        let smooth: Vec<Point> = (0..n)
            .map(|i| {
                let beside = (curve[(i + 1) % n].coords + curve[(i + n - 1) % n].coords) / 2.0;
                Point::from((curve[i].coords + beside) / 2.0)
            })
            .collect();
        curve = smooth;
    }
    curve.iter().filter_map(|p| surface.closest(p)).map(|c| c.at).collect()
}

#[cfg(test)]
mod tests {
    use super::super::test_casts::{FieldCast, radius};
    use super::*;
    use crate::case::Arch;

    fn tooth(n: u8) -> Tooth {
        Tooth::fdi(n).unwrap()
    }

    fn marked(cast: &FieldCast, curve: Vec<Point>, seed: bool) -> (Vec<Crown>, Vec<(Tooth, NotMeasured)>) {
        let surface = Surface::new(&cast.mesh);
        let topology = Topology::new(&cast.mesh);
        let mut marks = Marks::default();
        marks.margins.insert(tooth(36), curve);
        if seed {
            let c = cast.centre(tooth(36));
            marks.teeth.insert(tooth(36), Point::new(c[0] + 1.0, c[1], 12.0));
        }
        from_margins(&surface, &topology, &marks, None)
    }

    /// Share of the plan disc of the crown that its triangles and the disc have in common.
    fn overlap(cast: &FieldCast, crown: &Crown) -> f64 {
        let c = cast.centre(crown.tooth);
        let (mut both, mut either) = (0.0, 0.0);
        for (f, _) in cast.mesh.faces().iter().enumerate() {
            let [a, b, d] = cast.mesh.corners(f as u32);
            let m = (a.coords + b.coords + d.coords) / 3.0;
            let inside = crate::space::hypot(m.x - c[0], m.y - c[1]) < radius(crown.tooth);
            let has = crown.faces.binary_search(&(f as u32)).is_ok();
            let area = cast.mesh.doubled_area_normal(f as u32).z.abs();
            both += if inside && has { area } else { 0.0 };
            either += if inside || has { area } else { 0.0 };
        }
        both / either
    }

    #[test]
    fn a_margin_encloses_its_crown_whichever_way_and_however_loosely_it_is_marked() {
        let cast = FieldCast::new(Arch::Mandible, &|_| true, 0.4);
        for (count, clockwise, off, repeated, seed) in [
            (12, false, 0.0, false, true),
            (12, true, 0.3, true, true),
            (60, false, -0.3, true, false),
            (9, true, 0.2, false, false),
        ] {
            let mut curve = cast.margin(tooth(36), count, clockwise, off);
            if repeated {
                curve.push(curve[0]);
            }
            let (crowns, failed) = marked(&cast, curve, seed);
            assert!(failed.is_empty(), "{failed:?}");
            assert!(overlap(&cast, &crowns[0]) > 0.80, "{count}: {}", overlap(&cast, &crowns[0]));
            let margin = &crowns[0].margin;
            assert!(margin.windows(2).all(|w| (w[1] - w[0]).norm() <= MARGIN_STEP_MM + 1e-9));
            assert!((margin[0] - margin[margin.len() - 1]).norm() <= 2.0 * MARGIN_STEP_MM);
        }
    }

    #[test]
    fn a_margin_that_encloses_no_crown_is_named_with_its_tooth() {
        let cast = FieldCast::new(Arch::Mandible, &|_| true, 0.8);
        let far: Vec<Point> = cast
            .margin(tooth(36), 12, false, 0.0)
            .iter()
            .map(|p| p + crate::space::Vector::z() * 9.0)
            .collect();
        let (crowns, failed) = marked(&cast, far, true);
        assert!(crowns.is_empty());
        assert!(failed[0].1.because.contains("36") && failed[0].1.because.contains("leaves the surface"));
        // A curve around another crown does not hold the tooth's own mark.
        let (crowns, failed) = marked(&cast, cast.margin(tooth(33), 12, false, 0.0), true);
        assert!(crowns.is_empty());
        assert!(failed[0].1.because.contains("does not close"), "{failed:?}");
        let (crowns, failed) = marked(&cast, vec![Point::origin(); 5], false);
        assert!(crowns.is_empty() && failed[0].1.because.contains("fewer than three"));
    }

    #[test]
    fn labels_give_crowns_with_closed_margins() {
        let cast = FieldCast::new(Arch::Maxilla, &|t| t.place() != 5, 0.5);
        let labels: Vec<u8> = cast
            .mesh
            .vertices()
            .iter()
            .map(|p| {
                let near = cast
                    .centres
                    .iter()
                    .find(|(t, c)| crate::space::hypot(p.x - c[0], p.y - c[1]) < radius(*t));
                near.map_or(0, |(t, _)| t.number())
            })
            .collect();
        let crowns = from_labels(&Surface::new(&cast.mesh), &Topology::new(&cast.mesh), &labels);
        assert_eq!(crowns.len(), cast.centres.len());
        for c in &crowns {
            assert!(overlap(&cast, c) > 0.75, "{}: {}", c.tooth, overlap(&cast, c));
            let circle = std::f64::consts::TAU * radius(c.tooth);
            let around = curves::length_mm(&c.margin) / circle;
            // The gum falls away to both sides, so that the margin is a little longer than its circle in plan.
            assert!((0.9..1.35).contains(&around), "{}: {around}", c.tooth);
        }
    }
}
