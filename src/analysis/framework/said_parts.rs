//! What is said of the parts of a framework.

use super::Placed;
use super::parts::touches;
use super::said::{CHECK, judged, names, point};
use crate::anatomy::Span;
use crate::case::{Arch, Clasp, ClaspKind, Rest, SpanKind};
use crate::estimate::{Estimate, NotMeasured, Source};
use crate::measure::framework::arms::ArmFound;
use crate::measure::framework::connectors::Border;
use crate::measure::framework::parts::Crossing;
use crate::measure::framework::saddles::Saddle;
use crate::report::{Finding, FrameworkFile, PartKind, PartShown, Verdict, Where};
use crate::space::Point;
use crate::units::{self, Unit};

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
        let finding = if clasp.kind == ClaspKind::WroughtWire {
            // What is taught of a cast arm's origin says nothing of a wire, which is drawn.
            Finding::new(CHECK, "arm_thickness", Verdict::Caution, says).figure(&figure, Unit::Mm)
        } else {
            judged("arm_thickness", rules, "frame_arm_mm", &figure, Unit::Mm, says)
        };
        file.findings.push(finding.at(at.clone()));
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
    let mut finding = Finding::new(CHECK, "arm_course", Verdict::Caution, says).at(at);
    if let Some(mm) = part.crosses_survey_line_at_mm {
        // Sections of an arm stand up to half a millimetre apart.
        finding = finding.figure(&placed.size(mm).with(Source::Spacing, 0.15), Unit::Mm);
    }
    file.findings.push(finding);
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
        // A section is cut square to the row of teeth, which the connector follows within some degrees.
        let figure = placed.size(mm).with(Source::Method, 0.03);
        file.findings.push(judged("connector_thickness", rules, id, &figure, Unit::Mm, says).at(at()));
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
