//! What is wrong with a surface: each defect by name, with count and place.
//!
//! Nothing is mended here. What the loader mended (left-out triangles, a surface turned over) stands in
//! `Import::defects`; this list is about the surface as it is measured.

mod coarse;
mod edges;
pub mod facing;
mod pair;
mod shells;
mod size;

pub use pair::pair;

use super::{Mesh, Topology};
use crate::space::Point;
use crate::units::LengthUnit;

/// Kinds of defect of a scan file or its surface.
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
pub enum DefectKind {
    /// Triangles without area that were left out.
    TriangleWithoutArea,
    /// Triangles that stand twice with the same corners.
    DuplicateTriangle,
    /// Triangles so thin that their height is under a hundredth of their longest side.
    Sliver,
    /// Closed borders inside the outer border.
    Hole,
    /// The outer border of an open surface (no fault of an intraoral scan).
    OpenBorder,
    /// Edges at which more than two triangles meet.
    NonManifoldEdge,
    /// Edges whose two triangles face opposite ways.
    InconsistentFacing,
    /// The whole surface faces inward.
    InsideOut,
    /// Pieces too small to be an arch.
    Debris,
    /// More than one piece of the size of an arch.
    SeveralShells,
    /// A closed inner wall: a hollow or sectioned model.
    InnerWall,
    /// The surface is the negative of an arch: a scanned impression.
    Negative,
    /// Size outside what an arch measures; the likely unit is named.
    UnlikelyUnit,
    /// Vertices that no triangle uses.
    UnusedVertex,
    /// Lines or bytes of the file that were not read.
    IgnoredContent,
    /// The text of the file ends before its own end mark.
    UnfinishedFile,
    /// Faces with more than three corners that were split.
    PolygonSplit,
    /// Coordinates so far from the origin that the file's own number format rounds them.
    FarFromOrigin,
    /// The maxilla's file seems to hold the mandible and the other way round.
    SwappedArches,
    /// Both files hold the same surface.
    SameFileTwice,
    /// One file holds both arches as two shells.
    BothArchesInOne,
    /// A gap stands on the side opposite to the chart: mirrored or mischarted.
    GapOnOtherSide,
}

/// A defect found, with how often and where.
#[derive(Clone, Debug, PartialEq)]
pub struct Defect {
    /// What it is.
    pub kind: DefectKind,
    /// How many there are.
    pub count: usize,
    /// The first place, mm; `None` where it has no place.
    pub at: Option<Point>,
    /// What it is and what was done about it, in a sentence.
    pub says: String,
    /// Whether the program mended it (only where no figure can change by it).
    pub mended: bool,
}

/// Lists the defects of a surface whose file was in mm, in the order of [`DefectKind`].
pub fn audit(mesh: &Mesh, topology: &Topology) -> Vec<Defect> {
    audit_in(mesh, topology, LengthUnit::Mm)
}

/// As [`audit`], for a file whose numbers were taken to be in `unit`. Where the size is unlikely, what is judged by
/// millimetres (several arches, inner walls, a negative) is left open until the unit is settled.
pub fn audit_in(mesh: &Mesh, topology: &Topology, unit: LengthUnit) -> Vec<Defect> {
    let shells = shells::Shells::new(mesh, topology);
    let mut defects = edges::defects(mesh, topology, &shells);
    defects.extend(shells.debris(mesh));
    let unlikely = size::unlikely(&shells, unit);
    let coarse = if unlikely.is_none() { coarse::Coarse::new(mesh) } else { None };
    defects.extend(shells.of_arch_size(mesh, coarse.as_ref()));
    defects.extend(facing::defects(mesh, &shells, coarse.as_ref()));
    defects.extend(unlikely);
    defects.sort_by_key(|d| d.kind);
    defects
}

#[cfg(test)]
mod tests;
