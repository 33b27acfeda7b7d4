//! Binary STL: 80 bytes of header, a count, then 50 bytes a triangle.

use super::error::{LoadError, Place};
use super::sniff::{STL_HEAD, STL_TRIANGLE, stl_count, stl_size};
use super::{Format, Soup};
use crate::mesh::audit::{Defect, DefectKind};

/// Offset of the corners within a triangle: behind the normal, which is not used.
const CORNERS: usize = 12;

/// Reads a binary STL. Bytes behind the declared triangles are a defect.
///
/// # Errors
/// Fewer triangles than declared, none at all, a coordinate that is not finite.
pub fn read(bytes: &[u8]) -> Result<Soup, LoadError> {
    let declared = stl_count(bytes).ok_or(LoadError::Truncated {
        what: "bytes of header".to_owned(),
        declared: STL_HEAD as u64,
        present: bytes.len() as u64,
        byte: bytes.len(),
    })?;
    let body = bytes.get(STL_HEAD..).unwrap_or_default();
    let present = body.len() / STL_TRIANGLE;
    if stl_size(declared) > bytes.len() as u64 {
        return Err(LoadError::Truncated {
            what: "triangles".to_owned(),
            declared: declared.into(),
            present: present as u64,
            byte: bytes.len(),
        });
    }
    if declared == 0 {
        let what = format!("a binary STL that declares 0 triangles in {} bytes", bytes.len());
        return Err(LoadError::NoTriangles { what });
    }
    let triangles = declared as usize;
    let mut vertices = Vec::with_capacity(3 * triangles);
    for (t, record) in body.chunks_exact(STL_TRIANGLE).take(triangles).enumerate() {
        for corner in record[CORNERS..CORNERS + 36].chunks_exact(12) {
            vertices.push(corner_at(corner));
        }
        let new = &vertices[3 * t..];
        if let Some(k) = new.iter().flatten().position(|c| !c.is_finite()) {
            let place = Place::Byte(STL_HEAD + t * STL_TRIANGLE + CORNERS + 4 * k);
            return Err(LoadError::NotFinite { owner: "triangle", index: t, place });
        }
    }
    let corners = u32::try_from(vertices.len()).map_err(|_| LoadError::TooMany)?;
    Ok(Soup {
        format: Format::StlBinary,
        vertices,
        triangles: (0..corners / 3).map(|t| [3 * t, 3 * t + 1, 3 * t + 2]).collect(),
        face_of: None,
        colours: None,
        properties: Vec::new(),
        defects: ignored(bytes.len(), declared, present).into_iter().collect(),
    })
}

fn corner_at(bytes: &[u8]) -> [f64; 3] {
    [0, 4, 8]
        .map(|at| f64::from(f32::from_le_bytes([bytes[at], bytes[at + 1], bytes[at + 2], bytes[at + 3]])))
}

fn ignored(size: usize, declared: u32, present: usize) -> Option<Defect> {
    let used = stl_size(declared) as usize;
    (size > used).then(|| Defect {
        kind: DefectKind::IgnoredContent,
        count: size - used,
        at: None,
        says: format!(
            "The file declares {declared} triangles, but has room for {present}: {} bytes from byte {used} on were \
             not read. If something is missing from the surface, export the scan again.",
            size - used
        ),
        mended: false,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn file(declared: u32, corners: &[[f32; 3]]) -> Vec<u8> {
        let mut bytes = vec![b' '; 80];
        bytes.extend(declared.to_le_bytes());
        for triangle in corners.chunks(3) {
            bytes.extend([0u8; 12]);
            triangle.iter().flatten().for_each(|c| bytes.extend(c.to_le_bytes()));
            bytes.extend([0u8; 2]);
        }
        bytes
    }

    const ONE: [[f32; 3]; 3] = [[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.5]];

    #[test]
    fn a_triangle_comes_out_as_it_went_in() {
        let soup = read(&file(1, &ONE)).unwrap();
        assert_eq!(
            (soup.vertices[2], soup.triangles, soup.defects.len()),
            ([0.0, 1.0, 0.5], vec![[0, 1, 2]], 0)
        );
    }

    #[test]
    fn corners_are_those_of_an_independent_reader() {
        let corner = |i: i16| [f32::from(i) * 0.37, f32::from(i % 7) - 3.3, f32::from(i * i % 11) * 1e-3];
        let bytes = file(30, &(0..90).map(corner).collect::<Vec<_>>());
        let soup = read(&bytes).unwrap();
        let mut cursor = std::io::Cursor::new(&bytes);
        let theirs = stl_io::create_stl_reader(&mut cursor).unwrap().flat_map(|t| t.unwrap().vertices);
        assert!(theirs.map(|v| v.0.map(f64::from)).eq(soup.vertices.iter().copied()));
    }

    #[test]
    fn counts_that_do_not_fit_the_size_are_named() {
        let error = read(&file(4_000_000_000, &ONE)).unwrap_err().to_string();
        assert!(error.contains("4000000000 triangles") && error.contains("only 1 whole"), "{error}");
        assert!(error.contains("byte 134"), "{error}");
        let mut long = file(1, &ONE);
        long.extend([7u8; 9]);
        let soup = read(&long).unwrap();
        assert_eq!((soup.defects[0].kind, soup.defects[0].count), (DefectKind::IgnoredContent, 9));
        assert!(matches!(read(&file(0, &[])), Err(LoadError::NoTriangles { .. })));
    }

    #[test]
    fn a_coordinate_that_is_not_finite_is_named_by_triangle_and_byte() {
        let mut two = [ONE, ONE].concat();
        two[4][1] = f32::NAN;
        // Second triangle: 84 + 50 + 12, second corner + 12, second coordinate + 4.
        let expected = LoadError::NotFinite { owner: "triangle", index: 1, place: Place::Byte(162) };
        assert_eq!(read(&file(2, &two)), Err(expected));
    }
}
