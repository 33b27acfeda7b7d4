//! Quantity: the rigid motion that lays one scan onto another (registration), with its residual.
//!
//! Definition: the rotation and translation under which the places of the moving surface lie nearest to the fixed one:
//! least weighted sum of `((p - q) . n)^2`, `q` the closest point of the fixed surface to the moved place `p`, `n` the
//! normal there. A residual is that distance to the tangent plane, mm.
//!
//! Frame and units: the motion takes positions of the moving file to positions of the fixed one, mm.
//!
//! Method and its error: closest points, point to plane, in rounds, with the weights of Tukey's biweight
//! (common practice of robust fitting: places farther off than 4.7 times the spread count nothing), so that what has
//! changed between the scans moves the rest by less than the residual. A place whose closest point lies on the border of
//! the fixed surface has no counterpart and does not count. Where no start is given, pairs of oriented places that lie
//! alike in both surfaces propose poses ([`coarse`]); the best are refined. The standard uncertainty at a place follows
//! from the normal equations and the residual, each patch of 2 mm counting as one observation, since neighbouring places of
//! a scan err together.
//!
//! Not covered: scans that differ in scale or are bent against each other (a scan of a whole arch bends by about 0.1 mm,
//! which stands in the trueness of the scan, not here); surfaces that slide on themselves (a sphere, a plane), which are
//! refused.
//!
//! Checked by: `tests.rs` here (solids in closed form, moved, noised, cut in half, another shape) and
//! `examples/accept_compare.rs` (300 poses of synthetic casts, other people, real scans in place).

mod coarse;
mod equations;
mod patches;
mod rounds;
#[cfg(test)]
mod tests;

use crate::anatomy::base;
use crate::estimate::{Measured, NotMeasured};
use crate::locate::Surface;
use crate::mesh::{Mesh, Topology, VertexId};
use crate::space::{Motion, Point, Vector};
use crate::units::{self, Unit};

pub use coarse::{Rough, coarse};
use equations::Solved;
use patches::cell_of;
use rounds::{Fit, Pairing};

/// Most places that a registration reads: more add nothing that the scans' own errors do not swallow.
const MOST_PLACES: usize = 6000;
/// Starts that are refined before the best is chosen.
const STARTS: usize = 6;
/// Places on which these are compared.
const TRIAL_PLACES: usize = 900;
/// Patch within which the errors of a scan go together, mm.
const PATCH_MM: f64 = 2.0;

/// A place of the moving surface with its outward normal.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// Position in the axes of the moving file, mm.
    pub at: Point,
    /// Unit normal.
    pub normal: Vector,
}

/// When two surfaces are taken for the same.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Agreement {
    /// Distance within which a place agrees with the other surface, mm.
    pub within_mm: f64,
    /// Least share of the places with a counterpart that must agree, 0 to 1.
    pub least_share: f64,
    /// Least share of all places that must have a counterpart and agree with it, 0 to 1.
    pub least_of_all_share: f64,
}

/// A fixed surface, ready to be registered to.
#[derive(Debug)]
pub struct Target<'a> {
    /// The surface.
    pub surface: &'a Surface,
    normals: Vec<Vector>,
    /// Of each triangle, which of its sides is a border.
    rim: Vec<[bool; 3]>,
    /// Which vertices lie on a border: a triangle without border sides may have such a corner.
    on_rim: Vec<bool>,
}

impl<'a> Target<'a> {
    /// Prepares the fixed surface.
    pub fn new(surface: &'a Surface) -> Target<'a> {
        let mesh = surface.mesh();
        let topology = Topology::new(mesh);
        let border = |edge: u32| topology.edges()[edge as usize].faces < 2;
        let rim = (0..mesh.faces().len() as u32).map(|f| topology.edges_of_face(f).map(border)).collect();
        let mut on_rim = vec![false; mesh.vertices().len()];
        let borders = topology.edges().iter().filter(|e| e.faces < 2);
        borders.flat_map(|e| e.ends).for_each(|v| on_rim[v as usize] = true);
        Target { surface, normals: mesh.vertex_normals().to_vec(), rim, on_rim }
    }
}

/// What is to be registered, from where.
#[derive(Clone, Copy, Debug)]
pub struct Asked<'a> {
    /// Places of the moving surface.
    pub places: &'a [Place],
    /// The fixed surface.
    pub fixed: &'a Target<'a>,
    /// Where to start from: moving to fixed.
    pub start: Motion,
    /// How far the start may be off at a place, mm.
    pub reach_mm: f64,
    /// When they are taken for the same surface.
    pub agreement: Agreement,
}

/// A registration.
#[derive(Clone, Debug)]
pub struct Registered {
    /// Moving to fixed.
    pub motion: Motion,
    /// Root mean square of the residuals that were used, mm.
    pub rms_mm: f64,
    /// Median of the residuals (without sign) of all places with a counterpart, mm.
    pub median_mm: f64,
    /// What 95 of 100 of the residuals used do not exceed, mm.
    pub p95_mm: f64,
    /// Places used: with a counterpart, not put aside by the weights.
    pub used: usize,
    /// Places that have a counterpart: the closest point does not lie on the fixed surface's border.
    pub counterparts: usize,
    /// Share of the places with a counterpart that were used, 0 to 1.
    pub used_share: f64,
    /// Share of the places with a counterpart that agree with it, 0 to 1.
    pub agreeing_share: f64,
    /// Rounds gone.
    pub rounds: usize,
    solved: Solved,
}

impl Registered {
    /// Standard uncertainty of the motion at a place (in the fixed file's axes) along a direction of length one, mm.
    pub fn uncertainty_along_mm(&self, at: &Point, along: &Vector) -> f64 {
        self.solved.standard_along(at, along)
    }

    /// Standard uncertainty of the motion at a place, the three axes together, mm.
    pub fn uncertainty_mm(&self, at: &Point) -> f64 {
        [Vector::x(), Vector::y(), Vector::z()]
            .iter()
            .map(|e| self.uncertainty_along_mm(at, e))
            .map(|s| s * s)
            .sum::<f64>()
            .sqrt()
    }
}

/// Places spread evenly over a surface, or over some of its vertices: one vertex a cell, the one nearest to the cell's
/// middle, with cells so wide that at most `most` places come out.
pub fn places(mesh: &Mesh, normals: &[Vector], of: &[VertexId], most: usize) -> Vec<Place> {
    let usable: Vec<VertexId> = of
        .iter()
        .copied()
        .filter(|&v| normals.get(v as usize).is_some_and(|n| n.norm_squared() > 0.0))
        .collect();
    let place = |v: VertexId| Place { at: mesh.vertex(v), normal: normals[v as usize] };
    if usable.len() <= most {
        return usable.into_iter().map(place).collect();
    }
    // The number of cells goes about with the square of their width on a surface; a few trials settle it.
    let mut width = mesh.mean_edge_mm().max(1e-9);
    loop {
        let chosen = one_a_cell(mesh, &usable, width);
        if chosen.len() <= most || width > 1e9 {
            return chosen.into_iter().map(place).collect();
        }
        width *= (chosen.len() as f64 / most as f64).sqrt().clamp(1.02, 4.0);
    }
}

fn one_a_cell(mesh: &Mesh, of: &[VertexId], width: f64) -> Vec<VertexId> {
    let mut best: std::collections::BTreeMap<[i64; 3], (f64, VertexId)> = std::collections::BTreeMap::new();
    for &v in of {
        let p = mesh.vertex(v);
        let cell = cell_of(&p, width);
        let middle = Point::from(Vector::from(cell.map(|c| (c as f64 + 0.5) * width)));
        let far = (p - middle).norm_squared();
        let entry = best.entry(cell).or_insert((far, v));
        if (far, v) < *entry {
            *entry = (far, v);
        }
    }
    let mut chosen: Vec<VertexId> = best.into_values().map(|(_, v)| v).collect();
    chosen.sort_unstable();
    chosen
}

/// How far each place lies off the fixed surface under a motion, mm; those without a counterpart are left out.
pub fn residuals_mm(places: &[Place], fixed: &Target<'_>, motion: &Motion) -> Vec<f64> {
    let all = rounds::pairings(places, fixed, motion);
    all.iter().filter(|p| !p.on_rim).map(Pairing::off_mm).collect()
}

/// Registers places from a given start.
///
/// # Errors
/// Where the surfaces do not match, with the residual that was reached; where the places do not settle a motion.
pub fn register(asked: &Asked<'_>) -> Measured<Registered> {
    let found = settled(asked)?;
    let Agreement { within_mm, least_share, least_of_all_share } = asked.agreement;
    let of_all = found.agreeing_share * found.counterparts as f64 / asked.places.len().max(1) as f64;
    if found.agreeing_share < least_share || of_all < least_of_all_share {
        let part = |share: f64| units::show(100.0 * share, Unit::Count);
        return Err(NotMeasured::new(
            format!(
                "they do not match: in the best position found {} of 100 places of one have a counterpart on the other, {} \
                 of 100 of these lie within {} of it, and the median residual is {}",
                part(found.counterparts as f64 / asked.places.len().max(1) as f64),
                part(found.agreeing_share),
                units::mm(within_mm),
                units::mm(found.median_mm)
            ),
            "two scans of the same arch of the same person that have teeth in common",
        ));
    }
    Ok(found)
}

/// The registration without a judgement of its residual.
fn settled(asked: &Asked<'_>) -> Measured<Registered> {
    let schedule = rounds::Schedule { reach_mm: asked.reach_mm, least_reach_mm: 0.25, most_rounds: 80 };
    let fit = rounds::run(asked.places, asked.fixed, asked.start, &schedule).ok_or_else(|| {
        NotMeasured::only("the two surfaces have too little in common to be laid onto each other")
    })?;
    let pairings = rounds::pairings(asked.places, asked.fixed, &fit.motion);
    registered(asked, &fit, &pairings)
}

fn registered(asked: &Asked<'_>, fit: &Fit, pairings: &[Pairing]) -> Measured<Registered> {
    let counted: Vec<&Pairing> = pairings.iter().filter(|p| !p.on_rim).collect();
    let mut all: Vec<f64> = counted.iter().map(|p| p.off_mm()).collect();
    all.sort_by(f64::total_cmp);
    let mut used: Vec<(f64, Point)> =
        counted.iter().filter(|p| fit.uses(p)).map(|p| (p.residual_mm, p.at)).collect();
    let squares: f64 = used.iter().map(|(r, _)| r * r).sum();
    let mut cells: Vec<[i64; 3]> = used.iter().map(|(_, p)| cell_of(p, PATCH_MM)).collect();
    cells.sort_unstable();
    cells.dedup();
    used.sort_by(|a, b| a.0.abs().total_cmp(&b.0.abs()));
    let at = |share: f64, n: usize| ((n as f64 - 1.0) * share).round().max(0.0) as usize;
    let (Some(median), Some(p95)) = (all.get(at(0.5, all.len())), used.get(at(0.95, used.len()))) else {
        return Err(NotMeasured::only("no place of one surface has a counterpart on the other"));
    };
    if fit.slides {
        return Err(NotMeasured::new(
            "the places that both surfaces have in common do not settle how they lie to each other: they slide on \
             themselves",
            "scans that hold more of the arch in common",
        ));
    }
    let agree = all.partition_point(|r| *r <= asked.agreement.within_mm);
    let rms_mm = (squares / used.len() as f64).sqrt();
    let together = used.len() as f64 / cells.len().max(1) as f64;
    Ok(Registered {
        motion: fit.motion,
        rms_mm,
        median_mm: *median,
        p95_mm: p95.0.abs(),
        used: used.len(),
        counterparts: counted.len(),
        used_share: used.len() as f64 / counted.len() as f64,
        agreeing_share: agree as f64 / counted.len() as f64,
        rounds: fit.rounds,
        solved: fit.solved.with_variance(rms_mm * rms_mm * together.max(1.0)),
    })
}

/// Lays a moving surface, wherever and however it lies, onto a fixed one: start, refinement, judgement in one.
///
/// # Errors
/// As [`register`].
pub fn onto(moving: &Mesh, fixed: &Surface, agreement: Agreement) -> Measured<Registered> {
    let target = Target::new(fixed);
    let starts = coarse(moving, &target);
    best_of(moving, &untrimmed(moving), &target, &starts, agreement)
}

/// Vertices that lie on no flat trimmed face of a model: what a mouth has formed, not the plaster room.
pub fn untrimmed(mesh: &Mesh) -> Vec<VertexId> {
    let topology = Topology::new(mesh);
    let trimmed = base::faces(mesh, &topology);
    let mut on = vec![false; mesh.vertices().len()];
    for (corners, _) in mesh.faces().iter().zip(trimmed).filter(|(_, t)| **t) {
        corners.iter().for_each(|&v| on[v as usize] = true);
    }
    (0..mesh.vertices().len() as VertexId).filter(|&v| !on[v as usize]).collect()
}

/// The best registration of vertices of a moving surface from several starts.
///
/// # Errors
/// As [`register`].
pub fn best_of(
    moving: &Mesh,
    of: &[VertexId],
    fixed: &Target<'_>,
    starts: &[Rough],
    agreement: Agreement,
) -> Measured<Registered> {
    let normals = moving.vertex_normals();
    let few = places(moving, normals, of, TRIAL_PLACES);
    let trial = |start: &Rough| {
        let asked = Asked { places: &few, fixed, start: start.motion, reach_mm: start.off_mm, agreement };
        settled(&asked).ok().map(|r| (r.agreeing_share * r.counterparts as f64, r.motion))
    };
    let mut best: Option<(f64, Motion)> = None;
    for (agreeing, motion) in starts.iter().take(STARTS).filter_map(trial) {
        if best.is_none_or(|(most, _)| agreeing > most) {
            best = Some((agreeing, motion));
        }
    }
    let (_, start) = best.ok_or_else(|| {
        NotMeasured::new(
            "they do not match: no position was found in which the two surfaces have anything in common",
            "two scans of the same arch of the same person that have teeth in common",
        )
    })?;
    let many = places(moving, normals, of, MOST_PLACES);
    register(&Asked { places: &many, fixed, start, reach_mm: 1.0, agreement })
}
