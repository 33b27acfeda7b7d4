//! Check: room over the rests.

use super::{Check, Part, articulation};
use crate::case::{Rest, RestPlace};
use crate::estimate::{Estimate, NotMeasured, Source};
use crate::facts::Facts;
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
               crown to the opposing arch, over a seat 2.5 mm wide, exact on the triangles of both scans. The depth of \
               a prepared seat is not measured yet. The scan shows the teeth closed; room in excursions is not seen.",
    limits: &["rest_room_mm"],
    method: "room.md",
    run,
};

fn word(place: RestPlace) -> &'static str {
    match place {
        RestPlace::Mesial => "mesial",
        RestPlace::Distal => "distal",
        RestPlace::Cingulum => "cingulum",
        RestPlace::Incisal => "incisal",
    }
}

fn run(facts: &Facts<'_>) -> Part {
    let mut part = Part::default();
    for rest in &facts.case.file.design.rests {
        if rest.tooth.arch() != facts.restored.arch {
            continue;
        }
        let read = read(facts, rest);
        part.abutments.push(shown(rest, read.as_ref().ok()));
        match read {
            Ok(room) => judged(facts, rest, &room, &mut part),
            Err(reason) => part.findings.push(
                Finding::not_measured(
                    CHECK.id,
                    "rest_room",
                    &format!("Room over the {} rest on {}", word(rest.place), rest.tooth),
                    &reason,
                )
                .at(Where::tooth(rest.tooth)),
            ),
        }
    }
    part
}

fn read(facts: &Facts<'_>, rest: &Rest) -> Result<RestRoom, NotMeasured> {
    if let Some(reason) = articulation::hindrance(facts) {
        return Err(reason);
    }
    let Some(other) = &facts.opposing else {
        return Err(NotMeasured::only("the other arch was not scanned"));
    };
    let anatomy = &facts.restored.anatomy;
    let Some(crown) = anatomy.crown(rest.tooth) else {
        return Err(NotMeasured::new(
            format!("the crown of {} is not known", rest.tooth),
            format!("[marks] margins for {}", rest.tooth),
        ));
    };
    let axes = ToothAxes::of(facts.restored.mesh(), crown, anatomy)?;
    let asked = RestAsked {
        restored: &facts.restored.surface,
        opposing: &other.surface,
        crown,
        axes,
        place: rest.place,
    };
    rest_room::room(&asked).ok_or_else(|| NotMeasured::only("there is no opposing surface over it"))
}

fn shown(rest: &Rest, room: Option<&RestRoom>) -> AbutmentShown {
    AbutmentShown {
        rests: vec![RestShown {
            place: rest.place,
            depth_mm: None,
            room_mm: room.map(|r| units::json(r.room_mm)),
            at_mm: room.map(|r| units::json_place(&r.at)),
        }],
        ..AbutmentShown::of(rest.tooth)
    }
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
    let says = format!(
        "Over the {} rest on {} there are {} to the opposing arch; {} are wanted for the metal.",
        word(rest.place),
        rest.tooth,
        units::mm(room.room_mm),
        units::mm(rule.number)
    );
    if verdict != Verdict::Fits {
        part.questions.push(Question {
            to: "dentist".into(),
            text: format!(
                "Please confirm the bite registration, and whether a seat for the {} rest on {} can be prepared or \
                 prepared deeper.",
                word(rest.place),
                rest.tooth
            ),
            because: says.clone(),
        });
    }
    part.findings.push(
        Finding::new(CHECK.id, "rest_room", verdict, says)
            .figure(&figure, Unit::Mm)
            .limit(rule.shown())
            .at(Where::tooth(rest.tooth).at(&room.at).words(format!("{} rest place", word(rest.place))))
            .with("place", word(rest.place)),
    );
}
