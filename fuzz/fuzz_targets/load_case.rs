//! See `bodies.rs`: what is done with an input; `memory.rs`: how much of the memory it may take.
#![no_main]

mod bodies;
mod memory;

#[global_allocator]
static COUNTED: memory::Counted = memory::Counted;

libfuzzer_sys::fuzz_target!(|data: &[u8]| memory::bounded(data.len(), || bodies::load_case(data)));
