//! Surveys a sphere along +z and prints the depths beside the formula: at latitude phi below the equator of a sphere of
//! radius R the undercut is R (1 - cos phi). `cargo run --release --example survey_sphere`.

#![allow(clippy::print_stdout)] // an example shows its result

use saddleroom::measure::undercut::Surveyor;
use saddleroom::mesh::Topology;
use saddleroom::phantom::solids::{icosphere, sphere_depth_mm};
use saddleroom::space::{Direction, Vector};
use saddleroom::units::mm;

fn main() {
    let radius_mm = 5.0;
    let sphere = icosphere(radius_mm, 0.2);
    let topology = Topology::new(&sphere);
    let field = Surveyor::new(&sphere, &topology).field(&Direction::new_normalize(Vector::z()));
    println!("sphere of radius {}, {} triangles", mm(radius_mm), sphere.faces().len());
    let mut worst_mm = 0.0_f64;
    for (p, depth) in sphere.vertices().iter().zip(&field.depth_mm) {
        let truth_mm = sphere_depth_mm(radius_mm, -p.z).unwrap_or(0.0);
        if let Some(depth_mm) = depth {
            worst_mm = worst_mm.max((depth_mm - truth_mm).abs());
        }
    }
    println!("largest difference from R (1 - cos phi): {}", mm(worst_mm));
}
