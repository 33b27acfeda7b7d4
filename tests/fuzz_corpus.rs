//! Inputs that fuzzing found or started from (`fuzz/corpus`), each put through what its target does with it: no panic,
//! no hang, bounded memory. What was found once stays mended without a nightly compiler.
#![allow(clippy::unwrap_used, clippy::indexing_slicing)] // a test may fail loudly anywhere

#[path = "../fuzz/fuzz_targets/bodies.rs"]
mod bodies;

use std::path::{Path, PathBuf};
use std::time::Instant;

/// What one input may take of the processor, s, in a build that is optimised; that other work keeps the machine busy is
/// no hang. Without optimisation everything takes some twenty times as long.
const LONGEST_S: f64 = if cfg!(debug_assertions) { 40.0 } else { 2.0 };
/// What an input may take beyond 20 times its own size, bytes allocated at one time.
const MEMORY: usize = 100_000_000;

#[global_allocator]
static ALLOCATED: peak_alloc::PeakAlloc = peak_alloc::PeakAlloc;

fn inputs(target: &str) -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz/corpus").join(target);
    let mut all: Vec<PathBuf> = folder.read_dir().unwrap().map(|f| f.unwrap().path()).collect();
    all.sort();
    assert!(!all.is_empty(), "{} is empty", folder.display());
    all
}

/// Processor time of this process so far, s; `None` where the system does not tell.
fn processor_s() -> Option<f64> {
    let stat = std::fs::read_to_string("/proc/self/stat").ok()?;
    let mut ticks = stat.rsplit(')').next()?.split_whitespace().skip(11);
    let mut next = || ticks.next()?.parse::<f64>().ok();
    Some((next()? + next()?) / 100.0)
}

fn replay(target: &str, body: impl Fn(&[u8])) {
    for path in inputs(target) {
        let bytes = std::fs::read(&path).unwrap();
        let (from, clock) = (processor_s(), Instant::now());
        ALLOCATED.reset_peak_usage();
        let before = ALLOCATED.current_usage();
        body(&bytes);
        let peak = ALLOCATED.peak_usage().saturating_sub(before);
        assert!(peak < 20 * bytes.len() + MEMORY, "{} took {peak} bytes", path.display());
        let took = match (from, processor_s()) {
            (Some(from), Some(to)) => to - from,
            _ => clock.elapsed().as_secs_f64(),
        };
        assert!(took < LONGEST_S, "{} took {took:.2} s", path.display());
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

/// One test, so that nothing else of this process works or allocates beside it for long.
#[test]
fn every_kept_input_ends_in_words_or_in_figures() {
    replay("load_stl", bodies::load_stl);
    replay("load_ply", bodies::load_ply);
    replay("load_obj", bodies::load_obj);
    replay("load_case", bodies::load_case);
    replay("labels", bodies::labels);
    replay("check_small", bodies::check_small);
}
