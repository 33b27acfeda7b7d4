//! `saddleroom`: arguments to exit code.

fn main() {}
