//! What belongs to the room over a span, as `report.json` shows it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Place;
use crate::case::Tooth;

/// A part of what stands over the ridge, from below.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StackPart {
    /// `relief`, `attachment`, `resin`, `tooth` or `adjustment`.
    pub part: String,
    /// Its height, mm.
    pub height_mm: f64,
    /// From the highest tissue under the body to its underside, mm.
    pub from_mm: f64,
    /// To its top, mm.
    pub to_mm: f64,
    /// Room left over its top, mm; negative where it does not find its place.
    pub spare_mm: f64,
}

/// The place of the zone with the least room.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct WorstPlace {
    /// Centre along the crest, mm.
    pub along_crest_mm: f64,
    /// Room there, mm.
    pub room_mm: f64,
}

/// A body in its best place.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FitShown {
    /// `envelope` or `mesh`.
    pub body: String,
    /// Middle of its underside, mm.
    pub at_mm: Place,
    /// Its length, its width and its height as directions.
    pub axes: [Place; 3],
    /// Centre along the crest from the abutment, mm.
    pub along_crest_mm: f64,
    /// Shift beside the crest, mm, buccal positive.
    pub buccal_mm: f64,
    /// Tilt along and across the crest, degrees.
    pub tilt_deg: [f64; 2],
    /// Gap from its top to the opposing arch, mm.
    pub over_mm: f64,
    /// The same less what has to stand over it, mm.
    pub spare_mm: f64,
    /// What stands beside it.
    pub meets: Vec<MeetShown>,
    /// How far it may be shifted from there, one way at a time; absent where it does not fit.
    pub freedom: Option<FreedomShown>,
    /// The hinge, where one is asked for.
    pub hinge: Option<HingeShown>,
}

/// A neighbour of a seated body.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct MeetShown {
    /// `ridge`, `opposing` or `abutment`.
    pub with: String,
    /// Least gap along the body's height, for the abutment along the crest, mm; negative where they overlap.
    pub gap_mm: Option<f64>,
    /// Nearest distance in any direction, mm; 0 where they cross; absent beyond 10 mm.
    pub nearest_mm: Option<f64>,
    /// Whether the surfaces cross.
    pub crossing: bool,
    /// Where they are nearest or cross, mm.
    pub at_mm: Option<Place>,
}

/// How far a seated body may be shifted, mm.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FreedomShown {
    /// Toward the abutment.
    pub toward_abutment_mm: f64,
    /// Away from it.
    pub away_mm: f64,
    /// Toward the cheek.
    pub buccal_mm: f64,
    /// Toward the tongue.
    pub lingual_mm: f64,
    /// Along its height.
    pub vertical_mm: f64,
}

/// The hinge of a body.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct HingeShown {
    /// A point of its axis, mm.
    pub axis_at_mm: Place,
    /// The axis, toward the patient's left.
    pub axis: Place,
    /// `square_to_crest` or `parallel`.
    pub axes: String,
    /// `both_ways` or `toward_tissue`; absent where the case does not say.
    pub stop: Option<String>,
    /// Angle of the axis to the occlusal plane, degrees.
    pub to_plane_deg: f64,
    /// Angle to the axis of the other side in plan, and out of plane, degrees; absent on one side alone.
    pub to_other_deg: Option<[f64; 2]>,
    /// Height of this axis over that of the other side, mm.
    pub over_other_mm: Option<f64>,
    /// Swings of the base.
    pub swings: Vec<SwingShown>,
}

/// A swing of the base.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SwingShown {
    /// Way of the end of the base, mm; toward the tissue where positive.
    pub move_mm: f64,
    /// Angle, degrees.
    pub angle_deg: f64,
    /// From the axis to the end of the base, mm.
    pub lever_mm: f64,
    /// From the turned body to the opposing arch, mm.
    pub body_to_opposing_mm: Option<f64>,
    /// From the turned body to the abutment, mm.
    pub body_to_abutment_mm: Option<f64>,
    /// From the top of the base with its teeth to the opposing arch, mm; negative where it strikes.
    pub base_to_opposing_mm: Option<f64>,
    /// Where, mm.
    pub base_at_mm: Option<Place>,
}

/// The place of a denture tooth.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct DentureTooth {
    /// The tooth.
    pub tooth: Tooth,
    /// Its stretch of crest, mm from the front.
    pub along_crest_mm: [f64; 2],
    /// Least interarch distance over it, mm.
    pub height_mm: Option<f64>,
    /// Where that is, mm.
    pub at_mm: Place,
    /// How far the height wanted reaches toward the cheek and toward the tongue, mm.
    pub corridor_mm: Option<[f64; 2]>,
    /// Average mesiodistal width of the crown, mm.
    pub width_mm: f64,
    /// By how much it finds no length, mm.
    pub beyond_mm: f64,
}

/// Length for the teeth of a span.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TeethLength {
    /// Length there is, mm.
    pub there_mm: f64,
    /// Length that average crowns need, mm.
    pub needed_mm: f64,
}

/// An opposing tooth that stands beyond the plane of its arch.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BeyondShown {
    /// The tooth.
    pub tooth: Tooth,
    /// By how much, mm.
    pub beyond_mm: f64,
    /// Its tip, mm.
    pub at_mm: Place,
    /// Room over the span as it is, mm.
    pub room_mm: Option<f64>,
    /// Room gained where one millimetre is taken off, mm.
    pub gained_per_mm: Option<f64>,
    /// Room where all that stands beyond is taken off, mm.
    pub room_without_mm: Option<f64>,
}

/// Room while the mandible moves with its teeth in contact.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ExcursionsShown {
    /// Condylar guidance to the occlusal plane, degrees; `None` where the two sides have their own.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub condylar_guidance_deg: Option<f64>,
    /// That of the right and the left condyle, degrees, where the case gives the two apart.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub condylar_guidance_right_left_deg: Option<[f64; 2]>,
    /// Bennett angle, degrees.
    pub bennett_deg: f64,
    /// Intercondylar distance, mm.
    pub intercondylar_mm: f64,
    /// Whether the case gives the guidance; else it is an average.
    pub guidance_given: bool,
    /// Positions.
    pub positions: Vec<PositionShown>,
    /// Least interarch distance over the crest in all of them, mm.
    pub least_along_mm: Option<f64>,
    /// Least room at the site in all of them, mm.
    pub least_room_mm: Option<f64>,
}

/// A position of the mandible.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PositionShown {
    /// `protrusive`, `to_right` or `to_left`.
    pub excursion: String,
    /// Way of the condyles, mm.
    pub way_mm: f64,
    /// Turn about the condyles that tooth contact asks for, degrees, positive opening.
    pub opened_deg: f64,
    /// Least interarch distance over the crest, mm.
    pub least_along_mm: Option<f64>,
    /// Room at the site, mm.
    pub room_mm: Option<f64>,
}
