//! Quantity: change of the residual ridge between two scans of one arch (residual ridge resorption: Glossary of
//! Prosthodontic Terms, key `G9`: a term for the diminishing quantity and quality of residual ridge after teeth are removed).
//!
//! Definition: at a place of the older surface, the way along its outward normal to the newer one, registered to it on teeth
//! that have stayed; negative where the surface has gone down (resorbed), positive where it has come up. Over the ridge of a
//! span: volume = the space between both surfaces, with that sign; area mean = the mean over the ridge's older surface;
//! deepest place = where the mean over a disc of 0.8 mm radius is least.
//!
//! Frame and units: the older file's axes, mm, mm3.
//!
//! Method and its error: rays both ways along the normal, smoothed over a millimetre so that the noise of a scan does not tip
//! it (13 degrees of a raw normal would add 2.6 % to a depth; smoothed, under 0.5 % is left); the nearer meeting with the newer
//! surface from the same side counts, exact to the triangle. Volume is that of the prisms between each triangle and its
//! image. A meeting that lies more than twice as far off as the nearest place is none. A mean over the disc takes the noise of single points off and flattens a bowl of 5 mm radius and 3 mm depth by
//! 0.04 mm.
//!
//! Not covered: which part of it is bone and which mucosa; how far the mucosa lay displaced in either scan.
//!
//! Checked by: a lowered cylinder in closed form here; resorption of known depth on synthetic casts
//! (`examples/accept_compare.rs`).

use std::collections::BTreeMap;

use rayon::prelude::*;

use crate::locate::Surface;
use crate::mesh::{FaceId, Mesh, Topology, VertexId};
use crate::space::{Point, Vector, direction};

/// How far the other surface is looked for, either way, mm.
pub const REACH_MM: f64 = 8.0;
/// Radius of the disc over which a change is averaged, mm.
pub const DISC_MM: f64 = 0.8;
/// A meeting farther off than this many times the nearest distance lies on another part: the ray has passed over what is
/// left of a narrow ridge.
const MOST_SLANT: f64 = 2.0;
/// Up to this a meeting is taken as it is, mm.
const STRAIGHT_MM: f64 = 0.3;
/// Way over which normals are smoothed, mm.
const SMOOTHED_MM: f64 = 1.0;
/// Most rounds of smoothing.
const MOST_ROUNDS: f64 = 14.0;
/// Fewest measured places in a disc that make a mean.
const FEWEST: usize = 4;

/// Normals of the vertices, smoothed over about a millimetre; zero where no triangle with area meets a vertex.
pub fn smoothed_normals(mesh: &Mesh, topology: &Topology) -> Vec<Vector> {
    let mut normals = mesh.vertex_normals().to_vec();
    let edge = mesh.mean_edge_mm();
    if edge <= 0.0 {
        return normals;
    }
    let around: Vec<Vec<VertexId>> =
        (0..normals.len() as VertexId).map(|v| topology.neighbours(mesh, v)).collect();
    let rounds = ((SMOOTHED_MM / edge) * (SMOOTHED_MM / edge)).ceil().clamp(1.0, MOST_ROUNDS) as usize;
    for _ in 0..rounds {
        let next: Vec<Vector> = (0..normals.len())
            .into_par_iter()
            .map(|v| {
                let sum: Vector = around[v].iter().map(|&w| normals[w as usize]).sum();
                (normals[v] + sum).try_normalize(1e-9).unwrap_or(normals[v])
            })
            .collect();
        normals = next;
    }
    normals
}

/// The way from a place along its normal to the other surface, mm, negative inward; `None` where that has nothing there.
pub fn along(at: &Point, normal: &Vector, other: &Surface) -> Option<f64> {
    let out = direction(*normal)?;
    let inward = -out;
    // Met from behind on the way out: the other surface lies outside. Met from the front on the way in: it lies inside.
    let above = other.cast_facing(at, &out, REACH_MM, true).map(|h| h.distance_mm);
    let below = other.cast_facing(at, &inward, above.unwrap_or(REACH_MM), false).map(|h| h.distance_mm);
    let way = match (above, below) {
        (Some(a), Some(b)) if b < a => -b,
        (Some(a), _) => a,
        (None, b) => -b?,
    };
    let far = way.abs();
    let near = if far > STRAIGHT_MM { other.closest_within(at, far)?.distance_mm } else { far };
    (far <= MOST_SLANT * near.max(STRAIGHT_MM)).then_some(way)
}

/// The change at each vertex, mm.
pub fn of_vertices(mesh: &Mesh, normals: &[Vector], newer: &Surface) -> Vec<Option<f64>> {
    mesh.vertices().par_iter().zip(normals).map(|(p, n)| along(p, n, newer)).collect()
}

/// What the change of a ridge is read from.
#[derive(Clone, Copy, Debug)]
pub struct Asked<'a> {
    /// The older surface.
    pub mesh: &'a Mesh,
    /// Smoothed normals of its vertices.
    pub normals: &'a [Vector],
    /// Change of its vertices, mm.
    pub change_mm: &'a [Option<f64>],
    /// Triangles of the ridge.
    pub faces: &'a [FaceId],
    /// Its crest line.
    pub crest: &'a [Point],
}

/// A place and the change there.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// The vertex.
    pub vertex: VertexId,
    /// Its position, mm.
    pub at: Point,
    /// Mean change over the disc around it, mm.
    pub change_mm: f64,
}

/// The change at a station of the crest.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Station {
    /// Distance along the crest, mm.
    pub s_mm: f64,
    /// The station, mm.
    pub at: Point,
    /// Mean change over the disc around it, mm; `None` where the newer scan has nothing there.
    pub change_mm: Option<f64>,
}

/// The change of the ridge of one span.
#[derive(Clone, Debug, PartialEq)]
pub struct RidgeChange {
    /// Along the crest.
    pub profile: Vec<Station>,
    /// Where it went down most (or came up least).
    pub lowest: Place,
    /// Where it came up most (or went down least).
    pub highest: Place,
    /// Mean over the ridge, mm.
    pub mean_mm: f64,
    /// Space between both surfaces, mm3, negative where the ridge went down.
    pub volume_mm3: f64,
    /// Surface on which it was measured, mm2.
    pub area_mm2: f64,
    /// Share of the ridge's surface on which it was measured, 0 to 1.
    pub measured_share: f64,
}

/// The change of a ridge; `None` where no triangle of it was measured.
pub fn of_ridge(asked: &Asked<'_>) -> Option<RidgeChange> {
    let mut vertices: Vec<VertexId> =
        asked.faces.iter().flat_map(|&f| asked.mesh.faces()[f as usize]).collect();
    vertices.sort_unstable();
    vertices.dedup();
    let measured: Vec<(Point, f64)> =
        vertices.iter().filter_map(|&v| Some((asked.mesh.vertex(v), asked.change_mm[v as usize]?))).collect();
    let discs = Discs::new(&measured);
    let places: Vec<Place> = vertices
        .iter()
        .filter(|&&v| asked.change_mm[v as usize].is_some())
        .filter_map(|&v| {
            let at = asked.mesh.vertex(v);
            Some(Place { vertex: v, at, change_mm: discs.mean(&at)? })
        })
        .collect();
    let lowest = *places.iter().min_by(|a, b| a.change_mm.total_cmp(&b.change_mm))?;
    // The first of several, as above.
    let highest = *places.iter().min_by(|a, b| b.change_mm.total_cmp(&a.change_mm))?;
    let (volume_mm3, area_mm2, moment) = between(asked);
    let whole: f64 = asked.faces.iter().map(|&f| asked.mesh.face_area_mm2(f)).sum();
    Some(RidgeChange {
        profile: profile(asked.crest, &discs),
        lowest,
        highest,
        mean_mm: if area_mm2 > 0.0 { moment / area_mm2 } else { 0.0 },
        volume_mm3,
        area_mm2,
        measured_share: if whole > 0.0 { area_mm2 / whole } else { 0.0 },
    })
}

/// Volume between both surfaces, area measured, and the integral of the change over it.
fn between(asked: &Asked<'_>) -> (f64, f64, f64) {
    let (mut volume, mut area, mut moment) = (0.0, 0.0, 0.0);
    for &f in asked.faces {
        let ids = asked.mesh.faces()[f as usize];
        let [Some(a), Some(b), Some(c)] = ids.map(|v| asked.change_mm[v as usize]) else { continue };
        let old = asked.mesh.corners(f);
        let new = [(0, a), (1, b), (2, c)].map(|(k, t)| old[k] + asked.normals[ids[k] as usize] * t);
        volume += prism(&old, &new);
        let here = asked.mesh.face_area_mm2(f);
        area += here;
        moment += here * (a + b + c) / 3.0;
    }
    (volume, area, moment)
}

/// Signed volume between a triangle and its image, positive toward the triangle's normal.
fn prism(old: &[Point; 3], new: &[Point; 3]) -> f64 {
    let tetrahedron =
        |p: &Point, q: &Point, r: &Point, s: &Point| (q - p).cross(&(r - p)).dot(&(s - p)) / 6.0;
    let [a, b, c] = old;
    let [d, e, f] = new;
    tetrahedron(a, b, c, f) + tetrahedron(a, b, f, e) + tetrahedron(a, e, f, d)
}

fn profile(crest: &[Point], discs: &Discs) -> Vec<Station> {
    let (mut s_mm, mut last) = (0.0, None);
    let station = |&at: &Point| {
        s_mm += last.map_or(0.0, |q: Point| (at - q).norm());
        last = Some(at);
        Station { s_mm, at, change_mm: discs.mean(&at) }
    };
    crest.iter().map(station).collect()
}

/// Measured places by cells as wide as a disc's radius.
struct Discs {
    cells: BTreeMap<[i64; 3], Vec<(Point, f64)>>,
}

impl Discs {
    fn new(measured: &[(Point, f64)]) -> Discs {
        let mut cells: BTreeMap<[i64; 3], Vec<(Point, f64)>> = BTreeMap::new();
        for (p, t) in measured {
            cells.entry(cell(p)).or_default().push((*p, *t));
        }
        Discs { cells }
    }

    /// Mean of the changes measured within a disc's radius of a place; `None` of too few.
    fn mean(&self, at: &Point) -> Option<f64> {
        let [i, j, k] = cell(at);
        let (mut sum, mut count) = (0.0, 0);
        for a in i - 1..=i + 1 {
            for b in j - 1..=j + 1 {
                for c in k - 1..=k + 1 {
                    for (p, t) in self.cells.get(&[a, b, c]).into_iter().flatten() {
                        if (p - at).norm_squared() <= DISC_MM * DISC_MM {
                            sum += t;
                            count += 1;
                        }
                    }
                }
            }
        }
        (count >= FEWEST).then(|| sum / f64::from(count as u32))
    }
}

fn cell(p: &Point) -> [i64; 3] {
    [p.x, p.y, p.z].map(|c| (c / DISC_MM).floor().clamp(-1e15, 1e15) as i64)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::shapes::sheet;

    /// Half a cylinder of 5 mm radius along y, cut off 4 mm beside its crest.
    fn ridge(radius: f64, edge: f64) -> Mesh {
        sheet(8.0, edge, true, |x, _| (radius * radius - x * x).sqrt())
    }

    fn change(old: &Mesh, new: &Mesh) -> RidgeChange {
        let normals = smoothed_normals(old, &Topology::new(old));
        let change_mm = of_vertices(old, &normals, &Surface::new(new));
        // The middle of the sheet, whose normals all meet the other one.
        let faces: Vec<FaceId> = (0..old.faces().len() as u32)
            .filter(|f| old.face_centre(*f).x.abs() < 2.0 && old.face_centre(*f).y.abs() < 3.0)
            .collect();
        let crest: Vec<Point> = (0..=12).map(|k| Point::new(0.0, -3.0 + 0.5 * f64::from(k), 5.0)).collect();
        let asked =
            Asked { mesh: old, normals: &normals, change_mm: &change_mm, faces: &faces, crest: &crest };
        of_ridge(&asked).unwrap()
    }

    #[test]
    fn a_lowered_cylinder_has_its_depth_volume_and_sign() {
        for (depth, edge) in [(0.2, 0.25), (1.0, 0.25), (3.0, 0.2)] {
            let wide = ridge(5.0, edge);
            // A cylinder about the same axis, lower by the depth: the normals run through the axis.
            let low = sheet(2.0 * (5.0 - depth) - 0.4, 0.9 * edge, true, |x, _| {
                let r = 5.0 - depth;
                (r * r - x * x).max(0.0).sqrt()
            });
            let found = change(&wide, &low);
            assert!((found.mean_mm + depth).abs() < 0.01, "{depth}: {}", found.mean_mm);
            assert!((found.lowest.change_mm + depth).abs() < 0.02 && found.highest.change_mm < 0.0);
            // Between two cylinders: angle times half the difference of the squares times the length.
            let angle = found.area_mm2 / (5.0 * 6.0);
            let length = 6.0;
            let volume = -angle * (25.0 - (5.0 - depth).powi(2)) / 2.0 * length;
            assert!((found.volume_mm3 - volume).abs() < 0.02 * volume.abs(), "{} {volume}", found.volume_mm3);
            // The smallest of the lower sheets ends 1.8 mm beside the middle, along the crest too.
            let inside: Vec<&Station> = found.profile.iter().filter(|s| s.at.y.abs() < 0.9).collect();
            assert!(inside.len() == 3 && inside.iter().all(|s| (s.change_mm.unwrap() + depth).abs() < 0.02));
            assert!((found.profile[4].s_mm - 2.0).abs() < 1e-9);
        }
        let up = change(&ridge(5.0, 0.25), &ridge(5.4, 0.22));
        assert!((up.mean_mm - 0.4).abs() < 0.01 && up.volume_mm3 > 0.0, "{}", up.mean_mm);
    }

    #[test]
    fn where_the_newer_scan_has_nothing_there_is_no_figure() {
        let old = ridge(5.0, 0.25);
        let whole = ridge(4.5, 0.25);
        let (half, _) = whole.part(|f| whole.face_centre(f).y > 0.0);
        let found = change(&old, &half);
        assert!(found.measured_share > 0.4 && found.measured_share < 0.6);
        assert!(found.profile[0].change_mm.is_none() && found.profile[12].change_mm.is_some());
        let (none, _) = half.part(|_| false);
        let normals = smoothed_normals(&old, &Topology::new(&old));
        assert!(of_vertices(&old, &normals, &Surface::new(&none)).iter().all(Option::is_none));
    }
}
