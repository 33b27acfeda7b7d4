//! What is said of a framework: findings and questions.

use super::Placed;
use super::parts::touches;
use crate::anatomy::Span;
use crate::case::{Alloy, Arch, Clasp, Rest, Scan, SpanKind, Tooth};
use crate::estimate::{Estimate, NotMeasured, Source};
use crate::facts::Facts;
use crate::measure::framework::Framework;
use crate::measure::framework::arms::ArmFound;
use crate::measure::framework::connectors::Border;
use crate::measure::framework::laid::LaidBy;
use crate::measure::framework::opposing::Least;
use crate::measure::framework::parts::Crossing;
use crate::measure::framework::saddles::Saddle;
use crate::measure::framework::seating::{OtherPath, Strike};
use crate::measure::framework::shells::Sane;
use crate::report::{Finding, FrameworkFile, PartKind, PartShown, Question, Verdict, Where};
use crate::rules::{Rules, judge};
use crate::space::Point;
use crate::units::{self, Unit};

/// What findings of a framework name as their check.
pub(super) const CHECK: &str = "framework";

/// A figure judged by a row of the table.
fn judged(code: &str, rules: &Rules, id: &str, figure: &Estimate, unit: Unit, says: String) -> Finding {
    let rule = rules.get(id);
    Finding::new(CHECK, code, judge(figure, rule), says).figure(figure, unit).limit(rule.shown())
}

fn names(teeth: &[Tooth]) -> String {
    teeth.iter().map(Tooth::to_string).collect::<Vec<_>>().join(", ")
}

fn point(at: [f64; 3]) -> Point {
    Point::from(at)
}

pub(super) fn of_size(framework: &Framework, frame: &Scan, file: &mut FrameworkFile) {
    let mesh = framework.mesh();
    let extent = mesh.bounds().map_or(0.0, |(low, high)| (high - low).max());
    if (super::EXTENT_MM[0]..=super::EXTENT_MM[1]).contains(&extent) {
        return;
    }
    let fits = |scale: f64| (super::EXTENT_MM[0]..=super::EXTENT_MM[1]).contains(&(extent * scale));
    let own = frame.import.unit.mm();
    let units = [
        ("metres", "m", 1000.0),
        ("centimetres", "cm", 10.0),
        ("inches", "inch", 25.4),
        ("micrometres", "um", 0.001),
        ("millimetres", "mm", 1.0),
    ];
    let likely = units.iter().find(|(_, word, mm)| *word != frame.import.unit.word() && fits(mm / own));
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

pub(super) fn other_arch(arch: Arch, file: &mut FrameworkFile) {
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
    let share = units::show(100.0 * laid.touching_share, Unit::Count);
    let says = match laid.by {
        LaidBy::File => format!(
            "The framework lies in the axes of the cast as its file has it: {share} of 100 of its places touch the cast, with a median distance of {}.",
            units::mm(laid.residual_mm)
        ),
        LaidBy::Registration => format!(
            "The framework did not lie on the cast as its file has it and was laid onto it: {share} of 100 of its places touch, with a \
             median distance of {}; standard uncertainty of the position {}.",
            units::mm(laid.residual_mm),
            units::mm(laid.uncertainty_mm)
        ),
    };
    let finding = Finding::new(CHECK, "framework_laid", Verdict::Caution, says);
    file.findings.push(match laid.by {
        LaidBy::File => finding,
        LaidBy::Registration => finding.settled_by("an export of the framework in the axes of the scan"),
    });
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
        file.findings.push(Finding::new(CHECK, "arm_spreads", Verdict::Caution, says).at(place));
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
    file.findings.push(Finding::new(CHECK, "framework_path", Verdict::Caution, says));
}

pub(super) fn of_rest(
    placed: &Placed<'_, '_>,
    part: &PartShown,
    thinnest: Option<Point>,
    file: &mut FrameworkFile,
) {
    let rules = placed.facts.rules;
    let Some(&tooth) = part.teeth.first() else { return };
    let place = part.place.map_or("", |p| p.word());
    let at = placed.at_tooth(tooth, &point(part.at_mm));
    let thin = thinnest.map_or_else(|| at.clone(), |p| placed.at_tooth(tooth, &p));
    if let Some(gap) = part.gap_mm {
        let figure = placed.size(gap.max(0.0));
        let says = if gap < -rules.number("frame_strike_mm") {
            format!("The {place} rest on {tooth} lies {} inside the tooth.", units::mm(-gap))
        } else {
            format!("Under the {place} rest on {tooth} there is a gap of {}.", units::mm(gap))
        };
        file.findings
            .push(judged("rest_gap", rules, "frame_rest_gap_mm", &figure, Unit::Mm, says).at(at.clone()));
    }
    match part.thickness_mm {
        Some(mm) => {
            let says =
                format!("The {place} rest on {tooth} is {} thick over the marginal ridge.", units::mm(mm));
            let figure = placed.size(mm);
            file.findings
                .push(judged("rest_thickness", rules, "frame_rest_mm", &figure, Unit::Mm, says).at(thin));
        }
        None => {
            let what = format!("Thickness of the {place} rest on {tooth} over the marginal ridge");
            let reason = NotMeasured::new(
                "no metal lies between its seat and the end of the crown",
                "a look at the framework there",
            );
            file.findings
                .push(Finding::not_measured(CHECK, "rest_thickness_not_measured", &what, &reason).at(at));
        }
    }
}

pub(super) fn no_rest(placed: &Placed<'_, '_>, rest: &Rest, file: &mut FrameworkFile) {
    let seat = placed.facts.seat_of(rest);
    let place = rest.place.word();
    let known = seat.is_some_and(|s| s.seat.is_ok());
    let says =
        format!("The framework has no metal where the case asks for a {place} rest on {}.", rest.tooth);
    let finding = if known {
        Finding::new(CHECK, "rest_lacking", Verdict::Short, says)
    } else {
        let reason =
            NotMeasured::new("the place was not found on the scan", "a mark on the crown, or its margin");
        Finding::not_measured(
            CHECK,
            "rest_not_measured",
            &format!("The {place} rest on {}", rest.tooth),
            &reason,
        )
    };
    file.findings.push(finding.at(Where::tooth(rest.tooth)));
}

pub(super) fn rest_not_asked_for(placed: &Placed<'_, '_>, part: &PartShown, file: &mut FrameworkFile) {
    let Some(&tooth) = part.teeth.first() else { return };
    let place = part.place.map_or("", |p| p.word());
    let says = format!("Metal lies in the {place} place of {tooth}, where the case asks for no rest.");
    let at = placed.at_tooth(tooth, &point(part.at_mm));
    file.findings.push(Finding::new(CHECK, "rest_not_asked_for", Verdict::Possible, says).at(at));
}

pub(super) fn no_arm(placed: &Placed<'_, '_>, clasp: &Clasp, file: &mut FrameworkFile) {
    let (tooth, side) = (clasp.tooth, clasp.surface.word());
    let reason = if placed.axes.contains_key(&tooth) {
        NotMeasured::new(
            "no arm that ends on that surface was made out on the framework",
            "a look at the framework there, or the clasp in [design]",
        )
    } else {
        NotMeasured::new("the crown is not known", "a mark on the crown, or its margin")
    };
    let what = format!("The clasp arm on {tooth} {side}");
    file.findings.push(
        Finding::not_measured(CHECK, "arm_not_found", &what, &reason)
            .at(Where::tooth(tooth).on(clasp.surface)),
    );
}

pub(super) fn of_arm(
    placed: &Placed<'_, '_>,
    clasp: &Clasp,
    arm: &ArmFound,
    gauge_mm: f64,
    part: &PartShown,
    file: &mut FrameworkFile,
) {
    let rules = placed.facts.rules;
    let (tooth, side) = (clasp.tooth, clasp.surface);
    let at = placed.at_tooth(tooth, &arm.tip_at.unwrap_or(arm.tip)).on(side);
    match arm.tip_depth_mm {
        Some(depth) => {
            let off = depth - gauge_mm;
            let figure = placed.size(off.abs()).with(Source::Direction, 0.0).with(Source::Method, 0.02);
            let than = if off >= 0.0 { "deeper" } else { "shallower" };
            let says = format!(
                "The tip on {tooth} {} engages an undercut of {}, {} {than} than the {} wanted; the arm is {} long.",
                side.word(),
                units::mm(depth),
                units::mm(off.abs()),
                units::mm(gauge_mm),
                units::mm(arm.length_mm)
            );
            file.findings
                .push(judged("tip_depth", rules, "frame_tip_off_mm", &figure, Unit::Mm, says).at(at.clone()));
        }
        None => {
            let reason =
                NotMeasured::new("its tip does not lie against the tooth", "a look at the framework there");
            let what = format!("The undercut engaged on {tooth} {}", side.word());
            file.findings.push(Finding::not_measured(CHECK, "tip_off_tooth", &what, &reason).at(at.clone()));
        }
    }
    if let Some(mm) = part.thickness_mm {
        let says = format!(
            "The arm on {tooth} {} is {} thick at its origin and {} at its tip.",
            side.word(),
            units::mm(mm),
            part.tip_thickness_mm.map_or("-".into(), units::mm)
        );
        let figure = placed.size(mm);
        file.findings
            .push(judged("arm_thickness", rules, "frame_arm_mm", &figure, Unit::Mm, says).at(at.clone()));
    }
    let crosses = part.crosses_survey_line_at_mm.map_or_else(
        || "does not cross the survey line".to_owned(),
        |mm| format!("crosses the survey line {} from its origin", units::mm(mm)),
    );
    let force = part.spread_n.map_or(String::new(), |n| {
        format!(
            " By its own length and section it takes {} to spread it that far (straight cantilever).",
            units::show(n, Unit::N)
        )
    });
    let hold = match part.reciprocation_mm {
        Some([holds, passes]) => format!(
            " Metal opposite holds the tooth up to {} above the seat; the tip passes the height of contour {} above it.",
            units::mm(holds),
            units::mm(passes)
        ),
        None => " No rigid metal stands opposite on that tooth: nothing there meets the push of the arm."
            .to_owned(),
    };
    let says = format!("The arm on {tooth} {} {crosses}.{force}{hold}", side.word());
    file.findings.push(Finding::new(CHECK, "arm_course", Verdict::Caution, says).at(at));
}

pub(super) fn arm_not_asked_for(placed: &Placed<'_, '_>, arm: &ArmFound, file: &mut FrameworkFile) {
    let says = format!(
        "An arm that the case does not ask for ends on {} {} in an undercut of {}.",
        arm.tooth,
        arm.side.word(),
        arm.tip_depth_mm.map_or("-".into(), units::mm)
    );
    let at = placed.at_tooth(arm.tooth, &arm.tip).on(arm.side);
    file.findings.push(Finding::new(CHECK, "arm_not_asked_for", Verdict::Possible, says).at(at));
}

pub(super) fn of_crossing(placed: &Placed<'_, '_>, part: &PartShown, file: &mut FrameworkFile) {
    let rules = placed.facts.rules;
    let Some(mm) = part.thickness_mm else { return };
    let says = format!(
        "What crosses the gingival margin at {} is {} thick and {} wide; over the margin it stands off by {}.",
        names(&part.teeth),
        units::mm(mm),
        part.height_mm.map_or("-".into(), units::mm),
        part.gap_mm.map_or("-".into(), units::mm)
    );
    let at = Where { tooth: part.teeth.first().copied(), ..Where::default() }.at(&point(part.at_mm));
    let figure = placed.size(mm);
    file.findings
        .push(judged("minor_connector_thickness", rules, "frame_minor_mm", &figure, Unit::Mm, says).at(at));
}

pub(super) fn of_apart(
    placed: &Placed<'_, '_>,
    mm: f64,
    a: &Crossing,
    b: &Crossing,
    file: &mut FrameworkFile,
) {
    let says = format!(
        "What crosses the gingival margin at {} and at {} comes as near as {}.",
        names(&a.teeth),
        names(&b.teeth),
        units::mm(mm)
    );
    let at = Where { tooth: a.teeth.first().copied(), ..Where::default() }.at(&a.at);
    let figure = placed.size(mm).with(Source::Method, 0.1);
    let rules = placed.facts.rules;
    let mut finding =
        judged("minor_connectors_apart", rules, "frame_minor_apart_mm", &figure, Unit::Mm, says);
    // What is taught is a distance of comfort and cleaning, which the teeth may not leave: it is pointed out.
    if finding.verdict == Verdict::Short || finding.verdict == Verdict::Tight {
        finding.verdict = Verdict::Caution;
    }
    file.findings.push(finding.at(at));
}

pub(super) fn no_connector(placed: &Placed<'_, '_>, kind: PartKind, file: &mut FrameworkFile) {
    let because = if placed.tissue.is_empty() {
        "no metal lies over the tissue between the spans"
    } else {
        "no section of it was made out (a plate on the teeth, or a way that was not read on the scan)"
    };
    let reason = NotMeasured::new(because, "a look at the framework there, or marks of the gingival margins");
    let what = format!("Sections of the {}", kind.words());
    file.findings.push(Finding::not_measured(CHECK, "connector_not_measured", &what, &reason));
}

pub(super) fn of_connector(placed: &Placed<'_, '_>, part: &PartShown, file: &mut FrameworkFile) {
    let rules = placed.facts.rules;
    let at = || Where::default().at(&point(part.at_mm));
    let bar = part.kind == PartKind::Bar;
    if let Some(mm) = part.thickness_mm {
        let says = format!("The {} is {} thick at its thinnest section.", part.kind.words(), units::mm(mm));
        let id = if bar { "frame_bar_mm" } else { "frame_strap_mm" };
        file.findings
            .push(judged("connector_thickness", rules, id, &placed.size(mm), Unit::Mm, says).at(at()));
    }
    if let Some(mm) = part.height_mm {
        let word = if bar { "high" } else { "wide" };
        let says = format!("The {} is {} {word} at its least section.", part.kind.words(), units::mm(mm));
        let id = if bar { "frame_bar_height_mm" } else { "palatal_strap_width_mm" };
        let figure = placed.size(mm).with(Source::Method, 0.05);
        file.findings.push(judged("connector_width", rules, id, &figure, Unit::Mm, says).at(at()));
    }
    if let (true, Some(mm)) = (bar, part.least_gap_mm) {
        let says = format!(
            "Under the lingual bar the relief is {} in the middle and {} where 5 of 100 places have less.",
            part.gap_mm.map_or("-".into(), units::mm),
            units::mm(mm)
        );
        let figure = placed.size(mm);
        file.findings
            .push(judged("connector_relief", rules, "frame_bar_relief_mm", &figure, Unit::Mm, says).at(at()));
    }
}

pub(super) fn of_border(placed: &Placed<'_, '_>, border: &Border, file: &mut FrameworkFile) {
    let rules = placed.facts.rules;
    let says = format!(
        "The border over tissue comes as near as {} to the gingival margin of {}.",
        units::mm(border.distance_mm),
        border.tooth
    );
    let at = placed.at_tooth(border.tooth, &border.at);
    let figure = placed.size(border.distance_mm).with(Source::Method, 0.1);
    let mandible = placed.facts.restored.arch == Arch::Mandible;
    let id = if mandible { "bar_below_margin_other_mm" } else { "palatal_border_mm" };
    let mut finding = judged("border_to_margin", rules, id, &figure, Unit::Mm, says);
    let taught = rules.get("bar_below_margin_mm");
    if mandible && finding.verdict == Verdict::Fits && border.distance_mm < taught.number {
        finding.verdict = Verdict::Caution;
        finding.says.push_str(&format!(" Other schools teach {}.", units::mm(taught.number)));
    }
    file.findings.push(finding.at(at));
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

pub(super) fn no_base(span: &Span, file: &mut FrameworkFile) {
    let says = format!("No metal that carries resin lies over the ridge of span {}.", names(&span.teeth));
    file.findings
        .push(Finding::new(CHECK, "base_lacking", Verdict::Caution, says).at(Where::span(&span.teeth)));
}

pub(super) fn of_base(placed: &Placed<'_, '_>, span: &Span, found: &Saddle, file: &mut FrameworkFile) {
    let rules = placed.facts.rules;
    let at = || Where::span(&span.teeth).at(&found.at);
    let figure = placed.size(found.relief_mm);
    let says = format!(
        "Over the ridge of span {} the relief is {} in the middle and {} where 5 of 100 places have less.",
        names(&span.teeth),
        units::mm(found.relief_mm),
        units::mm(found.least_relief_mm)
    );
    let least = judged("base_relief", rules, "frame_base_relief_least_mm", &figure, Unit::Mm, says.clone());
    let most = judged("base_relief", rules, "frame_base_relief_most_mm", &figure, Unit::Mm, says);
    let worse = if least.verdict == Verdict::Fits { most } else { least };
    file.findings.push(worse.at(at()));
    if span.kind != SpanKind::DistalExtension || placed.facts.restored.arch != Arch::Mandible {
        return;
    }
    let share = found.reach_mm / found.crest_mm.max(0.1);
    let figure = Estimate::new(share, Vec::new()).with(Source::Method, 0.5 / found.crest_mm.max(1.0));
    let says = format!(
        "Over the ridge of span {} metal reaches {} of {} along the crest.",
        names(&span.teeth),
        units::mm(found.reach_mm),
        units::mm(found.crest_mm)
    );
    let mut reach = judged("base_reach", rules, "frame_base_reach_share", &figure, Unit::Share, says);
    if reach.verdict == Verdict::Short || reach.verdict == Verdict::Tight {
        reach.verdict = Verdict::Caution;
    }
    file.findings.push(reach.at(at()));
    let figure = placed.size(found.stop_gap_mm.max(0.0));
    let says = if touches(found.stop_gap_mm) {
        format!(
            "At the end of span {} metal touches the ridge on {}: a tissue stop.",
            names(&span.teeth),
            units::show(found.stop_mm2, Unit::Mm2)
        )
    } else {
        format!(
            "At the end of span {} nothing touches the ridge: the nearest metal is {} off.",
            names(&span.teeth),
            units::mm(found.stop_gap_mm)
        )
    };
    let place = Where::span(&span.teeth).at(&found.stop_at.unwrap_or(found.at));
    file.findings.push(judged("tissue_stop", rules, "frame_stop_gap_mm", &figure, Unit::Mm, says).at(place));
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
    moving: Option<f64>,
    file: &mut FrameworkFile,
) {
    let over = tooth.map_or("over tissue".to_owned(), |t| format!("on {t}"));
    let mut says = if least.mm < 0.0 {
        format!("Metal {over} reaches {} through the opposing surface in occlusion.", units::mm(-least.mm))
    } else {
        format!("Metal {over} leaves {} to the opposing surface in occlusion.", units::mm(least.mm))
    };
    if let Some(mm) = moving.filter(|m| *m < least.mm) {
        says.push_str(&format!(" In excursions it is {}.", units::mm(mm)));
    }
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

pub(super) fn of_file(facts: &Facts<'_>, sane: &Sane, wall: Option<(f64, Point)>, file: &mut FrameworkFile) {
    let mut say = |code: &str, at: Option<Point>, says: String, mend: &str| {
        let mut finding = Finding::new(CHECK, code, Verdict::Exceeds, says).settled_by(mend);
        if let Some(at) = at {
            finding = finding.at(Where::default().at(&at));
        }
        file.findings.push(finding);
    };
    if let Some(first) = sane.borders.first() {
        let length: f64 = sane.borders.iter().map(|b| b.amount).sum();
        say(
            "framework_open",
            Some(first.at),
            format!(
                "The framework's surface is open: {} borders, {} long in all. It has no inside that could be cast or printed.",
                sane.borders.len(),
                units::mm(length)
            ),
            "close the surface in the program that made it",
        );
    }
    if let Some(edge) = &sane.branching {
        say(
            "framework_branches",
            Some(edge.at),
            format!("At {} edges more than two triangles meet.", units::show(edge.amount, Unit::Count)),
            "unite the shells in the program that made it",
        );
    }
    if let Some(first) = sane.afloat.first() {
        say(
            "framework_afloat",
            Some(first.at),
            format!(
                "The file holds {} pieces besides the framework's main body, the first with an area of {}.",
                sane.afloat.len(),
                units::show(first.amount, Unit::Mm2)
            ),
            "join them to the framework, or take them out",
        );
    }
    if let Some(spot) = &sane.no_wall {
        say(
            "framework_sheet",
            Some(spot.at),
            format!(
                "{} of the surface have no wall behind them: a sheet without thickness.",
                units::show(spot.amount, Unit::Mm2)
            ),
            "give the sheet a thickness in the program that made it",
        );
    }
    if let Some(first) = sane.struts.first() {
        say(
            "framework_struts",
            Some(first.at),
            format!(
                "{} thin rods stand off the cast, the first {} long: are these the supports of a printing program?",
                sane.struts.len(),
                units::mm(first.amount)
            ),
            "an export of the framework without supports",
        );
    }
    if sane.inside_out {
        say(
            "framework_inside_out",
            None,
            "The framework's surface faces inward.".into(),
            "turn its normals over",
        );
    }
    if let Some((mm, at)) = wall {
        let figure = Estimate::new(mm, Vec::new()).with(Source::Method, 0.01);
        let says = format!("The thinnest wall of the framework measures {}.", units::mm(mm));
        file.findings.push(
            judged("thinnest_wall", facts.rules, "frame_wall_mm", &figure, Unit::Mm, says)
                .at(Where::default().at(&at)),
        );
    }
}

/// Density of an alloy, g/cm3; `None` where no figure is held.
pub(super) fn density(rules: &Rules, alloy: Alloy) -> Option<f64> {
    let id = match alloy {
        Alloy::CobaltChromium => "density_cobalt_chromium_share",
        Alloy::Titanium | Alloy::TitaniumAlloy => "density_titanium_share",
        Alloy::GoldTypeIv => "density_gold_type_iv_share",
        Alloy::Peek => "density_peek_share",
        Alloy::StainlessSteel | Alloy::PlatinumGold | Alloy::Acetal => return None,
    };
    Some(rules.number(id))
}
