//! The demonstration case in `sample-meshes/` is what the generator makes, byte for byte.

use saddleroom::phantom::demo;
use std::path::Path;

#[test]
fn the_committed_samples_are_what_demo_writes() {
    for name in demo::NAMES {
        let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-meshes").join(name);
        let files = demo::files(name);
        for wanted in ["mandible.stl", "maxilla.stl", "case.toml", "truth.json", "README.md"] {
            assert!(files.iter().any(|(file, _)| file == wanted), "{name} lacks {wanted}");
        }
        for (file, bytes) in files {
            let committed = std::fs::read(dir.join(&file)).unwrap();
            assert!(bytes.len() < 2_000_000, "{name}/{file} is too large");
            assert!(
                committed == bytes,
                "{name}/{file} differs: run `cargo run --release --example write_samples`"
            );
        }
    }
}
