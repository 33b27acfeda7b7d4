//! Quantity: block-out (dead space under the bulges of a cast for a path).
//!
//! Block-out is the elimination of undesirable undercuts on a cast (Glossary of Prosthodontic Terms, ninth edition, key
//! G9: "blockout"); the dead space is what has to be filled so that a rigid part can pass along the path.
//!
//! Definition: `d` is the withdrawal direction. The dead space is every place outside the cast's material from which a rod
//! along `d`, outward, would meet the cast. Downward it ends on the surface below; where the scan's surface ends
//! below, at the height of the scan's lower border nearest in the plan (of the lowest corner, where there is none). The
//! dead space over a part of the cast is that which touches the part from above or below; where it goes down past the
//! part, it ends at the height of the part's lower border nearest in the plan. `volume_mm3` = the integral over the plan of
//! upper less lower end. `area_mm2` = surface of the part over which something stands (`H > h`, see `undercut`).
//! `deepest_mm` = the greatest undercut depth at a vertex of the part.
//!
//! Frame and units: mm, mm2, mm3; `d` in the file's own axes.
//!
//! Method and its error: columns along `d` cut exactly with every triangle; material lies between a crossing that faces up
//! and one that faces down. Columns 0.1 mm apart give the volume of a sphere, a leaning wall, a cone and a barrel over a
//! plate within 0.8 %, the chord error of the triangles included; the border of a piece is known to half a column, so
//! that slivers narrower than 0.1 mm are off by more. Areas are sums of triangles, those on the border of the
//! undercut clipped by halving their edges. The solid joins the columns to sheets (`solid`), within 2 % of the volume.
//!
//! Not covered: surface that the scanner did not see; holes (a column through a hole in an underside meets no material
//! there and counts nothing); relief, which is laid square to the surface and not along the path.
//!
//! Checked by: sphere over a plate (cylinder less half ball), leaning wall over a plate (wedge), inverted cone and barrel
//! on a plate, box under a lid, a sphere alone; the solid's own volume and closedness, there and on sample casts.

mod area;
mod columns;
mod parts;
mod solid;
#[cfg(test)]
mod tests;

use rayon::prelude::*;

use crate::anatomy::base;
use crate::measure::undercut::{TiltedCast, UndercutField};
use crate::mesh::{FaceId, Mesh, Topology, VertexId};
use crate::space::{Direction, Point, Vector, across, direction, tan};

pub use area::undercut_area_mm2;
pub use columns::{Columns, Interval};
pub use parts::{Part, PartOf, Parts, parts};

/// Distance of the columns that give volumes, mm.
pub const COLUMN_MM: f64 = 0.1;
/// Distance of the columns at neighbouring directions, mm: only differences are taken of them.
const COARSE_MM: f64 = 0.15;
/// Most intervals in a solid: its file stays below about 8 MB.
const MOST_IN_SOLID: usize = 30_000;
/// Least distance of columns in a solid, mm.
const SOLID_MM: f64 = 0.12;

/// A cast whose dead space is measured.
#[derive(Clone, Copy, Debug)]
pub struct Cast<'a> {
    /// Its surface.
    pub mesh: &'a Mesh,
    /// Its adjacency.
    pub topology: &'a Topology,
    /// For each triangle, whether it lies on a trimmed base ([`base_below`]): what lies below a base is no dead space.
    pub base: &'a [bool],
}

/// How far a corner of the cast may lie below a trimmed base, mm.
const BASE_THICK_MM: f64 = 0.6;

/// Triangles of the trimmed base that a model stands on for a path: large plane faces that look away from it and have
/// nothing of the cast below them.
pub fn base_below(mesh: &Mesh, topology: &Topology, d: &Direction) -> Vec<bool> {
    let mut flat = base::faces(mesh, topology).to_vec();
    let mut sum = Vector::zeros();
    for (f, flag) in flat.iter_mut().enumerate() {
        let n = mesh.doubled_area_normal(f as FaceId);
        *flag &= n.dot(d) < 0.0;
        sum += n * f64::from(u8::from(*flag));
    }
    let Some(n) = direction(sum) else { return vec![false; flat.len()] };
    let lowest = mesh
        .faces()
        .iter()
        .flatten()
        .map(|&v| mesh.vertex(v).coords.dot(&n))
        .fold(f64::NEG_INFINITY, f64::max);
    for (f, flag) in flat.iter_mut().enumerate() {
        *flag &= mesh.face_centre(f as FaceId).coords.dot(&n) > lowest - BASE_THICK_MM;
    }
    flat
}

/// Dead space over a part of a cast.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct DeadSpace {
    /// Surface of the part over which something stands, mm2.
    pub area_mm2: f64,
    /// Deepest undercut on it: vertex, position, mm; `None` where nothing is undercut.
    pub deepest: Option<(VertexId, Point, f64)>,
    /// Volume, mm3.
    pub volume_mm3: f64,
    /// Change of the volume over the standard uncertainty of the direction, mm3.
    pub volume_by_direction_mm3: f64,
    /// Vertices of the part whose depth depends on the closing of a hole in the scan.
    pub closed_hole_vertices: usize,
}

/// The direction, what is known for it, and how well it is known.
#[derive(Clone, Copy, Debug)]
pub struct Along<'a> {
    /// The cast set up in the direction.
    pub tilted: &'a TiltedCast<'a>,
    /// Depths of its vertices.
    pub field: &'a UndercutField,
    /// Standard uncertainty of the direction, degrees.
    pub uncertainty_deg: f64,
}

/// Measures the dead space over each of some parts (a flag a triangle) along one direction, and the volume of all of them
/// together, what is common to them counted once, mm3.
pub fn dead_space(cast: &Cast<'_>, along: &Along<'_>, parts: &[&[bool]]) -> (Vec<DeadSpace>, f64) {
    let d = along.tilted.direction();
    let over = |columns: &Columns| -> Vec<Vec<Interval>> {
        parts.iter().map(|p| columns.over_part(cast.mesh, cast.topology, p)).collect()
    };
    let volumes = |d: &Direction, spacing| -> Vec<f64> {
        let columns = Columns::new(cast, d, spacing);
        over(&columns).iter().map(|part| columns.volume_mm3(part)).collect()
    };
    let (u, v) = across(&d);
    let lean = tan(along.uncertainty_deg.to_radians());
    let leant = |way: &Vector| {
        direction(d.into_inner() + way * lean).map_or_else(Vec::new, |d| volumes(&d, COARSE_MM))
    };
    // Two at a time: each takes memory for its columns.
    let beside: Vec<Vec<f64>> = [[u, -u], [v, -v]]
        .iter()
        .flat_map(|ways| ways.par_iter().map(leant).collect::<Vec<Vec<f64>>>())
        .collect();
    let columns = Columns::new(cast, &d, COLUMN_MM);
    let over = over(&columns);
    let here: Vec<f64> = over.iter().map(|part| columns.volume_mm3(part)).collect();
    let together = columns.volume_mm3(&united(over.concat()));
    let change = |part: usize, a: usize, b: usize| match (beside[a].get(part), beside[b].get(part)) {
        (Some(a), Some(b)) => (a - b) / 2.0,
        _ => 0.0,
    };
    let spaces = parts
        .iter()
        .enumerate()
        .map(|(i, part)| {
            let faces = || (0..cast.mesh.faces().len() as FaceId).filter(|&f| part[f as usize]);
            let vertices = vertices(cast.mesh, faces());
            DeadSpace {
                area_mm2: undercut_area_mm2(cast.mesh, along.tilted, along.field, faces()),
                deepest: deepest(cast.mesh, along.field, &vertices),
                volume_mm3: here[i],
                volume_by_direction_mm3: crate::space::hypot(change(i, 0, 1), change(i, 2, 3)),
                closed_hole_vertices: vertices
                    .iter()
                    .filter(|&&v| along.field.closed_hole.get(v as usize).copied().unwrap_or(false))
                    .count(),
            }
        })
        .collect();
    (spaces, together)
}

/// The dead space over some parts together as a closed surface that faces outward; `None` where there is none worth a
/// solid (nothing thicker than 0.01 mm).
pub fn solid(cast: &Cast<'_>, d: &Direction, parts: &[&[bool]]) -> Option<Mesh> {
    let of = |spacing: f64| {
        let columns = Columns::new(cast, d, spacing);
        let mut all: Vec<Interval> = Vec::new();
        for part in parts {
            all.extend(columns.over_part(cast.mesh, cast.topology, part));
        }
        let all = united(all);
        (columns, all)
    };
    let (columns, all) = of(SOLID_MM);
    let wider = (all.len() as f64 / MOST_IN_SOLID as f64).sqrt();
    if wider <= 1.0 {
        return solid::solid(&columns, &all);
    }
    let (columns, all) = of(columns.spacing_mm() * wider);
    solid::solid(&columns, &all)
}

/// Each interval once, the longest where parts disagree on the lower end.
fn united(mut all: Vec<Interval>) -> Vec<Interval> {
    all.sort_by(|a, b| {
        a.column.cmp(&b.column).then(b.top.total_cmp(&a.top)).then(a.bottom.total_cmp(&b.bottom))
    });
    all.dedup_by(|b, a| a.column == b.column && a.over == b.over && a.top == b.top);
    all
}

/// All triangles of a cast but those of its base.
pub fn whole(cast: &Cast<'_>) -> Vec<bool> {
    (0..cast.mesh.faces().len()).map(|f| !cast.base.get(f).copied().unwrap_or(false)).collect()
}

fn vertices(mesh: &Mesh, faces: impl Iterator<Item = FaceId>) -> Vec<VertexId> {
    let mut all: Vec<VertexId> = faces.flat_map(|f| mesh.faces()[f as usize]).collect();
    all.sort_unstable();
    all.dedup();
    all
}

fn deepest(mesh: &Mesh, field: &UndercutField, vertices: &[VertexId]) -> Option<(VertexId, Point, f64)> {
    let mut best: Option<(VertexId, f64)> = None;
    for &v in vertices {
        if let Some(mm) = field.depth_mm.get(v as usize).copied().flatten()
            && mm > best.map_or(0.0, |b| b.1)
        {
            best = Some((v, mm));
        }
    }
    best.map(|(v, mm)| (v, mesh.vertex(v), mm))
}
