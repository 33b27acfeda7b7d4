//! Everything that stands in space as one binary glTF 2.0 file (`.glb`), a named node a layer.
//!
//! Positions are mm in the axes of the scan, although glTF counts in metres: a length read in a viewer is then a length on
//! the cast. `asset.extras` says so. Every node is moved back to its place by its translation, so that single precision
//! loses nothing far from the origin.

use serde_json::{Value, json};

use super::colour::{self, Rgb};
use super::ply;
use crate::mesh::Mesh;
use crate::report::{CurveKind, Scene, SolidKind, SpotKind};
use crate::space::{Point, Vector};

const FLOAT: u32 = 5126;
const BYTE: u32 = 5121;
const INDEX: u32 = 5125;
/// What a primitive is made of.
const POINTS: u32 = 0;
const LINES: u32 = 1;
const TRIANGLES: u32 = 4;

/// The file.
pub fn binary(scene: &Scene<'_>) -> Vec<u8> {
    let mut file = File::around(scene.restored);
    let region = ply::anatomy_colours(scene.tooth_of, &scene.region);
    let undercut: Vec<Rgb> = scene.undercut_mm.iter().map(|&d| colour::undercut(d)).collect();
    let distance: Vec<Rgb> = scene.nearest_mm.iter().map(|&d| colour::distance(d)).collect();
    let arch = file.shape(scene.restored);
    let mut painted = Vec::new();
    for (name, paint, shown) in [
        ("undercut", undercut, true),
        ("clearance", distance, scene.nearest_mm.iter().any(Option::is_some)),
        ("anatomy", region, true),
    ] {
        if let Some((position, corners)) = arch.filter(|_| shown) {
            painted.push((name, file.nodes.len()));
            file.painted(&format!("restored_arch_{name}"), position, corners, &paint);
        }
    }
    let shared = file.nodes.len();
    if let Some(other) = scene.opposing {
        file.cast("opposing_arch", other, colour::PLAIN);
    }
    for kind in SolidKind::ALL {
        for (n, solid) in scene.solids.iter().filter(|s| s.kind == kind).enumerate() {
            let name = if n == 0 { kind.id().to_owned() } else { format!("{}_{}", kind.id(), n + 1) };
            file.cast(&name, &solid.mesh, colour::cividis(solid_share(kind)));
        }
    }
    for kind in CurveKind::ALL {
        let lines: Vec<[Point; 2]> =
            scene.curves_of(kind).flat_map(|c| c.places.windows(2).map(|w| [w[0], w[1]])).collect();
        file.loose(kind.id(), lines.as_flattened(), LINES);
    }
    for kind in SpotKind::ALL {
        let places: Vec<Point> = scene.spots_of(kind).map(|s| s.at).collect();
        file.loose(kind.id(), &places, POINTS);
    }
    file.bytes(&painted, shared)
}

fn solid_share(kind: SolidKind) -> f64 {
    match kind {
        SolidKind::Attachment => 0.85,
        SolidKind::KeepOut => 0.05,
        SolidKind::Blockout => 0.6,
    }
}

/// A cast so near to the origin keeps a ten-thousandth of a millimetre in single precision.
const NEAR_MM: f64 = 1000.0;

struct File {
    middle: Point,
    data: Vec<u8>,
    views: Vec<Value>,
    accessors: Vec<Value>,
    meshes: Vec<Value>,
    nodes: Vec<Value>,
}

impl File {
    fn around(mesh: &Mesh) -> File {
        let middle = mesh.middle();
        // Near the origin the positions stay as they are in the scan.
        let middle = if middle.coords.norm() < NEAR_MM { Point::origin() } else { middle };
        File { middle, data: vec![], views: vec![], accessors: vec![], meshes: vec![], nodes: vec![] }
    }

    /// Adds a column of values; each begins at a multiple of four.
    fn column(&mut self, bytes: &[u8], target: Option<u32>, accessor: Value) -> usize {
        while !self.data.len().is_multiple_of(4) {
            self.data.push(0);
        }
        let mut view = json!({ "buffer": 0, "byteOffset": self.data.len(), "byteLength": bytes.len() });
        if let (Some(target), Some(view)) = (target, view.as_object_mut()) {
            view.insert("target".into(), target.into());
        }
        self.data.extend_from_slice(bytes);
        let mut accessor = accessor;
        if let Some(a) = accessor.as_object_mut() {
            a.insert("bufferView".into(), self.views.len().into());
        }
        self.views.push(view);
        self.accessors.push(accessor);
        self.accessors.len() - 1
    }

    fn positions(&mut self, places: &[Point]) -> usize {
        let (mut low, mut high) = ([f32::INFINITY; 3], [f32::NEG_INFINITY; 3]);
        let mut bytes = Vec::with_capacity(12 * places.len());
        for p in places {
            let v: Vector = p - self.middle;
            for (k, c) in [v.x as f32, v.y as f32, v.z as f32].into_iter().enumerate() {
                low[k] = low[k].min(c);
                high[k] = high[k].max(c);
                bytes.extend(c.to_le_bytes());
            }
        }
        let about =
            json!({ "componentType": FLOAT, "count": places.len(), "type": "VEC3", "min": low, "max": high });
        self.column(&bytes, Some(34962), about)
    }

    fn node(&mut self, name: &str, primitive: Value) {
        self.nodes.push(json!({
            "name": name,
            "mesh": self.meshes.len(),
            "translation": [self.middle.x, self.middle.y, self.middle.z],
        }));
        self.meshes.push(json!({ "name": name, "primitives": [primitive] }));
    }

    /// Positions and corners of a mesh; `None` for one without triangles.
    fn shape(&mut self, mesh: &Mesh) -> Option<(usize, usize)> {
        if mesh.faces().is_empty() {
            return None;
        }
        let position = self.positions(mesh.vertices());
        let indices: Vec<u8> = mesh.faces().iter().flatten().flat_map(|v| v.to_le_bytes()).collect();
        let about = json!({ "componentType": INDEX, "count": 3 * mesh.faces().len(), "type": "SCALAR" });
        Some((position, self.column(&indices, Some(34963), about)))
    }

    fn painted(&mut self, name: &str, position: usize, corners: usize, colours: &[Rgb]) {
        let paint: Vec<u8> = colours.iter().flat_map(|&[r, g, b]| [r, g, b, 255]).collect();
        let about =
            json!({ "componentType": BYTE, "normalized": true, "count": colours.len(), "type": "VEC4" });
        let colour = self.column(&paint, Some(34962), about);
        let attributes = json!({ "POSITION": position, "COLOR_0": colour });
        self.node(
            name,
            json!({ "attributes": attributes, "indices": corners, "mode": TRIANGLES, "material": 0 }),
        );
    }

    fn cast(&mut self, name: &str, mesh: &Mesh, paint: Rgb) {
        if let Some((position, corners)) = self.shape(mesh) {
            self.painted(name, position, corners, &vec![paint; mesh.vertices().len()]);
        }
    }

    fn loose(&mut self, name: &str, places: &[Point], mode: u32) {
        if places.is_empty() {
            return;
        }
        let position = self.positions(places);
        self.node(name, json!({ "attributes": { "POSITION": position }, "mode": mode, "material": 1 }));
    }

    fn bytes(mut self, painted: &[(&str, usize)], shared: usize) -> Vec<u8> {
        while !self.data.len().is_multiple_of(4) {
            self.data.push(0);
        }
        let material = |name: &str, rgb: [f64; 3]| {
            json!({
                "name": name,
                "doubleSided": true,
                "pbrMetallicRoughness": {
                    "baseColorFactor": [rgb[0], rgb[1], rgb[2], 1.0], "metallicFactor": 0.0, "roughnessFactor": 0.8
                }
            })
        };
        let scenes: Vec<Value> = painted
            .iter()
            .map(|&(name, first)| {
                let nodes: Vec<usize> = std::iter::once(first).chain(shared..self.nodes.len()).collect();
                json!({ "name": name, "nodes": nodes })
            })
            .collect();
        let about = json!({
            "asset": {
                "version": "2.0",
                "generator": "saddleroom",
                "extras": { "unit": "mm" }
            },
            "scene": 0,
            "scenes": scenes,
            "nodes": self.nodes,
            "meshes": self.meshes,
            "materials": [material("plaster", [1.0; 3]), material("ink", [0.12, 0.12, 0.13])],
            "accessors": self.accessors,
            "bufferViews": self.views,
            "buffers": [{ "byteLength": self.data.len() }],
        });
        let mut text = serde_json::to_vec(&about).unwrap_or_default();
        while !text.len().is_multiple_of(4) {
            text.push(b' ');
        }
        let size = |n: usize| (n as u32).to_le_bytes();
        let mut out = b"glTF".to_vec();
        out.extend(2_u32.to_le_bytes());
        out.extend(size(12 + 8 + text.len() + 8 + self.data.len()));
        out.extend(size(text.len()));
        out.extend(b"JSON");
        out.extend(text);
        out.extend(size(self.data.len()));
        out.extend(b"BIN\0");
        out.extend(self.data);
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn scene(mesh: &Mesh) -> Scene<'_> {
        let tooth_of = &[0, 0, 0];
        Scene {
            restored: mesh,
            opposing: None,
            upper: false,
            frame: None,
            withdrawal: None,
            undercut_mm: vec![Some(0.5), None, Some(0.0)],
            nearest_mm: vec![None; 3],
            along_mm: vec![None; 3],
            tooth_of,
            region: vec![0; 3],
            teeth: vec![],
            solids: vec![],
            curves: vec![],
            spots: vec![],
        }
    }

    #[test]
    fn the_file_says_its_own_length_and_keeps_places_far_from_the_origin() {
        let p = |x: f64, y: f64| Point::new(1e6 + x, y, 0.25);
        let mesh = Mesh::new(vec![p(0.0, 0.0), p(2.0, 0.0), p(0.0, 3.0)], vec![[0, 1, 2]]).unwrap();
        let bytes = binary(&scene(&mesh));
        let word = |at: usize| u32::from_le_bytes(bytes[at..at + 4].try_into().unwrap()) as usize;
        assert_eq!(&bytes[..4], b"glTF");
        assert_eq!(word(8), bytes.len());
        let about: Value = serde_json::from_slice(&bytes[20..20 + word(12)]).unwrap();
        assert_eq!(about["nodes"][0]["name"], "restored_arch_undercut");
        assert_eq!(about["nodes"][0]["translation"][0], 1e6 + 1.0);
        assert_eq!(about["accessors"][0]["max"], json!([1.0, 1.5, 0.0]));
        let data = 20 + word(12) + 8;
        assert_eq!(bytes.len() - data, about["buffers"][0]["byteLength"].as_u64().unwrap() as usize);
        let first = f32::from_le_bytes(bytes[data..data + 4].try_into().unwrap());
        assert!((first + 1.0).abs() < 1e-7);
    }
}
