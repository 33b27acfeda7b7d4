//! Inputs that fuzzing found or started from (`fuzz/corpus`), each put through what its target does with it: no panic,
//! no hang, bounded memory. What was found once stays mended without a nightly compiler.
#![allow(clippy::unwrap_used, clippy::indexing_slicing)] // a test may fail loudly anywhere

#[path = "../fuzz/fuzz_targets/bodies.rs"]
mod bodies;

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// What one input may take. It is a hang that fails, not a slow machine.
const LONGEST: Duration = Duration::from_secs(20);
/// What all inputs together may take beyond 20 times the largest: the process itself and what its threads keep.
const MEMORY: usize = 100_000_000;

fn inputs(target: &str) -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz/corpus").join(target);
    let mut all: Vec<PathBuf> = folder.read_dir().unwrap().map(|f| f.unwrap().path()).collect();
    all.sort();
    assert!(!all.is_empty(), "{} is empty", folder.display());
    all
}

/// Peak memory of this process so far, bytes; `None` where the system does not tell.
fn peak_memory() -> Option<usize> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|l| l.starts_with("VmHWM:"))?;
    line.split_whitespace().nth(1)?.parse::<usize>().ok().map(|kib| kib * 1024)
}

fn replay(target: &str, body: impl Fn(&[u8])) {
    for path in inputs(target) {
        let bytes = std::fs::read(&path).unwrap();
        let from = Instant::now();
        body(&bytes);
        assert!(from.elapsed() < LONGEST, "{} took {:?}", path.display(), from.elapsed());
    }
}

#[test]
fn the_cases_that_small_casts_are_worked_through_by_are_whole() {
    let limits = saddleroom::rules::Rules::standard().ids();
    for text in bodies::CASES {
        let file = saddleroom::case::file::parse(text, &limits).unwrap();
        saddleroom::rules::Rules::changed(&file.limits).unwrap();
    }
}

/// One test, so that the peak of memory is that of the replay.
#[test]
fn every_kept_input_ends_in_words_or_in_figures() {
    replay("load_stl", bodies::load_stl);
    replay("load_ply", bodies::load_ply);
    replay("load_obj", bodies::load_obj);
    replay("load_case", bodies::load_case);
    replay("labels", bodies::labels);
    replay("check_small", bodies::check_small);
    let longest = ["load_stl", "load_ply", "load_obj", "load_case", "labels", "check_small"]
        .iter()
        .flat_map(|t| inputs(t))
        .map(|p| std::fs::metadata(p).unwrap().len() as usize)
        .max()
        .unwrap();
    if let Some(peak) = peak_memory() {
        assert!(peak < 20 * longest + MEMORY, "{peak} bytes");
    }
}
