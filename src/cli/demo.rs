//! `demo`: writes a demo case that the program's own generator makes.

use std::path::PathBuf;

use serde::Serialize;

use super::output::OutFolder;
use super::progress::Progress;
use super::{Common, Ending, Failure, output};
use crate::phantom::demo;
use crate::render;
use crate::report::Tool;

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

/// What `demo --format json` prints.
#[derive(Debug, Serialize)]
struct DemoFile {
    schema: &'static str,
    tool: Tool,
    case: String,
    files: Vec<String>,
}

pub(super) fn run(common: &Common, args: &Args) -> Result<Ending, Failure> {
    if !demo::NAMES.contains(&args.case.as_str()) {
        return Err(Failure::new(
            format!("there is no demo case `{}`", args.case),
            format!("the cases are: {}", demo::NAMES.join(", ")),
        ));
    }
    let out = OutFolder::new(&args.folder)?;
    let progress = Progress::new(common);
    progress.say("making the casts");
    let files = demo::files(&args.case);
    if let Some(name) = out.first_that_differs(&files) {
        return Err(Failure::new(
            format!(
                "{} is already there and is another file; it will not be overwritten",
                out.file(name).display()
            ),
            "name an empty or a new folder",
        ));
    }
    out.write(&files, &[])?;
    drop(progress);
    let names: Vec<String> = files.into_iter().map(|(name, _)| name).collect();
    let sheet = || {
        let at = |name: &str| out.file(name).display().to_string();
        let listed: String = names.iter().map(|n| format!("  {}\n", at(n))).collect();
        format!(
            "Case {}, made by the program's own generator; no patient stands behind it.\n{listed}\
             Work it through with: saddleroom check {} --out out\n",
            args.case,
            at("case.toml")
        )
    };
    let json = render::json::bytes(&DemoFile {
        schema: "saddleroom/demo/1",
        tool: Tool::this(),
        case: args.case.clone(),
        files: names.clone(),
    });
    output::show(common, sheet, &json)?;
    Ok(Ending::FINE)
}
