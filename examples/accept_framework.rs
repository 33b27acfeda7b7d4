//! Every framework of the generator, sound and with each stated fault, through the program: which faults are found, what is
//! found on sound ones, and the figures beside the truth. Prints the table of `docs/method/framework.md`.
//!
//! Run `cargo build --release` first; arguments: names of demonstration cases (all by default), names of faults for these without
//! motions (`sound` for none of them), and `moved` for the sound ones and their motions alone.

#![allow(clippy::print_stdout)] // an example prints

use std::collections::BTreeMap;
use std::path::Path;
use std::process::Command;
use std::time::Instant;

use saddleroom::load;
use saddleroom::phantom::framework::{Bench, Fault, Framework};
use saddleroom::phantom::{demo, stl};
use saddleroom::space::{Motion, Point, Vector};
use saddleroom::units::LengthUnit;
use serde_json::Value;

/// What finding tells a fault.
fn tells(fault: Fault) -> &'static [&'static str] {
    match fault {
        Fault::ThinRest => &["rest_thickness"],
        Fault::ThinBar => &["connector_thickness"],
        Fault::TipTooDeep => &["tip_depth"],
        Fault::RestHigh => &["rest_gap"],
        Fault::NoRelief => &["connector_relief"],
        Fault::BarIntoTorus => &["torus_relief"],
        Fault::BorderNearMargin => &["border_to_margin"],
        Fault::OpposingContact => &["opposing_clearance"],
        Fault::CaughtOnPath => &["framework_strikes"],
        Fault::OpenShell => &["framework_open"],
        Fault::FloatingShell => &["framework_afloat"],
        Fault::ZeroThickness => &["framework_sheet"],
        Fault::Struts => &["framework_struts"],
        Fault::Metres => &["framework_unlikely_unit"],
    }
}

/// Motions for each sound framework, and the seed of their numbers.
const MOTIONS: usize = 5;
const SEED: u64 = 20_260_711;

struct Ran {
    json: Value,
    seconds: f64,
}

fn ran(dir: &Path, frame: &Framework) -> std::io::Result<Ran> {
    let file = dir.join("frame.stl");
    std::fs::write(&file, stl::binary(&frame.mesh, "phantom framework"))?;
    let program = std::env::current_exe()?.with_file_name("").join("../saddleroom");
    let begun = Instant::now();
    let out = Command::new(program)
        .args(["framework", "--quiet", "--format", "json"])
        .args([dir.join("case.toml"), file])
        .arg("--out")
        .arg(dir.join("out"))
        .output()?;
    let seconds = begun.elapsed().as_secs_f64();
    Ok(Ran { json: serde_json::from_slice(&out.stdout)?, seconds })
}

/// Numbers between 0 and 1 from a seed.
struct Chance(u64);

impl Chance {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Any turn, and a way of up to 80 mm along each axis.
    fn motion(&mut self) -> Motion {
        let mut axis = Vector::zeros();
        while !(0.1..=1.0).contains(&axis.norm()) {
            axis = Vector::from_fn(|_, _| 2.0 * self.next() - 1.0);
        }
        let turn = Motion::rotation(axis.normalize() * (std::f64::consts::PI * self.next()));
        let [x, y, z] = [0; 3].map(|_| 160.0 * self.next() - 80.0);
        Motion::translation(x, y, z) * turn
    }
}

/// How far a sound framework that was moved comes to lie from its place: mean and greatest distance of its vertices, mm; or
/// why it was refused.
fn brought_back(dir: &Path, sound: &Framework, motion: &Motion) -> std::io::Result<Result<[f64; 2], String>> {
    let moved = Framework { mesh: sound.mesh.moved(motion), truth: sound.truth.clone() };
    let json = ran(dir, &moved)?.json;
    let refused = attended(&json)
        .into_iter()
        .find(|f| f.0 == "framework_not_in_place" || f.0 == "framework_other_arch");
    if let Some((_, says)) = refused {
        return Ok(Err(says));
    }
    let read = |path: &Path| -> std::io::Result<Vec<Point>> {
        let read = load::read(&std::fs::read(path)?, LengthUnit::Mm);
        Ok(read.map_err(|e| std::io::Error::other(e.to_string()))?.mesh.vertices().to_vec())
    };
    // Both have their vertices in the order of the triangles in the file.
    let (given, found) = (read(&dir.join("frame.stl"))?, read(&dir.join("out/framework.ply"))?);
    let off: Vec<f64> = given.iter().zip(&found).map(|(p, q)| (motion.inverse() * p - q).norm()).collect();
    let mean = off.iter().sum::<f64>() / off.len().max(1) as f64;
    Ok(Ok([mean, off.into_iter().fold(0.0, f64::max)]))
}

fn attended(json: &Value) -> Vec<(String, String)> {
    let all = json["findings"].as_array().into_iter().flatten();
    let wanted =
        all.filter(|f| ["short", "exceeds", "not_measured"].contains(&f["verdict"].as_str().unwrap_or("")));
    wanted
        .map(|f| {
            let text = |k: &str| f[k].as_str().unwrap_or("").to_owned();
            (text("code"), text("says"))
        })
        .collect()
}

/// Differences of the figures of a sound framework from its truth, by name.
fn differences(json: &Value, frame: &Framework, into: &mut BTreeMap<&'static str, Vec<f64>>) {
    let Ok(truth) = serde_json::to_value(&frame.truth) else { return };
    let made = truth["parts"].as_array().cloned().unwrap_or_default();
    let found = json["parts"].as_array().cloned().unwrap_or_default();
    let pairs: [(&str, &str, &str, &str, &'static str); 9] = [
        ("rest", "rest", "seat_gap_mm", "gap_mm", "gap under a rest"),
        ("rest", "rest", "ridge_thickness_mm", "thickness_mm", "thickness of a rest over the marginal ridge"),
        ("clasp_arm", "clasp_arm", "depth_mm", "tip_depth_mm", "undercut engaged by a tip"),
        ("clasp_arm", "clasp_arm", "tip_thickness_mm", "tip_thickness_mm", "thickness of an arm at its tip"),
        ("clasp_arm", "clasp_arm", "length_mm", "length_mm", "length of an arm"),
        ("bar", "bar", "least_thickness_mm", "thickness_mm", "thickness of a bar"),
        ("bar", "bar", "least_width_mm", "height_mm", "height of a bar"),
        ("strap", "strap", "least_width_mm", "height_mm", "width of a strap"),
        ("strap", "strap", "thickness_mm", "thickness_mm", "thickness of a strap"),
    ];
    for (kind, as_found, key, found_key, name) in pairs {
        for part in made.iter().filter(|p| p["kind"] == kind) {
            let same = |f: &&Value| {
                f["kind"] == as_found
                    && (part["tooth"].is_null() || f["teeth"][0] == part["tooth"])
                    && (part["place"].is_null()
                        || f["place"] == part["place"]
                        || f["surface"] == part["place"])
            };
            let figure = found.iter().find(same).and_then(|f| f[found_key].as_f64());
            if let (Some(truth), Some(figure)) = (part[key].as_f64(), figure) {
                into.entry(name).or_default().push(figure - truth);
            }
        }
    }
}

fn main() -> std::io::Result<()> {
    let faulty = |w: &String| Fault::ALL.into_iter().find(|f| f.name() == w);
    let (words, named): (Vec<String>, Vec<String>) = std::env::args()
        .skip(1)
        .partition(|w| ["moved", "sound"].contains(&w.as_str()) || faulty(w).is_some());
    let faults: Vec<Fault> =
        if words.is_empty() { Fault::ALL.to_vec() } else { words.iter().filter_map(faulty).collect() };
    let motions = if words.is_empty() || words.iter().any(|w| w == "moved") { MOTIONS } else { 0 };
    let names: Vec<&str> =
        demo::NAMES.iter().copied().filter(|n| named.is_empty() || named.iter().any(|m| m == n)).collect();
    let mut figures: BTreeMap<&'static str, Vec<f64>> = BTreeMap::new();
    let mut caught: BTreeMap<&'static str, [usize; 2]> = BTreeMap::new();
    let mut longest: f64 = 0.0;
    let (mut chance, mut refused) = (Chance(SEED), 0);
    for name in names {
        let Some(bench) = Bench::new(name) else {
            println!("{name}: no framework is made for it");
            continue;
        };
        let dir = std::env::temp_dir().join(format!("saddleroom-frames-{name}"));
        std::fs::create_dir_all(&dir)?;
        for (file, bytes) in bench.files() {
            std::fs::write(dir.join(file), bytes)?;
        }
        let sound = bench.sound();
        let of_sound = ran(&dir, &sound)?;
        longest = longest.max(of_sound.seconds);
        let usual = attended(&of_sound.json);
        println!("{name}: sound, {} triangles, {:.1} s", sound.mesh.faces().len(), of_sound.seconds);
        usual.iter().for_each(|(code, says)| println!("  not sound by {code}: {says}"));
        let mut own = BTreeMap::new();
        differences(&of_sound.json, &sound, &mut own);
        for (figure, all) in own {
            let each: Vec<String> = all.iter().map(|x| format!("{x:.3}")).collect();
            println!("  {figure}: {}", each.join(", "));
            figures.entry(figure).or_default().extend(all);
        }
        for &fault in &faults {
            let Some(frame) = bench.spoiled(fault) else {
                println!("  {}: not made", fault.name());
                continue;
            };
            let found = attended(&ran(&dir, &frame)?.json);
            let told = found.iter().find(|(code, _)| tells(fault).contains(&code.as_str()));
            let new = found
                .iter()
                .filter(|f| !usual.iter().any(|u| u.0 == f.0) && !tells(fault).contains(&f.0.as_str()));
            let besides: Vec<&str> = new.map(|f| f.0.as_str()).collect();
            let tally = caught.entry(fault.name()).or_default();
            tally[1] += 1;
            tally[0] += usize::from(told.is_some());
            let says = told.map_or("NOT FOUND", |t| t.1.as_str());
            println!("  {}: {says} besides: {}", fault.name(), besides.join(", "));
        }
        for k in 0..motions {
            match brought_back(&dir, &sound, &chance.motion())? {
                Ok([mean, most]) => {
                    println!(
                        "  moved {k}: brought back to within {mean:.3} mm (mean), {most:.3} mm (greatest)"
                    );
                    figures.entry("position after any motion: mean off").or_default().push(mean);
                    figures.entry("position after any motion: greatest off").or_default().push(most);
                }
                Err(says) => {
                    println!("  moved {k}: refused: {says}");
                    refused += 1;
                }
            }
        }
        std::fs::remove_dir_all(&dir)?;
    }
    println!("\n| figure | parts | least difference, mm | mean | greatest |\n|---|---|---|---|---|");
    for (name, all) in &figures {
        let (low, high) =
            all.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), x| (l.min(*x), h.max(*x)));
        let mean = all.iter().sum::<f64>() / all.len() as f64;
        println!("| {name} | {} | {low:.3} | {mean:.3} | {high:.3} |", all.len());
    }
    println!("\n| fault | found |\n|---|---|");
    caught.iter().for_each(|(name, [found, of])| println!("| {name} | {found} of {of} |"));
    println!("\nmoved frameworks refused: {refused}");
    println!("longest run on a sound framework: {longest:.1} s");
    Ok(())
}
