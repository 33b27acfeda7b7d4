//! The case: what was asked, and the scans it was asked about.
//!
//! A case file is TOML; [`mod@file`] reads it raw, then validates it and returns all problems at once. A [`Case`] joins the
//! validated file with the imported scans.

pub mod chart;
pub mod file;
pub mod labels;
pub mod notation;
pub mod tooth;

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::Deserialize;

use crate::load::Import;
use crate::mesh::Mesh;
use crate::space::{Direction, Point, Tilt};
use crate::units::LengthUnit;
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

/// `[attachment]`: the envelope of the user's own attachment, and the stack over it, mm.
#[derive(Clone, Debug, PartialEq)]
pub struct Attachment {
    /// A mesh of the attachment beside its envelope.
    pub mesh: Option<AttachmentMesh>,
    /// How hinge axes lie.
    pub axes: HingeAxes,
    /// Which way the joint turns, where it is said.
    pub joint: Option<JointStop>,
    /// Where the hinge's axis runs, in the body's own axes from the middle of its underside, mm; the middle of its end
    /// at the abutment, half its height up, where it is not said.
    pub axis_at_mm: Option<[f64; 3]>,
    /// Height of the envelope along its own axis, mm.
    pub height_mm: f64,
    /// Length along the crest, mm.
    pub length_mm: f64,
    /// Width across the crest, mm.
    pub width_mm: f64,
    /// Denture tooth over it, its resin included unless `resin_mm` is given, mm.
    pub tooth_mm: f64,
    /// Relief between tissue and attachment, mm.
    pub relief_mm: f64,
    /// Resin between attachment and tooth, mm.
    pub resin_mm: f64,
    /// Allowance for occlusal adjustment, mm.
    pub adjustment_mm: f64,
}

/// How the hinge axes of a bilateral case lie.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum HingeAxes {
    /// Each square to the vertical plane of its own crest.
    #[default]
    SquareToCrest,
    /// Both in one direction, the mean of the two.
    Parallel,
}

/// Which way a joint lets the base turn.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum JointStop {
    /// Both ways.
    BothWays,
    /// Toward the tissue only: a stop keeps the base from lifting.
    TowardTissue,
}

/// `[attachment] mesh`: the user's own attachment, in its own axes: x along the crest away from the abutment, y across it,
/// z from the tissue to the opposing arch.
#[derive(Clone, Debug, PartialEq)]
pub struct AttachmentMesh {
    /// File name, relative to the case file.
    pub file: String,
    /// Unit of its coordinates.
    pub unit: LengthUnit,
}

/// `[attachment]` whose sizes, or some of them, are those of its mesh.
#[derive(Clone, Debug, PartialEq)]
pub struct AttachmentByMesh {
    /// Height, length and width as the case file gives them, mm; what is left out is that of the mesh.
    pub sizes_mm: [Option<f64>; 3],
    /// The rest of the table, for a body without size.
    pub rest: AttachmentRest,
}

/// What `[attachment]` says beside the sizes of the body.
#[derive(Clone, Debug, PartialEq)]
pub struct AttachmentRest {
    /// Its mesh.
    pub mesh: Option<AttachmentMesh>,
    /// How hinge axes lie.
    pub axes: HingeAxes,
    /// Which way the joint turns, where it is said.
    pub joint: Option<JointStop>,
    /// Where the hinge's axis runs, mm, where it is said.
    pub axis_at_mm: Option<[f64; 3]>,
    /// Tooth, relief, resin, adjustment, mm.
    pub parts_mm: [f64; 4],
}

impl AttachmentRest {
    /// With height, length and width, mm.
    pub fn sized(self, [height_mm, length_mm, width_mm]: [f64; 3]) -> Attachment {
        let [tooth_mm, relief_mm, resin_mm, adjustment_mm] = self.parts_mm;
        let AttachmentRest { mesh, axes, joint, axis_at_mm, .. } = self;
        Attachment {
            mesh,
            axes,
            joint,
            axis_at_mm,
            height_mm,
            length_mm,
            width_mm,
            tooth_mm,
            relief_mm,
            resin_mm,
            adjustment_mm,
        }
    }
}

/// Height, length and width of an attachment: what is given, else the extent of its mesh.
///
/// # Errors
/// An extent that no attachment has, or one that is far from what is given: most likely another unit, in words.
pub fn attachment_sizes(mesh: &Mesh, given: [Option<f64>; 3]) -> Result<[f64; 3], String> {
    const NAMES: [&str; 3] = ["high", "long", "wide"];
    let Some((low, high)) = mesh.bounds() else { return Err("it holds no triangle".into()) };
    let extent = high - low;
    let of_mesh = [extent.z, extent.x, extent.y];
    let words = |k: usize| format!("it is {} {}", crate::units::mm(of_mesh[k]), NAMES[k]);
    for k in 0..3 {
        if !(LEAST_BODY_MM..=MOST_BODY_MM).contains(&of_mesh[k]) {
            return Err(format!("{}, which no attachment is: most likely its unit is another", words(k)));
        }
        let far = given[k].is_some_and(|mm| !(0.5..=2.0).contains(&(of_mesh[k] / mm)));
        if far {
            let stated = given[k].map_or_else(String::new, crate::units::mm);
            return Err(format!("{}, but {stated} are given: another unit, or other axes", words(k)));
        }
    }
    Ok([0, 1, 2].map(|k| given[k].unwrap_or(of_mesh[k])))
}

/// No attachment is smaller or larger, mm.
const LEAST_BODY_MM: f64 = 0.5;
/// The same at the other end, mm: longer than any span behind an abutment.
const MOST_BODY_MM: f64 = 30.0;

impl Attachment {
    /// Height, length and width, mm.
    pub fn sizes_mm(&self) -> [f64; 3] {
        [self.height_mm, self.length_mm, self.width_mm]
    }

    /// relief + height + resin + tooth + adjustment, mm.
    pub fn required_mm(&self) -> f64 {
        self.relief_mm + self.height_mm + self.resin_mm + self.tooth_mm + self.adjustment_mm
    }
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
}

impl Case {
    /// A case of two scans and no more.
    pub fn new(file: CaseFile, mandible: Option<Scan>, maxilla: Option<Scan>) -> Case {
        Case { file, mandible, maxilla, bite: None, attachment: None }
    }

    /// The scan of an arch.
    pub fn scan(&self, arch: Arch) -> Option<&Scan> {
        match arch {
            Arch::Mandible => self.mandible.as_ref(),
            Arch::Maxilla => self.maxilla.as_ref(),
        }
    }
}
