//! Writes every demonstration case into `sample-meshes/`: `cargo run --release --example write_samples`.

#![allow(clippy::print_stdout)] // an example prints

use saddleroom::phantom::demo;
use std::path::Path;

fn main() -> std::io::Result<()> {
    let root = std::env::args()
        .nth(1)
        .unwrap_or_else(|| concat!(env!("CARGO_MANIFEST_DIR"), "/sample-meshes").to_owned());
    for name in demo::NAMES {
        let dir = Path::new(&root).join(name);
        std::fs::create_dir_all(&dir)?;
        for (file, bytes) in demo::files(name) {
            println!("{name}/{file}: {} bytes", bytes.len());
            std::fs::write(dir.join(file), bytes)?;
        }
    }
    Ok(())
}
