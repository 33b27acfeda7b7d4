//! Draws patients by seed, scans both arches and holds every cast to what a cast must be: vertices within 1 um of its
//! surface, a manifold in one piece with one clean border or none.
//! `cargo run --release --example accept_people -- [FIRST LAST]` prints a line a cast and ends with 1 where one fails.

#![allow(clippy::print_stdout)] // an example shows its result

mod seeds;

use saddleroom::case::Arch;
use saddleroom::mesh::Topology;
use saddleroom::phantom::patient::{Ending, casts};
use saddleroom::phantom::people;
use saddleroom::phantom::scan::{Density, scan};

/// How far a vertex may stand off the surface, mm.
const OFF_MM: f64 = 1e-3;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let (first, last) = seeds::asked((1, 2))?;
    println!(
        "| seed | arch | missing | triangles | vertices off by 1 um | edges of three faces | borders | pieces |"
    );
    println!("|---|---|---|---|---|---|---|---|");
    let mut failed = 0;
    for seed in first..=last {
        let patient = people::drawn(seed);
        let pair = casts(&patient);
        for arch in [Arch::Mandible, Arch::Maxilla] {
            let cast = pair.cast(arch);
            let mesh = scan(cast, &Density::even(0.5));
            let topology = Topology::new(&mesh);
            let off = mesh.vertices().iter().filter(|p| !cast.passes_within(p, OFF_MM)).count();
            let crowded = topology.edges().iter().filter(|e| e.faces > 2).count();
            let borders = topology.border_loops(&mesh).len();
            let (_, pieces) = topology.pieces();
            let missing = patient.missing.iter().filter(|t| t.arch() == arch).count();
            println!(
                "| {seed} | {} | {missing} | {} | {off} | {crowded} | {borders} | {pieces} |",
                arch.word(),
                mesh.faces().len()
            );
            let wanted = usize::from(patient.ending == Ending::Open);
            failed += usize::from(off > 0 || crowded > 0 || borders != wanted || pieces != 1);
        }
    }
    println!("\n{failed} casts failed");
    if failed > 0 { Err(format!("{failed} casts failed").into()) } else { Ok(()) }
}
