//! `framework.json`: a designed framework against the case.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{CaseNamed, Finding, Input, PathShown, Place, Question, Tool};
use crate::case::{RestPlace, Surface, Tooth};

/// How the framework lies on the cast, as its file has it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LaidShown {
    /// Median distance of the places that touch, mm.
    pub residual_mm: f64,
    /// Share of its places that touch the cast, 0 to 1.
    pub touching_share: f64,
    /// Share of its places that lie deep inside the cast, 0 to 1.
    pub deep_share: f64,
}

/// A place at which the framework strikes on its way in.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StrikeShown {
    /// The place of the framework when seated, mm.
    pub at_mm: Place,
    /// Greatest depth inside the cast on the way, mm.
    pub by_mm: f64,
    /// Lift above the seat at that depth, mm.
    pub lift_mm: f64,
    /// Highest lift at which it meets the cast, mm.
    pub from_mm: f64,
    /// The tooth that it strikes; absent where it is tissue.
    pub tooth: Option<Tooth>,
    /// Number of vertices that strike there.
    pub vertices: usize,
    /// Whether the part is the flexing part of a clasp arm.
    pub flexing: bool,
}

/// A withdrawal direction tried for the framework itself.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct OtherPathShown {
    /// The direction.
    pub withdrawal: [f64; 3],
    /// Its angle to the path of the case, degrees.
    pub from_case_deg: f64,
    /// What rigid parts strike by along it at the most, mm; read at a sample of places.
    pub by_mm: f64,
}

/// The way in.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SeatingShown {
    /// Lift at which the way begins, mm.
    pub from_mm: f64,
    /// Where rigid parts and clasps strike, rigid ones first, the deepest first.
    pub strikes: Vec<StrikeShown>,
    /// Turn one way and the other that is free a millimetre over the seat, degrees: about the line from the right to the
    /// left, about that from behind to the front, about the path.
    pub play_deg: [[f64; 2]; 3],
    /// The best of the directions tried for this framework.
    pub best: OtherPathShown,
    /// Directions within 15 degrees that were tried.
    pub tried: usize,
    /// Those of them along which no rigid part strikes.
    pub free: usize,
}

/// Kind of part.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum PartKind {
    /// A rest.
    Rest,
    /// A clasp arm.
    ClaspArm,
    /// What crosses a gingival margin.
    MinorConnector,
    /// A lingual bar.
    Bar,
    /// A palatal strap.
    Strap,
    /// The part over a residual ridge.
    Base,
}

impl PartKind {
    /// The words for it.
    pub fn words(self) -> &'static str {
        match self {
            PartKind::Rest => "rest",
            PartKind::ClaspArm => "clasp arm",
            PartKind::MinorConnector => "minor connector",
            PartKind::Bar => "lingual bar",
            PartKind::Strap => "palatal strap",
            PartKind::Base => "part over the ridge",
        }
    }
}

/// A part of the framework with its figures, each where it applies.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PartShown {
    /// What it is taken for.
    pub kind: PartKind,
    /// Its teeth, or the missing teeth of its span.
    pub teeth: Vec<Tooth>,
    /// Place of a rest.
    pub place: Option<RestPlace>,
    /// Surface of a clasp arm.
    pub surface: Option<Surface>,
    /// Whether the case asks for it.
    pub asked_for: bool,
    /// Confidence that it is what it is taken for, 0 to 1.
    pub confidence: f64,
    /// A place of it, mm.
    pub at_mm: Place,
    /// Gap to the cast, mm; negative inside it.
    pub gap_mm: Option<f64>,
    /// Least gap, mm.
    pub least_gap_mm: Option<f64>,
    /// Thickness: of a rest over the marginal ridge, of a connector at its thinnest section, of an arm at its origin, mm.
    pub thickness_mm: Option<f64>,
    /// The same by the ray, mm.
    pub thickness_ray_mm: Option<f64>,
    /// Height of a bar, width of a strap or minor connector at its least, height of an arm at its origin, mm.
    pub height_mm: Option<f64>,
    /// Length of an arm, mm; reach of the part over a ridge, mm.
    pub length_mm: Option<f64>,
    /// Length of the ridge under it, mm.
    pub ridge_mm: Option<f64>,
    /// Thickness of an arm at its tip, mm.
    pub tip_thickness_mm: Option<f64>,
    /// Height of an arm at its tip, mm.
    pub tip_height_mm: Option<f64>,
    /// Undercut that the tip engages, mm.
    pub tip_depth_mm: Option<f64>,
    /// Greatest undercut under the tip's inner side, mm.
    pub tip_deepest_mm: Option<f64>,
    /// Where the tip engages, mm.
    pub tip_at_mm: Option<Place>,
    /// Undercut wanted, mm.
    pub gauge_mm: Option<f64>,
    /// Length from the origin of an arm to the survey line, mm.
    pub crosses_survey_line_at_mm: Option<f64>,
    /// Force to spread the arm over the engaged undercut by its own length and section, N.
    pub spread_n: Option<f64>,
    /// Lift at which rigid metal on the opposite surface lets go of the tooth, and lift at which the tip passes the
    /// height of contour, mm.
    pub reciprocation_mm: Option<[f64; 2]>,
    /// Area of a tissue stop, mm2.
    pub stop_mm2: Option<f64>,
    /// Gap under the stop, mm.
    pub stop_gap_mm: Option<f64>,
    /// Least clearance to the opposing arch in occlusion, mm; negative where they overlap.
    pub opposing_mm: Option<f64>,
    /// Least clearance over the excursions, mm.
    pub opposing_moving_mm: Option<f64>,
}

impl PartShown {
    /// A part without figures.
    pub fn new(kind: PartKind, teeth: Vec<Tooth>, at_mm: Place) -> PartShown {
        PartShown {
            kind,
            teeth,
            place: None,
            surface: None,
            asked_for: false,
            confidence: 1.0,
            at_mm,
            gap_mm: None,
            least_gap_mm: None,
            thickness_mm: None,
            thickness_ray_mm: None,
            height_mm: None,
            length_mm: None,
            ridge_mm: None,
            tip_thickness_mm: None,
            tip_height_mm: None,
            tip_depth_mm: None,
            tip_deepest_mm: None,
            tip_at_mm: None,
            gauge_mm: None,
            crosses_survey_line_at_mm: None,
            spread_n: None,
            reciprocation_mm: None,
            stop_mm2: None,
            stop_gap_mm: None,
            opposing_mm: None,
            opposing_moving_mm: None,
        }
    }
}

/// What the file holds.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FileShown {
    /// Whether the surface is closed and branches nowhere.
    pub watertight: bool,
    /// Connected pieces.
    pub bodies: usize,
    /// Open borders.
    pub borders: usize,
    /// Thin rods that stand off the cast.
    pub struts: usize,
    /// Volume, mm3; absent for an open surface.
    pub volume_mm3: Option<f64>,
    /// Mass in the alloy, g.
    pub mass_g: Option<f64>,
    /// The alloy.
    pub alloy: String,
    /// Thinnest wall, mm.
    pub thinnest_wall_mm: Option<f64>,
    /// Where it is, mm.
    pub thinnest_at_mm: Option<Place>,
    /// Length of sharp inner edges, such as finish lines have, mm.
    pub sharp_inner_edges_mm: f64,
    /// Length of those whose inner angle is over a right angle by more than 15 degrees, mm.
    pub blunt_inner_edges_mm: f64,
}

/// `framework.json`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FrameworkFile {
    /// `saddleroom/framework/1`.
    pub schema: String,
    /// The program.
    pub tool: Tool,
    /// The case.
    pub case: CaseNamed,
    /// The scans, then the framework.
    pub inputs: Vec<Input>,
    /// How the framework lies on the cast; absent where it does not lie there.
    pub laid: Option<LaidShown>,
    /// The path of the case.
    pub path: Option<PathShown>,
    /// The way in; absent without path or position.
    pub seating: Option<SeatingShown>,
    /// Its parts.
    pub parts: Vec<PartShown>,
    /// Least distance of its border from a gingival margin that it does not cross, mm.
    pub border_mm: Option<f64>,
    /// Where that is, mm.
    pub border_at_mm: Option<Place>,
    /// Least relief over a torus, mm; negative inside it.
    pub torus_relief_mm: Option<f64>,
    /// Least relief of the connector over other tissue (what 5 of 100 places do not exceed), mm.
    pub connector_relief_mm: Option<f64>,
    /// Least gap over the gingival margins that it crosses, mm.
    pub margin_gap_mm: Option<f64>,
    /// What the file holds.
    pub file: Option<FileShown>,
    /// Vertices of the framework.
    pub vertices: usize,
    /// Triangles of the framework.
    pub triangles: usize,
    /// What to ask.
    pub questions: Vec<Question>,
    /// Findings.
    pub findings: Vec<Finding>,
    /// Cautions.
    pub cautions: Vec<String>,
}
