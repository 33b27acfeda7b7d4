//! Quantity: a rest's gap to its seat, and its thickness over the marginal ridge.
//!
//! Rest: a rigid extension of a partial denture that contacts the occlusal, incisal, cingulum, or lingual surface of a
//! tooth (Glossary of Prosthodontic Terms, ninth edition).
//!
//! Definition: the *gap* is the median distance of the rest's fitting surface from the tooth within 1 mm, in the plan across
//! the path, of the seat's deepest place. From that place to half a millimetre before the crown's end toward which the rest
//! leaves (where nothing is found there, back over the seat) it is looked at in lines across, 0.1 mm apart; a line is as
//! thick as the greatest inscribed ball that touches its fitting surface within 0.8 mm of the middle. The *thickness over
//! the marginal ridge* is that of the thinnest line.
//!
//! Method and its error: the gap at the vertices of the fitting surface; the thickness where rays along the path from places
//! of the tooth 0.2 mm apart meet it. A rest's rounded sides are no thinness, its arched middle is what bears; metal that
//! is thin right across is found.
//!
//! Checked by: `tests/framework.rs` on generated frameworks with rests of known gap and thickness.

use super::thickness::{self, Thick};
use super::{Cast, Framework, Near, median, normal_at};
use crate::case::{RestPlace, Tooth};
use crate::measure::tooth_axes::ToothAxes;
use crate::space::{Direction, Point, Vector};

/// Radius about the seat's deepest place within which the gap is read, mm.
const GAP_MM: f64 = 1.0;
/// Places across the strip in which the thickness over the marginal ridge is read, mm from its middle.
const ACROSS_MM: [f64; 9] = [-0.8, -0.6, -0.4, -0.2, 0.0, 0.2, 0.4, 0.6, 0.8];
/// So far before the crown's end it ends: there the metal goes down between the crowns, mm.
const END_MM: f64 = 0.5;
/// So far back over the seat it is read where nothing is found beyond the deepest place, mm.
const SEAT_MM: f64 = 1.5;
/// Lines across it, mm apart.
const APART_MM: f64 = 0.1;
/// The tooth under it is sought from so far above and below the seat, mm.
const UPRIGHT_MM: f64 = 3.0;
/// A fitting surface is sought from so far inside the tooth, mm.
const INSIDE_MM: f64 = 0.3;
/// Metal farther from the tooth than this is no rest, mm.
const FAR_MM: f64 = 1.5;
/// Cosine of the lean of the cast's normal from the path up to which a place lies in a seat: 65 degrees.
const FLOOR: f64 = 0.42;
/// Ball over ray from which both walls face each other.
const FACING: f64 = 0.8;
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
    let to_end = (half - seat_from_middle - END_MM).max(0.3);
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
    let one = |x: f64| {
        let places = ACROSS_MM.iter().map(|y| asked.seat + toward * x + across * *y);
        let thick = places.filter_map(|p| over(framework, cast, &p, asked));
        thick.max_by(|a, b| a.0.sphere_mm.total_cmp(&b.0.sphere_mm))
    };
    let least = |steps: usize, sense: f64| {
        let lines = (0..=steps).filter_map(|k| one(sense * APART_MM * k as f64));
        lines.min_by(|a, b| a.0.sphere_mm.total_cmp(&b.0.sphere_mm))
    };
    // A seat that lies against the next crown has no ridge beyond its deepest place: the seat itself is read.
    let thinnest =
        least((to_end / APART_MM) as usize, 1.0).or_else(|| least((SEAT_MM / APART_MM) as usize, -1.0));
    let middle =
        gaps.iter().min_by(|a, b| (a.1 - asked.seat).norm().total_cmp(&(b.1 - asked.seat).norm()))?.1;
    Some(RestFound {
        gap_mm: median(gaps.iter().map(|g| g.0).collect())?,
        least_gap_mm: gaps.iter().map(|g| g.0).fold(f64::INFINITY, f64::min),
        thickness_mm: thinnest.map(|t| t.0.sphere_mm),
        ray_mm: thinnest.map(|t| t.0.ray_mm),
        thinnest_at: thinnest.map(|t| t.1),
        at: middle,
    })
}

/// Thickness of the metal over a place of the tooth, and where it begins; `None` where none lies there, or only a rounded
/// edge, in which the ball is smaller than the metal is thick.
fn over(framework: &Framework, cast: &Cast<'_>, p: &Point, asked: &RestAsked<'_>) -> Option<(Thick, Point)> {
    let d = asked.d.into_inner();
    let foot = cast.surface.cast(&(p + d * UPRIGHT_MM), &-*asked.d, 2.0 * UPRIGHT_MM)?;
    let floor = normal_at(cast.surface.mesh(), cast.normals, foot.face, &foot.at);
    if floor.dot(&d) <= FLOOR || ![0, asked.tooth.number()].contains(&cast.tooth_at(foot.face)) {
        return None;
    }
    let hit =
        framework.surface.cast_facing(&(foot.at - d * INSIDE_MM), asked.d, FAR_MM + INSIDE_MM, false)?;
    let inward =
        crate::space::direction(-normal_at(framework.mesh(), &framework.normals, hit.face, &hit.at))?;
    let thick = thickness::at(framework, &hit.at, &inward)?;
    (thick.sphere_mm >= FACING * thick.ray_mm).then_some((thick, hit.at))
}
