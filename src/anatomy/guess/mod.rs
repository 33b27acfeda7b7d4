//! The best occlusal plane and the anterior direction that the shape of a cast suggests.
//!
//! Curved detail (cusps, edges, fissures) is dense on the occlusal side of the teeth and is seen from there: of many
//! directions the one that sees most of it near the top starts the search; a plane laid on the tips from above
//! refines it; a horseshoe laid over what stands out in plan, and then mirror symmetry, give the anterior direction.

pub mod features;
mod horseshoe;
pub mod level;
pub mod look;
pub mod tips;
#[cfg(test)]
mod trial;

pub use horseshoe::Laid;
pub use tips::{plane_near, plane_on_crowns, plane_through};

use super::plan::HeightMap;
use super::{KnownFrame, Origin, base, sign, symmetry};
use crate::case::Arch;
use crate::estimate::{Measured, NotMeasured};
use crate::mesh::{Mesh, Topology};
use crate::space::{Direction, Frame, Plane, Point, Vector, angle_deg};

/// Least ratio of the best horseshoe position to the second for the anterior direction to count as known.
pub const LEAST_RATIO: f64 = 1.10;

/// Least confidence for the shape to be taken for a row of teeth at all; a case may ask for more.
pub const LEAST_CONFIDENCE: f64 = 0.3;
/// How far the axis of a trimmed base leans from the occlusal direction (standard deviation along each axis of those
/// looked at), degrees.
const BASE_DEG: f64 = 4.0;
/// A tip this far under the plane belongs to no crown of the row, mm.
const LOWEST_TIP_MM: f64 = 5.0;
/// Surface down to this depth under the highest tip of a crown is looked at, mm, and the least curved detail per surface
/// of a crown.
const CROWN_DEPTH_MM: f64 = 4.0;
const LEAST_DETAIL: f64 = 0.18;
/// A surface of which one side is seen this many times better than any other faces inward.
const BLIND: f64 = 5.5;
/// From this confidence on no other side is tried.
const SURE: f64 = 0.7;

/// What stands higher than this over the occlusal plane is no tooth, mm.
const OVER_MM: f64 = 5.0;

/// What the shape gave, with the figures that its confidence is made of.
#[derive(Clone, Debug)]
pub struct Shape {
    /// From where the detail was seen.
    pub look: look::Look,
    /// The plane on the tips.
    pub refined: tips::Refined,
    /// Curved detail per surface near the horseshoe and the plane.
    pub detail: f64,
    /// How well the tips settle the plane, degrees.
    pub settled_deg: f64,
    /// Share of the curved detail that stands high over the plane.
    pub over: f64,
}

/// Frame from shape alone; `hints` are directions that something else than this surface suggests.
///
/// # Errors
/// Where nothing like a row of teeth stands out.
pub fn frame(
    mesh: &Mesh,
    topology: &Topology,
    arch: Arch,
    hints: &[level::Lean],
    least: f64,
) -> Measured<KnownFrame> {
    best(mesh, topology, arch, hints).map(|(found, _, _)| found).filter(|f| f.confidence >= least).ok_or_else(
        || {
            NotMeasured::new(
                "no row of teeth stands out on the surface that would show the occlusal plane",
                super::frame::MARK_THE_PLANE,
            )
        },
    )
}

/// The frame of greatest confidence that the shape gives, however small that is. `None` for a surface without detail.
pub fn best(mesh: &Mesh, topology: &Topology, arch: Arch, hints: &[level::Lean]) -> Option<Found> {
    let kept = features::kept_faces(mesh, topology);
    if kept.iter().any(|k| !k) {
        let (part, _) = mesh.part(|f| kept.get(f as usize).copied().unwrap_or(false));
        let topology = Topology::new(&part);
        return best_of_piece(&part, &topology, arch, hints);
    }
    best_of_piece(mesh, topology, arch, hints)
}

fn best_of_piece(mesh: &Mesh, topology: &Topology, arch: Arch, hints: &[level::Lean]) -> Option<Found> {
    let left_out = base::faces(mesh, topology);
    let axis = base::axis(mesh, left_out);
    let scene = |features: &[features::Feature]| -> (Option<Found>, bool) {
        let scene = Scene { mesh, arch, features, axis, hints };
        scene.best()
    };
    let (as_it_faces, blind) = scene(&features::of(mesh, topology, left_out, false));
    if !blind {
        return as_it_faces;
    }
    // An open sheet of which only one side is seen may face inward as a whole: the other facing is tried too, and where
    // both read as a row of teeth neither is sure.
    let (turned, _) = scene(&features::of(mesh, topology, left_out, true));
    let confidence = |f: &Option<Found>| f.as_ref().map_or(0.0, |f| f.0.confidence);
    let (mut better, worse) = if confidence(&turned) > confidence(&as_it_faces) {
        (turned, as_it_faces)
    } else {
        (as_it_faces, turned)
    };
    let doubt = confidence(&worse);
    if let Some(found) = &mut better {
        found.0.confidence *= 1.0 - doubt;
    }
    better
}

/// A frame with what it was read from.
pub type Found = (KnownFrame, Shape, Laid);

/// What a frame is read from.
struct Scene<'a> {
    mesh: &'a Mesh,
    arch: Arch,
    features: &'a [features::Feature],
    /// Axis of a trimmed base.
    axis: Option<Direction>,
    /// Directions that other things than this surface suggest.
    hints: &'a [level::Lean],
}

impl Scene<'_> {
    /// The frame of greatest confidence over all starts, and whether only one side of the surface is seen.
    fn best(&self) -> (Option<Found>, bool) {
        let weight: f64 = self.features.iter().map(|f| f.weight).sum();
        if self.features.len() < 200 || weight <= 0.0 {
            return (None, false);
        }
        let looks = look::around(self.features, self.axis, self.hints);
        let blind = looks.first().is_some_and(|l| l.seen > BLIND * l.seen_elsewhere);
        let mut held: Option<Found> = None;
        for look in looks {
            let Some(refined) = tips::refined(self.features, look.best) else { continue };
            let shape = Shape { look, refined, detail: 0.0, settled_deg: 8.0, over: 0.0 };
            let Some(found) = self.read(shape) else { continue };
            if held.as_ref().is_none_or(|h| found.0.confidence > h.0.confidence) {
                held = Some(found);
            }
            if held.as_ref().is_some_and(|h| h.0.confidence >= SURE) {
                break;
            }
        }
        (held, blind)
    }

    /// Lays the horseshoe, keeps the tips near it, lays the plane on the highest of each crown's, and turns the frame to
    /// the best symmetry.
    fn read(&self, mut shape: Shape) -> Option<Found> {
        let mut plane = shape.refined.plane;
        let mut held = None;
        for _ in 0..2 {
            let map = HeightMap::new(self.mesh, plane.normal, 1.0)?;
            let laid = horseshoe::laid(&map, &plane, &shape.refined.tips)?;
            let tips = tips::tips(self.features, &plane.normal);
            let near: Vec<Point> = tips.into_iter().filter(|p| laid.near(map.plan(p))).collect();
            if held.is_none()
                && let Some(refined) = tips::settled(near.clone(), plane.normal).filter(|r| r.spread_mm > 5.0)
            {
                plane = refined.plane;
                shape.refined = refined;
            }
            if let Some(level) = self.level(&map, &laid, &near, &plane) {
                plane = level.plane;
                shape.settled_deg = level.uncertainty_deg;
                shape.refined = tips::Refined { plane, tips: level.tips, spread_mm: level.spread_mm };
            }
            held = Some((map, laid));
        }
        let (map, laid) = held?;
        shape.detail = detail(self.features, &plane, |p| laid.near(map.plan(p)));
        shape.over = over(self.features, &plane);
        let toward =
            symmetry::best_axis(&map, &plane, &|_| None, laid.anterior, 14).map_or(laid.anterior, |b| b.0);
        let middle = symmetry::arch_middle(&map, &plane, 9.0);
        let origin = Point::from(middle.coords - plane.normal.into_inner() * plane.height_mm(&middle));
        let frame = Frame::new(origin, plane.normal, toward, self.arch == Arch::Mandible)?;
        let known = KnownFrame {
            frame,
            origin: Origin::Found,
            confidence: confidence(&shape, &laid),
            uncertainty_deg: shape.settled_deg,
            anterior_known: laid.ratio >= LEAST_RATIO,
        };
        Some((known, shape, laid))
    }

    /// The plane on the highest tip near each crown of the horseshoe, with a trimmed base as further evidence.
    fn level(&self, map: &HeightMap, laid: &Laid, near: &[Point], plane: &Plane) -> Option<level::Level> {
        let mut highest: Vec<Option<Point>> = vec![None; laid.crowns.len()];
        for p in near.iter().filter(|p| plane.height_mm(p) > -LOWEST_TIP_MM) {
            let Some(slot) = laid.crown_at(map.plan(p)).and_then(|i| highest.get_mut(i)) else { continue };
            if slot.is_none_or(|q| plane.height_mm(p) > plane.height_mm(&q)) {
                *slot = Some(*p);
            }
        }
        let detailed = self.detailed(map, laid, &highest, &plane.normal);
        let stations: Vec<level::Station> = highest
            .iter()
            .zip(detailed)
            .zip(&laid.crowns)
            .filter(|((_, detailed), _)| *detailed)
            .filter_map(|((at, _), (place, _))| {
                at.map(|at| level::Station { at, rise_mm: level::rise_mm(self.arch, *place) })
            })
            .collect();
        level::laid_loosely(&stations, plane.normal, &self.leans(&plane.normal))
    }

    /// Whether the surface under each highest tip is as curved as a crown's; a bare ridge is smooth.
    fn detailed(&self, map: &HeightMap, laid: &Laid, highest: &[Option<Point>], up: &Direction) -> Vec<bool> {
        let mut sums = vec![(0.0, 0.0); highest.len()];
        for f in self.features {
            let Some(i) = laid.crown_at(map.plan(&f.at)) else { continue };
            let Some(top) = highest.get(i).copied().flatten() else { continue };
            if (-CROWN_DEPTH_MM..1.0).contains(&(f.at - top).dot(up)) {
                sums[i].0 += f.weight;
                sums[i].1 += f.area;
            }
        }
        sums.into_iter().map(|(weight, area)| area > 0.0 && weight > LEAST_DETAIL * area).collect()
    }

    /// Directions that other things than the teeth suggest.
    fn leans(&self, up: &Direction) -> Vec<level::Lean> {
        base_lean(self.axis, up).into_iter().chain(self.hints.iter().copied()).collect()
    }
}

/// The axis of a trimmed base, turned to the occlusal side.
pub(super) fn base_lean(axis: Option<Direction>, up: &Direction) -> Option<level::Lean> {
    let axis = axis?;
    let toward = if axis.dot(up) < 0.0 { -axis } else { axis };
    Some(level::Lean { toward, sigma_deg: BASE_DEG })
}

/// Curved detail per surface within 6 mm of the plane where `near` holds.
fn detail(features: &[features::Feature], plane: &Plane, near: impl Fn(&Point) -> bool) -> f64 {
    let (mut weight, mut area) = (0.0, 0.0);
    for f in features {
        if plane.height_mm(&f.at).abs() < 6.0 && near(&f.at) {
            weight += f.weight;
            area += f.area;
        }
    }
    if area > 0.0 { weight / area } else { 0.0 }
}

/// Share of the curved detail that stands more than `OVER_MM` over a plane.
fn over(features: &[features::Feature], plane: &Plane) -> f64 {
    let (mut high, mut all) = (0.0, 0.0);
    for f in features {
        all += f.weight;
        high += if plane.height_mm(&f.at) > OVER_MM { f.weight } else { 0.0 };
    }
    if all > 0.0 { high / all } else { 0.0 }
}

/// 0 to 1: each sign of a row of teeth must be there.
fn confidence(shape: &Shape, laid: &Laid) -> f64 {
    let signs = [
        sign(shape.refined.tips.len() as f64, 3.0, 7.0),
        sign(shape.refined.spread_mm, 2.0, 4.5),
        sign(-shape.settled_deg, -6.0, -3.0),
        sign(shape.look.seen / shape.look.seen_elsewhere.max(1e-9), 0.7, 1.05),
        sign(laid.covered, 0.5, 0.85),
        sign(shape.detail, 0.04, 0.10),
        sign(-angle_deg(&shape.look.best, &shape.refined.plane.normal), -32.0, -18.0),
        sign(laid.tips_near, 0.4, 0.7),
        // Cheek or tongue folded over the teeth, or a plane that is none.
        sign(-shape.over, -0.04, -0.01),
    ];
    signs.into_iter().product()
}

/// Anterior direction from shape in a known plane, with the ratio of the best to the second position of a horseshoe.
pub fn anterior(map: &HeightMap, plane: &Plane) -> Option<(Vector, f64)> {
    let laid = horseshoe::laid(map, plane, &[])?;
    let toward = symmetry::best_axis(map, plane, &|_| None, laid.anterior, 14).map_or(laid.anterior, |b| b.0);
    Some((toward, laid.ratio))
}
