//! Bytes to [`Import`]: the format is told by content, vertices are welded by position, coordinates scaled to mm.
//!
//! Each format has its own entry point that takes the whole file and gives a [`Soup`] of vertices and triangles as the
//! file has them; `weld` makes the surface of it. No count that a file states is believed: memory is bounded by the
//! bytes that are there.

mod error;
pub mod obj;
pub mod ply;
mod ply_rows;
mod polygon;
mod sniff;
pub mod stl_ascii;
pub mod stl_binary;
mod text;
mod weld;

pub use error::{LoadError, Place};
pub(crate) use text::printable;

use crate::mesh::audit::{self, Defect, DefectKind, facing};
use crate::mesh::{Mesh, Topology};
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
    /// The welded surface, mm. Its vertices stand in the order in which the file first names their positions.
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

/// Vertices and triangles as a file has them: not welded, in the file's own unit.
#[derive(Clone, Debug, PartialEq)]
pub struct Soup {
    /// Format of the file.
    pub format: Format,
    /// Vertices in the file's order and unit; finite.
    pub vertices: Vec<[f64; 3]>,
    /// Triangles, as indices of vertices; in range.
    pub triangles: Vec<[u32; 3]>,
    /// For each triangle the polygon of the file that it belongs to; `None` where they are one and the same.
    pub face_of: Option<Vec<u32>>,
    /// One colour a vertex.
    pub colours: Option<Vec<[u8; 3]>>,
    /// Other properties, one value a vertex of the file.
    pub properties: Vec<VertexProperty>,
    /// What was wrong with the file.
    pub defects: Vec<Defect>,
}

/// Reads a scan. `bytes` are the whole file; coordinates are multiplied by the unit's millimetres. A surface that is
/// inside-out as a whole is turned over; see [`face_outward`].
///
/// # Errors
/// What is wrong, at which byte or line, and what to do about it.
pub fn read(bytes: &[u8], unit: LengthUnit) -> Result<Import, LoadError> {
    Ok(face_outward(weld::weld(soup(bytes)?, unit)?))
}

/// Turns a surface over where the whole of it is inside-out. Only the facing changes, no place and so no figure.
pub fn face_outward(mut import: Import) -> Import {
    if facing::facing(&import.mesh) == facing::Facing::Inward {
        import.defects.push(Defect {
            kind: DefectKind::InsideOut,
            count: 1,
            at: Some(import.mesh.face_centre(0)),
            says: facing::inward_words("It was turned over; no figure changes by it."),
            mended: true,
        });
        import.mesh = import.mesh.turned_over();
        import.defects.sort_by_key(|d| d.kind);
    }
    import
}

impl Import {
    /// All defects: those of the file, with what was mended, and those of its surface, in the order of their kinds.
    pub fn all_defects(&self, topology: &Topology) -> Vec<Defect> {
        let mut all = self.defects.clone();
        all.extend(audit::audit_in(&self.mesh, topology, self.unit));
        all.sort_by_key(|d| d.kind);
        all
    }
}

/// Reads a scan as the file has it: not welded, not scaled.
///
/// # Errors
/// As [`read`].
pub fn soup(bytes: &[u8]) -> Result<Soup, LoadError> {
    match sniff::kind(bytes)? {
        sniff::Kind::StlBinary => stl_binary::read(bytes),
        sniff::Kind::StlAscii => stl_ascii::read(bytes),
        sniff::Kind::Ply => ply::read(bytes),
        sniff::Kind::Obj => obj::read(bytes),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A tetrahedron; outward, or with all its triangles turned over.
    fn tetrahedron(inward: bool) -> String {
        let mut text = "v 0 0 0\nv 3 0 0\nv 0 3 0\nv 0 0 3\n".to_owned();
        for [a, b, c] in [[1, 3, 2], [1, 2, 4], [1, 4, 3], [2, 3, 4]] {
            let (b, c) = if inward { (c, b) } else { (b, c) };
            text += &format!("f {a} {b} {c}\n");
        }
        text
    }

    #[test]
    fn a_body_that_is_inside_out_is_turned_over_and_one_that_is_not_is_left_alone() {
        for inward in [false, true] {
            let read = read(tetrahedron(inward).as_bytes(), LengthUnit::Mm).unwrap();
            assert!((read.mesh.signed_volume_mm3() - 4.5).abs() < 1e-12, "it faces outward");
            let told: Vec<_> = read.defects.iter().filter(|d| d.kind == DefectKind::InsideOut).collect();
            assert_eq!(told.len(), usize::from(inward));
            assert!(told.iter().all(|d| d.mended && d.count == 1));
            assert_eq!(read.mesh.vertices().len(), 4);
        }
    }

    #[test]
    fn every_format_has_its_own_word_and_is_told_by_content() {
        let ply = |kind: &str| {
            format!(
                "ply\nformat {kind} 1.0\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\nelement face 1\nproperty list uchar int vertex_indices\nend_header\n"
            )
        };
        let ascii = ply("ascii") + "0 0 0\n1 0 0\n0 1 0\n3 0 1 2\n";
        let binary = |little: bool| {
            let mut bytes =
                ply(if little { "binary_little_endian" } else { "binary_big_endian" }).into_bytes();
            for c in [0.0_f32, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0, 0.0] {
                bytes.extend(if little { c.to_le_bytes() } else { c.to_be_bytes() });
            }
            bytes.push(3);
            for v in [0_i32, 1, 2] {
                bytes.extend(if little { v.to_le_bytes() } else { v.to_be_bytes() });
            }
            bytes
        };
        let mut stl = vec![0; 80];
        stl.extend(1_u32.to_le_bytes());
        for c in [0.0_f32, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0, 0.0] {
            stl.extend(c.to_le_bytes());
        }
        stl.extend([0, 0]);
        let stl_text = "solid a\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nvertex 0 1 0\nendloop\nendfacet\nendsolid a\n";
        let files: [(Vec<u8>, Format, &str); 6] = [
            (stl, Format::StlBinary, "stl_binary"),
            (stl_text.into(), Format::StlAscii, "stl_ascii"),
            (ascii.into(), Format::PlyAscii, "ply_ascii"),
            (binary(true), Format::PlyLittleEndian, "ply_little_endian"),
            (binary(false), Format::PlyBigEndian, "ply_big_endian"),
            ("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n".into(), Format::Obj, "obj"),
        ];
        for (bytes, format, word) in files {
            let read = read(&bytes, LengthUnit::Mm).unwrap();
            assert_eq!((read.format, read.format.word()), (format, word));
            assert!((read.mesh.area_mm2() - 0.5).abs() < 1e-12);
        }
    }
}
