//! What has to be blocked out, as it stands in `report.json` and `survey.json`.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Place, TorusSide};
use crate::case::Tooth;

/// What a part of the cast is, whose undercut is told.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum BlockoutRegion {
    /// The whole cast, its trimmed base left out.
    WholeCast,
    /// The residual ridge of a span, under a denture base.
    Saddle,
    /// The lingual wall of the mandible, where a connector runs.
    LingualBand,
    /// The palate.
    Palate,
    /// A torus.
    Torus,
}

/// The undercut of a part of the cast and the dead space over it, along the withdrawal direction.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BlockoutShown {
    /// What the part is.
    pub region: BlockoutRegion,
    /// The part in words.
    pub place: String,
    /// The span's missing teeth, for a saddle.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub span: Option<Vec<Tooth>>,
    /// First and last tooth, for a lingual band.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub between_teeth: Option<[Tooth; 2]>,
    /// Its side, for a torus.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub side: Option<TorusSide>,
    /// Surface over which something stands, mm2.
    pub area_mm2: f64,
    /// Deepest undercut, mm; 0 where nothing is undercut.
    pub deepest_mm: f64,
    /// Its standard uncertainty, mm.
    pub deepest_uncertainty_mm: f64,
    /// Where, mm; absent where nothing is undercut.
    pub deepest_at_mm: Option<Place>,
    /// Volume of the dead space, mm3.
    pub volume_mm3: f64,
    /// Its standard uncertainty, mm3.
    pub volume_uncertainty_mm3: f64,
    /// Points of the part whose depth depends on the closing of holes in the scan.
    pub closed_hole_vertices: usize,
}
