//! Surfaces for the tests of this module: a height field with an arch of crowns, and the real scans read in place.

use std::path::PathBuf;

use crate::case::{Arch, Tooth};
use crate::mesh::Mesh;
use crate::space::{Direction, Motion, Point, Vector, exp};

/// A height field over a square: a gum ridge along the average arch and a dome for each tooth, `occlusal` +z.
///
/// Anterior is +y; the patient's left is -x in a mandible (so that anterior, left, occlusal is right-handed) and +x in
/// a maxilla.
pub struct FieldCast {
    pub mesh: Mesh,
    /// Plan centre of each crown.
    pub centres: Vec<(Tooth, [f64; 2])>,
    line: Vec<Point>,
}

/// Radius of a crown in plan, mm.
pub fn radius(tooth: Tooth) -> f64 {
    0.48 * super::arch_form::crown_width_mm(tooth.arch(), tooth.place())
}

fn ridge_height(d: f64) -> f64 {
    6.0 * exp(-(d / 8.0) * (d / 8.0) * (d / 8.0) * (d / 8.0))
}

fn height(line: &[Point], centres: &[(Tooth, [f64; 2])], x: f64, y: f64) -> f64 {
    let mut z = ridge_height(super::curves::distance_mm(line, &Point::new(x, y, 0.0)).unwrap());
    for (t, c) in centres {
        let r = crate::space::hypot(x - c[0], y - c[1]) / radius(*t);
        if r < 1.0 {
            z += 7.0 * (1.0 - r * r * r * r) * (1.0 - r * r * r * r);
        }
    }
    z
}

impl FieldCast {
    pub fn new(arch: Arch, present: &dyn Fn(Tooth) -> bool, step: f64) -> FieldCast {
        let lateral = if arch == Arch::Mandible { -1.0 } else { 1.0 };
        let places: Vec<(Tooth, [f64; 2])> = super::arch_form::places(arch)
            .into_iter()
            .filter(|(t, _)| t.place() < 8)
            .map(|(t, [a, l])| (t, [lateral * l, a]))
            .collect();
        let centres: Vec<_> = places.iter().copied().filter(|(t, _)| present(*t)).collect();
        let n = (80.0 / step) as usize;
        let line: Vec<Point> = places.iter().map(|(_, c)| Point::new(c[0], c[1], 0.0)).collect();
        let at = |i: usize, j: usize| {
            let (x, y) = (-40.0 + i as f64 * step, -60.0 + j as f64 * step);
            Point::new(x, y, height(&line, &centres, x, y))
        };
        let vertices = (0..=n).flat_map(|j| (0..=n).map(move |i| (i, j))).map(|(i, j)| at(i, j)).collect();
        let mut faces = Vec::new();
        let w = n as u32 + 1;
        for j in 0..n as u32 {
            for i in 0..n as u32 {
                let a = j * w + i;
                faces.extend([[a, a + 1, a + w + 1], [a, a + w + 1, a + w]]);
            }
        }
        FieldCast { mesh: Mesh::new(vertices, faces).unwrap(), centres, line }
    }

    pub fn centre(&self, tooth: Tooth) -> [f64; 2] {
        self.centres.iter().find(|(t, _)| *t == tooth).unwrap().1
    }

    /// Marks around a crown at its foot, `count` of them, off the surface by `off` mm; the first not repeated.
    pub fn margin(&self, tooth: Tooth, count: usize, clockwise: bool, off: f64) -> Vec<Point> {
        let c = self.centre(tooth);
        (0..count)
            .map(|k| {
                let turn =
                    if clockwise { -1.0 } else { 1.0 } * k as f64 / count as f64 * std::f64::consts::TAU;
                let r = radius(tooth);
                let (x, y) = (c[0] + r * crate::space::cos(turn), c[1] + r * crate::space::sin(turn));
                Point::new(x, y, height(&self.line, &self.centres, x, y) + off)
            })
            .collect()
    }
}

/// Share of the plan disc of the crown that its triangles and the disc have in common.
pub fn overlap(cast: &FieldCast, crown: &super::Crown) -> f64 {
    let c = cast.centre(crown.tooth);
    let (mut both, mut either) = (0.0, 0.0);
    for (f, _) in cast.mesh.faces().iter().enumerate() {
        let [a, b, d] = cast.mesh.corners(f as u32);
        let m = (a.coords + b.coords + d.coords) / 3.0;
        let inside = crate::space::hypot(m.x - c[0], m.y - c[1]) < radius(crown.tooth);
        let has = crown.faces.binary_search(&(f as u32)).is_ok();
        let area = cast.mesh.doubled_area_normal(f as u32).z.abs();
        both += if inside && has { area } else { 0.0 };
        either += if inside || has { area } else { 0.0 };
    }
    both / either
}

/// A real scan with its labels.
pub struct RealScan {
    pub name: String,
    pub arch: Arch,
    pub mesh: Mesh,
    /// One FDI number a vertex.
    pub labels: Vec<u8>,
    pub normal: Vector,
    pub anterior: Vector,
    pub json: serde_json::Value,
}

/// Folder of the real scans; `None`, with a printed reason, where it is missing.
pub fn real_scans() -> Option<PathBuf> {
    let given = std::env::var_os("SADDLEROOM_REAL_SCANS").map(PathBuf::from);
    let beside = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../shared/real-scans");
    let found = given.into_iter().chain([beside]).find(|p| p.is_dir());
    if found.is_none() {
        println!("skipped: no folder of real scans beside the repository");
    }
    found
}

fn vector(value: &serde_json::Value) -> Vector {
    let n = |i: usize| value[i].as_f64().unwrap();
    Vector::new(n(0), n(1), n(2))
}

/// All labelled scans of the folder, by name.
pub fn labelled(folder: &std::path::Path) -> Vec<RealScan> {
    let mut names: Vec<String> = std::fs::read_dir(folder)
        .unwrap()
        .filter_map(|e| e.unwrap().file_name().to_str()?.strip_suffix(".labels.json").map(str::to_owned))
        .collect();
    names.sort();
    names
        .into_iter()
        .map(|name| {
            let mesh = read_ply(&std::fs::read(folder.join(format!("{name}.ply"))).unwrap());
            let text = std::fs::read_to_string(folder.join(format!("{name}.labels.json"))).unwrap();
            let json: serde_json::Value = serde_json::from_str(&text).unwrap();
            let labels =
                json["labels"].as_array().unwrap().iter().map(|v| v.as_u64().unwrap() as u8).collect();
            scan(name, mesh, labels, json)
        })
        .collect()
}

/// The casts made by virtual extraction, by name.
pub fn extracted(folder: &std::path::Path) -> Vec<RealScan> {
    let mut names: Vec<String> = std::fs::read_dir(folder)
        .unwrap()
        .filter_map(|e| e.unwrap().file_name().to_str()?.strip_suffix(".stl").map(str::to_owned))
        .collect();
    names.sort();
    names
        .into_iter()
        .map(|name| {
            let (mesh, file_face) = read_stl(&std::fs::read(folder.join(format!("{name}.stl"))).unwrap());
            let text = std::fs::read_to_string(folder.join(format!("{name}.json"))).unwrap();
            let json: serde_json::Value = serde_json::from_str(&text).unwrap();
            let by_face: Vec<u8> = json["face_label_fdi"]
                .as_array()
                .unwrap()
                .iter()
                .map(|v| v.as_u64().unwrap() as u8)
                .collect();
            let mut labels = vec![0u8; mesh.vertices().len()];
            for (corners, &f) in mesh.faces().iter().zip(&file_face) {
                corners.iter().for_each(|&v| labels[v as usize] = labels[v as usize].max(by_face[f]));
            }
            scan(name, mesh, labels, json)
        })
        .collect()
}

fn scan(name: String, mesh: Mesh, labels: Vec<u8>, json: serde_json::Value) -> RealScan {
    let plane = &json["occlusal_plane"];
    let arch = if json["jaw"] == "lower" { Arch::Mandible } else { Arch::Maxilla };
    let normal = vector(&plane["normal"]);
    let anterior = vector(&plane["anterior"]);
    RealScan { name, arch, mesh, labels, normal, anterior, json }
}

fn read_ply(bytes: &[u8]) -> Mesh {
    let end = bytes.windows(11).position(|w| w == b"end_header\n").unwrap() + 11;
    let header = std::str::from_utf8(&bytes[..end]).unwrap();
    let count = |element: &str| -> usize {
        let line = header.lines().find_map(|l| l.strip_prefix(&format!("element {element} "))).unwrap();
        line.trim().parse().unwrap()
    };
    let float = |at: usize| f64::from(f32::from_le_bytes(bytes[at..at + 4].try_into().unwrap()));
    let n = count("vertex");
    let vertices =
        (0..n).map(|i| end + 12 * i).map(|at| Point::new(float(at), float(at + 4), float(at + 8))).collect();
    let int = |at: usize| u32::from_le_bytes(bytes[at..at + 4].try_into().unwrap());
    let faces = (0..count("face"))
        .map(|f| end + 12 * n + 13 * f + 1)
        .map(|at| [int(at), int(at + 4), int(at + 8)])
        .filter(|t| t[0] != t[1] && t[1] != t[2] && t[2] != t[0])
        .collect();
    Mesh::new(vertices, faces).unwrap()
}

fn read_stl(bytes: &[u8]) -> (Mesh, Vec<usize>) {
    let mut index = std::collections::BTreeMap::new();
    let (mut vertices, mut faces, mut file_face) = (Vec::new(), Vec::new(), Vec::new());
    for (f, record) in bytes[84..].as_chunks::<50>().0.iter().enumerate() {
        let corners = [12, 24, 36].map(|at| {
            let key: [u8; 12] = record[at..at + 12].try_into().unwrap();
            *index.entry(key).or_insert_with(|| {
                let float = |k: usize| f64::from(f32::from_le_bytes(key[k..k + 4].try_into().unwrap()));
                vertices.push(Point::new(float(0), float(4), float(8)));
                vertices.len() as u32 - 1
            })
        });
        if corners[0] != corners[1] && corners[1] != corners[2] && corners[2] != corners[0] {
            faces.push(corners);
            file_face.push(f);
        }
    }
    (Mesh::new(vertices, faces).unwrap(), file_face)
}

/// The `k`-th of a fixed series of poses.
pub fn pose(k: usize) -> Motion {
    let part = |a: f64| ((k as f64 + 1.0) * a).fract() * 2.0 - 1.0;
    let axis = Vector::new(part(0.754_877), part(0.569_840), part(0.618_034));
    let axis = Direction::new_normalize(axis + Vector::new(1e-3, 0.0, 0.0));
    let turn = nalgebra::UnitQuaternion::from_axis_angle(&axis, std::f64::consts::PI * part(0.437_016));
    Motion::from_parts(nalgebra::Translation3::new(20.0 * part(0.3), -35.0, 60.0 * part(0.7)), turn)
}
