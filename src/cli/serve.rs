//! `serve`: the work sheet on screen.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use toml_edit::{Array, DocumentMut, Value};

use super::check::{self, CaseArgs};
use super::output;
use super::{Common, Ending, Failure, Format, input};
use crate::case::file::parse;
use crate::case::{Case, CaseFile};
use crate::rules::Rules;
use crate::serve::{self, Sheet};

/// Show the work sheet in the browser of this machine
///
/// Offers the page on the loopback address and prints the address, with a token that opens it once; open it in a browser.
/// The cast can be tilted and the depths follow, the gauge is put where you point, marks are set and taken back, and what
/// they change in the findings is shown. Saving writes the case file and keeps its comments and order; the page that the
/// sheet exports is that of `check`. Without a case file, saving makes case.toml in the folder you are in.
///
/// Nobody else on the network can reach it. Ctrl-C ends it.
///
/// Examples:
///   saddleroom serve casts/oban/case.toml
///   saddleroom serve --mandible lower.stl --maxilla upper.stl --restore mandible --missing 36,37 --port 8123
#[derive(Debug, clap::Args)]
#[command(verbatim_doc_comment)]
pub(super) struct Args {
    #[command(flatten)]
    case: CaseArgs,
    /// Port on the loopback address; a free one unless given
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..))]
    port: Option<u16>,
}

pub(super) fn run(common: &Common, args: &Args) -> Result<Ending, Failure> {
    let sheet = sheet(&args.case)?;
    // Scans that cannot be read are told before anything is offered.
    let file = parsed(&sheet.text).map_err(|says| Failure::new(says, "mend the case file"))?;
    (sheet.rules)(&file).and_then(|_| (sheet.read)(file).map(drop)).map_err(|says| {
        Failure::new(says.trim_end().to_owned(), "look at the names and the folder of the scans")
    })?;
    let listener = serve::listen(sheet, args.port.unwrap_or(0))
        .map_err(|e| Failure::new(e.to_string(), "name another port, or none for a free one"))?;
    let line = match common.format {
        Format::Text => {
            format!("Work sheet: {} (port {}; Ctrl-C ends it)\n", listener.address, listener.port)
        }
        Format::Json => {
            format!("{}\n", serde_json::json!({ "address": listener.address, "port": listener.port }))
        }
    };
    output::print(&line)?;
    if let Some(remark) = &listener.remark {
        output::note(common, remark);
    }
    let unsaved =
        listener.run().map_err(|e| Failure::new(e.to_string(), "end other programs and try again"))?;
    if let Some(remark) = unsaved {
        output::note(common, &format!("ended; there were marks that had not been saved. {remark}"));
    }
    Ok(Ending::FINE)
}

fn parsed(text: &str) -> Result<CaseFile, String> {
    parse(text, &Rules::standard().ids()).map_err(|p| p.to_string())
}

fn sheet(args: &CaseArgs) -> Result<Sheet, Failure> {
    let manner = args.manner();
    let (text, file, on_disk) = match &args.case {
        Some(path) => {
            check::case_file(path)?;
            let bytes = input::bytes(path, "case file")?;
            (String::from_utf8_lossy(&bytes).into_owned(), path.clone(), true)
        }
        None => (bare_text(args)?, PathBuf::from("case.toml"), false),
    };
    let folder = file.parent().unwrap_or(Path::new("")).to_owned();
    let read = move |file: CaseFile| -> Result<Case, String> {
        input::case(file, &folder).map(|(case, _)| case).map_err(|f| f.plain())
    };
    Ok(Sheet {
        text,
        file,
        on_disk,
        read: Arc::new(read),
        rules: Arc::new(|file| input::rules(file).map_err(|f| f.plain())),
        page: Arc::new(move |done| check::page(done, manner)),
        notation: manner.notation,
    })
}

/// The text of a case that is given by options alone.
fn bare_text(args: &CaseArgs) -> Result<String, Failure> {
    let file = check::bare(args)?;
    let mut doc = DocumentMut::new();
    doc["id"] = toml_edit::value(file.id.as_str());
    doc["restored_arch"] = toml_edit::value(file.restored.word());
    let mut scans = toml_edit::Table::new();
    let names = [("mandible", &file.scans.mandible), ("maxilla", &file.scans.maxilla)];
    for (key, name) in names.into_iter().filter_map(|(k, n)| Some((k, n.as_ref()?))) {
        scans[key] = toml_edit::value(name.as_str());
    }
    scans["unit"] = toml_edit::value(file.scans.unit.word());
    doc["scans"] = toml_edit::Item::Table(scans);
    if let Some(chart) = &file.chart {
        let mut table = toml_edit::Table::new();
        table["notation"] = toml_edit::value(file.notation.word());
        let teeth: Array = chart
            .missing
            .iter()
            .map(|t| match file.notation {
                crate::case::Notation::Palmer => Value::from(t.palmer()),
                _ => Value::from(t.show(file.notation).parse::<i64>().unwrap_or_default()),
            })
            .collect();
        table["missing"] = toml_edit::value(teeth);
        doc["chart"] = toml_edit::Item::Table(table);
    }
    Ok(doc.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cli::check::tests::case_args;

    #[test]
    fn options_alone_make_the_case_file_that_says_the_same() {
        for (missing, notation) in [("36,37", "fdi"), ("18,19", "universal"), ("LL6", "palmer")] {
            let args = case_args(&[
                "--mandible",
                "a b.stl",
                "--maxilla",
                "c\"d.stl",
                "--restore",
                "mandible",
                "--missing",
                missing,
                "--notation",
                notation,
                "--unit",
                "um",
            ]);
            let text = bare_text(&args).unwrap();
            assert_eq!(parsed(&text).unwrap(), check::bare(&args).unwrap(), "{text}");
        }
        let args = case_args(&["--maxilla", "u.stl", "--restore", "maxilla"]);
        assert_eq!(parsed(&bare_text(&args).unwrap()).unwrap(), check::bare(&args).unwrap());
    }
}
