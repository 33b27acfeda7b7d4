//! Commands that come with a later release: they say so and end with 2.

use std::path::PathBuf;

use super::Failure;

/// Measure the designed framework against the case (comes with a later release)
#[derive(Debug, clap::Args)]
pub(super) struct FrameworkArgs {
    /// The case file
    #[arg(value_name = "CASE.toml")]
    case: Option<PathBuf>,
    /// The framework's mesh
    #[arg(value_name = "FRAME")]
    frame: Option<PathBuf>,
    /// Folder for the results
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
}

/// What such a command says.
pub(super) fn failure(command: &str) -> Failure {
    Failure::new(
        format!("`{command}` comes with a later release; this one cannot do it yet"),
        "`saddleroom --help` lists what works now",
    )
}
