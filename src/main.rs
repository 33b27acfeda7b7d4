//! `saddleroom`: arguments to exit code.

fn main() -> std::process::ExitCode {
    saddleroom::cli::main()
}
