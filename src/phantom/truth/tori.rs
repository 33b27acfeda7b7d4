//! Tori: summit, height over the surface without them, outline at 0.5 mm, lobes.
//!
//! Height of a place is its distance to the nearest place of the surface without any torus. Rises in contact are one
//! torus; its lobes are separate where the saddle between them lies 0.7 mm under the lower summit.
//!
//! Error: summits, heights and the points of outlines are roots of the field (1 um); a saddle is the highest way over
//! triangles of 0.4 mm, at most about 0.02 mm too low.

use super::super::cast::{Cast, Rise, gradient};
use super::super::refine::onto;
use super::near::{Shell, foot, patch};
use crate::case::{Arch, Side};
use crate::mesh::{Mesh, Topology};
use crate::space::{Point, Vector};
use rayon::prelude::*;
use std::collections::BTreeMap;

/// Height at which the outline is drawn, mm.
pub const OUTLINE_MM: f64 = 0.5;
/// Depth of a saddle under the lower summit that parts two lobes, mm.
pub const LOBE_MM: f64 = 0.7;
/// Cell of the triangles that find summits and outlines, mm.
const CELL_MM: f64 = 0.4;

/// A lobe of a torus.
#[derive(Clone, Debug, PartialEq)]
pub struct Lobe {
    /// Highest place, file position.
    pub summit: Point,
    /// Its height over the surface without tori, mm.
    pub height_mm: f64,
    /// Height of the saddle toward a higher lobe, mm; `None` for the highest.
    pub saddle_mm: Option<f64>,
}

/// A torus.
#[derive(Clone, Debug, PartialEq)]
pub struct Torus {
    /// Side of the arch; `None` on the midline.
    pub side: Option<Side>,
    /// Its lobes, the highest first.
    pub lobes: Vec<Lobe>,
    /// Points of its outline at 0.5 mm in order, file positions.
    pub outline: Vec<Point>,
    /// Whether the outline is closed: the border of the scan may cut it.
    pub closed: bool,
}

impl Torus {
    /// Longest chord of the outline, mm.
    pub fn length_mm(&self) -> f64 {
        let from = |p: &Point| self.outline.iter().map(|q| (q - p).norm()).fold(0.0, f64::max);
        self.outline.iter().map(from).fold(0.0, f64::max)
    }
}

/// The tori of a cast, from the patient's right to the left.
pub fn tori(cast: &Cast) -> Vec<Torus> {
    let mut out: Vec<Torus> = groups(cast).iter().flat_map(|g| tori_of(cast, g)).collect();
    out.sort_by(|a, b| {
        let x = |t: &Torus| t.lobes.first().map_or(0.0, |l| l.summit.x);
        x(b).total_cmp(&x(a))
    });
    out
}

fn reach(rise: &Rise) -> f64 {
    rise.half.iter().fold(0.0f64, |m, h| m.max(*h)) + rise.blend
}

/// Rises that are tori, those whose reaches overlap together.
fn groups(cast: &Cast) -> Vec<Vec<&Rise>> {
    let mut groups: Vec<Vec<&Rise>> = Vec::new();
    for rise in cast.rises.iter().filter(|r| r.torus) {
        let touches = |other: &&Rise| (other.centre - rise.centre).norm() < reach(other) + reach(rise);
        let (mut with, without): (Vec<_>, Vec<_>) = groups.into_iter().partition(|g| g.iter().any(touches));
        let mut joined: Vec<&Rise> = with.drain(..).flatten().collect();
        joined.push(rise);
        groups = without;
        groups.push(joined);
    }
    groups
}

fn tori_of(cast: &Cast, rises: &[&Rise]) -> Vec<Torus> {
    let Some(first) = rises.first() else { return Vec::new() };
    let start = cast.own(&first.centre);
    let bound = |up: f64| {
        rises.iter().fold(start, |m, r| {
            let far = cast.own(&r.centre) + Vector::repeat(up * (reach(r) + 1.0));
            if up > 0.0 { m.sup(&far) } else { m.inf(&far) }
        })
    };
    let (low, high) = (bound(-1.0), bound(1.0));
    let mesh = patch(cast, low, high, CELL_MM);
    let (free, anywhere) = (|p: &Point| cast.value_with(p, false), |_: &Point| -1.0);
    let margin = Vector::repeat(6.0);
    let rises = Rises { cast, shell: Shell::new(low - margin, high + margin, &free, &anywhere) };
    let heights: Vec<f64> = mesh.vertices().par_iter().map(|p| rises.about(p)).collect();
    let topology = Topology::new(&mesh);
    let edges: Vec<[u32; 2]> = topology.edges().iter().map(|e| e.ends).collect();
    pieces(&heights, &edges).into_iter().map(|piece| torus(&rises, &mesh, &heights, piece)).collect()
}

/// A cast and its surface without tori.
struct Rises<'a> {
    cast: &'a Cast,
    shell: Shell<'a>,
}

impl Rises<'_> {
    /// Height of a place of the cast, mm.
    fn height(&self, p: &Point) -> f64 {
        if self.cast.value_with(p, false) < 1e-9 {
            return 0.0;
        }
        self.shell.nearest(p).map_or(0.0, |q| (q - p).norm())
    }

    /// The same by the foot straight below, which may not be the nearest.
    fn about(&self, p: &Point) -> f64 {
        let free = |q: &Point| self.cast.value_with(q, false);
        if free(p) < 0.02 { 0.0 } else { (foot(&free, p, p) - p).norm() }
    }

    /// The highest place around `start` and its height.
    fn climbed(&self, start: &Point) -> (Point, f64) {
        let field = |p: &Point| self.cast.value(p);
        let mut p = onto(&field, start);
        let mut best = self.height(&p);
        let mut step = 0.4;
        while step > 2e-4 {
            let n = gradient(&field, &p);
            let Some(n) = crate::space::direction(n) else { break };
            let (u, v) = crate::space::across(&n);
            let better = [u, v, -u, -v].iter().find_map(|way| {
                let q = onto(&field, &(p + way * step));
                let h = self.height(&q);
                (h > best).then_some((q, h))
            });
            match better {
                Some((q, h)) => (p, best) = (q, h),
                None => step *= 0.5,
            }
        }
        (p, best)
    }
}

/// A connected part of the surface over the outline's height.
struct Piece {
    /// Whether each vertex belongs to it.
    member: Vec<bool>,
    /// Summits as (vertex, height of the saddle where it was joined to a higher one).
    summits: Vec<(u32, Option<f64>)>,
}

/// Vertices over the outline's height in connected pieces, each with its separate summits.
///
/// Vertices are taken from the highest down; where two hills meet, the lower one stays a lobe if it stands high enough
/// over the meeting place.
fn pieces(heights: &[f64], edges: &[[u32; 2]]) -> Vec<Piece> {
    let mut around: Vec<Vec<u32>> = vec![Vec::new(); heights.len()];
    for [a, b] in edges {
        around[*a as usize].push(*b);
        around[*b as usize].push(*a);
    }
    let mut order: Vec<u32> =
        (0..heights.len() as u32).filter(|v| heights[*v as usize] > OUTLINE_MM).collect();
    order.sort_by(|a, b| heights[*b as usize].total_cmp(&heights[*a as usize]).then(a.cmp(b)));
    let mut root: Vec<u32> = (0..heights.len() as u32).collect();
    let find = |root: &[u32], mut v: u32| {
        while root[v as usize] != v {
            v = root[v as usize];
        }
        v
    };
    let mut seen = vec![false; heights.len()];
    let mut lobes: BTreeMap<u32, Vec<(u32, Option<f64>)>> = BTreeMap::new();
    for v in order {
        seen[v as usize] = true;
        let mut hills: Vec<u32> =
            around[v as usize].iter().filter(|w| seen[**w as usize]).map(|w| find(&root, *w)).collect();
        hills.sort_by(|a, b| heights[*b as usize].total_cmp(&heights[*a as usize]).then(a.cmp(b)));
        hills.dedup();
        let Some(highest) = hills.first().copied() else {
            lobes.insert(v, vec![(v, None)]);
            continue;
        };
        root[v as usize] = highest;
        for lower in hills.into_iter().skip(1) {
            root[lower as usize] = highest;
            let saddle = heights[v as usize];
            let mut more = lobes.remove(&lower).unwrap_or_default();
            // The lower summit itself goes where it hardly stands over the saddle.
            more.retain(|(top, _)| *top != lower || heights[lower as usize] - saddle >= LOBE_MM);
            for lobe in more.iter_mut().filter(|l| l.0 == lower) {
                lobe.1 = Some(saddle);
            }
            lobes.entry(highest).or_default().extend(more);
        }
    }
    let all = lobes.into_iter().map(|(top, summits)| Piece {
        member: (0..heights.len() as u32).map(|v| seen[v as usize] && find(&root, v) == top).collect(),
        summits,
    });
    all.collect()
}

fn torus(rises: &Rises<'_>, mesh: &Mesh, heights: &[f64], piece: Piece) -> Torus {
    let mut lobes: Vec<Lobe> = piece
        .summits
        .iter()
        .map(|(v, saddle_mm)| {
            let (summit, height_mm) = rises.climbed(&mesh.vertices()[*v as usize]);
            Lobe { summit, height_mm, saddle_mm: *saddle_mm }
        })
        .collect();
    lobes.sort_by(|a, b| b.height_mm.total_cmp(&a.height_mm));
    let (outline, closed) = outline(rises, mesh, heights, &piece.member);
    let side = match (rises.cast.arch, lobes.first()) {
        (Arch::Mandible, Some(l)) => Some(if l.summit.x < 0.0 { Side::Left } else { Side::Right }),
        _ => None,
    };
    Torus { side, lobes, outline, closed }
}

/// The longest line around a piece, and whether it closes.
fn outline(rises: &Rises<'_>, mesh: &Mesh, heights: &[f64], member: &[bool]) -> (Vec<Point>, bool) {
    let mut links: BTreeMap<[u32; 2], Vec<[u32; 2]>> = BTreeMap::new();
    for corners in mesh.faces() {
        let cut: Vec<[u32; 2]> = (0..3)
            .map(|k| [corners[k], corners[(k + 1) % 3]])
            .filter(|[a, b]| {
                let over = [*a, *b].map(|v| heights[v as usize] > OUTLINE_MM);
                over[0] != over[1] && member[if over[0] { *a } else { *b } as usize]
            })
            .map(|[a, b]| [a.min(b), a.max(b)])
            .collect();
        if let [e, f] = cut[..] {
            links.entry(e).or_default().push(f);
            links.entry(f).or_default().push(e);
        }
    }
    let mut best: (Vec<[u32; 2]>, bool) = (Vec::new(), false);
    let mut walked: BTreeMap<[u32; 2], bool> = BTreeMap::new();
    // Ends of open lines first, so that none is begun in its middle.
    let ends = links.iter().filter(|(_, to)| to.len() == 1).map(|(e, _)| *e);
    for start in ends.chain(links.keys().copied()) {
        let mut line = Vec::new();
        let mut at = Some(start);
        while let Some(e) = at.filter(|e| walked.insert(*e, true).is_none()) {
            line.push(e);
            at = links[&e].iter().copied().find(|f| !walked.contains_key(f));
        }
        let closed = line.last().is_some_and(|e| line.len() > 2 && links[e].contains(&start));
        if line.len() > best.0.len() {
            best = (line, closed);
        }
    }
    let points = best.0.par_iter().map(|[a, b]| {
        let high = heights[*a as usize] > heights[*b as usize];
        let (top, foot) = if high { (*a, *b) } else { (*b, *a) };
        crossing(rises, &mesh.vertex(top), &mesh.vertex(foot))
    });
    (points.collect(), best.1)
}

/// The place between a higher and a lower one, on the surface, that is as high as the outline.
fn crossing(rises: &Rises<'_>, top: &Point, foot: &Point) -> Point {
    let field = |p: &Point| rises.cast.value(p);
    let at = |t: f64| onto(&field, &(top + (foot - top) * t));
    let over = |t: f64| rises.about(&at(t)) - OUTLINE_MM;
    let (mut lo, mut hi) = (0.0, 1.0);
    let (mut f_lo, mut f_hi) = (over(0.0), over(1.0));
    let mut held = 0;
    for _ in 0..40 {
        if f_lo.abs() < 1e-8 || f_hi.abs() < 1e-8 || hi - lo < 1e-8 {
            break;
        }
        let mid = lo + (hi - lo) * f_lo / (f_lo - f_hi);
        let f = over(mid);
        // An end that stays twice counts half, so that a bend cannot hold the secant back.
        if f > 0.0 {
            (lo, f_lo, f_hi) = (mid, f, if held > 0 { 0.5 * f_hi } else { f_hi });
            held = 1;
        } else {
            (hi, f_hi, f_lo) = (mid, f, if held < 0 { 0.5 * f_lo } else { f_lo });
            held = -1;
        }
    }
    at(if f_lo.abs() < f_hi.abs() { lo } else { hi })
}

/// A torus: the greatest height over the tissue without any, and where, file position, of the summit that belongs to
/// the rise.
pub fn torus_height(cast: &Cast, torus: &Rise) -> (f64, Point) {
    let summits: Vec<Lobe> = tori(cast).into_iter().flat_map(|t| t.lobes).collect();
    let centre = cast.own(&torus.centre);
    let far = |l: &Lobe| (l.summit - centre).norm_squared();
    summits.iter().min_by(|a, b| far(a).total_cmp(&far(b))).map_or((0.0, centre), |l| (l.height_mm, l.summit))
}
