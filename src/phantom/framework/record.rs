//! What is true of a made framework.

use serde::Serialize;

/// Kind of a part of a framework.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// Lies in a rest seat.
    Rest,
    /// Joins another part to the major connector: through an embrasure, or as a plate beside a gap.
    MinorConnector,
    /// Lingual bar.
    Bar,
    /// Palatal strap.
    Strap,
    /// Arm of a clasp.
    ClaspArm,
    /// Carries the denture base over a ridge.
    Mesh,
    /// Foot of a distal-extension mesh.
    TissueStop,
}

/// A part as it was made. Positions are file coordinates of the cast, mm.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PartTruth {
    /// Its kind.
    pub kind: Kind,
    /// FDI number of the tooth that it belongs to.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tooth: Option<u8>,
    /// Place of a rest or a plate on its tooth, or surface of a clasp arm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub place: Option<&'static str>,
    /// Thickness of the metal over `at_mm` along `way`, mm.
    pub thickness_mm: f64,
    /// Thickness of a rest over the marginal ridge, mm: of the greatest ball that sweeps half of its plan from where it leaves
    /// the crown.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ridge_thickness_mm: Option<f64>,
    /// Median gap under a rest within a millimetre of its seat's deepest place, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub seat_gap_mm: Option<f64>,
    /// Thickness of an arm a millimetre before its end, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tip_thickness_mm: Option<f64>,
    /// Width wanted, mm: a bar's height, a strap's from border to border, an arm's at its root.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub width_mm: Option<f64>,
    /// Thickness of a bar at its thinnest section, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub least_thickness_mm: Option<f64>,
    /// Height of a bar at its least section, width of a strap along its fitting side at its narrowest near the midline, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub least_width_mm: Option<f64>,
    /// Length, mm: along the arch, or of an arm from where it grows into the body along the middles of its sections to its end.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub length_mm: Option<f64>,
    /// Gap between the cast at `at_mm` and the metal along `way`, mm.
    pub gap_mm: f64,
    /// Gap over the middle of a torus that it crosses, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub torus_gap_mm: Option<f64>,
    /// How far its upper border lies under the lowest gingival margin beside it, along the withdrawal, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub below_margin_mm: Option<f64>,
    /// Undercut depth of the cast under the middle of the rounding that ends an arm, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub depth_mm: Option<f64>,
    /// The depth that an arm engages in a sound framework as far as the cast has it, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub wanted_depth_mm: Option<f64>,
    /// That place on the cast.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tip_at_mm: Option<[f64; 3]>,
    /// Whether it lies under the survey line though it is rigid.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub caught: Option<bool>,
    /// A place on the cast under the part.
    pub at_mm: [f64; 3],
    /// Direction from there, file axes: square to the cast, or along the axis of the crown in a rest seat.
    pub way: [f64; 3],
}

/// What was made wrong.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Wrong {
    /// The fault, in words.
    pub says: &'static str,
    /// Its size, mm, where it has one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value_mm: Option<f64>,
    /// The part that it sits on.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub kind: Option<Kind>,
    /// FDI number of the tooth of that part.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tooth: Option<u8>,
    /// Where, file coordinates of the cast, mm.
    pub at_mm: [f64; 3],
}

/// What is true of a framework.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FrameworkTruth {
    /// The case that it was made for.
    pub case: &'static str,
    /// The way in which it comes out, file axes, a unit direction.
    pub withdrawal: [f64; 3],
    /// Millimetres in a unit of the file.
    pub unit_scale: f64,
    /// What was made wrong; nothing in a sound framework.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub wrong: Option<Wrong>,
    /// Clasps that the case asks for and that were left out: FDI number and surface.
    pub left_out: Vec<(u8, &'static str)>,
    /// Its parts.
    pub parts: Vec<PartTruth>,
}
