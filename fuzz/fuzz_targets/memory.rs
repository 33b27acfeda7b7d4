//! Counts what is allocated and how long is worked while one input is worked on, and fails where it is more than the
//! input explains.

use std::alloc::{GlobalAlloc, Layout, System};
use std::sync::atomic::{AtomicUsize, Ordering::Relaxed};

use super::bodies::processor_s;

static LIVE: AtomicUsize = AtomicUsize::new(0);
static PEAK: AtomicUsize = AtomicUsize::new(0);

/// The system's allocator, counted.
pub struct Counted;

fn more(bytes: usize) {
    let live = LIVE.fetch_add(bytes, Relaxed) + bytes;
    PEAK.fetch_max(live, Relaxed);
}

// SAFETY: every call goes to the system's allocator unchanged; beside it only two counters are kept.
unsafe impl GlobalAlloc for Counted {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        more(layout.size());
        unsafe { System.alloc(layout) }
    }

    unsafe fn dealloc(&self, at: *mut u8, layout: Layout) {
        LIVE.fetch_sub(layout.size(), Relaxed);
        unsafe { System.dealloc(at, layout) }
    }

    unsafe fn realloc(&self, at: *mut u8, layout: Layout, size: usize) -> *mut u8 {
        more(size);
        let moved = unsafe { System.realloc(at, layout, size) };
        LIVE.fetch_sub(layout.size(), Relaxed);
        moved
    }
}

/// What an input may take of the processor, s; read from /proc, so that other work of the machine is not counted. More
/// than the 2 s that `tests/fuzz_corpus.rs` allows, since tracing every comparison takes most of the time here.
const MOST_S: f64 = 10.0;

/// Does `work` on an input of `length` bytes; fails where it takes more than 20 times that and 100 MB, or too long.
pub fn bounded(length: usize, work: impl FnOnce()) {
    let from = processor_s();
    let before = LIVE.load(Relaxed);
    PEAK.store(before, Relaxed);
    work();
    if let (Some(from), Some(to)) = (from, processor_s()) {
        assert!(to - from < MOST_S, "{:.2} s for an input of {length}", to - from);
    }
    let taken = PEAK.load(Relaxed).saturating_sub(before);
    assert!(taken < 20 * length + 100_000_000, "{taken} bytes of memory for an input of {length}");
}
