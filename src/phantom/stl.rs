//! Binary STL from a mesh.

use crate::mesh::Mesh;

/// Bytes of a binary STL: 80-byte header with `title` (cut at 79 ASCII characters), triangle count, 50 bytes a triangle.
///
/// Coordinates are written in 32-bit floating point, mm. The header never begins with `solid`.
pub fn binary(mesh: &Mesh, title: &str) -> Vec<u8> {
    let mut bytes = vec![b' '; 80];
    let words = format!("binary stl, mm: {title}");
    for (slot, c) in bytes.iter_mut().zip(words.bytes().filter(|c| (32..127).contains(c))) {
        *slot = c;
    }
    bytes.reserve(4 + 50 * mesh.faces().len());
    bytes.extend((mesh.faces().len() as u32).to_le_bytes());
    for f in 0..mesh.faces().len() as u32 {
        let n = mesh.face_normal(f).unwrap_or_default();
        for c in n.iter() {
            bytes.extend((*c as f32).to_le_bytes());
        }
        for p in mesh.corners(f) {
            for c in p.iter() {
                bytes.extend((*c as f32).to_le_bytes());
            }
        }
        bytes.extend([0, 0]);
    }
    bytes
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phantom::solids;

    #[test]
    fn a_binary_stl_is_84_bytes_and_50_a_triangle() {
        let mesh = solids::cuboid([2.0, 3.0, 4.0], 1.0);
        let bytes = binary(&mesh, "cuboid");
        assert_eq!(bytes.len(), 84 + 50 * mesh.faces().len());
        assert!(!bytes.starts_with(b"solid"));
        let x = f32::from_le_bytes([bytes[96], bytes[97], bytes[98], bytes[99]]);
        assert_eq!(f64::from(x), mesh.corners(0)[0].x);
    }
}
