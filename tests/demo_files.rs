//! The demonstration case in `sample-meshes/` is what the generator makes, byte for byte.

use saddleroom::phantom::demo;
use std::path::Path;

#[test]
fn the_committed_sample_is_what_demo_writes() {
    let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-meshes/oban");
    let files = demo::files("oban");
    assert!(files.iter().any(|(name, _)| name == "case.toml"));
    for (name, bytes) in files {
        let committed = std::fs::read(dir.join(&name)).unwrap();
        assert!(bytes.len() < 2_000_000, "{name} is too large");
        assert!(committed == bytes, "{name} differs: run `cargo run --release --example write_samples`");
    }
}
