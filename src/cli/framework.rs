//! `framework`: a designed framework against its case.

use std::path::{Path, PathBuf};

use super::output::OutFolder;
use super::progress::Progress;
use super::values::{LanguageWord, NotationWord, UnitWord};
use super::{Common, Ending, Failure, check, framework_stills, input, output};
use crate::analysis;
use crate::case::Notation;
use crate::render;
use crate::render::words::{Language, Manner};
use crate::report;

/// Measure a designed framework against its case, before it is milled, printed or cast
///
/// Tells whether the framework lies in place on the cast, where it strikes on its way in, whether rests are seated, what
/// relief stands under connector and base, how thick each part is, how near borders come to gingival margins and tori, what
/// each clasp tip engages, whether the opposing arch is met, and whether the file holds one closed body. Parts are told by
/// what the case file asks for and by their shape.
///
/// A framework in other axes than the scan's is brought onto the crowns, and said so; where that is not sure, it is refused.
///
/// Writes framework.json, framework.ply (distance_mm and thickness_mm of every vertex), the sheet framework.html and its
/// pictures into --out; without --out it only prints. Exit 0: nothing is short; 1: something is short, exceeds, is tight or
/// could not be measured; 2: nothing could be done.
///
/// Examples:
///   saddleroom framework casts/oban/case.toml frame.stl --out out/frame
///   saddleroom framework casts/oban/case.toml frame.stl --unit inch
#[derive(Debug, clap::Args)]
#[command(verbatim_doc_comment)]
pub(super) struct Args {
    /// The case file
    #[arg(value_name = "CASE.toml")]
    case: PathBuf,
    /// The framework's mesh: STL, PLY or OBJ
    #[arg(value_name = "FRAME")]
    frame: PathBuf,
    /// Unit of the framework's coordinates
    #[arg(long, value_enum, default_value_t = UnitWord::Mm)]
    unit: UnitWord,
    /// How teeth are numbered in the text and in the pictures; framework.json keeps FDI. Unless given: FDI
    #[arg(long, value_enum)]
    notation: Option<NotationWord>,
    /// Language of framework.html; the text and framework.json stay English
    #[arg(long, value_enum, default_value_t = LanguageWord::En)]
    lang: LanguageWord,
    /// Folder for the results; made where it does not exist
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
}

pub(super) fn run(common: &Common, args: &Args) -> Result<Ending, Failure> {
    let progress = Progress::new(common);
    progress.say("reading");
    let file = check::case_file(&args.case)?;
    let folder = args.case.parent().unwrap_or(Path::new(""));
    let (read, frame) =
        rayon::join(|| input::case(file, folder), || input::named_scan(&args.frame, args.unit.into()));
    let ((case, mut inputs), frame) = match (read, frame) {
        (Ok(read), Ok(frame)) => (read, frame),
        (Err(a), Err(b)) => return Err(Failure::Several(vec![a, b])),
        (Err(e), _) | (_, Err(e)) => return Err(e),
    };
    inputs.extend([args.case.clone(), args.frame.clone()]);
    let rules = input::rules(&case.file)?;
    let out = args.out.as_deref().map(OutFolder::new).transpose()?;
    let done = analysis::framework(&case, &frame, &rules, &|doing| progress.say(doing))
        .map_err(|e| Failure::new(e.to_string(), "give a scan of the arch that is to be restored"))?;
    let json = render::json::bytes(&done.file);
    let notation = args.notation.map_or(Notation::Fdi, Notation::from);
    if let Some(out) = &out {
        progress.say("writing");
        let stills = framework_stills::stills(&done, notation);
        let manner = Manner { language: args.lang.into(), notation };
        let page = render::page::framework::html(&done.file, &stills, &manner);
        let mut files = vec![
            ("framework.html".to_owned(), page.into_bytes()),
            ("framework.json".to_owned(), json.clone()),
            (
                "framework.ply".to_owned(),
                render::ply::framework(&done.mesh, &done.distance_mm, &done.thickness_mm),
            ),
        ];
        files.extend(stills.into_iter().map(|p| (p.name, p.bytes)));
        out.write(&files, &inputs)?;
    }
    drop(progress);
    let manner = Manner { language: Language::English, notation };
    output::show(common, || render::framework::text(&done.file, &manner), &json)?;
    if let Some(out) = &out {
        output::note(
            common,
            &format!(
                "wrote into {}: framework.json, framework.ply, framework.html, pictures",
                out.file("").display()
            ),
        );
    }
    Ok(Ending::of(report::asks_attention(&done.file.findings)))
}
