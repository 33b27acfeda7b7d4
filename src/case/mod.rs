//! The case: what was asked, and the scans it was asked about.
//!
//! A case file is TOML; [`mod@file`] reads it raw, then validates it and returns all problems at once. A [`Case`] joins the
//! validated file with the imported scans.

pub mod attachment;
pub mod chart;
pub mod file;
pub mod labels;
pub mod notation;
pub mod tooth;

use std::collections::BTreeMap;

use crate::load::Import;
use crate::mesh::Mesh;
use crate::space::{Direction, Point, Tilt};
use crate::units::LengthUnit;
pub use attachment::{
    Attachment, AttachmentByMesh, AttachmentMesh, AttachmentRest, HingeAxes, JointStop, attachment_sizes,
};
pub use chart::{Chart, Kennedy, SpanKind, SpanTeeth};
pub use tooth::{Arch, Side, Tooth};

/// How tooth numbers are written.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, serde::Serialize, serde::Deserialize, schemars::JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Notation {
    /// FDI two-digit numbers, ISO 3950.
    #[default]
    Fdi,
    /// Universal numbers 1 to 32.
    Universal,
    /// Palmer: quadrant letters and place, `UR4`.
    Palmer,
}

/// What design is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize, schemars::JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Request {
    /// Base joined by a distal-extension hinge.
    Hinge,
    /// Clasps and rests on one rigid framework.
    Rigid,
    /// A moment-carrying attachment.
    Clamped,
    /// The designs side by side.
    Compare,
}

/// Where a rest lies on its tooth.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize, schemars::JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum RestPlace {
    /// Mesial fossa.
    Mesial,
    /// Distal fossa.
    Distal,
    /// Cingulum.
    Cingulum,
    /// Incisal edge.
    Incisal,
}

/// Surface of a tooth; told from the arch frame.
#[derive(
    Clone,
    Copy,
    Debug,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    serde::Serialize,
    serde::Deserialize,
    schemars::JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Surface {
    /// Toward cheek or lip.
    Buccal,
    /// Toward tongue or palate.
    Lingual,
    /// Toward the midline along the arch.
    Mesial,
    /// Away from the midline along the arch.
    Distal,
}

impl Surface {
    /// All four, in report order.
    pub const ALL: [Surface; 4] = [Surface::Buccal, Surface::Lingual, Surface::Mesial, Surface::Distal];

    /// `buccal`, `lingual`, `mesial` or `distal`.
    pub fn word(self) -> &'static str {
        match self {
            Surface::Buccal => "buccal",
            Surface::Lingual => "lingual",
            Surface::Mesial => "mesial",
            Surface::Distal => "distal",
        }
    }
}

/// Kind of clasp.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize, schemars::JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum ClaspKind {
    /// Cast circumferential arm.
    CastCircumferential,
    /// Bar clasp, gingivally approaching.
    Bar,
    /// Wrought wire arm.
    WroughtWire,
}

impl ClaspKind {
    /// The undercut depth taught for it, mm: 0.25, 0.50, 0.75 (trade facts, shortlist row 2, published).
    pub fn gauge_mm(self) -> f64 {
        match self {
            ClaspKind::CastCircumferential => 0.25,
            ClaspKind::Bar => 0.50,
            ClaspKind::WroughtWire => 0.75,
        }
    }
}

/// Alloy or polymer of a clasp arm.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize, schemars::JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Alloy {
    /// Cobalt-chromium.
    CobaltChromium,
    /// Type IV gold.
    GoldTypeIv,
    /// Commercially pure titanium.
    Titanium,
    /// Titanium alloy.
    TitaniumAlloy,
    /// Stainless steel wire.
    StainlessSteel,
    /// Platinum-gold-palladium wire.
    PlatinumGold,
    /// PEEK.
    Peek,
    /// Acetal.
    Acetal,
}

impl RestPlace {
    /// The word for it in a case file.
    pub fn word(self) -> &'static str {
        match self {
            RestPlace::Mesial => "mesial",
            RestPlace::Distal => "distal",
            RestPlace::Cingulum => "cingulum",
            RestPlace::Incisal => "incisal",
        }
    }
}

/// A rest asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rest {
    /// Its tooth.
    pub tooth: Tooth,
    /// Where on the tooth.
    pub place: RestPlace,
}

/// A clasp asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Clasp {
    /// Its tooth.
    pub tooth: Tooth,
    /// Surface that the retentive tip engages.
    pub surface: Surface,
    /// Its kind.
    pub kind: ClaspKind,
    /// Its material, where given.
    pub alloy: Option<Alloy>,
    /// Length of the arm, mm, where given.
    pub arm_mm: Option<f64>,
}

/// What stands opposite the denture.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize, schemars::JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Opposite {
    /// Natural teeth, or fixed work on them.
    NaturalTeeth,
    /// A removable partial denture.
    PartialDenture,
    /// A complete denture.
    CompleteDenture,
    /// Teeth on implants.
    Implants,
}

impl Opposite {
    /// It in words.
    pub fn words(self) -> &'static str {
        match self {
            Opposite::NaturalTeeth => "natural teeth",
            Opposite::PartialDenture => "a removable partial denture",
            Opposite::CompleteDenture => "a complete denture",
            Opposite::Implants => "teeth on implants",
        }
    }
}

/// A load on the denture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ToothLoad {
    /// The replaced tooth that is loaded.
    pub tooth: Tooth,
    /// Force, N; the limit `support_load_n` where left out.
    pub force_n: Option<f64>,
    /// Where, mm; the tooth's place over the crest where left out.
    pub at: Option<Point>,
    /// Which way it pushes; straight to the tissue where left out.
    pub direction: Option<Direction>,
}

/// `[support]`: what the dentist knows of what shall carry the denture, and how it is loaded.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Support {
    /// Loads instead of those on the replaced molars.
    pub loads: Vec<ToothLoad>,
    /// Mobility of abutments, grade 0 to 3.
    pub mobility: BTreeMap<Tooth, u8>,
    /// Crown over root in bone, in length, of abutments.
    pub crown_root_ratio: BTreeMap<Tooth, f64>,
    /// What stands opposite.
    pub opposite: Option<Opposite>,
}

/// `[design]`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Design {
    /// What is asked for.
    pub request: Option<Request>,
    /// Teeth that shall carry the denture.
    pub abutments: Vec<Tooth>,
    /// Rests asked for.
    pub rests: Vec<Rest>,
    /// Clasps asked for.
    pub clasps: Vec<Clasp>,
}

/// `[path]`: how the withdrawal direction is chosen.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum PathWanted {
    /// Left out: searched.
    #[default]
    Searched,
    /// A direction in the file's axes.
    Withdrawal(Direction),
    /// A tilt from the occlusal normal.
    Tilt(Tilt),
}

/// `[accuracy]`: standard uncertainties that the user states, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Accuracy {
    /// Trueness of the scans; 0.06 unless stated (trade facts, section 11, YAO).
    pub scan_mm: f64,
    /// Relation of the arches; 0.10 unless stated (the design's default).
    pub articulation_mm: f64,
}

impl Default for Accuracy {
    fn default() -> Accuracy {
        Accuracy { scan_mm: 0.06, articulation_mm: 0.10 }
    }
}

/// `[articulation]`: what is said of the relation of the arches.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Relation {
    /// The arches stand as they shall although their surfaces do not show it: room between them is judged all the same.
    pub as_scanned: bool,
    /// Motion that brings the opposing arch from its file into its relation to the restored one, mm.
    pub opposing_motion: Option<crate::space::Motion>,
    /// Condylar guidance of the right and the left side, degrees, where the two are given apart.
    pub guidance_deg: Option<[f64; 2]>,
}

/// `[marks]`: places that the user has set, mm (file coordinates times the unit's millimetres).
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Marks {
    /// Three points on the occlusal plane of the restored arch.
    pub occlusal_plane: Option<[Point; 3]>,
    /// The point between the central incisors of the restored arch.
    pub midline: Option<Point>,
    /// A point on the crown of a tooth.
    pub teeth: BTreeMap<Tooth, Point>,
    /// Residual-ridge crest lines.
    pub crests: Vec<Vec<Point>>,
    /// Gingival margins as closed curves.
    pub margins: BTreeMap<Tooth, Vec<Point>>,
    /// Outlines of tori as closed curves.
    pub tori: Vec<Vec<Point>>,
    /// One point on each torus.
    pub tori_at: Vec<Point>,
    /// Distal ends of ridges.
    pub ridge_ends: Vec<Point>,
    /// Where the tip of the clasp on a tooth shall rest.
    pub clasp_tips: BTreeMap<Tooth, Point>,
    /// Where the middle of an attachment shall stand, each near the crest of its span.
    pub attachment_at: Vec<Point>,
}

/// `[scans]`: file names as written in the case file, relative to it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Scans {
    /// Scan of the mandible.
    pub mandible: Option<String>,
    /// Scan of the maxilla.
    pub maxilla: Option<String>,
    /// Scan of the bite.
    pub bite: Option<String>,
    /// One FDI number a vertex of the mandible's file (for STL one a face).
    pub mandible_labels: Option<String>,
    /// The same for the maxilla.
    pub maxilla_labels: Option<String>,
    /// Unit of all scan coordinates and marks.
    pub unit: LengthUnit,
}

/// A validated case file.
#[derive(Clone, Debug, PartialEq)]
pub struct CaseFile {
    /// Name of the case; no personal data.
    pub id: String,
    /// Arch that gets the denture.
    pub restored: Arch,
    /// Scan files.
    pub scans: Scans,
    /// How tooth numbers of the file are written, and of the report by default.
    pub notation: Notation,
    /// The chart; `None` where the file has none.
    pub chart: Option<Chart>,
    /// What is asked for.
    pub design: Design,
    /// The withdrawal direction wanted.
    pub path: PathWanted,
    /// Length of the withdrawal direction as the file gives it.
    pub withdrawal_length: Option<f64>,
    /// The attachment, where given.
    pub attachment: Option<Attachment>,
    /// The attachment whose size its mesh gives, until the mesh is read.
    pub attachment_by_mesh: Option<AttachmentByMesh>,
    /// What carries the denture and how it is loaded.
    pub support: Support,
    /// Lingual depth from gingival margin to raised floor of the mouth, by tooth, mm.
    pub probe_mm: BTreeMap<Tooth, f64>,
    /// Stated accuracy.
    pub accuracy: Accuracy,
    /// What is said of the relation of the arches.
    pub relation: Relation,
    /// Marks.
    pub marks: Marks,
    /// Limits changed by the user: id and new figure, in the order of the file.
    pub limits: Vec<(String, f64)>,
}

impl CaseFile {
    /// A case without a file: scans and the restored arch, all else left out.
    pub fn bare(id: &str, restored: Arch, scans: Scans) -> CaseFile {
        CaseFile {
            id: id.to_owned(),
            restored,
            scans,
            notation: Notation::Fdi,
            chart: None,
            design: Design::default(),
            path: PathWanted::Searched,
            withdrawal_length: None,
            attachment: None,
            attachment_by_mesh: None,
            support: Support::default(),
            probe_mm: BTreeMap::new(),
            accuracy: Accuracy::default(),
            relation: Relation::default(),
            marks: Marks::default(),
            limits: Vec::new(),
        }
    }
}

/// A scan that was read: where from, and what it held.
#[derive(Clone, Debug)]
pub struct Scan {
    /// File name as given.
    pub file: String,
    /// SHA-256 of the bytes, hexadecimal.
    pub sha256: String,
    /// What it held.
    pub import: Import,
    /// One FDI number a welded vertex (0 = no tooth), where labels were given.
    pub labels: Option<Vec<u8>>,
}

/// Everything that one analysis works on.
#[derive(Clone, Debug)]
pub struct Case {
    /// The validated case file.
    pub file: CaseFile,
    /// The mandible.
    pub mandible: Option<Scan>,
    /// The maxilla.
    pub maxilla: Option<Scan>,
    /// Scan of the bite, from the side.
    pub bite: Option<Scan>,
    /// The attachment's mesh, mm, in its own axes.
    pub attachment: Option<Mesh>,
    /// Whether all tilts are tried beside a path that the file gives.
    pub tilts_beside: bool,
}

impl Case {
    /// A case of two scans and no more.
    pub fn new(file: CaseFile, mandible: Option<Scan>, maxilla: Option<Scan>) -> Case {
        Case { file, mandible, maxilla, bite: None, attachment: None, tilts_beside: false }
    }

    /// The scan of an arch.
    pub fn scan(&self, arch: Arch) -> Option<&Scan> {
        match arch {
            Arch::Mandible => self.mandible.as_ref(),
            Arch::Maxilla => self.maxilla.as_ref(),
        }
    }
}
