//! The page of a framework: the same sheet as that of the case, with what was measured of the metal.

use super::{answer, document, foot, gallery, lines, lists, set_apart};
use crate::render::framework;
use crate::render::html::{Picture, escaped, piece, shortened};
use crate::render::sheet;
use crate::render::words::Manner;
use crate::report::{FrameworkFile, Section};

/// The page as HTML.
pub fn html(file: &FrameworkFile, stills: &[Picture], manner: &Manner) -> String {
    let section = Section { id: "framework".into(), title: manner.word("framework.section").into() };
    let lines = lines(&file.findings, std::slice::from_ref(&section), manner);
    let name = file.inputs.last().map_or("", |i| i.file.as_str());
    let name = shortened(name.rsplit(['/', '\\']).next().unwrap_or(name));
    let names = [("framework", name.as_str()), ("id", &shortened(&file.case.id))];
    let title = manner.fill("framework.title", &names);
    let marked = set_apart(manner, "framework.title", &names);
    let measured: String = sheet::numbered(framework::measured(file), manner).iter().map(piece).collect();
    let body = [
        format!("<a class=\"skip\" href=\"#answer\">{}</a>\n", escaped(manner.word("skip"))),
        format!(
            "<header>\n<h1>{marked}</h1>\n<p class=\"detail\">{}</p>\n</header>\n",
            escaped(manner.word("framework.how"))
        ),
        answer::answer(&file.questions, &lines, manner),
        answer::figures(&lines, manner),
        format!("<section id=\"parts\"{}>\n{measured}</section>\n", answer::foreign(manner)),
        gallery(stills, "stills", manner),
        lists::asked(&file.questions, manner),
        foot::files_read(&file.inputs, &[foot::written_by(&file.tool, &file.schema, manner)], manner),
        foot::cautions(&file.cautions, "framework.caution", manner),
    ]
    .concat();
    document(&title, &body, "", manner)
}
