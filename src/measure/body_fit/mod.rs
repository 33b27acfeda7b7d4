//! Quantity: fit of a body (an attachment) between residual ridge and opposing arch, beside its abutment.
//!
//! Definition: the body stands in its own axes: x along the crest away from the abutment, y across it, z from the tissue
//! to the opposing arch; y is square to the vertical plane of the crest, or to a direction given for both sides. It is
//! seated `relief` above the highest tissue under it. Spare is the gap from its top to the opposing arch along z, less
//! what has to stand over it. The best pose has the greatest spare over places along the crest in the zone, shifts
//! across the crest and tilts, each within the play allowed. Freedom is how far the seated body may be shifted from
//! there, one way at a time, before spare or zone is used up.
//!
//! Frame and units: mm and degrees; file axes for places, the body's own axes for the body.
//!
//! Method and its error: gaps are least differences of height over pairs of triangles clipped to each other (see
//! `column`), exact for one pose; crossing and nearest distance test every pair of triangles (see `locate::meet`). The
//! search halves its steps from 0.5 mm and 2 degrees to 0.03 mm and 0.1 degrees from the best place of
//! [`crate::measure::site_room`] and loses under 0.02 mm on smooth ridges; a ridge with two summits may hold a better
//! place out of its reach.
//!
//! Not covered: turning about the body's own height beyond the two settings; parts of the attachment that move against
//! each other, except the swing about its axis; the resin around it.
//!
//! Checked by: boxes and wedges between plates below; boxes against `site_room`; swings by their closed form.

mod body;
mod search;
mod swing;

pub use body::{Body, Pose};
pub use search::{Freedom, best};
pub use swing::{Swing, Swung, swing};

use crate::locate::Surface;
use crate::locate::meet::{self, Nearest};
use crate::measure::column::Column;
use crate::measure::site_room::SiteAsked;
use crate::mesh::FaceId;
use crate::space::{Direction, Point, Vector};

/// How far a neighbour is looked for, mm.
const REACH_MM: f64 = 10.0;

/// What a fit is asked for.
#[derive(Clone, Copy, Debug)]
pub struct FitAsked<'a> {
    /// Arches, crest, zone, footprint and tilt.
    pub site: &'a SiteAsked<'a>,
    /// The body.
    pub body: &'a Body,
    /// Triangles of the abutment's crown on the restored arch, ascending.
    pub abutment: &'a [FaceId],
    /// Distance along the crest and tilt from which the search starts.
    pub start: (f64, [f64; 2]),
    /// Direction along which the body lies, where it is given; else the chord of the crest under it.
    pub along: Option<Vector>,
    /// Way to either side of the crest, mm.
    pub shift_mm: f64,
    /// Relief under the body, mm.
    pub relief_mm: f64,
    /// Height of what has to stand over it, mm.
    pub over_mm: f64,
}

/// What a body has beside it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Neighbour {
    /// The residual ridge.
    Ridge,
    /// The opposing arch.
    Opposing,
    /// The crown of the abutment.
    Abutment,
}

/// How a seated body stands to a neighbour.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Meet {
    /// The neighbour.
    pub with: Neighbour,
    /// Least gap along the body's height, for the abutment along the crest, mm; negative where they overlap.
    pub gap_mm: Option<f64>,
    /// Nearest in any direction, within 10 mm.
    pub nearest: Option<Nearest>,
}

impl Meet {
    /// How deep they stand in each other, mm; `None` where they are free of each other.
    pub fn overlap_mm(&self) -> Option<f64> {
        let crossing = self.nearest.is_some_and(|n| n.crossing);
        match self.gap_mm {
            Some(gap) if gap < 0.0 => Some(-gap),
            _ if crossing => Some(0.0),
            _ => None,
        }
    }
}

/// A body in its best place.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    /// Centre along the crest from the abutment, mm.
    pub s_mm: f64,
    /// Shift across the crest, mm, along [`Pose::across`].
    pub across_mm: f64,
    /// Tilt along and across the crest, degrees.
    pub tilt_deg: [f64; 2],
    /// Where it stands.
    pub pose: Pose,
    /// From its top to the opposing arch, mm.
    pub over_mm: f64,
    /// The same less what has to stand over it, mm.
    pub spare_mm: f64,
    /// Its neighbours.
    pub meets: Vec<Meet>,
    /// How far it may be shifted; `None` where it does not fit.
    pub freedom: Option<Freedom>,
}

impl Fit {
    /// Where the hinge's axis runs and its direction; `at` in the body's own axes.
    pub fn axis(&self, body: &Body, at: Option<[f64; 3]>) -> (Point, Direction) {
        let at = at.unwrap_or([-body.length_mm() / 2.0, 0.0, body.height_mm() / 2.0]);
        (self.pose.world(&Point::from(at)), self.pose.across())
    }
}

/// Gap from the abutment's crown to the body along the crest, mm.
fn abutment_gap_mm(asked: &FitAsked<'_>, placed: &[[Point; 3]], pose: &Pose) -> Option<f64> {
    let toward = -pose.along();
    let middle = pose.world(&Point::new(0.0, 0.0, asked.body.height_mm() / 2.0));
    let side = pose.across().into_inner();
    // A little wider than the body, so that walls that run along the axis of sight are not lost at its border.
    let column = Column::rectangle(middle, toward, &side, asked.body.width_mm(), asked.body.height_mm())?;
    let mesh = asked.site.restored.mesh();
    let crown: Vec<[Point; 3]> = asked.abutment.iter().map(|&f| mesh.corners(f)).collect();
    column.least_gap(placed, &crown, f64::NEG_INFINITY).map(|g| g.mm)
}

fn meets(asked: &FitAsked<'_>, pose: &Pose, gaps: [f64; 2]) -> Vec<Meet> {
    let placed = asked.body.placed(pose);
    let of_crown = |f: FaceId| asked.abutment.binary_search(&f).is_ok();
    let near =
        |surface: &Surface, keep: &dyn Fn(FaceId) -> bool| meet::nearest(&placed, surface, REACH_MM, keep);
    let mut meets = vec![
        Meet {
            with: Neighbour::Ridge,
            gap_mm: Some(gaps[0]),
            nearest: near(asked.site.restored, &|f| !of_crown(f)),
        },
        Meet {
            with: Neighbour::Opposing,
            gap_mm: Some(gaps[1]),
            nearest: near(asked.site.opposing, &|_| true),
        },
    ];
    if !asked.abutment.is_empty() {
        meets.push(Meet {
            with: Neighbour::Abutment,
            gap_mm: abutment_gap_mm(asked, &placed, pose),
            nearest: near(asked.site.restored, &of_crown),
        });
    }
    meets
}

#[cfg(test)]
mod tests;
