//! Anatomy read off casts in random poses without any mark: frame, crowns, margin against gingiva, numbers, proposals of
//! the chart, and charts that are wrong on purpose. Drawn patients, and labelled scans where a folder of them is given.
//! `cargo run --release --example accept_anatomy -- [FIRST LAST]` prints a table and ends with 1 where a crown that
//! counts as sure bears a wrong number under a right chart, or a plane that counts as sure leans more than 6 degrees.

#![allow(clippy::print_stdout)] // an example shows its result

mod poses;
mod seeds;

use std::collections::BTreeMap;

use saddleroom::anatomy::Anatomy;
use saddleroom::anatomy::crowns::of_corners;
use saddleroom::anatomy::teeth::{self, Known};
use saddleroom::case::{Arch, Chart, Marks, Tooth, labels};
use saddleroom::locate::Surface;
use saddleroom::mesh::{Mesh, Topology};
use saddleroom::phantom::field::Variety;
use saddleroom::phantom::patient::casts;
use saddleroom::phantom::people;
use saddleroom::phantom::scan::{Density, scan};
use saddleroom::phantom::truth;
use saddleroom::space::{Vector, angle_deg};
use saddleroom::units::{LengthUnit, digits};

const WRONG_DEG: f64 = 6.0;

/// A cast with one FDI number a vertex and, where it is known, its occlusal direction.
struct Labelled {
    arch: Arch,
    mesh: Mesh,
    labels: Vec<u8>,
    up: Option<Vector>,
}

/// What is asked for besides the scan.
#[derive(Clone, Copy, PartialEq)]
enum Told {
    Chart,
    Nothing,
    /// A chart that calls two standing teeth missing.
    WrongChart,
}

/// Sums over casts.
#[derive(Default)]
struct Tally {
    casts: usize,
    frames: Vec<f64>,
    refused: usize,
    iou: Vec<f64>,
    matched: usize,
    true_teeth: usize,
    found_teeth: usize,
    numbered: usize,
    used: usize,
    used_wrong: usize,
    proposals: usize,
    proposals_wrong: usize,
}

fn most(labels: &[u8], corners: &[u32; 3]) -> u8 {
    of_corners(corners.map(|v| labels[v as usize]))
}

fn chart(cast: &Labelled, told: Told) -> Option<Chart> {
    let stands = |t: &Tooth| cast.labels.contains(&t.number());
    let all = || (-7..=7i8).filter_map(|a| Tooth::at(cast.arch, a));
    match told {
        Told::Nothing => None,
        Told::Chart => Some(Chart { missing: all().filter(|t| !stands(t)).collect(), ..Chart::default() }),
        Told::WrongChart => {
            let wrong: Vec<Tooth> =
                all().filter(stands).filter(|t| [4, 6].contains(&t.place())).take(2).collect();
            let missing = all().filter(|t| !stands(t) || wrong.contains(t)).collect();
            Some(Chart { missing, ..Chart::default() })
        }
    }
}

impl Tally {
    fn add(&mut self, cast: &Labelled, told: Told) {
        let chart = chart(cast, told);
        let thirds: Vec<Tooth> = (1..=48u8)
            .filter(|n| n % 10 == 8 && cast.labels.contains(n) && told != Told::Nothing)
            .filter_map(Tooth::fdi)
            .collect();
        let marks = Marks::default();
        let known = Known {
            arch: cast.arch,
            chart: chart.as_ref(),
            abutments: &thirds,
            marks: chart.as_ref().map(|_| &marks),
            labels: None,
            least_confidence: 0.5,
        };
        let anatomy = teeth::read(&Surface::new(&cast.mesh), &Topology::new(&cast.mesh), &known);
        self.casts += 1;
        self.frame(cast, &anatomy);
        self.crowns(cast, &anatomy);
        if let Some(proposed) = anatomy.found_teeth.as_ref().and_then(|f| f.proposed.as_ref()) {
            self.proposals += 1;
            let truth = self::chart(cast, Told::Chart).map(|c| c.missing);
            self.proposals_wrong += usize::from(truth.as_ref() != Some(&proposed.missing));
        }
    }

    fn frame(&mut self, cast: &Labelled, anatomy: &Anatomy) {
        match (&anatomy.frame, cast.up) {
            (Ok(f), Some(up)) => self.frames.push(angle_deg(&f.frame.occlusal, &up)),
            (Err(_), _) => self.refused += 1,
            _ => {}
        }
    }

    fn crowns(&mut self, cast: &Labelled, anatomy: &Anatomy) {
        let mut shared = BTreeMap::<(u8, u8), f64>::new();
        for (f, corners) in cast.mesh.faces().iter().enumerate() {
            let pair = (most(&cast.labels, corners), most(&anatomy.tooth_of, corners));
            *shared.entry(pair).or_default() += cast.mesh.face_area_mm2(f as u32);
        }
        let area = |take: &dyn Fn(u8, u8) -> bool| -> f64 {
            shared.iter().filter(|((t, g), _)| take(*t, *g)).map(|(_, a)| a).sum()
        };
        let either = area(&|t, g| t != 0 || g != 0);
        self.iou.push(area(&|t, g| t != 0 && g != 0) / either.max(1e-9));
        let numbers = |labels: &[u8]| {
            let mut n: Vec<u8> = labels.iter().copied().filter(|l| *l != 0).collect();
            n.sort_unstable();
            n.dedup();
            n
        };
        let (truth, found) = (numbers(&cast.labels), numbers(&anatomy.tooth_of));
        self.true_teeth += truth.len();
        self.found_teeth += found.len();
        for &t in &truth {
            let overlap = |g: u8| area(&|a, b| a == t && b == g) / area(&|a, b| a == t || b == g).max(1e-9);
            let best = found.iter().copied().max_by(|a, b| overlap(*a).total_cmp(&overlap(*b)));
            if let Some(g) = best.filter(|g| overlap(*g) >= 0.5) {
                self.matched += 1;
                self.numbered += usize::from(g == t);
            }
        }
        for crown in &anatomy.crowns {
            let n = crown.tooth.number();
            self.used += 1;
            let own = area(&|a, b| a == n && b == n);
            let other = truth
                .iter()
                .filter(|t| **t != n)
                .map(|t| area(&|a, b| a == *t && b == n))
                .fold(0.0, f64::max);
            self.used_wrong += usize::from(other > own);
        }
    }

    fn line(&mut self, what: &str) -> String {
        self.frames.sort_by(f64::total_cmp);
        let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len().max(1) as f64;
        let within = self.frames.iter().filter(|v| **v <= 3.0).count();
        format!(
            "| {what} | {} | {} of {}, worst {} | {} | {} (least {}) | {} | {} | {} of {} | {} of {} |",
            self.casts,
            within,
            self.frames.len(),
            digits(self.frames.last().copied().unwrap_or(0.0), 1),
            self.refused,
            digits(mean(&self.iou), 3),
            digits(self.iou.iter().copied().fold(1.0, f64::min), 3),
            digits(2.0 * self.matched as f64 / (self.true_teeth + self.found_teeth).max(1) as f64, 3),
            digits(self.numbered as f64 / self.true_teeth.max(1) as f64, 3),
            self.used_wrong,
            self.used,
            self.proposals_wrong,
            self.proposals,
        )
    }

    fn confidently_wrong(&self) -> bool {
        self.used_wrong > 0 || self.frames.iter().any(|v| *v > WRONG_DEG)
    }
}

fn drawn(seed: u64) -> Vec<Labelled> {
    let pair = casts(&people::drawn(seed));
    let motion = poses::pose(&mut Variety::new(seed));
    [Arch::Mandible, Arch::Maxilla]
        .map(|arch| {
            let mesh = scan(pair.cast(arch), &Density::even(0.55));
            let labels = truth::labels(pair.cast(arch), mesh.vertices());
            let up = motion * (Vector::z() * if arch == Arch::Mandible { 1.0 } else { -1.0 });
            Labelled { arch, mesh: mesh.moved(&motion), labels, up: Some(up) }
        })
        .into()
}

/// Labelled scans (`NAME.ply` with `NAME.labels.json`) of the folder that `SADDLEROOM_REAL_SCANS` names.
fn real() -> Result<Vec<Labelled>, Box<dyn std::error::Error>> {
    let Some(folder) = std::env::var_os("SADDLEROOM_REAL_SCANS") else {
        println!("Labelled scans: skipped, SADDLEROOM_REAL_SCANS names no folder.\n");
        return Ok(Vec::new());
    };
    let mut names: Vec<_> = std::fs::read_dir(folder)?.filter_map(|e| Some(e.ok()?.path())).collect();
    names.retain(|p| p.to_string_lossy().ends_with(".labels.json"));
    names.sort();
    let mut scans = Vec::new();
    for (k, path) in names.iter().enumerate() {
        let text = std::fs::read_to_string(path)?;
        let ply = std::path::PathBuf::from(path.to_string_lossy().replace(".labels.json", ".ply"));
        let import = saddleroom::load::read(&std::fs::read(ply)?, LengthUnit::Mm)?;
        let lower = path.to_string_lossy().contains("lower");
        let arch = if lower { Arch::Mandible } else { Arch::Maxilla };
        let labels = labels::read(&text, arch, &import)?;
        let motion = poses::pose(&mut Variety::new(7 + k as u64));
        let json: serde_json::Value = serde_json::from_str(&text)?;
        let normal = &json["occlusal_plane"]["normal"];
        let part = |i: usize| normal[i].as_f64();
        let up = part(0).zip(part(1)).zip(part(2)).map(|((x, y), z)| motion * Vector::new(x, y, z));
        scans.push(Labelled { arch, mesh: import.mesh.moved(&motion), labels, up });
    }
    Ok(scans)
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let (first, last) = seeds::asked((101, 101))?;
    let scans = real()?;
    let mut rows: Vec<(String, Told, Tally)> = Vec::new();
    for (told, words) in [
        (Told::Chart, "the chart"),
        (Told::Nothing, "nothing"),
        (Told::WrongChart, "a chart that calls two standing teeth missing"),
    ] {
        rows.push((format!("drawn patients, told {words}"), told, Tally::default()));
        if !scans.is_empty() {
            let mut tally = Tally::default();
            scans.iter().for_each(|s| tally.add(s, told));
            rows.push((format!("labelled scans, told {words}"), told, tally));
        }
    }
    for seed in first..=last {
        for cast in drawn(seed) {
            for (_, told, tally) in rows.iter_mut().filter(|r| r.0.starts_with("drawn")) {
                tally.add(&cast, *told);
            }
        }
    }
    println!(
        "| casts | number | occlusal direction within 3 degrees | frame refused | tooth against gingiva, IoU | instances, F1 | numbers right | crowns used with a wrong number | charts proposed that are wrong |"
    );
    println!("|---|---|---|---|---|---|---|---|---|");
    let mut wrong = false;
    for (what, told, tally) in &mut rows {
        println!("{}", tally.line(what));
        wrong |= *told == Told::Chart && tally.confidently_wrong();
    }
    if wrong {
        Err("a sure crown bears a wrong number, or a sure plane leans too far".into())
    } else {
        Ok(())
    }
}
