//! Quantity: survey line (height of contour).
//!
//! The line that encircles a tooth at its greatest bulge for a path (Glossary of Prosthodontic Terms, ninth edition:
//! "survey line", "height of contour").
//!
//! Definition: of the curves where the normal is square to the withdrawal direction `d`, the parts that a rod along `d`
//! can touch, where nothing stands above (`H = h`).
//!
//! Frame and units: mm, in the file's own axes.
//!
//! Method and its error: the zero line of `n.d` in each triangle, with `n` interpolated between the vertices' normals;
//! a triangle's part is kept where one of its corners is free. So the line runs through the triangles, not along their
//! sides; its height is off by what the normals are off (vertex normals weighted by angle: under a tenth of the edge
//! length on evenly meshed curved walls), its ends by up to one triangle. The polylines are then freed of the zigzag of
//! facets and noise (`clean_line`, over 0.6 mean edges, at least 0.3 mm) and brought back to the surface. On a wall along `d`, where every height would
//! do, the line lies at the lower end of the wall; at a sharp edge it runs up to one triangle beside it.
//!
//! Not covered: lines shorter than twice the mean edge, which are roughness of the scan.
//!
//! Checked by: spheres (line on the great circle), barrel, ball under ball, turning of the line on smooth and noisy
//! spheres.

use std::collections::BTreeMap;
use std::sync::OnceLock;

use rayon::prelude::*;

use super::clean_line::cleaned;
use super::undercut::{DepthAt, UndercutField};
use crate::anatomy::curves::length_mm;
use crate::locate::Surface;
use crate::mesh::made_once;
use crate::mesh::{FaceId, Mesh, Topology};
use crate::space::{Direction, Point, Vector};

/// A normal is square to the path within this (sine): rounding of walls along the path, 0.0006 degrees.
const SQUARE: f64 = 1e-5;
/// Lines shorter than this many mean edges are left out.
const SHORTEST_EDGES: f64 = 2.0;
/// The zigzag is taken out over this length at least, mm: about the finest detail of a crown that a line follows.
const CLEAN_MM: f64 = 0.3;
/// ... and over this many mean edges, where that is more.
const CLEAN_EDGES: f64 = 0.6;
/// Rings of triangles around the line on which the cleaned line may lie.
const RINGS: usize = 2;

/// The piece of the survey line in one triangle.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Step {
    face: FaceId,
    /// The edges that it runs between, and where it meets them.
    edges: [u32; 2],
    ends: [Point; 2],
}

/// The survey line of a whole cast for one direction.
#[derive(Debug)]
pub struct SurveyLine {
    direction: Direction,
    steps: Vec<Step>,
    mean_edge_mm: f64,
    /// The triangles about it.
    band: Mesh,
    surface: OnceLock<Surface>,
}

impl SurveyLine {
    /// Finds it.
    pub fn new(mesh: &Mesh, topology: &Topology, field: &UndercutField) -> SurveyLine {
        SurveyLine::with_normals(mesh, topology, field, mesh.vertex_normals())
    }

    /// Finds it, where the normals of the vertices are known already.
    pub fn with_normals(
        mesh: &Mesh,
        topology: &Topology,
        field: &UndercutField,
        normals: &[Vector],
    ) -> SurveyLine {
        let d = field.direction;
        let lean: Vec<f64> = normals.par_iter().map(|n| n.dot(&d)).collect();
        let free = |v: u32| field.depth_mm.get(v as usize).is_some_and(|depth| *depth == Some(0.0));
        let touched = |f: FaceId| mesh.faces()[f as usize].iter().any(|&v| free(v));
        let steps: Vec<Step> = (0..mesh.faces().len() as u32)
            .into_par_iter()
            .filter(|&f| touched(f))
            .filter_map(|f| step(mesh, topology, &lean, f))
            .collect();
        let band = band(mesh, &steps);
        SurveyLine { direction: d, steps, mean_edge_mm: mesh.mean_edge_mm(), band, surface: OnceLock::new() }
    }

    /// Polylines on the given triangles (ascending; all where `None`), mm: open ones first, each from the end on the
    /// lower edge number, then closed ones, which end on their start.
    pub fn lines(&self, faces: Option<&[FaceId]>) -> Vec<Vec<Point>> {
        let steps: Vec<&Step> = self
            .steps
            .iter()
            .filter(|s| faces.is_none_or(|list| list.binary_search(&s.face).is_ok()))
            .collect();
        let surface = made_once(&self.surface, || Surface::new(&self.band));
        chained(&steps)
            .into_iter()
            .filter(|line| length_mm(line) >= SHORTEST_EDGES * self.mean_edge_mm)
            .map(|line| cleaned(&line, surface, (CLEAN_EDGES * self.mean_edge_mm).max(CLEAN_MM)))
            .collect()
    }

    /// Height of the survey line above an undercut point, along the path, mm: where the upright plane through the point
    /// and its rod meets the line that the rod touches. Where the rod touches a sharp edge, or no line comes near it,
    /// the height of what it touches; `None` for a free point, and where the rod stands on the surface at the point's own height.
    pub fn above_mm(&self, at: &Point, depth: &DepthAt) -> Option<f64> {
        let rod = depth.free_at? - at;
        let d = self.direction.into_inner();
        let outward = (rod - d * rod.dot(&d)).try_normalize(1e-9)?;
        let side = d.cross(&outward);
        let touches = depth.touches_above_mm?;
        if depth.touches_sharp && touches > 0.0 {
            return Some(touches);
        }
        let mut best: Option<(f64, f64)> = None;
        for step in &self.steps {
            let [a, b] = step.ends.map(|p| (p - at).dot(&side));
            if (a <= 0.0) == (b <= 0.0) {
                continue;
            }
            let t = a / (a - b);
            let x = step.ends[0] + (step.ends[1] - step.ends[0]) * t - at;
            let (off, height) = ((x.dot(&outward) - depth.depth_mm).abs(), x.dot(&d));
            // Near the rod, and on the bulge that it touches rather than on another one.
            let near = off <= 0.5 * self.mean_edge_mm && (height - touches).abs() <= 2.0 * self.mean_edge_mm;
            if height > 0.0 && near && best.is_none_or(|(least, _)| off < least) {
                best = Some((off, height));
            }
        }
        best.map(|(_, height)| height).or((touches > 0.0).then_some(touches))
    }
}

/// Survey lines on the given triangles (all where `None`) as polylines, mm, in a fixed order; see [`SurveyLine::lines`].
pub fn survey_lines(
    mesh: &Mesh,
    topology: &Topology,
    field: &UndercutField,
    faces: Option<&[FaceId]>,
) -> Vec<Vec<Point>> {
    SurveyLine::new(mesh, topology, field).lines(faces)
}

/// The triangles about the line.
fn band(mesh: &Mesh, steps: &[Step]) -> Mesh {
    let mut near = vec![false; mesh.vertices().len()];
    for step in steps {
        mesh.faces()[step.face as usize].iter().for_each(|&v| near[v as usize] = true);
    }
    let meets = |near: &[bool], f: FaceId| mesh.faces()[f as usize].iter().any(|&v| near[v as usize]);
    for _ in 1..RINGS {
        let mut wider = near.clone();
        for f in (0..mesh.faces().len() as u32).filter(|&f| meets(&near, f)) {
            mesh.faces()[f as usize].iter().for_each(|&v| wider[v as usize] = true);
        }
        near = wider;
    }
    mesh.part(|f| meets(&near, f)).0
}

/// The zero line of `lean` in a triangle.
fn step(mesh: &Mesh, topology: &Topology, lean: &[f64], face: FaceId) -> Option<Step> {
    let corners = mesh.faces()[face as usize];
    let value = corners.map(|v| {
        let g = lean.get(v as usize).copied().unwrap_or(0.0);
        if g.abs() < SQUARE { 0.0 } else { g }
    });
    let edges = topology.edges_of_face(face);
    let mut met = (0..3).filter_map(|k| {
        let (a, b) = (k, (k + 1) % 3);
        if (value[a] >= 0.0) == (value[b] >= 0.0) {
            return None;
        }
        // From the upper end, so that both triangles at the edge compute the same place.
        let (a, b) = if value[a] >= 0.0 { (a, b) } else { (b, a) };
        let t = value[a] / (value[a] - value[b]);
        let (p, q) = (mesh.vertex(corners[a]), mesh.vertex(corners[b]));
        Some((edges[k], p + (q - p) * t))
    });
    let (first, second) = (met.next()?, met.next()?);
    Some(Step { face, edges: [first.0, second.0], ends: [first.1, second.1] })
}

/// Joins steps that meet on an edge.
fn chained(steps: &[&Step]) -> Vec<Vec<Point>> {
    let mut at_edge: BTreeMap<u32, Vec<usize>> = BTreeMap::new();
    for (i, s) in steps.iter().enumerate() {
        s.edges.iter().for_each(|&e| at_edge.entry(e).or_default().push(i));
    }
    let mut used = vec![false; steps.len()];
    let starts: Vec<u32> = at_edge
        .iter()
        .filter(|(_, at)| at.len() == 1)
        .chain(at_edge.iter().filter(|(_, at)| at.len() != 1))
        .map(|(&e, _)| e)
        .collect();
    let mut lines = Vec::new();
    for start in starts {
        let mut edge = start;
        let mut line: Vec<Point> = Vec::new();
        while let Some(&i) = at_edge.get(&edge).and_then(|at| at.iter().find(|&&i| !used[i])) {
            used[i] = true;
            let (from, to) = if steps[i].edges[0] == edge { (0, 1) } else { (1, 0) };
            if line.is_empty() {
                line.push(steps[i].ends[from]);
            }
            let next = steps[i].ends[to];
            if line.last().is_none_or(|p| (next - p).norm() > 1e-9) {
                line.push(next);
            }
            edge = steps[i].edges[to];
        }
        if edge == start && line.len() > 2 {
            // A closed line ends on its start to the last digit.
            let first = line[0];
            if let Some(last) = line.last_mut() {
                *last = first;
            }
        }
        if line.len() > 1 {
            lines.push(line);
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::undercut::Surveyor;
    use crate::phantom::solids;
    use crate::space::{Vector, direction, hypot};

    fn lines(mesh: &Mesh, d: Vector) -> (SurveyLine, Surveyor, Vec<Vec<Point>>) {
        let topology = Topology::new(mesh);
        let surveyor = Surveyor::new(mesh, &topology);
        let line = SurveyLine::new(mesh, &topology, &surveyor.field(&direction(d).unwrap()));
        let all = line.lines(None);
        (line, surveyor, all)
    }

    #[test]
    fn a_sphere_has_one_closed_line_on_its_great_circle() {
        let d = Vector::new(0.2, -0.3, 0.9);
        for mesh in [solids::icosphere(5.0, 0.3), solids::lat_long_sphere(4.0, 0.2)] {
            let radius = mesh.vertices()[0].coords.norm();
            let (_, _, all) = lines(&mesh, d);
            assert_eq!(all.len(), 1);
            assert_eq!(all[0].first(), all[0].last());
            let off = all[0].iter().map(|p| p.coords.dot(&d.normalize()).abs()).fold(0.0, f64::max);
            assert!(off < 0.02, "{off}");
            // No zigzag: no longer than the circle.
            let circle = 2.0 * std::f64::consts::PI * radius;
            assert!((length_mm(&all[0]) / circle - 1.0).abs() < 0.003);
        }
    }

    /// Sum of the turns along a line, degrees for each mm.
    fn turn_per_mm(line: &[Point]) -> f64 {
        let steps: Vec<Vector> = line.windows(2).map(|w| w[1] - w[0]).collect();
        let turns: f64 = steps.windows(2).map(|w| crate::space::angle_deg(&w[0], &w[1])).sum();
        turns / length_mm(line)
    }

    #[test]
    fn the_line_turns_no_more_than_the_circle_that_it_is() {
        // A great circle of 5 mm turns by 360 degrees on 31.4 mm.
        let circle = 180.0 / (std::f64::consts::PI * 5.0);
        let smooth = solids::icosphere(5.0, 0.25);
        let d = Vector::new(0.2, -0.3, 0.9);
        let (_, _, all) = lines(&smooth, d);
        assert!((turn_per_mm(&all[0]) / circle - 1.0).abs() < 0.1, "{} {circle}", turn_per_mm(&all[0]));
        // 5 um of noise on 0.25 mm edges turn the normals by more than a degree: 0.1 mm of zigzag.
        let mut state = 7u64;
        let mut noise = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 11) as f64 / (1u64 << 53) as f64 - 0.5
        };
        let moved = smooth.vertices().iter().map(|p| p + p.coords.normalize() * (0.01 * noise())).collect();
        let rough = Mesh::new(moved, smooth.faces().to_vec()).unwrap();
        let (_, _, all) = lines(&rough, d);
        let longest = all.iter().max_by(|a, b| length_mm(a).total_cmp(&length_mm(b))).unwrap();
        assert!(turn_per_mm(longest) < 3.0 * circle, "{} {circle}", turn_per_mm(longest));
        let off = longest.iter().map(|p| p.coords.dot(&d.normalize()).abs()).fold(0.0, f64::max);
        assert!(off < 0.25, "{off}");
    }

    #[test]
    fn the_gauge_stands_as_far_below_the_line_as_the_sphere_says() {
        let mesh = solids::icosphere(5.0, 0.2);
        let (line, surveyor, _) = lines(&mesh, Vector::z());
        let d = direction(Vector::z()).unwrap();
        let cast = surveyor.tilted(&d);
        for (wanted, below) in [(0.25, 1.561), (0.50, 2.179), (0.75, 2.634)] {
            // The surface point nearest to the true place.
            let r = 5.0 - wanted;
            let truth = Point::new(r * 0.6, r * 0.8, -below);
            let (face, at) = (0..mesh.faces().len() as u32)
                .map(|f| (f, mesh.face_centre(f)))
                .min_by(|a, b| (a.1 - truth).norm().total_cmp(&(b.1 - truth).norm()))
                .unwrap();
            let depth = cast.depth_at(&at, face);
            let (height, out) = (line.above_mm(&at, &depth).unwrap(), hypot(at.x, at.y));
            assert!((height + at.z).abs() < 0.01, "{height} over {}", at.z);
            assert!((depth.depth_mm - (5.0 - out)).abs() < 0.008);
        }
    }

    #[test]
    fn hidden_bulges_have_no_line() {
        let small = solids::icosphere(2.0, 0.3).moved(&crate::space::Motion::translation(0.0, 0.0, -8.0));
        let big = solids::icosphere(4.0, 0.3);
        let (_, _, all) = lines(&Mesh::together([&big, &small]), Vector::z());
        assert_eq!(all.len(), 1);
        assert!(all[0].iter().all(|p| hypot(p.x, p.y) > 3.9));
    }

    #[test]
    fn the_line_of_a_barrel_is_its_belly_on_chosen_triangles_too() {
        let barrel = solids::Barrel { belly_mm: 3.5, belly_at_mm: 3.0, height_mm: 6.0, wall_mm: 6.0 };
        let mesh = solids::barrel_on_plate(&barrel, 8.0, 0.3, false);
        let (line, _, all) = lines(&mesh, Vector::z());
        assert_eq!(all.len(), 1);
        assert!(all[0].iter().all(|p| (p.z - 3.0).abs() < 0.02), "{:?}", all[0][0]);
        let half: Vec<u32> =
            (0..mesh.faces().len() as u32).filter(|&f| mesh.face_centre(f).x > 0.0).collect();
        let part = line.lines(Some(&half));
        assert_eq!(part.len(), 1);
        assert_ne!(part[0].first(), part[0].last());
        assert!((length_mm(&part[0]) - std::f64::consts::PI * 3.5).abs() < 0.7);
    }
}
