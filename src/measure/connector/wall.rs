//! The lingual wall in one section: followed from the margin down to where it turns into the floor or the scan ends.

use std::collections::BTreeMap;

use super::arch::Station;
use super::{TorusOnWall, Wall, WallEnd};
use crate::estimate::{Measured, NotMeasured};
use crate::locate::Surface;
use crate::mesh::{FaceId, Topology};
use crate::space::{Direction, Plane, Point, direction};

/// Chord over which lengths are summed, mm.
const CHORD_MM: f64 = 0.25;
/// Greatest distance of a margin from the section of the surface, mm.
const OFF_MM: f64 = 2.0;
/// Rise behind the deepest place that makes it the sulcus, mm.
const RISE_MM: f64 = 0.5;
/// A wall that falls less than this over that length has turned into the floor: sine of 20 degrees; length, mm.
const FLAT: (f64, f64) = (0.342, 2.0);
/// Depth that a wall has at least before it may turn into the floor, mm: the gingiva below the margin may be flat.
const LEAST_MM: f64 = 2.0;
/// Half the thickness of the slab about a section in which the triangles that it cuts are looked for, mm.
const SLAB_MM: f64 = 0.01;
/// Length followed at most, mm.
const MOST_MM: f64 = 30.0;

/// A section to be cut.
pub(super) struct Cut<'a> {
    pub station: Station,
    pub up: Direction,
    pub margin: Point,
    pub torus_of: &'a [Option<usize>],
    /// Whether it begins on a crest, whence both sides fall: the lingual one is meant.
    pub from_crest: bool,
}

/// A place of the section and the triangle that leads to it from the place before.
type Step = (Point, FaceId);

impl Cut<'_> {
    /// The wall below the margin.
    ///
    /// # Errors
    /// Where the section does not meet the surface at the margin.
    pub fn wall(&self, surface: &Surface, topology: &Topology) -> Measured<Wall> {
        let off = || {
            NotMeasured::new(
                "the gingival margin does not lie on the scan there",
                "marks of the margin on the scan itself",
            )
        };
        let closest = surface.closest(&self.margin).filter(|c| c.distance_mm <= OFF_MM).ok_or_else(off)?;
        let chain = self.chain(surface, topology, &closest.at).ok_or_else(off)?;
        Ok(self.followed(&chain))
    }

    fn side(&self, p: &Point) -> f64 {
        (p - self.station.at).dot(&self.station.along)
    }

    /// The section from the margin downwards.
    fn chain(&self, surface: &Surface, topology: &Topology, margin: &Point) -> Option<Vec<Step>> {
        let mesh = surface.mesh();
        let normal = direction(self.station.along)?.into_inner();
        let slab = [normal, -normal]
            .map(|n| Plane { point: self.station.at + n * SLAB_MM, normal: Direction::new_unchecked(n) });
        let near = |p: &Point| (p - self.station.at).norm_squared() < 40.0 * 40.0;
        let mut links: BTreeMap<u32, (Point, Vec<(u32, FaceId)>)> = BTreeMap::new();
        let mut start: Option<(f64, u32, u32, FaceId, Point)> = None;
        for f in surface.faces_within(&slab) {
            let corners = mesh.faces()[f as usize];
            let sides = corners.map(|v| self.side(&mesh.vertex(v)));
            let above = sides.map(|s| s > 0.0);
            if (above[0] == above[1] && above[1] == above[2]) || !near(&mesh.vertex(corners[0])) {
                continue;
            }
            let edges = topology.edges_of_face(f);
            let mut cut: Vec<(u32, Point)> = Vec::with_capacity(2);
            for k in (0..3).filter(|&k| above[k] != above[(k + 1) % 3]) {
                let [a, b] = topology.edges()[edges[k] as usize].ends;
                let (da, db) = (self.side(&mesh.vertex(a)), self.side(&mesh.vertex(b)));
                cut.push((edges[k], mesh.vertex(a) + (mesh.vertex(b) - mesh.vertex(a)) * (da / (da - db))));
            }
            let [(e, p), (g, q)] = cut[..] else { continue };
            links.entry(e).or_insert((p, Vec::new())).1.push((g, f));
            links.entry(g).or_insert((q, Vec::new())).1.push((e, f));
            let foot = nearest_on_segment(margin, &p, &q);
            let far = (foot - margin).norm();
            if far <= OFF_MM && start.is_none_or(|s| far < s.0) {
                start = Some((far, e, g, f, foot));
            }
        }
        let (_, e, g, face, foot) = start?;
        let ways = [e, g].map(|edge| walked(&links, edge, face, foot));
        let height = |way: &[Step]| {
            let mut run = 0.0;
            for w in way.windows(2) {
                run += (w[1].0 - w[0].0).norm();
                if run > LEAST_MM {
                    return w[1].0.coords.dot(&self.up);
                }
            }
            way.last().map_or(f64::INFINITY, |s| s.0.coords.dot(&self.up))
        };
        let [a, b] = ways;
        if self.from_crest {
            let inward = |way: &[Step]| {
                let aside = |p: &Point| (p - margin).dot(&self.station.lingual);
                way.iter().find(|s| aside(&s.0).abs() > LEAST_MM).map_or(0.0, |s| aside(&s.0))
            };
            return Some(if inward(&a) >= inward(&b) { a } else { b });
        }
        Some(if height(&a) <= height(&b) { a } else { b })
    }

    /// Depth, tori and end of a section.
    fn followed(&self, chain: &[Step]) -> Wall {
        let places = spaced(chain);
        let height = |i: usize| places[i].0.coords.dot(&self.up);
        let mut along = vec![0.0];
        for w in places.windows(2) {
            along.push(along[along.len() - 1] + (w[1].0 - w[0].0).norm());
        }
        let on_torus = |i: usize| self.torus_of.get(places[i].1 as usize).copied().flatten();
        let (mut last, mut end) = (places.len() - 1, WallEnd::ScanBorder);
        let mut deepest = 0;
        for i in 1..places.len() {
            if height(i) < height(deepest) {
                deepest = i;
            }
            let rises = height(i) > height(deepest) + RISE_MM && on_torus(i).is_none();
            if rises && along[deepest] > LEAST_MM || along[i] > MOST_MM {
                (last, end) = (deepest, WallEnd::Floor);
                break;
            }
            let ahead = (i..places.len()).find(|&j| along[j] - along[i] >= FLAT.1);
            let flat = ahead.is_some_and(|j| {
                height(i) - height(j) < FLAT.0 * (along[j] - along[i])
                    && (i..=j).all(|k| on_torus(k).is_none())
            });
            if flat && along[i] > LEAST_MM {
                (last, end) = (elbow(&places, &along, i), WallEnd::Floor);
                break;
            }
        }
        let mut tori: Vec<TorusOnWall> = Vec::new();
        for i in 1..=last {
            let Some(torus) = on_torus(i) else { continue };
            match tori.last_mut() {
                Some(t) if t.torus == torus && along[i - 1] - t.to_mm < 2.0 * CHORD_MM => t.to_mm = along[i],
                _ => tori.push(TorusOnWall { torus, from_mm: along[i - 1], to_mm: along[i] }),
            }
        }
        Wall {
            along_mm: along[last],
            vertical_mm: height(0) - height(last),
            end,
            tori,
            line: places[..=last].iter().map(|p| p.0).collect(),
        }
    }
}

/// The place around `i` where the section turns most: farthest from the chord over the stretch before and behind.
fn elbow(places: &[Step], along: &[f64], i: usize) -> usize {
    let before = (0..=i).find(|&k| along[i] - along[k] <= FLAT.1).unwrap_or(i);
    let behind = (i..places.len()).find(|&k| along[k] - along[i] >= FLAT.1).unwrap_or(places.len() - 1);
    let off = |k: usize| {
        (places[k].0 - nearest_on_segment(&places[k].0, &places[before].0, &places[behind].0)).norm()
    };
    (before..=behind).fold(i, |best, k| if off(k) > off(best) { k } else { best })
}

/// The section walked from `foot` in triangle `face` over `edge` to its end, or back to the start.
fn walked(
    links: &BTreeMap<u32, (Point, Vec<(u32, FaceId)>)>,
    edge: u32,
    face: FaceId,
    foot: Point,
) -> Vec<Step> {
    let mut way = vec![(foot, face)];
    let (mut at, mut through, mut run) = (edge, face, 0.0);
    while let Some((place, next)) = links.get(&at) {
        run += way.last().map_or(0.0, |w| (place - w.0).norm());
        way.push((*place, through));
        let Some(&(to, f)) = next.iter().find(|(_, f)| *f != through) else { break };
        if f == face || run > 2.0 * MOST_MM {
            break;
        }
        (at, through) = (to, f);
    }
    way
}

/// Places of a section about a chord apart, the first and the last kept.
fn spaced(chain: &[Step]) -> Vec<Step> {
    let mut kept: Vec<Step> = Vec::new();
    for (i, step) in chain.iter().enumerate() {
        let Some(last) = kept.last() else {
            kept.push(*step);
            continue;
        };
        let mut from = last.0;
        // A long step is cut into chords, so that floor and torus are seen at their place.
        let whole = (step.0 - from).norm();
        let parts = (whole / CHORD_MM).floor();
        if whole >= CHORD_MM && parts > 1.0 {
            let by = (step.0 - from) / parts;
            for _ in 1..parts as usize {
                from += by;
                kept.push((from, step.1));
            }
            kept.push(*step);
        } else if whole >= CHORD_MM || i + 1 == chain.len() {
            kept.push(*step);
        }
    }
    kept
}

fn nearest_on_segment(p: &Point, a: &Point, b: &Point) -> Point {
    let along = b - a;
    let length2 = along.norm_squared();
    let t = if length2 > 0.0 { ((p - a).dot(&along) / length2).clamp(0.0, 1.0) } else { 0.0 };
    a + along * t
}
