//! Tori found on casts of the generator with tori by chance, and on labelled scans to which tori were added by chance, as
//! the tables of `docs/method/tori.md`: `cargo run --release --example accept_tori -- [FIRST LAST]`, by default seeds 1
//! to 4. `SADDLEROOM_REAL_SCANS` names the folder of labelled scans; where it is missing, that part is skipped.

#![allow(clippy::print_stdout, clippy::print_stderr)] // an example shows its result

mod poses;
mod rises;
mod seeds;
mod tori_tally;

use std::path::{Path, PathBuf};

use rises::{Scan, Truth, Wish};
use saddleroom::anatomy::Anatomy;
use saddleroom::anatomy::teeth::{self, Known};
use saddleroom::case::{Arch, Chart, Marks, Side, Tooth, labels};
use saddleroom::facts::torus_settings;
use saddleroom::locate::Surface;
use saddleroom::measure::torus::{self, Torus};
use saddleroom::mesh::{Mesh, Topology};
use saddleroom::phantom::cast::Cast;
use saddleroom::phantom::faults::{Fault, apply};
use saddleroom::phantom::field::Variety;
use saddleroom::phantom::patient::{LobeWish, TorusWish, casts};
use saddleroom::phantom::scan::{Density, scan};
use saddleroom::phantom::{people, truth};
use saddleroom::report::TorusState;
use saddleroom::rules::Rules;
use saddleroom::space::{Direction, Point, Vector, direction};
use saddleroom::units::LengthUnit;
use tori_tally::Tally;

type Failing = Box<dyn std::error::Error>;

fn main() -> Result<(), Failing> {
    let (first, last) = seeds::asked((1, 4))?;
    let (mut told, mut alone) = (Tally::default(), Tally::default());
    for seed in first.max(1)..=last {
        let (cast, chart) = drawn(seed)?;
        for (tally, chart) in [(&mut told, Some(&chart)), (&mut alone, None)] {
            let words = format!("seed {seed}{}", if chart.is_some() { ", chart given" } else { "" });
            tally.add(&cast, &found(&cast.mesh, chart, &[]), &words);
        }
    }
    println!("{}", Tally::head());
    println!("{}", told.line("generator, chart given"));
    println!("{}", alone.line("generator, nothing given"));
    real(last + 1 - first)
}

/// Tori of a mandible with the teeth as they are found.
fn found(mesh: &Mesh, chart: Option<&Chart>, at: &[Point]) -> Vec<Torus> {
    let topology = Topology::new(mesh);
    let anatomy = anatomy(mesh, &topology, chart);
    torus::find(mesh, &topology, Arch::Mandible, &anatomy, &[], at, &torus_settings(&Rules::standard()))
}

fn anatomy(mesh: &Mesh, topology: &Topology, chart: Option<&Chart>) -> Anatomy {
    let marks = Marks::default();
    let known = Known {
        arch: Arch::Mandible,
        chart,
        abutments: &[],
        marks: Some(&marks),
        labels: None,
        least_confidence: Rules::standard().number("confidence_least"),
    };
    teeth::read(&Surface::new(mesh), topology, &known)
}

/// A mandible of the generator with tori by chance, noise and any posture.
fn drawn(seed: u64) -> Result<(Truth, Chart), Failing> {
    let mut v = Variety::new(seed.wrapping_mul(7919).wrapping_add(3));
    let mut patient = people::drawn(seed);
    patient.tori = [Side::Left, Side::Right]
        .into_iter()
        .filter_map(|side| if v.even() > -0.4 { Some(wish(side, &mut v)) } else { None })
        .collect();
    let pair = casts(&patient);
    let cast: &Cast = &pair.mandible;
    let mesh = scan(cast, &Density::even(0.5));
    let truth = of_cast(cast, &mesh);
    let sigma_mm = 0.025 * (1.0 + v.even());
    let noisy = apply(&mesh, &[Fault::Noise { sigma_mm }], seed)?.mesh;
    let pose = poses::pose(&mut v);
    let lobes = truth.lobes.iter().map(|(p, h, k)| (pose * p, *h, *k)).collect();
    let missing = patient.missing.iter().copied().filter(|t| t.arch() == Arch::Mandible).collect();
    Ok((Truth { mesh: noisy.moved(&pose), lobes, faces: truth.faces }, Chart { missing, ..Chart::default() }))
}

/// A torus 5 to 16 mm long, 1 to 6 mm high, of 1 to 3 lobes that are not taller than long.
fn wish(side: Side, v: &mut Variety) -> TorusWish {
    let whole = 10.5 + 5.5 * v.even();
    let most = ((whole / 5.0) as u64).clamp(1, 3);
    let count = 1 + v.bits() % most;
    let length_mm = whole / count as f64;
    let height_mm = (3.5 + 2.5 * v.even()).min(length_mm);
    let width_mm = (0.6 * whole).clamp(4.5, 7.5);
    let (middle, below) = (4.6 + 0.9 * v.even(), 6.5 + 1.2 * v.even());
    let lobe = |i: u64| LobeWish {
        // Teeth stand about 7.5 mm apart there.
        place: middle + (i as f64 - 0.5 * (count - 1) as f64) * length_mm / 7.5,
        below_crest_mm: below,
        height_mm: if i == 1 { height_mm } else { (0.85 * height_mm).max(1.0) },
        length_mm,
        width_mm,
    };
    TorusWish { side, lobes: (0..count).map(lobe).collect() }
}

/// What the distance function of a cast tells of its tori, on its triangles.
fn of_cast(cast: &Cast, mesh: &Mesh) -> Truth {
    let all = truth::tori::tori(cast);
    let lobes: Vec<(Point, f64, usize)> = all
        .iter()
        .enumerate()
        .flat_map(|(k, t)| t.lobes.iter().map(move |l| (l.summit, l.height_mm, k)))
        .collect();
    let free = |p: &Point| cast.value_with(p, false);
    let mut faces = vec![Vec::new(); all.len()];
    for f in 0..mesh.faces().len() as u32 {
        let p = mesh.face_centre(f);
        let far = |l: &(Point, f64, usize)| (l.0 - p).norm();
        let Some(near) = lobes.iter().min_by(|a, b| far(a).total_cmp(&far(b))) else { continue };
        if far(near) < 12.0
            && free(&p) > 0.2
            && (truth::near::foot(&free, &p, &p) - p).norm() > truth::tori::OUTLINE_MM
        {
            faces[near.2].push(f);
        }
    }
    Truth { mesh: mesh.clone(), lobes, faces }
}

/// Labelled mandibles in place, untouched and with tori added; nothing of them is part of the project.
fn real(draws: u64) -> Result<(), Failing> {
    let folder = std::env::var_os("SADDLEROOM_REAL_SCANS")
        .map_or_else(|| Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/real-scans"), PathBuf::from);
    if !folder.is_dir() {
        println!("\nLabelled scans: skipped, there is no folder {}.", folder.display());
        return Ok(());
    }
    let mut names: Vec<PathBuf> = std::fs::read_dir(&folder)?.filter_map(|e| Some(e.ok()?.path())).collect();
    names.retain(|p| p.to_string_lossy().contains("lower"));
    names.sort();
    let (mut untouched, mut added, mut clicked) = (Tally::default(), Tally::default(), Tally::default());
    for (number, path) in names.iter().enumerate() {
        let Some((scan, chart, known)) = labelled(path)? else { continue };
        let name = path.file_stem().map_or_else(String::new, |n| n.to_string_lossy().into_owned());
        if let Some(known) = known {
            added.add(&known, &found(&known.mesh, Some(&chart), &[]), &name);
            continue;
        }
        let bare = Truth { mesh: scan.mesh.clone(), lobes: Vec::new(), faces: Vec::new() };
        untouched.add(&bare, &found(&scan.mesh, Some(&chart), &[]), &name);
        for draw in 0..draws.min(12) {
            let mut v = Variety::new(1000 * draw + 17 * number as u64 + 5);
            let wishes: Vec<(bool, Wish)> =
                [false, true].into_iter().map(|left| (left, real_wish(&mut v))).collect();
            let Some(cast) = rises::added(&scan, &wishes, &mut v) else { continue };
            let words = format!("{name} with tori {draw}");
            added.add(&cast, &found(&cast.mesh, Some(&chart), &[]), &words);
            let clicks: Vec<Point> = cast.lobes.iter().map(|l| click(&cast, l, &mut v)).collect();
            let mut marked = found(&cast.mesh, Some(&chart), &clicks);
            marked.retain(|t| t.state == TorusState::Marked);
            clicked.add(&cast, &marked, &format!("{words}, click"));
        }
    }
    println!("\n{}", Tally::head());
    println!("{}", untouched.line("labelled scans, untouched, chart given"));
    println!("{}", added.line("labelled scans with tori added, chart given"));
    println!("{}", clicked.line("the same, one click a lobe"));
    Ok(())
}

fn real_wish(v: &mut Variety) -> Wish {
    let length_mm = 10.5 + 5.5 * v.even();
    let lobes = if length_mm > 9.0 { 1 + (v.bits() % 2) as usize } else { 1 };
    Wish {
        places: 3..=6,
        height_mm: (3.0 + 2.0 * v.even()).min(0.7 * length_mm / lobes as f64),
        length_mm,
        width_mm: (0.6 * length_mm).clamp(4.5, 7.5),
        lobes,
    }
}

/// A place on a lobe where a user might point: anywhere above half of its height.
fn click(cast: &Truth, (summit, height_mm, k): &(Point, f64, usize), v: &mut Variety) -> Point {
    let near: Vec<Point> = cast.faces[*k]
        .iter()
        .map(|&f| cast.mesh.face_centre(f))
        .filter(|p| (p - summit).norm() < 0.25 * height_mm + 0.8)
        .collect();
    if near.is_empty() { *summit } else { near[v.bits() as usize % near.len()] }
}

/// A labelled scan, its chart and, where tori were added to it before, those.
fn labelled(path: &Path) -> Result<Option<(Scan, Chart, Option<Truth>)>, Failing> {
    let text = path.to_string_lossy();
    let json = if text.ends_with(".ply") {
        text.replace(".ply", ".labels.json")
    } else {
        text.replace(".stl", ".json")
    };
    if text.ends_with("json") || !Path::new(&json).exists() {
        return Ok(None);
    }
    let import = saddleroom::load::read(&std::fs::read(path)?, LengthUnit::Mm)?;
    let truth: serde_json::Value = serde_json::from_str(&std::fs::read_to_string(&json)?)?;
    let of_vertex = if text.ends_with(".ply") {
        labels::read(&std::fs::read_to_string(&json)?, Arch::Mandible, &import)?
    } else {
        let faces: Vec<u8> = serde_json::from_value(truth["face_label_fdi"].clone())?;
        let mut of = vec![0; import.mesh.vertices().len()];
        for (corners, l) in import.mesh.faces().iter().zip(faces).filter(|(_, l)| *l > 0) {
            corners.iter().for_each(|&c| of[c as usize] = l);
        }
        of
    };
    let part = |v: &serde_json::Value| -> Option<Vector> {
        let c = v.as_array()?;
        Some(Vector::new(c.first()?.as_f64()?, c.get(1)?.as_f64()?, c.get(2)?.as_f64()?))
    };
    let up: Direction =
        part(&truth["occlusal_plane"]["normal"]).and_then(direction).ok_or("no occlusal plane")?;
    let crowns: Vec<Point> =
        (0..of_vertex.len()).filter(|&i| of_vertex[i] != 0).map(|i| import.mesh.vertices()[i]).collect();
    let inside =
        Point::from(crowns.iter().fold(Vector::zeros(), |s, p| s + p.coords) / crowns.len().max(1) as f64);
    let missing = (-7..=7i8)
        .filter_map(|a| Tooth::at(Arch::Mandible, a))
        .filter(|t| !of_vertex.contains(&t.number()))
        .collect();
    let known = truth["tori"].as_array().filter(|t| !t.is_empty()).map(|tori| {
        let mut lobes = Vec::new();
        for (k, t) in tori.iter().enumerate() {
            let (peak, height) = (part(&t["peak"]), t["height"].as_f64());
            lobes.extend(peak.zip(height).map(|(p, h)| (Point::from(p), h, k)));
        }
        Truth { mesh: import.mesh.clone(), faces: vec![Vec::new(); tori.len()], lobes }
    });
    let scan = Scan { mesh: import.mesh, labels: of_vertex, up, inside };
    Ok(Some((scan, Chart { missing, ..Chart::default() }, known)))
}
