//! Defects of triangles and edges: slivers, holes, non-manifold edges, facing that disagrees.

use super::shells::Shells;
use super::{Defect, DefectKind};
use crate::mesh::{Mesh, Topology, VertexId};
use crate::space::{Point, Vector};
use crate::units;
use std::collections::{BTreeMap, BTreeSet};

/// A triangle is a sliver where its height is under this share of its longest side.
const SLIVER: f64 = 0.01;

pub(super) fn defects(mesh: &Mesh, topology: &Topology, shells: &Shells) -> Vec<Defect> {
    let mut out = Vec::new();
    out.extend(slivers(mesh));
    out.extend(borders(mesh, topology, shells));
    out.extend(non_manifold(mesh, topology));
    out.extend(disagreeing(mesh, topology));
    out
}

fn slivers(mesh: &Mesh) -> Option<Defect> {
    let (mut count, mut first) = (0, None);
    for f in 0..mesh.faces().len() as u32 {
        let [a, b, c] = mesh.corners(f);
        let longest = (b - a).norm_squared().max((c - b).norm_squared()).max((a - c).norm_squared());
        // Height times longest side is the doubled area.
        if mesh.doubled_area_normal(f).norm() < SLIVER * longest {
            count += 1;
            first.get_or_insert_with(|| mesh.face_centre(f));
        }
    }
    (count > 0).then(|| Defect {
        kind: DefectKind::Sliver,
        count,
        at: first,
        says: format!(
            "Slivers (triangles whose height is under a hundredth of their longest side): {count}. They were kept: distances \
             stay exact, but normals and curvature beside them are less sure."
        ),
        mended: false,
    })
}

/// A border with its length and place.
struct Loop {
    piece: u32,
    length_mm: f64,
    middle: Point,
}

fn borders(mesh: &Mesh, topology: &Topology, shells: &Shells) -> Vec<Defect> {
    let loops: Vec<Loop> = chains(mesh, topology)
        .iter()
        .filter_map(|sides| border(mesh, topology, shells, sides))
        .filter(|l| !shells.is_debris(l.piece))
        .collect();
    // The outer border of a piece is its longest one, where that goes round the piece and not only round a spot of it.
    let mut outer: Vec<Option<usize>> = vec![None; shells.pieces.len()];
    for (i, l) in loops.iter().enumerate() {
        let slot = &mut outer[l.piece as usize];
        let longer = slot.is_none_or(|o| loops[o].length_mm < l.length_mm);
        if longer && l.length_mm > shells.pieces[l.piece as usize].diameter_mm() {
            *slot = Some(i);
        }
    }
    let (open, holes): (Vec<_>, Vec<_>) =
        loops.iter().enumerate().partition(|(i, l)| outer[l.piece as usize] == Some(*i));
    let longest = |loops: &[(usize, &Loop)]| loops.iter().fold(0.0_f64, |m, (_, l)| m.max(l.length_mm));
    let mut out = Vec::new();
    if let Some((_, first)) = holes.first() {
        out.push(Defect {
            kind: DefectKind::Hole,
            count: holes.len(),
            at: Some(first.middle),
            says: format!(
                "Holes inside the surface: {}; the longest is {} round. They were left open: what lies in one is not \
                 measured, and an undercut depth that depends on closing one is marked. Scan the place again if it \
                 matters.",
                holes.len(),
                units::mm(longest(&holes))
            ),
            mended: false,
        });
    }
    if let Some((_, first)) = open.first() {
        out.push(Defect {
            kind: DefectKind::OpenBorder,
            count: open.len(),
            at: Some(first.middle),
            says: format!(
                "The surface is open along its outer border ({} long), as intraoral scans are. Nothing needs to be \
                 done.",
                units::mm(longest(&open))
            ),
            mended: false,
        });
    }
    out
}

/// Borders, each as its sides. A border that no closed chain follows, because triangles along it face opposite ways or
/// meet in threes, is taken as all sides that hang together.
fn chains(mesh: &Mesh, topology: &Topology) -> Vec<Vec<[VertexId; 2]>> {
    let key = |a: VertexId, b: VertexId| [a.min(b), a.max(b)];
    let mut chains: Vec<Vec<[VertexId; 2]>> = topology
        .border_loops(mesh)
        .iter()
        .map(|l| l.iter().zip(l.iter().cycle().skip(1)).map(|(a, b)| [*a, *b]).collect())
        .collect();
    let followed: BTreeSet<[VertexId; 2]> = chains.iter().flatten().map(|[a, b]| key(*a, *b)).collect();
    let mut loose: BTreeMap<VertexId, Vec<VertexId>> = BTreeMap::new();
    for e in topology.edges().iter().filter(|e| e.faces == 1 && !followed.contains(&e.ends)) {
        let [a, b] = e.ends;
        loose.entry(a).or_default().push(b);
        loose.entry(b).or_default().push(a);
    }
    while let Some((&start, _)) = loose.iter().next() {
        let (mut sides, mut stack) = (Vec::new(), vec![start]);
        while let Some(a) = stack.pop() {
            for b in loose.remove(&a).unwrap_or_default() {
                // Its other end still knows it only if it has not been walked from there.
                if loose.contains_key(&b) {
                    sides.push([a, b]);
                    stack.push(b);
                }
            }
        }
        chains.push(sides);
    }
    chains
}

/// `None` for a slit without width: the seam where a long side meets two short ones, which is no opening.
fn border(mesh: &Mesh, topology: &Topology, shells: &Shells, sides: &[[VertexId; 2]]) -> Option<Loop> {
    let points: Vec<[Point; 2]> = sides.iter().map(|s| s.map(|v| mesh.vertex(v))).collect();
    let sum = points.iter().fold(Vector::zeros(), |sum, [p, _]| sum + p.coords);
    let middle = Point::from(sum / points.len().max(1) as f64);
    let (mut length_mm, mut area) = (0.0, 0.0);
    for [p, q] in &points {
        length_mm += (q - p).norm();
        area += (p - middle).cross(&(q - middle)).norm() / 2.0;
    }
    let [start, _] = sides.first()?;
    let piece = shells.piece_of(*topology.faces_of_vertex(*start).first()?);
    (area > 1e-6 * length_mm * length_mm).then_some(Loop { piece, length_mm, middle })
}

fn middle(mesh: &Mesh, ends: [VertexId; 2]) -> Point {
    nalgebra::center(&mesh.vertex(ends[0]), &mesh.vertex(ends[1]))
}

fn non_manifold(mesh: &Mesh, topology: &Topology) -> Option<Defect> {
    let mut bad = topology.edges().iter().filter(|e| e.faces > 2);
    let first = bad.next()?;
    let count = 1 + bad.count();
    Some(Defect {
        kind: DefectKind::NonManifoldEdge,
        count,
        at: Some(middle(mesh, first.ends)),
        says: format!(
            "Edges at which more than two triangles meet: {count}; surfaces touch or cross there. They were kept; nothing but \
             the flow of the surface across these edges is unsure. Let the scanner's software clean the scan."
        ),
        mended: false,
    })
}

fn disagreeing(mesh: &Mesh, topology: &Topology) -> Option<Defect> {
    let mut bad = (0..topology.edges().len() as u32).filter(|e| {
        let [f, g] = *topology.faces_of_edge(*e) else { return false };
        let ends = topology.edges()[*e as usize].ends;
        runs_along(mesh, f, ends) == runs_along(mesh, g, ends)
    });
    let first = bad.next()?;
    let count = 1 + bad.count();
    Some(Defect {
        kind: DefectKind::InconsistentFacing,
        count,
        at: Some(middle(mesh, topology.edges()[first as usize].ends)),
        says: format!(
            "Edges whose two triangles face opposite ways: {count}; part of the surface is turned over. It was kept as \
             it is; directions measured there may be reversed. Let the scanner's software orient the surface and \
             export it again."
        ),
        mended: false,
    })
}

/// Whether the triangle runs from the first end to the second.
fn runs_along(mesh: &Mesh, face: u32, ends: [VertexId; 2]) -> bool {
    let corners = mesh.faces()[face as usize];
    (0..3).any(|k| corners[k] == ends[0] && corners[(k + 1) % 3] == ends[1])
}
