//! Check: Tori.

use super::{Check, Part};
use crate::case::Arch;
use crate::estimate::{Estimate, NotMeasured, Source};
use crate::facts::Facts;
use crate::measure::connector::WallEnd;
use crate::measure::torus::{self, Beside, Torus};
use crate::report::{Finding, Question, TorusShown, TorusSide, TorusState, Verdict, Where};
use crate::rules::Rules;
use crate::space::Point;
use crate::units::{self, Unit};

/// The check.
pub const CHECK: Check = Check {
    id: "tori",
    title: "Tori",
    measures: "Smooth rises of the lingual side of the mandible or of the palatal midline: the surface without the rise is \
               restored from its surroundings, the height is the normal distance to it, the outline is drawn at 0.5 mm, \
               and a saddle of 0.7 mm parts two lobes. A rise that is not sure is called possible, is kept out of the \
               verdicts, and is asked about. A scan shows the surface only: it cannot tell bone from soft tissue, and it \
               shows nothing below its border.",
    limits: &[
        "torus_outline_mm",
        "torus_saddle_mm",
        "torus_least_height_mm",
        "torus_least_area_mm2",
        "torus_seen_depth_mm",
        "torus_medium_mm",
        "torus_large_mm",
        "keepout_margin_mm",
        "relief_mm",
    ],
    method: "tori.md",
    run,
};

/// Share of a torus that is undercut, and depth of the undercut, mm, from which it is pointed out.
const HIDDEN: (f64, f64) = (0.15, 0.25);
/// How near to a marked point a torus must come to be the one meant, mm.
const MARK_REACH_MM: f64 = 3.0;

fn run(facts: &Facts<'_>) -> Part {
    let mut part = Part::default();
    for torus in &facts.tori {
        let beside = torus::beside(torus, &facts.restored.anatomy);
        part.tori.push(shown(facts, torus, beside.as_ref()));
        part.findings.push(finding(facts, torus, beside.as_ref()));
        part.findings.extend(hidden(facts, torus, beside.as_ref()));
        if torus.state == TorusState::Possible {
            part.questions.push(question(facts, torus, beside.as_ref()));
        }
    }
    part.findings.extend(marks_without_torus(facts));
    part.findings.extend(keepout(facts));
    part.findings.extend(wall_not_seen(facts));
    if facts.tori.iter().all(|t| t.state == TorusState::Possible) {
        part.findings.push(none_found(facts));
    }
    part.findings.push(Finding::new(
        CHECK.id,
        "tori_surface_only",
        Verdict::Caution,
        "A scan shows the surface only: whether a rise is bone, and what lies below the border of the scan or under \
         surface that scanner software has closed, has to be felt in the mouth.",
    ));
    part
}

/// A torus as the report shows it.
fn shown(facts: &Facts<'_>, torus: &Torus, beside: Option<&Beside>) -> TorusShown {
    let undercut = own_undercut(facts, torus);
    TorusShown {
        side: torus.side,
        height_mm: units::json(torus.height_mm),
        length_mm: units::json(torus.length_mm),
        width_mm: units::json(torus.width_mm),
        area_mm2: units::json(torus.area_mm2),
        volume_mm3: Some(units::json(torus.volume_mm3)),
        from_margin_mm: beside.and_then(|b| b.margin).map(|m| units::json(m.1)),
        undercut_mm: undercut.map(|u| units::json(u.deepest_mm)),
        undercut_share: undercut.map(|u| units::json(u.share)),
        size: Some(size_word(facts.rules, torus.height_mm).to_lowercase()),
        summit_mm: units::json_place(&torus.summit),
        outline_mm: torus.outline.iter().map(units::json_place).collect(),
        confidence: units::json(torus.confidence),
        state: torus.state,
    }
}

/// What of a torus is undercut along the withdrawal.
#[derive(Clone, Copy)]
struct OwnUndercut {
    deepest_mm: f64,
    at: Point,
    share: f64,
}

/// Its deepest undercut and the undercut share of its area. `None` without a path.
fn own_undercut(facts: &Facts<'_>, torus: &Torus) -> Option<OwnUndercut> {
    let field = facts.undercut.as_ref().ok()?;
    let mesh = facts.restored.mesh();
    let depth = |v: u32| field.depth_mm.get(v as usize).copied().flatten().unwrap_or(0.0);
    let (mut deepest_mm, mut at) = (0.0, torus.summit);
    let (mut all, mut under) = (0.0, 0.0);
    for &f in &torus.faces {
        let corners = mesh.faces()[f as usize];
        for v in corners {
            if depth(v) > deepest_mm {
                (deepest_mm, at) = (depth(v), mesh.vertex(v));
            }
        }
        let area = mesh.face_area_mm2(f);
        all += area;
        under += area * corners.iter().filter(|v| depth(**v) > 0.0).count() as f64 / 3.0;
    }
    Some(OwnUndercut { deepest_mm, at, share: if all > 0.0 { under / all } else { 0.0 } })
}

/// A torus that overhangs, or lies in the shadow of what stands above it, along the withdrawal.
fn hidden(facts: &Facts<'_>, torus: &Torus, beside: Option<&Beside>) -> Option<Finding> {
    let undercut = own_undercut(facts, torus).filter(|u| u.share > HIDDEN.0 && u.deepest_mm > HIDDEN.1)?;
    let place = place_words(facts, torus, beside);
    let deepest = units::mm(undercut.deepest_mm);
    let share = units::show(undercut.share, Unit::Share);
    let rest = if undercut.share > 0.5 {
        " Most of it cannot be seen along the path: scanner software may have closed what lies under it, so that its lower edge and height \
         are to be felt in the mouth."
    } else {
        ""
    };
    let says = format!(
        "The torus {place} is undercut along the withdrawal over a share of {share} of its area, at the deepest {deepest}: nothing rigid passes there \
         without block-out.{rest}"
    );
    let finding = Finding::new(CHECK.id, "torus_hidden", Verdict::Caution, says)
        .with("undercut_mm", units::json(undercut.deepest_mm))
        .with("undercut_share", units::json(undercut.share))
        .at(Where::default().at(&undercut.at).words(place));
    Some(finding)
}

/// Where the scan does not show enough of the lingual wall to see a torus on it.
fn wall_not_seen(facts: &Facts<'_>) -> Option<Finding> {
    let wanted = facts.rules.number("torus_seen_depth_mm");
    let way = facts.lingual_way.as_ref()?.as_ref().ok()?;
    let unseen: Vec<(&crate::measure::connector::WayStation, Option<f64>)> = way
        .stations
        .iter()
        .filter_map(|s| match &s.wall {
            Err(_) => Some((s, None)),
            Ok(w) => {
                let ends = w.end == WallEnd::ScanBorder && w.along_mm < wanted;
                ends.then_some((s, Some(w.along_mm)))
            }
        })
        .collect();
    let mut teeth: Vec<crate::case::Tooth> = unseen.iter().map(|u| u.0.tooth).collect();
    teeth.dedup();
    let (first, _) = unseen.first()?;
    let names: Vec<String> = teeth.iter().map(|t| facts.tooth_words(*t)).collect();
    let least = unseen.iter().filter_map(|u| u.1).min_by(f64::total_cmp);
    let reach = match least {
        Some(mm) => format!("the scan ends on it, at the least {} below the margin", units::mm(mm)),
        None => "the scan does not show it".to_owned(),
    };
    let says = format!(
        "Lingual of {} the wall is not seen down to {} below the margin ({reach}): a torus lower down would not be found there.",
        names.join(", "),
        units::mm(wanted)
    );
    Some(
        Finding::new(CHECK.id, "wall_not_seen", Verdict::Caution, says)
            .at(Where { tooth: Some(first.tooth), ..Where::default() }.at(&first.margin))
            .settled_by("a scan that reaches farther down, or feeling the wall in the mouth"),
    )
}

/// Height of a torus with its uncertainty.
fn height(facts: &Facts<'_>, torus: &Torus) -> Estimate {
    let edge = facts.restored.mesh().mean_edge_mm();
    // Sagitta of an edge on a cap of this height and length.
    let chord = torus.height_mm * (edge / torus.length_mm.max(edge)).powi(2);
    Estimate::new(torus.height_mm, Vec::new())
        .with(Source::Scan, facts.case.file.accuracy.scan_mm)
        .with(Source::Spacing, chord)
        .with(Source::Method, torus.height_method_mm)
}

fn finding(facts: &Facts<'_>, torus: &Torus, beside: Option<&Beside>) -> Finding {
    let height = height(facts, torus);
    let place = place_words(facts, torus, beside);
    let size = size_word(facts.rules, torus.height_mm);
    let figures = format!(
        "{} high above the surface without it (standard uncertainty {}), {} long, {} wide, {}, {}",
        units::mm(torus.height_mm),
        units::mm(height.standard()),
        units::mm(torus.length_mm),
        units::mm(torus.width_mm),
        units::show(torus.area_mm2, Unit::Mm2),
        units::show(torus.volume_mm3, Unit::Mm3),
    );
    let edge = beside.and_then(|b| b.margin).map_or_else(String::new, |(tooth, distance, _)| {
        format!(
            " Its outline comes within {} of the margin of {}, straight.",
            units::mm(distance),
            facts.tooth_words(tooth)
        )
    });
    let medium = units::mm(facts.rules.number("torus_medium_mm"));
    let large = units::mm(facts.rules.number("torus_large_mm"));
    let class = format!(
        " {size} by height, by the classes under 2, 2 to 4 and over 4 mm (here medium from {medium}, large over {large}; another scheme: under 3, 3 to 6, over 6 mm)."
    );
    let (code, verdict, says) = match torus.state {
        TorusState::Found => {
            ("torus_found", Verdict::Caution, format!("Torus {place}: {figures}.{class}{edge}"))
        }
        TorusState::Marked => {
            ("torus_marked", Verdict::Caution, format!("Marked torus {place}: {figures}.{class}{edge}"))
        }
        TorusState::Possible => (
            "torus_possible",
            Verdict::Possible,
            format!("Possible torus {place}: {figures}.{edge} Not sure: {}.", torus.doubts.join("; ")),
        ),
    };
    let tooth = beside.and_then(|b| b.margin).map(|m| m.0);
    let place = Where { tooth, ..Where::default() }.at(&torus.summit).words(place);
    let finding = Finding::new(CHECK.id, code, verdict, says)
        .figure(&height, Unit::Mm)
        .at(place)
        .with("length_mm", units::json(torus.length_mm))
        .with("width_mm", units::json(torus.width_mm))
        .with("area_mm2", units::json(torus.area_mm2))
        .with("volume_mm3", units::json(torus.volume_mm3))
        .with("size", size);
    match torus.state {
        TorusState::Possible => finding.settled_by(format!(
            "feel it in the mouth; if it is one, mark it: [marks] tori_at = [[{}]]",
            coordinates(&torus.summit)
        )),
        _ => finding,
    }
}

fn question(facts: &Facts<'_>, torus: &Torus, beside: Option<&Beside>) -> Question {
    let place = place_words(facts, torus, beside);
    Question {
        to: "dentist".into(),
        text: format!("Is the rise {place}, about {} high, a torus?", units::mm(torus.height_mm)),
        because: format!("the scan leaves it open: {}", torus.doubts.join("; ")),
    }
}

/// `on the left, beside 33 to 34`.
fn place_words(facts: &Facts<'_>, torus: &Torus, beside: Option<&Beside>) -> String {
    let arch = facts.restored.arch;
    let side = match torus.side {
        Some(TorusSide::Left) => "on the left".to_owned(),
        Some(TorusSide::Right) => "on the right".to_owned(),
        Some(TorusSide::Midline) => "in the midline".to_owned(),
        None => format!("of the {}, side not known, at {}", arch.word(), units::place_words(&torus.summit)),
    };
    let lingual = if arch == Arch::Mandible { "lingual of" } else { "beside" };
    match beside.map(|b| b.teeth) {
        Some((a, b)) if a == b => format!("{side}, {lingual} {}", facts.tooth_words(a)),
        Some((a, b)) => format!("{side}, {lingual} {} to {}", facts.tooth_words(a), facts.tooth_words(b)),
        None => side,
    }
}

fn coordinates(p: &Point) -> String {
    format!("{}, {}, {}", units::digits(p.x, 2), units::digits(p.y, 2), units::digits(p.z, 2))
}

fn size_word(rules: &Rules, height_mm: f64) -> &'static str {
    if height_mm < rules.number("torus_medium_mm") {
        "Small"
    } else if height_mm <= rules.number("torus_large_mm") {
        "Medium"
    } else {
        "Large"
    }
}

/// Marked outlines and points at which nothing could be measured.
fn marks_without_torus(facts: &Facts<'_>) -> Vec<Finding> {
    let marks = &facts.case.file.marks;
    let marked: Vec<&Torus> = facts.tori.iter().filter(|t| t.state == TorusState::Marked).collect();
    let near = |p: &Point| {
        marked.iter().any(|t| {
            let inside = t.faces.iter().map(|&f| facts.restored.mesh().face_centre(f));
            inside.chain([t.summit]).any(|q| (q - p).norm() <= MARK_REACH_MM)
        })
    };
    let middle = |outline: &Vec<Point>| {
        let n = outline.len().max(1) as f64;
        Point::from(outline.iter().fold(crate::space::Vector::zeros(), |s, p| s + p.coords) / n)
    };
    let outlines = marks.tori.iter().map(|o| ("tori", middle(o), o.iter().any(&near)));
    let points = marks.tori_at.iter().map(|p| ("tori_at", *p, near(p)));
    outlines
        .chain(points)
        .filter(|(_, _, met)| !met)
        .map(|(key, at, _)| {
            let reason = NotMeasured::new(
                format!("nothing stands above its surroundings at {}", units::place_words(&at)),
                format!("set [marks] {key} on the rise itself"),
            );
            Finding::not_measured(CHECK.id, "torus_mark_without_rise", "Marked torus", &reason)
                .at(Where::default().at(&at))
        })
        .collect()
}

/// How far the keep-out reaches.
fn keepout(facts: &Facts<'_>) -> Option<Finding> {
    let keepout = &facts.keepout;
    if keepout.curves.is_empty() {
        return None;
    }
    let margin = facts.rules.number("keepout_margin_mm");
    let relief = facts.rules.number("relief_mm");
    let says = format!(
        "Keep-out: the outlines widened by {} over the surface enclose {} in {} curve(s) of {}; under what may still cross \
         it, a relief of {} square to the surface (both are settings, no published figure was found).",
        units::mm(margin),
        units::show(keepout.area_mm2, Unit::Mm2),
        keepout.curves.len(),
        units::mm(keepout.length_mm),
        units::mm(relief),
    );
    let finding = Finding::new(CHECK.id, "keepout", Verdict::Caution, says)
        .with("area_mm2", units::json(keepout.area_mm2))
        .with("length_mm", units::json(keepout.length_mm))
        .with("margin_mm", margin)
        .with("relief_mm", relief);
    Some(finding)
}

/// What it means that none was found.
fn none_found(facts: &Facts<'_>) -> Finding {
    let least = units::mm(facts.rules.number("torus_least_height_mm"));
    let area = units::show(facts.rules.number("torus_least_area_mm2"), Unit::Mm2);
    let anatomy = &facts.restored.anatomy;
    let looked = match (anatomy.frame.is_ok(), facts.restored.arch) {
        (true, Arch::Mandible) => "on the lingual side of the arch, down to the border of the scan",
        (true, Arch::Maxilla) => "along the midline of the palate",
        (false, _) => "on the whole cast, since it has no frame",
    };
    let possible = if facts.tori.is_empty() { "" } else { " beyond those that are possible" };
    Finding::new(
        CHECK.id,
        "no_torus_found",
        Verdict::Caution,
        format!("No torus of {least} and {area} or more was found{possible}; looked for {looked}."),
    )
}
