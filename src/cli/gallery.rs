//! Pictures of an analysis: stills of the cast, sections and profiles, with what each shows in words.

use crate::analysis::Analysis;
use crate::case::Arch;
use crate::render::colour::{self, Rgb, Scale};
use crate::render::html::Picture;
use crate::render::picture::{self, Label, Still, View};
use crate::render::{ply, support_chart, svg, tilt_map};
use crate::report::{Cut, Place};
use crate::space::{Frame, Point, Vector, direction};

/// All pictures, in the order of the page. `sections` lie in a folder of their own.
pub(super) fn pictures(done: &Analysis<'_>, sections: &[Cut]) -> Vec<Picture> {
    let mut all = stills(done);
    for span in &done.report.spans {
        let front = front(done, span);
        let caption = format!("Clearance along the crest behind {front}");
        let wanted = wanted_mm(done);
        if let Some(bytes) = svg::profile(span, wanted, &caption) {
            all.push(Picture { name: format!("clearance-behind-{front}.svg"), caption, bytes });
        }
    }
    let upper = done.facts.restored.arch == Arch::Maxilla;
    let map = done.report.path.as_ref().and_then(|p| tilt_map::tilt_map(p, upper));
    all.extend(map.map(|bytes| Picture {
        name: "sections/tilt_map.svg".to_owned(),
        caption: "Tilts tried for the path of insertion: the score of each, seen as the cast is from the occlusal side".to_owned(),
        bytes,
    }));
    let chart = done.report.mechanics.as_ref().and_then(support_chart::chart);
    all.extend(chart.map(|bytes| Picture {
        name: "sections/hinged_or_rigid.svg".to_owned(),
        caption: "Designs side by side over the assumed ranges: what abutments and ridge bear, and what governs it".to_owned(),
        bytes,
    }));
    all.extend(sections.iter().map(|cut| Picture {
        name: format!("sections/{}.svg", cut.name),
        caption: cut.caption.clone(),
        bytes: svg::section(cut),
    }));
    all
}

/// The room that is wanted over a hinge, as it stands in the table of limits of the case.
fn wanted_mm(done: &Analysis<'_>) -> Option<f64> {
    done.report
        .findings
        .iter()
        .filter_map(|f| f.limit.as_ref())
        .find(|l| l.id == "attachment_room_mm")
        .and_then(|l| l.at_least)
}

fn front(done: &Analysis<'_>, span: &crate::report::SpanShown) -> String {
    let known = done.facts.restored.anatomy.spans.iter().find(|s| s.teeth == span.teeth);
    known.and_then(|s| s.front).map_or_else(|| "span".to_owned(), |t| t.to_string())
}

fn stills(done: &Analysis<'_>) -> Vec<Picture> {
    let facts = &done.facts;
    let arch = &facts.restored;
    let Ok(known) = arch.anatomy.frame.as_ref() else { return Vec::new() };
    let frame = &known.frame;
    let labels: Vec<Label> = arch
        .anatomy
        .crowns
        .iter()
        .map(|c| Label { at: c.centre, text: c.tooth.to_string() })
        .chain(side_labels(frame, arch.mesh().vertices()))
        .collect();
    let survey: Vec<Vec<Point>> =
        done.report.abutments.iter().flat_map(|a| a.survey_line_mm.iter().map(|l| points(l))).collect();
    let tori: Vec<Vec<Point>> = facts.tori.iter().map(|t| closed(&t.outline)).collect();
    let mut all = Vec::new();
    let mut still = |name: &str,
                     caption: &str,
                     view: View,
                     colours: &[Rgb],
                     scale: Option<Scale>,
                     lines: &[Vec<Point>]| {
        let still = Still { mesh: arch.mesh(), colours, view, lines, labels: &labels, scale };
        if let Some(bytes) = picture::png(&still) {
            all.push(Picture { name: name.to_owned(), caption: caption.to_owned(), bytes });
        }
    };
    let (above, behind) = views(frame);
    if let Ok(field) = facts.undercut.as_ref() {
        let colours: Vec<Rgb> = field.depth_mm.iter().map(|&d| colour::undercut(d)).collect();
        let scale = Some(Scale::UNDERCUT);
        let caption = "Undercut along the path, seen from the occlusal side; plaster colour is free, grey not measured, the line \
                       is the survey line of the abutments";
        still("undercut-occlusal.png", caption, above, &colours, scale, &survey);
        let caption = "Undercut along the path, seen from behind and above: the lingual side of the front";
        still("undercut-lingual.png", caption, behind, &colours, scale, &survey);
    }
    let (nearest, _) = done.clearance();
    if nearest.iter().any(Option::is_some) {
        let colours: Vec<Rgb> = nearest.iter().map(|&d| colour::distance(d)).collect();
        let caption =
            "Nearest distance to the opposing arch, seen from the occlusal side; grey: nothing there";
        still("clearance-occlusal.png", caption, above, &colours, Some(Scale::DISTANCE), &[]);
    }
    let region: Vec<u8> = arch.anatomy.region.iter().map(|&r| r as u8).collect();
    let colours = ply::anatomy_colours(&arch.anatomy.tooth_of, &region);
    let caption = "What was told apart: teeth with their numbers, gingiva, residual ridge, tori (outlined)";
    still("anatomy-occlusal.png", caption, above, &colours, None, &tori);
    all
}

/// From the occlusal side with the front up; from behind and above.
fn views(frame: &Frame) -> (View, View) {
    let oblique = frame.occlusal.into_inner() * 0.75 - frame.anterior.into_inner();
    let above = View { eye: frame.occlusal, up: frame.anterior.into_inner() };
    let behind = View { eye: direction(oblique).unwrap_or(frame.occlusal), up: frame.occlusal.into_inner() };
    (above, behind)
}

/// `L` and `R` beside the cast.
fn side_labels(frame: &Frame, vertices: &[Point]) -> Vec<Label> {
    let widest = vertices.iter().map(|p| frame.local(p)[1].abs()).fold(0.0, f64::max);
    [("L", 1.0), ("R", -1.0)]
        .map(|(text, side)| Label {
            at: frame.world([0.0, side * (widest + 3.0), 0.0]),
            text: text.to_owned(),
        })
        .to_vec()
}

fn points(line: &[Place]) -> Vec<Point> {
    line.iter().map(|p| Point::from(Vector::from(*p))).collect()
}

fn closed(outline: &[Point]) -> Vec<Point> {
    outline.iter().chain(outline.first()).copied().collect()
}
