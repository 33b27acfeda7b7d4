//! The search for a path of insertion as it is shown: tilts tried, those that no other beats, those compared; tripod marks.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Place;
use crate::case::{Surface, Tooth};
use crate::units;

/// One tilt: what it gives and what it costs.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TiltScored {
    /// Lean toward anterior, degrees.
    pub anterior_deg: f64,
    /// Lean toward the patient's left, degrees.
    pub left_deg: f64,
    /// Weighted mean of the respects, 0 to 1; the higher the better.
    pub score: f64,
    /// Angle from the occlusal normal, degrees.
    pub lean_deg: f64,
    /// Usable undercut of each clasp of `search.clasps`, mm: above the margin by the tip's distance, along this tilt and
    /// along the occlusal normal.
    pub usable_mm: Vec<f64>,
    /// Mean share of the gauge wanted that the clasps reach, 0 to 1; absent without a known abutment.
    pub retention_share: Option<f64>,
    /// Greatest less least usable undercut, mm; absent for fewer than two clasps.
    pub spread_mm: Option<f64>,
    /// Mean share of the guiding surface wanted beside spans, 0 to 1; absent without a span beside a known crown.
    pub guiding_share: Option<f64>,
    /// Undercut area of the tissue that a rigid part crosses, mm2.
    pub tissue_undercut_mm2: Option<f64>,
    /// Dead space under that tissue and under the surfaces beside spans, mm3.
    pub blockout_mm3: Option<f64>,
}

/// Which tilt is compared.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum WhichTilt {
    /// The occlusal normal.
    Zero,
    /// The tilt with the highest score.
    Best,
    /// The direction that the case gives.
    Given,
}

impl WhichTilt {
    /// The words for it on the sheet.
    pub fn words(self) -> &'static str {
        match self {
            WhichTilt::Zero => "zero tilt",
            WhichTilt::Best => "highest score",
            WhichTilt::Given => "given by the case",
        }
    }
}

/// A tilt that is compared: measured on the scan itself.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TiltCompared {
    /// Which.
    pub which: WhichTilt,
    /// Whether the search chooses it.
    pub chosen: bool,
    /// Its figures.
    pub figures: TiltScored,
    /// Area of each surface of `search.guided` that guides, mm2.
    pub guiding_mm2: Vec<f64>,
    /// Greatest undercut of the tissue crossed, mm.
    pub tissue_deepest_mm: Option<f64>,
}

/// A clasp, or an abutment that may get one.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ClaspSought {
    /// The tooth.
    pub tooth: Tooth,
    /// Surfaces of which the better one counts.
    pub surfaces: Vec<Surface>,
    /// Undercut wanted, mm.
    pub gauge_mm: f64,
}

/// A surface beside a span.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SurfaceBesideSpan {
    /// The tooth.
    pub tooth: Tooth,
    /// Its surface.
    pub surface: Surface,
}

/// What a respect weighs.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Weight {
    /// Row of the table of limits.
    pub id: String,
    /// Its weight; only proportions matter.
    pub weight: f64,
    /// Whether the case file changed it.
    pub changed: bool,
}

/// How the search was made and how it ended.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PathSearch {
    /// Greatest lean tried, degrees.
    pub cone_deg: f64,
    /// Spacing of the tilts, degrees.
    pub step_deg: f64,
    /// Number of tilts tried.
    pub tilts_tried: usize,
    /// Those of them that form the grid: the first of `map_tilts`.
    pub on_grid: usize,
    /// Triangles of the scan.
    pub triangles: usize,
    /// Triangles of the reduced cast on which the tilts were tried.
    pub triangles_reduced: usize,
    /// Every vertex of the scan lies within this of the reduced cast, mm.
    pub reduced_within_mm: f64,
    /// Clasps and abutments that count.
    pub clasps: Vec<ClaspSought>,
    /// Teeth left out since their crown or margin is not known.
    pub left_out: Vec<Tooth>,
    /// Surfaces beside spans.
    pub guided: Vec<SurfaceBesideSpan>,
    /// Tissue that a rigid part crosses, mm2.
    pub tissue_mm2: f64,
    /// The weights.
    pub weights: Vec<Weight>,
    /// Usable undercut beyond which more counts no more, mm.
    pub ceiling_mm: f64,
    /// Undercut tissue that brings its respect to 0, mm2.
    pub worst_tissue_mm2: f64,
    /// Dead space that brings its respect to 0, mm3.
    pub worst_blockout_mm3: f64,
    /// What came of it, in words.
    pub says: String,
}

/// A tripod mark.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TripodMark {
    /// The place, mm.
    pub at_mm: Place,
    /// The tooth it lies on.
    pub tooth: Option<Tooth>,
    /// Its surface.
    pub surface: Option<Surface>,
    /// The place in words.
    pub says: String,
}

/// A tilt in words: `4.3° toward anterior and 2.2° toward the patient's left`, or `zero tilt`.
pub fn tilt_words(anterior_deg: f64, left_deg: f64) -> String {
    let part = |deg: f64, plus: &str, minus: &str| {
        let to = if deg > 0.0 { plus } else { minus };
        (deg.abs() >= 0.05).then(|| format!("{} toward {to}", units::deg(deg.abs())))
    };
    let parts: Vec<String> = [
        part(anterior_deg, "anterior", "posterior"),
        part(left_deg, "the patient's left", "the patient's right"),
    ]
    .into_iter()
    .flatten()
    .collect();
    if parts.is_empty() { "zero tilt".to_owned() } else { parts.join(" and ") }
}
