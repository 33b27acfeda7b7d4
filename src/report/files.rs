//! The files of the single measurements: `survey.json`, `clearance.json`, `tori.json`.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Articulation, BlockoutShown, Finding, FrameFound, Input, PathShown, Place, Tool, TorusShown};

/// The gauge put to one point.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct GaugeReading {
    /// The point asked for, mm.
    pub asked_mm: Place,
    /// The surface point nearest to it, mm.
    pub at_mm: Place,
    /// Distance between the two, mm.
    #[serde(default)]
    pub from_asked_mm: f64,
    /// Undercut depth there, mm; 0 = free.
    pub depth_mm: f64,
    /// Its standard uncertainty, mm: scan, direction, mesh spacing.
    pub uncertainty_mm: f64,
    /// The depth depends on the closing of a hole in the scan.
    pub closed_hole: bool,
    /// Height below the survey line in the vertical section, mm; absent where none stands above.
    pub below_survey_line_mm: Option<f64>,
    /// The nearest free place of the rod, at the point's height, mm; absent where the point is free.
    pub rod_mm: Option<Place>,
}

/// `survey.json`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SurveyFile {
    /// `saddleroom/survey/1`.
    pub schema: String,
    /// The program.
    pub tool: Tool,
    /// The cast.
    pub inputs: Vec<Input>,
    /// Frame of the cast, where one was needed.
    pub frame: Option<FrameFound>,
    /// The withdrawal direction.
    pub path: PathShown,
    /// Share of the surface that is undercut, 0 to 1.
    pub undercut_share: f64,
    /// Undercut surface, mm2.
    pub undercut_area_mm2: f64,
    /// Deepest undercut, mm.
    pub deepest_mm: f64,
    /// Where, mm; absent where nothing is undercut.
    pub deepest_at_mm: Option<Place>,
    /// Vertices whose depth depends on the closing of holes in the scan.
    pub closed_hole_vertices: usize,
    /// Survey lines of the whole cast, mm.
    pub survey_line_mm: Vec<Vec<Place>>,
    /// What has to be blocked out under the bulges of the whole cast; absent where the direction points into the tissue.
    #[serde(default)]
    pub blockout: Option<BlockoutShown>,
    /// The gauge reading, where asked for; the first of several.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub gauge: Option<GaugeReading>,
    /// All gauge readings, where several were asked for.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub gauges: Vec<GaugeReading>,
    /// Findings.
    pub findings: Vec<Finding>,
    /// Cautions.
    pub cautions: Vec<String>,
}

/// `clearance.json`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ClearanceFile {
    /// `saddleroom/clearance/1`.
    pub schema: String,
    /// The program.
    pub tool: Tool,
    /// Tissue and opposing surface.
    pub inputs: Vec<Input>,
    /// Opening direction, from the tissue toward the opposing arch.
    pub opening: Place,
    /// `case` where given, `scan` where it is the occlusal normal found.
    pub opening_from: super::FoundBy,
    /// How the surfaces stand to each other.
    pub articulation: Articulation,
    /// Vertices of the tissue.
    pub vertices: usize,
    /// Vertices with nothing above them along the opening direction.
    pub nothing_above: usize,
    /// Least distance along the opening direction, mm.
    pub least_along_mm: Option<f64>,
    /// Where, mm.
    pub least_along_at_mm: Option<Place>,
    /// Least distance in any direction, mm.
    pub least_nearest_mm: Option<f64>,
    /// Where, mm.
    pub least_nearest_at_mm: Option<Place>,
    /// Findings.
    pub findings: Vec<Finding>,
    /// Cautions.
    pub cautions: Vec<String>,
}

/// `tori.json`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ToriFile {
    /// `saddleroom/tori/1`.
    pub schema: String,
    /// The program.
    pub tool: Tool,
    /// The cast.
    pub inputs: Vec<Input>,
    /// Frame of the cast, where one was found.
    pub frame: Option<FrameFound>,
    /// Tori.
    pub tori: Vec<TorusShown>,
    /// Findings.
    pub findings: Vec<Finding>,
    /// Cautions.
    pub cautions: Vec<String>,
}
