//! `[attachment]`: the user's own attachment, and what stands over it.

use schemars::JsonSchema;
use serde::Deserialize;

use crate::mesh::Mesh;
use crate::units::{self, LengthUnit};

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

/// Height, length and width of an attachment, mm: what is given, else the extent of its mesh, whose coordinates were taken
/// to be in `taken`.
///
/// # Errors
/// An extent that no attachment has, or one that is far from what is given, with the unit in which it would agree.
pub fn attachment_sizes(mesh: &Mesh, taken: LengthUnit, given: [Option<f64>; 3]) -> Result<[f64; 3], String> {
    let Some((low, high)) = mesh.bounds() else { return Err("it holds no triangle".into()) };
    let extent = high - low;
    let of_mesh = [extent.z, extent.x, extent.y];
    for k in 0..3 {
        let says = if !BODY_MM.contains(&of_mesh[k]) {
            "which no attachment is".to_owned()
        } else if let Some(mm) = given[k].filter(|mm| !AGREE.contains(&(of_mesh[k] / mm))) {
            format!("but {} are given", units::mm(mm))
        } else {
            continue;
        };
        return Err(format!(
            "read in {} it is {} {}, {says}: {}",
            taken.word(),
            small(of_mesh[k]),
            NAMES[k],
            likely(of_mesh.map(|mm| mm / taken.mm()), taken, given)
        ));
    }
    Ok([0, 1, 2].map(|k| given[k].unwrap_or(of_mesh[k])))
}

const NAMES: [&str; 3] = ["high", "long", "wide"];
/// No attachment is smaller, or larger: longer than any span behind an abutment; mm.
const BODY_MM: std::ops::RangeInclusive<f64> = 0.5..=30.0;
/// Share of a size given that the mesh may have.
const AGREE: std::ops::RangeInclusive<f64> = 0.5..=2.0;

/// Very small sizes need other digits than 0.01 mm.
fn small(mm: f64) -> String {
    if mm > 0.0 && mm < 0.1 { units::digits(mm, 5) + " mm" } else { units::mm(mm) }
}

/// In which unit a body would have the size of an attachment and what is given of it.
fn likely(in_file: [f64; 3], taken: LengthUnit, given: [Option<f64>; 3]) -> String {
    let agrees = |unit: &LengthUnit| {
        in_file.iter().zip(given).all(|(size, given)| {
            let mm = size * unit.mm();
            BODY_MM.contains(&mm) && given.is_none_or(|g| AGREE.contains(&(mm / g)))
        })
    };
    let fits: Vec<String> = LengthUnit::ALL
        .into_iter()
        .filter(|unit| *unit != taken && agrees(unit))
        .map(|unit| {
            let [high, long, wide] = in_file.map(|size| units::mm(size * unit.mm()));
            format!("mesh_unit = \"{}\" makes it {high} high, {long} long and {wide} wide", unit.word())
        })
        .collect();
    if fits.is_empty() {
        return "no other unit mends that; its axes may be others, or what is given is wrong".to_owned();
    }
    format!("most likely another unit; {}", fits.join(", "))
}

impl Attachment {
    /// Height, length and width, mm.
    pub fn sizes_mm(&self) -> [f64; 3] {
        [self.height_mm, self.length_mm, self.width_mm]
    }

    /// The parts from below with their heights, mm.
    pub fn parts(&self) -> [(&'static str, f64); 5] {
        [
            ("relief", self.relief_mm),
            ("attachment", self.height_mm),
            ("resin", self.resin_mm),
            ("tooth", self.tooth_mm),
            ("adjustment", self.adjustment_mm),
        ]
    }

    /// relief + height + resin + tooth + adjustment, mm.
    pub fn required_mm(&self) -> f64 {
        self.relief_mm + self.height_mm + self.resin_mm + self.tooth_mm + self.adjustment_mm
    }
}
