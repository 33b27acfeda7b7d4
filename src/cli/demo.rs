//! `demo`: writes a demo case that the program's own generator makes.

use std::path::PathBuf;

use super::{Common, Ending, Failure, output};
use crate::phantom::demo;

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

pub(super) fn run(common: &Common, args: &Args) -> Result<Ending, Failure> {
    let files = demo::files(&args.case);
    if files.is_empty() {
        return Err(Failure::new(
            format!("there is no demo case `{}`", args.case),
            format!("the cases are: {}", demo::NAMES.join(", ")),
        ));
    }
    let names: Vec<&str> = files.iter().map(|(name, _)| name.as_str()).collect();
    output::OutFolder::new(&args.folder)?.write(&files, &[])?;
    output::note(common, &format!("wrote into {}: {}", args.folder.display(), names.join(", ")));
    Ok(Ending(0))
}
