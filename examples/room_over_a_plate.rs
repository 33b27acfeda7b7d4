//! Clearance between two parallel plates 5 mm apart: `cargo run --release --example room_over_a_plate`.

#![allow(clippy::print_stdout)] // an example shows its result

use saddleroom::locate::Surface;
use saddleroom::measure::clearance;
use saddleroom::phantom::solids::plate_pair;
use saddleroom::space::{Direction, Vector};
use saddleroom::units::mm;

fn main() {
    let (tissue, opposing) = plate_pair([20.0, 12.0], 5.0, 0.4);
    let (tissue, opposing) = (Surface::new(&tissue), Surface::new(&opposing));
    let map = clearance::map(&tissue, &opposing, &Direction::new_normalize(Vector::z()));
    let summary = clearance::summary(&map);
    if let (Some((along, _)), Some((nearest, _))) = (summary.least_along, summary.least_nearest) {
        println!("least along the opening direction {}, nearest {}", mm(along), mm(nearest));
    }
}
