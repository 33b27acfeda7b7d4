//! Binary STL of a solid, mm, in the file's own axes.

use crate::mesh::Mesh;

/// A solid, or a file without a triangle where there is none. `name` says in the header what it is, in ASCII.
pub fn solid(mesh: Option<&Mesh>, name: &str) -> Vec<u8> {
    let count = mesh.map_or(0, |m| m.faces().len());
    let mut bytes = Vec::with_capacity(84 + 50 * count);
    // Not `solid`: some readers take that for the text form.
    let mut title = format!("{name}, millimetres, written by saddleroom").into_bytes();
    title.resize(80, b' ');
    bytes.extend(title);
    bytes.extend((count as u32).to_le_bytes());
    let Some(mesh) = mesh else { return bytes };
    for f in 0..count as u32 {
        let normal = mesh.face_normal(f).unwrap_or_default();
        for v in [normal.x, normal.y, normal.z] {
            bytes.extend((v as f32).to_le_bytes());
        }
        for p in mesh.corners(f) {
            for c in [p.x, p.y, p.z] {
                bytes.extend((c as f32).to_le_bytes());
            }
        }
        bytes.extend([0, 0]);
    }
    bytes
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::space::Point;

    #[test]
    fn size_count_and_corners_are_those_of_the_format() {
        let p = |x, y, z| Point::new(x, y, z);
        let corners = vec![p(0.0, 0.0, 0.0), p(0.0, 2.0, 0.0), p(2.5, 0.0, 0.0), p(0.0, 0.0, 2.0)];
        let mesh = Mesh::new(corners, vec![[0, 1, 2], [0, 2, 3], [0, 3, 1], [1, 3, 2]]).unwrap();
        let bytes = solid(Some(&mesh), "block-out");
        assert_eq!(bytes.len(), 84 + 4 * 50);
        let float = |at: usize| f32::from_le_bytes(bytes[at..at + 4].try_into().unwrap());
        assert_eq!(u32::from_le_bytes(bytes[80..84].try_into().unwrap()), 4);
        // The third corner of the first triangle, after the normal and two corners.
        assert_eq!(float(84 + 12 + 24).to_bits(), 2.5_f32.to_bits());
        assert!(!bytes.starts_with(b"solid"));
        assert_eq!(solid(None, "").len(), 84);
    }
}
