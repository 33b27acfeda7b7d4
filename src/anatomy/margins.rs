//! Crowns from marked gingival margins.
//!
//! A margin is laid onto the surface as a closed path of triangle sides; what it encloses on the tooth's side is the
//! crown. Where neighbouring crowns are joined above an open embrasure no curve around one of them closes: the joint is
//! then cut midway between the two margins.

use std::collections::{BTreeMap, BTreeSet};

use rayon::prelude::*;

use super::crowns::{MARGIN_STEP_MM, centre, crown};
use super::{Crown, curves};
use crate::case::{Marks, Tooth};
use crate::estimate::{Measured, NotMeasured};
use crate::locate::Surface;
use crate::mesh::{FaceId, Mesh, Topology, VertexId};
use crate::space::{Direction, Plane, Point, Vector, across, direction, hypot};

/// A marked margin farther than this from the surface belongs to another scan or another place, mm.
const FARTHEST_MARK_MM: f64 = 2.0;
/// No crown's surface is greater than this, mm2; a patch that grows beyond has leaked.
const GREATEST_CROWN_MM2: f64 = 600.0;
/// Pockets pinched off where the edge path touches itself, mm2.
const POCKET_MM2: f64 = 3.0;
/// A crown bulges this far outside its margin at most, seen along its axis, mm.
const BULGE_MM: f64 = 1.2;
/// Distance from the margin up to which the path of triangle sides may weave about it, mm.
const BESIDE_MM: f64 = 0.6;
/// A bulge outside the margin begins this far above it, mm.
const OVER_MARGIN_MM: f64 = 0.3;
/// Joints with neighbours may take up this share of the length of a margin; more is a leak.
const JOINT_SHARE: f64 = 0.8;
/// Margins whose middles are nearer than this are neighbours, mm.
const NEIGHBOUR_MM: f64 = 14.0;

/// Crowns enclosed by marked margins, and for each margin that encloses none the reason.
pub fn from_margins(
    surface: &Surface,
    topology: &Topology,
    marks: &Marks,
    occlusal: Option<Direction>,
) -> (Vec<Crown>, Vec<(Tooth, NotMeasured)>) {
    let (mut laid, mut crowns, mut failed) = (Vec::new(), Vec::new(), Vec::new());
    let curves: Vec<(Tooth, &Vec<Point>)> =
        marks.margins.iter().map(|(&tooth, curve)| (tooth, curve)).collect();
    let outlines = curves.par_iter().map(|(tooth, curve)| outline(surface, topology, *tooth, curve));
    for (read, (tooth, _)) in outlines.collect::<Vec<_>>().into_iter().zip(&curves) {
        match read {
            Ok(outline) => laid.push(outline),
            Err(reason) => failed.push((*tooth, reason)),
        }
    }
    let inside = laid.par_iter().map(|own| {
        let seed = marks.teeth.get(&own.tooth).and_then(|p| surface.closest(p)).map(|c| c.face);
        enclosed(surface.mesh(), topology, own, &laid, seed, occlusal)
    });
    for (found, own) in inside.collect::<Vec<_>>().into_iter().zip(&laid) {
        match found {
            Some(crown) => crowns.push(crown),
            None => failed.push((
                own.tooth,
                NotMeasured::new(
                    format!("the margin marked for tooth {} does not close around a crown", own.tooth),
                    format!(
                        "{}, a point on the crown in [marks] teeth, and the margins of the crowns that touch it",
                        again(own.tooth)
                    ),
                ),
            )),
        }
    }
    failed.sort_by_key(|(t, _)| *t);
    (share_out(surface.mesh(), crowns), failed)
}

fn again(tooth: Tooth) -> String {
    format!("a closed curve along the gingival margin of {tooth} in [marks] margins")
}

/// Edges as pairs of vertices, lower first.
type Edges = BTreeSet<(VertexId, VertexId)>;

/// A margin on the surface.
struct Outline {
    tooth: Tooth,
    /// Closed curve, first position not repeated.
    margin: Vec<Point>,
    barrier: Edges,
    middle: Point,
}

fn outline(surface: &Surface, topology: &Topology, tooth: Tooth, curve: &[Point]) -> Measured<Outline> {
    let closed = closed_curve(curve);
    if closed.len() < 4 {
        let because = format!("the margin marked for tooth {tooth} has fewer than three separate points");
        return Err(NotMeasured::new(because, again(tooth)));
    }
    for p in &closed {
        let gap = surface.closest(p).map(|c| c.distance_mm);
        if gap.is_none_or(|g| g > FARTHEST_MARK_MM) {
            let place = crate::units::place_words(p);
            let because = format!("the margin marked for tooth {tooth} leaves the surface at {place}");
            return Err(NotMeasured::new(because, again(tooth)));
        }
    }
    let mut margin = curves::laid(surface, &closed, MARGIN_STEP_MM);
    margin.pop();
    let barrier = barrier(surface, topology, &margin).ok_or_else(|| {
        let because = format!("the margin marked for tooth {tooth} crosses a gap of the scan");
        NotMeasured::new(because, again(tooth))
    })?;
    let sum: Vector = margin.iter().map(|p| p.coords).sum();
    Ok(Outline { tooth, middle: Point::from(sum / margin.len().max(1) as f64), margin, barrier })
}

/// The crown inside a margin; `None` where it does not close.
fn enclosed(
    mesh: &Mesh,
    topology: &Topology,
    own: &Outline,
    all: &[Outline],
    seed: Option<FaceId>,
    occlusal: Option<Direction>,
) -> Option<Crown> {
    if let Some(faces) = patch(mesh, topology, &own.barrier, seed, occlusal) {
        return crown(mesh, own.tooth, faces, own.margin.clone(), 1.0);
    }
    let seed = seed?;
    let limits = Limits::new(own, all, occlusal, &mesh.corners(seed)[0])?;
    let (faces, joint_mm) = within(mesh, topology, &own.barrier, seed, &limits)?;
    let around = curves::length_mm(&own.margin);
    if joint_mm > JOINT_SHARE * around {
        return None;
    }
    crown(mesh, own.tooth, faces, own.margin.clone(), 0.8)
}

/// Where a crown that is joined to its neighbours ends: midway between the margins, and where it cannot bulge farther
/// outside its own.
struct Limits {
    cuts: Vec<Plane>,
    /// The margin along (u, v, up).
    margin: Vec<[f64; 3]>,
    axes: [Vector; 3],
}

impl Limits {
    fn new(own: &Outline, all: &[Outline], occlusal: Option<Direction>, seed: &Point) -> Option<Limits> {
        let up = match occlusal {
            Some(up) => up,
            None => super::guess::plane_through(&own.margin)?.0.normal,
        };
        let up = if (seed - own.middle).dot(&up) < 0.0 { -up } else { up };
        let (u, v) = across(&up);
        let axes = [u, v, up.into_inner()];
        let margin = own.margin.iter().map(|p| axes.map(|a| p.coords.dot(&a))).collect();
        let mut cuts = Vec::new();
        for other in all.iter().filter(|o| o.tooth != own.tooth) {
            let between = other.middle - own.middle;
            if between.norm() > NEIGHBOUR_MM {
                continue;
            }
            let Some(toward) = direction(between - up.into_inner() * between.dot(&up)) else { continue };
            let along = |p: &Point| p.coords.dot(&toward);
            let end = own.margin.iter().map(along).fold(f64::NEG_INFINITY, f64::max);
            let start = other.margin.iter().map(along).fold(f64::INFINITY, f64::min);
            let point = Point::from(toward.into_inner() * ((end + start) / 2.0));
            cuts.push(Plane { point, normal: toward });
        }
        Some(Limits { cuts, margin, axes })
    }

    fn hold(&self, p: &Point) -> bool {
        if self.cuts.iter().any(|c| c.height_mm(p) > 0.0) {
            return false;
        }
        let at = self.axes.map(|a| p.coords.dot(&a));
        let n = self.margin.len();
        let mut inside = false;
        for i in 0..n {
            let (a, b) = (self.margin[i], self.margin[(i + 1) % n]);
            if (a[1] > at[1]) != (b[1] > at[1])
                && at[0] < a[0] + (at[1] - a[1]) / (b[1] - a[1]) * (b[0] - a[0])
            {
                inside = !inside;
            }
        }
        if inside {
            return true;
        }
        // Outside the margin only a bulge above it counts.
        self.nearest(p).is_some_and(|(gap, over)| gap < BULGE_MM && over > OVER_MARGIN_MM)
    }

    /// Distance in plan from the margin (which is dense, so that its points will do) and height over it there, mm.
    fn nearest(&self, p: &Point) -> Option<(f64, f64)> {
        let at = self.axes.map(|a| p.coords.dot(&a));
        let to = self.margin.iter().map(|q| (hypot(at[0] - q[0], at[1] - q[1]), at[2] - q[2]));
        to.min_by(|a, b| a.0.total_cmp(&b.0))
    }
}

/// Triangles reached from `seed` without crossing the margin or the limits, and the length along which the limits
/// stopped them, mm. `None` where the seed lies outside or the patch is too great.
fn within(
    mesh: &Mesh,
    topology: &Topology,
    barrier: &Edges,
    seed: FaceId,
    limits: &Limits,
) -> Option<(Vec<FaceId>, f64)> {
    let middle = |f: FaceId| {
        let [a, b, c] = mesh.corners(f);
        Point::from((a.coords + b.coords + c.coords) / 3.0)
    };
    if !limits.hold(&middle(seed)) {
        return None;
    }
    let (mut faces, mut next) = (vec![seed], 0);
    let mut reached = vec![false; mesh.faces().len()];
    reached[seed as usize] = true;
    let (mut area, mut joint_mm) = (0.0, 0.0);
    while let Some(&f) = faces.get(next) {
        next += 1;
        area += mesh.doubled_area_normal(f).norm() / 2.0;
        if area > GREATEST_CROWN_MM2 {
            return None;
        }
        for e in topology.edges_of_face(f) {
            let [a, b] = topology.edges()[e as usize].ends;
            if barrier.contains(&(a, b)) {
                continue;
            }
            for &g in topology.faces_of_edge(e).iter().filter(|&&g| g != f) {
                if reached[g as usize] {
                    continue;
                }
                if !limits.hold(&middle(g)) {
                    // The path of triangle sides weaves about the margin; what lies between them is no joint.
                    let beside = limits.nearest(&middle(g)).is_some_and(|(gap, _)| gap < BESIDE_MM);
                    joint_mm += if beside { 0.0 } else { (mesh.vertex(a) - mesh.vertex(b)).norm() };
                } else {
                    reached[g as usize] = true;
                    faces.push(g);
                }
            }
        }
    }
    faces.sort_unstable();
    Some((faces, joint_mm))
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
fn barrier(surface: &Surface, topology: &Topology, margin: &[Point]) -> Option<Edges> {
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
    let mut edges = Edges::new();
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
    barrier: &Edges,
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

fn flood(mesh: &Mesh, topology: &Topology, barrier: &Edges, start: FaceId) -> (Vec<FaceId>, bool) {
    let mut reached = vec![false; mesh.faces().len()];
    reached[start as usize] = true;
    let (mut faces, mut next) = (vec![start], 0);
    let (mut area, mut closed) = (0.0, true);
    while let Some(&f) = faces.get(next) {
        next += 1;
        area += mesh.doubled_area_normal(f).norm() / 2.0;
        if area > GREATEST_CROWN_MM2 {
            closed = false;
            break;
        }
        for e in topology.edges_of_face(f) {
            let [a, b] = topology.edges()[e as usize].ends;
            if barrier.contains(&(a, b)) {
                continue;
            }
            for &g in topology.faces_of_edge(e) {
                if !reached[g as usize] {
                    reached[g as usize] = true;
                    faces.push(g);
                }
            }
        }
    }
    faces.sort_unstable();
    (faces, closed)
}

/// Gives triangles that two margins claim to the crown whose middle is nearer, so that no triangle has two numbers.
fn share_out(mesh: &Mesh, crowns: Vec<Crown>) -> Vec<Crown> {
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

#[cfg(test)]
mod tests;
