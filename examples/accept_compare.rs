//! Two scans of synthetic mouths, laid onto each other and compared, against what was put on:
//! `cargo run --release --example accept_compare -- [FIRST LAST [WHOLE]]` prints the tables of `docs/method/compare.md` for
//! the seeds FIRST to LAST and ends with 1 where a figure misses its mark. Unchanged pairs are made for all seeds, resorbed
//! ridges, moved teeth, strangers, halves and poses for the first WHOLE of them (3): they take most of the time.
//!
//! Both scans of a pair have another tessellation, another pose and noise of their own. A resorbed ridge is the same
//! distance function, lowered along the occlusal direction; what is true of a place is had from that function, along its
//! gradient, never from triangles.

#![allow(clippy::print_stdout, clippy::print_stderr)] // an example shows its result and how far it is

mod poses;
mod seeds;

use std::collections::BTreeMap;

use saddleroom::analysis::{CompareWanted, compare};
use saddleroom::case::{Arch, Chart, Scan, Tooth};
use saddleroom::load;
use saddleroom::locate::Surface;
use saddleroom::measure::registration::{Agreement, onto};
use saddleroom::mesh::Mesh;
use saddleroom::phantom::cast::Cast;
use saddleroom::phantom::field::{Variety, step};
use saddleroom::phantom::patient::{Patient, casts};
use saddleroom::phantom::scan::{Density, scan};
use saddleroom::phantom::truth::spans;
use saddleroom::phantom::{people, stl};
use saddleroom::report::{ChangeFile, Place, ToothFate};
use saddleroom::rules::Rules;
use saddleroom::space::{Motion, Point, Vector, hypot};
use saddleroom::units::{LengthUnit, digits};

type Failure = Box<dyn std::error::Error>;

/// Noise of each scan along its normals, mm.
const NOISE_MM: f64 = 0.05;
/// What a depth may be off, mm, noise included: 0.05 and the noise of two scans over a disc of some ten points.
const OFF_MM: f64 = 0.08;
const DEPTHS_MM: [f64; 5] = [0.2, 0.5, 1.0, 2.0, 3.0];
/// Seeds for which everything is made, not the unchanged pairs alone, unless told otherwise.
const WHOLE_SEEDS: u64 = 3;

fn main() -> Result<(), Failure> {
    let (first, last) = seeds::asked((1, 2))?;
    let whole = std::env::args().nth(3).map_or(Ok(WHOLE_SEEDS), |w| w.parse())?;
    let mut missed = Vec::new();
    let mut depths: BTreeMap<usize, Errors> = BTreeMap::new();
    let mut same = Errors::default();
    let mut pairs = 0;
    println!("Seeds {first} to {last}.\n");
    for seed in first..=last {
        let patient = people::drawn(seed);
        let pair = casts(&patient);
        for arch in [Arch::Mandible, Arch::Maxilla] {
            let cast = pair.cast(arch);
            let mouth = Mouth::new(&patient, cast, seed);
            if spans(cast).is_empty() {
                continue;
            }
            pairs += unchanged(&mouth, &mut same, &mut missed)?;
            if seed >= first + whole {
                continue;
            }
            for (k, depth) in DEPTHS_MM.iter().enumerate() {
                resorbed(&mouth, *depth, depths.entry(k).or_default(), &mut missed)?;
            }
            moved_tooth(&mouth, &mut missed)?;
            strangers(&mouth, &casts(&people::drawn(seed + 1000)).cast(arch).clone(), &mut missed)?;
        }
        if seed < first + whole {
            turned(&Mouth::new(&patient, pair.cast(Arch::Mandible), seed), &mut missed)?;
        }
        eprintln!("seed {seed}: {} missed so far", missed.len());
    }
    println!(
        "| resorption, mm | places | median off, mm | p95 off, mm | greatest off, mm | deepest place: greatest off, mm |"
    );
    println!("|---|---|---|---|---|---|");
    for (k, errors) in &mut depths {
        println!("| {} | {} |", digits(DEPTHS_MM[*k], 1), errors.row());
    }
    println!("| unchanged | {} |", same.row());
    println!("\n{pairs} unchanged pairs. {} figures missed their mark", missed.len());
    missed.iter().for_each(|m| println!("- {m}"));
    if missed.is_empty() { Ok(()) } else { Err(format!("{} missed", missed.len()).into()) }
}

/// Measured less true.
#[derive(Default)]
struct Errors {
    profile: Vec<f64>,
    deepest: Vec<f64>,
}

impl Errors {
    fn row(&mut self) -> String {
        let mut all: Vec<f64> = self.profile.iter().map(|e| e.abs()).collect();
        all.sort_by(f64::total_cmp);
        let at = |share: f64| all.get(((all.len() as f64 - 1.0) * share).round().max(0.0) as usize).copied();
        let text = |v: Option<f64>| v.map_or("none".into(), |v| digits(v, 3));
        let deepest = self.deepest.iter().map(|e| e.abs()).reduce(f64::max);
        format!(
            "{} | {} | {} | {} | {}",
            all.len(),
            text(at(0.5)),
            text(at(0.95)),
            text(at(1.0)),
            text(deepest)
        )
    }
}

/// A cast, its two meshes, and what is known of it.
struct Mouth<'c> {
    cast: &'c Cast,
    old: Mesh,
    new: Mesh,
    missing: Vec<Tooth>,
    seed: u64,
}

impl<'c> Mouth<'c> {
    fn new(patient: &Patient, cast: &'c Cast, seed: u64) -> Mouth<'c> {
        let third = [18u8, 28, 38, 48].iter().filter_map(|n| Tooth::fdi(*n));
        let missing = patient
            .missing
            .iter()
            .copied()
            .chain(third.filter(|t| !patient.third_molars.contains(t)))
            .filter(|t| t.arch() == cast.arch)
            .collect();
        let old = scan(cast, &Density::even(0.45));
        let new = scan(cast, &Density::even(0.40));
        Mouth { cast, old, new, missing, seed }
    }

    fn up(&self) -> Vector {
        if self.cast.arch == Arch::Mandible { Vector::z() } else { -Vector::z() }
    }

    fn wanted(&self) -> CompareWanted {
        let chart = Chart { missing: self.missing.clone(), ..Chart::default() };
        CompareWanted { arch: Some(self.cast.arch), chart: Some(chart), ..CompareWanted::default() }
    }

    fn lowered(&self, mesh: &Mesh, depth_mm: f64) -> Result<Mesh, Failure> {
        let down = self.up() * -depth_mm;
        let crests = Shares::new(self);
        let vertices = mesh.vertices().iter().map(|p| p + down * crests.share(self, p)).collect();
        Ok(Mesh::new(vertices, mesh.faces().to_vec())?)
    }

    /// The change at a place near the older surface, along its gradient: the nearest meeting with the lowered one.
    fn truth(&self, near: &Point, depth_mm: f64, shares: &Shares) -> Option<f64> {
        let mut p = *near;
        for _ in 0..8 {
            let g = self.cast.gradient(&p);
            p -= g * (self.cast.value(&p) / g.norm_squared().max(1e-9));
        }
        let out = self.cast.gradient(&p).try_normalize(1e-9)?;
        let lowered = |q: &Point| self.cast.value(&(q + self.up() * (depth_mm * shares.share(self, q))));
        let f = |t: f64| lowered(&(p - out * t));
        const STEP: f64 = 0.05;
        let mut t = -0.2;
        while t < depth_mm + 1.0 {
            if f(t) > 0.0 && f(t + STEP) <= 0.0 {
                let (mut a, mut b) = (t, t + STEP);
                for _ in 0..40 {
                    let m = 0.5 * (a + b);
                    if f(m) > 0.0 { a = m } else { b = m }
                }
                return Some(-0.5 * (a + b));
            }
            t += STEP;
        }
        None
    }
}

/// How much of a resorption a place gets: all over the spans' ridges, none at teeth and in the sulci. Extents of the spans
/// along the arch, worked out once.
struct Shares(Vec<[f64; 2]>);

impl Shares {
    fn new(mouth: &Mouth<'_>) -> Shares {
        let s = |p: &Point| {
            let own = mouth.cast.own(p);
            mouth.cast.form.place(own.x, own.y).s
        };
        let extent = |crest: &Vec<Point>| {
            let (a, b) = (s(crest.first()?), s(crest.last()?));
            Some([a.min(b), a.max(b)])
        };
        Shares(spans_of(mouth.cast).iter().filter_map(extent).collect())
    }

    fn share(&self, mouth: &Mouth<'_>, p: &Point) -> f64 {
        let own = mouth.cast.own(p);
        let here = mouth.cast.form.place(own.x, own.y);
        let along = self.0.iter().map(|[a, b]| step(0.5, 3.0, (here.s - a).min(b - here.s)));
        along.fold(0.0, f64::max) * (1.0 - step(3.5, 8.5, here.t.abs()))
    }
}

fn spans_of(cast: &Cast) -> Vec<Vec<Point>> {
    spans(cast).into_iter().map(|s| s.crest).collect()
}

fn noised(mesh: &Mesh, v: &mut Variety) -> Result<Mesh, Failure> {
    let normals = mesh.vertex_normals();
    let vertices =
        mesh.vertices().iter().zip(normals).map(|(p, n)| p + n * (NOISE_MM * v.normal())).collect();
    Ok(Mesh::new(vertices, mesh.faces().to_vec())?)
}

/// A mesh as a file that a user hands over.
fn file(mesh: &Mesh, name: &str) -> Result<Scan, Failure> {
    let import = load::read(&stl::binary(mesh, name), LengthUnit::Mm)?;
    Ok(Scan { file: name.into(), sha256: String::new(), import, labels: None })
}

/// What two scans come to, in poses and noises of their own; and the older one's pose.
fn compared(mouth: &Mouth<'_>, new: &Mesh, salt: u64) -> Result<(ChangeFile, Motion), Failure> {
    let mut v = Variety::new(mouth.seed * 7919 + salt);
    let (a, b) = (poses::pose(&mut v), poses::pose(&mut v));
    let old = file(&noised(&mouth.old, &mut v)?.moved(&a), "old")?;
    let new = file(&noised(new, &mut v)?.moved(&b), "new")?;
    Ok((compare(&old, &new, &mouth.wanted(), &Rules::standard()).file, a))
}

fn point(p: &Place) -> Point {
    Point::new(p[0], p[1], p[2])
}

fn of(mouth: &Mouth<'_>) -> String {
    format!("seed {}, {}", mouth.seed, mouth.cast.arch.word())
}

fn told(found: &ChangeFile, code: &str) -> bool {
    found.findings.iter().any(|f| f.code == code)
}

/// Figures of all spans beside the truth.
fn errors(mouth: &Mouth<'_>, found: &ChangeFile, pose: &Motion, depth_mm: f64, into: &mut Errors) {
    let shares = Shares::new(mouth);
    for span in &found.spans {
        let truth = |at: &Place| mouth.truth(&(pose.inverse() * point(at)), depth_mm, &shares);
        for s in &span.profile {
            if let (Some(change), Some(truth)) = (s.change_mm, truth(&s.at_mm)) {
                into.profile.push(change - truth);
            }
        }
        if let Some(truth) = truth(&span.deepest.at_mm) {
            into.deepest.push(span.deepest.change_mm - truth);
        }
    }
}

fn resorbed(
    mouth: &Mouth<'_>,
    depth: f64,
    into: &mut Errors,
    missed: &mut Vec<String>,
) -> Result<(), Failure> {
    let new = mouth.lowered(&mouth.new, depth)?;
    let (found, pose) = compared(mouth, &new, (100.0 * depth) as u64)?;
    let mut here = Errors::default();
    errors(mouth, &found, &pose, depth, &mut here);
    let worst = here.deepest.iter().map(|e| e.abs()).fold(0.0, f64::max);
    if found.spans.is_empty() || worst > OFF_MM {
        missed.push(format!(
            "{}: {} mm of resorption, deepest place off by {} mm, {} spans: {}",
            of(mouth),
            digits(depth, 1),
            digits(worst, 3),
            found.spans.len(),
            found.findings.first().map_or("", |f| f.says.as_str())
        ));
    }
    if depth >= 0.5 && !told(&found, "ridge_lower") {
        missed.push(format!("{}: {} mm of resorption were not called a change", of(mouth), digits(depth, 1)));
    }
    into.profile.extend(here.profile);
    into.deepest.extend(here.deepest);
    Ok(())
}

/// Pairs of scans of the same mouth; how many.
fn unchanged(mouth: &Mouth<'_>, into: &mut Errors, missed: &mut Vec<String>) -> Result<u64, Failure> {
    const PAIRS: u64 = 4;
    for pair in 0..PAIRS {
        let (found, pose) = compared(mouth, &mouth.new, 1_000_000 + pair)?;
        errors(mouth, &found, &pose, 0.0, into);
        let said: Vec<&str> = found
            .findings
            .iter()
            .filter(|f| !matches!(f.code.as_str(), "ridge_unchanged" | "registered" | "torus_unchanged"))
            .map(|f| f.says.as_str())
            .collect();
        if !said.is_empty() || found.spans.is_empty() {
            missed.push(format!("{}, unchanged pair {pair}: {}", of(mouth), said.join(" / ")));
        }
    }
    Ok(PAIRS)
}

/// One tooth moved aside by half a millimetre.
fn moved_tooth(mouth: &Mouth<'_>, missed: &mut Vec<String>) -> Result<(), Failure> {
    let Some(crown) = mouth.cast.crowns.get(mouth.cast.crowns.len() / 3) else { return Ok(()) };
    let (middle, radius) = crown.bound();
    let middle = mouth.cast.own(&middle);
    let aside = (middle - Point::origin()).cross(&mouth.up()).normalize() * 0.5;
    let vertices = mouth
        .new
        .vertices()
        .iter()
        .map(|p| {
            let far = hypot(p.x - middle.x, p.y - middle.y);
            p + aside * (1.0 - step(0.85 * radius, 1.25 * radius, far))
        })
        .collect();
    let new = Mesh::new(vertices, mouth.new.faces().to_vec())?;
    let (found, _) = compared(mouth, &new, 5_000_000)?;
    let named: Vec<Tooth> =
        found.teeth.iter().filter(|t| t.fate == ToothFate::Moved).map(|t| t.tooth).collect();
    if !named.contains(&crown.tooth) {
        missed.push(format!("{}: {} moved by 0.5 mm, named were {named:?}", of(mouth), crown.tooth));
    }
    Ok(())
}

/// Another mouth, and the same mouth in part.
fn strangers(mouth: &Mouth<'_>, other: &Cast, missed: &mut Vec<String>) -> Result<(), Failure> {
    let (found, _) = compared(mouth, &scan(other, &Density::even(0.45)), 6_000_000)?;
    if !told(&found, "scans_do_not_match") {
        missed.push(format!("{}: another mouth was taken for the same", of(mouth)));
    }
    let middle = mouth.new.middle();
    let (part, _) = mouth.new.part(|f| mouth.new.face_centre(f).x > middle.x - 3.0);
    let (found, _) = compared(mouth, &part, 7_000_000)?;
    if !["partial_overlap", "scans_do_not_match", "ridge_held_in_part", "ridge_not_measured"]
        .iter()
        .any(|c| told(&found, c))
    {
        missed.push(format!("{}: half an arch was taken for all of it", of(mouth)));
    }
    Ok(())
}

/// One cast in random poses, upside down among them, whole and in halves.
fn turned(mouth: &Mouth<'_>, missed: &mut Vec<String>) -> Result<(), Failure> {
    let mut v = Variety::new(mouth.seed + 31);
    let agreement = Agreement { within_mm: 0.25, least_share: 0.42, least_of_all_share: 0.1 };
    let thin = scan(mouth.cast, &Density::even(0.7));
    let fixed = Surface::new(&noised(&thin, &mut v)?);
    for k in 0..12 {
        let pose = poses::pose(&mut v);
        let whole = noised(&thin, &mut v)?;
        let middle = whole.middle();
        let cut = Vector::new(v.even(), v.even(), 0.0);
        let mesh = if k % 2 == 0 {
            whole
        } else {
            whole.part(|f| (whole.face_centre(f) - middle).dot(&cut) > 0.0).0
        };
        let off = match onto(&mesh.moved(&pose), &fixed, agreement) {
            Ok(found) => {
                let back = found.motion * pose;
                mesh.vertices().iter().step_by(40).map(|p| (back * p - p).norm()).fold(0.0, f64::max)
            }
            Err(_) => f64::INFINITY,
        };
        if off > 0.05 {
            missed.push(format!("{}, pose {k}: off by {} mm", of(mouth), digits(off, 3)));
        }
    }
    Ok(())
}
