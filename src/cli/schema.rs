//! `schema`: JSON Schema of a file.

use clap::ValueEnum;
use schemars::{JsonSchema, schema_for};

use super::{Ending, Failure, output};
use crate::case;
use crate::report::{ChangeFile, ClearanceFile, FrameworkFile, Report, SurveyFile, ToriFile};

/// Print the JSON Schema of a file
///
/// Every JSON file that saddleroom writes, and the case file that it reads, has a schema. Programs that read the files
/// can rely on the names in it.
///
/// Example: saddleroom schema report > report.schema.json
#[derive(Debug, clap::Args)]
#[command(verbatim_doc_comment)]
pub(super) struct Args {
    /// Which file
    #[arg(value_enum)]
    file: File,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum File {
    /// case.toml
    Case,
    /// report.json of `check`
    Report,
    /// survey.json
    Survey,
    /// clearance.json
    Clearance,
    /// tori.json
    Tori,
    /// framework.json
    Framework,
    /// change.json
    Change,
}

pub(super) fn run(args: &Args) -> Result<Ending, Failure> {
    let schema = match args.file {
        File::Case => case::file::schema(),
        File::Report => of::<Report>(),
        File::Survey => of::<SurveyFile>(),
        File::Clearance => of::<ClearanceFile>(),
        File::Tori => of::<ToriFile>(),
        File::Framework => of::<FrameworkFile>(),
        File::Change => of::<ChangeFile>(),
    };
    output::print(&format!("{schema:#}\n"))?;
    Ok(Ending::FINE)
}

fn of<T: JsonSchema>() -> serde_json::Value {
    schema_for!(T).into()
}
