//! Binary little-endian PLY of a welded cast with values at its vertices, triangles kept.
//!
//! PLY has no null: a value that was not measured is NaN, measured free surface 0.

use super::colour::{self, Rgb};
use crate::mesh::Mesh;

/// A property of the vertices.
#[derive(Clone, Debug)]
pub enum Column {
    /// `float`; NaN where not measured.
    Float(&'static str, Vec<f32>),
    /// `int`.
    Int(&'static str, Vec<i32>),
    /// `uchar`.
    Byte(&'static str, Vec<u8>),
}

/// A cast with colours and properties: `x y z` (double), `red green blue` (uchar), then the columns.
pub fn cast(mesh: &Mesh, colours: &[Rgb], columns: &[Column]) -> Vec<u8> {
    let (vertices, faces) = (mesh.vertices(), mesh.faces());
    let mut bytes = header(vertices.len(), faces.len(), columns);
    bytes.reserve(vertices.len() * (27 + 4 * columns.len()) + faces.len() * 13);
    for (v, p) in vertices.iter().enumerate() {
        for c in [p.x, p.y, p.z] {
            bytes.extend(c.to_le_bytes());
        }
        bytes.extend(colours.get(v).copied().unwrap_or(colour::NOT_MEASURED));
        for column in columns {
            match column {
                Column::Float(_, values) => {
                    bytes.extend(values.get(v).copied().unwrap_or(f32::NAN).to_le_bytes());
                }
                Column::Int(_, values) => bytes.extend(values.get(v).copied().unwrap_or(0).to_le_bytes()),
                Column::Byte(_, values) => bytes.push(values.get(v).copied().unwrap_or(0)),
            }
        }
    }
    for corners in faces {
        bytes.push(3);
        for &v in corners {
            // A valid mesh has fewer vertices than 2^31 in any file that fits in memory here.
            bytes.extend((v as i32).to_le_bytes());
        }
    }
    bytes
}

fn header(vertices: usize, faces: usize, columns: &[Column]) -> Vec<u8> {
    let mut text = format!(
        "ply\nformat binary_little_endian 1.0\ncomment millimetres, written by saddleroom\nelement vertex {vertices}\n\
         property double x\nproperty double y\nproperty double z\n\
         property uchar red\nproperty uchar green\nproperty uchar blue\n"
    );
    for column in columns {
        let (kind, name) = match column {
            Column::Float(name, _) => ("float", name),
            Column::Int(name, _) => ("int", name),
            Column::Byte(name, _) => ("uchar", name),
        };
        text.push_str(&format!("property {kind} {name}\n"));
    }
    text.push_str(&format!("element face {faces}\nproperty list uchar int vertex_indices\nend_header\n"));
    text.into_bytes()
}

fn floats(values: &[Option<f64>]) -> Vec<f32> {
    values.iter().map(|v| v.map_or(f32::NAN, |mm| mm as f32)).collect()
}

/// `survey.ply`: `undercut_mm`.
pub fn survey(mesh: &Mesh, depth_mm: &[Option<f64>]) -> Vec<u8> {
    let colours: Vec<Rgb> = depth_mm.iter().map(|&d| colour::undercut(d)).collect();
    cast(mesh, &colours, &[Column::Float("undercut_mm", floats(depth_mm))])
}

/// `clearance.ply`: `nearest_mm` and `along_mm`.
pub fn clearance(mesh: &Mesh, nearest_mm: &[Option<f64>], along_mm: &[Option<f64>]) -> Vec<u8> {
    let colours: Vec<Rgb> = nearest_mm.iter().map(|&d| colour::distance(d)).collect();
    let columns =
        [Column::Float("nearest_mm", floats(nearest_mm)), Column::Float("along_mm", floats(along_mm))];
    cast(mesh, &colours, &columns)
}

/// `change.ply`: `change_mm`, negative where the surface has gone down.
pub fn change(mesh: &Mesh, change_mm: &[Option<f64>]) -> Vec<u8> {
    let colours: Vec<Rgb> = change_mm.iter().map(|&d| colour::change(d)).collect();
    cast(mesh, &colours, &[Column::Float("change_mm", floats(change_mm))])
}

/// `framework.ply`: `distance_mm` to the cast, negative inside it, and `thickness_mm`.
pub fn framework(mesh: &Mesh, distance_mm: &[Option<f64>], thickness_mm: &[Option<f64>]) -> Vec<u8> {
    let colours: Vec<Rgb> = distance_mm.iter().map(|&d| colour::distance(d)).collect();
    let columns = [
        Column::Float("distance_mm", floats(distance_mm)),
        Column::Float("thickness_mm", floats(thickness_mm)),
    ];
    cast(mesh, &colours, &columns)
}

/// `anatomy.ply`: `tooth` and `region`.
pub fn anatomy(mesh: &Mesh, tooth: &[u8], region: &[u8]) -> Vec<u8> {
    let colours = anatomy_colours(tooth, region);
    let columns = [
        Column::Int("tooth", tooth.iter().map(|&t| i32::from(t)).collect()),
        Column::Byte("region", region.to_vec()),
    ];
    cast(mesh, &colours, &columns)
}

/// `keepout.ply`: the closed solids of the relief over tori, or a file without a vertex where there is none.
pub fn keepout(solid: Option<&Mesh>) -> Vec<u8> {
    match solid {
        Some(mesh) => cast(mesh, &vec![region_colour(4, 0); mesh.vertices().len()], &[]),
        None => header(0, 0, &[]),
    }
}

/// `blockout.ply`: the closed solid of the dead space, or a file without a vertex where there is none.
pub fn blockout(solid: Option<&Mesh>) -> Vec<u8> {
    match solid {
        Some(mesh) => cast(mesh, &vec![colour::cividis(0.7); mesh.vertices().len()], &[]),
        None => header(0, 0, &[]),
    }
}

/// Colour of each vertex by its region.
pub fn anatomy_colours(tooth: &[u8], region: &[u8]) -> Vec<Rgb> {
    region.iter().zip(tooth).map(|(&r, &t)| region_colour(r, t)).collect()
}

/// Steps of cividis for the regions; neighbouring teeth alternate between two steps.
pub(super) fn region_colour(region: u8, tooth: u8) -> Rgb {
    match region {
        1 => colour::cividis(if tooth.is_multiple_of(2) { 0.95 } else { 0.82 }),
        2 => colour::cividis(0.55),
        3 => colour::cividis(0.35),
        4 => colour::cividis(0.05),
        5 => colour::cividis(0.65),
        _ => colour::PLAIN,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::space::Point;

    #[test]
    fn header_and_size_are_what_the_contract_says() {
        let p = |x: f64| Point::new(x + 1e6, x * x, 0.1);
        let mesh = Mesh::new(vec![p(0.0), p(1.0), p(2.0)], vec![[0, 1, 2]]).unwrap();
        let bytes = survey(&mesh, &[Some(0.25), None, Some(0.0)]);
        let end = bytes.windows(11).position(|w| w == b"end_header\n").unwrap() + 11;
        let head = std::str::from_utf8(&bytes[..end]).unwrap();
        assert!(head.contains("property double z\nproperty uchar red\nproperty uchar green\nproperty uchar blue\nproperty float undercut_mm\nelement face 1\n"));
        assert_eq!(bytes.len() - end, 3 * (24 + 3 + 4) + 13);
        let first = f64::from_le_bytes(bytes[end..end + 8].try_into().unwrap());
        assert_eq!(first.to_bits(), 1e6_f64.to_bits());
        let depth =
            |v: usize| f32::from_le_bytes(bytes[end + v * 31 + 27..end + v * 31 + 31].try_into().unwrap());
        assert_eq!(depth(0), 0.25);
        assert!(depth(1).is_nan());
        assert_eq!(depth(2).to_bits(), 0.0_f32.to_bits());
    }
}
