//! Bytes to [`Import`]: the format is told by content, vertices are welded by position, coordinates scaled to mm.

use crate::mesh::Mesh;
use crate::mesh::audit::Defect;
use crate::units::LengthUnit;

/// File formats that are read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// Binary STL.
    StlBinary,
    /// ASCII STL.
    StlAscii,
    /// PLY, ASCII.
    PlyAscii,
    /// PLY, binary little-endian.
    PlyLittleEndian,
    /// PLY, binary big-endian.
    PlyBigEndian,
    /// Wavefront OBJ.
    Obj,
}

impl Format {
    /// The name in reports.
    pub fn word(self) -> &'static str {
        match self {
            Format::StlBinary => "stl_binary",
            Format::StlAscii => "stl_ascii",
            Format::PlyAscii => "ply_ascii",
            Format::PlyLittleEndian => "ply_little_endian",
            Format::PlyBigEndian => "ply_big_endian",
            Format::Obj => "obj",
        }
    }
}

/// A property of each vertex that is neither position nor colour, by welded vertex.
#[derive(Clone, Debug, PartialEq)]
pub struct VertexProperty {
    /// Its name in the file.
    pub name: String,
    /// One value a welded vertex (that of the first file vertex welded into it).
    pub values: Vec<f64>,
}

/// What a scan file held.
#[derive(Clone, Debug, PartialEq)]
pub struct Import {
    /// The welded surface, mm.
    pub mesh: Mesh,
    /// Format of the file.
    pub format: Format,
    /// Unit that the coordinates were taken to be in.
    pub unit: LengthUnit,
    /// Triangles in the file, before any was left out.
    pub file_triangles: usize,
    /// Vertices in the file (three a triangle for STL).
    pub file_vertices: usize,
    /// For each vertex of the file, in its own order, the welded vertex, or `u32::MAX` where no triangle uses it.
    pub welded_of: Vec<u32>,
    /// For each triangle kept, its index in the file (after splitting polygons, that of the polygon).
    pub file_face_of: Vec<u32>,
    /// Colour of each welded vertex, where the file has colours.
    pub colours: Option<Vec<[u8; 3]>>,
    /// Other properties of the vertices.
    pub properties: Vec<VertexProperty>,
    /// What was wrong with the file itself.
    pub defects: Vec<Defect>,
}

/// Why bytes hold no surface.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum LoadError {
    /// Nothing in it.
    #[error("the file is empty; export the scan again")]
    Empty,
}

/// Reads a scan. `bytes` are the whole file; coordinates are multiplied by the unit's millimetres.
///
/// # Errors
/// What is wrong, at which byte or line, and what to do about it.
pub fn read(_bytes: &[u8], _unit: LengthUnit) -> Result<Import, LoadError> {
    Err(LoadError::Empty)
}
