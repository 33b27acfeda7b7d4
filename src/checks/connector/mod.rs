//! Check: Where the connector may run.

mod borders;
mod others;

pub(super) use borders::border_lengths;
pub(crate) use borders::borders;

use super::{Check, Part};
use crate::case::Tooth;
use crate::estimate::{Estimate, NotMeasured, Source};
use crate::facts::Facts;
use crate::measure::connector::{LingualWay, Wall, WallEnd, WayStation};
use crate::report::{ConnectorShown, Finding, Question, TorusSide, TorusState, Verdict, Where};
use crate::rules::{Rule, judge};
use crate::space::Point;
use crate::units::{self, Unit};

/// The check.
pub const CHECK: Check = Check {
    id: "connector",
    title: "Where the connector may run",
    measures: "Along the lingual side of the mandible, at stations at most 1 mm apart: gingival margin, tori, and the depth \
               to the floor of the mouth along the tissue, from the probe values of the case file where there are any, \
               else as the scan has recorded it. From them the room for a lingual bar by two schools, and what speaks \
               for and against a sublingual bar, a lingual plate, a cingulum bar and a labial bar. No scan records the floor of the \
               mouth in function: without probe values nothing is said to fit. Across the palate, in sections square to the midline: what is \
               clear of the gingival margins and of tori, and from it the room for a strap, an anterior-posterior strap, a U-shaped \
               connector and a plate. Where the hard palate ends behind, no scan marks.",
    limits: &[
        "bar_below_margin_mm",
        "bar_height_mm",
        "bar_depth_mm",
        "bar_below_margin_other_mm",
        "bar_depth_other_mm",
        "plate_depth_mm",
        "sublingual_below_margin_mm",
        "sublingual_height_mm",
        "probe_reading_mm",
        "keepout_margin_mm",
        "cingulum_bar_height_mm",
        "labial_below_margin_mm",
        "palatal_border_mm",
        "palatal_strap_width_mm",
        "palatal_ap_strap_mm",
        "palatal_lateral_strap_mm",
        "palatal_horseshoe_mm",
    ],
    method: "connector.md",
    run,
};

/// Standard uncertainty of the lingual margin that a section starts from, mm: interpolation between marks.
const MARGIN_MM: f64 = 0.3;
/// The same of the place where a recorded wall turns into the floor, mm: the chords of the section.
const FLOOR_MM: f64 = 0.15;

fn run(facts: &Facts<'_>) -> Part {
    let mut part = Part::default();
    if let Some(way) = &facts.palatal_way {
        super::palate::judged(facts, way, &mut part);
        return part;
    }
    let Some(way) = &facts.lingual_way else { return part };
    let way = match way {
        Ok(way) => way,
        Err(reason) => {
            let what = "Room for a lingual connector";
            part.findings.push(Finding::not_measured(CHECK.id, "way_not_measured", what, reason));
            return part;
        }
    };
    judged(facts, way, &mut part);
    part
}

/// A bar as one school teaches it.
struct School<'a> {
    below: &'a Rule,
    depth: &'a Rule,
    height: &'a Rule,
}

/// What a verdict on a bar needs.
#[derive(Clone, Copy)]
struct Sure {
    /// The floor was probed.
    probed: bool,
    /// The wall is measured all along.
    whole: bool,
}

impl Sure {
    /// The verdict as far as it may be said.
    fn verdict(self, judged: Verdict) -> Verdict {
        match judged {
            _ if !self.probed => Verdict::Caution,
            Verdict::Fits if !self.whole => Verdict::Caution,
            other => other,
        }
    }
}

/// The room for a bar, where it is least.
struct Room<'w> {
    station: &'w WayStation,
    figure: Estimate,
    rule: Rule,
    verdict: Verdict,
}

fn judged(facts: &Facts<'_>, way: &LingualWay, part: &mut Part) {
    let rules = facts.rules;
    let school = |below, depth| School {
        below: rules.get(below),
        depth: rules.get(depth),
        height: rules.get("bar_height_mm"),
    };
    let first = school("bar_below_margin_mm", "bar_depth_mm");
    let other = school("bar_below_margin_other_mm", "bar_depth_other_mm");
    let rooms = [&first, &other].map(|s| bar_room(facts, way, s).map(|r| (s, r)));
    let [Some((_, room)), Some((_, second))] = &rooms else {
        let reason = way.stations.iter().find_map(|s| s.wall.as_ref().err().cloned()).unwrap_or_else(|| {
            NotMeasured::new("no station of the way could be measured", "margins that lie on the scan")
        });
        let what = "Room for a lingual connector";
        part.findings.push(Finding::not_measured(CHECK.id, "way_not_measured", what, &reason));
        return;
    };
    let probed = way.stations.iter().all(|s| s.probed_mm.is_some());
    // Where the wall is not known a torus may stand unseen, so that nothing is said to fit.
    let whole = way.stations.iter().all(|s| s.wall.is_ok());
    let sure = Sure { probed, whole };
    for (school, room) in rooms.iter().flatten() {
        part.connectors.push(bar_shown(facts, school, room, sure));
    }
    part.connectors.push(others::sublingual(facts, way));
    part.connectors.push(others::plate(facts, way));
    part.connectors.extend(others::plate_round_tori(facts, way));
    part.connectors.push(others::cingulum_bar(facts, way));
    part.connectors.push(others::labial_bar(facts, way));
    part.findings.push(bar_finding(facts, way, (room, second), sure));
    part.findings.extend(tori_in_way(facts, way));
    part.findings.extend(possible_tori(facts));
    part.findings.extend(gaps(facts, way));
    part.findings.extend(border_lengths(facts));
    if !probed {
        let (finding, question) = unprobed(facts, way);
        part.findings.push(finding);
        part.questions.push(question);
    }
}

/// Least room for a bar: from the margin down to where it may reach, the stretch that it has to keep from the margin
/// included. `None` where no station has a depth.
fn bar_room<'w>(facts: &Facts<'_>, way: &'w LingualWay, school: &School<'_>) -> Option<Room<'w>> {
    let keep = facts.rules.number("keepout_margin_mm");
    let below = school.below.number;
    let (room_mm, station) = way
        .stations
        .iter()
        .filter_map(|s| s.free_band_mm(below, keep).map(|band| (below + band, s)))
        .min_by(|a, b| a.0.total_cmp(&b.0))?;
    let figure = depth_estimate(facts, station, room_mm);
    let rule = Rule { number: school.depth.number.max(below + school.height.number), ..school.depth.clone() };
    let verdict = judge(&figure, &rule);
    Some(Room { station, figure, rule, verdict })
}

fn depth_estimate(facts: &Facts<'_>, station: &WayStation, mm: f64) -> Estimate {
    let estimate = Estimate::new(mm, Vec::new());
    if station.probed_mm.is_some() {
        return estimate.with(Source::Method, facts.rules.number("probe_reading_mm"));
    }
    estimate
        .with(Source::Scan, facts.case.file.accuracy.scan_mm)
        .with(Source::Marks, MARGIN_MM)
        .with(Source::Method, FLOOR_MM)
}

fn bar_shown(facts: &Facts<'_>, school: &School<'_>, room: &Room<'_>, sure: Sure) -> ConnectorShown {
    let mut reasons = vec![format!(
        "{} from the margin and {} high, depth {} or more ({})",
        units::mm(school.below.number),
        units::mm(school.height.number),
        units::mm(room.rule.number),
        school.depth.shown().source,
    )];
    reasons.push(station_words(facts, room.station));
    reasons.extend(torus_reasons(facts, room.station));
    if !sure.whole {
        reasons.push("the wall is not measured all along the way".into());
    }
    if !sure.probed {
        reasons.push("the floor of the mouth was not probed: the scan shows it in one position only".into());
    }
    ConnectorShown {
        kind: "lingual_bar".into(),
        verdict: sure.verdict(room.verdict),
        room_mm: Some(units::json(room.figure.value)),
        required_mm: Some(units::json(room.rule.number)),
        at_mm: Some(units::json_place(&room.station.margin)),
        reasons,
    }
}

/// Depth of a station in words, with its place.
fn station_words(facts: &Facts<'_>, station: &WayStation) -> String {
    let place =
        format!("at {}, {} along the arch", facts.tooth_words(station.tooth), units::mm(station.s_mm));
    let recorded = match &station.wall {
        Ok(wall) => format!("the scan records {}", recorded_words(wall)),
        Err(reason) => format!("the wall is not measured on the scan, because {}", reason.because),
    };
    match station.probed_mm {
        Some(mm) => format!(
            "least {place}: probed depth {} (between probed teeth interpolated), {recorded}",
            units::mm(mm)
        ),
        None => format!("least {place}: {recorded}"),
    }
}

fn recorded_words(wall: &Wall) -> String {
    let end = match wall.end {
        WallEnd::Floor => "to where the wall turns into the floor",
        WallEnd::ScanBorder => "to the border of the scan",
    };
    format!("{} along the tissue ({} vertical) {end}", units::mm(wall.along_mm), units::mm(wall.vertical_mm))
}

fn torus_reasons(facts: &Facts<'_>, station: &WayStation) -> Vec<String> {
    let tori = station.wall.as_ref().map(|w| w.tori.as_slice()).unwrap_or_default();
    tori.iter()
        .filter_map(|t| {
            let torus = facts.tori.get(t.torus)?;
            Some(format!(
                "{} torus, {} high, its upper edge {} below the margin of {} along the tissue, its lower edge {}",
                side_word(torus.side),
                units::mm(torus.height_mm),
                units::mm(t.from_mm),
                facts.tooth_words(station.tooth),
                units::mm(t.to_mm),
            ))
        })
        .collect()
}

pub(super) fn side_word(side: Option<TorusSide>) -> &'static str {
    match side {
        Some(TorusSide::Left) => "left",
        Some(TorusSide::Right) => "right",
        Some(TorusSide::Midline) => "midline",
        None => "a",
    }
}

/// The finding of the bar: what the way offers, and what is left where a bar does not fit.
fn bar_finding(
    facts: &Facts<'_>,
    way: &LingualWay,
    (room, second): (&Room<'_>, &Room<'_>),
    sure: Sure,
) -> Finding {
    let figure = |r: &Room<'_>| {
        format!("{} for {} ({})", units::mm(r.figure.value), units::mm(r.rule.number), r.verdict.words())
    };
    let both = format!("{}; by the other school {}", figure(room), figure(second));
    let (code, verdict, says) = if !sure.probed {
        (
            "bar_not_judged",
            Verdict::Caution,
            format!(
                "A lingual bar is not judged, since the floor of the mouth was not probed. As the scan records it: {both}."
            ),
        )
    } else {
        // A connector is a choice: where a bar does not fit a plate is left, and the dentist decides.
        let verdict = sure.verdict(room.verdict);
        let verdict = if verdict == Verdict::Short { Verdict::Caution } else { verdict };
        let words = match room.verdict {
            Verdict::Fits if !sure.whole => "A lingual bar fits where the wall was measured",
            Verdict::Fits => "A lingual bar fits",
            Verdict::Tight => "A lingual bar is tight",
            _ => {
                "A lingual bar does not fit; a lingual plate, shaped round what is in the way, is left for the dentist to decide"
            }
        };
        ("lingual_bar", verdict, format!("{words}: room {both}."))
    };
    let tori = torus_reasons(facts, room.station);
    let because = if tori.is_empty() { String::new() } else { format!(" In the way: {}.", tori.join("; ")) };
    let (from, to) = (facts.tooth_words(way.teeth.0), facts.tooth_words(way.teeth.1));
    let says = format!("{says}{because} Way from {from} to {to}; {}.", station_words(facts, room.station));
    let place = Where::tooth(room.station.tooth).at(&room.station.margin).words(format!(
        "lingual of {}, {} along the arch from {from}",
        facts.tooth_words(room.station.tooth),
        units::mm(room.station.s_mm)
    ));
    Finding::new(CHECK.id, code, verdict, says)
        .figure(&room.figure, Unit::Mm)
        .limit(room.rule.shown())
        .at(place)
        .with("probed", sure.probed)
}

fn least_depth(facts: &Facts<'_>, way: &LingualWay) -> (Option<f64>, Option<Point>, Vec<String>) {
    let least =
        way.stations.iter().filter_map(|s| s.depth_mm().map(|d| (d, s))).min_by(|a, b| a.0.total_cmp(&b.0));
    match least {
        Some((mm, s)) => (Some(units::json(mm)), Some(s.margin), vec![station_words(facts, s)]),
        None => (None, None, Vec::new()),
    }
}

/// Each torus that the way meets, where its upper edge comes nearest to the margin.
fn tori_in_way(facts: &Facts<'_>, way: &LingualWay) -> Vec<Finding> {
    (0..facts.tori.len())
        .filter_map(|i| {
            let (from, station) = way
                .stations
                .iter()
                .filter_map(|s| {
                    let wall = s.wall.as_ref().ok()?;
                    wall.tori.iter().find(|t| t.torus == i).map(|t| (t.from_mm, s))
                })
                .min_by(|a, b| a.0.total_cmp(&b.0))?;
            let torus = facts.tori.get(i)?;
            let says = format!(
                "The {} torus, {} high, lies in the way: its upper edge comes to {} below the margin of {} along the tissue.",
                side_word(torus.side),
                units::mm(torus.height_mm),
                units::mm(from),
                facts.tooth_words(station.tooth)
            );
            let place = Where::tooth(station.tooth).at(&torus.summit);
            let figure = depth_estimate(facts, &WayStation { probed_mm: None, ..station.clone() }, from);
            Some(
                Finding::new(CHECK.id, "torus_in_way", Verdict::Caution, says)
                    .figure(&figure, Unit::Mm)
                    .at(place),
            )
        })
        .collect()
}

/// Possible tori are kept out of the verdict, and it says so.
pub(super) fn possible_tori(facts: &Facts<'_>) -> Option<Finding> {
    let possible = facts.tori.iter().filter(|t| t.state == TorusState::Possible).count();
    (possible > 0).then(|| {
        let says = format!(
            "The room for a connector does not count {possible} possible torus/tori; settle them first."
        );
        Finding::new(CHECK.id, "possible_tori_not_counted", Verdict::Caution, says)
            .settled_by("feel them in the mouth, then [marks] tori_at for each that is one")
    })
}

/// Stretches where no wall could be measured.
fn gaps(facts: &Facts<'_>, way: &LingualWay) -> Option<Finding> {
    let mut teeth: Vec<Tooth> = way.stations.iter().filter(|s| s.wall.is_err()).map(|s| s.tooth).collect();
    teeth.dedup();
    let reason = way.stations.iter().find_map(|s| s.wall.as_ref().err())?;
    let names: Vec<String> = teeth.iter().map(|t| facts.tooth_words(*t)).collect();
    let says =
        format!("The lingual wall was not measured at {}, because {}.", names.join(", "), reason.because);
    let finding = Finding::new(CHECK.id, "way_with_gaps", Verdict::Caution, says);
    Some(match &reason.settled_by {
        Some(what) => finding.settled_by(what.clone()),
        None => finding,
    })
}

/// Which teeth to probe: where the recorded wall is least, the middle, and both ends.
fn unprobed(facts: &Facts<'_>, way: &LingualWay) -> (Finding, Question) {
    let least = way
        .stations
        .iter()
        .filter_map(|s| s.wall.as_ref().ok().map(|w| (w.along_mm, s.tooth)))
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map(|l| l.1);
    let middle = way.stations.iter().map(|s| s.tooth).min_by_key(|t| (t.place(), t.number()));
    let mut teeth: Vec<Tooth> =
        [Some(way.teeth.0), Some(way.teeth.1), least, middle].into_iter().flatten().collect();
    teeth.sort_by_key(|t| t.along());
    teeth.dedup();
    let names: Vec<String> = teeth.iter().map(|t| facts.tooth_words(*t)).collect();
    let list = names.join(", ");
    let finding = Finding::new(
        CHECK.id,
        "floor_not_probed",
        Verdict::Caution,
        format!("A scan does not record the floor of the mouth in function. Probe the depth from the lingual margin to the raised floor at {list}."),
    )
    .settled_by(format!("[probe] lingual_depth_mm with values at {list}"));
    let question = Question {
        to: "dentist".into(),
        text: format!(
            "How deep is it from the lingual gingival margin to the floor of the mouth, tongue raised, at {list}?"
        ),
        because:
            "the scan shows the floor of the mouth in one position only, and the lingual bar depends on it"
                .into(),
    };
    (finding, question)
}
