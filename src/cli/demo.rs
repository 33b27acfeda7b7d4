//! `demo`: writes a demo case that the program's own generator makes.

use std::path::PathBuf;

use super::{Common, Ending, Failure, output};

/// Write a demo case: both arches and a case file
///
/// The casts are made by the program's own generator; no patient stands behind them. The same name gives the same bytes.
///
/// Example:
///   saddleroom demo casts/oban && saddleroom check casts/oban/case.toml
#[derive(Debug, clap::Args)]
#[command(verbatim_doc_comment)]
pub(super) struct Args {
    /// Folder for the case; made where it does not exist
    #[arg(value_name = "DIR")]
    folder: PathBuf,
    /// Which case
    #[arg(long, default_value = "oban", value_name = "NAME")]
    case: String,
}

pub(super) fn run(_common: &Common, args: &Args) -> Result<Ending, Failure> {
    let _ = (&args.folder, output::print);
    Err(Failure::new(format!("there is no demo case `{}`", args.case), "the cases are: none yet"))
}
