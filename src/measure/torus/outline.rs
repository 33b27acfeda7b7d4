//! Heights of the full mesh above the fill, its lobes, and the outline, area and extents of each.

use std::collections::BTreeMap;

use super::bump::{Bump, Field};
use crate::measure::joined::Joined;
use crate::mesh::{FaceId, Mesh, Topology, VertexId};
use crate::space::{Point, Vector};

/// A lobe of a rise, on the full mesh.
#[derive(Clone, Debug)]
pub(super) struct Lobe {
    /// Its summit.
    pub summit: VertexId,
    /// Height of the summit above the fill, mm.
    pub height_mm: f64,
    /// Outline, closed, first position not repeated.
    pub outline: Vec<Point>,
    /// Whether the outline is closed by a step across a border of the scan.
    pub cut: bool,
    /// Triangles most of which lie inside, ascending.
    pub faces: Vec<FaceId>,
    /// Area inside, mm2.
    pub area_mm2: f64,
    /// Longest chord of the outline, mm.
    pub length_mm: f64,
    /// Extent across it, mm.
    pub width_mm: f64,
}

/// Height of each vertex of the full mesh in the mask above the fill, mm, by vertex, ascending.
pub(super) fn heights(mesh: &Mesh, field: &Field<'_>, bump: &Bump) -> Vec<(VertexId, f64)> {
    let mut masked = vec![false; field.work.len()];
    bump.mask.iter().for_each(|&v| masked[v as usize] = true);
    (0..mesh.vertices().len() as u32)
        .filter_map(|v| {
            let owner = *field.work.owner.get(v as usize)?;
            masked[owner as usize].then(|| (v, bump.fill.height_mm(field.work, &mesh.vertex(v), owner).0))
        })
        .collect()
}

/// Lobes of a height field: summits whose saddle to any higher one lies at least `saddle_mm` below them, each with the
/// vertices that flow to it; highest first.
pub(super) fn lobes(
    mesh: &Mesh,
    topology: &Topology,
    heights: &[(VertexId, f64)],
    (outline_mm, saddle_mm): (f64, f64),
) -> Vec<Lobe> {
    let basins = basins(mesh, topology, heights, saddle_mm);
    let mut height_of = BTreeMap::new();
    for (&(v, h), &summit) in heights.iter().zip(&basins) {
        height_of.insert(v, (h, summit));
    }
    let mut summits = basins.clone();
    summits.sort_unstable();
    summits.dedup();
    let mut found: Vec<Lobe> = summits
        .into_iter()
        .filter_map(|summit| {
            let (height_mm, _) = *height_of.get(&summit)?;
            if height_mm <= outline_mm {
                return None;
            }
            // Inside positive; another lobe's vertices count as far outside as they stand above the level, so that
            // the outline runs half way between the lobes.
            let value = |v: VertexId| match height_of.get(&v) {
                Some(&(h, s)) if s == summit => h - outline_mm,
                Some(&(h, _)) => -(h - outline_mm).abs().max(1e-6),
                None => -outline_mm,
            };
            let line = level_line(mesh, topology, summit, &value)?;
            let (length_mm, width_mm) = extents(&line.outline, &mean_normal(mesh, &line.faces));
            let LevelLine { outline, cut, faces, area_mm2 } = line;
            Some(Lobe { summit, height_mm, outline, cut, faces, area_mm2, length_mm, width_mm })
        })
        .collect();
    found.sort_by(|a, b| b.height_mm.total_cmp(&a.height_mm).then(a.summit.cmp(&b.summit)));
    found
}

/// For each entry of `heights` the summit that it belongs to. Every vertex follows its steepest way up; two summits are
/// joined where the lower one stands less than `saddle_mm` above the highest place where their slopes meet.
fn basins(mesh: &Mesh, topology: &Topology, heights: &[(VertexId, f64)], saddle_mm: f64) -> Vec<VertexId> {
    let place = |v: VertexId| heights.binary_search_by_key(&v, |e| e.0).ok();
    let mut order: Vec<usize> = (0..heights.len()).collect();
    order.sort_by(|&a, &b| heights[b].1.total_cmp(&heights[a].1).then(a.cmp(&b)));
    let mut summit: Vec<Option<usize>> = vec![None; heights.len()];
    let mut joined = Joined::new(heights.len());
    for &i in &order {
        let (v, h) = heights[i];
        let mut steepest: Option<(f64, usize)> = None;
        let mut touching = Vec::new();
        for w in topology.neighbours(mesh, v) {
            let Some((j, top)) = place(w).and_then(|j| summit[j].map(|top| (j, top))) else { continue };
            let slope = (heights[j].1 - h) / (mesh.vertex(w) - mesh.vertex(v)).norm().max(1e-9);
            if steepest.is_none_or(|(s, _)| slope > s) {
                steepest = Some((slope, top));
            }
            touching.push(joined.root(top));
        }
        summit[i] = Some(steepest.map_or(i, |(_, top)| top));
        touching.sort_by(|&a, &b| heights[b].1.total_cmp(&heights[a].1).then(a.cmp(&b)));
        touching.dedup();
        let Some((&highest, lower)) = touching.split_first() else { continue };
        for &other in lower.iter().filter(|&&o| heights[o].1 - h < saddle_mm) {
            joined.put(other, highest);
        }
    }
    summit.iter().enumerate().map(|(i, top)| heights[joined.root(top.unwrap_or(i))].0).collect()
}

/// Where the level crosses an edge: the edge, and the position.
type Crossing = (u32, Point);

/// The line around a vertex on which a field is zero, and what it encloses.
#[derive(Clone, Debug, PartialEq)]
pub struct LevelLine {
    /// The line, closed, first position not repeated.
    pub outline: Vec<Point>,
    /// Whether it is closed by a step across a border of the scan.
    pub cut: bool,
    /// Triangles most of which lie inside, ascending.
    pub faces: Vec<FaceId>,
    /// Area inside, mm2.
    pub area_mm2: f64,
}

/// Traces the zero line of `value`, positive inside, around the vertex `inside`. `None` where there is no line.
pub fn level_line(
    mesh: &Mesh,
    topology: &Topology,
    inside: VertexId,
    value: &dyn Fn(VertexId) -> f64,
) -> Option<LevelLine> {
    let mut seen = std::collections::BTreeSet::new();
    let mut stack: Vec<FaceId> = topology.faces_of_vertex(inside).to_vec();
    seen.extend(stack.iter().copied());
    let (mut faces, mut area_mm2) = (Vec::new(), 0.0);
    let mut links: BTreeMap<u32, (Point, Vec<u32>)> = BTreeMap::new();
    while let Some(f) = stack.pop() {
        let corners = mesh.faces()[f as usize];
        let values = corners.map(value);
        if values.iter().filter(|v| **v > 0.0).count() >= 2 {
            faces.push(f);
        }
        area_mm2 += area_above(&mesh.corners(f), &values);
        let edges = topology.edges_of_face(f);
        let mut crossings: Vec<Crossing> = Vec::new();
        for k in 0..3 {
            let (a, b) = (values[k], values[(k + 1) % 3]);
            if a.max(b) > 0.0 {
                for &g in topology.faces_of_edge(edges[k]) {
                    if seen.insert(g) {
                        stack.push(g);
                    }
                }
            }
            if (a > 0.0) != (b > 0.0) {
                // From the lower end, so that both triangles at an edge give the same position to the last bit.
                let [lo, hi] = topology.edges()[edges[k] as usize].ends;
                let (vl, vh) = (value(lo), value(hi));
                let at = mesh.vertex(lo) + (mesh.vertex(hi) - mesh.vertex(lo)) * (vl / (vl - vh));
                crossings.push((edges[k], at));
            }
        }
        if let [a, b] = crossings[..] {
            links.entry(a.0).or_insert((a.1, Vec::new())).1.push(b.0);
            links.entry(b.0).or_insert((b.1, Vec::new())).1.push(a.0);
        }
    }
    faces.sort_unstable();
    let (outline, cut) = longest_chain(&links)?;
    Some(LevelLine { outline, cut, faces, area_mm2 })
}

/// Area of the part of a triangle where the linear field through its corners is positive, mm2.
fn area_above(p: &[Point; 3], values: &[f64; 3]) -> f64 {
    let mut polygon: Vec<Point> = Vec::with_capacity(4);
    for k in 0..3 {
        let (a, b) = (values[k], values[(k + 1) % 3]);
        if a > 0.0 {
            polygon.push(p[k]);
        }
        if (a > 0.0) != (b > 0.0) {
            polygon.push(p[k] + (p[(k + 1) % 3] - p[k]) * (a / (a - b)));
        }
    }
    let Some(first) = polygon.first() else { return 0.0 };
    polygon.windows(2).skip(1).map(|w| 0.5 * (w[0] - first).cross(&(w[1] - first)).norm()).sum()
}

/// The longest chain of linked crossings: closed, or open where it ends at a border of the scan.
fn longest_chain(links: &BTreeMap<u32, (Point, Vec<u32>)>) -> Option<(Vec<Point>, bool)> {
    let mut seen = std::collections::BTreeSet::new();
    let mut best: Option<(f64, Vec<Point>, bool)> = None;
    // Open ends first, so that an open chain is walked from its end.
    let starts = links
        .iter()
        .filter(|(_, l)| l.1.len() == 1)
        .chain(links.iter().filter(|(_, l)| l.1.len() != 1))
        .map(|(e, l)| (*e, l.1.len() == 1));
    for (start, open) in starts {
        if !seen.insert(start) {
            continue;
        }
        let (mut chain, mut at) = (Vec::new(), start);
        while let Some((place, next)) = links.get(&at) {
            chain.push(*place);
            match next.iter().find(|n| !seen.contains(n)) {
                Some(&n) => {
                    seen.insert(n);
                    at = n;
                }
                None => break,
            }
        }
        let length: f64 = chain.windows(2).map(|w| (w[1] - w[0]).norm()).sum();
        if chain.len() > 2 && best.as_ref().is_none_or(|b| length > b.0) {
            best = Some((length, chain, open));
        }
    }
    best.map(|(_, chain, open)| (chain, open))
}

fn mean_normal(mesh: &Mesh, faces: &[FaceId]) -> Vector {
    faces.iter().fold(Vector::zeros(), |s, &f| s + mesh.doubled_area_normal(f))
}

/// Longest chord of a closed curve and its extent across that chord, square to `normal`, mm.
pub(super) fn extents(outline: &[Point], normal: &Vector) -> (f64, f64) {
    let mut longest = (0.0, Vector::zeros());
    for (i, a) in outline.iter().enumerate() {
        for b in &outline[i + 1..] {
            let d = (b - a).norm_squared();
            if d > longest.0 {
                longest = (d, b - a);
            }
        }
    }
    let side = normal.cross(&longest.1);
    let width = if side.norm() > 0.0 {
        let side = side / side.norm();
        let (lo, hi) = outline.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), p| {
            let t = p.coords.dot(&side);
            (lo.min(t), hi.max(t))
        });
        hi - lo
    } else {
        0.0
    };
    (longest.0.sqrt(), width)
}
