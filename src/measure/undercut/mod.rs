//! Quantity: undercut and its depth.
//!
//! The portion of a surface below the height of contour for a path (Glossary of Prosthodontic Terms, ninth edition:
//! "undercut"), and how far a gauge beside the rod must reach to touch it.
//!
//! Definition: `d` is the withdrawal direction, from the tissue to the occlusal side; a point of the cast has the place
//! `(x, y)` in the plan across `d` and the height `h` along it. `H(x, y)` is the greatest height of any part of the
//! cast over a place. A point is undercut where `H > h`; its depth is the least distance in the plan to a place where
//! `H <= h` or that lies outside the cast's outer border: how far a vertical rod must be moved aside to be free of
//! everything that stands above the point. A hole inside the scan frees nothing: it gets a lid for `H`.
//!
//! Frame and units: mm; the direction in the file's own axes, of length one.
//!
//! Method and its error: exact on the triangles given, to about 1e-6 mm; the chord error of the triangles against the
//! surface they stand for comes on top (edge squared over eight times the radius). The border of what stands above a
//! height consists of projected contour edges above it and of the surface's section at it, where nothing else covers
//! them; the nearest such place is searched through blocks of cells that know in which bands of height they can bound
//! anything. Facing of the triangles does not matter. A wall along `d` is free (depth 0).
//!
//! Not covered: surface that the scanner did not see. Scanner software closes deep undercuts by invented surface.
//!
//! Checked by: closed forms (spheres, cones, cylinders, tori, barrels on plates and in a row, leaning walls), a march
//! over all triangles on random overhanging surfaces, and a foreign ray caster (`tests/reference`).

mod border;
mod cover;
mod crossing;
mod grid;
mod holes;
mod need;
mod rims;
mod search;
mod shell;
mod standing;
#[cfg(test)]
mod tests;

use crate::mesh::made_once;
use crate::mesh::{FaceId, Mesh, Topology, VertexId};
use crate::space::{Direction, Point};
use cover::Plan;
use holes::Hole;
use need::Need;
use rayon::prelude::*;
use search::{Nearest, Search, Searched, Todo};
use shell::Shell;
use std::sync::OnceLock;

/// What stands less than this above a point is taken to be at its height, mm: rounding of nearly level surfaces.
const LEVEL_MM: f64 = 1e-6;
/// A depth under this is that of a wall along the direction, mm: it is free.
const FREE_MM: f64 = 1e-5;
/// Turn between two triangles from which their edge is sharp, degrees: more than a rounded crown of the smallest radius
/// (1 mm) shows at the coarsest usual edges (0.4 mm).
const SHARP_DEG: f64 = 30.0;
/// Vertices searched one after the other, each from its predecessor's answer. Fixed, so that the number of threads
/// does not change the order of arithmetic.
const CHUNK: usize = 512;

/// A list made by asking for each of its places; the places are shared out among the threads.
fn filled<T: Default + Clone + Send>(n: usize, ask: impl Fn(usize) -> T + Sync) -> Vec<T> {
    const AT_ONCE: usize = 8192;
    let mut list = vec![T::default(); n];
    list.par_chunks_mut(AT_ONCE).enumerate().for_each(|(chunk, part)| {
        for (i, slot) in part.iter_mut().enumerate() {
            *slot = ask(chunk * AT_ONCE + i);
        }
    });
    list
}

/// A cast prepared for surveying in any direction.
#[derive(Debug)]
pub struct Surveyor {
    /// With lids on the holes.
    closed: Shell,
    /// As scanned, where there are holes.
    scanned: Option<Shell>,
    holes: Vec<Hole>,
    vertices: usize,
}

/// Undercut depth of every vertex for one withdrawal direction.
#[derive(Clone, Debug, PartialEq)]
pub struct UndercutField {
    /// The withdrawal direction.
    pub direction: Direction,
    /// Depth of each vertex, mm; 0 = free, `None` = not measured (no triangle there).
    pub depth_mm: Vec<Option<f64>>,
    /// Whether the depth of the vertex depends on the closing of a hole in the scan.
    pub closed_hole: Vec<bool>,
}

/// Undercut depth at one point.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DepthAt {
    /// Depth, mm; 0 = free.
    pub depth_mm: f64,
    /// The nearest place, at the height of the point, where a rod is free; `None` where the point itself is free.
    pub free_at: Option<Point>,
    /// How far above the point the part stands that the rod would touch there, mm; 0 where it stands on the surface at
    /// the point's own height; `None` where the point itself is free.
    pub touches_above_mm: Option<f64>,
    /// Whether it would touch a sharp edge or a border there rather than a rounded bulge.
    pub touches_sharp: bool,
    /// Whether it depends on the closing of a hole in the scan.
    pub closed_hole: bool,
}

/// A cast set up in one direction: asks flags, depths and heights.
#[derive(Debug)]
pub struct TiltedCast<'s> {
    direction: Direction,
    surveyor: &'s Surveyor,
    closed: Set<'s>,
    scanned: OnceLock<Option<Set<'s>>>,
    holes: Vec<TurnedHole>,
}

/// A plan, and what its search needs once somebody asks for a depth.
#[derive(Debug)]
struct Set<'s> {
    plan: Plan<'s>,
    search: OnceLock<Search>,
}

/// A hole seen in one direction.
#[derive(Debug)]
struct TurnedHole {
    rim: Vec<[f64; 2]>,
    low: [f64; 2],
    high: [f64; 2],
    top: f64,
    width: f64,
    /// The missing surface stood steeply, so that it may have stood out over what lies below.
    steep: bool,
}

impl Surveyor {
    /// Prepares a cast.
    pub fn new(mesh: &Mesh, topology: &Topology) -> Surveyor {
        let vertices = mesh.vertices().len();
        match holes::close(mesh, topology) {
            None => Surveyor { closed: Shell::new(mesh, topology), scanned: None, holes: vec![], vertices },
            Some(c) => Surveyor {
                closed: Shell::new(&c.mesh, &Topology::new(&c.mesh)),
                scanned: Some(Shell::new(mesh, topology)),
                holes: c.holes,
                vertices,
            },
        }
    }

    /// Number of holes that were closed.
    pub fn closed_holes(&self) -> usize {
        self.holes.len()
    }

    /// Sets the cast up in a direction.
    pub fn tilted(&self, direction: &Direction) -> TiltedCast<'_> {
        let closed = Set::new(&self.closed, direction);
        let holes = self.holes.iter().map(|h| closed.plan.turned_hole(h)).collect();
        TiltedCast { direction: *direction, surveyor: self, scanned: OnceLock::new(), closed, holes }
    }

    /// Depth of every vertex.
    pub fn field(&self, direction: &Direction) -> UndercutField {
        self.tilted(direction).field()
    }

    /// Depth at a point of triangle `face`.
    pub fn depth_at(&self, direction: &Direction, at: &Point, face: FaceId) -> DepthAt {
        self.tilted(direction).depth_at(at, face)
    }
}

impl TiltedCast<'_> {
    /// The withdrawal direction.
    pub fn direction(&self) -> Direction {
        self.direction
    }

    /// Whether each vertex is undercut; `None` where no triangle meets it. Told without the depth, so that a vertex on
    /// a contour edge may be flagged whose depth is zero.
    pub fn flags(&self) -> Vec<Option<bool>> {
        let plan = &self.closed.plan;
        let here: Vec<Option<bool>> = (0..plan.standing.len()).map(|v| plan.undercut(v)).collect();
        self.in_file_order(&here, None)
    }

    /// Depth of every vertex.
    pub fn field(&self) -> UndercutField {
        let plan = &self.closed.plan;
        let n = plan.shell.points.len();
        let search = Search::new(plan, &Need::undercut(plan));
        let searched = Searched { plan, search: &search };
        let found: Vec<(Option<f64>, bool)> = (0..n.div_ceil(CHUNK))
            .into_par_iter()
            .flat_map_iter(|chunk| {
                self.chunk(&searched, chunk * CHUNK..n.min((chunk + 1) * CHUNK), &|_| true)
            })
            .collect();
        self.field_from(&found)
    }

    fn field_from(&self, found: &[(Option<f64>, bool)]) -> UndercutField {
        let depth: Vec<Option<f64>> = found.iter().map(|f| f.0).collect();
        let closed: Vec<bool> = found.iter().map(|f| f.1).collect();
        UndercutField {
            direction: self.direction,
            depth_mm: self.in_file_order(&depth, None),
            closed_hole: self.in_file_order(&closed, false),
        }
    }

    /// Depth of the vertices asked for, and of those that are free; `None` for the others. What was prepared for it
    /// serves [`TiltedCast::depth_at`] too, so that both together take less time than [`TiltedCast::field`] and it.
    pub fn field_of(&self, asked: &[bool]) -> UndercutField {
        let plan = &self.closed.plan;
        let n = plan.shell.points.len();
        let search = made_once(&self.closed.search, || Search::new(plan, &Need::all(plan)));
        let searched = Searched { plan, search };
        let wanted = |v: usize| {
            let from = plan.shell.vertex_from.get(v).map_or(usize::MAX, |&f| f as usize);
            asked.get(from) == Some(&true) || plan.undercut(v) != Some(true)
        };
        let found: Vec<(Option<f64>, bool)> = (0..n.div_ceil(CHUNK))
            .into_par_iter()
            .flat_map_iter(|chunk| self.chunk(&searched, chunk * CHUNK..n.min((chunk + 1) * CHUNK), &wanted))
            .collect();
        self.field_from(&found)
    }

    /// Depths of some vertices, mm, in their order; 0 where free or not measured. Holes are taken as closed.
    pub fn depths_of(&self, vertices: &[VertexId]) -> Vec<f64> {
        let plan = &self.closed.plan;
        let here: Vec<Option<u32>> = vertices
            .iter()
            .map(|&v| plan.vertex_here(v).filter(|v| plan.undercut(*v as usize) == Some(true)))
            .collect();
        let (mut hint, mut todo) = (0, Todo::default());
        let search = Search::new(plan, &Need::of(plan, &here.iter().copied().flatten().collect::<Vec<_>>()));
        let searched = Searched { plan, search: &search };
        let mut order: Vec<usize> = (0..here.len()).filter(|&i| here[i].is_some()).collect();
        // Neighbours in space one after the other.
        order.sort_unstable_by_key(|&i| (here[i], i));
        let mut depths = vec![0.0; vertices.len()];
        for i in order {
            let Some(v) = here[i] else { continue };
            let found = searched.from(plan.turned.at[v as usize], hint, &mut todo);
            hint = found.cell;
            if found.distance() > FREE_MM {
                depths[i] = found.distance();
            }
        }
        depths
    }

    /// Depth at a point of triangle `face`.
    pub fn depth_at(&self, at: &Point, face: FaceId) -> DepthAt {
        let plan = &self.closed.plan;
        let own = plan.shell.face_here.get(face as usize).copied();
        let p = plan.turned_place(at);
        let found = self.closed.nearest(p, own);
        let depth_mm = found.map_or(0.0, |n| n.distance());
        DepthAt {
            depth_mm,
            free_at: found.map(|n| plan.file_place([n.at[0], n.at[1], p[2]])),
            touches_above_mm: found.map(|n| (n.edge_height - p[2] - LEVEL_MM).max(0.0)),
            touches_sharp: found.and_then(|n| n.rim).is_some_and(|r| plan.sharp(r)),
            closed_hole: self.depends_on_hole(p, depth_mm, |set| {
                let own = set.plan.shell.face_here.get(face as usize).copied();
                set.nearest(p, own).map_or(0.0, |n| n.distance())
            }),
        }
    }

    /// Greatest height along the direction of what stands over the place of `p`, mm above `p`; `None` where nothing
    /// does.
    pub fn highest_above_mm(&self, p: &Point) -> Option<f64> {
        let q = self.closed.plan.turned_place(p);
        self.closed.plan.highest([q[0], q[1]]).map(|h| h - q[2])
    }

    fn in_file_order<T: Copy>(&self, here: &[T], none: T) -> Vec<T> {
        let mut out = vec![none; self.surveyor.vertices];
        for (value, &v) in here.iter().zip(&self.closed.plan.shell.vertex_from) {
            // The hub of a lid is no vertex of the file.
            if let Some(slot) = out.get_mut(v as usize) {
                *slot = *value;
            }
        }
        out
    }

    fn chunk(
        &self,
        searched: &Searched<'_>,
        vertices: std::ops::Range<usize>,
        wanted: &dyn Fn(usize) -> bool,
    ) -> Vec<(Option<f64>, bool)> {
        let plan = searched.plan;
        let (mut hint, mut todo) = (0, Todo::default());
        vertices
            .map(|v| {
                if !wanted(v) {
                    return (None, false);
                }
                let p = plan.turned.at[v];
                let Some(undercut) = plan.undercut(v) else { return (None, false) };
                let depth = if undercut {
                    let found = searched.from(p, hint, &mut todo);
                    hint = found.cell;
                    if found.distance() > FREE_MM { found.distance() } else { 0.0 }
                } else {
                    0.0
                };
                let depends = self.depends_on_hole(p, depth, |set| {
                    let Some(&from) = plan.shell.vertex_from.get(v) else { return depth };
                    set.plan.vertex_here(from).map_or(depth, |w| {
                        let under = set.plan.undercut(w as usize) == Some(true);
                        let found = under.then(|| set.search(p, 0, &mut Todo::default()).distance());
                        found.filter(|d| *d > FREE_MM).unwrap_or(0.0)
                    })
                });
                (Some(depth), depends)
            })
            .collect()
    }

    /// Whether a depth depends on the closing of holes: it is another without the lids, or the point lies below the top
    /// of a steep hole and so near it that the missing surface may have stood out over it.
    fn depends_on_hole(&self, p: [f64; 3], depth: f64, without: impl Fn(&Set<'_>) -> f64) -> bool {
        if self.holes.is_empty() {
            return false;
        }
        let near = |margin: &dyn Fn(&TurnedHole) -> f64| {
            self.holes.iter().any(|h| p[2] < h.top && h.within([p[0], p[1]], margin(h)))
        };
        if near(&|h| if h.steep { h.width / 2.0 } else { -1.0 }) {
            return true;
        }
        depth > 0.0
            && near(&|_| depth)
            && self.scanned().is_some_and(|scanned| (without(scanned) - depth).abs() > LEVEL_MM)
    }

    /// The cast without lids, where it has holes.
    fn scanned(&self) -> Option<&Set<'_>> {
        let make = || self.surveyor.scanned.as_ref().map(|shell| Set::new(shell, &self.direction));
        made_once(&self.scanned, make).as_ref()
    }
}

impl TurnedHole {
    /// Whether a place lies within `margin` of the hole's border in the plan, or of its box where that is far away.
    fn within(&self, q: [f64; 2], margin: f64) -> bool {
        if margin < 0.0 || (0..2).any(|k| q[k] < self.low[k] - margin || q[k] > self.high[k] + margin) {
            return false;
        }
        let inside_box = (0..2).all(|k| q[k] >= self.low[k] && q[k] <= self.high[k]);
        inside_box
            || self
                .rim
                .iter()
                .any(|p| crate::space::hypot(p[0] - q[0], p[1] - q[1]) <= margin + self.width / 8.0)
    }
}

impl<'s> Set<'s> {
    fn new(shell: &'s Shell, direction: &Direction) -> Set<'s> {
        Set { plan: Plan::new(shell, direction), search: OnceLock::new() }
    }

    fn search(&self, p: [f64; 3], hint: usize, todo: &mut Todo) -> Nearest {
        let search = made_once(&self.search, || Search::new(&self.plan, &Need::all(&self.plan)));
        Searched { plan: &self.plan, search }.from(p, hint, todo)
    }

    /// The nearest free place for a point of triangle `own`; `None` where the point itself is free.
    fn nearest(&self, p: [f64; 3], own: Option<u32>) -> Option<Nearest> {
        let (q, level) = ([p[0], p[1]], p[2] + LEVEL_MM);
        let cell = self.plan.grid.frame.cell_of(q);
        // One layer alone is the point's own.
        let under = !self.plan.grid.single[cell] && self.plan.anything_above(q, level, own);
        under.then(|| self.search(p, cell, &mut Todo::default())).filter(|n| n.distance() > FREE_MM)
    }
}

impl Plan<'_> {
    /// Whether the two triangles at a contour edge meet in a sharp edge, or it is a border.
    fn sharp(&self, rim: u32) -> bool {
        let Some(meet) = self.turned.rims.get(rim as usize).and_then(|r| r.meet) else { return true };
        let [a, b] = meet.map(|f| {
            let [p, q, r] = self.shell.faces[f as usize].map(|v| Point::from(self.shell.points[v as usize]));
            (q - p).cross(&(r - p))
        });
        let turn = crate::space::angle_deg(&a, &b);
        // Where the facings disagree the normals are opposed on a smooth surface.
        turn.min(180.0 - turn) > SHARP_DEG
    }

    /// Plan place and height of a position of the file.
    fn turned_place(&self, p: &Point) -> [f64; 3] {
        let v = p - self.shell.centre;
        self.turned.axes.map(|a| a.dot(&v))
    }

    /// Position in the file of a plan place and height.
    fn file_place(&self, p: [f64; 3]) -> Point {
        let [u, v, d] = self.turned.axes;
        self.shell.centre + u * p[0] + v * p[1] + d * p[2]
    }

    fn vertex_here(&self, v: VertexId) -> Option<u32> {
        self.shell.vertex_here.get(v as usize).copied()
    }

    fn turned_hole(&self, hole: &Hole) -> TurnedHole {
        let rim: Vec<[f64; 3]> = hole.rim.iter().map(|p| self.turned_place(p)).collect();
        let bound =
            |k: usize, pick: fn(f64, f64) -> f64, from: f64| rim.iter().map(|p| p[k]).fold(from, pick);
        TurnedHole {
            low: [bound(0, f64::min, f64::INFINITY), bound(1, f64::min, f64::INFINITY)],
            high: [bound(0, f64::max, f64::NEG_INFINITY), bound(1, f64::max, f64::NEG_INFINITY)],
            top: bound(2, f64::max, f64::NEG_INFINITY),
            width: hole.width_mm,
            steep: hole.normal.dot(&self.turned.axes[2]).abs() < STEEP_HOLE,
            rim: rim.iter().map(|p| [p[0], p[1]]).collect(),
        }
    }
}

/// A hole whose lid leans more than this (cosine) may have held surface that stood out over what lies below; a flatter
/// one is roofed by its lid in any case.
const STEEP_HOLE: f64 = 0.85;
