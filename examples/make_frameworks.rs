//! Writes demonstration cases with their frameworks: `make_frameworks DIR CASE ..`.

#![allow(clippy::print_stdout)] // an example prints

use saddleroom::phantom::framework::{Bench, Framework};
use saddleroom::phantom::{demo, stl};
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
    for name in args {
        let dir = Path::new(&root).join(&name);
        std::fs::create_dir_all(&dir)?;
        let Some(bench) = Bench::new(&name) else {
            println!("{name} is no demonstration case");
            continue;
        };
        write(&dir, "frame", &bench.sound())?;
        for (file, bytes) in demo::files(&name) {
            std::fs::write(dir.join(file), bytes)?;
        }
    }
    Ok(())
}
