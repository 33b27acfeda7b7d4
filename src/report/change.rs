//! `change.json`: what has changed between two scans of one arch.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Arch, Finding, FoundBy, FrameFound, Input, Place, Question, Tool, TorusSide};
use crate::case::{SpanKind, Tooth};

/// How the older scan was laid onto the newer one.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RegistrationShown {
    /// Rows of the rotation that takes directions of the older file to those of the newer.
    pub old_to_new_rotation: [[f64; 3]; 3],
    /// What is added after the rotation, mm.
    pub old_to_new_shift_mm: Place,
    /// Teeth on which it rests.
    pub teeth: Vec<Tooth>,
    /// Root mean square of the residuals used, mm.
    pub rms_mm: f64,
    /// Median residual without sign, of all places on these teeth, mm.
    pub median_mm: f64,
    /// What 95 of 100 residuals used do not exceed, mm.
    pub p95_mm: f64,
    /// Places used.
    pub places: usize,
    /// Share of the places that were used, 0 to 1.
    pub used_share: f64,
    /// Share of the whole older surface's places with a counterpart that agree with the newer scan, 0 to 1.
    pub whole_agreeing_share: f64,
    /// Median residual of the whole surfaces, mm.
    pub whole_median_mm: f64,
}

/// What became of a tooth.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum ToothFate {
    /// Stands where it stood; the registration rests on it.
    Stayed,
    /// Stands, moved or tilted.
    Moved,
    /// Another surface stands there: restored, worn or broken.
    Reshaped,
    /// Nothing of it is there.
    Gone,
    /// The newer scan does not reach there.
    NotScanned,
}

/// A tooth of the older scan in the newer one.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ToothChange {
    /// Its number.
    pub tooth: Tooth,
    /// What became of it.
    pub fate: ToothFate,
    /// How far its middle moved, mm.
    pub moved_mm: Option<f64>,
    /// Standard uncertainty of that, mm.
    pub moved_uncertainty_mm: Option<f64>,
    /// The movement toward anterior, toward the patient's left and occlusally, mm; absent without a frame.
    pub moved_anterior_left_occlusal_mm: Option<[f64; 3]>,
    /// How far its axis tilted, degrees.
    pub tilted_deg: Option<f64>,
    /// Standard uncertainty of that, degrees.
    pub tilted_uncertainty_deg: Option<f64>,
    /// Median distance of its surface from the newer scan after its own registration, mm.
    pub residual_mm: f64,
    /// Middle of the crown in the older file, mm.
    pub at_mm: Place,
}

/// A change at a place.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ChangeAt {
    /// The change, mm: negative where the surface has gone down.
    pub change_mm: f64,
    /// Its standard uncertainty, the scans' own part included, mm.
    pub uncertainty_mm: f64,
    /// The place on the older surface, mm.
    pub at_mm: Place,
    /// Distance along the crest of its nearest station, mm.
    pub s_mm: Option<f64>,
    /// The place in words.
    pub words: String,
}

/// A station of the profile along the crest.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ChangeStation {
    /// Distance along the crest, mm.
    pub s_mm: f64,
    /// The station on the older crest, mm.
    pub at_mm: Place,
    /// The change there, mm; absent where the newer scan has nothing there.
    pub change_mm: Option<f64>,
}

/// Change of the ridge of one span.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SpanChange {
    /// Missing teeth.
    pub teeth: Vec<Tooth>,
    /// With or without a tooth behind.
    pub kind: SpanKind,
    /// Whether the change exceeds what two scans of an unchanged mouth differ by; absent where that is not settled.
    pub exceeds_scan_difference: Option<bool>,
    /// Where it went down most.
    pub deepest: ChangeAt,
    /// Where it came up most.
    pub highest: ChangeAt,
    /// Mean over the ridge, mm.
    pub mean_mm: f64,
    /// Volume between both surfaces, mm3: negative where the ridge has lost.
    pub volume_mm3: f64,
    /// Its standard uncertainty, mm3.
    pub volume_uncertainty_mm3: f64,
    /// Surface on which it was measured, mm2.
    pub area_mm2: f64,
    /// Share of the ridge's surface on which it was measured, 0 to 1.
    pub measured_share: f64,
    /// Along the crest, from the abutment in front of the span.
    pub profile: Vec<ChangeStation>,
}

/// Change of a torus.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TorusChange {
    /// Its side.
    pub side: Option<TorusSide>,
    /// Its height in the older scan, mm; absent where it was found in the newer alone.
    pub old_height_mm: Option<f64>,
    /// Its height in the newer scan, mm; absent where it was found in the older alone.
    pub new_height_mm: Option<f64>,
    /// Change of the surface at its summit, mm: positive where it has grown; absent where that could not be measured.
    pub change_mm: Option<f64>,
    /// Standard uncertainty of that, mm.
    pub uncertainty_mm: Option<f64>,
    /// Summit in the older file's axes, mm.
    pub summit_mm: Place,
}

/// `change.json`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ChangeFile {
    /// `saddleroom/change/1`.
    pub schema: String,
    /// The program.
    pub tool: Tool,
    /// The older scan, then the newer.
    pub inputs: Vec<Input>,
    /// Which arch it is.
    pub arch: Arch,
    /// `case` where it was said, `scan` where the older scan tells it.
    pub arch_found_by: FoundBy,
    /// Frame of the older scan.
    pub frame: Option<FrameFound>,
    /// What the signs mean.
    pub sign: String,
    /// How the scans were laid onto each other; absent where they do not match.
    pub registration: Option<RegistrationShown>,
    /// Teeth of the older scan.
    pub teeth: Vec<ToothChange>,
    /// Ridges of the spans.
    pub spans: Vec<SpanChange>,
    /// Tori.
    pub tori: Vec<TorusChange>,
    /// Vertices of the older scan.
    pub vertices: usize,
    /// Vertices without a figure in `change.ply`.
    pub vertices_not_measured: usize,
    /// What to ask.
    pub questions: Vec<Question>,
    /// Findings.
    pub findings: Vec<Finding>,
    /// Cautions.
    pub cautions: Vec<String>,
}
