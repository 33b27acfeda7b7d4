//! `compare`: two scans of one arch, an older and a newer one.

use std::path::PathBuf;

use super::output::OutFolder;
use super::progress::Progress;
use super::values::{ArchWord, NotationWord, UnitWord};
use super::{Common, Ending, Failure, check, input, output};
use crate::analysis::{self, CompareWanted};
use crate::case::{Arch, Notation, chart};
use crate::render;
use crate::render::words::{Language, Manner};
use crate::report;
use crate::rules::Rules;

/// Measure how the ridge has changed between two scans of one arch
///
/// The scans may lie anywhere. They are laid onto each other on the teeth that stand in both and have not moved; those
/// that have are named. Then the change of the residual ridge of every edentulous span is measured along the normal of
/// the older surface (negative = gone down), with its deepest place, its profile along the crest, its volume and its
/// uncertainty, and held against what two scans of an unchanged mouth differ by. Scans that do not match are said so,
/// with the residual.
///
/// Marks, chart, accuracy and limits can come from a case file of the older scan (--case).
///
/// Writes change.json, change.ply (change_mm of every vertex of the older scan) and change-SPAN.svg (the profile along the
/// crest) into --out; without --out it only prints.
///
/// Examples:
///   saddleroom compare lower-2021.stl lower-2026.stl --arch mandible --missing 36,37 --out out
///   saddleroom compare old.stl new.stl --case old/case.toml --out out
#[derive(Debug, clap::Args)]
#[command(verbatim_doc_comment)]
pub(super) struct Args {
    /// The earlier scan: STL, PLY or OBJ
    #[arg(value_name = "OLD")]
    old: PathBuf,
    /// The later scan
    #[arg(value_name = "NEW")]
    new: PathBuf,
    /// A case file whose chart, marks, accuracy and limits hold for OLD; its scans are not read
    #[arg(long, value_name = "CASE.toml")]
    case: Option<PathBuf>,
    /// Which arch it is; found by its shape unless given
    #[arg(long, value_enum, conflicts_with = "case")]
    arch: Option<ArchWord>,
    /// Teeth missing in OLD, such as 35,36,37; found on the scan unless given
    #[arg(long, value_name = "TEETH", conflicts_with = "case")]
    missing: Option<String>,
    /// How teeth are numbered in --missing and in the text; change.json keeps FDI. Unless given: FDI
    #[arg(long, value_enum)]
    notation: Option<NotationWord>,
    /// Unit of the coordinates of both scans
    #[arg(long, value_enum, default_value_t = UnitWord::Mm)]
    unit: UnitWord,
    /// Folder for the results; made where it does not exist
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
}

pub(super) fn run(common: &Common, args: &Args) -> Result<Ending, Failure> {
    let progress = Progress::new(common);
    progress.say("reading");
    let (wanted, rules) = wanted(args)?;
    let (old, new) = input::two_named_scans(&args.old, &args.new, args.unit.into())?;
    let out = args.out.as_deref().map(OutFolder::new).transpose()?;
    progress.say("laying the scans onto each other, measuring");
    let found = analysis::compare(&old, &new, &wanted, &rules);
    let json = render::json::bytes(&found.file);
    let mut names = Vec::new();
    if let Some(out) = &out {
        progress.say("writing");
        let mut files = vec![
            ("change.json".to_owned(), json.clone()),
            ("change.ply".to_owned(), render::ply::change(&old.import.mesh, &found.change_mm)),
        ];
        files.extend(found.file.spans.iter().filter_map(|span| {
            let teeth: Vec<String> = span.teeth.iter().map(ToString::to_string).collect();
            Some((format!("change-{}.svg", teeth.join("-")), render::change::profile(span)?))
        }));
        let inputs: Vec<PathBuf> = [&args.old, &args.new].into_iter().chain(&args.case).cloned().collect();
        out.write(&files, &inputs)?;
        names.extend(files.into_iter().map(|(name, _)| name));
    }
    drop(progress);
    let manner =
        Manner { language: Language::English, notation: args.notation.map_or(Notation::Fdi, Notation::from) };
    output::show(common, || render::change::text(&found.file, &manner), &json)?;
    if let Some(out) = &out {
        output::note(common, &format!("wrote into {}: {}", out.file("").display(), names.join(", ")));
    }
    Ok(Ending::of(report::asks_attention(&found.file.findings)))
}

/// What is known besides the scans, from the case file or the options.
fn wanted(args: &Args) -> Result<(CompareWanted, Rules), Failure> {
    if let Some(path) = &args.case {
        let file = check::case_file(path)?;
        return Ok((CompareWanted::of_case(&file), input::rules(&file)?));
    }
    let arch = args.arch.map(Arch::from);
    let mut wanted = CompareWanted { arch, ..CompareWanted::default() };
    if let Some(missing) = &args.missing {
        let notation = args.notation.map_or(Notation::Fdi, Notation::from);
        let of = |arch| chart::missing_from(missing, notation, arch);
        // Without --arch the numbers themselves say which arch they are of.
        let read = match arch {
            Some(arch) => of(arch),
            None => of(Arch::Mandible).or_else(|lower| of(Arch::Maxilla).map_err(|_| lower)),
        };
        wanted.chart = Some(read.map_err(|errors| {
            Failure::Several(
                errors.into_iter().map(|e| Failure::new(format!("--missing: {}", e.says), e.mend)).collect(),
            )
        })?);
    }
    Ok((wanted, Rules::standard()))
}
