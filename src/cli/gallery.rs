//! Pictures of an analysis: stills of the cast, sections and profiles, with what each shows in words.

use rayon::prelude::*;

use crate::analysis::Analysis;
use crate::mesh::Mesh;
use crate::render::colour::{self, Rgb, Scale};
use crate::render::html::Picture;
use crate::render::picture::{self, Label, Still, View};
use crate::render::{ply, support_chart, svg, tilt_map, unrolled};
use crate::report::{CurveKind, Cut, Scene, SpanShown, SpotKind};
use crate::space::{Frame, Point, Vector, direction};

/// Drawings, in the order of the page: sections lie in a folder of their own.
pub(super) fn drawings(done: &Analysis<'_>, sections: &[Cut]) -> Vec<Picture> {
    let mut all = Vec::new();
    for span in &done.report.spans {
        let front = front(done, span);
        let caption = format!("Clearance along the crest behind {front}");
        let wanted = wanted_mm(done);
        if let Some(bytes) = svg::profile(span, wanted, &caption) {
            all.push(Picture { name: format!("clearance-behind-{front}.svg"), caption, bytes });
        }
    }
    let caption = "The tongue side (lingual wall) of the lower jaw unrolled: depth for a connector below the gum margin";
    let wall = done.unrolled().and_then(|wall| unrolled::svg(&wall, caption));
    all.extend(wall.map(|bytes| Picture {
        name: "sections/lingual_wall.svg".to_owned(),
        caption: caption.to_owned(),
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
    let upper = done.report.case.restored_arch == crate::case::Arch::Maxilla;
    let map = done.report.path.as_ref().and_then(|p| tilt_map::tilt_map(p, upper));
    all.extend(map.map(|bytes| Picture {
        name: "sections/tilt_map.svg".to_owned(),
        caption: "Tilts tried for the path of insertion: the score of each, seen as the cast is from the occlusal side".to_owned(),
        bytes,
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

fn front(done: &Analysis<'_>, span: &SpanShown) -> String {
    let known = done.facts.restored.anatomy.spans.iter().find(|s| s.teeth == span.teeth);
    known.and_then(|s| s.front).map_or_else(|| "span".to_owned(), |t| t.to_string())
}

/// A still that is to be drawn.
struct Wanted {
    name: &'static str,
    caption: String,
    view: View,
    paint: Paint,
    lines: &'static [CurveKind],
    /// The half that is shown: +1 the patient's left, -1 the right.
    half: Option<f64>,
}

#[derive(Clone, Copy)]
enum Paint {
    Undercut,
    Distance,
    Regions,
}

/// Stills of the restored arch, PNG.
pub(super) fn stills(scene: &Scene<'_>) -> Vec<Picture> {
    let Some(frame) = scene.frame else { return Vec::new() };
    wanted(scene, &frame)
        .par_iter()
        .filter_map(|w| {
            let bytes = still(scene, &frame, w)?;
            Some(Picture { name: w.name.to_owned(), caption: w.caption.clone(), bytes })
        })
        .collect()
}

const SURVEYED: &[CurveKind] = &[CurveKind::SurveyLine];

fn wanted(scene: &Scene<'_>, frame: &Frame) -> Vec<Wanted> {
    let (up, front, left) =
        (frame.occlusal.into_inner(), frame.anterior.into_inner(), frame.left.into_inner());
    let view = |eye: Vector, up: Vector| View { eye: direction(eye).unwrap_or(frame.occlusal), up };
    let above = view(up, front);
    let inner = if scene.upper { "palatal" } else { "lingual" };
    let mut all = Vec::new();
    let mut add = |name, caption: &str, view, paint, lines, half| {
        all.push(Wanted { name, caption: caption.to_owned(), view, paint, lines, half });
    };
    if scene.undercut_mm.iter().any(Option::is_some) {
        let colours =
            "plaster colour is free, grey not measured, the dark line is the survey line of the abutments";
        let says = format!("Undercut along the path, from above the teeth (occlusal); {colours}");
        add("undercut-occlusal.png", &says, above, Paint::Undercut, SURVEYED, None);
        for (name, side, half) in
            [("undercut-lingual-right.png", "right", -1.0), ("undercut-lingual-left.png", "left", 1.0)]
        {
            let says = format!(
                "Undercut on the {inner} side of the patient's {side} half, the other half taken away"
            );
            let view = view(left * -half + up * 0.55 - front * 0.25, up);
            add(name, &says, view, Paint::Undercut, SURVEYED, Some(half));
        }
        let says = "Undercut along the path, from the front and a little above (frontal)";
        add("undercut-frontal.png", says, view(front + up * 0.35, up), Paint::Undercut, SURVEYED, None);
    }
    if scene.nearest_mm.iter().any(Option::is_some) {
        let says =
            "Nearest distance to the opposing arch, from above the teeth (occlusal); grey: nothing there";
        add("clearance-occlusal.png", says, above, Paint::Distance, &[CurveKind::Crest], None);
    }
    let says = "What was told apart: teeth with their numbers, gum (gingiva), residual ridge, tori and their keep-out outlined";
    add(
        "anatomy-occlusal.png",
        says,
        above,
        Paint::Regions,
        &[CurveKind::Torus, CurveKind::KeepOut, CurveKind::Crest],
        None,
    );
    all
}

fn still(scene: &Scene<'_>, frame: &Frame, w: &Wanted) -> Option<Vec<u8>> {
    let (colours, scale): (Vec<Rgb>, Option<Scale>) = match w.paint {
        Paint::Undercut => {
            (scene.undercut_mm.iter().map(|&d| colour::undercut(d)).collect(), Some(Scale::UNDERCUT))
        }
        Paint::Distance => {
            (scene.nearest_mm.iter().map(|&d| colour::distance(d)).collect(), Some(Scale::DISTANCE))
        }
        Paint::Regions => (ply::anatomy_colours(scene.tooth_of, &scene.region), None),
    };
    // Half of the cast reaches a little beyond the middle.
    let on_half = |p: &Point| w.half.is_none_or(|half| frame.local(p)[1] * half > -1.5);
    let cut: Option<(Mesh, Vec<Rgb>)> = w.half.map(|_| {
        let mesh = scene.restored;
        let (part, kept) = mesh.part(|f| mesh.corners(f).iter().all(&on_half));
        let kept = kept.iter().map(|&v| colours.get(v as usize).copied().unwrap_or(colour::NOT_MEASURED));
        (part, kept.collect())
    });
    let (mesh, colours) = cut.as_ref().map_or((scene.restored, &colours), |(m, c)| (m, c));
    let lines: Vec<Vec<Point>> = w
        .lines
        .iter()
        .flat_map(|&kind| scene.curves_of(kind))
        .map(|c| c.places.clone())
        .filter(|line| line.iter().all(&on_half))
        .collect();
    let spots: Vec<Point> = match w.paint {
        Paint::Undercut => scene.spots_of(SpotKind::Gauge).map(|s| s.at).filter(&on_half).collect(),
        _ => Vec::new(),
    };
    let mut labels: Vec<Label> = scene
        .teeth
        .iter()
        .filter(|(_, at)| on_half(at))
        .map(|(text, at)| Label { at: *at, text: text.clone() })
        .collect();
    if w.half.is_none() {
        labels.extend(side_labels(frame, mesh.vertices()));
    }
    picture::png(&Still { mesh, colours, view: w.view, lines: &lines, spots: &spots, labels: &labels, scale })
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
