//! Starts without any mark: the two surfaces may lie anywhere, in any pose, and share a part only.
//!
//! Places that stand out (cusps, edges, grooves) are chosen on both. A pair of them on one surface, told by its distance,
//! the turns of its normals and how hollow the surface is at either, proposes a pose for each pair of the other that is
//! alike. Poses are ranked by how many of the places come to lie on the other surface, the best refined by a few rounds.

use rayon::prelude::*;

use super::patches::{Field, Patch, patches, salient};
use super::rounds::{self, Schedule};
use super::{Place, Target};
use crate::anatomy::base;
use crate::mesh::{Mesh, Topology};
use crate::space::{Motion, Point, Vector};
use nalgebra::{Rotation3, Translation3, UnitQuaternion};

/// Patches wanted of the fixed surface.
const PATCHES: f64 = 5000.0;
/// Places that stand out, of each surface.
const SALIENT: usize = 360;
/// Pairs of the moving surface that propose poses.
const PAIRS: usize = 2400;
/// Poses that a pair proposes at most, the most alike.
const POSES_A_PAIR: usize = 60;
/// Nearest and farthest distance of a pair, spacings.
const PAIR_REACH: [f64; 2] = [9.0, 55.0];
/// Places on which all poses are ranked first.
const FIRST: usize = 72;
/// Poses that are ranked on all places.
const SECOND: usize = 4000;
/// Poses that are refined.
const REFINED: usize = 40;
/// Places on which they are refined.
const THIN: usize = 500;
/// Starts that are handed back.
const GIVEN: usize = 8;

/// A start.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rough {
    /// Moving to fixed.
    pub motion: Motion,
    /// How far it may be off at a place, mm.
    pub off_mm: f64,
}

impl Rough {
    /// A start that is known within `off_mm`.
    pub fn within(motion: Motion, off_mm: f64) -> Rough {
        Rough { motion, off_mm }
    }
}

/// Starts for laying `moving` onto `fixed`, the most promising first. Flat trimmed faces of a base are left out: two
/// models of one mouth are trimmed apart. Empty where nothing alike was found.
pub fn coarse(moving: &Mesh, fixed: &Target<'_>) -> Vec<Rough> {
    let still = fixed.surface.mesh();
    let trimmed = [still, moving].map(|m| base::faces(m, &Topology::new(m)).to_vec());
    let area = |m: &Mesh, t: &[bool]| -> f64 {
        (0..m.faces().len() as u32).filter(|f| !t[*f as usize]).map(|f| m.face_area_mm2(f)).sum()
    };
    let spacing = (area(still, &trimmed[0]) / PATCHES).sqrt();
    if !(spacing.is_finite() && spacing > 0.0) {
        return Vec::new();
    }
    let [of_fixed, of_moving] =
        [(still, &trimmed[0]), (moving, &trimmed[1])].map(|(m, t)| patches(m, &|f| !t[f as usize], spacing));
    let Some(field) = Field::new(&of_fixed, spacing) else { return Vec::new() };
    let there = salient(&of_fixed, spacing, SALIENT);
    let here = salient(&of_moving, spacing, SALIENT);
    let ranked = Ranked { here: &here, patches: &of_fixed, field: &field, spacing };
    let poses = ranked.best(&proposed(&here, &there, spacing));
    refined(&of_moving, fixed, &poses, spacing)
}

/// A pair of oriented places, as far as it can be told in any pose.
#[derive(Clone, Copy, Debug)]
struct Told {
    ends: [u32; 2],
    /// Distance, spacings.
    apart: f64,
    /// Cosines: normal of each end to the line, and the two normals.
    turns: [f64; 3],
}

fn told(all: &[Patch], i: usize, j: usize, spacing: f64) -> Option<Told> {
    let (a, b) = (&all[i], &all[j]);
    let line = b.at - a.at;
    let length = line.norm();
    let apart = length / spacing;
    if !(PAIR_REACH[0]..PAIR_REACH[1]).contains(&apart) {
        return None;
    }
    let turns = [a.normal.dot(&line) / length, b.normal.dot(&line) / length, a.normal.dot(&b.normal)];
    Some(Told { ends: [i as u32, j as u32], apart, turns })
}

/// How unlike two pairs are; `None` where too much.
fn unlike(p: &Told, q: &Told, here: &[Patch], there: &[Patch]) -> Option<f64> {
    let mut sum = (p.apart - q.apart).abs() / 1.2;
    if sum > 1.0 {
        return None;
    }
    for k in 0..3 {
        let off = (p.turns[k] - q.turns[k]).abs() / 0.28;
        if off > 1.0 {
            return None;
        }
        sum += off;
    }
    for k in 0..2 {
        let (a, b) = (&here[p.ends[k] as usize], &there[q.ends[k] as usize]);
        for r in 0..2 {
            let off = (a.hollow[r] - b.hollow[r]).abs() / 0.1;
            if off > 1.0 {
                return None;
            }
            sum += off;
        }
    }
    Some(sum)
}

/// Poses that pairs alike propose.
fn proposed(here: &[Patch], there: &[Patch], spacing: f64) -> Vec<Motion> {
    let mut bins: Vec<Vec<Told>> = vec![Vec::new(); PAIR_REACH[1] as usize + 3];
    for i in 0..there.len() {
        for j in (0..there.len()).filter(|&j| j != i) {
            if let Some(t) = told(there, i, j, spacing) {
                bins[t.apart as usize + 1].push(t);
            }
        }
    }
    let of_pair = |p: &Told| -> Vec<Motion> {
        let at = p.apart as usize + 1;
        let mut alike: Vec<(f64, &Told)> = bins[at - 1..=at + 1]
            .iter()
            .flatten()
            .filter_map(|q| Some((unlike(p, q, here, there)?, q)))
            .collect();
        alike.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.ends.cmp(&b.1.ends)));
        alike.truncate(POSES_A_PAIR);
        alike.iter().filter_map(|(_, q)| pose(here, there, p, q)).collect()
    };
    pairs(here, spacing).par_iter().flat_map_iter(of_pair).collect()
}

/// Pairs of the moving surface, spread over all that there are.
fn pairs(here: &[Patch], spacing: f64) -> Vec<Told> {
    let mut all = Vec::new();
    for i in 0..here.len() {
        all.extend((0..i).filter_map(|j| told(here, i, j, spacing)));
    }
    if all.len() <= PAIRS {
        return all;
    }
    (0..PAIRS).map(|k| all[k * all.len() / PAIRS]).collect()
}

/// The pose that lays one pair onto the other.
fn pose(here: &[Patch], there: &[Patch], p: &Told, q: &Told) -> Option<Motion> {
    let (from, middle) = axes(here, p)?;
    let (to, other) = axes(there, q)?;
    let turn = UnitQuaternion::from_rotation_matrix(&(to * from.inverse()));
    let shift = other - (turn * middle.coords);
    Some(Motion::from_parts(Translation3::from(shift.coords), turn))
}

fn axes(all: &[Patch], t: &Told) -> Option<(Rotation3<f64>, Point)> {
    let [a, b] = t.ends.map(|i| &all[i as usize]);
    let x = (b.at - a.at).try_normalize(1e-9)?;
    let up = a.normal + b.normal;
    let y = (up - x * up.dot(&x)).try_normalize(0.3)?;
    let columns = [x, y, x.cross(&y)];
    let rotation = Rotation3::from_matrix_unchecked(nalgebra::Matrix3::from_columns(&columns));
    Some((rotation, a.at + (b.at - a.at) / 2.0))
}

/// Poses, ranked by how the places that stand out come to lie.
struct Ranked<'a> {
    here: &'a [Patch],
    patches: &'a [Patch],
    field: &'a Field,
    spacing: f64,
}

impl Ranked<'_> {
    /// The best poses that differ from each other.
    fn best(&self, poses: &[Motion]) -> Vec<Motion> {
        let stride = (self.here.len() / FIRST).max(1);
        let mut first = self.ordered(poses, stride);
        first.truncate(SECOND);
        let kept: Vec<Motion> = first.iter().map(|&i| poses[i]).collect();
        let mut chosen: Vec<Motion> = Vec::new();
        for i in self.ordered(&kept, 1) {
            if chosen.iter().all(|m| self.differ(m, &kept[i])) {
                chosen.push(kept[i]);
                if chosen.len() == REFINED {
                    break;
                }
            }
        }
        chosen
    }

    /// Numbers of the poses, best first, by every `stride`-th place.
    fn ordered(&self, poses: &[Motion], stride: usize) -> Vec<usize> {
        let scores: Vec<f64> = poses.par_iter().map(|m| self.score(m, stride)).collect();
        let mut order: Vec<usize> = (0..poses.len()).collect();
        order.sort_by(|&a, &b| scores[b].total_cmp(&scores[a]).then(a.cmp(&b)));
        order
    }

    fn score(&self, motion: &Motion, stride: usize) -> f64 {
        let one = |p: &Patch| {
            let at = motion * p.at;
            let q = &self.patches[self.field.near(&at)?];
            let facing = q.normal.dot(&(motion.rotation * p.normal));
            let off = (at - q.at).dot(&q.normal) / (2.0 * self.spacing);
            let hollow = (p.hollow[1] - q.hollow[1]).abs() / 0.15;
            (facing > 0.5 && off.abs() < 1.0).then(|| (1.0 - off * off) * (1.0 - hollow).max(0.0))
        };
        self.here.iter().step_by(stride).filter_map(one).sum()
    }

    /// Whether two poses lay the surface more than three spacings apart on the average.
    fn differ(&self, a: &Motion, b: &Motion) -> bool {
        let probes: Vec<&Patch> = self.here.iter().step_by((self.here.len() / 16).max(1)).collect();
        let sum: f64 = probes.iter().map(|p| (a * p.at - b * p.at).norm()).sum();
        sum > 3.0 * self.spacing * probes.len() as f64
    }
}

/// The poses after a few rounds each, the best first.
fn refined(moving: &[Patch], fixed: &Target<'_>, poses: &[Motion], spacing: f64) -> Vec<Rough> {
    let stride = moving.len().div_ceil(THIN).max(1);
    let thin: Vec<Place> =
        moving.iter().step_by(stride).map(|p| Place { at: p.at, normal: p.normal }).collect();
    let how = Schedule { reach_mm: 5.0 * spacing, least_reach_mm: spacing, most_rounds: 16 };
    let one = |start: &Motion| {
        let fit = rounds::run(&thin, fixed, *start, &how)?;
        let near = |off: f64| (1.0 - (off / (0.5 * spacing)) * (off / (0.5 * spacing))).max(0.0);
        let score: f64 = rounds::pairings(&thin, fixed, &fit.motion)
            .iter()
            .filter(|p| !p.on_rim)
            .map(|p| near(p.off_mm()))
            .sum();
        Some((score, fit.motion))
    };
    let mut all: Vec<(f64, Motion)> = poses.par_iter().filter_map(one).collect();
    all.sort_by(|a, b| b.0.total_cmp(&a.0));
    let probe = |m: &Motion| -> Vec<Vector> { thin.iter().step_by(40).map(|p| (m * p.at).coords).collect() };
    let mut given: Vec<Rough> = Vec::new();
    for (_, motion) in all {
        let here = probe(&motion);
        let same = |r: &Rough| probe(&r.motion).iter().zip(&here).all(|(a, b)| (a - b).norm() < spacing);
        if !given.iter().any(same) {
            given.push(Rough::within(motion, 2.0 * spacing));
            if given.len() == GIVEN {
                break;
            }
        }
    }
    given
}
