//! Check: the path of insertion, searched over all tilts.

use super::{Check, Part};
use crate::case::PathWanted;
use crate::facts::Facts;
use crate::measure::path_of_insertion::{Searched, Tried, Why};
use crate::measure::tripod::Mark;
use crate::report::{Finding, Verdict, Where, tilt_words};
use crate::units::{self, Unit};

/// The check.
pub const CHECK: Check = Check {
    id: "path",
    title: "Path of insertion",
    measures: "All tilts within a cone about the occlusal normal are tried. For each: the undercut that every clasp can \
               use, clear of the gingival margin, along the tilt and along the occlusal normal too (undercut made by \
               tilting alone gives no retention), how alike it is at all of them, the surfaces beside spans that guide, \
               the undercut tissue that a rigid part crosses, the dead space to be blocked out, and the lean itself. \
               What no other tilt beats in every respect is kept; of that the highest weighted score is chosen, unless \
               it wins over zero tilt by no more than the occlusal normal is uncertain. The figures compared are \
               measured on the scan itself. Where the case gives a path, that path is used; the search then stands \
               beside it only where it is asked for (--tilts). Three tripod marks for the path.",
    limits: &[
        "tilt_most_deg",
        "path_step_deg",
        "path_reduced_mm",
        "path_weight_retention",
        "path_weight_balance",
        "path_weight_guiding",
        "path_weight_tissue",
        "path_weight_blockout",
        "path_weight_lean",
        "undercut_cast_circumferential_mm",
        "undercut_bar_mm",
        "undercut_wrought_wire_mm",
        "undercut_ceiling_mm",
        "tip_above_margin_mm",
        "guiding_plane_good_deg",
        "guiding_plane_prepare_deg",
        "guiding_plane_height_tooth_mm",
        "guiding_plane_height_extension_mm",
        "bar_below_margin_mm",
        "bar_height_mm",
        "palatal_border_mm",
    ],
    method: "path_of_insertion.md",
    run,
};

/// The rows that weigh the respects, in the order of the score.
pub const WEIGHTS: [&str; 6] = [
    "path_weight_retention",
    "path_weight_balance",
    "path_weight_guiding",
    "path_weight_tissue",
    "path_weight_blockout",
    "path_weight_lean",
];

/// Changes smaller than these are not worth a word: mm, mm2, mm3.
const WORTH_MM: f64 = 0.02;
const WORTH_MM2: f64 = 0.5;
const WORTH_MM3: f64 = 1.0;

fn run(facts: &Facts<'_>) -> Part {
    let mut part = Part::default();
    let given = facts.case.file.path != PathWanted::Searched;
    match facts.search() {
        None => {
            let says = "The path is used as the case gives it; with --tilts, check compares it with the best of all.";
            part.findings.push(Finding::new(CHECK.id, "path_given", Verdict::Caution, says));
        }
        Some(Ok(found)) => {
            let (code, says) = if given {
                ("path_given_among_tilts", given_words(facts, found))
            } else {
                ("path_searched", choice_words(facts, found))
            };
            part.findings.push(
                Finding::new(CHECK.id, code, Verdict::Caution, says)
                    .with("tilts_tried", found.tried.len())
                    .with("unbeaten", found.unbeaten.len()),
            );
            part.findings.extend(not_held(facts, found));
        }
        Some(Err(reason)) if given => {
            let says = format!(
                "The path is used as the case gives it; no other was searched, because {}.",
                reason.because
            );
            part.findings.push(Finding::new(CHECK.id, "path_not_searched", Verdict::Caution, says));
        }
        Some(Err(reason)) => part.findings.push(Finding::not_measured(
            CHECK.id,
            "path_not_searched",
            "Search for a path of insertion",
            reason,
        )),
    }
    part.findings.extend(tripod(facts));
    part
}

/// What the search came to, and why.
pub fn choice_words(facts: &Facts<'_>, found: &Searched) -> String {
    let tilt = tilt_words(found.best.anterior_deg, found.best.left_deg);
    let scores = format!(
        "score {} against {} for zero tilt",
        units::digits(found.best_exact.score, 3),
        units::digits(found.zero.score, 3)
    );
    let mut says = match found.why {
        Why::Gains { unsure, .. } => format!(
            "The search chooses a withdrawal direction that leans {tilt} from the occlusal normal ({scores}, of which {} \
             are uncertain with the occlusal normal). {}",
            units::digits(unsure, 3),
            trade_words(facts, found, &found.zero, &found.best_exact, "Against zero tilt")
        ),
        Why::ZeroIsBest => "The search keeps zero tilt, the occlusal normal: no tilt scores higher.".to_owned(),
        Why::NoWeights => {
            "All weights are 0, so that no tilt is better than another: zero tilt, the occlusal normal, stays.".to_owned()
        }
        Why::WithinUncertainty { gain, unsure } => format!(
            "The search keeps zero tilt, the occlusal normal. A lean of {tilt} scores higher ({scores}), but its gain of \
             {} is no more than the occlusal normal leaves uncertain ({}). {}",
            units::digits(gain, 3),
            units::digits(unsure, 3),
            trade_words(facts, found, &found.zero, &found.best_exact, "Against zero tilt")
        ),
        Why::WithinTheFrame { lean_deg, frame_deg } => format!(
            "The search keeps zero tilt, the occlusal normal. A lean of {tilt} scores higher ({scores}), but {} are no \
             more than the occlusal normal is uncertain ({}).",
            units::deg(lean_deg),
            units::deg(frame_deg)
        ),
    };
    says.push(' ');
    says += &how_words(facts, found);
    says
}

/// The path of the case beside what the search would have chosen.
fn given_words(facts: &Facts<'_>, found: &Searched) -> String {
    let mut says = "The path is used as the case gives it. ".to_owned();
    let (tilt, other) = if matches!(found.why, Why::Gains { .. }) {
        (tilt_words(found.best.anterior_deg, found.best.left_deg), &found.best_exact)
    } else {
        ("zero tilt".to_owned(), &found.zero)
    };
    match &found.given {
        Some(given) if near(given, other) => says += "The search would choose the same. ",
        Some(given) => {
            says += &format!(
                "The search would choose {tilt} (score {} against {}). {} ",
                units::digits(other.score, 3),
                units::digits(given.score, 3),
                trade_words(facts, found, given, other, "Against the path given")
            );
        }
        None => says += &format!("The search would choose {tilt}. "),
    }
    says + &how_words(facts, found)
}

/// Whether two tilts are the same to a tenth of a degree.
fn near(a: &Tried, b: &Tried) -> bool {
    (a.tilt.anterior_deg - b.tilt.anterior_deg).abs() < 0.1 && (a.tilt.left_deg - b.tilt.left_deg).abs() < 0.1
}

fn how_words(facts: &Facts<'_>, found: &Searched) -> String {
    let mut says = format!(
        "Tried: {} tilts up to {} from the occlusal normal, on the cast reduced from {} to {} triangles within {}; {} are \
         not beaten in every respect by another. The figures compared are measured on the scan itself.",
        found.tried.len(),
        units::deg(found.goodness.cone_deg),
        found.reduced.triangles_of_scan,
        found.reduced.triangles,
        units::mm(found.reduced.within_mm),
        found.unbeaten.len()
    );
    if !found.left_out.is_empty() {
        let teeth: Vec<String> = found.left_out.iter().map(|t| facts.tooth_words(*t)).collect();
        says +=
            &format!(" Left out, since their crown or gingival margin is not known: {}.", teeth.join(", "));
    }
    if found.held.is_empty() {
        says += " No abutment with a known margin: the choice goes by the tissue alone.";
    }
    if found.tissue_mm2 <= 0.0 {
        says += " No tissue that a rigid part crosses is known: the choice goes by the teeth alone.";
    }
    says
}

/// What `to` gains and costs against `from`.
fn trade_words(facts: &Facts<'_>, found: &Searched, from: &Tried, to: &Tried, start: &str) -> String {
    let (mut gains, mut costs): (Vec<String>, Vec<String>) = (Vec::new(), Vec::new());
    let (a, b) = (&from.parts, &to.parts);
    for ((held, x), y) in found.held.iter().zip(&a.usable_mm).zip(&b.usable_mm) {
        let (had, has) = (x.min(held.gauge_mm), y.min(held.gauge_mm));
        if (has - had).abs() < WORTH_MM {
            continue;
        }
        let surface = match held.surfaces.as_slice() {
            [one] => format!(" {}", one.word()),
            _ => String::new(),
        };
        let says = format!(
            "{} instead of {} usable undercut at {}{surface} ({} wanted)",
            units::mm(*y),
            units::mm(*x),
            facts.tooth_words(held.tooth),
            units::mm(held.gauge_mm)
        );
        if has > had { gains.push(says) } else { costs.push(says) }
    }
    let mut change = |x: Option<f64>,
                      y: Option<f64>,
                      worth: f64,
                      less_is_better: bool,
                      show: &dyn Fn(f64, f64) -> String| {
        if let (Some(x), Some(y)) = (x, y)
            && (y - x).abs() >= worth
        {
            let better = (y < x) == less_is_better;
            if better { gains.push(show(x, y)) } else { costs.push(show(x, y)) }
        }
    };
    change(a.spread_mm, b.spread_mm, WORTH_MM, true, &|x, y| {
        format!("{} instead of {} between the greatest and the least of these", units::mm(y), units::mm(x))
    });
    for ((&(tooth, surface), x), y) in found.guided.iter().zip(&a.guiding_mm2).zip(&b.guiding_mm2) {
        change(Some(*x), Some(*y), WORTH_MM2, false, &|x, y| {
            format!(
                "{} instead of {} guiding surface at {} {}",
                units::show(y, Unit::Mm2),
                units::show(x, Unit::Mm2),
                facts.tooth_words(tooth),
                surface.word()
            )
        });
    }
    change(a.tissue_mm2, b.tissue_mm2, WORTH_MM2, true, &|x, y| {
        format!(
            "{} instead of {} of tissue crossed undercut",
            units::show(y, Unit::Mm2),
            units::show(x, Unit::Mm2)
        )
    });
    change(a.blockout_mm3, b.blockout_mm3, WORTH_MM3, true, &|x, y| {
        format!("{} instead of {} to block out", units::show(y, Unit::Mm3), units::show(x, Unit::Mm3))
    });
    change(Some(a.lean_deg), Some(b.lean_deg), 0.05, true, &|x, y| {
        format!("a lean of {} instead of {}", units::deg(y), units::deg(x))
    });
    let list = |what: &str, all: &[String]| (!all.is_empty()).then(|| format!("{what}: {}.", all.join("; ")));
    let both: Vec<String> = [list("Gained", &gains), list("Lost", &costs)].into_iter().flatten().collect();
    if both.is_empty() {
        return "The figures are the same.".to_owned();
    }
    format!("{start}: {}", both.join(" "))
}

/// Clasps that find no usable undercut with any tilt of the cone.
fn not_held(facts: &Facts<'_>, found: &Searched) -> Vec<Finding> {
    let most =
        |i: usize| found.tried.iter().filter_map(|t| t.parts.usable_mm.get(i)).copied().fold(0.0, f64::max);
    found
        .held
        .iter()
        .enumerate()
        .filter(|(i, held)| most(*i) < held.gauge_mm)
        .map(|(i, held)| {
            let surfaces: Vec<&str> = held.surfaces.iter().map(|s| s.word()).collect();
            let says = format!(
                "{} {}: with no tilt of the cone {} are reached at a clasp's distance above the margin, along the path and \
                 along the occlusal normal; the most is {}. Scan surface under undercuts may be invented.",
                facts.tooth_words(held.tooth),
                surfaces.join(" or "),
                units::mm(held.gauge_mm),
                units::mm(most(i))
            );
            Finding::new(CHECK.id, "held_by_no_tilt", Verdict::Caution, says)
                .at(Where::tooth(held.tooth))
                .settled_by("another abutment, or undercut made by preparation or composite, as the dentist decides")
        })
        .collect()
}

fn tripod(facts: &Facts<'_>) -> Option<Finding> {
    // Without a path nothing can be marked; the finding on the path says so.
    facts.path.as_ref().ok()?;
    Some(match &facts.tripod {
        Ok(tripod) => {
            let marks: Vec<String> = tripod.marks.iter().map(|m| mark_words(facts, m)).collect();
            let says = format!(
                "Tripod marks for this path, in one plane across it: {}. Set the rod to one height; it touches all three.",
                marks.join("; ")
            );
            Finding::new(CHECK.id, "tripod_marks", Verdict::Caution, says)
        }
        Err(reason) => {
            let says = format!("No tripod marks are proposed, because {}.", reason.because);
            Finding::new(CHECK.id, "no_tripod_marks", Verdict::Caution, says)
        }
    })
}

/// A tripod mark in words: `33 lingual at (1.00, 2.00, 3.00)`.
pub fn mark_words(facts: &Facts<'_>, mark: &Mark) -> String {
    let tooth = mark.tooth.map(|t| facts.tooth_words(t));
    let surface = mark.surface.map(|s| s.word().to_owned());
    let place: Vec<String> = [tooth, surface].into_iter().flatten().collect();
    let place = if place.is_empty() { "the surface".to_owned() } else { place.join(" ") };
    format!("{place} at {}", units::place_words(&mark.at))
}
