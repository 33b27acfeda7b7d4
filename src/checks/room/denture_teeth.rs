//! Room for the denture teeth along the whole span: height, corridor, length.

use super::attachment::{crown_points, estimate};
use super::{CHECK, Part};
use crate::anatomy::Span;
use crate::anatomy::arch_form::{crown_depth_mm, crown_width_mm};
use crate::case::{SpanKind, Tooth};
use crate::facts::Facts;
use crate::measure::clearance::Antagonist;
use crate::measure::crest_line::CrestLine;
use crate::measure::denture_teeth::{self as measured, Asked, TeethRoom, Wanted};
use crate::measure::site_room::COVERED;
use crate::report::{DentureTooth, Finding, Opposing, SpanShown, Station, TeethLength, Verdict, Where};
use crate::rules::judge;
use crate::space::Point;
use crate::units::{self, Unit};

/// Standard uncertainty of an average crown's width, as a share of it: the spread of crown widths is about a twelfth.
const WIDTH_SHARE: f64 = 0.08;

/// A span with what stands over it.
#[derive(Clone, Copy)]
pub(super) struct Over<'a> {
    pub facts: &'a Facts<'a>,
    pub span: &'a Span,
    pub line: &'a CrestLine,
    pub antagonist: &'a Antagonist<'a>,
    pub name: &'a str,
}

impl Over<'_> {
    /// Whether the cheek lies along `across` (and not against it).
    pub(super) fn cheek_along(&self, at: &Point, across: &crate::space::Vector) -> bool {
        let frame = self.facts.restored.anatomy.frame.as_ref();
        frame.is_ok_and(|f| (at - f.frame.origin).dot(across) >= 0.0)
    }

    fn room(&self) -> Option<TeethRoom> {
        let facts = self.facts;
        let mut teeth = self.span.teeth.clone();
        if let Some(front) = self.span.front {
            teeth.sort_by_key(|t| (t.along() - front.along()).unsigned_abs());
        }
        let teeth: Vec<Wanted> =
            teeth.into_iter().map(|tooth| Wanted { tooth, width_mm: width_mm(tooth) }).collect();
        let back = if self.span.kind == SpanKind::Bounded { self.span.back } else { None };
        measured::room(&Asked {
            teeth: &teeth,
            crest: self.line,
            restored: &facts.restored.surface,
            antagonist: self.antagonist,
            front: &crown_points(facts, self.span.front),
            back: &crown_points(facts, back),
            height_mm: facts.rules.number("denture_tooth_room_mm"),
        })
    }
}

fn width_mm(tooth: Tooth) -> f64 {
    crown_width_mm(tooth.arch(), tooth.place())
}

/// Whether the height over a stretch of crest is judged: teeth stand over all of it, not a ridge whose denture shares the
/// space.
fn under_teeth(shown: &SpanShown, [from, to]: [f64; 2]) -> bool {
    let mut there = shown.profile.iter().filter(|s| (from - 1e-6..=to + 1e-6).contains(&s.s_mm)).peekable();
    there.peek().is_some() && there.all(|s| s.opposing == Opposing::Tooth)
}

/// Whether any height over the span is judged.
pub(super) fn judged(shown: &SpanShown) -> bool {
    shown.profile.iter().any(|s| s.opposing == Opposing::Tooth)
        && shown.profile.iter().all(|s| s.opposing != Opposing::Ridge)
}

/// Measures the teeth of a span into `shown`, and says what they find.
pub(super) fn measure(over: &Over<'_>, shown: &mut SpanShown, part: &mut Part) {
    let Some(room) = over.room() else { return };
    shown.denture_teeth = room.places.iter().map(|p| place_shown(over, p)).collect();
    shown.teeth_length =
        Some(TeethLength { there_mm: units::json(room.length_mm), needed_mm: units::json(room.needed_mm) });
    part.findings.extend(height(over, &room, shown));
    part.findings.extend(missing(over, &room, shown));
    part.findings.extend(length(over, &room));
    part.findings.extend(corridor(over, shown));
}

fn place_shown(over: &Over<'_>, p: &measured::Place) -> DentureTooth {
    let cheek = over.cheek_along(&p.at, &p.across.into_inner());
    DentureTooth {
        tooth: p.tooth,
        along_crest_mm: p.along_crest_mm.map(units::json),
        height_mm: p.height_mm.map(units::json),
        at_mm: units::json_place(&p.at),
        corridor_mm: p.corridor_mm.map(|[a, b]| if cheek { [a, b] } else { [b, a] }.map(units::json)),
        width_mm: width_mm(p.tooth),
        beyond_mm: units::json(p.beyond_mm),
    }
}

/// Stretches of the crest over which no opposing surface stands, mm along it.
fn bare(shown: &SpanShown) -> Vec<[f64; 2]> {
    let none = |s: &&Station| s.opposing == Opposing::None;
    let runs = shown.profile.chunk_by(|a, b| none(&a) == none(&b));
    runs.filter(|run| run.first().is_some_and(|s| none(&s)))
        .filter_map(|run| Some([run.first()?.s_mm, run.last()?.s_mm]))
        .collect()
}

/// Says where opposing surface is missing over the crest, and which heights are not measured for it.
fn missing(over: &Over<'_>, room: &TeethRoom, shown: &SpanShown) -> Option<Finding> {
    let bare = bare(shown);
    let at = shown.profile.iter().find(|s| s.opposing == Opposing::None)?;
    let stretches: Vec<String> =
        bare.iter().map(|[from, to]| format!("{} to {}", units::mm(*from), units::mm(*to))).collect();
    let teeth: Vec<String> =
        room.places.iter().filter(|p| p.covered < COVERED).map(|p| p.tooth.to_string()).collect();
    let (verdict, heights) = if teeth.is_empty() {
        (Verdict::Caution, String::new())
    } else {
        (Verdict::NotMeasured, format!(" The height for a tooth is not measured at {}.", teeth.join(", ")))
    };
    let says = format!(
        "Over {} there is no opposing surface here: {} along the crest. What is missing is not counted as room.{heights}",
        over.name,
        stretches.join(", ")
    );
    Some(
        Finding::new(CHECK.id, "no_opposing_surface_in_part", verdict, says)
            .at(Where::span(&over.span.teeth).at(&Point::from(at.at_mm)))
            .settled_by(
                "a scan of the opposing arch without a hole over the span, or the word that nothing bites there",
            ),
    )
}

/// The least height over the teeth against that of a tooth on its base.
fn height(over: &Over<'_>, room: &TeethRoom, shown: &SpanShown) -> Option<Finding> {
    let facts = over.facts;
    let judged: Vec<&measured::Place> =
        room.places.iter().filter(|p| under_teeth(shown, p.along_crest_mm)).collect();
    let (least, mm) =
        judged.iter().filter_map(|p| Some((*p, p.height_mm?))).min_by(|a, b| a.1.total_cmp(&b.1))?;
    let rule = facts.rules.get("denture_tooth_room_mm");
    let figure = estimate(facts, mm, &least.at, 0.0, 0.0);
    let each: Vec<String> =
        room.places.iter().filter_map(|p| Some(format!("{} {}", p.tooth, units::mm(p.height_mm?)))).collect();
    let says = format!(
        "Height for the denture teeth over {}: {}. {} are comfortable for a tooth on a resin base; where less is there a metal \
         base or a metal occlusal surface is taught.",
        over.name,
        each.join(", "),
        units::mm(rule.number)
    );
    // Less than is comfortable is no bar: other bases and teeth are taught for it, and the limit has no source.
    let verdict = match judge(&figure, rule) {
        Verdict::Fits => Verdict::Fits,
        _ => Verdict::Caution,
    };
    let at =
        Where::span(&over.span.teeth).at(&least.at).words(format!("{}, under {}", over.name, least.tooth));
    Some(
        Finding::new(CHECK.id, "denture_tooth_height", verdict, says)
            .figure(&figure, Unit::Mm)
            .limit(rule.shown())
            .at(at)
            .with("tooth", least.tooth.to_string()),
    )
}

/// Teeth that find no length.
fn length(over: &Over<'_>, room: &TeethRoom) -> Option<Finding> {
    let lacking: Vec<_> = room.places.iter().filter(|p| p.beyond_mm > 0.0).collect();
    let last = lacking.last()?;
    let missing = room.needed_mm - room.length_mm;
    let spread: f64 =
        room.places.iter().map(|p| width_mm(p.tooth) * WIDTH_SHARE).map(|s| s * s).sum::<f64>().sqrt();
    if missing <= 2.0 * spread {
        return None;
    }
    let figure = crate::estimate::Estimate::new(room.length_mm, vec![])
        .with(crate::estimate::Source::Scan, over.facts.case.file.accuracy.scan_mm)
        .with(crate::estimate::Source::Method, spread);
    let each: Vec<String> =
        lacking.iter().map(|p| format!("{} lacks {}", p.tooth, units::mm(p.beyond_mm))).collect();
    let says = format!(
        "The teeth of {} are {} long together as average crowns, {} are there: {}. Smaller teeth, or one tooth less, are for \
         dentist and technician to choose.",
        over.name,
        units::mm(room.needed_mm),
        units::mm(room.length_mm),
        each.join(", ")
    );
    Some(
        Finding::new(CHECK.id, "denture_teeth_too_long", Verdict::Caution, says)
            .figure(&figure, Unit::Mm)
            .at(Where::span(&over.span.teeth).at(&last.at))
            .with("missing_mm", units::json(missing))
            .settled_by("the set-up, with the teeth that are chosen"),
    )
}

/// Teeth over which the height wanted is narrower than a denture tooth.
fn corridor(over: &Over<'_>, shown: &SpanShown) -> Option<Finding> {
    let share = over.facts.rules.number("tooth_corridor_share");
    let narrow: Vec<(&DentureTooth, f64, f64)> = shown
        .denture_teeth
        .iter()
        .filter_map(|t| {
            let [buccal, lingual] = t.corridor_mm?;
            let wanted = share * crown_depth_mm(t.tooth.arch(), t.tooth.place());
            let half = wanted / 2.0;
            (buccal < half || lingual < half).then_some((t, buccal + lingual, wanted))
        })
        .collect();
    let (worst, wide, wanted) =
        narrow.iter().min_by(|a, b| (a.1 - a.2).total_cmp(&(b.1 - b.2)).then(a.0.tooth.cmp(&b.0.tooth)))?;
    let [buccal, lingual] = worst.corridor_mm?;
    let figure = crate::estimate::Estimate::new(*wide, vec![])
        .with(crate::estimate::Source::Method, 0.25)
        .with(crate::estimate::Source::Marks, 0.25);
    let teeth: Vec<String> = narrow.iter().map(|(t, _, _)| t.tooth.to_string()).collect();
    let says = format!(
        "Over {} the height for a tooth on its base is narrower than a denture tooth centred on the crest at {}: at {} it \
         reaches {} toward the cheek and {} toward the tongue; a tooth of {} is {} wide. Cheek and tongue are not on the scan.",
        over.name,
        teeth.join(", "),
        worst.tooth,
        units::mm(buccal),
        units::mm(lingual),
        units::show(share, Unit::Share),
        units::mm(*wanted)
    );
    Some(
        Finding::new(CHECK.id, "denture_tooth_corridor", Verdict::Caution, says)
            .figure(&figure, Unit::Mm)
            .at(Where::span(&over.span.teeth).at(&Point::from(worst.at_mm)))
            .settled_by("the set-up in the articulator"),
    )
}
