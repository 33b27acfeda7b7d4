//! Quantity: a rest seat: depth, length and width, angle of its floor, and how much its shape is that of a prepared one.
//!
//! Definition: "rest seat: the prepared recess in a tooth or restoration created to receive the occlusal, incisal,
//! cingulum, or lingual rest" (Glossary of Prosthodontic Terms, ninth edition).
//! A *mesial* or *distal* seat crosses the marginal ridge. The crest is read along the tooth's outline, 0.4 to 1.2 mm
//! inside it; where the crest is cut, its shoulders are where the profile bends down beyond the walls of the cut. Depth is
//! that of the floor's lowest place between them under the straight line from shoulder to shoulder, along the occlusal
//! normal; where the tooth's other ridge is whole, the line sags or bulges by half of what that ridge does between the
//! same two rows. Width is the distance of the shoulders; length runs from the outline to the end of the floor toward the
//! middle of the tooth.
//! An *incisal* seat is the same cut in the profile of the incisal edge, under a line that bulges as its flanks lean.
//! A *cingulum* seat is a basin of the lingual surface seen half way between the occlusal and the lingual side; depth is
//! that along the occlusal normal, at its greatest, under a quadratic surface laid through what lies within 1.35 mm
//! around it.
//! The floor's angle is that between the floor, from the ridge inward, and the proximal surface below it, through the
//! tooth; where the proximal surface is not seen, and on a cingulum, that between the floor and the occlusal normal.
//!
//! Frame and units: mm and degrees, mesial, buccal and occlusal as `tooth_axes` tells them.
//!
//! Method and its error: heights of the topmost surface on a grid of 0.12 mm. The grid and the triangles cost a few
//! hundredths of a millimetre; what the ridge was like before it was cut is not on the scan, and costs `method_mm`. What
//! was read on generated people stands in `docs/method/rest_seats.md`.
//!
//! Not covered: what the rest itself needs; fillings, fractures and wear that look like a seat; a floor under an overhang.
//!
//! Checked by: blocks with cuts of known depth, below, and generated people (`examples/accept_seats.rs`).

mod cingulum;
mod edge;
mod marginal;
mod profile;
mod quadric;
mod relief;
mod surroundings;
#[cfg(test)]
mod tests;

use crate::anatomy::{Crown, sign};
use crate::case::{RestPlace, Tooth};
use crate::estimate::{Measured, NotMeasured};
use crate::measure::tooth_axes::ToothAxes;
use crate::mesh::{Mesh, Topology};
use crate::space::{Point, acos};
use relief::{Looked, Relief, View};
use surroundings::Surroundings;

/// A crown to look at.
#[derive(Clone, Copy, Debug)]
pub struct SeatAsked<'a> {
    /// The arch.
    pub mesh: &'a Mesh,
    /// Its adjacency.
    pub topology: &'a Topology,
    /// The crown.
    pub crown: &'a Crown,
    /// Its axes.
    pub axes: ToothAxes,
}

/// What the angle of a floor is told against.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FloorAgainst {
    /// The proximal surface below it.
    ProximalSurface,
    /// The occlusal normal, for want of a proximal surface.
    OcclusalNormal,
}

/// The floor's angle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FloorAngle {
    /// Angle through the tooth, degrees: under 90 the floor falls inward.
    pub angle_deg: f64,
    /// Against what.
    pub against: FloorAgainst,
}

/// The recess at a place of a tooth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RestSeat {
    /// Which place.
    pub place: RestPlace,
    /// Its floor where it is deepest; where there is no recess, the middle of the ridge or edge, mm.
    pub at: Point,
    /// Depth, mm; `None` where there is no recess with two shoulders.
    pub depth_mm: Option<f64>,
    /// Standard uncertainty of the depth that comes from not knowing the unprepared tooth, mm.
    pub method_mm: f64,
    /// Mesiodistal length, mm.
    pub length_mm: Option<f64>,
    /// Buccolingual width, mm.
    pub width_mm: Option<f64>,
    /// Angle of the floor.
    pub floor: Option<FloorAngle>,
    /// How much its shape is that of a prepared seat, 0 to 1.
    pub likeness_share: f64,
}

/// The places at which a tooth can bear a seat.
pub fn places(tooth: Tooth) -> &'static [RestPlace] {
    if tooth.is_front() {
        &[RestPlace::Cingulum, RestPlace::Incisal]
    } else {
        &[RestPlace::Mesial, RestPlace::Distal]
    }
}

/// Reads the recess at a place.
///
/// # Errors
/// The tooth has no such place, or the surface there is not scanned throughout.
pub fn read(asked: &SeatAsked<'_>, place: RestPlace) -> Measured<RestSeat> {
    Seen::of(asked).at(place)
}

/// Reads all places of a tooth.
pub fn read_all(asked: &SeatAsked<'_>) -> Vec<(RestPlace, Measured<RestSeat>)> {
    let seen = Seen::of(asked);
    places(asked.crown.tooth).iter().map(|&place| (place, seen.at(place))).collect()
}

/// That a tooth has no such place.
pub fn no_such_place(tooth: Tooth, place: RestPlace) -> NotMeasured {
    NotMeasured::new(
        format!("{tooth} has no {} place for a rest", place.word()),
        "the place in `[design] rests`",
    )
}

/// A crown with its surroundings and, of a back tooth, both its ends.
struct Seen<'a> {
    asked: &'a SeatAsked<'a>,
    around: Surroundings,
    /// Mesial, distal.
    ends: Option<[End; 2]>,
}

impl<'a> Seen<'a> {
    fn of(asked: &'a SeatAsked<'a>) -> Seen<'a> {
        let around = Surroundings::of(asked.mesh, asked.topology, asked.crown);
        let back = !asked.crown.tooth.is_front();
        let ends = back.then(|| [1.0, -1.0].map(|way| End::read(asked, &around, way)));
        Seen { asked, around, ends }
    }

    fn at(&self, place: RestPlace) -> Measured<RestSeat> {
        let Seen { asked, around, ends } = self;
        if !places(asked.crown.tooth).contains(&place) {
            return Err(no_such_place(asked.crown.tooth, place));
        }
        let found = match (place, ends) {
            (RestPlace::Mesial, Some([end, other])) | (RestPlace::Distal, Some([other, end])) => {
                side(place, end, other)
            }
            (RestPlace::Incisal, _) => incisal(asked, around),
            _ => on_cingulum(asked, around),
        };
        let unseen =
            || NotMeasured::new("the surface there is not scanned throughout", "a scan that shows it");
        let seat = found.ok_or_else(unseen)?;
        if around.border_within(asked.mesh, &seat.at, BORDER_MM) { Err(unseen()) } else { Ok(seat) }
    }
}

impl RestSeat {
    /// No recess, with the middle of the ridge or edge.
    fn none(place: RestPlace, at: Point) -> RestSeat {
        RestSeat {
            place,
            at,
            depth_mm: None,
            method_mm: RIDGE_MM,
            length_mm: None,
            width_mm: None,
            floor: None,
            likeness_share: 0.0,
        }
    }
}

/// A seat this near to a border of the scan is not measured, mm.
const BORDER_MM: f64 = 1.2;
/// Standard uncertainty of a depth for want of the unprepared ridge or edge, mm: half of the errors on generated people
/// are smaller than 0.67 times it.
const RIDGE_MM: f64 = 0.25;
/// The same on a cingulum, as a share of the depth, which is long where the lingual surface is steep.
const CINGULUM_SHARE: f64 = 0.12;

fn looked<'a>(asked: &SeatAsked<'a>, around: &'a Surroundings) -> Looked<'a> {
    Looked { mesh: asked.mesh, faces: &around.faces, own: &asked.crown.faces }
}

/// One end of a back tooth, as it was read.
struct End {
    relief: Relief,
    ridge: marginal::Ridge,
    cut: Option<marginal::Cut>,
    angle: Option<FloorAngle>,
    likeness: f64,
}

impl End {
    /// The mesial (`way` 1) or distal (-1) end.
    fn read(asked: &SeatAsked<'_>, around: &Surroundings, way: f64) -> End {
        let (axes, [m, b]) = (&asked.axes, asked.axes.half_mm);
        let up = axes.occlusal.into_inner();
        let view = View { origin: axes.centre, x: axes.mesial * way, y: axes.buccal, up };
        let relief = Relief::new(&looked(asked, around), view, [m - 7.0, -b - 0.3], [m + 1.2, b + 0.3]);
        let ridge = marginal::ridge(&relief);
        let cut = marginal::read(&relief, &ridge);
        let at = cut.as_ref().and_then(|c| relief.place(c.floor));
        let angle = cut.as_ref().zip(at).map(|(c, at)| marginal_angle(asked, &view, &at, c.fall));
        let likeness = cut.as_ref().zip(angle).map_or(0.0, |(c, a)| c.likeness(&a));
        End { relief, ridge, cut, angle, likeness }
    }

    /// How far the ridge, not cut, lies under the straight line between two rows in a third, mm.
    fn sag_mm(&self, rows: [usize; 2], at: usize) -> Option<f64> {
        if self.likeness > WHOLE {
            return None;
        }
        let z = |j: usize| self.ridge.crest.get(j).copied().flatten();
        let share = (at as f64 - rows[0] as f64) / (rows[1] as f64 - rows[0] as f64).max(1.0);
        Some(z(rows[0])? * (1.0 - share) + z(rows[1])? * share - z(at)?)
    }
}

/// A ridge whose likeness to a seat is no more than this counts as whole.
const WHOLE: f64 = 0.1;

/// The mesial or distal side of a back tooth, with its other end.
fn side(place: RestPlace, end: &End, other: &End) -> Option<RestSeat> {
    let middle = marginal::middle(&end.relief, &end.ridge)?;
    if !marginal::is_whole(&end.relief, &end.ridge, middle) {
        return None;
    }
    let nothing = RestSeat::none(place, end.relief.place(middle)?);
    let Some(cut) = &end.cut else { return Some(nothing) };
    let rows = cut.notch.shoulders.map(|s| s.step);
    let sag = other.sag_mm(rows, cut.floor[1]);
    let sag = sag.map_or(0.0, |s| s.clamp(-MOST_SAG_MM, MOST_SAG_MM));
    Some(RestSeat {
        at: end.relief.place(cut.floor)?,
        depth_mm: Some((cut.depth_mm - SAG_SHARE * sag).max(0.0)),
        length_mm: Some(cut.length_mm),
        width_mm: Some(cut.notch.width_mm()),
        floor: end.angle,
        likeness_share: end.likeness,
        ..nothing
    })
}

/// No ridge sags or bulges more between its shoulders, mm.
const MOST_SAG_MM: f64 = 0.8;
/// Share of the other ridge's sag by which the straight line is corrected: half way between the two, for the ends of a
/// tooth are alike but not the same.
const SAG_SHARE: f64 = 0.5;

/// Angle between a floor that falls `fall` a mm inward and the proximal surface below it.
fn marginal_angle(asked: &SeatAsked<'_>, view: &View, at: &Point, fall: f64) -> FloorAngle {
    let wall = surroundings::proximal_normal(asked.mesh, asked.crown, view, at);
    let (nx, nz) = wall.unwrap_or((1.0, 0.0));
    let cosine = (fall * nx - nz) / (1.0 + fall * fall).sqrt();
    let against = if wall.is_some() { FloorAgainst::ProximalSurface } else { FloorAgainst::OcclusalNormal };
    FloorAngle { angle_deg: acos(cosine.clamp(-1.0, 1.0)).to_degrees(), against }
}

fn incisal(asked: &SeatAsked<'_>, around: &Surroundings) -> Option<RestSeat> {
    let (axes, [m, b]) = (&asked.axes, asked.axes.half_mm);
    let up = axes.occlusal.into_inner();
    let view = View { origin: axes.centre, x: axes.mesial, y: axes.buccal, up };
    let relief = Relief::new(&looked(asked, around), view, [-m - 0.3, -b - 0.3], [m + 0.3, b + 0.3]);
    let edge = edge::edge(&relief);
    let nothing = RestSeat::none(RestPlace::Incisal, relief.place(edge::middle(&edge)?)?);
    let Some(cut) = edge::read(&relief, &edge) else { return Some(nothing) };
    let wall = cut.notch.shoulders[0].wall.min(cut.notch.shoulders[1].wall);
    let length = cut.notch.width_mm();
    let likeness = sign(cut.depth_mm, 0.4, 0.9)
        * sign(wall, 0.3, 0.5)
        * sign(length, 1.4, 1.9)
        * (1.0 - sign(length, 3.4, 4.2));
    Some(RestSeat {
        at: relief.place(cut.floor)?,
        depth_mm: Some(cut.depth_mm.max(0.0)),
        length_mm: Some(length),
        width_mm: Some(cut.width_mm),
        likeness_share: likeness,
        ..nothing
    })
}

fn on_cingulum(asked: &SeatAsked<'_>, around: &Surroundings) -> Option<RestSeat> {
    let (axes, [m, b]) = (&asked.axes, asked.axes.half_mm);
    let (half, up) = (std::f64::consts::FRAC_1_SQRT_2, axes.occlusal.into_inner());
    let view = View {
        origin: axes.centre,
        x: axes.mesial,
        y: (up + axes.buccal) * half,
        up: (up - axes.buccal) * half,
    };
    let reach = b + 6.0;
    let relief = Relief::new(&looked(asked, around), view, [-m - 0.3, -reach], [m + 0.3, reach]);
    let nothing = RestSeat::none(RestPlace::Cingulum, relief.place(cingulum::middle(&relief)?)?);
    let Some(ledge) = cingulum::read(&relief) else { return Some(nothing) };
    let likeness = sign(ledge.basin_mm, 0.3, 0.7)
        * sign(ledge.depth_mm, 1.0, 1.5)
        * sign(ledge.notch.shoulders[0].wall, 0.5, 1.0)
        * sign(ledge.length_mm, 1.5, 2.2)
        * (1.0 - sign(ledge.width_mm, 3.6, 4.4));
    let deg = ledge.fall.map(|fall| 90.0 - crate::space::atan2(fall, 1.0).to_degrees());
    Some(RestSeat {
        at: relief.place(ledge.floor)?,
        depth_mm: Some(ledge.depth_mm.max(0.0)),
        method_mm: (CINGULUM_SHARE * ledge.depth_mm).max(RIDGE_MM / 2.0),
        length_mm: Some(ledge.length_mm),
        width_mm: Some(ledge.width_mm),
        floor: deg.map(|deg| FloorAngle { angle_deg: deg, against: FloorAgainst::OcclusalNormal }),
        likeness_share: likeness,
        ..nothing
    })
}
