//! Draws patients by seed, scans both arches and holds every cast to what a cast must be: vertices within 1 um of its
//! surface, a manifold in one piece with one clean border or none.
//! `cargo run --release --example accept_people -- [FIRST LAST]` prints a line a cast and ends with 1 where one fails.

#![allow(clippy::print_stdout)] // an example shows its result

use saddleroom::case::Arch;
use saddleroom::mesh::{Mesh, Topology};
use saddleroom::phantom::cast::Cast;
use saddleroom::phantom::patient::{Ending, casts};
use saddleroom::phantom::people;
use saddleroom::phantom::scan::{Density, scan};
use saddleroom::space::Point;

/// How far a vertex may stand off the surface, mm.
const OFF_MM: f64 = 1e-3;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let words: Vec<u64> =
        std::env::args().skip(1).map(|w| w.parse()).collect::<Result<_, std::num::ParseIntError>>()?;
    let (first, last) = match words.as_slice() {
        [] => (1, 2),
        [one] => (*one, *one),
        [first, last, ..] => (*first, *last),
    };
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
            let off = mesh.vertices().iter().filter(|p| !stands(cast, p)).count();
            let crowded = topology.edges().iter().filter(|e| e.faces > 2).count();
            let borders = topology.border_loops(&mesh).len();
            let pieces = pieces(&mesh, &topology);
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

/// Whether the sign of the field changes within 1 um of a place, along its gradient.
fn stands(cast: &Cast, p: &Point) -> bool {
    let aside = cast.gradient(p).try_normalize(1e-9).map(|n| n * OFF_MM);
    aside.is_some_and(|n| cast.value(&(p - n)) <= 0.0 && cast.value(&(p + n)) >= 0.0)
}

/// Number of connected pieces.
fn pieces(mesh: &Mesh, topology: &Topology) -> usize {
    let mut seen = vec![false; mesh.vertices().len()];
    let mut count = 0;
    for start in 0..seen.len() {
        if seen[start] {
            continue;
        }
        count += 1;
        let mut todo = vec![start as u32];
        while let Some(v) = todo.pop() {
            if std::mem::replace(&mut seen[v as usize], true) {
                continue;
            }
            for f in topology.faces_of_vertex(v) {
                todo.extend(mesh.faces()[*f as usize].iter().filter(|w| !seen[**w as usize]));
            }
        }
    }
    count
}
