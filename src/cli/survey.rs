//! `survey`: undercut of a cast along a withdrawal direction.

use std::path::PathBuf;

use super::output::OutFolder;
use super::progress::Progress;
use super::values::{self, ArchWord, UnitWord};
use super::{Common, Ending, Failure, input, output};
use crate::analysis::{self, SurveyRefused, SurveyWanted};
use crate::render;
use crate::report;
use crate::rules::Rules;
use crate::space::{Direction, Point};

/// Measure the undercut of a cast along a withdrawal direction
///
/// Gives every vertex its undercut depth: how far a vertical rod must be moved aside to be free of everything that stands
/// above that point. Draws the survey line. With --gauge it reads the depth at one point, as an undercut gauge does. The
/// withdrawal points the way the denture comes out; where it is not given, the occlusal normal found on the cast is used.
///
/// Writes survey.json and survey.ply into --out; without --out it only prints.
///
/// Examples:
///   saddleroom survey lower.stl --withdrawal 0,0,1 --out out
///   saddleroom survey lower.stl --withdrawal -0.1,0,1 --gauge 21.5,-8.0,3.2
#[derive(Debug, clap::Args)]
#[command(verbatim_doc_comment)]
pub(super) struct Args {
    /// The cast: STL, PLY or OBJ
    #[arg(value_name = "CAST")]
    cast: PathBuf,
    /// Way out of the denture, in the axes of the file
    #[arg(long, value_name = "X,Y,Z", allow_hyphen_values = true, value_parser = values::way)]
    withdrawal: Option<Direction>,
    /// A point at which the gauge is put, mm; the nearest surface point is read
    #[arg(long, value_name = "X,Y,Z", allow_hyphen_values = true, value_parser = values::place)]
    gauge: Option<Point>,
    /// Which arch it is: gives the tilt toward the patient's left its name
    #[arg(long, value_enum)]
    arch: Option<ArchWord>,
    /// Unit of the coordinates
    #[arg(long, value_enum, default_value_t = UnitWord::Mm)]
    unit: UnitWord,
    /// Folder for survey.json and survey.ply; made where it does not exist
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
}

pub(super) fn run(common: &Common, args: &Args) -> Result<Ending, Failure> {
    let progress = Progress::new(common);
    progress.say("reading");
    let scan = input::named_scan(&args.cast, args.unit.into())?;
    let out = args.out.as_deref().map(OutFolder::new).transpose()?;
    progress.say("surveying");
    let wanted =
        SurveyWanted { withdrawal: args.withdrawal, gauge: args.gauge, arch: args.arch.map(Into::into) };
    let survey = analysis::survey(&scan, &wanted, &Rules::standard()).map_err(|e| {
        let mend = match &e {
            SurveyRefused::NoDirection(_) => "say which way the denture comes out: --withdrawal X,Y,Z",
            SurveyRefused::GaugeFar { .. } => "give a point on the cast, in mm of the file's own axes",
            SurveyRefused::NoSurface => "export the scan again",
        };
        Failure::new(format!("{}: {e}", args.cast.display()), mend)
    })?;
    let json = render::json::bytes(&survey.file);
    if let Some(out) = &out {
        progress.say("writing");
        let ply = render::ply::survey(&scan.import.mesh, &survey.field.depth_mm);
        let mut files = vec![("survey.json".to_owned(), json.clone()), ("survey.ply".to_owned(), ply)];
        if let Some(cut) = &survey.section {
            files.push(("gauge.svg".to_owned(), render::svg::section(cut)));
        }
        out.write(&files, std::slice::from_ref(&args.cast))?;
    }
    drop(progress);
    output::show(common, || render::text::survey(&survey.file), &json)?;
    if let Some(out) = &out {
        output::note(common, &format!("wrote {}", out.file("survey.json and survey.ply").display()));
    }
    Ok(Ending::of(report::asks_attention(&survey.file.findings)))
}
