//! What goes wrong with a scan, on request: each fault is a pure function of the mesh, its parameters and a seed.
//!
//! | fault | what it stands for |
//! |---|---|
//! | noise, warp | the spread of the camera's points; what adding picture to picture leaves over an arch |
//! | decimation | the thinning on export |
//! | holes, debris | places that were wet or never seen; saliva, powder, the tip of a glove |
//! | closed over | what the camera cannot see under the height of contour, bridged by the scanner's software |
//! | ragged border, trim | the edge of an intraoral scan; a cut by a plane |
//! | inside out, unit, pose | how the file was written |

mod border;
mod closed_over;
mod pieces;
mod surface;

use super::cast::Cast;
use super::field::Variety;
use crate::mesh::{Mesh, MeshError};
use crate::space::{Direction, Motion, Plane, Point, Vector, cos, sin};
use crate::units::LengthUnit;
use nalgebra::{Quaternion, Translation3, UnitQuaternion};

/// Where on a surface a fault may come to lie.
#[derive(Clone, Debug, PartialEq)]
pub enum Places {
    /// Anywhere.
    Anywhere,
    /// Outside of all of these balls (centre; radius, mm).
    ClearOf(Vec<(Point, f64)>),
    /// Only inside one of these balls (centre; radius, mm).
    Within(Vec<(Point, f64)>),
}

impl Places {
    /// On the tissue of a cast: clear of its crowns and their margins.
    pub fn tissue(cast: &Cast) -> Places {
        let ball = |p: &Point| cast.own(p);
        Places::ClearOf(cast.crowns.iter().map(|c| (ball(&c.bound().0), c.bound().1)).collect())
    }

    /// On the teeth of a cast.
    pub fn teeth(cast: &Cast) -> Places {
        let crowns = cast.crowns.iter().map(|c| {
            let middle = c.world([0.0, 0.0, 0.6 * c.height]);
            (cast.own(&middle), 0.5 * c.height.max(c.half_bl))
        });
        Places::Within(crowns.collect())
    }

    fn holds(&self, p: &Point) -> bool {
        let in_one = |balls: &[(Point, f64)]| balls.iter().any(|(c, r)| (p - c).norm_squared() < r * r);
        match self {
            Places::Anywhere => true,
            Places::ClearOf(balls) => !in_one(balls),
            Places::Within(balls) => in_one(balls),
        }
    }
}

/// One fault of a scan.
#[derive(Clone, Debug, PartialEq)]
pub enum Fault {
    /// Every vertex along its normal by a normally spread amount.
    Noise {
        /// Standard deviation, mm.
        sigma_mm: f64,
    },
    /// A bend of the whole scan: nothing at one end of its longest extent, growing with the square toward the other.
    Warp {
        /// Displacement at the far end, mm.
        far_end_mm: f64,
    },
    /// Fewer triangles, fewest where the surface is flat; the border stays vertex for vertex.
    Decimated {
        /// Triangles wanted. More are left where none can go without folding the surface.
        triangles: usize,
    },
    /// Round holes, each with its own clean border; fewer where no place is left.
    Holes {
        /// How many.
        count: usize,
        /// Radius, mm.
        radius_mm: f64,
        /// Where.
        places: Places,
    },
    /// Small pieces floating over the surface: closed blobs and open flakes by turns.
    Debris {
        /// How many.
        count: usize,
        /// Radius of the greatest, mm; the least is half of it.
        radius_mm: f64,
    },
    /// What is undercut deeper than a limit is bridged from there down to where the surface comes out again.
    ClosedOver {
        /// Direction from which the scanner looked: out of the tissue.
        withdrawal: Direction,
        /// Undercut left open, mm; at least [`LEAST_OPEN_MM`] is.
        deeper_than_mm: f64,
    },
    /// A border bitten away irregularly, with tongues left between.
    RaggedBorder {
        /// How far the deepest bites go in from the border, mm.
        depth_mm: f64,
    },
    /// Cut by a plane: the largest piece on the side of its normal stays.
    Trim {
        /// The plane.
        plane: Plane,
    },
    /// Every triangle turned over.
    InsideOut,
    /// Coordinates written in another unit; applied after all else.
    Unit(LengthUnit),
    /// Another place and posture, by chance.
    Pose {
        /// Greatest turn about an axis by chance, degrees; 180 is any posture.
        turn_deg: f64,
        /// Greatest displacement along each axis, mm.
        shift_mm: f64,
    },
}

/// Undercut depth, mm, below which nothing is closed over: what the search by cells of 0.1 mm tells from a wall that is
/// merely steep.
pub const LEAST_OPEN_MM: f64 = closed_over::LEAST_OPEN_MM;

/// Why a scan cannot be given the faults asked for.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FaultError {
    /// A size is negative or no number.
    #[error("{what} of a fault is {value}; give a length of 0 mm or more")]
    BadSize {
        /// Which size.
        what: &'static str,
        /// The size given.
        value: f64,
    },
    /// Nothing is left of the surface.
    #[error("nothing is left of the scan after the fault; trim or thin it less")]
    NothingLeft,
    /// The faulty surface is no mesh.
    #[error("the faulty surface is no mesh: {0}")]
    NoMesh(#[from] MeshError),
}

/// A scan with its faults.
#[derive(Clone, Debug)]
pub struct Faulty {
    /// Its triangles, coordinates in `unit`.
    pub mesh: Mesh,
    /// Unit of the coordinates.
    pub unit: LengthUnit,
    /// How the scan was moved, mm.
    pub motion: Motion,
}

impl Faulty {
    /// Where a place of the scan without faults is found in the faulty one, by motion and unit, in `unit`.
    pub fn place(&self, p: &Point) -> Point {
        (self.motion * p) / self.unit.mm()
    }

    /// Where a direction of the scan without faults points in the faulty one.
    pub fn direction(&self, d: &Direction) -> Direction {
        self.motion.rotation * d
    }
}

/// A scan with faults, applied in their order (the unit last). The same seed gives the same scan.
///
/// # Errors
/// A size is negative or no number, or nothing is left of the surface.
pub fn apply(mesh: &Mesh, faults: &[Fault], seed: u64) -> Result<Faulty, FaultError> {
    let mut faulty = Faulty { mesh: mesh.clone(), unit: LengthUnit::Mm, motion: Motion::identity() };
    for (i, fault) in faults.iter().enumerate() {
        checked(fault)?;
        // A seed of its own for each fault, so that one more at the end changes none before it.
        let mut variety = Variety::new(seed.wrapping_add((i as u64 + 1).wrapping_mul(0xD1B5_4A32_D192_ED03)));
        step(&mut faulty, fault, &mut variety)?;
        if faulty.mesh.faces().is_empty() {
            return Err(FaultError::NothingLeft);
        }
    }
    let scale = 1.0 / faulty.unit.mm();
    let scaled = faulty.mesh.vertices().iter().map(|p| p * scale).collect();
    faulty.mesh = Mesh::new(scaled, faulty.mesh.faces().to_vec())?;
    Ok(faulty)
}

fn checked(fault: &Fault) -> Result<(), FaultError> {
    let sizes: &[(&'static str, f64)] = match fault {
        Fault::Noise { sigma_mm } => &[("the standard deviation", *sigma_mm)],
        Fault::Warp { far_end_mm } => &[("the displacement", *far_end_mm)],
        Fault::Holes { radius_mm, .. } | Fault::Debris { radius_mm, .. } => &[("the radius", *radius_mm)],
        Fault::ClosedOver { deeper_than_mm, .. } => &[("the depth", *deeper_than_mm)],
        Fault::RaggedBorder { depth_mm } => &[("the depth", *depth_mm)],
        Fault::Pose { turn_deg, shift_mm } => &[("the turn", *turn_deg), ("the displacement", *shift_mm)],
        Fault::Decimated { .. } | Fault::Trim { .. } | Fault::InsideOut | Fault::Unit(_) => &[],
    };
    match sizes.iter().find(|(_, value)| !(value.is_finite() && *value >= 0.0)) {
        Some(&(what, value)) => Err(FaultError::BadSize { what, value }),
        None => Ok(()),
    }
}

fn step(faulty: &mut Faulty, fault: &Fault, variety: &mut Variety) -> Result<(), FaultError> {
    let mesh = &faulty.mesh;
    faulty.mesh = match fault {
        Fault::Noise { sigma_mm } => surface::noisy(mesh, *sigma_mm, variety)?,
        Fault::Warp { far_end_mm } => surface::warped(mesh, *far_end_mm, variety)?,
        Fault::Decimated { triangles } => super::refine::thinned(mesh, *triangles),
        Fault::Holes { count, radius_mm, places } => {
            pieces::holed(mesh, *count, *radius_mm, &|p| places.holds(p), variety)
        }
        Fault::Debris { count, radius_mm } => pieces::littered(mesh, *count, *radius_mm, variety)?,
        Fault::ClosedOver { withdrawal, deeper_than_mm } => {
            closed_over::closed_over(mesh, withdrawal, *deeper_than_mm)?
        }
        Fault::RaggedBorder { depth_mm } => border::ragged(mesh, *depth_mm, variety),
        Fault::Trim { plane } => super::contour::cut_off(mesh, &|p: &Point| -plane.height_mm(p)),
        Fault::InsideOut => mesh.turned_over(),
        Fault::Unit(unit) => {
            faulty.unit = *unit;
            return Ok(());
        }
        Fault::Pose { turn_deg, shift_mm } => {
            let motion = by_chance(*turn_deg, *shift_mm, variety);
            let moved = mesh.moved(&motion);
            faulty.motion = motion * faulty.motion;
            moved
        }
    };
    Ok(())
}

/// A rigid motion by chance.
fn by_chance(turn_deg: f64, shift_mm: f64, variety: &mut Variety) -> Motion {
    let axis = in_any_direction(variety);
    let half = 0.5 * turn_deg.to_radians() * variety.even();
    let v = axis * sin(half);
    let turn = UnitQuaternion::new_normalize(Quaternion::new(cos(half), v.x, v.y, v.z));
    let shift = Vector::new(variety.even(), variety.even(), variety.even()) * shift_mm;
    Motion::from_parts(Translation3::from(shift), turn)
}

/// A unit vector by chance.
fn in_any_direction(variety: &mut Variety) -> Vector {
    loop {
        let v = Vector::new(variety.even(), variety.even(), variety.even());
        let length = v.norm();
        if length > 0.1 && length <= 1.0 {
            return v / length;
        }
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::mesh::Topology;
    use crate::phantom::contour::{Grid, cut_off, zero_set};

    /// A dome of 8 mm with one border.
    pub(crate) fn dome(cell_mm: f64) -> Mesh {
        let (low, high) = (Point::new(-9.0, -9.0, -9.0), Point::new(9.0, 9.0, 9.0));
        let ball = |p: &Point| p.coords.norm() - 8.0;
        let mesh = zero_set(&Grid { low, high, cell_mm }, &ball, &|_: &Point| -1.0);
        cut_off(&mesh, &|p: &Point| 0.3 - p.z)
    }

    pub(crate) fn borders(mesh: &Mesh) -> usize {
        Topology::new(mesh).border_loops(mesh).len()
    }

    #[test]
    fn a_unit_scales_extents_and_a_pose_keeps_distances_and_moves_the_truth_along() {
        let mesh = dome(0.8);
        let faults = [Fault::Unit(LengthUnit::Inch), Fault::Pose { turn_deg: 180.0, shift_mm: 60.0 }];
        let faulty = apply(&mesh, &faults, 5).unwrap();
        assert!(faulty.motion.translation.vector.norm() > 1.0 && faulty.motion.rotation.angle() > 0.01);
        for (i, p) in mesh.vertices().iter().enumerate() {
            assert!((faulty.place(p) - faulty.mesh.vertices()[i]).norm() < 1e-9);
        }
        let apart = |m: &Mesh| (m.vertices()[0] - m.vertices()[100]).norm();
        assert!((apart(&faulty.mesh) * 25.4 - apart(&mesh)).abs() < 1e-9);
        let micrometres = apply(&mesh, &[Fault::Unit(LengthUnit::Um)], 5).unwrap();
        assert!((apart(&micrometres.mesh) - 1000.0 * apart(&mesh)).abs() < 1e-6);
    }

    #[test]
    fn inside_out_turns_every_triangle_and_a_trim_cuts_at_the_plane() {
        let mesh = dome(0.8);
        let out = apply(&mesh, &[Fault::InsideOut], 1).unwrap().mesh;
        for f in 0..mesh.faces().len() as u32 {
            assert!((out.doubled_area_normal(f) + mesh.doubled_area_normal(f)).norm() < 1e-12);
        }
        let plane =
            Plane { point: Point::new(2.0, 0.0, 0.0), normal: Direction::new_unchecked(-Vector::x()) };
        let cut = apply(&mesh, &[Fault::Trim { plane }], 1).unwrap().mesh;
        let (_, high) = cut.bounds().unwrap();
        assert!((high.x - 2.0).abs() < 0.05 && borders(&cut) == 1);
    }

    #[test]
    fn the_same_seed_gives_the_same_scan_and_another_seed_another() {
        let mesh = dome(0.8);
        let faults = [
            Fault::Noise { sigma_mm: 0.02 },
            Fault::RaggedBorder { depth_mm: 2.0 },
            Fault::Holes { count: 2, radius_mm: 0.9, places: Places::Anywhere },
            Fault::Debris { count: 3, radius_mm: 0.5 },
            Fault::Pose { turn_deg: 30.0, shift_mm: 5.0 },
        ];
        let made = |seed| apply(&mesh, &faults, seed).unwrap().mesh;
        assert_eq!(made(4), made(4));
        assert_ne!(made(4), made(9));
    }

    #[test]
    fn sizes_that_are_none_and_scans_of_which_nothing_is_left_are_refused() {
        let mesh = dome(1.2);
        let bad = apply(&mesh, &[Fault::Noise { sigma_mm: f64::INFINITY }], 1);
        assert!(matches!(bad, Err(FaultError::BadSize { .. })));
        let far = Plane { point: Point::new(0.0, 0.0, 50.0), normal: Direction::new_unchecked(Vector::z()) };
        let none = apply(&mesh, &[Fault::Trim { plane: far }], 1);
        assert!(matches!(none, Err(FaultError::NothingLeft)));
    }
}
