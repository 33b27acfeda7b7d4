//! Check: room over the rests.

use super::{Check, Part, antagonist, articulation};
use crate::case::Rest;
use crate::estimate::{Estimate, NotMeasured, Source};
use crate::facts::Facts;
use crate::facts::seats::{self, SeatFact, SeatState};
use crate::measure::rest_room::{self, RestAsked, RestRoom};
use crate::measure::tooth_axes::ToothAxes;
use crate::report::{AbutmentShown, Finding, Question, RestShown, Verdict, Where};
use crate::rules::judge;
use crate::units::{self, Unit};

/// The check.
pub const CHECK: Check = Check {
    id: "rests",
    title: "Rests",
    measures: "For each rest that is asked for: the least distance along the opening direction from its place on the \
               crown to the opposing arch, exact on the triangles of both scans: within half a millimetre of the floor \
               of a prepared seat, else over a seat 2.5 mm wide. Where the chart or the scan shows no antagonist, that \
               is said. The scan shows the teeth closed; room in excursions is not seen.",
    limits: &["rest_room_mm", "antagonist_far_mm"],
    method: "room.md",
    run,
};

fn run(facts: &Facts<'_>) -> Part {
    let mut part = Part::default();
    for rest in &facts.case.file.design.rests {
        if rest.tooth.arch() != facts.restored.arch {
            continue;
        }
        let fact = facts.seat_of(rest);
        let read = read(facts, rest, fact);
        part.abutments.push(shown(facts, rest, read.as_ref().ok(), fact));
        match read {
            Ok(room) => judged(facts, rest, &room, &mut part),
            Err(reason) => part.findings.push(
                Finding::not_measured(
                    CHECK.id,
                    "rest_room",
                    &format!("Room over the {} rest on {}", rest.place.word(), rest.tooth),
                    &reason,
                )
                .at(Where::tooth(rest.tooth)),
            ),
        }
    }
    part
}

fn read(facts: &Facts<'_>, rest: &Rest, fact: Option<&SeatFact>) -> Result<RestRoom, NotMeasured> {
    if let Some(reason) = articulation::hindrance(facts) {
        return Err(reason);
    }
    let Some(other) = &facts.opposing else {
        return Err(NotMeasured::only("the other arch was not scanned"));
    };
    let anatomy = &facts.restored.anatomy;
    let Some(crown) = anatomy.crown(rest.tooth) else { return Err(seats::unknown_crown(rest.tooth)) };
    if let Some(teeth) = antagonist::missing(facts, rest) {
        return Err(antagonist::lacking(facts, rest, &teeth));
    }
    let axes = ToothAxes::of(facts.restored.mesh(), crown, anatomy)?;
    let asked = RestAsked {
        restored: &facts.restored.surface,
        opposing: &other.surface,
        crown,
        axes,
        place: rest.place,
    };
    let nothing = || {
        NotMeasured::new(
            "there is no opposing surface over it",
            "a scan of the opposing arch that reaches over the rest, or the word that nothing bites there",
        )
    };
    let room = rest_room::room(&asked);
    let least = seats::least(facts.rules);
    // Over a prepared seat its own floor counts, not the ridge that a seat would be cut into.
    match fact
        .filter(|f| f.state(least) == SeatState::Prepared)
        .and_then(|f| Some((f.seat.as_ref().ok()?, f)))
    {
        Some((seat, fact)) => fact
            .room
            .map(|over| RestRoom {
                room_mm: over.room_mm,
                at: over.at,
                seat_at: seat.at,
                per_place_mm: room.map_or(0.0, |r| r.per_place_mm).min(FLOOR_PLACE_MM),
            })
            .ok_or_else(nothing),
        None => room.ok_or_else(nothing),
    }
}

/// Most that the room over a floor changes over half a millimetre, mm: floors are level.
const FLOOR_PLACE_MM: f64 = 0.2;

fn shown(facts: &Facts<'_>, rest: &Rest, room: Option<&RestRoom>, fact: Option<&SeatFact>) -> AbutmentShown {
    let at = room.map(|r| units::json_place(&r.at));
    let shown = match fact {
        Some(fact) => {
            let mut shown = super::seats::shown(facts, fact);
            shown.at_mm = shown.at_mm.filter(|_| shown.depth_mm.is_some()).or(at).or(shown.at_mm);
            shown
        }
        None => RestShown::unread(rest.place),
    };
    let shown = RestShown { room_mm: room.map(|r| units::json(r.room_mm)), ..shown };
    AbutmentShown { rests: vec![shown], ..AbutmentShown::of(rest.tooth) }
}

fn judged(facts: &Facts<'_>, rest: &Rest, room: &RestRoom, part: &mut Part) {
    let accuracy = &facts.case.file.accuracy;
    let mut figure = Estimate::new(room.room_mm, vec![])
        .with(Source::Scan, std::f64::consts::SQRT_2 * accuracy.scan_mm)
        .with(Source::Method, room.per_place_mm / 2.0);
    if let Ok(up) = &facts.opening {
        let lever = facts.rules.number("articulation_lever_deg");
        let relation = facts.articulation.articulation_mm_at(up, &room.at, accuracy.articulation_mm, lever);
        figure = figure.with(Source::Articulation, relation);
    }
    let rule = facts.rules.get("rest_room_mm");
    let verdict = judge(&figure, rule);
    let mut says = format!(
        "Over the {} rest on {} there are {} to the opposing arch; {} are wanted for the metal.",
        rest.place.word(),
        rest.tooth,
        units::mm(room.room_mm),
        units::mm(rule.number)
    );
    let far = facts.rules.number("antagonist_far_mm");
    if room.room_mm > far {
        says +=
            &format!(" No antagonist meets it: the surface over it is more than {} away.", units::mm(far));
    }
    if let Some(tooth) = antagonist::other(facts, rest, &room.seat_at) {
        says += &format!(
            " What stands over it is {tooth}, which is not the tooth that meets this place as a rule."
        );
    }
    if verdict != Verdict::Fits {
        part.questions.push(Question {
            to: "dentist".into(),
            text: format!(
                "Please confirm the bite registration, and whether a seat for the {} rest on {} can be prepared or \
                 prepared deeper.",
                rest.place.word(),
                rest.tooth
            ),
            because: says.clone(),
        });
    }
    part.findings.push(
        Finding::new(CHECK.id, "rest_room", verdict, says)
            .figure(&figure, Unit::Mm)
            .limit(rule.shown())
            .at(Where::tooth(rest.tooth).at(&room.at).words(format!("{} rest place", rest.place.word())))
            .with("place", rest.place.word()),
    );
}
