//! The parts of a report that tell of the abutments. Lengths in mm, angles in degrees, positions `[x, y, z]` in mm of the
//! file's own axes.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Place;
use crate::case::{ClaspKind, RestPlace, Surface, Tooth};

/// Third of a tooth surface.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Zone {
    /// Mesial third.
    Mesial,
    /// Middle third.
    Middle,
    /// Distal third.
    Distal,
}

/// A gauge on a surface.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct GaugeShown {
    /// Gauge, mm.
    pub gauge_mm: f64,
    /// Whether that depth is reached above the margin.
    pub reached: bool,
    /// How far below the survey line, along the path, mm.
    pub below_survey_line_mm: Option<f64>,
    /// How far above the margin, along the path, mm.
    pub above_margin_mm: Option<f64>,
    /// Place: middle of the isoline in its zone, mm.
    pub at_mm: Option<Place>,
    /// Zone of the surface.
    pub zone: Option<Zone>,
    /// Angle between the path and the tooth's surface there, degrees.
    pub convergence_deg: Option<f64>,
    /// Undercut at the place along the occlusal normal, mm; absent where that is not known.
    pub along_normal_mm: Option<f64>,
    /// The place lies nearer to the gingival margin than a clasp's tip should.
    pub near_margin: Option<bool>,
    /// The gauge's depth is there along the path but not along the occlusal normal: made by tilting alone.
    pub by_tilt_alone: Option<bool>,
}

/// A surface of an abutment.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SurfaceShown {
    /// Which.
    pub surface: Surface,
    /// Deepest undercut above the margin, mm; 0 where the surface is free.
    pub deepest_mm: Option<f64>,
    /// Where, mm.
    pub deepest_at_mm: Option<Place>,
    /// The three gauges.
    pub gauges: Vec<GaugeShown>,
}

/// A surface that can guide the denture.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct GuidingPlaneShown {
    /// Which surface.
    pub surface: Surface,
    /// Height along the path, mm.
    pub height_mm: f64,
    /// Width across it, mm.
    pub width_mm: f64,
    /// Greatest deviation from the path, degrees.
    pub deviation_deg: f64,
}

/// What a recess is taken for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Prepared {
    /// A prepared seat.
    Prepared,
    /// An ordinary fossa, cingulum or edge.
    OrdinaryFossa,
    /// Neither is sure.
    Uncertain,
}

impl Prepared {
    /// The words for it on the sheet.
    pub fn words(self) -> &'static str {
        match self {
            Prepared::Prepared => "prepared",
            Prepared::OrdinaryFossa => "ordinary",
            Prepared::Uncertain => "uncertain",
        }
    }
}

/// What the angle of a floor is told against.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum FloorBeside {
    /// The proximal surface below it.
    ProximalSurface,
    /// The occlusal normal.
    OcclusalNormal,
}

/// A rest place.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RestShown {
    /// Where on the tooth.
    pub place: RestPlace,
    /// Depth of the seat at the marginal ridge, in the edge, or along the tooth on a cingulum, mm; absent for an ordinary fossa.
    pub depth_mm: Option<f64>,
    /// Room to the opposing arch over it, mm.
    pub room_mm: Option<f64>,
    /// Where, mm: the floor of the seat.
    pub at_mm: Option<Place>,
    /// Whether the case names a rest there.
    #[serde(default)]
    pub named: bool,
    /// What the recess is taken for; absent where it was not read.
    #[serde(default)]
    pub prepared: Option<Prepared>,
    /// Confidence that it is a prepared seat, 0 to 1.
    #[serde(default)]
    pub confidence: Option<f64>,
    /// Standard uncertainty of the depth, mm.
    #[serde(default)]
    pub depth_uncertainty_mm: Option<f64>,
    /// Mesiodistal length, mm.
    #[serde(default)]
    pub length_mm: Option<f64>,
    /// Buccolingual width, mm.
    #[serde(default)]
    pub width_mm: Option<f64>,
    /// Angle of the floor through the tooth, degrees: under 90 it falls inward.
    #[serde(default)]
    pub floor_angle_deg: Option<f64>,
    /// What that angle is told against.
    #[serde(default)]
    pub floor_angle_to: Option<FloorBeside>,
    /// Depth still lacking against the least that is wanted, mm; 0 where nothing is.
    #[serde(default)]
    pub lacking_mm: Option<f64>,
}

impl RestShown {
    /// A place of which nothing was read.
    pub fn unread(place: RestPlace) -> RestShown {
        RestShown {
            place,
            depth_mm: None,
            room_mm: None,
            at_mm: None,
            named: true,
            prepared: None,
            confidence: None,
            depth_uncertainty_mm: None,
            length_mm: None,
            width_mm: None,
            floor_angle_deg: None,
            floor_angle_to: None,
            lacking_mm: None,
        }
    }
}

/// An abutment.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct AbutmentShown {
    /// FDI number.
    pub tooth: Tooth,
    /// Its surfaces.
    pub surfaces: Vec<SurfaceShown>,
    /// Survey line as polylines, mm.
    pub survey_line_mm: Vec<Vec<Place>>,
    /// Guiding planes beside spans.
    pub guiding_planes: Vec<GuidingPlaneShown>,
    /// Rests.
    pub rests: Vec<RestShown>,
    /// Crown above the survey line, mm2.
    pub suprabulge_mm2: Option<f64>,
    /// Crown below the survey line, down to the gingival margin, mm2.
    pub infrabulge_mm2: Option<f64>,
    /// Clasps asked for on it.
    pub clasps: Vec<ClaspShown>,
}

impl AbutmentShown {
    /// An abutment of which nothing is told yet.
    pub fn of(tooth: Tooth) -> AbutmentShown {
        AbutmentShown {
            tooth,
            surfaces: Vec::new(),
            survey_line_mm: Vec::new(),
            guiding_planes: Vec::new(),
            rests: Vec::new(),
            suprabulge_mm2: None,
            infrabulge_mm2: None,
            clasps: Vec::new(),
        }
    }
}

/// A clasp asked for, and what is read for it beside its undercut.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ClaspShown {
    /// Surface that its tip engages.
    pub surface: Surface,
    /// Its kind.
    pub kind: ClaspKind,
    /// Undercut that it wants, mm.
    pub wants_mm: f64,
    /// Where its tip would rest, mm; absent where that undercut is not reached.
    pub tip_at_mm: Option<Place>,
    /// The surface opposite its tip.
    pub reciprocal: Option<ReciprocalShown>,
    /// The way of a bar clasp's approach arm.
    pub approach_arm: Option<ApproachArmShown>,
}

/// Which of two is reached first on seating.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Reached {
    /// Before the other.
    First,
    /// Within the uncertainty of the measurement.
    Together,
    /// After the other.
    Last,
}

/// The surface opposite a clasp's tip.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ReciprocalShown {
    /// Which.
    pub surface: Surface,
    /// Height along the path of its part that is free and runs along the path, mm; 0 where there is none.
    pub height_mm: f64,
    /// Area of that part, mm2.
    pub area_mm2: f64,
    /// How far the denture stands off its seat when a rigid arm there begins to hold the tooth, mm.
    pub holding_travel_mm: Option<f64>,
    /// How far it stands off when the clasp's tip passes the height of contour, mm.
    pub tip_travel_mm: Option<f64>,
    /// When the reciprocal arm is reached, against the tip's passing the height of contour.
    pub reached: Option<Reached>,
    /// Where the rigid arm's lower border rests, mm.
    pub rests_at_mm: Option<Place>,
}

/// The way of a bar clasp's approach arm over the tissue.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ApproachArmShown {
    /// Where it leaves: mesial or distal.
    pub leaves: Surface,
    /// Its distance from the gingival margin, mm along the tissue.
    pub from_margin_mm: f64,
    /// Depth of the sulcus: shortest way along the tissue from the margin, mm.
    pub sulcus_mm: f64,
    /// The same straight down, mm.
    pub sulcus_vertical_mm: f64,
    /// Where the sulcus is least deep, mm.
    pub sulcus_at_mm: Place,
    /// The scan ends there before a sulcus is seen.
    pub scan_ends: bool,
    /// Deepest undercut of the tissue under the arm along the path, mm; absent where the tissue does not reach so far.
    pub undercut_mm: Option<f64>,
    /// Where, mm; absent where it is free.
    pub undercut_at_mm: Option<Place>,
    /// Tissue under the arm that is undercut, mm2.
    pub undercut_mm2: f64,
}

/// What would have to be prepared; never a prescription.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Preparation {
    /// The tooth.
    pub tooth: Tooth,
    /// Where on it.
    pub place: String,
    /// How much, mm.
    pub removal_mm: f64,
    /// What it would gain.
    pub gains: String,
    /// Height of the surface gained, mm.
    #[serde(default)]
    pub height_mm: Option<f64>,
    /// Its width, mm.
    #[serde(default)]
    pub width_mm: Option<f64>,
    /// Where most would go, mm.
    #[serde(default)]
    pub at_mm: Option<Place>,
    /// Volume that would go, mm3.
    #[serde(default)]
    pub volume_mm3: Option<f64>,
    /// Standard uncertainty of the greatest depth, mm.
    #[serde(default)]
    pub uncertainty_mm: Option<f64>,
}
