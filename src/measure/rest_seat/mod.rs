//! Quantity: a rest seat: depth, length and width, angle of its floor, and how much its shape is that of a prepared one.
//!
//! Definition: "rest seat: the prepared recess in a tooth or restoration created to receive the occlusal, incisal,
//! cingulum, or lingual rest" (Glossary of Prosthodontic Terms, ninth edition).
//! A *mesial* or *distal* seat crosses the marginal ridge. The crest is read along the tooth's outline, 0.4 to 1.2 mm
//! inside it; where the crest is cut, its shoulders are where the profile bends down beyond the walls of the cut. Depth is
//! that under the straight line from shoulder to shoulder, along the occlusal normal, at its greatest; width is the
//! distance of the shoulders; length runs from the outline to the end of the floor toward the middle of the tooth.
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

use crate::anatomy::Crown;
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
    pub deg: f64,
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
    pub likeness: f64,
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
    let around = Surroundings::of(asked.mesh, asked.topology, asked.crown);
    read_in(asked, &around, place)
}

/// Reads all places of a tooth.
pub fn read_all(asked: &SeatAsked<'_>) -> Vec<(RestPlace, Measured<RestSeat>)> {
    let around = Surroundings::of(asked.mesh, asked.topology, asked.crown);
    places(asked.crown.tooth).iter().map(|&place| (place, read_in(asked, &around, place))).collect()
}

fn read_in(asked: &SeatAsked<'_>, around: &Surroundings, place: RestPlace) -> Measured<RestSeat> {
    if !places(asked.crown.tooth).contains(&place) {
        return Err(NotMeasured::new(
            format!("{} has no {} place for a rest", asked.crown.tooth, place.word()),
            "the place in `[design] rests`",
        ));
    }
    let found = match place {
        RestPlace::Mesial => side(asked, around, 1.0),
        RestPlace::Distal => side(asked, around, -1.0),
        RestPlace::Incisal => incisal(asked, around),
        RestPlace::Cingulum => on_cingulum(asked, around),
    };
    let unseen = || NotMeasured::new("the surface there is not scanned throughout", "a scan that shows it");
    let seat = found.ok_or_else(unseen)?;
    if around.border_within(asked.mesh, &seat.at, BORDER_MM) { Err(unseen()) } else { Ok(seat) }
}

/// A seat this near to a border of the scan is not measured, mm.
const BORDER_MM: f64 = 1.2;
/// Standard uncertainty of a depth for want of the unprepared ridge or edge, mm: half of the errors on generated people
/// are smaller than 0.67 times it.
const RIDGE_MM: f64 = 0.25;
/// The same on a cingulum, as a share of the depth, which is long where the lingual surface is steep.
const CINGULUM_SHARE: f64 = 0.12;

/// 0 up to `from`, 1 beyond `to`, straight between.
fn ramp(value: f64, from: f64, to: f64) -> f64 {
    ((value - from) / (to - from)).clamp(0.0, 1.0)
}

fn looked<'a>(asked: &SeatAsked<'a>, around: &'a Surroundings) -> Looked<'a> {
    Looked { mesh: asked.mesh, faces: &around.faces, own: &asked.crown.faces }
}

/// The mesial (`way` 1) or distal (-1) side of a back tooth.
fn side(asked: &SeatAsked<'_>, around: &Surroundings, way: f64) -> Option<RestSeat> {
    let (axes, [m, b]) = (&asked.axes, asked.axes.half_mm);
    let up = axes.occlusal.into_inner();
    let view = View { origin: axes.centre, x: axes.mesial * way, y: axes.buccal, up };
    let relief = Relief::new(&looked(asked, around), view, [m - 7.0, -b - 0.3], [m + 1.2, b + 0.3]);
    let ridge = marginal::ridge(&relief);
    let place = if way > 0.0 { RestPlace::Mesial } else { RestPlace::Distal };
    let middle = marginal::middle(&relief, &ridge)?;
    if !marginal::is_whole(&relief, &ridge, middle) {
        return None;
    }
    let nothing = RestSeat {
        place,
        at: relief.place(middle)?,
        depth_mm: None,
        method_mm: RIDGE_MM,
        length_mm: None,
        width_mm: None,
        floor: None,
        likeness: 0.0,
    };
    let Some(cut) = marginal::read(&relief, &ridge) else { return Some(nothing) };
    let wall = cut.notch.shoulders[0].wall.min(cut.notch.shoulders[1].wall);
    let width = cut.notch.width_mm();
    // Each factor tells a cut from a fossa behind a whole or a worn ridge; where they begin and end was set by looking at
    // untouched teeth and at seats of many depths.
    let smooth = cut.bowl.map_or(0.0, |b| {
        (1.0 - ramp(b.rough_mm, 0.035, 0.08)) * ramp(b.along, -0.3, 0.05) * ramp(b.across, 0.15, 0.4)
    });
    let likeness = smooth
        * ramp(cut.depth_mm, 0.35, 0.7)
        * ramp(cut.depth_mm / width.max(0.1), 0.14, 0.2)
        * ramp(wall, 0.2, 0.45)
        * (1.0 - ramp(cut.fall, 0.25, 0.5))
        * ramp(width, 2.0, 2.6)
        * (1.0 - ramp(width - 0.8 * ramp(cut.depth_mm, 1.4, 1.9), 5.0, 6.0))
        * ramp(cut.rise_mm, 0.0, 0.15);
    let at = relief.place(cut.floor)?;
    let floor = marginal_angle(asked, &view, &at, cut.fall);
    let likeness = likeness * (1.0 - ramp(floor.deg, 112.0, 130.0));
    Some(RestSeat {
        at,
        depth_mm: Some(cut.depth_mm.max(0.0)),
        length_mm: Some(cut.length_mm),
        width_mm: Some(width),
        floor: Some(floor),
        likeness,
        ..nothing
    })
}

/// Angle between a floor that falls `fall` a mm inward and the proximal surface below it.
fn marginal_angle(asked: &SeatAsked<'_>, view: &View, at: &Point, fall: f64) -> FloorAngle {
    let wall = surroundings::proximal_normal(asked.mesh, asked.crown, view, at);
    let (nx, nz) = wall.unwrap_or((1.0, 0.0));
    let cosine = (fall * nx - nz) / (1.0 + fall * fall).sqrt();
    let against = if wall.is_some() { FloorAgainst::ProximalSurface } else { FloorAgainst::OcclusalNormal };
    FloorAngle { deg: acos(cosine.clamp(-1.0, 1.0)).to_degrees(), against }
}

fn incisal(asked: &SeatAsked<'_>, around: &Surroundings) -> Option<RestSeat> {
    let (axes, [m, b]) = (&asked.axes, asked.axes.half_mm);
    let up = axes.occlusal.into_inner();
    let view = View { origin: axes.centre, x: axes.mesial, y: axes.buccal, up };
    let relief = Relief::new(&looked(asked, around), view, [-m - 0.3, -b - 0.3], [m + 0.3, b + 0.3]);
    let edge = edge::edge(&relief);
    let nothing = RestSeat {
        place: RestPlace::Incisal,
        at: relief.place(edge::middle(&edge)?)?,
        depth_mm: None,
        method_mm: RIDGE_MM,
        length_mm: None,
        width_mm: None,
        floor: None,
        likeness: 0.0,
    };
    let Some(cut) = edge::read(&relief, &edge) else { return Some(nothing) };
    let wall = cut.notch.shoulders[0].wall.min(cut.notch.shoulders[1].wall);
    let length = cut.notch.width_mm();
    let likeness = ramp(cut.depth_mm, 0.4, 0.9)
        * ramp(wall, 0.3, 0.5)
        * ramp(length, 1.4, 1.9)
        * (1.0 - ramp(length, 3.4, 4.2));
    Some(RestSeat {
        at: relief.place(cut.floor)?,
        depth_mm: Some(cut.depth_mm.max(0.0)),
        length_mm: Some(length),
        width_mm: Some(cut.width_mm),
        likeness,
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
    let nothing = RestSeat {
        place: RestPlace::Cingulum,
        at: relief.place(cingulum::middle(&relief)?)?,
        depth_mm: None,
        method_mm: RIDGE_MM,
        length_mm: None,
        width_mm: None,
        floor: None,
        likeness: 0.0,
    };
    let Some(ledge) = cingulum::read(&relief) else { return Some(nothing) };
    let likeness = ramp(ledge.basin_mm, 0.3, 0.7)
        * ramp(ledge.depth_mm, 1.0, 1.5)
        * ramp(ledge.notch.shoulders[0].wall, 0.5, 1.0)
        * ramp(ledge.length_mm, 1.5, 2.2)
        * (1.0 - ramp(ledge.width_mm, 3.6, 4.4));
    let deg = ledge.fall.map(|fall| 90.0 - crate::space::atan2(fall, 1.0).to_degrees());
    Some(RestSeat {
        at: relief.place(ledge.floor)?,
        depth_mm: Some(ledge.depth_mm.max(0.0)),
        method_mm: (CINGULUM_SHARE * ledge.depth_mm).max(RIDGE_MM / 2.0),
        length_mm: Some(ledge.length_mm),
        width_mm: Some(ledge.width_mm),
        floor: deg.map(|deg| FloorAngle { deg, against: FloorAgainst::OcclusalNormal }),
        likeness,
        ..nothing
    })
}
