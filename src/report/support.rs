//! How the designs share the load, what clasp arms bear, and what speaks for and against a hinge, as `report.json` shows it.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Place;
use crate::case::{Alloy, ClaspKind, RestPlace, Surface, Tooth};
use crate::units::Unit;

/// `mechanics` of the report.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Mechanics {
    /// Rigid, clamped, hinged, side by side.
    pub designs: Vec<DesignShown>,
    /// Hinged less rigid and less clamped, run by run.
    pub told_apart: Vec<ApartShown>,
    /// The ranges that were assumed.
    pub assumed: Vec<AssumedShown>,
    /// The load for which `designs` gives medians.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub main_load: Option<String>,
    /// Runs over the ranges.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub runs: Option<usize>,
    /// Clasp arms.
    pub clasps: Vec<ClaspArmShown>,
    /// For and against a hinge.
    pub indications: Vec<IndicationShown>,
}

impl Mechanics {
    /// Whether nothing was worked out.
    pub fn is_empty(&self) -> bool {
        *self == Mechanics::default()
    }

    /// Takes up what another check worked out.
    pub fn join(&mut self, more: Mechanics) {
        self.designs.extend(more.designs);
        self.told_apart.extend(more.told_apart);
        self.assumed.extend(more.assumed);
        self.clasps.extend(more.clasps);
        self.indications.extend(more.indications);
        self.main_load = self.main_load.take().or(more.main_load);
        self.runs = self.runs.or(more.runs);
    }
}

/// One design. Figures are medians over the ranges for the main load; `loads` are worked out at the middle of all ranges.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct DesignShown {
    /// `rigid`, `clamped` or `hinged`.
    pub kind: String,
    /// Part of the load on the abutments.
    pub abutment_share: f64,
    /// Part on the ridge.
    pub ridge_share: f64,
    /// Greatest moment on an abutment.
    pub abutment_moment_n_mm: f64,
    /// Greatest pressure on the ridge.
    pub ridge_peak_mpa: f64,
    /// Mean pressure where the base bears.
    pub ridge_mean_mpa: f64,
    /// Sinking of the distal end.
    pub distal_sink_mm: f64,
    /// Greatest movement of a clasp tip out of its undercut; absent without clasps.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub clasp_tip_move_mm: Option<f64>,
    /// Each abutment.
    pub abutments: Vec<AbutmentLoad>,
    /// 5 and 95 % of the runs stay under these, by the name of the figure.
    pub bands: BTreeMap<String, [f64; 2]>,
    /// The input that weighs most on each figure.
    pub governed_by: Vec<Governing>,
    /// Each load at the middle of the ranges.
    pub loads: Vec<LoadAnswer>,
}

/// An abutment over the runs.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct AbutmentLoad {
    /// The tooth.
    pub tooth: Tooth,
    /// Its part of the load.
    pub load_share: f64,
    /// 5 and 95 %.
    pub load_share_band: [f64; 2],
    /// Moment that tips it toward distal; toward mesial where negative.
    pub distal_moment_n_mm: f64,
    /// 5 and 95 %.
    pub distal_moment_band_n_mm: [f64; 2],
    /// `distal`, `mesial`, or `either` where the band holds both.
    pub tips: String,
}

/// An input that governs a figure.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Governing {
    /// The figure.
    pub figure: String,
    /// The input.
    pub input: String,
    /// Rank correlation, -1 to 1.
    pub rank_correlation: f64,
}

/// A design under one load.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LoadAnswer {
    /// The load in words.
    pub load: String,
    /// Loaded teeth.
    pub teeth: Vec<Tooth>,
    /// Sum of the forces, N.
    pub force_n: f64,
    /// Whether one side of the arch alone is loaded.
    pub one_side: bool,
    /// Part on the abutments.
    pub abutment_share: f64,
    /// Part on the ridge.
    pub ridge_share: f64,
    /// Each abutment.
    pub abutments: Vec<AbutmentAnswer>,
    /// Each rest.
    pub rests: Vec<RestAnswer>,
    /// Each clasp.
    pub clasps: Vec<ClaspAnswer>,
    /// Each base.
    pub bases: Vec<BaseAnswer>,
    /// 5 %, median and 95 % over the ranges of each figure, by its name; empty where the runs did not come to rest.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub over_ranges: BTreeMap<String, [f64; 3]>,
    /// The line through the most distal rests that bear.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fulcrum_line_mm: Option<[Place; 2]>,
    /// The line about which the framework turns.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub turns_about: Option<TurnAnswer>,
    /// Greatest lift of a rest or a base that is not loaded.
    pub unloaded_lift_mm: f64,
    /// Whether the search for the rest position ended; a load for which it did not is a finding.
    pub converged: bool,
    /// Steps of that search.
    pub steps: usize,
    /// Missing force or moment, as a share of the load.
    pub balance_share: f64,
}

/// An abutment under one load.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct AbutmentAnswer {
    /// The tooth.
    pub tooth: Tooth,
    /// Along the tooth.
    pub force_n: f64,
    /// Tips it toward distal; toward mesial where negative.
    pub distal_moment_n_mm: f64,
    /// Tips it toward the cheek; toward the tongue where negative.
    pub buccal_moment_n_mm: f64,
    /// `distal`, `mesial`, `buccal` or `lingual`: the greater of the two; `none` under 1 N·mm.
    pub tips: String,
}

/// A rest under one load.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RestAnswer {
    /// The tooth.
    pub tooth: Tooth,
    /// Its place.
    pub place: RestPlace,
    /// On its seat.
    pub force_n: f64,
    /// Out of its seat.
    pub lift_mm: f64,
}

/// A clasp tip under one load.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ClaspAnswer {
    /// The tooth.
    pub tooth: Tooth,
    /// Its surface.
    pub surface: Surface,
    /// Along the path: out of the undercut, into it where negative.
    pub along_mm: f64,
    /// Away from the tooth; toward it where negative.
    pub across_mm: f64,
    /// On the tooth.
    pub force_n: f64,
    /// Depth of the undercut that it engages.
    pub undercut_mm: f64,
    /// Below the survey line along the path; absent where there is no line above.
    pub below_survey_line_mm: Option<f64>,
    /// Whether it comes out over the survey line; absent where that is not known.
    pub leaves_undercut: Option<bool>,
}

/// A base under one load.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct BaseAnswer {
    /// The span.
    pub span: Vec<Tooth>,
    /// Greatest pressure.
    pub peak_mpa: f64,
    /// Its place.
    pub peak_at_mm: Option<Place>,
    /// The same in words.
    pub peak_words: Option<String>,
    /// Force over the area that bears.
    pub mean_mpa: f64,
    /// Part of the ridge that bears.
    pub bearing_share: f64,
    /// Sinking of its distal end; lift where negative.
    pub distal_sink_mm: f64,
    /// About its long axis: buccal side down; lingual side down where negative.
    pub roll_deg: f64,
    /// Greatest lift along its crest.
    pub lift_mm: f64,
    /// How far it turns in its hinge, distal end down; up where negative; absent where it has none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hinge_turn_deg: Option<f64>,
    /// Whether the stop against lifting bears.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hinge_on_stop: Option<bool>,
}

/// A turn of the framework.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TurnAnswer {
    /// A place of the axis.
    pub at_mm: Place,
    /// Its direction.
    pub axis: Place,
    /// Angle.
    pub angle_deg: f64,
}

/// Whether hinged and another design can be told apart in a figure.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ApartShown {
    /// The figure, with its unit in its name.
    pub figure: String,
    /// The design that hinged is set against: `rigid` or `clamped`.
    pub against: String,
    /// Hinged less that design, median.
    pub hinged_less_other: f64,
    /// 5 and 95 % of it.
    pub band: [f64; 2],
    /// Whether the band leaves out zero and the difference is large enough to be called one.
    pub told_apart: bool,
    /// The input that weighs most on it.
    pub governed_by: String,
    /// Part of that input's range in which they can be told apart; absent where nowhere.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub within: Option<[f64; 2]>,
    /// In words.
    pub says: String,
}

/// A number that was assumed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct AssumedShown {
    /// Its name, with its unit.
    pub input: String,
    /// Least.
    pub low: f64,
    /// Greatest.
    pub high: f64,
    /// Unit of both.
    pub unit: Unit,
    /// Where it comes from and how well it is founded.
    pub source: String,
    /// How strongly it moves the abutments' share in each design, rank correlation in the order of `designs`.
    pub weights: Vec<f64>,
}

/// A clasp arm as a beam.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ClaspArmShown {
    /// The tooth.
    pub tooth: Tooth,
    /// Its surface.
    pub surface: Surface,
    /// Its kind.
    pub kind: ClaspKind,
    /// Its material.
    pub alloy: Alloy,
    /// Length of the arm.
    pub arm_mm: f64,
    /// Whether the case gives it, or it was taken from the crown's girth.
    pub arm_given: bool,
    /// Undercut that it engages.
    pub undercut_mm: f64,
    /// Force to spread it so far, the arm taken for straight.
    pub force_n: f64,
    /// The same for an arm bent round the crown; absent where it would go round by more than half.
    pub force_curved_n: Option<f64>,
    /// Greatest stress, straight.
    pub stress_mpa: f64,
    /// Stress at which the material sets; absent where none is known.
    pub limit_mpa: Option<f64>,
    /// Least length at which the straight arm stays under it.
    pub least_arm_mm: Option<f64>,
    /// Angle of the wall to the path at the tip.
    pub wall_deg: f64,
    /// Force to draw the tip off along the path; absent where friction alone would hold it.
    pub withdrawal_n: Option<f64>,
}

/// Which way a fact speaks.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Speaks {
    /// For a hinge.
    For,
    /// Against it.
    Against,
    /// Neither, as it stands.
    Neither,
    /// Not known.
    NotKnown,
}

impl Speaks {
    /// It in words.
    pub fn words(self) -> &'static str {
        match self {
            Speaks::For => "for",
            Speaks::Against => "against",
            Speaks::Neither => "neither",
            Speaks::NotKnown => "not known",
        }
    }
}

/// A row of the table for and against a hinge.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct IndicationShown {
    /// What it is about.
    pub about: String,
    /// The fact of this case.
    pub fact: String,
    /// Which way it speaks.
    pub speaks: Speaks,
    /// Who teaches so.
    pub source: String,
}
