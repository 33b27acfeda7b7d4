//! Every framework of the generator, sound and with each stated fault, through the program: which faults are found, what is
//! found on sound ones, and the figures beside the truth. Prints the table of `docs/method/framework.md`.
//!
//! Run `cargo build --release` first; arguments: names of demonstration cases (all by default).

#![allow(clippy::print_stdout)] // an example prints

use std::collections::BTreeMap;
use std::path::Path;
use std::process::Command;
use std::time::Instant;

use saddleroom::phantom::framework::{Bench, Fault, Framework};
use saddleroom::phantom::{demo, stl};
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
        .output()?;
    let seconds = begun.elapsed().as_secs_f64();
    Ok(Ran { json: serde_json::from_slice(&out.stdout)?, seconds })
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
    let pairs: [(&str, &str, &str, &str, &'static str); 8] = [
        ("rest", "rest", "gap_mm", "gap_mm", "gap under a rest"),
        ("rest", "rest", "thickness_mm", "thickness_mm", "thickness of a rest"),
        ("clasp_arm", "clasp_arm", "depth_mm", "tip_depth_mm", "undercut engaged by a tip"),
        ("clasp_arm", "clasp_arm", "tip_thickness_mm", "tip_thickness_mm", "thickness of an arm at its tip"),
        ("clasp_arm", "clasp_arm", "length_mm", "length_mm", "length of an arm"),
        ("bar", "bar", "thickness_mm", "thickness_mm", "thickness of a bar"),
        ("bar", "bar", "width_mm", "height_mm", "height of a bar"),
        ("strap", "strap", "width_mm", "height_mm", "width of a strap"),
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
    let named: Vec<String> = std::env::args().skip(1).collect();
    let names: Vec<&str> =
        demo::NAMES.iter().copied().filter(|n| named.is_empty() || named.iter().any(|m| m == n)).collect();
    let mut figures: BTreeMap<&'static str, Vec<f64>> = BTreeMap::new();
    let mut caught: BTreeMap<&'static str, [usize; 2]> = BTreeMap::new();
    let mut longest: f64 = 0.0;
    for name in names {
        let Some(bench) = Bench::new(name) else {
            println!("{name}: no framework is made for it");
            continue;
        };
        let dir = std::env::temp_dir().join(format!("saddleroom-frames-{name}"));
        std::fs::create_dir_all(&dir)?;
        for (file, bytes) in demo::files(name) {
            std::fs::write(dir.join(file), bytes)?;
        }
        let sound = bench.sound();
        let of_sound = ran(&dir, &sound)?;
        longest = longest.max(of_sound.seconds);
        let usual = attended(&of_sound.json);
        println!("{name}: sound, {} triangles, {:.1} s", sound.mesh.faces().len(), of_sound.seconds);
        usual.iter().for_each(|(code, says)| println!("  not sound by {code}: {says}"));
        differences(&of_sound.json, &sound, &mut figures);
        for fault in Fault::ALL {
            let Some(frame) = bench.spoiled(fault) else { continue };
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
    println!("\nlongest run on a sound framework: {longest:.1} s");
    Ok(())
}
