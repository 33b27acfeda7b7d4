//! `tori`: the tori of one cast.

use std::path::PathBuf;

use super::output::OutFolder;
use super::progress::Progress;
use super::values::{ArchWord, UnitWord};
use super::{Common, Ending, Failure, input, output};
use crate::analysis;
use crate::render;
use crate::report;
use crate::rules::Rules;

/// Find and measure the tori of a cast
///
/// A torus is a smooth bony rise above the surface that the alveolar process would have without it. Each gets its height
/// above that surface, its outline, length, width and area, and how sure it is.
///
/// Writes tori.json into --out; without --out it only prints.
///
/// Example:
///   saddleroom tori lower.stl --arch mandible
#[derive(Debug, clap::Args)]
#[command(verbatim_doc_comment)]
pub(super) struct Args {
    /// The cast: STL, PLY or OBJ
    #[arg(value_name = "CAST")]
    cast: PathBuf,
    /// Which arch it is
    #[arg(long, value_enum)]
    arch: ArchWord,
    /// Unit of the coordinates
    #[arg(long, value_enum, default_value_t = UnitWord::Mm)]
    unit: UnitWord,
    /// Folder for tori.json; made where it does not exist
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
}

pub(super) fn run(common: &Common, args: &Args) -> Result<Ending, Failure> {
    let progress = Progress::new(common);
    progress.say("reading");
    let scan = input::named_scan(&args.cast, args.unit.into())?;
    let out = args.out.as_deref().map(OutFolder::new).transpose()?;
    progress.say("looking for tori");
    let found = analysis::tori(scan, args.arch.into(), &Rules::standard());
    let json = render::json::bytes(&found.file);
    if let Some(out) = &out {
        out.write(&vec![("tori.json".to_owned(), json.clone())], std::slice::from_ref(&args.cast))?;
    }
    drop(progress);
    output::show(common, || render::text::tori(&found.file), &json)?;
    if let Some(out) = &out {
        output::note(common, &format!("wrote {}", out.file("tori.json").display()));
    }
    Ok(Ending::of(report::asks_attention(&found.file.findings)))
}
