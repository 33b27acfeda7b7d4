//! Real scans against their own mirror images in the occlusal plane: a pair of which every distance is known. A place
//! that a rod along the opening direction can reach lies twice its depth below the plane from its image; an undercut
//! place is nearer to the image of what stands over it.

use crate::load;
use crate::locate::Surface;
use crate::measure::articulation::{self, ArticulationFact};
use crate::measure::clearance;
use crate::mesh::{Mesh, Topology};
use crate::report::ArticulationState;
use crate::space::{Direction, Vector, direction};
use crate::units::LengthUnit;

struct Pair {
    name: String,
    scan: Surface,
    topology: Topology,
    image: Mesh,
    up: Direction,
    /// Depth of each vertex below the highest one, mm.
    depth: Vec<f64>,
}

impl Pair {
    /// The image moved by `mm` along the opening direction.
    fn image_at(&self, mm: f64) -> Surface {
        let moved = self.image.vertices().iter().map(|p| p + self.up.into_inner() * mm).collect();
        Surface::new(&Mesh::new(moved, self.image.faces().to_vec()).unwrap())
    }

    /// Whether all triangles around the vertex face up and nothing of the scan itself stands over it. (At a border and at
    /// the brim of an overhang the last digit decides what a ray meets; of folds of the cheek it meets the back.)
    fn reached(&self, v: usize) -> bool {
        let mesh = self.scan.mesh();
        let up = |f: &u32| mesh.face_normal(*f).is_some_and(|n| n.dot(&self.up) > 0.05);
        let around = self.topology.faces_of_vertex(v as u32);
        let closed = |e: &u32| self.topology.edges()[*e as usize].faces == 2;
        if !around.iter().all(up)
            || !around.iter().flat_map(|&f| self.topology.edges_of_face(f)).all(|e| closed(&e))
        {
            return false;
        }
        let from = self.scan.mesh().vertices()[v] + self.up.into_inner() * 1e-6;
        self.scan.cast(&from, &self.up, f64::INFINITY).is_none()
    }

    fn articulation(&self, mm: f64) -> ArticulationFact {
        articulation::state(&self.scan, &self.image_at(mm), &self.up, 0.2, 0.3)
    }
}

fn pairs() -> Vec<Pair> {
    let given = std::env::var_os("SADDLEROOM_REAL_SCANS").map(std::path::PathBuf::from);
    let beside = std::path::PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../shared/real-scans");
    let Some(folder) = given.into_iter().chain([beside]).find(|p| p.is_dir()) else {
        println!("skipped: no folder of real scans beside the repository");
        return Vec::new();
    };
    let mut names: Vec<std::path::PathBuf> =
        std::fs::read_dir(&folder).unwrap().map(|e| e.unwrap().path()).collect();
    names.retain(|p| p.extension().is_some_and(|e| e == "ply"));
    names.sort();
    names
        .into_iter()
        .map(|path| {
            let mesh = load::read(&std::fs::read(&path).unwrap(), LengthUnit::Mm).unwrap().mesh;
            let labels = std::fs::read_to_string(path.with_extension("labels.json")).unwrap();
            let json: serde_json::Value = serde_json::from_str(&labels).unwrap();
            let normal = &json["occlusal_plane"]["normal"];
            let part = |k: usize| normal[k].as_f64().unwrap();
            let up = direction(Vector::new(part(0), part(1), part(2))).unwrap();
            let top = mesh.vertices().iter().map(|p| p.coords.dot(&up)).fold(f64::NEG_INFINITY, f64::max);
            let depth: Vec<f64> = mesh.vertices().iter().map(|p| top - p.coords.dot(&up)).collect();
            let image =
                mesh.vertices().iter().zip(&depth).map(|(p, d)| p + up.into_inner() * (2.0 * d)).collect();
            let image = Mesh::new(image, mesh.faces().to_vec()).unwrap().turned_over();
            let name = path.file_stem().unwrap().to_string_lossy().into_owned();
            Pair { name, scan: Surface::new(&mesh), topology: Topology::new(&mesh), image, up, depth }
        })
        .collect()
}

#[test]
fn a_scan_and_its_image_are_twice_the_depth_apart() {
    for pair in pairs() {
        for moved in [0.0, 6.0, -0.5, -5.0] {
            let map = clearance::map(&pair.scan, &pair.image_at(moved), &pair.up);
            let (mut reached, mut right) = (0, 0);
            for (v, c) in map.iter().enumerate().filter(|(v, _)| pair.reached(*v)) {
                let expected = 2.0 * pair.depth[v] + moved;
                reached += 1;
                right += usize::from(c.along_mm.is_some_and(|mm| (mm - expected).abs() < 1e-6));
                if let (Some(along), Some(nearest)) = (c.along_mm, c.nearest_mm) {
                    assert!(nearest.abs() <= along.abs() + 1e-9 && nearest * along >= 0.0, "{c:?}");
                }
            }
            let share = right as f64 / reached as f64;
            println!("{} moved {moved}: {right} of {reached} places as they must be", pair.name);
            // 5 mm deep, folds of the cheek bring two sheets within reach, and the nearer one is read.
            assert!(share > if moved < -1.0 { 0.98 } else { 0.999 }, "{} {moved} {share}", pair.name);
        }
    }
}

#[test]
fn a_scan_on_its_image_occludes_and_moved_it_is_apart_or_overlaps() {
    for pair in pairs() {
        let here = pair.articulation(0.0);
        println!("{}: {} contacts", pair.name, here.contacts.len());
        assert_eq!(here.state, ArticulationState::Occluding, "{}", pair.name);
        let apart = pair.articulation(40.0);
        assert_eq!(apart.state, ArticulationState::Apart);
        let deep = pair.articulation(-5.0);
        assert_eq!(deep.state, ArticulationState::Overlapping);
        println!("{}: apart {:?}, overlap {:?}", pair.name, apart.least_gap, deep.deepest_overlap);
        assert!((apart.least_gap.unwrap().0 - 40.0).abs() < 0.5, "{:?}", apart.least_gap);
        assert!((deep.deepest_overlap.unwrap().0 - 5.0).abs() < 0.5, "{:?}", deep.deepest_overlap);
    }
}
