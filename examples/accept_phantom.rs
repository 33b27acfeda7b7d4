//! Casts with their truth, densely scanned, for a comparison with independent programs:
//! `cargo run --release --example accept_phantom -- DIR [--case NAME] [--seed N] [--cell MM]`.
//!
//! For each case: `mandible.stl`, `maxilla.stl`, `bare.stl` (the restored arch as it would be without its tori and
//! rest seats) and `truth.json`, in a folder named after the case. `tests/reference/phantom_truth.py` compares them.

#![allow(clippy::print_stdout)] // an example shows its result

use std::path::Path;

use saddleroom::case::Arch;
use saddleroom::phantom::patient::{Pair, casts};
use saddleroom::phantom::scan::{Density, scan};
use saddleroom::phantom::truth::{Wanted, record};
use saddleroom::phantom::{demo, stl};
use saddleroom::space::{Direction, Vector};

type Failure = Box<dyn std::error::Error>;

fn main() -> Result<(), Failure> {
    let mut dir = None;
    let (mut case, mut seed, mut cell_mm) = (None, None, 0.3);
    let mut words = std::env::args().skip(1);
    while let Some(word) = words.next() {
        let mut value = || words.next().ok_or(format!("{word} needs a value"));
        match word.as_str() {
            "--case" => case = Some(value()?),
            "--seed" => seed = Some(value()?.parse::<u64>()?),
            "--cell" => cell_mm = value()?.parse::<f64>()?,
            _ => dir = Some(word),
        }
    }
    let dir = dir.ok_or("say where to write: accept_phantom DIR [--case NAME] [--seed N] [--cell MM]")?;
    if !(0.1..=2.0).contains(&cell_mm) {
        return Err(format!("--cell {cell_mm}: 0.1 to 2 mm").into());
    }
    if let Some(seed) = seed {
        let mut patient = demo::named("oban").ok_or("no case oban")?.patient;
        patient.seed = seed;
        return write(&Path::new(&dir).join(format!("seed-{seed}")), &casts(&patient), cell_mm);
    }
    for name in demo::NAMES.iter().filter(|n| case.as_ref().is_none_or(|c| c == *n)) {
        let pair = demo::pair(name).ok_or(format!("no case {name}"))?;
        write(&Path::new(&dir).join(name), &pair, cell_mm)?;
    }
    Ok(())
}

fn write(dir: &Path, pair: &Pair, cell_mm: f64) -> Result<(), Failure> {
    std::fs::create_dir_all(dir)?;
    // The arch with fewer teeth is the one to restore.
    let fewer = pair.mandible.crowns.len() <= pair.maxilla.crowns.len();
    let restored = if fewer { Arch::Mandible } else { Arch::Maxilla };
    let mut wanted = Wanted::of(pair, restored);
    let up = if fewer { 1.0 } else { -1.0 };
    // A second path leans forward and to the left.
    wanted.withdrawals.push(Direction::new_normalize(Vector::new(-0.06, 0.09, up)));
    let truth = record(pair, &wanted);
    std::fs::write(dir.join("truth.json"), format!("{truth:#}\n"))?;
    let density = Density::even(cell_mm);
    let mut bare = if fewer { pair.mandible.as_ref().clone() } else { pair.maxilla.clone() };
    bare.rises.retain(|r| !r.torus);
    for crown in &mut bare.crowns {
        crown.seats.clear();
    }
    let scans = [
        ("mandible.stl", scan(&pair.mandible, &density)),
        ("maxilla.stl", scan(&pair.maxilla, &density)),
        ("bare.stl", scan(&bare, &density)),
    ];
    for (file, mesh) in scans {
        println!("{}: {} triangles", dir.join(file).display(), mesh.faces().len());
        std::fs::write(dir.join(file), stl::binary(&mesh, "phantom"))?;
    }
    Ok(())
}
