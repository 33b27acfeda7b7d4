//! `clearance`: distances between two surfaces.

use std::path::PathBuf;

use super::output::OutFolder;
use super::progress::Progress;
use super::values::{self, UnitWord};
use super::{Common, Ending, Failure, input, output};
use crate::analysis::{self, ClearanceWanted};
use crate::render;
use crate::report;
use crate::rules::Rules;
use crate::space::Direction;

/// Measure the distance from tissue to an opposing surface
///
/// Gives every vertex of the tissue its distance to the opposing surface, along the opening direction (negative where the
/// surfaces overlap) and to the nearest point in any direction. Both are exact point-to-triangle figures. The opening
/// points from the tissue toward the opposing arch; where it is not given, the occlusal normal found on the tissue is used.
///
/// Writes clearance.json and clearance.ply into --out; without --out it only prints.
///
/// Example:
///   saddleroom clearance lower.stl upper.stl --opening 0,0,1 --out out
#[derive(Debug, clap::Args)]
#[command(verbatim_doc_comment)]
pub(super) struct Args {
    /// The surface that is measured from: STL, PLY or OBJ
    #[arg(value_name = "TISSUE")]
    tissue: PathBuf,
    /// The surface that is measured to
    #[arg(value_name = "OPPOSING")]
    opposing: PathBuf,
    /// From the tissue toward the opposing arch, in the axes of the files
    #[arg(long, value_name = "X,Y,Z", allow_hyphen_values = true, value_parser = values::way)]
    opening: Option<Direction>,
    /// Unit of the coordinates of both files
    #[arg(long, value_enum, default_value_t = UnitWord::Mm)]
    unit: UnitWord,
    /// Folder for clearance.json and clearance.ply; made where it does not exist
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
}

pub(super) fn run(common: &Common, args: &Args) -> Result<Ending, Failure> {
    let progress = Progress::new(common);
    progress.say("reading");
    let (tissue, opposing) = input::two_named_scans(&args.tissue, &args.opposing, args.unit.into())?;
    let out = args.out.as_deref().map(OutFolder::new).transpose()?;
    progress.say("measuring");
    let wanted = ClearanceWanted { opening: args.opening };
    let found = analysis::clearances(&tissue, &opposing, &wanted, &Rules::standard()).map_err(|reason| {
        Failure::new(
            format!("{}: no opening direction: {reason}", args.tissue.display()),
            "say where the opposing arch is: --opening X,Y,Z",
        )
    })?;
    let json = render::json::bytes(&found.file);
    if let Some(out) = &out {
        progress.say("writing");
        let (nearest, along): (Vec<_>, Vec<_>) =
            found.of_vertex.iter().map(|c| (c.nearest_mm, c.along_mm)).unzip();
        let ply = render::ply::clearance(&tissue.import.mesh, &nearest, &along);
        let files = vec![("clearance.json".to_owned(), json.clone()), ("clearance.ply".to_owned(), ply)];
        out.write(&files, &[args.tissue.clone(), args.opposing.clone()])?;
    }
    drop(progress);
    output::show(common, || render::text::clearance(&found.file), &json)?;
    if let Some(out) = &out {
        output::note(common, &format!("wrote {}", out.file("clearance.json and clearance.ply").display()));
    }
    Ok(Ending::of(report::asks_attention(&found.file.findings)))
}
