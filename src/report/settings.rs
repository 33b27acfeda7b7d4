//! What a run was set to: what it takes for granted of the scans, the parts asked for, the limits that the case changed.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::case::{Notation, Request};
use crate::units::Unit;

/// A limit that the case file changed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LimitChanged {
    /// Its id in the table of rules.
    pub id: String,
    /// The number that the case file sets.
    pub number: f64,
    /// Its unit.
    pub unit: Unit,
}

/// The parts of the attachment asked for, mm.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PartsAsked {
    /// Height of the attachment.
    pub height_mm: f64,
    /// Its length along the crest.
    pub length_mm: f64,
    /// Its width across the crest.
    pub width_mm: f64,
    /// Tooth over it.
    pub tooth_mm: f64,
    /// Relief under it.
    pub relief_mm: f64,
    /// Resin between them.
    pub resin_mm: f64,
    /// Room for adjustment.
    pub adjustment_mm: f64,
}

/// Settings of a run.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SettingsShown {
    /// How the case file numbers teeth; the numbers in this file are FDI.
    pub notation: Notation,
    /// Design asked for.
    pub request: Option<Request>,
    /// Standard uncertainty of the scans, mm.
    pub scan_mm: f64,
    /// Standard uncertainty of the articulation, mm.
    pub articulation_mm: f64,
    /// Parts of the attachment asked for.
    pub attachment: Option<PartsAsked>,
    /// Limits that the case file changed.
    pub limits_changed: Vec<LimitChanged>,
}
