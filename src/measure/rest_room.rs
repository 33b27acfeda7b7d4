//! Quantity: room for the metal of a rest, from its place on the tooth to the opposing arch.
//!
//! Definition: the least distance along the opening direction from the crown to the opposing surface over a seat 2.5 mm
//! wide (the least base taught for molars and premolars, trade facts section 5, teaching notes). A mesial or distal
//! seat lies in the middle of the crown buccolingually and touches the outer edge of the marginal ridge; an incisal
//! seat lies on the highest place of the edge's middle third; a cingulum seat is the lingual surface a third of the
//! crown's height above the margin.
//!
//! Frame and units: mm along the opening direction; mesial and buccal as `tooth_axes` tells them.
//!
//! Method and its error: both surfaces clipped to the seat and to each other (see `column`), exact for one place. The
//! place itself is known to about half a millimetre; what the room changes over that is part of the uncertainty.
//!
//! Over the floor of a prepared seat (`rest_seat`) the room is read within half a millimetre of the floor's place.
//!
//! Not covered: room in excursions of the mandible.
//!
//! Checked by: a block with a marginal ridge and a slope under a plate, below.

use crate::anatomy::Crown;
use crate::case::RestPlace;
use crate::locate::Surface;
use crate::measure::clearance::REACH_MM;
use crate::measure::column::Column;
use crate::measure::tooth_axes::ToothAxes;
use crate::mesh::FaceId;
use crate::space::{Direction, Point, Vector};

/// Radius of a seat, mm.
const RADIUS_MM: f64 = 1.25;
/// How well the place of a seat is known, mm.
const PLACE_MM: f64 = 0.5;

/// Room over a seat.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RestRoom {
    /// Least room, mm; negative where the arches overlap.
    pub room_mm: f64,
    /// Where on the tooth, mm.
    pub at: Point,
    /// Centre of the seat on the tooth, mm.
    pub seat_at: Point,
    /// Greatest change of the room where the seat is moved by half a millimetre, mm.
    pub per_place_mm: f64,
}

/// A tooth with a rest, and what it is read against.
#[derive(Clone, Copy, Debug)]
pub struct RestAsked<'a> {
    /// The arch of the tooth.
    pub restored: &'a Surface,
    /// The other arch.
    pub opposing: &'a Surface,
    /// The crown.
    pub crown: &'a Crown,
    /// Its axes.
    pub axes: ToothAxes,
    /// Where the rest lies.
    pub place: RestPlace,
}

/// Room for the rest; `None` where the crown has no such place or nothing stands over it.
pub fn room(asked: &RestAsked<'_>) -> Option<RestRoom> {
    let seat = seat(asked)?;
    let read = |shift: Vector| gap(asked, &(seat + shift));
    let here = read(Vector::zeros())?;
    let per_place_mm = [asked.axes.mesial, -asked.axes.mesial, asked.axes.buccal, -asked.axes.buccal]
        .into_iter()
        .filter_map(|d| read(d * PLACE_MM))
        .map(|other| (other.0 - here.0).abs())
        .fold(0.0, f64::max);
    Some(RestRoom { room_mm: here.0, at: here.1, seat_at: seat, per_place_mm })
}

/// Radius about the floor of a seat in which its room is read, mm: the width of a minor connector's foot.
const FLOOR_MM: f64 = 0.5;

/// Room over the floor of a seat.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FloorRoom {
    /// Least room within half a millimetre of the floor's place, mm; negative where the arches overlap.
    pub room_mm: f64,
    /// Where on the tooth, mm.
    pub at: Point,
    /// Triangle of the opposing surface straight over the floor.
    pub over: Option<FaceId>,
}

/// Room over the floor of a seat at `at`; `None` where nothing stands over it.
pub fn over_floor(
    restored: &Surface,
    crown: &Crown,
    opposing: &Surface,
    opening: &Direction,
    at: &Point,
) -> Option<FloorRoom> {
    let column = Column::disc(*at, *opening, FLOOR_MM);
    let near = |t: &[Point; 3]| t.iter().any(|p| (p - at).norm() < 4.0 * FLOOR_MM);
    let tooth: Vec<[Point; 3]> =
        crown.faces.iter().map(|&f| restored.mesh().corners(f)).filter(near).collect();
    let over = column.triangles(opposing, 0.0);
    let gap = column.least_gap(&tooth, &over, -REACH_MM)?;
    let hit = opposing.cast(at, opening, f64::INFINITY);
    Some(FloorRoom { room_mm: gap.mm, at: gap.at, over: hit.map(|h| h.face) })
}

/// Least gap over the seat and its place on the tooth.
fn gap(asked: &RestAsked<'_>, seat: &Point) -> Option<(f64, Point)> {
    let column = Column::disc(*seat, asked.axes.occlusal, RADIUS_MM);
    let mesh = asked.restored.mesh();
    // On a cingulum the seat ends where the lingual surface rises to the incisal edge.
    let height = asked.axes.local(seat)[2];
    let counts = |t: &[Point; 3]| {
        asked.place != RestPlace::Cingulum
            || t.iter().all(|p| asked.axes.local(p)[2] <= height + RADIUS_MM / 2.0)
    };
    let tooth: Vec<[Point; 3]> =
        asked.crown.faces.iter().map(|&f| mesh.corners(f)).filter(|t| counts(t)).collect();
    let over = column.triangles(asked.opposing, 0.0);
    column.least_gap(&tooth, &over, -REACH_MM).map(|g| (g.mm, g.at))
}

/// Centre of the seat on the tooth.
fn seat(asked: &RestAsked<'_>) -> Option<Point> {
    let (crown, axes) = (asked.crown, &asked.axes);
    let mesh = asked.restored.mesh();
    let all: Vec<([f64; 3], Point)> =
        crown.vertices.iter().map(|&v| mesh.vertex(v)).map(|p| (axes.local(&p), p)).collect();
    let extent = |of: &[([f64; 3], Point)], k: usize| {
        let values = of.iter().map(|c| c.0[k]);
        let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
        (low <= high).then_some((low, high))
    };
    let (low, high) = extent(&all, 2)?;
    let (first, last) = extent(&all, 0)?;
    match asked.place {
        RestPlace::Mesial | RestPlace::Distal => {
            // The occlusal third: below it the crown bulges toward its neighbour.
            let table: Vec<_> = all.iter().copied().filter(|c| c.0[2] >= high - (high - low) / 3.0).collect();
            let (first, last) = extent(&table, 0)?;
            let m = if asked.place == RestPlace::Mesial { last - RADIUS_MM } else { first + RADIUS_MM };
            let slice: Vec<_> = table.iter().copied().filter(|c| (c.0[0] - m).abs() <= RADIUS_MM).collect();
            let (lingual, buccal) = extent(&slice, 1)?;
            on_top(asked, m, (lingual + buccal) / 2.0, high)
        }
        RestPlace::Incisal => {
            let third = (last - first) / 6.0;
            let middle = (first + last) / 2.0;
            all.iter()
                .filter(|c| (c.0[0] - middle).abs() <= third)
                .max_by(|a, b| a.0[2].total_cmp(&b.0[2]))
                .map(|c| c.1)
        }
        RestPlace::Cingulum => {
            let (third, middle) = ((last - first) / 6.0, (first + last) / 2.0);
            let lingual: Vec<_> =
                all.iter().copied().filter(|c| (c.0[0] - middle).abs() <= third && c.0[1] < 0.0).collect();
            let (low, high) = extent(&lingual, 2)?;
            let wanted = low + (high - low) / 3.0;
            lingual
                .iter()
                .min_by(|a, b| (a.0[2] - wanted).abs().total_cmp(&(b.0[2] - wanted).abs()))
                .map(|c| c.1)
        }
    }
}

/// The topmost place of the crown at (mesial, buccal).
fn on_top(asked: &RestAsked<'_>, mesial: f64, buccal: f64, top: f64) -> Option<Point> {
    let axes = &asked.axes;
    let above = asked.crown.centre
        + axes.mesial * mesial
        + axes.buccal * buccal
        + axes.occlusal.into_inner() * (top + 1.0);
    asked.restored.cast(&above, &-axes.occlusal, f64::INFINITY).map(|h| h.at)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::anatomy::Origin;
    use crate::case::Tooth;
    use crate::measure::shapes::{sheet, up};
    use crate::mesh::Mesh;

    fn crown(n: u8, surface: &Surface, centre: Point) -> Crown {
        let mesh = surface.mesh();
        Crown {
            tooth: Tooth::fdi(n).unwrap(),
            faces: (0..mesh.faces().len() as u32).collect(),
            vertices: (0..mesh.vertices().len() as u32).collect(),
            margin: vec![],
            centre,
            area_mm2: 0.0,
            confidence: 1.0,
            origin: Origin::Given,
        }
    }

    /// A premolar 7 mm wide with its table 6 mm above the gingiva: a marginal ridge 0.4 mm high at either end, cusps
    /// 2 mm high at the sides.
    fn premolar() -> Mesh {
        sheet(8.0, 0.1, true, |x, y| {
            if x.abs() > 3.5 || y.abs() > 3.5 {
                return 0.0;
            }
            let ridge = (0.4 - (x.abs() - 3.2).abs()).max(0.0);
            let cusp = (2.0 - 2.0 * (y.abs() - 3.0).abs()).max(0.0);
            6.0 + ridge.max(cusp)
        })
    }
    fn axes(crown: &Crown) -> ToothAxes {
        let (mesial, buccal) = (Vector::x(), Vector::y());
        ToothAxes { centre: crown.centre, mesial, buccal, occlusal: up(), half_mm: [3.5, 3.5] }
    }

    #[test]
    fn room_over_a_marginal_ridge_is_from_its_summit() {
        let restored = Surface::new(&premolar());
        let crown = crown(35, &restored, Point::new(0., 0., 3.0));
        // A level plate, and one that falls toward the mesial end (+x).
        for (slope, place, expected) in [
            (0.0, RestPlace::Mesial, 9.0 - 6.4),
            (0.0, RestPlace::Distal, 9.0 - 6.4),
            (0.1, RestPlace::Mesial, 9.0 - 0.1 * 3.2 - 6.4),
            (0.1, RestPlace::Distal, 9.0 + 0.1 * 3.2 - 6.4),
        ] {
            let opposing = Surface::new(&sheet(20.0, 0.4, false, |x, _| 9.0 - slope * x));
            let asked = RestAsked {
                restored: &restored,
                opposing: &opposing,
                crown: &crown,
                axes: axes(&crown),
                place,
            };
            let r = room(&asked).unwrap();
            assert!((r.room_mm - expected).abs() < 0.02, "{place:?} {slope} {r:?}");
            assert!((r.at.x.abs() - 3.2).abs() < 0.15 && r.at.y.abs() < 1.3);
        }
    }

    #[test]
    fn an_incisal_rest_is_read_at_the_edge_and_a_cingulum_rest_below_it() {
        // A lingual slope that rises from the margin (y = -4) to an edge 8 mm high at y = 3.
        let restored =
            Surface::new(&sheet(8.0, 0.1, true, |_, y| if y > 3.0 { 8.0 } else { 8.0 / 7.0 * (y + 4.0) }));
        let crown = crown(33, &restored, Point::new(0., 0., 4.0));
        let opposing = Surface::new(&sheet(20.0, 0.4, false, |_, _| 9.5));
        let ask = |place| RestAsked {
            restored: &restored,
            opposing: &opposing,
            crown: &crown,
            axes: axes(&crown),
            place,
        };
        assert!((room(&ask(RestPlace::Incisal)).unwrap().room_mm - 1.5).abs() < 1e-9);
        // The lingual half rises from 0 to 4.5 mm, so its third is at 1.5 mm; the seat ends 0.625 mm above that.
        let cingulum = room(&ask(RestPlace::Cingulum)).unwrap();
        assert!((6.8..8.0).contains(&cingulum.room_mm), "{cingulum:?}");
        let nothing = Surface::new(&opposing.mesh().moved(&crate::space::Motion::translation(50., 0., 0.)));
        assert!(room(&RestAsked { opposing: &nothing, ..ask(RestPlace::Incisal) }).is_none());
    }
}
