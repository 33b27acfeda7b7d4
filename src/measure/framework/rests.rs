//! Quantity: a rest's gap to its seat, and its thickness over the marginal ridge.
//!
//! Rest: a rigid extension of a partial denture that contacts the occlusal, incisal, cingulum, or lingual surface of a
//! tooth (Glossary of Prosthodontic Terms, ninth edition).
//!
//! Definition: the *gap* is the median distance of the rest's fitting surface from the tooth within 1 mm, in the plan across
//! the path, of the seat's deepest place. Over every place of the crown under the rest stands the greatest ball in the metal
//! whose middle lies over that place. The *thickness over the marginal ridge* is the diameter of the greatest ball that can
//! be led through the metal, from where it leaves the crown (beside a border, in no nick of it: a third of what lies within
//! 0.3 mm is off the crown), so far that it has swept half of the rest's plan: whatever half of the rest bears goes through there. An inner end that is rounded off or runs out is no thinness.
//!
//! Method and its error: the gap at the vertices of the fitting surface; the balls by exact distances to the triangles, from
//! places of the tooth 0.1 mm apart, so that they are too small by the chords of the facets. A rest's rounded sides
//! are no thinness, its arched middle is what bears; metal that is thin right across is found, wherever the seat is deepest
//! and whichever way the rest leaves.
//!
//! Checked by: a bar on a block that is thinner in its middle, below; `tests/framework.rs` on generated frameworks.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::{Cast, Framework, Near, median, normal_at, thickness};
use crate::case::{RestPlace, Tooth};
use crate::measure::joined::Joined;
use crate::measure::tooth_axes::ToothAxes;
use crate::mesh::FaceId;
use crate::space::{Direction, Point, Vector};

/// Radius about the seat's deepest place within which the gap is read, mm.
const GAP_MM: f64 = 1.0;
/// Lines across a rest, mm apart, and places on them, mm apart.
const APART_MM: f64 = 0.1;
const ACROSS_MM: f64 = 0.1;
/// Places of a line to both sides, and those within which the metal of the next line goes on.
const ACROSS: i32 = 30;
const BESIDE: i32 = 8;
/// A rest leaves where this share of the places within so many is off the crown, as along a straight border: in a nick of the
/// border, which its triangles have, it does not.
const NICK: i32 = 3;
const OFF_SHARE: f64 = 1.0 / 3.0;
/// So far beyond the crown's end it is looked where the metal leaves, mm.
const BEYOND_MM: f64 = 1.0;
/// Share of its plan that a ball has to sweep.
const SWEPT: f64 = 0.5;
/// So far back over the seat it is looked at at the least, mm.
const SEAT_MM: f64 = 1.5;
/// The tooth under it is sought from so far above and below the seat, mm.
const UPRIGHT_MM: f64 = 3.0;
/// A fitting surface is sought from so far inside the tooth, mm.
const INSIDE_MM: f64 = 0.3;
/// Metal farther from the tooth than this is no rest, mm.
const FAR_MM: f64 = 1.5;
/// Metal thicker than this along the path is no rest's, mm.
const THROUGH_MM: f64 = 8.0;
/// Cosine of the lean of the cast's normal from the path up to which a place lies in a seat: 65 degrees.
const FLOOR: f64 = 0.42;
/// Least number of places for a figure.
const LEAST: usize = 4;

/// A rest to look at.
#[derive(Clone, Copy, Debug)]
pub struct RestAsked<'a> {
    /// Its tooth.
    pub tooth: Tooth,
    /// Where on it.
    pub place: RestPlace,
    /// The seat's deepest place, mm.
    pub seat: Point,
    /// Axes of the crown.
    pub axes: &'a ToothAxes,
    /// The path.
    pub d: &'a Direction,
}

/// A rest of the framework.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RestFound {
    /// Median gap, mm; negative inside the tooth.
    pub gap_mm: f64,
    /// Least distance, mm.
    pub least_gap_mm: f64,
    /// Thickness over the marginal ridge by the ball, mm; `None` where no place of the rest lies there.
    pub thickness_mm: Option<f64>,
    /// The same by the ray, mm.
    pub ray_mm: Option<f64>,
    /// Where it is thinnest, mm.
    pub thinnest_at: Option<Point>,
    /// A place of the rest, mm.
    pub at: Point,
}

/// Reads the rest at a place; `None` where no metal lies there.
pub fn read(
    framework: &Framework,
    cast: &Cast<'_>,
    near: &[Option<Near>],
    asked: &RestAsked<'_>,
) -> Option<RestFound> {
    let d = asked.d.into_inner();
    let flat = |v: Vector| v - d * v.dot(&d);
    let toward = match asked.place {
        RestPlace::Mesial => flat(asked.axes.mesial).try_normalize(1e-9),
        RestPlace::Distal => flat(-asked.axes.mesial).try_normalize(1e-9),
        // A rest on a cingulum or an edge leaves toward the tongue.
        RestPlace::Cingulum | RestPlace::Incisal => flat(-asked.axes.buccal).try_normalize(1e-9),
    }?;
    let across = d.cross(&toward);
    let half = match asked.place {
        RestPlace::Mesial | RestPlace::Distal => asked.axes.half_mm[0],
        RestPlace::Cingulum | RestPlace::Incisal => asked.axes.half_mm[1],
    };
    let seat_from_middle = (asked.seat - asked.axes.centre).dot(&toward);
    let mut gaps: Vec<(f64, Point)> = Vec::new();
    for (v, n) in near.iter().enumerate() {
        let Some(n) = n.filter(|n| n.fitting && n.signed_mm.abs() <= FAR_MM && n.normal.dot(&d) > FLOOR)
        else {
            continue;
        };
        let p = framework.mesh().vertex(v as u32);
        let way = n.at - asked.seat;
        let (x, y) = (way.dot(&toward), way.dot(&across));
        if way.dot(&d).abs() > 3.0 {
            continue;
        }
        if crate::space::hypot(x, y) <= GAP_MM {
            gaps.push((n.signed_mm, p));
        }
    }
    if gaps.len() < LEAST {
        return None;
    }
    let lines = Lines { framework, cast, asked, toward, across };
    let thinnest = lines.thinnest(seat_from_middle, half);
    let middle =
        gaps.iter().min_by(|a, b| (a.1 - asked.seat).norm().total_cmp(&(b.1 - asked.seat).norm()))?.1;
    Some(RestFound {
        gap_mm: median(gaps.iter().map(|g| g.0).collect())?,
        least_gap_mm: gaps.iter().map(|g| g.0).fold(f64::INFINITY, f64::min),
        thickness_mm: thinnest.map(|t| t.ball_mm),
        ray_mm: thinnest.map(|t| t.metal.through_mm),
        thinnest_at: thinnest.map(|t| t.metal.at),
        at: middle,
    })
}

/// A rest as lines across it.
struct Lines<'a, 'c> {
    framework: &'a Framework,
    cast: &'a Cast<'c>,
    asked: &'a RestAsked<'a>,
    /// Toward the crown's end to which it leaves, and across, both square to the path.
    toward: Vector,
    across: Vector,
}

/// Metal over a place of the tooth.
#[derive(Clone, Copy, Debug)]
struct Metal {
    /// Where it begins, mm.
    at: Point,
    /// The way through it along the path, mm.
    through_mm: f64,
}

/// A place over which metal stands.
#[derive(Clone, Copy, Debug)]
struct Passed {
    /// The line, and the place on it.
    at: [i32; 2],
    metal: Metal,
    /// Greatest ball over it, a diameter, mm.
    ball_mm: f64,
    /// Whether the metal goes on beside it, off the crown.
    leaves: bool,
}

/// What stands over a place.
enum Over {
    /// Metal over the crown.
    Crown(Metal),
    /// Metal beside the crown, or on its walls.
    Beside,
    /// Nothing.
    Nothing,
}

impl Lines<'_, '_> {
    /// Where the greatest ball that sweeps half of the rest, from where that leaves the crown, comes through.
    fn thinnest(&self, seat_from_middle: f64, half: f64) -> Option<Passed> {
        let least = (-seat_from_middle.max(SEAT_MM) / APART_MM) as i32;
        let end = ((half - seat_from_middle).max(0.3) / APART_MM) as i32;
        let mut inner = 0;
        let mut beside = 0;
        for k in (least..=0).rev() {
            let Some(middle) = self.middle(k, beside) else { break };
            (inner, beside) = (k, middle);
        }
        let from = inner;
        let to = end + (BEYOND_MM / APART_MM) as i32;
        let wide = 2 * ACROSS + 1;
        let over: Vec<Over> = (0..(to - from + 1) * wide)
            .into_par_iter()
            .map(|i| self.over(&self.place(from + i / wide, i % wide - ACROSS)))
            .collect();
        let seen = |k: i32, j: i32| {
            let inside = (from..=to).contains(&k) && j.abs() <= ACROSS;
            inside.then(|| over.get(((k - from) * wide + j + ACROSS) as usize)).flatten()
        };
        // Metal goes on beside the crown, and that is where its border is.
        let leaves = |[k, j]: [i32; 2]| {
            let beside = beside_of([k, j]).iter().any(|n| matches!(seen(n[0], n[1]), Some(Over::Beside)));
            let all = (-NICK..=NICK).flat_map(|a| (-NICK..=NICK).map(move |b| [a, b]));
            let (mut off, mut whole) = (0, 0);
            for [a, b] in all.filter(|[a, b]| a * a + b * b <= NICK * NICK).take_while(|_| beside) {
                whole += 1;
                off += usize::from(!matches!(seen(k + a, j + b), Some(Over::Crown(_))));
            }
            beside && off as f64 >= OFF_SHARE * f64::from(whole)
        };
        let of = |i: i32| {
            let [k, j] = [from + i / wide, i % wide - ACROSS];
            let Some(&Over::Crown(metal)) = seen(k, j) else { return None };
            let ball_mm = thickness::ball_over(self.framework, &metal.at, self.asked.d, metal.through_mm)?;
            Some(Passed { at: [k, j], metal, ball_mm, leaves: leaves([k, j]) })
        };
        let places: Vec<Passed> = (0..over.len() as i32).into_par_iter().filter_map(of).collect();
        narrows(places)
    }

    fn place(&self, k: i32, j: i32) -> Point {
        let (x, y) = (APART_MM * f64::from(k), ACROSS_MM * f64::from(j));
        self.asked.seat + self.toward * x + self.across * y
    }

    /// The middle of the metal on a line that lies beside a place of it; `None` without any.
    fn middle(&self, k: i32, beside: i32) -> Option<i32> {
        let lies = |j: i32| matches!(self.over(&self.place(k, j)), Over::Crown(_));
        let first = (0..=BESIDE).flat_map(|n| [beside - n, beside + n]).find(|&j| lies(j))?;
        let low = (-ACROSS..first).rev().take_while(|&j| lies(j)).last().unwrap_or(first);
        let high = (first + 1..=ACROSS).take_while(|&j| lies(j)).last().unwrap_or(first);
        Some((low + high) / 2)
    }

    /// What stands over a place of the cast.
    fn over(&self, p: &Point) -> Over {
        let (cast, surface) = (self.cast, &self.framework.surface);
        let d = self.asked.d;
        let up = d.into_inner();
        let Some(foot) = cast.surface.cast(&(p + up * UPRIGHT_MM), &-*d, 2.0 * UPRIGHT_MM) else {
            return Over::Nothing;
        };
        let from = foot.at - up * INSIDE_MM;
        let Some(enters) = surface.cast_facing(&from, d, FAR_MM + INSIDE_MM, false) else {
            return Over::Nothing;
        };
        let floor = normal_at(cast.surface.mesh(), cast.normals, foot.face, &foot.at);
        if floor.dot(&up) <= FLOOR || self.is_of_another(foot.face, &foot.at) {
            return Over::Beside;
        }
        match surface.cast_facing(&enters.at, d, THROUGH_MM, true) {
            Some(leaves) => Over::Crown(Metal { at: enters.at, through_mm: leaves.distance_mm }),
            None => Over::Nothing,
        }
    }
}

impl Lines<'_, '_> {
    /// Whether a place is of another tooth's crown: by the corners of its triangle, each by how near the place lies to it, so that
    /// the border between two crowns runs through triangles and not along their sides.
    fn is_of_another(&self, face: FaceId, at: &Point) -> bool {
        let mesh = self.cast.surface.mesh();
        let own = [0, self.asked.tooth.number()];
        let other =
            mesh.faces()[face as usize].map(|v| !own.contains(&self.cast.anatomy.tooth_of[v as usize]));
        let [a, b, c] = mesh.corners(face);
        let n = (b - a).cross(&(c - a));
        let share = |p: &Point, q: &Point| (q - p).cross(&(at - p)).dot(&n);
        let shares = [share(&b, &c), share(&c, &a), share(&a, &b)];
        let of_other: f64 = (0..3).filter(|&k| other[k]).map(|k| shares[k]).sum();
        2.0 * of_other > shares.iter().sum::<f64>()
    }
}

fn beside_of([k, j]: [i32; 2]) -> [[i32; 2]; 4] {
    [[k - 1, j], [k + 1, j], [k, j - 1], [k, j + 1]]
}

/// The place at which the greatest ball that sweeps half of all places, from one where the metal leaves, comes through; the
/// outermost line is where it leaves if none does. `None` without such a way.
fn narrows(mut places: Vec<Passed>) -> Option<Passed> {
    places.sort_by(|a, b| b.ball_mm.total_cmp(&a.ball_mm).then(a.at.cmp(&b.at)));
    let outermost = places.iter().map(|p| p.at[0]).max()?;
    let any = places.iter().any(|p| p.leaves);
    let order: BTreeMap<[i32; 2], usize> = places.iter().enumerate().map(|(i, p)| (p.at, i)).collect();
    let mut swept = vec![false; places.len()];
    // Places taken by falling ball: groups that hang together, how many places each has swept, and whether it leaves.
    let mut groups = Joined::new(places.len());
    let mut holds: Vec<(usize, bool)> = Vec::new();
    for (own, place) in places.iter().enumerate() {
        let mut new = 0;
        for at in within(place) {
            if let Some(&i) = order.get(&at)
                && !swept[i]
            {
                swept[i] = true;
                new += 1;
            }
        }
        holds.push((new, if any { place.leaves } else { place.at[0] == outermost }));
        for near in beside_of(place.at) {
            let Some(&near) = order.get(&near).filter(|i| **i < own) else { continue };
            let near = groups.root(near);
            if near != own {
                groups.put(near, own);
                holds[own] = (holds[own].0 + holds[near].0, holds[own].1 || holds[near].1);
            }
        }
        let (count, leaves) = holds[own];
        if leaves && count as f64 >= SWEPT * places.len() as f64 {
            return Some(*place);
        }
    }
    None
}

/// Places under the ball over a place.
fn within(place: &Passed) -> impl Iterator<Item = [i32; 2]> {
    let (at, radius) = (place.at, place.ball_mm / 2.0);
    let [lines, places] = [APART_MM, ACROSS_MM].map(|mm| (radius / mm) as i32);
    let all = (-lines..=lines).flat_map(move |k| (-places..=places).map(move |j| [k, j]));
    let inside = move |[k, j]: &[i32; 2]| {
        crate::space::hypot(APART_MM * f64::from(*k), ACROSS_MM * f64::from(*j)) <= radius
    };
    all.filter(inside).map(move |[k, j]| [at[0] + k, at[1] + j])
}

#[cfg(test)]
mod tests {
    use super::super::tests::fine_box;
    use super::*;
    use crate::anatomy::Anatomy;
    use crate::estimate::NotMeasured;
    use crate::locate::Surface;
    use crate::mesh::Mesh;

    /// A crown of 8 by 8 mm, a bar 3 mm wide on it from its middle out over its mesial end, 1.4 mm thick but for a stretch of
    /// 1 mm; the end of the bar beyond the crown stands for what it leaves to.
    fn thickness_mm(thin: f64, middle_of_it: f64) -> f64 {
        let block = fine_box([-4.0, -4.0, -6.0], [4.0, 4.0, 0.0], 1.0);
        let bar = fine_box([0.0, -1.5, 0.05], [6.0, 1.5, 1.45], 0.15);
        let low = |p: &Point| {
            let off = (p.x - middle_of_it).abs();
            let left = thin + (1.4 - thin) * ((off - 0.5) / 0.4).clamp(0.0, 1.0);
            Point::new(p.x, p.y, 0.05 + (p.z - 0.05) * left / 1.4)
        };
        let bar = Mesh::new(bar.vertices().iter().map(low).collect(), bar.faces().to_vec()).unwrap();
        let (surface, normals) = (Surface::new(&block), block.vertex_normals());
        let mut anatomy = Anatomy::bare(Err(NotMeasured::only("none")), block.vertices().len());
        anatomy.tooth_of = vec![44; block.vertices().len()];
        let cast = Cast { surface: &surface, normals, anatomy: &anatomy };
        let framework = Framework::new(&bar);
        let near = cast.under(&framework);
        let d = Direction::new_normalize(Vector::z());
        let axes = ToothAxes {
            centre: Point::new(0.0, 0.0, -3.0),
            mesial: Vector::x(),
            buccal: Vector::y(),
            occlusal: d,
            half_mm: [4.0, 4.0],
        };
        let tooth = Tooth::fdi(44).unwrap();
        let seat = Point::new(3.0, 0.0, 0.0);
        let asked = RestAsked { tooth, place: RestPlace::Mesial, seat, axes: &axes, d: &d };
        let rest = read(&framework, &cast, &near, &asked).unwrap();
        assert!((rest.gap_mm - 0.05).abs() < 1e-6, "{rest:?}");
        rest.thickness_mm.unwrap()
    }

    #[test]
    fn a_rest_is_as_thick_as_where_it_is_thinnest_right_across_but_for_its_inner_end() {
        assert!((thickness_mm(1.4, 2.5) - 1.4).abs() < 0.02, "an even bar");
        assert!((thickness_mm(0.7, 2.5) - 0.7).abs() < 0.02, "thin between seat and ridge");
        assert!((thickness_mm(0.7, 3.4) - 0.7).abs() < 0.02, "thin over the ridge");
        assert!(thickness_mm(0.7, 0.3) > 1.3, "its inner end");
    }
}
