//! The vocabulary of results: findings, quantities and the report, as they go into `report.json`.
//!
//! A finding has a stable code and parameters; its English text is made of them. A quantity that was not asked for or
//! could not be measured is absent, never a made-up number; a finding says why.

mod abutments;
mod blockout;
mod change;
mod cuts;
mod files;
mod finding;
mod framework;
mod path;
mod room;
mod scene;
mod sections;
mod settings;
mod support;

pub use abutments::{
    AbutmentShown, ApproachArmShown, ClaspShown, FloorBeside, GaugeShown, GuidingPlaneShown, Preparation,
    Prepared, Reached, ReciprocalShown, RestShown, SurfaceShown, Zone,
};
pub use blockout::{BlockoutRegion, BlockoutShown};
pub use change::{
    ChangeAt, ChangeFile, ChangeStation, RegistrationShown, SpanChange, ToothChange, ToothFate, TorusChange,
};
pub use cuts::{Body2, Cut, Flat, Mark2, Span2, Unrolled, UnrolledStation};
pub use files::{ClearanceFile, GaugeReading, SurveyFile, ToriFile};
pub use finding::{Figure, Finding, LimitShown, Verdict, Where};
pub use framework::*;
pub use path::{
    ClaspSought, PathSearch, SurfaceBesideSpan, TiltCompared, TiltScored, TripodMark, Weight, WhichTilt,
    tilt_words,
};
pub use room::*;
pub use scene::{Curve, CurveKind, Scene, Solid, SolidKind, Spot, SpotKind};
pub use sections::*;
pub use settings::{LimitChanged, PartsAsked, SettingsShown};
pub use support::*;

pub use crate::case::{Arch, Notation, Tooth};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Name and version of the program that wrote a file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Tool {
    /// Always `saddleroom`.
    pub name: String,
    /// Its version.
    pub version: String,
}

impl Tool {
    /// This program.
    pub fn this() -> Tool {
        Tool { name: "saddleroom".into(), version: env!("CARGO_PKG_VERSION").into() }
    }
}

/// A section of the report: the findings of one check.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Section {
    /// Id of the check.
    pub id: String,
    /// Its heading.
    pub title: String,
}

/// `report.json`: everything that `check` measured and judged.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Report {
    /// `saddleroom/report/1`.
    pub schema: String,
    /// The program.
    pub tool: Tool,
    /// What was asked about.
    pub case: CaseNamed,
    /// The files read.
    pub inputs: Vec<Input>,
    /// What the run was set to.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub settings: Option<SettingsShown>,
    /// Frame of the restored arch.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub frame: Option<FrameFound>,
    /// How the arches stand to each other.
    pub articulation: Articulation,
    /// The chart and its class.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub chart: Option<ChartShown>,
    /// Teeth found or marked on the restored arch.
    pub teeth: Vec<ToothShown>,
    /// The withdrawal direction used.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub path: Option<PathShown>,
    /// Undercut, survey line, guiding planes and rests of each abutment.
    pub abutments: Vec<AbutmentShown>,
    /// Edentulous spans with their room.
    pub spans: Vec<SpanShown>,
    /// Tori.
    pub tori: Vec<TorusShown>,
    /// Undercut tissue that something rigid crosses, and what has to be blocked out.
    #[serde(default)]
    pub blockout: Vec<BlockoutShown>,
    /// Connectors that were tried.
    pub connectors: Vec<ConnectorShown>,
    /// How the designs share the load, clasp arms, and what speaks for and against a hinge.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mechanics: Option<Mechanics>,
    /// What would have to be prepared, for the dentist to decide.
    pub preparation: Vec<Preparation>,
    /// What to ask.
    pub questions: Vec<Question>,
    /// All findings, in the order of the checks.
    pub findings: Vec<Finding>,
    /// What the scan cannot show, and who decides.
    pub cautions: Vec<String>,
}

impl Report {
    /// Whether something asked for is short, exceeds, is tight, or could not be measured: exit 1.
    pub fn asks_attention(&self) -> bool {
        asks_attention(&self.findings)
    }
}

/// Whether a list of findings ends the command with exit 1.
pub fn asks_attention(findings: &[Finding]) -> bool {
    findings.iter().any(|f| {
        matches!(f.verdict, Verdict::Short | Verdict::Exceeds | Verdict::Tight | Verdict::NotMeasured)
    })
}
