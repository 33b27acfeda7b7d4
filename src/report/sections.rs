//! The parts of a report. Lengths in mm, angles in degrees, positions `[x, y, z]` in mm of the file's own axes.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Verdict;
use crate::case::{Arch, SpanKind, Tooth};
use crate::mesh::audit::DefectKind;

/// A position `[x, y, z]`, mm.
pub type Place = [f64; 3];

/// What was asked about.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CaseNamed {
    /// Name of the case.
    pub id: String,
    /// Arch that gets the denture.
    pub restored_arch: Arch,
}

/// A defect of an input file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct DefectShown {
    /// Its kind.
    pub kind: DefectKind,
    /// How many.
    pub count: usize,
    /// The first place, mm.
    pub at_mm: Option<Place>,
    /// In words, with what was done about it.
    pub says: String,
    /// Whether it was mended.
    pub mended: bool,
}

/// A file that was read.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Input {
    /// `mandible`, `maxilla`, `cast`, `tissue`, `opposing`.
    pub role: String,
    /// Its name as given.
    pub file: String,
    /// SHA-256 of its bytes.
    pub sha256: String,
    /// Its format.
    pub format: String,
    /// Triangles kept.
    pub triangles: usize,
    /// Welded vertices.
    pub vertices: usize,
    /// Millimetres in one unit of the file.
    pub unit_scale: f64,
    /// Extent along the axes of the file, mm.
    pub extent_mm: Option<Place>,
    /// Its defects.
    pub defects: Vec<DefectShown>,
}

/// A frame and how it was found.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FrameFound {
    /// Arch's centre on the occlusal plane, mm.
    pub origin_mm: Place,
    /// Away from the tissue.
    pub occlusal: Place,
    /// Toward the incisors.
    pub anterior: Place,
    /// Toward the patient's left.
    pub left: Place,
    /// `case` (marks) or `scan`.
    pub found_by: FoundBy,
    /// 0 to 1.
    pub confidence: f64,
    /// Standard uncertainty of the occlusal direction.
    pub uncertainty_deg: f64,
}

/// Where a fact comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum FoundBy {
    /// Given in the case file.
    Case,
    /// Found on the scan.
    Scan,
}

/// State of the pair of arches.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum ArticulationState {
    /// Teeth touch.
    Occluding,
    /// No contact.
    Apart,
    /// Deeper in each other than contact explains.
    Overlapping,
    /// One arch only, or no overlap in plan.
    Unknown,
}

/// How the arches stand to each other.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Articulation {
    /// The state.
    pub state: ArticulationState,
    /// Number of separate contact patches.
    pub contacts: Option<usize>,
    /// Deepest overlap, mm, positive.
    pub deepest_overlap_mm: Option<f64>,
    /// Least gap along the opening direction where there is no contact, mm.
    pub least_gap_mm: Option<f64>,
    /// Place of the deepest overlap or the least gap, mm.
    pub at_mm: Option<Place>,
}

/// The chart and its class.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ChartShown {
    /// Missing teeth, FDI.
    pub missing: Vec<Tooth>,
    /// Whence.
    pub found_by: FoundBy,
    /// Kennedy class; absent for a dentate or an edentulous arch.
    pub kennedy: Option<KennedyShown>,
    /// `classified`, `dentate` or `edentulous`.
    pub state: String,
}

/// Kennedy class.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct KennedyShown {
    /// `I` to `IV`.
    pub class: String,
    /// Number of modification spaces.
    pub modifications: u8,
}

/// A tooth of the restored arch.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ToothShown {
    /// FDI number.
    pub tooth: Tooth,
    /// Gingival margin, closed: the first position is not repeated.
    pub margin_mm: Vec<Place>,
    /// Area of the crown's surface.
    pub crown_area_mm2: f64,
    /// 0 to 1.
    pub confidence: f64,
    /// Whence.
    pub found_by: FoundBy,
}

/// Tilt of the withdrawal direction.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TiltShown {
    /// Degrees toward anterior.
    pub anterior: f64,
    /// Degrees toward the patient's left.
    pub left: f64,
}

/// The withdrawal direction used.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PathShown {
    /// Unit vector, from the tissue to the occlusal side.
    pub withdrawal: Place,
    /// Its tilt; absent without a frame.
    pub tilt_deg: Option<TiltShown>,
    /// Whence.
    pub chosen_by: ChosenBy,
    /// In words, with the reason.
    pub says: String,
    /// How the search was made, where one was.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub search: Option<super::PathSearch>,
    /// All tilts tried, on the reduced cast: those of the grid first, row by row.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub map_tilts: Vec<super::TiltScored>,
    /// Those of them that no other beats: none is at least as good in every respect and better in one.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub unbeaten: Vec<super::TiltScored>,
    /// Zero tilt, the tilt of the highest score and the one given, measured on the scan itself.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub compared: Vec<super::TiltCompared>,
    /// Three marks in one plane across the path, mm.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub tripod_mm: Vec<Place>,
    /// The same with their places in words.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub tripod: Vec<super::TripodMark>,
}

/// Who chose the withdrawal direction.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum ChosenBy {
    /// Given in the case file or on the command line.
    Case,
    /// Searched.
    Search,
    /// The occlusal normal, since nothing was searched.
    OcclusalNormal,
}

/// What stands opposite a station of the crest.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Opposing {
    /// A tooth, or a surface that is not known to be a ridge.
    Tooth,
    /// A residual ridge.
    Ridge,
    /// Nothing.
    None,
}

/// A station of the clearance profile along a crest.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Station {
    /// Distance along the crest from the abutment in front of the span, mm.
    pub s_mm: f64,
    /// Place on the crest, mm.
    pub at_mm: Place,
    /// Interarch distance along the opening direction, mm; negative where the arches overlap.
    pub along_opening_mm: Option<f64>,
    /// Nearest distance to the opposing surface, mm; negative where the arches overlap.
    pub nearest_mm: Option<f64>,
    /// What stands opposite.
    pub opposing: Opposing,
}

/// Least clearance over a span.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LeastShown {
    /// Along the opening direction, mm.
    pub along_opening_mm: Option<f64>,
    /// Nearest, mm.
    pub nearest_mm: Option<f64>,
    /// Place of the least along the opening direction, mm.
    pub at_mm: Option<Place>,
}

/// Room for a rigid body behind the abutment.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SiteShown {
    /// From the abutment's surface to the start of the best place, in plan, mm.
    pub from_mm: f64,
    /// Its end, mm.
    pub to_mm: f64,
    /// The same along the crest line, from the first station of the profile, mm.
    pub along_crest_mm: [f64; 2],
    /// Room in the body's own axes, mm.
    pub room_mm: f64,
    /// Least pointwise gap over the footprint, mm; never judged.
    pub pointwise_mm: Option<f64>,
    /// What the stack of parts needs, mm; absent without `[attachment]`.
    pub required_mm: Option<f64>,
    /// Room less what is needed, mm.
    pub spare_mm: Option<f64>,
    /// Centre of the footprint on the tissue, mm.
    pub at_mm: Place,
    /// Length and width of the footprint, mm.
    pub footprint_mm: [f64; 2],
    /// Tilt of the body from the opening direction, degrees along the crest and across it.
    pub tilt_deg: [f64; 2],
    /// The place of the zone with the least room.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub worst: Option<super::WorstPlace>,
    /// The parts from below, each with the room left over it; empty without `[attachment]`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub stack: Vec<super::StackPart>,
}

/// An edentulous span.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SpanShown {
    /// Missing teeth, from the patient's right to left.
    pub teeth: Vec<Tooth>,
    /// With or without a tooth behind.
    pub kind: SpanKind,
    /// Crest line, mm.
    pub crest_mm: Vec<Place>,
    /// Clearance along it.
    pub profile: Vec<Station>,
    /// The least of it.
    pub least: Option<LeastShown>,
    /// Room for the attachment.
    pub site: Option<SiteShown>,
    /// The attachment in its best place.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fit: Option<super::FitShown>,
    /// Places of the denture teeth, from the abutment in front backwards.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub denture_teeth: Vec<super::DentureTooth>,
    /// Length for them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub teeth_length: Option<super::TeethLength>,
    /// Opposing teeth that stand beyond their plane over the span.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub beyond_plane: Vec<super::BeyondShown>,
    /// Room while the mandible moves.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub excursions: Option<super::ExcursionsShown>,
    /// Height and width of the ridge along the crest.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub ridge: Vec<RidgeStation>,
    /// Where the ridge of a distal extension ends.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub end: Option<RidgeEndShown>,
}

/// The form of a residual ridge in a section square to its crest. What the scan does not hold is absent.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RidgeStation {
    /// Distance along the crest from the abutment in front of the span, mm.
    pub s_mm: f64,
    /// Place on the crest, mm.
    pub at_mm: Place,
    /// Height of the crest over the deepest recorded place of the buccal sulcus, along the occlusal direction.
    pub height_buccal_mm: Option<f64>,
    /// The same over the lingual sulcus.
    pub height_lingual_mm: Option<f64>,
    /// Width 3 mm under the crest.
    pub width_3_mm: Option<f64>,
    /// Width 5 mm under the crest.
    pub width_5_mm: Option<f64>,
    /// Greater standard uncertainty of the heights.
    pub height_uncertainty_mm: Option<f64>,
    /// Greater standard uncertainty of the widths.
    pub width_uncertainty_mm: Option<f64>,
}

/// The distal end of a ridge.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RidgeEndShown {
    /// `retromolar_pad`, `tuberosity`, `marked`, `scan_border` or `average_length`.
    pub kind: String,
    /// Place, mm.
    pub at_mm: Place,
    /// 0 to 1.
    pub confidence: f64,
}

/// Side of a torus.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum TorusSide {
    /// The patient's left.
    Left,
    /// The patient's right.
    Right,
    /// Palatal midline.
    Midline,
}

impl TorusSide {
    /// The word for it.
    pub fn word(self) -> &'static str {
        match self {
            TorusSide::Left => "left",
            TorusSide::Right => "right",
            TorusSide::Midline => "midline",
        }
    }
}

/// How sure a torus is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum TorusState {
    /// Found.
    Found,
    /// Low confidence: kept out of the verdicts until confirmed.
    Possible,
    /// Outlined or pointed at in the case file.
    Marked,
}

/// A torus.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TorusShown {
    /// Its side; absent where the cast has no frame.
    pub side: Option<TorusSide>,
    /// Height above the surface without it, mm.
    pub height_mm: f64,
    /// Longest chord of the outline, mm.
    pub length_mm: f64,
    /// Greatest extent across that chord, mm.
    pub width_mm: f64,
    /// Area inside the outline, mm2.
    pub area_mm2: f64,
    /// Volume between the scan inside the outline and the surface without the torus, mm3.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub volume_mm3: Option<f64>,
    /// Straight distance of its upper edge from the nearest gingival margin, mm; absent where no margin is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from_margin_mm: Option<f64>,
    /// Its own deepest undercut along the withdrawal, mm; absent where there is no path.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub undercut_mm: Option<f64>,
    /// Share of its area that is undercut, and so hidden along the withdrawal, 0 to 1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub undercut_share: Option<f64>,
    /// Size by height: `small`, `medium`, `large`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub size: Option<String>,
    /// Summit, mm.
    pub summit_mm: Place,
    /// Outline, closed: the first position is not repeated, mm.
    pub outline_mm: Vec<Place>,
    /// 0 to 1.
    pub confidence: f64,
    /// How sure.
    pub state: TorusState,
}

/// A connector that was tried.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ConnectorShown {
    /// `lingual_bar`, `lingual_plate`, `palatal_strap`, ...
    pub kind: String,
    /// Outcome.
    pub verdict: Verdict,
    /// Least room, mm.
    pub room_mm: Option<f64>,
    /// What it needs, mm.
    pub required_mm: Option<f64>,
    /// Where the room is least, mm.
    pub at_mm: Option<Place>,
    /// Why, in words.
    pub reasons: Vec<String>,
}

/// A question.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Question {
    /// Whom: `dentist`.
    pub to: String,
    /// The question.
    pub text: String,
    /// Why it is asked.
    pub because: String,
}
