//! `check`: the whole job on one case.

use std::path::{Path, PathBuf};

use super::output::{Files, OutFolder};
use super::progress::Progress;
use super::values::{ArchWord, LanguageWord, NotationWord, UnitWord};
use super::{Common, Ending, Failure, gallery, input, output};
use crate::analysis::{self, Analysis};
use crate::case::file::parse;
use crate::case::{Arch, Case, CaseFile, Notation, Scans, chart};
use crate::checks;
use crate::render;
use crate::render::html::Picture;
use crate::render::page::Page;
use crate::render::words::Manner;
use crate::report::{Scene, SolidKind};
use crate::rules::Rules;

/// Work a case through: classification, room, undercut, tori, connector, and what to ask
///
/// Reads the scans that the case file names, measures, judges each figure by its limit, and prints a sheet: first what
/// fits, what is short and by how much, what could not be measured and what to ask; then the figures with their places.
/// Without a case file, name the scans and the arch that gets the denture.
///
/// Writes report.json, report.html, pictures, sections/*.svg, survey.ply, clearance.ply, anatomy.ply, keepout.ply, and what has
/// to be blocked out where rigid parts cross undercut tissue (blockout.ply, blockout.stl), keepout.stl, curves.obj, tripod.ply and case.glb (all layers) into --out; without --out it only prints. Exit 0: nothing asked for is short; 1: something is short, exceeds, is tight or
/// could not be measured; 2: nothing could be done.
///
/// Examples:
///   saddleroom check casts/oban/case.toml --out out/oban
///   saddleroom check --mandible lower.stl --maxilla upper.stl --restore mandible --missing 36,37 --out out
#[derive(Debug, clap::Args)]
#[command(verbatim_doc_comment)]
pub(super) struct Args {
    #[command(flatten)]
    case: CaseArgs,
    /// Folder for the results; made where it does not exist
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Try all tilts beside a path that the case gives, and compare it with the best of them
    #[arg(long)]
    tilts: bool,
}

/// What a case is read from, and how its page is written.
#[derive(Debug, clap::Args)]
pub(super) struct CaseArgs {
    /// The case file; `saddleroom schema case` describes it
    #[arg(value_name = "CASE.toml", required_unless_present_any = ["mandible", "maxilla"])]
    pub(super) case: Option<PathBuf>,
    /// Scan of the mandible, where there is no case file
    #[arg(long, value_name = "FILE", conflicts_with = "case", requires = "restore")]
    mandible: Option<PathBuf>,
    /// Scan of the maxilla, where there is no case file
    #[arg(long, value_name = "FILE", conflicts_with = "case", requires = "restore")]
    maxilla: Option<PathBuf>,
    /// Arch that gets the denture
    #[arg(long, value_enum, conflicts_with = "case")]
    restore: Option<ArchWord>,
    /// Missing teeth, such as 35,36,37
    #[arg(long, value_name = "TEETH", conflicts_with = "case")]
    missing: Option<String>,
    /// How teeth are numbered in --missing, on the page and in the text; report.json keeps FDI. Unless given: FDI
    #[arg(long, value_enum)]
    notation: Option<NotationWord>,
    /// Language of report.html
    #[arg(long, value_enum, default_value_t = LanguageWord::En)]
    lang: LanguageWord,
    /// Unit of the coordinates of both scans
    #[arg(long, value_enum, default_value_t = UnitWord::Mm, conflicts_with = "case")]
    unit: UnitWord,
}

impl CaseArgs {
    /// Language of the page and numbers of teeth.
    pub(super) fn manner(&self) -> Manner {
        Manner { language: self.lang.into(), notation: self.notation.map_or(Notation::Fdi, Notation::from) }
    }
}

pub(super) fn run(common: &Common, args: &Args) -> Result<Ending, Failure> {
    let progress = Progress::new(common);
    progress.say("reading");
    let (mut case, mut inputs) = read(&args.case)?;
    case.tilts_beside = args.tilts;
    inputs.extend(args.case.case.clone());
    let rules = input::rules(&case.file)?;
    let out = args.out.as_deref().map(OutFolder::new).transpose()?;
    let done = analysis::analyse(&case, &rules, &|doing| progress.say(doing))
        .map_err(|e| Failure::new(e.to_string(), "give a scan of the arch that is to be restored"))?;
    let manner = args.case.manner();
    let json = render::json::bytes(&done.report);
    let mut names = Vec::new();
    if let Some(out) = &out {
        progress.say("drawing");
        let files = files(&done, &json, manner);
        progress.say("writing");
        out.write(&files, &inputs)?;
        names.extend(files.into_iter().map(|(name, _)| name));
    }
    drop(progress);
    output::show(common, || render::text::report(&done.report, &checks::sections(), &manner), &json)?;
    if let Some(out) = &out {
        output::note(common, &format!("wrote into {}: {}", out.file("").display(), names.join(", ")));
    }
    Ok(Ending::of(done.report.asks_attention()))
}

fn read(args: &CaseArgs) -> Result<(Case, Vec<PathBuf>), Failure> {
    match &args.case {
        Some(path) => {
            let file = case_file(path)?;
            input::case(file, path.parent().unwrap_or(Path::new("")))
        }
        None => input::case(bare(args)?, Path::new("")),
    }
}

/// Reads and validates a case file.
pub(super) fn case_file(path: &Path) -> Result<CaseFile, Failure> {
    let name = path.display().to_string();
    let text = String::from_utf8(input::bytes(path, "case file")?).map_err(|e| {
        let at = e.utf8_error().valid_up_to();
        Failure::new(
            format!("{name} is no UTF-8 text, from byte {at} on"),
            "a case file is TOML; is this a scan?",
        )
    })?;
    parse(&text, &Rules::standard().ids()).map_err(|problems| Failure::CaseFile { name, text, problems })
}

/// A case from options alone.
pub(super) fn bare(args: &CaseArgs) -> Result<CaseFile, Failure> {
    let Some(restored) = args.restore.map(Arch::from) else {
        return Err(Failure::new(
            "it is not said which arch gets the denture",
            "add --restore mandible or --restore maxilla",
        ));
    };
    let name = |path: &Option<PathBuf>| path.as_ref().map(|p| p.display().to_string());
    let scans = Scans {
        mandible: name(&args.mandible),
        maxilla: name(&args.maxilla),
        unit: args.unit.into(),
        ..Scans::default()
    };
    let mut file = CaseFile::bare("unnamed", restored, scans);
    file.notation = args.notation.map_or(Notation::Fdi, Notation::from);
    if let Some(missing) = &args.missing {
        let chart = chart::missing_from(missing, file.notation, restored).map_err(|errors| {
            Failure::Several(
                errors.into_iter().map(|e| Failure::new(format!("--missing: {}", e.says), e.mend)).collect(),
            )
        })?;
        file.chart = Some(chart);
    }
    Ok(file)
}

/// The page of an analysis, as `check` writes it.
pub(super) fn page(done: &Analysis<'_>, manner: Manner) -> Vec<u8> {
    let (drawings, (stills, space)) = rayon::join(
        || gallery::drawings(done, &done.sections()),
        || {
            let scene = done.scene();
            rayon::join(|| gallery::stills(&scene), || render::page::space(&scene, &manner))
        },
    );
    html(done, &space, &[stills, drawings], manner)
}

/// Stills and drawings.
type Pictures = [Vec<Picture>; 2];

fn html(done: &Analysis<'_>, space: &str, [stills, drawings]: &Pictures, manner: Manner) -> Vec<u8> {
    let sections = checks::sections();
    render::page::html(&Page { report: &done.report, sections: &sections, stills, drawings, space, manner })
        .into_bytes()
}

/// Everything that `check` writes.
fn files(done: &Analysis<'_>, json: &[u8], manner: Manner) -> Files {
    // Drawings come from the report alone and need not wait for the scene.
    let (drawings, ((stills, space), layers)) = rayon::join(
        || gallery::drawings(done, &done.sections()),
        || {
            let scene = done.scene();
            let seen = || rayon::join(|| gallery::stills(&scene), || render::page::space(&scene, &manner));
            rayon::join(seen, || layers(&scene))
        },
    );
    let pictures: Pictures = [stills, drawings];
    let page = html(done, &space, &pictures, manner);
    let mut files: Files = vec![("report.json".to_owned(), json.to_vec())];
    files.push(("report.html".to_owned(), page));
    files.extend(layers);
    files.extend(pictures.into_iter().flatten().map(|p| (p.name, p.bytes)));
    files
}

/// The restored arch with its values, the solids, the curves, and all of it in one file.
fn layers(scene: &Scene<'_>) -> Files {
    let solid = |kind: SolidKind| scene.solids.iter().find(|s| s.kind == kind).map(|s| &s.mesh);
    let (keepout, blockout) = (solid(SolidKind::KeepOut), solid(SolidKind::Blockout));
    let mesh = scene.restored;
    vec![
        ("blockout.ply".to_owned(), render::ply::blockout(blockout)),
        ("blockout.stl".to_owned(), render::stl::solid(blockout, "block-out")),
        ("survey.ply".to_owned(), render::ply::survey(mesh, &scene.undercut_mm)),
        ("clearance.ply".to_owned(), render::ply::clearance(mesh, &scene.nearest_mm, &scene.along_mm)),
        ("anatomy.ply".to_owned(), render::ply::anatomy(mesh, scene.tooth_of, &scene.region)),
        ("keepout.ply".to_owned(), render::ply::keepout(keepout)),
        ("keepout.stl".to_owned(), render::stl::solid(keepout, "relief over tori")),
        ("curves.obj".to_owned(), render::curves::obj(scene)),
        ("tripod.ply".to_owned(), render::curves::tripod(scene)),
        ("case.glb".to_owned(), render::gltf::binary(scene)),
    ]
}

#[cfg(test)]
pub(super) mod tests {
    use super::CaseArgs;
    use clap::Parser;

    #[derive(Parser)]
    struct Line {
        #[command(flatten)]
        case: CaseArgs,
    }

    /// The options of a case as they stand on a command line.
    pub(in crate::cli) fn case_args(words: &[&str]) -> CaseArgs {
        Line::parse_from(std::iter::once("x").chain(words.iter().copied())).case
    }
}
