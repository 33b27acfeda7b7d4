//! Inputs that fuzzing found or started from (`fuzz/corpus`), each put through what its target does with it: no panic,
//! no hang, bounded memory. What was found once stays mended without a nightly compiler.
#![allow(clippy::unwrap_used, clippy::indexing_slicing)] // a test may fail loudly anywhere

#[path = "../fuzz/fuzz_targets/bodies.rs"]
mod bodies;

use std::path::{Path, PathBuf};
use std::time::Instant;

/// What one input may take of the processor, s; that other work keeps the machine busy is no hang.
const LONGEST_S: f64 = 2.0;
/// What one input may take beyond 20 times its own size, bytes allocated at one time; and what the process may take beyond
/// 20 times the largest: itself and what its threads keep.
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

/// Peak memory of this process so far, bytes; `None` where the system does not tell.
fn peak_memory() -> Option<usize> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|l| l.starts_with("VmHWM:"))?;
    line.split_whitespace().nth(1)?.parse::<usize>().ok().map(|kib| kib * 1024)
}

fn replay(target: &str, body: impl Fn(&[u8])) {
    for path in inputs(target) {
        let bytes = std::fs::read(&path).unwrap();
        let (from, clock) = (bodies::processor_s(), Instant::now());
        ALLOCATED.reset_peak_usage();
        let before = ALLOCATED.current_usage();
        body(&bytes);
        let peak = ALLOCATED.peak_usage().saturating_sub(before);
        assert!(peak < 20 * bytes.len() + MEMORY, "{} took {peak} bytes", path.display());
        let took = match (from, bodies::processor_s()) {
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

/// One test, so that the peak of memory is that of the replay; on one thread, as the targets are run, since what a process
/// keeps grows with its threads.
#[test]
fn every_kept_input_ends_in_words_or_in_figures() {
    let one = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
    one.install(|| {
        replay("load_stl", bodies::load_stl);
        replay("load_ply", bodies::load_ply);
        replay("load_obj", bodies::load_obj);
        replay("load_case", bodies::load_case);
        replay("labels", bodies::labels);
        replay("check_small", bodies::check_small);
    });
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
