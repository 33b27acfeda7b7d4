//! Quantity: whether a framework lies in place on its cast as its file has it.
//!
//! Definition: rests, plates and clasp tips of a framework in place touch the cast, and little of it lies inside.
//! *Touching* are places of the fitting surface within 0.1 mm of the cast, *deep* those more than 0.1 mm inside. It lies in
//! place where at least 2 of 100 places touch and at most 12 are deep.
//!
//! Frame and units: shares of places spread evenly over the framework; the residual in mm.
//!
//! Method and its error: closest points, exact. A framework that is off by a few tenths of a millimetre may still count as in
//! place: where it strikes tells.
//!
//! Not covered: bringing a framework of other axes onto the cast. Closest points draw what is relieved onto the cast, and a
//! search for the position with the most touching and the fewest deep places ended up to 0.8 mm off on a framework with
//! known motion: a figure of such a position would be worth nothing, so it is refused.
//!
//! Checked by: a plate on waves, below; `tests/framework.rs`.

use super::{Cast, Framework};
use crate::estimate::{Measured, NotMeasured};
use crate::measure::registration::{self, Place};
use crate::space::Vector;
use crate::units::{self, Unit};

/// Distance within which a place touches, mm.
pub const TOUCHING_MM: f64 = 0.1;
/// Depth from which a place is deep inside, mm.
const DEEP_MM: f64 = 0.1;
/// Farther than this from the cast a place is neither, mm.
const FAR_MM: f64 = 8.0;
/// Least share of the places that touch, and most that are deep, for a framework in place.
const LEAST_TOUCHING: f64 = 0.02;
const MOST_DEEP: f64 = 0.12;
/// Places that are looked at.
const SAMPLE: usize = 3000;

/// How a framework lies.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Laid {
    /// Median distance of the touching places, mm.
    pub residual_mm: f64,
    /// Share of the places that touch.
    pub touching_share: f64,
    /// Share of them that lie deep inside the cast.
    pub deep_share: f64,
}

impl Laid {
    /// How much speaks for this cast, to compare two.
    pub fn points(&self) -> f64 {
        self.touching_share - self.deep_share
    }
}

/// Looks how a framework lies on a cast.
///
/// # Errors
/// Where it does not touch the cast, or lies deep inside it.
pub fn lay(framework: &Framework, cast: &Cast<'_>) -> Measured<Laid> {
    let mesh = framework.mesh();
    let all: Vec<u32> = (0..mesh.vertices().len() as u32).collect();
    let places = registration::places(mesh, &framework.normals, &all, SAMPLE);
    let (mut touching, mut deep): (Vec<f64>, usize) = (Vec::new(), 0);
    for Place { at, normal } in &places {
        let Some(near) = near(cast, at, normal) else { continue };
        if near.fitting && near.signed_mm.abs() <= TOUCHING_MM {
            touching.push(near.signed_mm.abs());
        } else if near.signed_mm < -DEEP_MM {
            deep += 1;
        }
    }
    let share = |n: usize| n as f64 / places.len().max(1) as f64;
    let laid = Laid {
        touching_share: share(touching.len()),
        deep_share: share(deep),
        residual_mm: super::median(touching).unwrap_or(0.0),
    };
    if laid.touching_share >= LEAST_TOUCHING && laid.deep_share <= MOST_DEEP {
        return Ok(laid);
    }
    let of_100 = |share: f64| units::show(100.0 * share, Unit::Count);
    Err(NotMeasured::new(
        format!(
            "as its file has it, {} of 100 places touch the cast and {} lie deeper than {} inside it",
            of_100(laid.touching_share),
            of_100(laid.deep_share),
            units::mm(DEEP_MM)
        ),
        "an export of the framework in the axes of the scan, in the same unit, and the right case",
    ))
}

fn near(cast: &Cast<'_>, at: &crate::space::Point, normal: &Vector) -> Option<super::Near> {
    cast.of(at, normal, cast.surface.closest_within(at, FAR_MM)?)
}

#[cfg(test)]
mod tests {
    use super::super::tests::fine_box;
    use super::*;
    use crate::anatomy::Anatomy;
    use crate::locate::Surface;
    use crate::mesh::Mesh;
    use crate::space::{Motion, Point, cos, sin};

    /// A block with a waved upper side.
    fn wavy(low: [f64; 3], high: [f64; 3], top: impl Fn(f64, f64) -> f64) -> Mesh {
        let flat = fine_box(low, high, 0.9);
        let out = |p: &Point| {
            let share = (p.z - low[2]) / (high[2] - low[2]);
            Point::new(p.x, p.y, p.z + share * top(p.x, p.y))
        };
        Mesh::new(flat.vertices().iter().map(out).collect(), flat.faces().to_vec()).unwrap()
    }

    fn hills(x: f64, y: f64) -> f64 {
        1.5 * sin(0.45 * x) * cos(0.3 * y) + 0.8 * cos(0.23 * x + 0.5 * y)
    }

    /// A plate that lies on the waves between 4 and 24 mm, 1.2 mm thick.
    fn plate() -> Mesh {
        let flat = fine_box([4.0, 4.0, 0.0], [24.0, 16.0, 1.2], 0.7);
        let out = |p: &Point| Point::new(p.x, p.y, p.z + hills(p.x, p.y));
        Mesh::new(flat.vertices().iter().map(out).collect(), flat.faces().to_vec()).unwrap()
    }

    fn laid(moved: &Motion) -> Measured<Laid> {
        let ground = wavy([0.0, 0.0, -6.0], [30.0, 20.0, 0.0], hills);
        let surface = Surface::new(&ground);
        let normals = ground.vertex_normals();
        let anatomy = Anatomy::bare(Err(NotMeasured::only("none")), ground.vertices().len());
        let cast = Cast { surface: &surface, normals, anatomy: &anatomy };
        lay(&Framework::new(&plate().moved(moved)), &cast)
    }

    #[test]
    fn a_plate_in_place_is_in_place() {
        let laid = laid(&Motion::identity()).unwrap();
        assert!(laid.residual_mm < 0.05 && laid.touching_share > 0.2 && laid.deep_share < 0.01, "{laid:?}");
    }

    #[test]
    fn a_plate_lifted_or_sunk_by_half_a_millimetre_is_not() {
        for way in [0.5, -0.5] {
            let reason = laid(&Motion::translation(0.0, 0.0, way)).unwrap_err();
            assert!(reason.because.contains("of 100 places touch"), "{}", reason.because);
        }
    }

    #[test]
    fn a_plate_far_away_on_nothing_alike_has_no_place() {
        let block = fine_box([0.0, 0.0, -6.0], [30.0, 20.0, 0.0], 1.0);
        let surface = Surface::new(&block);
        let normals = block.vertex_normals();
        let anatomy = Anatomy::bare(Err(NotMeasured::only("none")), block.vertices().len());
        let cast = Cast { surface: &surface, normals, anatomy: &anatomy };
        let away = Framework::new(&plate().moved(&Motion::translation(300.0, 0.0, 40.0)));
        let reason = lay(&away, &cast).unwrap_err();
        assert!(reason.because.contains("0 of 100 places touch"), "{}", reason.because);
    }
}
