//! What is said of a framework: findings and questions.

use super::Placed;
pub(super) use super::said_file::*;
pub(super) use super::said_parts::*;
use crate::case::{Arch, Scan, Tooth};
use crate::estimate::{Estimate, NotMeasured, Source};
use crate::facts::Facts;
use crate::measure::framework::Framework;
use crate::measure::framework::brought::Brought;
use crate::measure::framework::opposing::Least;
use crate::measure::framework::seating::{OtherPath, Strike};
use crate::report::{Finding, FrameworkFile, Question, Verdict, Where};
use crate::rules::{Rules, judge};
use crate::space::Point;
use crate::units::{self, Unit};

/// What findings of a framework name as their check.
pub(super) const CHECK: &str = "framework";

/// A figure judged by a row of the table.
pub(super) fn judged(
    code: &str,
    rules: &Rules,
    id: &str,
    figure: &Estimate,
    unit: Unit,
    says: String,
) -> Finding {
    let rule = rules.get(id);
    Finding::new(CHECK, code, judge(figure, rule), says).figure(figure, unit).limit(rule.shown())
}

pub(super) fn names(teeth: &[Tooth]) -> String {
    teeth.iter().map(Tooth::to_string).collect::<Vec<_>>().join(", ")
}

pub(super) fn point(at: [f64; 3]) -> Point {
    Point::from(at)
}

/// How long frameworks are, mm: what tells one unit from another needs no more than this.
const USUAL_MM: f64 = 50.0;

pub(super) fn of_size(framework: &Framework, frame: &Scan, file: &mut FrameworkFile) {
    let extent = super::extent_mm(framework);
    if super::is_likely(extent) {
        return;
    }
    let fits = |scale: f64| super::is_likely(extent * scale);
    let own = frame.import.unit.mm();
    let units = [
        ("metres", "m", 1000.0),
        ("centimetres", "cm", 10.0),
        ("inches", "inch", 25.4),
        ("micrometres", "um", 0.001),
        ("millimetres", "mm", 1.0),
    ];
    // Of two that fit, the one that makes it as long as frameworks are.
    let off = |mm: f64| (extent * mm / own / USUAL_MM).max(USUAL_MM / (extent * mm / own));
    let fitting = units.iter().filter(|(_, word, mm)| *word != frame.import.unit.word() && fits(mm / own));
    let likely = fitting.min_by(|a, b| off(a.2).total_cmp(&off(b.2)));
    let mend = likely.map_or_else(
        || "an export of the framework in a known unit".to_owned(),
        |(name, word, _)| format!("--unit {word}: its numbers look like {name}"),
    );
    let says = format!(
        "The framework would measure {} at its longest in the unit it was read in; a framework measures {} to {}.",
        units::mm(extent),
        units::mm(super::EXTENT_MM[0]),
        units::mm(super::EXTENT_MM[1])
    );
    file.findings
        .push(Finding::new(CHECK, "framework_unlikely_unit", Verdict::NotMeasured, says).settled_by(mend));
}

pub(super) fn no_place(reason: &NotMeasured, file: &mut FrameworkFile) {
    let what = "Where the framework lies on the cast";
    file.findings.push(Finding::not_measured(CHECK, "framework_not_in_place", what, reason));
}

/// Says that a framework lies on the other arch, and why nothing is measured.
pub(super) fn lies_on(arch: Arch, facts: &Facts<'_>, file: &mut FrameworkFile) -> NotMeasured {
    other_arch(arch, file);
    NotMeasured::new(
        format!("it lies on the {}, not on the {}", arch.word(), facts.restored.arch.word()),
        "the framework of the restored arch, or the other case",
    )
}

fn other_arch(arch: Arch, file: &mut FrameworkFile) {
    let says = format!("The framework lies on the {}, which this case does not restore.", arch.word());
    file.findings.push(
        Finding::new(CHECK, "framework_other_arch", Verdict::Exceeds, says)
            .settled_by("the framework of the restored arch, or restored_arch in the case file"),
    );
}

pub(super) fn no_path(facts: &Facts<'_>, file: &mut FrameworkFile) {
    if let Err(reason) = &facts.path {
        let what = "The way of the framework into its seat";
        file.findings.push(Finding::not_measured(CHECK, "seating_not_measured", what, reason));
    }
}

pub(super) fn of_laid(placed: &Placed<'_, '_>, file: &mut FrameworkFile) {
    let laid = &placed.laid;
    if let Some(brought) = &placed.brought {
        moved(placed, brought, file);
        return;
    }
    let share = units::show(100.0 * laid.touching_share, Unit::Count);
    let says = format!(
        "The framework lies in the axes of the cast as its file has it: {share} of 100 of its places touch the cast, with a median \
         distance of {}.",
        units::mm(laid.residual_mm)
    );
    file.findings.push(Finding::new(CHECK, "framework_laid", Verdict::Caution, says));
}

/// What is said of a framework whose file had other axes.
fn moved(placed: &Placed<'_, '_>, brought: &Brought, file: &mut FrameworkFile) {
    let mesh = placed.framework.mesh();
    let count = mesh.vertices().len().max(1) as f64;
    let middle: crate::space::Vector =
        mesh.vertices().iter().map(|p| p.coords).sum::<crate::space::Vector>() / count;
    let [mm, deg] = brought.moved(&(brought.motion.inverse() * Point::from(middle)));
    let says = format!(
        "The framework's file has other axes than the cast. It was moved onto the cast by {} and turned by {}: {} of 100 of its          places touch there, off by {} (root mean square), which is in the uncertainty of every figure.",
        units::mm(mm),
        units::deg(deg),
        units::show(100.0 * brought.touching_share, Unit::Count),
        units::mm(brought.residual_mm)
    );
    let figure = Estimate::new(brought.residual_mm, Vec::new()).with(Source::Method, placed.off_mm);
    let finding = Finding::new(CHECK, "framework_moved", Verdict::Caution, says).figure(&figure, Unit::Mm);
    file.findings.push(finding.settled_by("an export of the framework in the axes of the scan"));
}

pub(super) fn of_seating(
    placed: &Placed<'_, '_>,
    rigid: &[Strike],
    arms: &[Strike],
    best: &OtherPath,
    file: &mut FrameworkFile,
) {
    let rules = placed.facts.rules;
    let worst = rigid.first();
    let by = placed.size(worst.map_or(0.0, |s| s.by_mm));
    let says = match worst {
        Some(s) if s.by_mm > rules.number("frame_strike_mm") => format!(
            "Rigid metal strikes {} on the way in: by {} at the most, {} above the seat, from {} above it on; {} places.",
            placed.tooth_struck(&s.on_the_way).map_or("tissue".into(), |t| format!("tooth {t}")),
            units::mm(s.by_mm),
            units::mm(s.lift_mm),
            units::mm(s.from_mm),
            rigid.len()
        ),
        _ => format!(
            "From {} above the seat down no rigid metal enters the cast by more than {} along the path of the case.",
            units::mm(crate::measure::framework::seating::FROM_MM),
            units::mm(worst.map_or(0.0, |s| s.by_mm))
        ),
    };
    let mut finding = judged("framework_strikes", rules, "frame_strike_mm", &by, Unit::Mm, says);
    if let Some(s) = worst {
        finding =
            finding.at(Where { tooth: placed.tooth_struck(&s.on_the_way), ..Where::default() }.at(&s.at));
    }
    file.findings.push(finding);
    for s in arms {
        let says = format!(
            "A clasp arm has to spread by {} on the way in, most of it {} above the seat.",
            units::mm(s.by_mm),
            units::mm(s.lift_mm)
        );
        let place = Where { tooth: placed.tooth_struck(&s.on_the_way), ..Where::default() }.at(&s.at);
        let finding = Finding::new(CHECK, "arm_spreads", Verdict::Caution, says).at(place);
        file.findings.push(finding.figure(&placed.size(s.by_mm), Unit::Mm));
    }
    let limit = rules.number("frame_strike_mm");
    let says = if best.from_case_deg == 0.0 && best.by_mm <= limit {
        "The path of the case is a path for this framework; none of the directions tried within 15 degrees is better.".to_owned()
    } else if best.by_mm <= limit {
        format!(
            "This framework would go in along a path {} from that of the case, {}, where no rigid metal strikes.",
            units::deg(best.from_case_deg),
            units::direction_words(&best.direction)
        )
    } else {
        format!(
            "No path within 15 degrees of that of the case was found along which no rigid metal strikes; the best, {} from it, still strikes by {}.",
            units::deg(best.from_case_deg),
            units::mm(best.by_mm)
        )
    };
    let finding = Finding::new(CHECK, "framework_path", Verdict::Caution, says);
    let figure = placed.size(best.by_mm);
    file.findings.push(finding.figure(&figure, Unit::Mm).limit(rules.get("frame_strike_mm").shown()));
}

/// What is said of the turns that are left on the way in; `play_deg` about left, anterior and the path, both ways.
pub(super) fn of_play(play_deg: &[[f64; 2]; 3], lift_mm: f64, file: &mut FrameworkFile) {
    let names = ["the line from right to left", "that from behind to the front", "the path"];
    let each = play_deg.iter().zip(names);
    let each: Vec<String> = each
        .map(|([a, b], name)| format!("{} and {} about {name}", units::deg(*a), units::deg(*b)))
        .collect();
    let says =
        format!("{} over its seat the framework turns freely by {}.", units::mm(lift_mm), each.join(", "));
    let most = play_deg.iter().flatten().copied().fold(0.0, f64::max);
    let figure = Estimate::new(most, Vec::new()).with(Source::Method, 0.02);
    let finding = Finding::new(CHECK, "seating_play", Verdict::Caution, says);
    file.findings.push(finding.figure(&figure, Unit::Deg));
}

pub(super) fn clear_of_tori(file: &mut FrameworkFile) {
    let says = "No metal lies over a torus.";
    file.findings.push(Finding::new(CHECK, "clear_of_tori", Verdict::Fits, says));
}

pub(super) fn over_torus(placed: &Placed<'_, '_>, least: f64, at: Option<Point>, file: &mut FrameworkFile) {
    let says = if least < 0.0 {
        format!("Metal lies {} inside a torus.", units::mm(-least))
    } else {
        format!("Over a torus the relief is {} at the least.", units::mm(least))
    };
    let figure = placed.size(least);
    let mut finding = judged("torus_relief", placed.facts.rules, "relief_mm", &figure, Unit::Mm, says);
    if let Some(at) = at {
        finding = finding.at(Where::default().at(&at));
    }
    file.findings.push(finding);
}

pub(super) fn no_opposing(file: &mut FrameworkFile) {
    let reason = NotMeasured::new(
        "the case gives no opposing arch in a known relation",
        "a scan of the opposing arch",
    );
    let what = "Clearance from the opposing arch";
    let mut finding = Finding::not_measured(CHECK, "opposing_not_measured", what, &reason);
    finding.verdict = Verdict::Caution;
    file.findings.push(finding);
}

fn apart(placed: &Placed<'_, '_>, mm: f64) -> Estimate {
    let accuracy = &placed.facts.case.file.accuracy;
    Estimate::new(mm, Vec::new())
        .with(Source::Scan, accuracy.scan_mm)
        .with(Source::Articulation, accuracy.articulation_mm)
        .with(Source::Spacing, placed.off_mm)
}

pub(super) fn of_opposing(
    placed: &Placed<'_, '_>,
    least: &Least,
    tooth: Option<Tooth>,
    file: &mut FrameworkFile,
) {
    let over = on(tooth);
    let says = if least.mm < 0.0 {
        format!("Metal {over} reaches {} through the opposing surface in occlusion.", units::mm(-least.mm))
    } else {
        format!("Metal {over} leaves {} to the opposing surface in occlusion.", units::mm(least.mm))
    };
    let at = Where { tooth, ..Where::default() }.at(&least.at);
    let figure = apart(placed, least.mm);
    file.findings.push(
        judged("opposing_clearance", placed.facts.rules, "frame_opposing_mm", &figure, Unit::Mm, says).at(at),
    );
    if tooth.is_some() && least.mm < 0.0 {
        file.questions.push(Question {
            to: "dentist".into(),
            text: format!("Does metal {over} meet the opposing teeth when you close the scans by hand?"),
            because: "The scans let it reach through; the bite may have been recorded off.".into(),
        });
    }
}

fn on(tooth: Option<Tooth>) -> String {
    tooth.map_or("over tissue".to_owned(), |t| format!("on {t}"))
}

/// What a finding of a clearance in motion is called.
pub(super) const IN_EXCURSION: &str = "opposing_in_excursion";

/// What is said of metal that comes nearer to the opposing arch in motion than in occlusion.
pub(super) fn of_excursion(
    placed: &Placed<'_, '_>,
    (still, moving): (&Least, &Least),
    tooth: Option<Tooth>,
    file: &mut FrameworkFile,
) {
    let over = on(tooth);
    let says = if moving.mm < 0.0 {
        format!(
            "In excursions metal {over} would reach {} through the opposing surface (in occlusion it leaves {}): it would meet it \
             before the teeth that guide.",
            units::mm(-moving.mm),
            units::mm(still.mm)
        )
    } else {
        format!(
            "In excursions metal {over} leaves {} to the opposing surface (in occlusion {}).",
            units::mm(moving.mm),
            units::mm(still.mm)
        )
    };
    in_excursion(placed, moving, tooth, says, file);
}

pub(super) fn clear_in_excursions(
    placed: &Placed<'_, '_>,
    least: &Least,
    tooth: Option<Tooth>,
    positions: usize,
    file: &mut FrameworkFile,
) {
    let says = format!(
        "In {positions} positions of excursions the least clearance of metal from the opposing arch is {}, {}.",
        units::mm(least.mm),
        on(tooth)
    );
    in_excursion(placed, least, tooth, says, file);
}

fn in_excursion(
    placed: &Placed<'_, '_>,
    least: &Least,
    tooth: Option<Tooth>,
    says: String,
    file: &mut FrameworkFile,
) {
    let at = Where { tooth, ..Where::default() }.at(&least.at);
    let figure = apart(placed, least.mm);
    let mut finding =
        judged(IN_EXCURSION, placed.facts.rules, "frame_opposing_mm", &figure, Unit::Mm, says).at(at);
    // The joint is that of the average person or as the case says, the way of the teeth is reckoned: it is pointed out.
    if finding.verdict != Verdict::Fits {
        finding.verdict = Verdict::Caution;
        finding = finding.settled_by("the articulator, or the joint's own settings in the case file");
    }
    file.findings.push(finding);
}

pub(super) fn no_excursions(facts: &Facts<'_>, file: &mut FrameworkFile) {
    let because = match &facts.relation {
        Err(reason) => reason.because.clone(),
        Ok(_) => "the arches do not occlude as scanned, or the front of the arch is not known".to_owned(),
    };
    let reason = NotMeasured::new(because, "scans of both arches in occlusion");
    let what = "Clearance from the opposing arch in excursions";
    let mut finding = Finding::not_measured(CHECK, "excursions_not_measured", what, &reason);
    finding.verdict = Verdict::Caution;
    file.findings.push(finding);
}

pub(super) fn clear_of_opposing(
    placed: &Placed<'_, '_>,
    mm: f64,
    at: &Point,
    tooth: Option<Tooth>,
    file: &mut FrameworkFile,
) {
    let says = format!(
        "All metal stays clear of the opposing arch in occlusion, by {} at the least.",
        units::mm(mm)
    );
    let at = Where { tooth, ..Where::default() }.at(at);
    let figure = apart(placed, mm);
    file.findings.push(
        judged("opposing_clearance", placed.facts.rules, "frame_opposing_mm", &figure, Unit::Mm, says).at(at),
    );
}
