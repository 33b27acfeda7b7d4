//! Check: rest seats, prepared or not, and how much depth is still lacking.

use super::{Check, Part};
use crate::case::RestPlace;
use crate::estimate::{Estimate, Source};
use crate::facts::Facts;
use crate::facts::seats::{self, SeatFact, SeatState};
use crate::measure::rest_seat::{self, FloorAgainst, RestSeat};
use crate::measure::tooth_axes::ToothAxes;
use crate::report::{
    AbutmentShown, Finding, FloorBeside, Preparation, Prepared, Question, RestShown, Verdict, Where,
};
use crate::rules::{Rule, judge};
use crate::units::{self, Unit};

/// The check.
pub const CHECK: Check = Check {
    id: "seats",
    title: "Rest seats",
    measures: "For each rest that is asked for, and for every other place of a known crown where a rest can lie: the \
               recess there, its depth at the marginal ridge (in the incisal edge; along the tooth on a cingulum) \
               under what the tooth is taken to have been, its length and width, the angle of its floor, and how sure \
               it is that it was prepared. Fillings, wear and fractures can look alike; below the confidence wanted \
               nothing is claimed, and the case file's rests settle it.",
    limits: &[
        "seat_confidence_least",
        "seat_depth_mm",
        "seat_width_mm",
        "seat_length_share",
        "seat_floor_deg",
        "seat_cingulum_depth_mm",
        "seat_cingulum_length_mm",
        "seat_incisal_depth_mm",
        "seat_incisal_length_mm",
    ],
    method: "rest_seats.md",
    run,
};

fn run(facts: &Facts<'_>) -> Part {
    let mut part = Part::default();
    let least = seats::least(facts.rules);
    for rest in &facts.case.file.design.rests {
        if rest.tooth.arch() != facts.restored.arch {
            continue;
        }
        match facts.seat_of(rest) {
            Some(fact) => named(facts, fact, least, &mut part),
            None => part.findings.push(lacking_crown(facts, rest.tooth, rest.place)),
        }
    }
    let other =
        |state| facts.seats.iter().filter(move |s| !s.named && s.seat.is_ok() && s.state(least) == state);
    for fact in other(SeatState::Prepared) {
        unnamed(facts, fact, &mut part);
    }
    let doubtful: Vec<&SeatFact> = other(SeatState::Uncertain).collect();
    part.findings.extend(uncertain(facts, &doubtful));
    part
}

fn lacking_crown(facts: &Facts<'_>, tooth: crate::case::Tooth, place: RestPlace) -> Finding {
    let what = format!("The seat for the {} rest on {}", place.word(), facts.tooth_words(tooth));
    let reason = match facts.restored.anatomy.crown(tooth) {
        None => seats::unknown_crown(tooth),
        Some(_) => rest_seat::no_such_place(tooth, place),
    };
    Finding::not_measured(CHECK.id, "seat", &what, &reason).at(Where::tooth(tooth))
}

/// Least depth wanted at a place.
fn depth_rule<'f>(facts: &'f Facts<'_>, place: RestPlace) -> &'f Rule {
    facts.rules.get(match place {
        RestPlace::Mesial | RestPlace::Distal => "seat_depth_mm",
        RestPlace::Cingulum => "seat_cingulum_depth_mm",
        RestPlace::Incisal => "seat_incisal_depth_mm",
    })
}

fn depth(facts: &Facts<'_>, seat: &RestSeat) -> Option<Estimate> {
    let figure = Estimate::new(seat.depth_mm?, vec![])
        .with(Source::Scan, facts.case.file.accuracy.scan_mm)
        .with(Source::Method, seat.method_mm);
    Some(figure)
}

/// Depth still lacking; a place that was not prepared lacks all of it.
fn lacking_mm(facts: &Facts<'_>, fact: &SeatFact, seat: &RestSeat) -> f64 {
    let wanted = depth_rule(facts, fact.place).number;
    match fact.state(seats::least(facts.rules)) {
        SeatState::Ordinary => wanted,
        _ => (wanted - seat.depth_mm.unwrap_or(0.0)).max(0.0),
    }
}

fn place_words(facts: &Facts<'_>, fact: &SeatFact) -> String {
    format!("{} {}", facts.tooth_words(fact.tooth), fact.place.word())
}

/// A rest that the case names.
fn named(facts: &Facts<'_>, fact: &SeatFact, least: f64, part: &mut Part) {
    let place = place_words(facts, fact);
    let at = Where::tooth(fact.tooth);
    let seat = match &fact.seat {
        Ok(seat) => seat,
        Err(reason) => {
            let what = format!("The seat for the rest on {place}");
            part.findings.push(Finding::not_measured(CHECK.id, "seat", &what, reason).at(at));
            return;
        }
    };
    let at = at.at(&seat.at).words(format!("{} rest place", fact.place.word()));
    let sure = units::show(fact.confidence, Unit::Share);
    let rule = depth_rule(facts, fact.place);
    let finding = match (fact.state(least), depth(facts, seat)) {
        (SeatState::Prepared, Some(figure)) => {
            let verdict = match judge(&figure, rule) {
                Verdict::Tight => Verdict::Caution,
                other => other,
            };
            let says = format!(
                "{place}: a prepared seat (confidence {sure}), {} deep{}; {} are wanted.{}",
                figure.words(Unit::Mm),
                depth_place(fact.place),
                units::mm(rule.number),
                size_words(seat)
            );
            Finding::new(CHECK.id, "seat_depth", verdict, says).figure(&figure, Unit::Mm).limit(rule.shown())
        }
        (SeatState::Uncertain, Some(figure)) => {
            let says = format!(
                "{place}: a recess {} deep{} may be a prepared seat (confidence {sure}, {} are wanted to say so).{}",
                figure.words(Unit::Mm),
                depth_place(fact.place),
                units::show(least, Unit::Share),
                size_words(seat)
            );
            Finding::new(CHECK.id, "seat_uncertain", Verdict::Possible, says)
                .figure(&figure, Unit::Mm)
                .limit(rule.shown())
                .settled_by("the dentist, whether a seat has been prepared there")
        }
        _ => Finding::new(
            CHECK.id,
            "no_seat",
            Verdict::Caution,
            format!(
                "{place}: no prepared seat is seen; the tooth looks as it has grown (confidence {}). {} are wanted.",
                units::show(1.0 - fact.confidence, Unit::Share),
                units::mm(rule.number)
            ),
        )
        .limit(rule.shown())
        .settled_by("the dentist, who prepares the seat"),
    };
    let finding = finding
        .at(at.clone())
        .with("place", fact.place.word())
        .with("confidence", units::json(fact.confidence));
    part.findings.push(finding);
    if fact.state(least) != SeatState::Ordinary {
        part.findings.extend(dimensions(facts, fact, seat, &at));
    }
    prepare(facts, fact, seat, part);
}

fn depth_place(place: RestPlace) -> &'static str {
    match place {
        RestPlace::Mesial | RestPlace::Distal => " at the marginal ridge",
        RestPlace::Cingulum => " along the tooth",
        RestPlace::Incisal => " in the edge",
    }
}

fn size_words(seat: &RestSeat) -> String {
    let mut words = Vec::new();
    words.extend(seat.length_mm.map(|mm| format!("{} long", units::mm(mm))));
    words.extend(seat.width_mm.map(|mm| format!("{} wide", units::mm(mm))));
    words.extend(seat.floor.map(|f| {
        let beside = match f.against {
            FloorAgainst::ProximalSurface => "proximal surface",
            FloorAgainst::OcclusalNormal => "occlusal normal",
        };
        format!("its floor at {} to the {beside}", units::deg(f.angle_deg))
    }));
    if words.is_empty() { String::new() } else { format!(" It is {}.", words.join(", ")) }
}

/// How well length, width and floor can be read, mm and degrees: the corners of a seat are rounded.
const SIZE_MM: f64 = 0.3;
const FLOOR_DEG: f64 = 5.0;

/// Findings on what of a seat is clearly smaller or steeper than taught.
fn dimensions(facts: &Facts<'_>, fact: &SeatFact, seat: &RestSeat, at: &Where) -> Vec<Finding> {
    let (rules, place) = (facts.rules, place_words(facts, fact));
    let mut out = Vec::new();
    let mut small = |code: &str, mm: Option<f64>, wanted: f64, rule: &Rule, what: &str| {
        let Some(mm) = mm else { return };
        let figure = Estimate::new(mm, vec![]).with(Source::Method, SIZE_MM);
        if mm < wanted - 2.0 * SIZE_MM {
            let says = format!(
                "{place}: the seat is {} {what}; {} are taught.",
                figure.words(Unit::Mm),
                units::mm(wanted)
            );
            let finding = Finding::new(CHECK.id, code, Verdict::Caution, says).figure(&figure, Unit::Mm);
            out.push(finding.limit(rule.shown()).at(at.clone()));
        }
    };
    match fact.place {
        RestPlace::Mesial | RestPlace::Distal => {
            let (width, length) = (rules.get("seat_width_mm"), rules.get("seat_length_share"));
            small("seat_width", seat.width_mm, width.number, width, "wide");
            if let Some(crown) = crown_length(facts, fact) {
                small("seat_length", seat.length_mm, length.number * crown, length, "long");
            }
        }
        RestPlace::Cingulum => {
            let rule = rules.get("seat_cingulum_length_mm");
            small("seat_length", seat.length_mm, rule.number, rule, "long");
        }
        RestPlace::Incisal => {
            let rule = rules.get("seat_incisal_length_mm");
            small("seat_length", seat.length_mm, rule.number, rule, "long");
        }
    }
    let rule = rules.get("seat_floor_deg");
    if let Some(floor) = seat.floor.filter(|f| f.angle_deg > rule.number + 2.0 * FLOOR_DEG) {
        let figure = Estimate::new(floor.angle_deg, vec![]).with(Source::Method, FLOOR_DEG);
        let says = format!(
            "{place}: the floor stands at {} and falls outward; under {} is taught, so that the rest does not slide off.",
            figure.words(Unit::Deg),
            units::deg(rule.number)
        );
        let finding = Finding::new(CHECK.id, "seat_floor", Verdict::Caution, says).figure(&figure, Unit::Deg);
        out.push(finding.limit(rule.shown()).at(at.clone()));
    }
    out
}

fn crown_length(facts: &Facts<'_>, fact: &SeatFact) -> Option<f64> {
    let anatomy = &facts.restored.anatomy;
    let axes = ToothAxes::of(facts.restored.mesh(), anatomy.crown(fact.tooth)?, anatomy).ok()?;
    Some(2.0 * axes.half_mm[0])
}

/// What depth is still lacking, as something to prepare and a question.
fn prepare(facts: &Facts<'_>, fact: &SeatFact, seat: &RestSeat, part: &mut Part) {
    let lacking = lacking_mm(facts, fact, seat);
    if lacking <= 0.0 {
        return;
    }
    let (place, rule) = (place_words(facts, fact), depth_rule(facts, fact.place));
    let gains = format!(
        "a seat {} deep{} ({}); the dentist decides, and enamel thickness is not on the scan",
        units::mm(rule.number),
        depth_place(fact.place),
        rule.source
    );
    part.questions.push(Question {
        to: "dentist".into(),
        text: format!("Please confirm whether a seat is to be prepared, or prepared deeper, on {place}."),
        because: format!(
            "{} of depth are lacking there against {}.",
            units::mm(lacking),
            units::mm(rule.number)
        ),
    });
    part.preparation.push(Preparation {
        tooth: fact.tooth,
        place: format!("{} rest seat", fact.place.word()),
        removal_mm: units::json(lacking),
        gains,
        height_mm: None,
        width_mm: None,
        at_mm: Some(units::json_place(&seat.at)),
        volume_mm3: None,
        uncertainty_mm: depth(facts, seat).map(|d| units::json(d.standard())),
    });
}

/// A prepared seat that no rest of the case uses.
fn unnamed(facts: &Facts<'_>, fact: &SeatFact, part: &mut Part) {
    let Ok(seat) = &fact.seat else { return };
    let Some(figure) = depth(facts, seat) else { return };
    let says = format!(
        "{}: a prepared seat is seen (confidence {}), {} deep{}, that no rest of the case uses.{}",
        place_words(facts, fact),
        units::show(fact.confidence, Unit::Share),
        figure.words(Unit::Mm),
        depth_place(fact.place),
        size_words(seat)
    );
    part.findings.push(
        Finding::new(CHECK.id, "seat_found", Verdict::Caution, says)
            .figure(&figure, Unit::Mm)
            .at(Where::tooth(fact.tooth).at(&seat.at))
            .settled_by("the rest in `[design] rests`, where one is meant to lie there")
            .with("place", fact.place.word())
            .with("confidence", units::json(fact.confidence)),
    );
    part.abutments.push(AbutmentShown { rests: vec![shown(facts, fact)], ..AbutmentShown::of(fact.tooth) });
}

/// One finding for all recesses that may be seats and that the case does not name.
fn uncertain(facts: &Facts<'_>, doubtful: &[&SeatFact]) -> Option<Finding> {
    let first = doubtful.first()?;
    let words: Vec<String> = doubtful
        .iter()
        .map(|f| format!("{} ({})", place_words(facts, f), units::show(f.confidence, Unit::Share)))
        .collect();
    let says = format!(
        "A recess that may be a prepared seat, or a deep fossa, is seen at {}; nothing is concluded from it.",
        words.join(", ")
    );
    let finding = Finding::new(CHECK.id, "seats_uncertain", Verdict::Possible, says)
        .at(Where::tooth(first.tooth))
        .settled_by("naming those that are seats in `[design] rests`");
    Some(finding)
}

/// A place as the report carries it.
pub(super) fn shown(facts: &Facts<'_>, fact: &SeatFact) -> RestShown {
    let seat = fact.seat.as_ref().ok();
    let state = seat.map(|_| fact.state(seats::least(facts.rules)));
    // What is no seat has no depth of one.
    let seat_depth = seat.filter(|_| state != Some(SeatState::Ordinary)).and_then(|s| depth(facts, s));
    let recess = seat.filter(|_| seat_depth.is_some());
    let json = |mm: Option<f64>| mm.map(units::json);
    RestShown {
        place: fact.place,
        depth_mm: seat_depth.as_ref().map(|d| units::json(d.value)),
        room_mm: fact.room.map(|r| units::json(r.room_mm)),
        at_mm: seat.map(|s| units::json_place(&s.at)),
        named: fact.named,
        prepared: state.map(|s| match s {
            SeatState::Prepared => Prepared::Prepared,
            SeatState::Ordinary => Prepared::OrdinaryFossa,
            SeatState::Uncertain => Prepared::Uncertain,
        }),
        confidence: seat.map(|_| units::json(fact.confidence)),
        depth_uncertainty_mm: seat_depth.map(|d| units::json(d.standard())),
        length_mm: json(recess.and_then(|s| s.length_mm)),
        width_mm: json(recess.and_then(|s| s.width_mm)),
        floor_angle_deg: json(recess.and_then(|s| s.floor).map(|f| f.angle_deg)),
        floor_angle_to: recess.and_then(|s| s.floor).map(|f| match f.against {
            FloorAgainst::ProximalSurface => FloorBeside::ProximalSurface,
            FloorAgainst::OcclusalNormal => FloorBeside::OcclusalNormal,
        }),
        lacking_mm: json(seat.map(|s| lacking_mm(facts, fact, s))),
    }
}
