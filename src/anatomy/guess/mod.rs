//! The best occlusal plane and the anterior direction that the shape of a cast suggests.
//!
//! Curved detail (cusps, edges, fissures) is dense on the occlusal side of the teeth and is seen from there: of many
//! directions the one that sees most of it near the top starts the search; a plane laid on the tips from above
//! refines it; a horseshoe laid over what stands out in plan, and then mirror symmetry, give the anterior direction.

pub mod features;
mod horseshoe;
pub mod look;
pub mod tips;
#[cfg(test)]
mod trial;

pub use horseshoe::Laid;
pub use tips::{plane_near, plane_on_crowns, plane_through};

use super::plan::HeightMap;
use super::{KnownFrame, Origin, base, symmetry};
use crate::case::Arch;
use crate::estimate::{Measured, NotMeasured};
use crate::mesh::{Mesh, Topology};
use crate::space::{Direction, Frame, Plane, Point, Vector, angle_deg, cos, sin};

/// Least ratio of the best horseshoe position to the second for the anterior direction to count as known.
pub const LEAST_RATIO: f64 = 1.10;

/// Least confidence for the shape to be taken for a row of teeth at all; a case may ask for more.
const LEAST_CONFIDENCE: f64 = 0.3;
/// From this confidence on no other side is tried.
const SURE: f64 = 0.7;

/// What the shape gave, with the figures that its confidence is made of.
#[derive(Clone, Debug)]
pub struct Shape {
    /// From where the detail was seen.
    pub look: look::Look,
    /// The plane on the tips.
    pub refined: tips::Refined,
    /// Curved detail per surface near the horseshoe and the plane.
    pub detail: f64,
}

/// Directions evenly over the sphere.
pub(super) fn directions(count: usize) -> Vec<Direction> {
    let turn = std::f64::consts::PI * (3.0 - 5.0_f64.sqrt());
    (0..count)
        .map(|i| {
            let z = 1.0 - (2.0 * i as f64 + 1.0) / count as f64;
            let r = (1.0 - z * z).sqrt();
            let a = turn * i as f64;
            Direction::new_unchecked(Vector::new(r * cos(a), r * sin(a), z))
        })
        .collect()
}

/// Frame from shape alone.
///
/// # Errors
/// Where nothing like a row of teeth stands out.
pub fn frame(mesh: &Mesh, topology: &Topology, arch: Arch) -> Measured<KnownFrame> {
    best(mesh, topology, arch)
        .map(|(found, _, _)| found)
        .filter(|f| f.confidence >= LEAST_CONFIDENCE)
        .ok_or_else(|| {
            NotMeasured::new(
                "no row of teeth stands out on the surface that would show the occlusal plane",
                super::frame::MARK_THE_PLANE,
            )
        })
}

/// The frame of greatest confidence that the shape gives, however small that is. `None` for a surface without detail.
pub fn best(mesh: &Mesh, topology: &Topology, arch: Arch) -> Option<(KnownFrame, Shape, Laid)> {
    let left_out = base::faces(mesh, topology);
    let features = features::of(mesh, topology, &left_out);
    let weight: f64 = features.iter().map(|f| f.weight).sum();
    if features.len() < 200 || weight <= 0.0 {
        return None;
    }
    let mut held: Option<(KnownFrame, Shape, Laid)> = None;
    for look in look::around(&features) {
        let Some(refined) = tips::refined(&features, look.best) else { continue };
        let shape = Shape { look, refined, detail: 0.0 };
        let Some(found) = read(mesh, arch, &features, shape) else { continue };
        if held.as_ref().is_none_or(|h| found.0.confidence > h.0.confidence) {
            held = Some(found);
        }
        if held.as_ref().is_some_and(|h| h.0.confidence >= SURE) {
            break;
        }
    }
    held
}

/// Lays the horseshoe, keeps the tips near it, lays the plane on those, and turns the frame to the best symmetry.
fn read(
    mesh: &Mesh,
    arch: Arch,
    features: &[features::Feature],
    mut shape: Shape,
) -> Option<(KnownFrame, Shape, Laid)> {
    let plane = shape.refined.plane;
    let map = HeightMap::new(mesh, plane.normal, 1.0)?;
    let laid = horseshoe::laid(&map, &plane, &shape.refined.tips)?;
    let near: Vec<Point> =
        tips::tips(features, &plane.normal).into_iter().filter(|p| laid.near(map.plan(p))).collect();
    if let Some(refined) = tips::settled(near, plane.normal).filter(|r| r.spread_mm > 5.0) {
        shape.refined = refined;
    }
    let plane = shape.refined.plane;
    shape.detail = detail(features, &plane, |p| laid.near(map.plan(p)));
    let toward =
        symmetry::best_axis(&map, &plane, &|_| None, laid.anterior, 14).map_or(laid.anterior, |b| b.0);
    let middle = symmetry::arch_middle(&map, &plane, 9.0);
    let origin = Point::from(middle.coords - plane.normal.into_inner() * plane.height_mm(&middle));
    let frame = Frame::new(origin, plane.normal, toward, arch == Arch::Mandible)?;
    let known = KnownFrame {
        frame,
        origin: Origin::Found,
        confidence: confidence(&shape, &laid),
        uncertainty_deg: uncertainty_deg(&shape),
        anterior_known: laid.ratio >= LEAST_RATIO,
    };
    Some((known, shape, laid))
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

/// Standard uncertainty of the direction, from what was reached on labelled scans: about 2.2 degrees where tips are
/// spread over the whole arch, more where few tips or a narrow row leave it free to tip.
fn uncertainty_deg(shape: &Shape) -> f64 {
    let few = 12.0 / (shape.refined.tips.len().max(3) as f64);
    let narrow = 10.0 / shape.refined.spread_mm.max(1.0);
    (2.2 * few.max(1.0) * narrow.max(1.0)).min(8.0)
}

/// 0 to 1: each sign of a row of teeth must be there.
fn confidence(shape: &Shape, laid: &Laid) -> f64 {
    let ramp = |value: f64, from: f64, to: f64| ((value - from) / (to - from)).clamp(0.0, 1.0);
    let signs = [
        ramp(shape.refined.tips.len() as f64, 4.0, 8.0),
        ramp(shape.refined.spread_mm, 5.0, 8.0),
        ramp(shape.look.seen / shape.look.seen_elsewhere.max(1e-9), 1.0, 1.4),
        ramp(laid.covered, 0.65, 0.95),
        ramp(shape.detail, 0.04, 0.10),
        ramp(-angle_deg(&shape.look.best, &shape.refined.plane.normal), -30.0, -15.0),
        ramp(laid.tips_near, 0.4, 0.7),
    ];
    signs.into_iter().product()
}

/// Anterior direction from shape in a known plane, with the ratio of the best to the second position of a horseshoe.
pub fn anterior(map: &HeightMap, plane: &Plane) -> Option<(Vector, f64)> {
    let laid = horseshoe::laid(map, plane, &[])?;
    let toward = symmetry::best_axis(map, plane, &|_| None, laid.anterior, 14).map_or(laid.anterior, |b| b.0);
    Some((toward, laid.ratio))
}
