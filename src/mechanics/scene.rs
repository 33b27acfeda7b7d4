//! What is known of a case when its support is worked out: measured places, and the assumed numbers.

use super::bed::BedFace;
use crate::space::{Direction, Point, Vector};

/// A tooth that carries something of the denture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Abutment {
    /// Middle of its crown, mm.
    pub crown: Point,
    /// Toward the midline along the arch, unit.
    pub mesial: Vector,
    /// Toward cheek or lip, unit.
    pub buccal: Vector,
    /// From the middle of the crown down to where the root begins, mm.
    pub neck_mm: f64,
    /// Length of its root as a multiple of the assumed one.
    pub root_share: f64,
    /// How firm it stands, as a multiple of the assumed stiffness; under 1 for a mobile tooth.
    pub firmness_share: f64,
}

/// A rest on an abutment: it only pushes down, and is held sideways by its seat.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rest {
    /// Index of its abutment.
    pub abutment: usize,
    /// Its place, mm.
    pub at: Point,
}

/// A plate of the framework against a guiding surface: it only pushes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plate {
    /// Index of its abutment.
    pub abutment: usize,
    /// Where it touches, mm.
    pub at: Point,
    /// From the tooth toward the plate, unit, square to the occlusal direction.
    pub outward: Vector,
}

/// The retentive tip of a clasp in its undercut: it only pushes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ClaspTip {
    /// Index of its abutment.
    pub abutment: usize,
    /// Its place, mm.
    pub at: Point,
    /// From the tooth outward, unit, square to the withdrawal direction.
    pub outward: Vector,
    /// Angle of the wall to the withdrawal direction, degrees.
    pub wall_deg: f64,
    /// Force to spread the arm by a millimetre, N/mm.
    pub stiffness_n_per_mm: f64,
}

/// A denture base over a span.
#[derive(Clone, Debug, PartialEq)]
pub struct Base {
    /// Whether no tooth stands behind it.
    pub extension: bool,
    /// Index of the abutment in front, where it carries something.
    pub front: Option<usize>,
    /// Crest line under it, from the front backwards, mm.
    pub crest: Vec<Point>,
    /// Toward the cheek, unit.
    pub outward: Vector,
    /// Middle of the hinge's axis, or of the attachment, mm.
    pub joint_at: Point,
    /// The ridge under it.
    pub bed: Vec<BedFace>,
}

impl Base {
    /// From the front end of its crest to the distal end; zero where the crest has no length.
    pub fn chord(&self) -> Vector {
        match (self.crest.first(), self.crest.last()) {
            (Some(front), Some(end)) => end - front,
            _ => Vector::zeros(),
        }
    }
}

/// A load on a base.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Load {
    /// Index of the base.
    pub base: usize,
    /// Where, mm.
    pub at: Point,
    /// Force, N.
    pub force: Vector,
}

/// The measured geometry.
#[derive(Clone, Debug, PartialEq)]
pub struct Scene {
    /// Origin of motions and moments: the middle of the arch, mm.
    pub origin: Point,
    /// Away from the tissue.
    pub occlusal: Direction,
    /// Toward the incisors.
    pub anterior: Direction,
    /// Toward the patient's left.
    pub left: Direction,
    /// Way in which the denture comes out.
    pub withdrawal: Direction,
    /// Abutments.
    pub abutments: Vec<Abutment>,
    /// Rests.
    pub rests: Vec<Rest>,
    /// Plates.
    pub plates: Vec<Plate>,
    /// Clasp tips.
    pub clasps: Vec<ClaspTip>,
    /// Bases.
    pub bases: Vec<Base>,
}

impl Scene {
    /// Whether a base is joined by the hinge or the attachment: the distal extensions are, or all bases where there is
    /// none.
    pub fn jointed(&self, base: &Base) -> bool {
        base.extension || !self.bases.iter().any(|b| b.extension)
    }

    /// The same with each bed's faces joined in cells of so many millimetres.
    pub fn coarser(&self, cell_mm: f64) -> Scene {
        let mut scene = self.clone();
        scene.bases.iter_mut().for_each(|b| b.bed = super::bed::joined(&b.bed, cell_mm));
        scene
    }
}

/// The assumed numbers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stiffness {
    /// Modulus of the mucosa, MPa.
    pub mucosa_mpa: f64,
    /// Its thickness, mm.
    pub mucosa_mm: f64,
    /// Axial stiffness of a firm abutment, N/mm.
    pub axial_n_per_mm: f64,
    /// Sideways stiffness of a firm abutment at the middle of its crown, N/mm.
    pub lateral_n_per_mm: f64,
    /// Length of its root, mm.
    pub root_mm: f64,
    /// Stiffness of a moment-carrying attachment against turning, N·mm/rad.
    pub joint_n_mm_per_rad: f64,
    /// Stiffness of the clasps as a multiple of that worked out for their arms.
    pub clasp_share: f64,
    /// Gap between a plate and its guiding surface when the denture is seated, mm.
    pub plate_gap_mm: f64,
    /// Turn of a hinge the wrong way before its stop bears, degrees.
    pub hinge_play_deg: f64,
    /// Way by which the load stands behind its tooth's place, along the crest, mm.
    pub load_shift_mm: f64,
}

/// How base and abutment are joined.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// One framework with its bases, on rests, plates and clasps.
    Rigid,
    /// The same, held to the abutment in front of each extension by an attachment that carries moment.
    Clamped,
    /// Extension bases turn about a hinge that has a stop against lifting.
    Hinged,
}

impl Kind {
    /// All three, in the order of the report.
    pub const ALL: [Kind; 3] = [Kind::Rigid, Kind::Clamped, Kind::Hinged];

    /// `rigid`, `clamped` or `hinged`.
    pub fn word(self) -> &'static str {
        match self {
            Kind::Rigid => "rigid",
            Kind::Clamped => "clamped",
            Kind::Hinged => "hinged",
        }
    }
}
