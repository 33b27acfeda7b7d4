//! The tables of a case file as written. The same definition gives the reader, the known keys and the JSON Schema, so
//! the documentation of each key stands here once.

use schemars::JsonSchema;
use toml::de::{DeTable, DeValue};

use super::problem::Sheet;
use super::read::{
    BothSides, Given, Named, OnePoint, Placed, RawTooth, Read, Word, given, only_known, table,
};
use crate::case::{
    Alloy, Arch, ClaspKind, HingeAxes, JointStop, Notation, Opposite, Request, RestPlace, Surface,
};
use crate::units::LengthUnit;

/// Teeth in a list.
pub(super) type Teeth = Vec<Placed<RawTooth>>;
/// Points in a list.
pub(super) type Points = Vec<Placed<[f64; 3]>>;

macro_rules! tables {
    ($($(#[$about:meta])* $name:ident { $($(#[$doc:meta])* $key:ident: $value:ty,)* })*) => {$(
        #[derive(Clone, Debug, Default, JsonSchema)]
        #[schemars(deny_unknown_fields, default)]
        $(#[$about])*
        pub(super) struct $name {
            $($(#[$doc])* pub(super) $key: Given<$value>,)*
        }

        impl $name {
            /// The keys that the table may hold.
            const KEYS: &'static [&'static str] = &[$(stringify!($key)),*];

            fn of(at: &Placed<&DeTable<'_>>, sheet: &mut Sheet) -> $name {
                only_known(at, $name::KEYS, home, sheet);
                $name { $($key: given(at, stringify!($key), sheet),)* }
            }
        }

        impl Read for $name {
            fn read(at: &Placed<&DeValue<'_>>, sheet: &mut Sheet) -> Option<$name> {
                table(at, sheet).map(|at| $name::of(&at, sheet))
            }
        }
    )*};
}

tables! {
    /// A case: two scans, the chart, what is asked for. Lengths in mm, angles in degrees; marks in the unit of the scans.
    #[schemars(extend("required" = ["restored_arch", "scans"]))]
    #[schemars(rename = "case")]
    RawCase {
        /// Name of the case, shown in every output. No personal data.
        id: String,
        /// Arch that gets the denture.
        restored_arch: Word<Arch>,
        /// Scan files.
        scans: RawScans,
        /// Dental chart; left out, the gaps are told from the scan.
        chart: RawChart,
        /// What is asked for.
        design: RawDesign,
        /// Path of insertion; left out, it is searched.
        path: RawPath,
        /// Envelope of the attachment and what stands over it.
        attachment: RawAttachment,
        /// What carries the denture, and how it is loaded.
        support: RawSupport,
        /// What was measured in the mouth.
        probe: RawProbe,
        /// How accurate the scans are.
        accuracy: RawAccuracy,
        /// What is said of the relation of the arches, and how the mandible moves.
        articulation: RawArticulation,
        /// Places set by hand; a mark always overrides what was found.
        marks: RawMarks,
        /// Limits changed for this case, by id.
        limits: Named<f64>,
    }

    /// Scan files (STL, PLY or OBJ, told by content), relative to the case file.
    #[schemars(rename = "scans")]
    RawScans {
        /// Scan of the mandible.
        mandible: String,
        /// Scan of the maxilla.
        maxilla: String,
        /// Unit of all scan coordinates and marks; mm where left out.
        unit: Word<LengthUnit>,
        /// Scan of the bite.
        bite: String,
        /// Tooth labels of the mandible: one FDI number a vertex of its file, for STL one a triangle.
        mandible_labels: String,
        /// Tooth labels of the maxilla: one FDI number a vertex of its file, for STL one a triangle.
        maxilla_labels: String,
    }

    /// Dental chart.
    #[schemars(rename = "chart")]
    RawChart {
        /// How every tooth number in the file is written, keys of tables included; FDI where left out.
        notation: Word<Notation>,
        /// Teeth that are missing. Third molars that are missing count as not to be replaced unless named in `replaced`.
        missing: Teeth,
        /// Missing third molars that shall be replaced all the same.
        replaced: Teeth,
        /// Missing teeth that shall not be replaced.
        not_replaced: Teeth,
        /// Teeth still there that will be taken out before the denture is made.
        extractions: Teeth,
        /// Missing teeth whose gap has closed.
        no_space: Teeth,
        /// Missing teeth that a pontic stands for.
        pontics: Teeth,
        /// Missing teeth that an implant crown stands for.
        implants: Teeth,
    }

    /// What is asked for.
    #[schemars(rename = "design")]
    RawDesign {
        /// A hinge behind the last abutment, a rigid framework on clasps and rests, a moment-carrying attachment, or the designs side by side.
        request: Word<Request>,
        /// Teeth of the restored arch that shall carry the denture.
        abutments: Teeth,
        /// Rests asked for.
        rests: Vec<Placed<RawRest>>,
        /// Clasps asked for.
        clasps: Vec<Placed<RawClasp>>,
    }

    /// A rest.
    #[schemars(extend("required" = ["tooth", "place"]))]
    #[schemars(rename = "rest")]
    RawRest {
        /// Its tooth.
        tooth: RawTooth,
        /// Where on the tooth.
        place: Word<RestPlace>,
    }

    /// A clasp.
    #[schemars(extend("required" = ["tooth", "surface", "kind"]))]
    #[schemars(rename = "clasp")]
    RawClasp {
        /// Its tooth.
        tooth: RawTooth,
        /// Surface that the retentive tip engages.
        surface: Word<Surface>,
        /// Its kind.
        kind: Word<ClaspKind>,
        /// Its material.
        alloy: Word<Alloy>,
        /// Length of the arm, mm.
        arm_mm: f64,
    }

    /// Path of insertion: `withdrawal` or `tilt_deg`, not both.
    #[schemars(rename = "path", extend("not" = { "required": ["withdrawal", "tilt_deg"] }))]
    RawPath {
        /// Direction in which the denture comes out, in the axes of the scans.
        withdrawal: [f64; 3],
        /// Lean of that direction from the occlusal normal.
        tilt_deg: RawTilt,
    }

    /// Lean of the withdrawal direction from the occlusal normal, degrees.
    #[schemars(rename = "tilt")]
    RawTilt {
        /// Toward anterior.
        anterior: f64,
        /// Toward the patient's left.
        left: f64,
    }

    /// Envelope of the user's own attachment and what stands over it, mm.
    #[schemars(extend("required" = ["tooth_mm"]))]
    #[schemars(rename = "attachment")]
    RawAttachment {
        /// A mesh of the attachment, relative to the case file, in its own axes: x along the crest away from the abutment, y across it, z from the tissue to the opposing arch.
        mesh: String,
        /// Unit of the mesh; mm where left out.
        mesh_unit: Word<LengthUnit>,
        /// How the hinge axes lie: each square to the vertical plane of its crest, or both parallel; the first where left out.
        axes: Word<HingeAxes>,
        /// Which way the joint lets the base turn.
        joint: Word<JointStop>,
        /// Where the hinge's axis runs, in the axes of the mesh from the middle of the underside, mm; the middle of the end at the abutment, half the height up, where left out.
        axis_at_mm: [f64; 3],
        /// Height of the envelope; that of the mesh where left out.
        height_mm: f64,
        /// Length along the crest.
        length_mm: f64,
        /// Width across the crest.
        width_mm: f64,
        /// Denture tooth over it, its resin included unless `resin_mm` is given.
        tooth_mm: f64,
        /// Relief between tissue and attachment; 0 where left out.
        relief_mm: f64,
        /// Resin between attachment and tooth; 0 where left out.
        resin_mm: f64,
        /// Allowance for occlusal adjustment; 0 where left out.
        adjustment_mm: f64,
    }

    /// What the dentist knows of what shall carry the denture, and how it is loaded.
    #[schemars(rename = "support")]
    RawSupport {
        /// Loads; each replaced molar in turn and all together where left out.
        loads: Vec<Placed<RawLoad>>,
        /// Mobility of abutments, grade 0 (firm) to 3, by tooth.
        mobility: Named<f64>,
        /// Length of the crown over that of the root in bone, by tooth.
        crown_root_ratio: Named<f64>,
        /// What stands opposite the denture.
        opposite: Word<Opposite>,
    }

    /// A load on a replaced tooth.
    #[schemars(extend("required" = ["tooth"]))]
    #[schemars(rename = "load")]
    RawLoad {
        /// The replaced tooth.
        tooth: RawTooth,
        /// Force, N; the limit support_load_n where left out.
        force_n: f64,
        /// Where, in the coordinates of the scan; the tooth's place over the crest where left out.
        at: OnePoint,
        /// Which way it pushes, in the axes of the scan; straight to the tissue where left out.
        direction: [f64; 3],
    }

    /// What was measured in the mouth.
    #[schemars(rename = "probe")]
    RawProbe {
        /// Depth from the gingival margin to the raised floor of the mouth, mm, by tooth of the mandible.
        lingual_depth_mm: Named<f64>,
    }

    /// Standard uncertainties, mm.
    #[schemars(rename = "accuracy")]
    RawAccuracy {
        /// Trueness of the scans; 0.06 where left out.
        scan_mm: f64,
        /// Relation of the arches; 0.10 where left out.
        articulation_mm: f64,
    }

    /// The relation of the arches and the motion of the mandible.
    #[schemars(rename = "articulation")]
    RawArticulation {
        /// Whether the arches stand as they shall although the scans do not touch, or stand in each other.
        as_scanned: bool,
        /// Three rows of four numbers that bring the opposing arch from its file into its relation: rotation, then translation in mm.
        opposing_motion: Vec<Placed<[f64; 4]>>,
        /// Condylar guidance to the occlusal plane, degrees: a number, or { right = .., left = .. }; an average where left out.
        condylar_guidance_deg: BothSides,
        /// Bennett angle, degrees; an average where left out.
        bennett_deg: f64,
        /// Intercondylar distance, mm; an average where left out.
        intercondylar_mm: f64,
    }

    /// A number of each side of the patient.
    #[schemars(rename = "sides", extend("required" = ["right", "left"]))]
    RawSides {
        /// The patient's right.
        right: f64,
        /// The patient's left.
        left: f64,
    }

    /// Places on the restored arch, in the coordinates of its scan file.
    #[schemars(rename = "marks")]
    RawMarks {
        /// Three points on the occlusal plane.
        #[schemars(length(equal = 3))]
        occlusal_plane: Points,
        /// The point between the central incisors.
        midline: OnePoint,
        /// A point on the crown of a tooth, by tooth.
        teeth: Named<[f64; 3]>,
        /// Crest lines of residual ridges.
        crests: Vec<Placed<Points>>,
        /// Gingival margins as closed curves, by tooth.
        margins: Named<Points>,
        /// Outlines of tori as closed curves.
        tori: Vec<Placed<Points>>,
        /// One point on each torus.
        tori_at: Points,
        /// Distal ends of ridges.
        ridge_ends: Points,
        /// Where the tip of the clasp on a tooth shall rest, by tooth; the deepest place of its surface where left out.
        clasp_tips: Named<[f64; 3]>,
        /// Where the middle of an attachment shall stand, each near the crest of its span; the roomiest place where left out.
        attachment_at: Points,
    }
}

impl RawCase {
    /// Reads the whole document.
    pub(super) fn read_table(document: &Placed<DeTable<'_>>, sheet: &mut Sheet) -> RawCase {
        RawCase::of(&document.with(&document.value), sheet)
    }
}

/// The table that a key belongs under, for a key found elsewhere.
fn home(key: &str) -> Option<&'static str> {
    let tables: [(&str, &[&str]); 10] = [
        ("scans", RawScans::KEYS),
        ("chart", RawChart::KEYS),
        ("design", RawDesign::KEYS),
        ("path", RawPath::KEYS),
        ("attachment", RawAttachment::KEYS),
        ("support", RawSupport::KEYS),
        ("probe", RawProbe::KEYS),
        ("accuracy", RawAccuracy::KEYS),
        ("articulation", RawArticulation::KEYS),
        ("marks", RawMarks::KEYS),
    ];
    tables.into_iter().find(|(_, keys)| keys.contains(&key)).map(|(table, _)| table)
}
