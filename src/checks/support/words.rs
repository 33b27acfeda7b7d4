//! The answers in sentences.

use super::loads::LoadCase;
use super::scene::SceneRead;
use super::shown::{band_of, unloaded_lift_mm};
use super::{CHECK, Worked, percent};
use crate::case::Request;
use crate::estimate::NotMeasured;
use crate::facts::Facts;
use crate::measure::crest_line::CrestLine;
use crate::mechanics::answers::Answer;
use crate::mechanics::equilibrium::Unheld;
use crate::mechanics::sampling::Band;
use crate::mechanics::scene::Kind;
use crate::mechanics::sensitivity::{Difference, Figure, Input, Spread};
use crate::report::{ApartShown, Finding, Verdict, Where};
use crate::space::Point;
use crate::units::{self, Unit};

/// A hinge that turns back by less is not told of, degrees.
const LEAST_BACK_DEG: f64 = 0.05;
/// A lift under this is not told, mm.
const LEAST_LIFT_MM: f64 = 0.02;

/// Everything that is said of a case.
pub(super) fn all(facts: &Facts<'_>, worked: &Worked<'_>, apart: &[ApartShown]) -> Vec<Finding> {
    let mut all = Vec::new();
    if let (Some(runs), Some(main)) = (worked.main_runs(), worked.cases.first()) {
        for (k, spread) in runs.designs.iter().enumerate() {
            let answer = worked.answers.get(k).and_then(|a| a.first()).and_then(|a| a.as_ref().ok());
            all.extend(answer.map(|answer| shared(facts, worked, main, spread, answer)));
        }
        all.push(told(facts, worked, apart, main));
    }
    all.extend(clasps_leave(facts, worked));
    all.push(assumed(worked));
    all
}

fn caution(code: &str, says: String) -> Finding {
    Finding::new(CHECK.id, code, Verdict::Caution, says)
}

fn with_band(band: Option<Band>, show: impl Fn(f64) -> String) -> String {
    band.map_or_else(String::new, |b| format!("{} ({} to {})", show(b.median), show(b.low), show(b.high)))
}

/// What a design does under the main load.
fn shared(
    facts: &Facts<'_>,
    worked: &Worked<'_>,
    case: &LoadCase,
    spread: &Spread,
    answer: &Answer,
) -> Finding {
    let of = |figure| band_of(spread, figure);
    let mpa = |v: f64| units::show(v, Unit::Mpa);
    let mut says = format!(
        "{}, {} loaded with {}: the abutments bear {}, the ridge {}; greatest pressure {}; the distal end sinks {}.",
        kind_words(spread.kind),
        case.words,
        units::show(case.force_n(), Unit::N),
        with_band(of(Figure::AbutmentShare), percent),
        with_band(of(Figure::RidgeShare), percent),
        with_band(of(Figure::RidgePeak), mpa),
        with_band(of(Figure::DistalSink), units::mm)
    );
    says += &moments(worked, spread);
    let base = (0..answer.bases.len())
        .filter(|&i| case.on(i))
        .max_by(|&a, &b| answer.bases[a].peak_mpa.total_cmp(&answer.bases[b].peak_mpa).then(b.cmp(&a)));
    if let Some((i, at)) = base.and_then(|i| Some((i, answer.bases[i].peak_at?))) {
        says += &format!(" It presses most {}.", place(facts, worked.read, i, &at));
    }
    let roll = base.map(|i| answer.bases[i].roll_deg).filter(|r| case.one_side && r.abs() >= 0.05);
    if let Some(roll) = roll {
        let side = if roll > 0.0 { "buccal" } else { "lingual" };
        says += &format!(" The base rolls by {} with its {side} side down.", units::deg(roll.abs()));
    }
    let lift = unloaded_lift_mm(case, answer);
    if lift >= LEAST_LIFT_MM {
        says += &format!(" A rest, or a base that is not loaded, lifts by {}.", units::mm(lift));
    }
    let finding = caution("load_shared", says).with("design", spread.kind.word());
    match base {
        Some(i) => finding.at(Where::span(&worked.read.spans[i].teeth)),
        None => finding,
    }
}

fn kind_words(kind: Kind) -> &'static str {
    match kind {
        Kind::Rigid => "Rigid",
        Kind::Clamped => "Clamped",
        Kind::Hinged => "Hinged",
    }
}

/// The abutment that is tipped most, with its band.
fn moments(worked: &Worked<'_>, spread: &Spread) -> String {
    let most = worked
        .read
        .teeth
        .iter()
        .zip(&spread.abutments)
        .reduce(|best, next| if next.1[1].median.abs() > best.1[1].median.abs() { next } else { best });
    let Some((tooth, [_, moment])) = most else { return String::new() };
    let (way, sign) = if moment.median >= 0.0 { ("distal", 1.0) } else { ("mesial", -1.0) };
    let (a, b) = (sign * moment.low, sign * moment.high);
    format!(
        " {tooth} is tipped toward {way} by {} ({} to {}).",
        units::show(sign * moment.median, Unit::NMm),
        units::show(a.min(b), Unit::NMm),
        units::show(a.max(b), Unit::NMm)
    )
}

fn show(figure: Figure, v: f64) -> String {
    match figure {
        Figure::AbutmentShare | Figure::RidgeShare => {
            format!("{} % of the load", units::digits(100.0 * v, 0))
        }
        Figure::AbutmentMoment => units::show(v, Unit::NMm),
        Figure::RidgePeak | Figure::RidgeMean => units::show(v, Unit::Mpa),
        Figure::DistalSink | Figure::TipOut => units::mm(v),
    }
}

fn figure_words(figure: Figure) -> &'static str {
    match figure {
        Figure::AbutmentShare => "what the abutments bear",
        Figure::RidgeShare => "what the ridge bears",
        Figure::AbutmentMoment => "the greatest moment on an abutment",
        Figure::RidgePeak => "the greatest pressure on the ridge",
        Figure::RidgeMean => "the mean pressure on the ridge",
        Figure::DistalSink => "the sinking of the distal end",
        Figure::TipOut => "the way of a clasp tip out of its undercut",
    }
}

fn input_words(input: Input, v: f64) -> String {
    match input {
        Input::MucosaModulus => units::show(v, Unit::Mpa),
        Input::MucosaThickness | Input::Root | Input::PlateGap | Input::LoadPlace => units::mm(v),
        Input::ToothAxial | Input::ToothLateral => units::show(v, Unit::NPerMm),
        Input::HingePlay => units::deg(v),
        Input::Joint => units::show(v, Unit::NMmPerRad),
        Input::Clasp => units::show(v, Unit::Share),
    }
}

/// Hinged against rigid in one figure.
pub(super) fn apart(d: &Difference, told: bool, within: Option<[f64; 2]>) -> String {
    let more = if d.band.median >= 0.0 { "more" } else { "less" };
    let range = format!("{} to {}", show(d.figure, d.band.low), show(d.figure, d.band.high));
    let figure = figure_words(d.figure);
    let input = d.governed_by.0;
    match (told, within) {
        (true, _) => format!(
            "{figure}: hinged is {} {more} than {} ({range}) whatever the numbers",
            show(d.figure, d.band.median.abs()),
            d.against.word()
        ),
        (false, Some([low, high])) => format!(
            "{figure}: they can be told apart only where {} is {} to {} (difference over all runs {range})",
            input.words(),
            input_words(input, low),
            input_words(input, high)
        ),
        (false, None) => format!("{figure}: they cannot be told apart (difference {range})"),
    }
}

/// Where the designs can be told apart, and that the choice is not made here.
fn told(facts: &Facts<'_>, worked: &Worked<'_>, apart: &[ApartShown], case: &LoadCase) -> Finding {
    let against = |kind: Kind| -> String {
        let of = apart.iter().filter(|a| a.against == kind.word());
        let (told, not): (Vec<&ApartShown>, Vec<&ApartShown>) =
            of.partition(|a| a.told_apart || a.within.is_some());
        let mut says = format!("Hinged against {}: ", kind.word());
        let parts: Vec<&str> = told.iter().map(|a| a.says.as_str()).collect();
        says += &if parts.is_empty() { "no figure tells them apart".to_owned() } else { parts.join("; ") };
        if !not.is_empty() && !told.is_empty() {
            let rest: Vec<&str> = not.iter().filter_map(|a| a.says.split(':').next()).collect();
            says += &format!("; not told apart by {}", rest.join(", "));
        }
        says + "."
    };
    let asked = match facts.case.file.design.request {
        Some(Request::Hinge) => " A hinge that breaks the stress is asked for.",
        Some(Request::Rigid) => " A rigid design of clasps and rests is asked for.",
        Some(Request::Clamped) => " An attachment that carries moment is asked for.",
        Some(Request::Compare) | None => "",
    };
    let says = format!(
        "{} loaded, the same numbers in each run. {} {}{}{asked} The figures compare; which design these abutments and this \
         ridge get is for dentist and technician to choose.",
        case.words,
        against(Kind::Rigid),
        against(Kind::Clamped),
        turns_back(worked, case)
    );
    caution("hinged_or_rigid", says).settled_by("the judgement of dentist and technician")
}

/// That a hinge turns the wrong way under the main load, and why.
fn turns_back(worked: &Worked<'_>, case: &LoadCase) -> String {
    let hinged = worked.answers.get(2).and_then(|a| a.first()).and_then(|a| a.as_ref().ok());
    let back = hinged.and_then(|a| {
        let loaded = a.bases.iter().enumerate().filter(|(i, _)| case.on(*i)).filter_map(|(_, b)| b.hinge);
        loaded
            .filter(|h| h.turn_deg < -LEAST_BACK_DEG || h.on_stop)
            .min_by(|a, b| a.turn_deg.total_cmp(&b.turn_deg))
    });
    let Some(turn) = back else { return String::new() };
    let stop = if turn.on_stop { "onto its stop" } else { "within its play" };
    format!(
        " At the middle of the ranges the hinge turns back by {} {stop}: it stands behind the fulcrum line, about which the \
         framework goes down with it, since little holds the framework in front of that line. The tighter its stop, the more hinged is like \
         rigid; a framework that the teeth hold against turning would let the hinge work.",
        units::deg(turn.turn_deg.abs())
    )
}

/// Clasp tips that come out over the survey line under a load.
fn clasps_leave(facts: &Facts<'_>, worked: &Worked<'_>) -> Vec<Finding> {
    let mut all = Vec::new();
    for (i, known) in worked.read.clasps.iter().enumerate() {
        let Some(below) = known.below_mm else { continue };
        let mut leaves = Vec::new();
        for (kind, answers) in Kind::ALL.iter().zip(&worked.answers) {
            for (case, answer) in worked.cases.iter().zip(answers) {
                let out = answer.as_ref().ok().and_then(|a| a.clasps.get(i)).map(|c| c.along_mm);
                if let Some(out) = out.filter(|o| *o >= below) {
                    leaves.push(format!("{} with {} loaded by {}", kind.word(), case.words, units::mm(out)));
                }
            }
        }
        if !leaves.is_empty() {
            let says = format!(
                "The clasp tip on {} {}, {} below the survey line, comes out over it: {}.",
                facts.tooth_words(known.clasp.tooth),
                known.clasp.surface.word(),
                units::mm(below),
                leaves.join("; ")
            );
            let place = Where::tooth(known.clasp.tooth).on(known.clasp.surface);
            all.push(caution("clasp_leaves_undercut", says).at(place));
        }
    }
    all
}

/// What the figures rest on.
fn assumed(worked: &Worked<'_>) -> Finding {
    let mut says = "Assumed, with the ranges that stand in the table: mucosa, sockets, roots, attachment, clasps, plates, place \
                    of the load; framework and bases rigid, no friction, ridge as the scan shows it at rest."
        .to_owned();
    for taken in &worked.read.taken {
        let mut letters = taken.chars();
        let first: String = letters.next().map_or_else(String::new, |c| c.to_uppercase().collect());
        says += &format!(" {first}{}.", letters.as_str());
    }
    if let Some(runs) = worked.main_runs() {
        says += &format!(
            " {} runs; joining the faces of the ridge for them changes no share by more than {}.",
            runs.used,
            units::digits(worked.joined_share.max(0.001), 3)
        );
    }
    let worst = worked.answers.iter().flatten().filter_map(|a| a.as_ref().ok());
    let steps = worst.clone().map(|a| a.steps).max().unwrap_or(0);
    let left = worst.map(|a| a.balance_share).fold(0.0, f64::max);
    if steps > 0 {
        let order = if left <= 1e-9 { "a billionth" } else { "a millionth" };
        says += &format!(
            " Every search ended, after {steps} steps at most; force and moment balance to {order} of the load."
        );
    }
    caution("support_assumed", says).with("balance_share", left).with("steps", steps)
}

/// A place under a base in words: along the crest from its front, and to which side.
pub(super) fn place(facts: &Facts<'_>, read: &SceneRead<'_>, base: usize, at: &Point) -> String {
    let (span, model) = (read.spans[base], &read.scene.bases[base]);
    let line = span.crest.as_ref().ok().and_then(|c| CrestLine::new(c));
    let near = line.and_then(|l| {
        l.stations(0.5)
            .into_iter()
            .min_by(|a, b| (a.1 - at).norm_squared().total_cmp(&(b.1 - at).norm_squared()))
    });
    let Some((s, crest)) = near else { return format!("at {}", units::place_words(at)) };
    let from = span.front.map_or_else(|| "its front end".to_owned(), |t| facts.tooth_words(t));
    let aside = (at - crest).dot(&model.outward);
    let side = if aside > 0.0 { "buccal" } else { "lingual" };
    if aside.abs() < 0.5 {
        format!("on the crest {} behind {from}", units::mm(s))
    } else {
        format!("{} behind {from}, {} {side} of the crest", units::mm(s), units::mm(aside.abs()))
    }
}

/// A design that nothing holds under a load.
pub(super) fn unheld(
    facts: &Facts<'_>,
    read: &SceneRead<'_>,
    kind: Kind,
    case: &LoadCase,
    why: &Unheld,
) -> Finding {
    let body = |index: usize| {
        if index < read.teeth.len() {
            format!("the abutment {}", read.teeth[index])
        } else if kind == Kind::Hinged && index < read.teeth.len() + read.spans.len() {
            "the base".to_owned()
        } else {
            "the framework".to_owned()
        }
    };
    let because = match why {
        Unheld::NoLoad => "no load acts".to_owned(),
        Unheld::NoEnd => "the search for its rest position did not end".to_owned(),
        Unheld::Turns { body: of, through, axis } => format!(
            "{} is free to move about the line through {} along {}: nothing there resists the load",
            body(*of),
            units::place_words(&(read.scene.origin + through)),
            units::direction_words(axis)
        ),
        Unheld::Slides { body: of, along } => {
            format!(
                "{} is free to move along {}: nothing there resists the load",
                body(*of),
                units::direction_words(along)
            )
        }
    };
    let reason = NotMeasured::new(because, "more rests or clasps in [design], or another load in [support]");
    let what = format!("{} with {} loaded", kind_words(kind), case.words);
    let teeth: Vec<_> = case.teeth.iter().map(|t| facts.tooth_words(*t)).collect();
    Finding::not_measured(CHECK.id, "not_held", &what, &reason).with("teeth", teeth.join(", "))
}
