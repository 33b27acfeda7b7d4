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
use crate::space::Point;

/// Measure the undercut of a cast along a withdrawal direction
///
/// Gives every vertex its undercut depth: how far a vertical rod must be moved aside to be free of everything that stands
/// above that point. Draws the survey line. With --gauge it reads the depth at one point, as an undercut gauge does. The
/// withdrawal points the way the denture comes out; where it is not given, the occlusal normal found on the cast is used.
///
/// Writes survey.json, survey.ply (undercut_mm of every vertex), what has to be blocked out under all bulges as a closed
/// solid (blockout.ply, blockout.stl), and for a gauge point the upright section with rod and depth (gauge.svg; for
/// several points sections/gauge-1.svg and on) into --out; without --out it only prints.
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
    #[arg(long, value_name = "X,Y,Z", allow_hyphen_values = true, value_parser = values::given_way)]
    withdrawal: Option<values::Given>,
    /// A point at which the gauge is put, mm; the nearest surface point is read. May be given several times
    #[arg(long, value_name = "X,Y,Z", allow_hyphen_values = true, value_parser = values::place)]
    gauge: Vec<Point>,
    /// Which arch it is: gives the tilt toward the patient's left its name
    #[arg(long, value_enum)]
    arch: Option<ArchWord>,
    /// Unit of the coordinates
    #[arg(long, value_enum, default_value_t = UnitWord::Mm)]
    unit: UnitWord,
    /// Folder for the results; made where it does not exist
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
}

pub(super) fn run(common: &Common, args: &Args) -> Result<Ending, Failure> {
    let progress = Progress::new(common);
    progress.say("reading");
    let scan = input::named_scan(&args.cast, args.unit.into())?;
    let out = args.out.as_deref().map(OutFolder::new).transpose()?;
    progress.say("surveying");
    let wanted = SurveyWanted {
        withdrawal: args.withdrawal.map(|g| g.way),
        withdrawal_length: args.withdrawal.map(|g| g.length),
        gauges: args.gauge.clone(),
        arch: args.arch.map(Into::into),
    };
    let survey = analysis::survey(&scan, &wanted, &Rules::standard()).map_err(|e| {
        let mend = match &e {
            SurveyRefused::NoDirection(_) => "say which way the denture comes out: --withdrawal X,Y,Z",
            SurveyRefused::GaugeFar { .. } => "give a point on the cast, in mm of the file's own axes",
            SurveyRefused::NoSurface => "export the scan again",
        };
        Failure::new(format!("{}: {e}", args.cast.display()), mend)
    })?;
    let json = render::json::bytes(&survey.file);
    let mut written = Vec::new();
    if let Some(out) = &out {
        progress.say("writing");
        let ply = render::ply::survey(&scan.import.mesh, &survey.field.depth_mm);
        let mut files = vec![("survey.json".to_owned(), json.clone()), ("survey.ply".to_owned(), ply)];
        if survey.file.blockout.is_some() {
            files.push(("blockout.ply".to_owned(), render::ply::blockout(survey.blockout.as_ref())));
            files
                .push(("blockout.stl".to_owned(), render::stl::solid(survey.blockout.as_ref(), "block-out")));
        }
        let folder = if survey.sections.len() > 1 { "sections/" } else { "" };
        for cut in &survey.sections {
            files.push((format!("{folder}{}.svg", cut.name), render::svg::section(cut)));
        }
        written.extend(files.iter().map(|(name, _)| name.clone()));
        out.write(&files, std::slice::from_ref(&args.cast))?;
    }
    drop(progress);
    output::show(common, || render::text::survey(&survey.file), &json)?;
    if let Some(out) = &out {
        output::note(common, &format!("wrote into {}: {}", out.file("").display(), written.join(", ")));
    }
    Ok(Ending::of(report::asks_attention(&survey.file.findings)))
}
