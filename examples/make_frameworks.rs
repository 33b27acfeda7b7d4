//! Writes demonstration cases with their frameworks: `make_frameworks DIR CASE ..`, `make_frameworks DIR CASE:FAULT ..`;
//! `CASE:all` for all faults, `CASE:none` for the sound one alone, `CASE:sample` for that with fewer triangles.

#![allow(clippy::print_stdout)] // an example prints

use saddleroom::phantom::framework::{Bench, Fault, Framework};
use saddleroom::phantom::stl;
use std::path::Path;

fn write(dir: &Path, name: &str, frame: &Framework) -> std::io::Result<()> {
    let title = format!("phantom framework {}, {name}", frame.truth.case);
    std::fs::write(dir.join(format!("{name}.stl")), stl::binary(&frame.mesh, &title))?;
    let truth = serde_json::to_string_pretty(&frame.truth)?;
    std::fs::write(dir.join(format!("{name}-truth.json")), truth + "\n")?;
    println!("{}/{name}: {} triangles", frame.truth.case, frame.mesh.faces().len());
    Ok(())
}

fn main() -> std::io::Result<()> {
    let mut args = std::env::args().skip(1);
    let root = args.next().unwrap_or_else(|| "frames".to_owned());
    for arg in args {
        let (name, faults) = arg.split_once(':').unwrap_or((&arg, "none"));
        let dir = Path::new(&root).join(name);
        std::fs::create_dir_all(&dir)?;
        let Some(bench) = Bench::new(name) else {
            println!("{name} is no demonstration case");
            continue;
        };
        if ["none", "all"].contains(&faults) {
            write(&dir, "frame", &bench.sound())?;
            for (file, bytes) in bench.files() {
                std::fs::write(dir.join(file), bytes)?;
            }
        }
        if faults == "sample" {
            write(&dir, name, &bench.sample())?;
        }
        for fault in Fault::ALL.into_iter().filter(|f| faults == "all" || f.name() == faults) {
            match bench.spoiled(fault) {
                Some(frame) => write(&dir, fault.name(), &frame)?,
                None => println!("{name} has nothing for {}", fault.name()),
            }
        }
    }
    Ok(())
}
