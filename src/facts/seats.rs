//! Recesses of the restored arch at which a rest can lie, and the room over them.

use rayon::prelude::*;

use super::ArchFacts;
use crate::case::{Rest, RestPlace, Tooth};
use crate::estimate::{Measured, NotMeasured};
use crate::measure::rest_room::{self, FloorRoom};
use crate::measure::rest_seat::{self, RestSeat, SeatAsked};
use crate::measure::tooth_axes::ToothAxes;
use crate::rules::Rules;
use crate::space::Direction;

/// Room under which an opposing cusp is taken to fill a recess, mm: a rest of the thinnest metal has none there.
const FILLED_MM: f64 = 0.4;
/// Share of the confidence that is left where it does.
const FILLED_SHARE: f64 = 0.25;

/// What a recess is taken for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SeatState {
    /// Prepared for a rest.
    Prepared,
    /// As the tooth has grown.
    Ordinary,
    /// Neither is sure.
    Uncertain,
}

/// A place at which a rest can lie.
#[derive(Clone, Debug)]
pub struct SeatFact {
    /// The tooth.
    pub tooth: Tooth,
    /// The place.
    pub place: RestPlace,
    /// Whether the case names a rest there.
    pub named: bool,
    /// The recess, or why it was not read.
    pub seat: Measured<RestSeat>,
    /// Room over its floor; `None` where there is no other arch, no opening direction or nothing above.
    pub room: Option<FloorRoom>,
    /// Confidence that it is a prepared seat, 0 to 1.
    pub confidence: f64,
}

impl SeatFact {
    /// What it is taken for, where a confidence of `least` is wanted to say so.
    pub fn state(&self, least: f64) -> SeatState {
        if self.confidence >= least {
            SeatState::Prepared
        } else if self.confidence <= 1.0 - least {
            SeatState::Ordinary
        } else {
            SeatState::Uncertain
        }
    }
}

/// Row of the table of rules with the confidence wanted.
pub const LEAST: &str = "seat_confidence_least";

/// Reads every place of every known crown, by tooth as the crowns stand, mesial before distal.
pub(super) fn read(
    restored: &ArchFacts<'_>,
    opposing: Option<&ArchFacts<'_>>,
    opening: Option<&Direction>,
    rests: &[Rest],
) -> Vec<SeatFact> {
    let anatomy = &restored.anatomy;
    let each = |crown: &crate::anatomy::Crown| -> Vec<SeatFact> {
        let all = match ToothAxes::of(restored.mesh(), crown, anatomy) {
            Ok(axes) => rest_seat::read_all(&SeatAsked {
                mesh: restored.mesh(),
                topology: &restored.topology,
                crown,
                axes,
            }),
            Err(reason) => rest_seat::places(crown.tooth).iter().map(|&p| (p, Err(reason.clone()))).collect(),
        };
        let fact = |(place, seat): (RestPlace, Measured<RestSeat>)| {
            let named = rests.iter().any(|r| r.tooth == crown.tooth && r.place == place);
            let room = seat.as_ref().ok().zip(opposing).zip(opening).and_then(|((seat, other), up)| {
                rest_room::over_floor(&restored.surface, crown, &other.surface, up, &seat.at)
            });
            let confidence = confidence(seat.as_ref().ok(), room.as_ref(), named);
            SeatFact { tooth: crown.tooth, place, named, seat, room, confidence }
        };
        all.into_iter().map(fact).collect()
    };
    anatomy.crowns.par_iter().flat_map_iter(each).collect()
}

/// How sure it is that a recess was prepared: its shape, less where an opposing cusp fills it, more where the case names
/// a rest there (the doubt of the shape counts by its square root).
pub fn confidence(seat: Option<&RestSeat>, room: Option<&FloorRoom>, named: bool) -> f64 {
    let shape = seat.map_or(0.0, |s| s.likeness_share);
    let filled = room.is_some_and(|r| r.room_mm < FILLED_MM);
    let shape = if filled { FILLED_SHARE * shape } else { shape };
    if named { shape.sqrt() } else { shape }
}

/// Why a tooth has no recess: its crown is not known.
pub fn unknown_crown(tooth: Tooth) -> NotMeasured {
    NotMeasured::new(format!("the crown of {tooth} is not known"), format!("[marks] margins for {tooth}"))
}

/// The confidence wanted.
pub fn least(rules: &Rules) -> f64 {
    rules.number(LEAST)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::space::Point;

    fn seat(likeness: f64) -> RestSeat {
        RestSeat {
            place: RestPlace::Mesial,
            at: Point::origin(),
            depth_mm: Some(1.2),
            method_mm: 0.2,
            length_mm: None,
            width_mm: None,
            floor: None,
            likeness_share: likeness,
        }
    }

    #[test]
    fn a_cusp_in_the_recess_lowers_and_a_named_rest_raises_the_confidence() {
        let room = |room_mm| FloorRoom { room_mm, at: Point::origin(), over: None };
        let shape = seat(0.6);
        assert!((confidence(Some(&shape), Some(&room(1.5)), false) - 0.6).abs() < 1e-12);
        assert!((confidence(Some(&shape), Some(&room(0.1)), false) - 0.15).abs() < 1e-12);
        assert!((confidence(Some(&shape), None, true) - 0.6f64.sqrt()).abs() < 1e-12);
        // Naming a rest on a tooth with a whole marginal ridge makes no seat of it.
        assert!(confidence(Some(&seat(0.0)), None, true) < 1e-12);
        let fact = |confidence| SeatFact {
            tooth: Tooth::fdi(35).unwrap(),
            place: RestPlace::Mesial,
            named: false,
            seat: Ok(shape),
            room: None,
            confidence,
        };
        assert_eq!(fact(0.7).state(0.7), SeatState::Prepared);
        assert_eq!(fact(0.5).state(0.7), SeatState::Uncertain);
        assert_eq!(fact(0.2).state(0.7), SeatState::Ordinary);
    }
}
