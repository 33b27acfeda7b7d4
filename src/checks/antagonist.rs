//! Which teeth of the other arch meet a rest place, and whether they are there.
//!
//! In a regular occlusion a lower tooth meets its upper namesake and the one before it, an upper tooth its lower namesake
//! and the one behind it; toward the midline the first of each pair, away from it the second.

use crate::case::{Arch, Rest, RestPlace, Tooth};
use crate::estimate::NotMeasured;
use crate::facts::Facts;
use crate::space::Point;
use crate::units;

/// Teeth of the other arch that meet a place as a rule.
fn meeting(tooth: Tooth, place: RestPlace) -> Vec<Tooth> {
    let Some(namesake) = Tooth::at(tooth.arch().opposing(), tooth.along()) else { return Vec::new() };
    let second = match tooth.arch() {
        Arch::Mandible => (tooth.place() > 1).then(|| namesake.mesial()),
        Arch::Maxilla => namesake.distal(),
    };
    match (place, tooth.arch()) {
        (RestPlace::Distal, Arch::Mandible) | (RestPlace::Mesial, Arch::Maxilla) => vec![namesake],
        _ => std::iter::once(namesake).chain(second).collect(),
    }
}

fn gone(facts: &Facts<'_>, tooth: Tooth) -> bool {
    let chart = facts.case.file.chart.as_ref();
    chart.is_some_and(|c| {
        [&c.missing, &c.extractions].iter().any(|list| list.contains(&tooth))
            && ![&c.pontics, &c.implants].iter().any(|list| list.contains(&tooth))
    })
}

/// The teeth that meet a rest, where the chart says that all of them are missing.
pub(super) fn missing(facts: &Facts<'_>, rest: &Rest) -> Option<Vec<Tooth>> {
    let teeth = meeting(rest.tooth, rest.place);
    (!teeth.is_empty() && teeth.iter().all(|&t| gone(facts, t))).then_some(teeth)
}

/// Why the room over a rest without antagonist is no figure, with the distance to what stands over it.
pub(super) fn lacking(facts: &Facts<'_>, rest: &Rest, teeth: &[Tooth]) -> NotMeasured {
    let names: Vec<String> = teeth.iter().map(|&t| facts.tooth_words(t)).collect();
    let seat = facts.seat_of(rest);
    let over = match seat.and_then(|s| s.room) {
        Some(room) => format!("; what stands {} over it is a ridge or a neighbour", units::mm(room.room_mm)),
        None => String::new(),
    };
    NotMeasured::new(
        format!("its antagonist is missing ({}){over}", names.join(", ")),
        "where the opposing denture or bridge will stand: its plan, or a mark of the occlusal plane",
    )
}

/// A tooth that stands over a place though it is not one that meets it as a rule; told only where the other arch's crowns
/// are known.
pub(super) fn other(facts: &Facts<'_>, rest: &Rest, at: &Point) -> Option<Tooth> {
    let (other, opening) = (facts.opposing.as_ref()?, facts.opening.as_ref().ok()?);
    let hit = other.surface.cast(at, opening, f64::INFINITY)?;
    let corners = other.mesh().faces().get(hit.face as usize)?;
    let number = corners.iter().filter_map(|&v| other.anatomy.tooth_of.get(v as usize)).copied().max()?;
    let tooth = Tooth::fdi(number)?;
    let meets = meeting(rest.tooth, rest.place);
    // One place along the row either way is within what occlusions differ by.
    let near = meets.iter().any(|m| (m.along() - tooth.along()).abs() <= 1);
    (!near).then_some(tooth)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lower_teeth_meet_their_namesake_and_the_one_before_and_upper_teeth_the_one_behind() {
        let t = |n| Tooth::fdi(n).unwrap();
        assert_eq!(meeting(t(36), RestPlace::Mesial), [t(26), t(25)]);
        assert_eq!(meeting(t(36), RestPlace::Distal), [t(26)]);
        assert_eq!(meeting(t(15), RestPlace::Distal), [t(45), t(46)]);
        assert_eq!(meeting(t(15), RestPlace::Mesial), [t(45)]);
        assert_eq!(meeting(t(33), RestPlace::Cingulum), [t(23), t(22)]);
        assert_eq!(meeting(t(31), RestPlace::Incisal), [t(21)]);
    }
}
