//! Quantity: torus.

use crate::anatomy::Anatomy;
use crate::case::Arch;
use crate::mesh::{FaceId, Mesh, Topology};
use crate::report::{TorusSide, TorusState};
use crate::space::Point;

/// Settings of the detector, from the table of rules.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TorusSettings {
    /// Height at which it is outlined, mm.
    pub outline_mm: f64,
    /// Depth of a saddle that parts two lobes, mm.
    pub saddle_mm: f64,
    /// Least height reported, mm.
    pub least_height_mm: f64,
    /// Least area reported, mm2.
    pub least_area_mm2: f64,
}

/// A torus (one lobe).
#[derive(Clone, Debug, PartialEq)]
pub struct Torus {
    /// Its side, where the cast has a frame.
    pub side: Option<TorusSide>,
    /// Greatest height above the torus-free surface, mm.
    pub height_mm: f64,
    /// Standard uncertainty of the method for that height, mm.
    pub height_method_mm: f64,
    /// Longest chord of the outline, mm.
    pub length_mm: f64,
    /// Extent across that chord, mm.
    pub width_mm: f64,
    /// Area inside the outline, mm2.
    pub area_mm2: f64,
    /// Summit, mm.
    pub summit: Point,
    /// Outline, closed, mm.
    pub outline: Vec<Point>,
    /// Triangles inside the outline.
    pub faces: Vec<FaceId>,
    /// 0 to 1.
    pub confidence: f64,
    /// How sure.
    pub state: TorusState,
    /// Why it is not sure, in words; empty where it is.
    pub doubts: Vec<String>,
}

/// Tori of a cast: those marked, then those found, from the patient's right to left.
pub fn find(
    _mesh: &Mesh,
    _topology: &Topology,
    _arch: Arch,
    _anatomy: &Anatomy,
    _marked_outlines: &[Vec<Point>],
    _marked_at: &[Point],
    _settings: &TorusSettings,
) -> Vec<Torus> {
    Vec::new()
}
