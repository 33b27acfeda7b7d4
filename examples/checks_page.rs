//! Prints `docs/checks.md`, which is made from the tables of checks and rules:
//! `cargo run --release --example checks_page > docs/checks.md`.

#![allow(clippy::print_stdout)] // an example shows its result

fn main() {
    print!("{}", saddleroom::cli::checks_page());
}
