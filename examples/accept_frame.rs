//! Frames of drawn patients in random poses: from the shape of the cast alone, and from its true crowns.
//! `cargo run --release --example accept_frame -- [FIRST LAST]` prints a table and ends with 1 where a plane that counts as
//! sure leans more than 6 degrees.

#![allow(clippy::print_stdout)] // an example shows its result

mod poses;
mod seeds;

use saddleroom::anatomy::{Crown, KnownFrame, crowns, frame, guess};
use saddleroom::case::Arch;
use saddleroom::estimate::Measured;
use saddleroom::locate::Surface;
use saddleroom::mesh::{Mesh, Topology};
use saddleroom::phantom::field::Variety;
use saddleroom::phantom::patient::casts;
use saddleroom::phantom::people;
use saddleroom::phantom::scan::{Density, scan};
use saddleroom::phantom::truth;
use saddleroom::space::{Vector, angle_deg};
use saddleroom::units::digits;

/// A plane counts as sure from this confidence on; one that then leans more than this is wrong, degrees.
const SURE: f64 = 0.5;
const WRONG_DEG: f64 = 6.0;

/// Errors of the occlusal direction of one way to find it.
#[derive(Default)]
struct Row {
    off: Vec<f64>,
    refused: usize,
}

impl Row {
    fn add(&mut self, found: &Measured<KnownFrame>, up: &Vector) {
        match found {
            Ok(f) if f.confidence >= SURE => self.off.push(angle_deg(&f.frame.occlusal, up)),
            _ => self.refused += 1,
        }
    }

    fn line(&mut self, what: &str) -> String {
        self.off.sort_by(f64::total_cmp);
        let n = self.off.len();
        let at = |share: f64| {
            self.off.get((share * n.saturating_sub(1) as f64).round() as usize).map_or(0.0, |v| *v)
        };
        let mean = self.off.iter().sum::<f64>() / n.max(1) as f64;
        let within = self.off.iter().filter(|v| **v <= 3.0).count();
        format!(
            "| {what} | {} | {} | {} | {} | {within} | {} |",
            n + self.refused,
            digits(mean, 2),
            digits(at(0.95), 2),
            digits(at(1.0), 2),
            self.refused
        )
    }
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let (first, last) = seeds::asked((101, 101))?;
    let mut rows = [Row::default(), Row::default(), Row::default()];
    for seed in first..=last {
        let pair = casts(&people::drawn(seed));
        let motion = poses::pose(&mut Variety::new(seed));
        let mut found: Vec<(Arch, Mesh, Topology, Vec<Crown>)> = Vec::new();
        for arch in [Arch::Mandible, Arch::Maxilla] {
            let cast = pair.cast(arch);
            let plain = scan(cast, &Density::even(0.6));
            let labels = truth::labels(cast, plain.vertices());
            let mesh = plain.moved(&motion);
            let topology = Topology::new(&mesh);
            let crowns = crowns::from_labels(&Surface::new(&mesh), &topology, &labels);
            found.push((arch, mesh, topology, crowns));
        }
        let alone: Vec<Measured<KnownFrame>> = found
            .iter()
            .map(|(arch, mesh, t, crowns)| frame::find_with(mesh, t, *arch, None, crowns))
            .collect();
        for (i, (arch, mesh, topology, crowns)) in found.iter().enumerate() {
            let up = motion * (Vector::z() * if *arch == Arch::Mandible { 1.0 } else { -1.0 });
            rows[0].add(&frame::find(mesh, topology, *arch, None), &up);
            rows[1].add(&alone[i], &up);
            let opposing = alone[1 - i].as_ref().ok().map(frame::from_opposing);
            let asked =
                frame::Asked { arch: *arch, marks: None, crowns, opposing, least: guess::LEAST_CONFIDENCE };
            rows[2].add(&frame::find_beside(mesh, topology, &asked), &up);
        }
    }
    println!("| occlusal direction | casts | mean | 95 % | worst | within 3 degrees | refused |");
    println!("|---|---|---|---|---|---|---|");
    for (row, what) in rows.iter_mut().zip(["shape alone", "true crowns", "true crowns and the other arch"]) {
        println!("{}", row.line(what));
    }
    let wrong = rows.iter().flat_map(|r| &r.off).filter(|v| **v > WRONG_DEG).count();
    if wrong > 0 {
        Err(format!("{wrong} sure planes lean more than {WRONG_DEG} degrees").into())
    } else {
        Ok(())
    }
}
