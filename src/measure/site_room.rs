//! Quantity: room for a rigid body (an attachment) between the residual ridge and the opposing arch.
//!
//! Definition: in the body's own axes, the least opposing height minus the greatest tissue height over its footprint,
//! the best over the tilts allowed and over the places allowed: footprints centred on the crest, within the zone
//! behind the abutment, clear of the abutment's surface. The least gap point by point overstates it: with the crest on
//! one side and the cusp on the other, 6.0 mm reads where 5.0 mm fits. It stands beside and is not this quantity.
//!
//! Frame and units: mm; `s` runs along the crest from the abutment; the body's length lies along the chord of the crest
//! under it, its height along the opening direction, tilted by at most the angle allowed in any direction.
//!
//! Method and its error: triangles clipped to the footprint (see `column`), exact for one place and tilt; places every
//! 0.25 mm; tilts by a search that halves its step down to 0.02 degrees from the best of nine starts, which loses
//! under 0.005 mm. Zero tilt is always tried.
//!
//! Not covered: turning the body about its own height; shifting it off the crest; the shape of the body within its
//! box.
//!
//! Checked by: plates, tilted plates, the crest and cusp above, a ridge narrower than the footprint, below.

use rayon::prelude::*;

use crate::estimate::{Measured, NotMeasured};
use crate::locate::Surface;
use crate::measure::clearance::REACH_MM;
use crate::measure::column::{Column, Heights};
use crate::measure::crest_line::CrestLine;
use crate::space::{Direction, Point, Vector, direction, hypot, tan};
use crate::units;

/// Share of a footprint, or of a tooth's stretch of crest, that must have opposing surface over it for the room there to
/// count as measured. Below it a border or a hole of the scan, not a tooth, would make the room.
pub const COVERED: f64 = 0.95;
/// Shift across the crest by which the room's dependence on the crest's place is read, mm.
pub const SHIFT_MM: f64 = 0.5;
const PLACE_STEP_MM: f64 = 0.25;
const TILT_STEP_DEG: f64 = 0.02;

/// Size of the body and where it may stand.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SiteSettings {
    /// End of the zone, mm of crest behind the abutment.
    pub zone_mm: f64,
    /// Least distance from the abutment's surface, mm.
    pub clear_mm: f64,
    /// Length of the footprint along the crest, mm.
    pub length_mm: f64,
    /// Width across it, mm.
    pub width_mm: f64,
    /// Greatest tilt from the opening direction, degrees.
    pub tilt_deg: f64,
}

/// What a room is asked for.
#[derive(Clone, Copy, Debug)]
pub struct SiteAsked<'a> {
    /// The arch with the ridge.
    pub restored: &'a Surface,
    /// The other arch, or the plane that stands for it.
    pub opposing: &'a Surface,
    /// From the tissue toward the opposing arch.
    pub opening: Direction,
    /// Crest from the abutment backwards.
    pub crest: &'a [Point],
    /// Vertices of the abutment's crown; empty where it is not known.
    pub crown: &'a [Point],
    /// Where the middle of the body is wanted; anywhere in the zone where `None`.
    pub at: Option<Point>,
    /// Size and zone.
    pub settings: SiteSettings,
}

/// Room for the body at its best place.
#[derive(Clone, Debug, PartialEq)]
pub struct SiteRoom {
    /// From the abutment's surface to the start of the footprint, in plan, mm.
    pub from_mm: f64,
    /// To its end, mm.
    pub to_mm: f64,
    /// The same along the crest line from its first station, mm.
    pub along_crest_mm: [f64; 2],
    /// Room, mm; negative where the arches overlap.
    pub room_mm: f64,
    /// Tilt of the body, degrees along the crest (toward its end) and across it.
    pub tilt_deg: [f64; 2],
    /// Centre of the footprint on the crest, mm.
    pub at: Point,
    /// The highest tissue under it, mm.
    pub tissue_at: Point,
    /// The lowest opposing place over it, mm.
    pub opposing_at: Point,
    /// Least gap point by point along the opening direction, mm.
    pub pointwise_mm: Option<f64>,
    /// Least room over all places of the zone, each with its best tilt, and the centre's distance along the crest, mm.
    pub worst: (f64, f64),
    /// Share of the footprint that has opposing surface over it.
    pub covered: f64,
    /// Share of the footprint that has tissue under it.
    pub tissue_covered: f64,
    /// Change of the room for one degree of error of the opening direction, mm.
    pub per_degree_mm: f64,
    /// Change of the room where the footprint is shifted across the crest by [`SHIFT_MM`], mm.
    pub per_shift_mm: f64,
}

impl SiteRoom {
    /// Whether opposing surface stands over the whole footprint, so that the room is not made by what is missing.
    pub fn is_covered(&self) -> bool {
        self.covered >= COVERED
    }
}

/// One place and tilt.
#[derive(Clone, Copy, Debug)]
struct Pose {
    room_mm: f64,
    tilt: [f64; 2],
    tissue: Heights,
    opposing: Heights,
}

/// A place on the crest with the triangles around it.
struct Place<'a> {
    asked: &'a SiteAsked<'a>,
    at: Point,
    along: Vector,
    tissue: Vec<[Point; 3]>,
    opposing: Vec<[Point; 3]>,
}

impl<'a> Place<'a> {
    /// `None` where there is no tissue under or nothing over the footprint.
    fn new(asked: &'a SiteAsked<'a>, line: &CrestLine, s_mm: f64) -> Option<Place<'a>> {
        Place::around(asked, line.at(s_mm), line.chord(s_mm, asked.settings.length_mm / 2.0))
    }

    fn around(asked: &'a SiteAsked<'a>, at: Point, along: Vector) -> Option<Place<'a>> {
        let size = &asked.settings;
        let column = Column::rectangle(at, asked.opening, &along, size.length_mm, size.width_mm)?;
        let lever = tan((size.tilt_deg + 1.0).to_radians());
        let opposing = column.triangles(asked.opposing, 0.0);
        let over = column.heights(&opposing, -REACH_MM)?;
        // What the column may meet when it is tilted, up to 10 mm above the lowest opposing place.
        let reach = lever * (over.least_mm.abs() + 10.0);
        let opposing = column.triangles(asked.opposing, reach);
        let tissue = column.triangles(asked.restored, lever * 10.0);
        Some(Place { asked, at, along: column.axes()[0], tissue, opposing })
    }

    /// The body's height, tilted from `opening`.
    fn up(&self, opening: &Direction, tilt: [f64; 2]) -> Option<Direction> {
        let across = opening.cross(&self.along);
        direction(
            opening.into_inner()
                + self.along * tan(tilt[0].to_radians())
                + across * tan(tilt[1].to_radians()),
        )
    }

    fn pose(&self, opening: &Direction, tilt: [f64; 2]) -> Option<Pose> {
        let size = &self.asked.settings;
        let up = self.up(opening, tilt)?;
        let column = Column::rectangle(self.at, up, &self.along, size.length_mm, size.width_mm)?;
        let tissue = column.heights(&self.tissue, f64::NEG_INFINITY)?;
        let opposing = column.heights(&self.opposing, tissue.greatest_mm - REACH_MM)?;
        Some(Pose { room_mm: opposing.least_mm - tissue.greatest_mm, tilt, tissue, opposing })
    }

    /// The best pose over the tilts allowed. One that leans off the opposing surface does not count.
    fn best(&self, opening: &Direction) -> Option<Pose> {
        let upright = self.pose(opening, [0.0; 2])?;
        let most = self.asked.settings.tilt_deg;
        let least_cover = upright.opposing.covered.min(COVERED) - 1e-9;
        let mut best = upright;
        let mut step = most;
        while step >= TILT_STEP_DEG {
            let centre = best.tilt;
            for (i, j) in [(1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (1, -1), (-1, 1), (-1, -1)] {
                let diagonal = if i != 0 && j != 0 { std::f64::consts::FRAC_1_SQRT_2 } else { 1.0 };
                let mut tilt =
                    [centre[0] + f64::from(i) * diagonal * step, centre[1] + f64::from(j) * diagonal * step];
                let size = hypot(tilt[0], tilt[1]);
                if size > most {
                    tilt = tilt.map(|t| t * most / size);
                }
                if let Some(pose) = self.pose(opening, tilt)
                    && pose.opposing.covered >= least_cover
                    && pose.room_mm > best.room_mm
                {
                    best = pose;
                }
            }
            if best.tilt == centre {
                step /= 2.0;
            }
        }
        Some(best)
    }
}

/// The best room in the zone behind the abutment.
///
/// # Errors
/// The crest or the zone is shorter than the footprint; no opposing surface is there; the crest lies off the scan.
pub fn best(asked: &SiteAsked<'_>) -> Measured<SiteRoom> {
    let size = asked.settings;
    let line = CrestLine::new(asked.crest)
        .ok_or_else(|| NotMeasured::new("the crest line has no length", "[marks] crests"))?;
    let places = places(asked, &line)?;
    let mut best: Option<(f64, Place<'_>, Pose)> = None;
    let mut worst: Option<(f64, f64)> = None;
    let posed = |s: f64| Place::new(asked, &line, s).and_then(|p| Some((s, p.best(&asked.opening)?, p)));
    for (s, pose, place) in places.into_par_iter().filter_map(posed).collect::<Vec<_>>() {
        if worst.is_none_or(|w| pose.room_mm < w.0) {
            worst = Some((pose.room_mm, s));
        }
        let rank = |p: &Pose| (p.opposing.covered >= COVERED, p.room_mm);
        if best.as_ref().is_none_or(|b| rank(&pose) > rank(&b.2)) {
            best = Some((s, place, pose));
        }
    }
    let (Some((s, place, pose)), Some(worst)) = (best, worst) else {
        return Err(NotMeasured::new(
            "there is no opposing surface here",
            "a scan of the opposing arch that reaches over the site",
        ));
    };
    let per_degree_mm = [[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0]]
        .into_iter()
        .filter_map(|tilt| place.best(&place.up(&asked.opening, tilt)?))
        .map(|other| (other.room_mm - pose.room_mm).abs())
        .fold(0.0, f64::max);
    let across = asked.opening.cross(&place.along) * SHIFT_MM;
    let per_shift_mm = [across, -across]
        .into_iter()
        .filter_map(|shift| Place::around(asked, place.at + shift, place.along)?.best(&asked.opening))
        .map(|other| (other.room_mm - pose.room_mm).abs())
        .fold(0.0, f64::max);
    let upright = Column::rectangle(place.at, asked.opening, &place.along, size.length_mm, size.width_mm);
    let gap = upright.and_then(|c| c.least_gap(&place.tissue, &place.opposing, -REACH_MM));
    let clear = clear_of_abutment_mm(asked, &line, s);
    Ok(SiteRoom {
        from_mm: clear,
        to_mm: clear + size.length_mm,
        along_crest_mm: [s - size.length_mm / 2.0, s + size.length_mm / 2.0],
        room_mm: pose.room_mm,
        tilt_deg: pose.tilt,
        at: place.at,
        tissue_at: pose.tissue.greatest_at,
        opposing_at: pose.opposing.least_at,
        pointwise_mm: gap.map(|g| g.mm),
        worst,
        covered: pose.opposing.covered,
        tissue_covered: pose.tissue.covered,
        per_degree_mm,
        per_shift_mm,
    })
}

/// Distance in plan from the abutment's surface to the near end of a body centred at `s` on the crest, mm.
pub(super) fn clear_of_abutment_mm(asked: &SiteAsked<'_>, line: &CrestLine, s: f64) -> f64 {
    let half = asked.settings.length_mm / 2.0;
    let reach = || -> Option<f64> {
        // In plan: along a crest that falls, what stands high in front would seem farther away.
        let (chord, up) = (line.chord(s, half), asked.opening.into_inner());
        let along = direction(chord - up * chord.dot(&up))?;
        let across = up.cross(&along);
        let at = line.at(s);
        asked
            .crown
            .iter()
            .map(|p| p - at)
            .filter(|v| v.dot(&across).abs() <= asked.settings.width_mm / 2.0)
            .map(|v| v.dot(&along))
            .fold(None, |far: Option<f64>, x| Some(far.map_or(x, |f| f.max(x))))
    };
    reach().map_or(s - half, |front| -front - half)
}

/// Distance along the crest of its place nearest to a point, mm, to a tenth of a millimetre.
fn nearest_mm(line: &CrestLine, at: &Point) -> f64 {
    let mut best: Option<(f64, f64)> = None;
    for (s, p) in line.stations(0.1) {
        let far = (p - at).norm();
        if best.is_none_or(|(least, _)| far < least) {
            best = Some((far, s));
        }
    }
    best.map_or(0.0, |(_, s)| s)
}

/// Centres along the crest at which the footprint lies in the zone and clear of the abutment.
///
/// Both are measured from the crown's surface along the body, across the opening direction: the slope of the gingiva
/// down from the abutment's margin takes nothing from the zone. Where no crown stands in front of the body, the
/// crest's first station is taken for its surface.
fn places(asked: &SiteAsked<'_>, line: &CrestLine) -> Measured<Vec<f64>> {
    let size = asked.settings;
    let half = size.length_mm / 2.0;
    if let Some(at) = asked.at {
        return Ok(vec![nearest_mm(line, &at)]);
    }
    let end = size.zone_mm.min(line.length_mm());
    let in_zone = |s: f64| {
        let clear = clear_of_abutment_mm(asked, line, s);
        clear >= size.clear_mm - 1e-9 && clear + size.length_mm <= size.zone_mm + 1e-9
    };
    let (first, last) = if asked.crown.is_empty() {
        (half + size.clear_mm, end - half)
    } else {
        (half, line.length_mm() - half)
    };
    let count = ((last - first) / PLACE_STEP_MM).ceil().max(0.0) as usize;
    let places: Vec<f64> = (0..=count)
        .map(|k| if count == 0 { first } else { first + (last - first) * k as f64 / count as f64 })
        .filter(|&s| s <= last + 1e-9 && in_zone(s))
        .collect();
    if places.is_empty() {
        return Err(NotMeasured::new(
            format!(
                "the crest between {} clear of the abutment and {} behind it is shorter than the footprint of {}",
                units::mm(size.clear_mm),
                units::mm(end),
                units::mm(size.length_mm)
            ),
            "a shorter attachment, a crest that is marked to its end, or [limits] site_length_mm where it may reach farther back",
        ));
    }
    Ok(places)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::shapes::{sheet, up};
    use crate::space::{cos, sin};

    fn settings(tilt_deg: f64) -> SiteSettings {
        SiteSettings { zone_mm: 8.0, clear_mm: 1.0, length_mm: 6.0, width_mm: 4.0, tilt_deg }
    }

    fn crest(length: f64, height: impl Fn(f64) -> f64) -> Vec<Point> {
        (0..=(length / 0.5) as usize).map(|k| 0.5 * k as f64).map(|x| Point::new(x, 0.0, height(x))).collect()
    }

    fn room(
        tissue: impl Fn(f64, f64) -> f64,
        over: impl Fn(f64, f64) -> f64,
        tilt_deg: f64,
    ) -> Measured<SiteRoom> {
        let line = crest(12.0, |x| tissue(x, 0.0));
        let restored = Surface::new(&sheet(30.0, 0.3, true, tissue));
        let opposing = Surface::new(&sheet(30.0, 0.25, false, over));
        let settings = settings(tilt_deg);
        best(&SiteAsked {
            restored: &restored,
            opposing: &opposing,
            opening: up(),
            crest: &line,
            crown: &[],
            at: None,
            settings,
        })
    }

    #[test]
    fn between_plates_the_room_is_their_distance() {
        let r = room(|_, _| 0.0, |_, _| 5.4, 5.0).unwrap();
        assert!((r.room_mm - 5.4).abs() < 1e-9 && (r.pointwise_mm.unwrap() - 5.4).abs() < 1e-9);
        assert_eq!((r.from_mm, r.to_mm, r.tilt_deg), (1.0, 7.0, [0.0, 0.0]));
        assert!(r.covered > 0.999 && r.tissue_covered > 0.999);
        let overlap = room(|_, _| 0.0, |_, _| -0.5, 5.0).unwrap();
        assert!((overlap.room_mm + 0.5).abs() < 1e-9);
    }

    /// A crest 1 mm high along one side, a cusp row 1 mm deep along the other.
    fn crest_and_cusp(tilt_deg: f64) -> SiteRoom {
        let bump = |t: f64| (1.0 - 4.0 * t.abs()).max(0.0);
        room(|_, y| bump(y + 1.5), |_, y| 7.0 - bump(y - 1.5), tilt_deg).unwrap()
    }

    #[test]
    fn crest_on_one_side_and_cusp_on_the_other_hold_5_where_6_reads() {
        let upright = crest_and_cusp(0.0);
        assert!((upright.pointwise_mm.unwrap() - 6.0).abs() < 1e-9, "{upright:?}");
        assert!((upright.room_mm - 5.0).abs() < 1e-9);
        // Leaning away from both it gains: the two summits are 3 mm apart across and 5 mm in height.
        let tilted = crest_and_cusp(5.0);
        let a = 5.0_f64.to_radians();
        assert!((tilted.room_mm - (5.0 * cos(a) + 3.0 * sin(a))).abs() < 0.005, "{tilted:?}");
        assert!((tilted.tilt_deg[1].abs() - 5.0).abs() < 0.1);
        assert!((tilted.pointwise_mm.unwrap() - 6.0).abs() < 1e-9);
    }

    #[test]
    fn between_tilted_plates_a_body_that_may_tilt_gains() {
        let slope = tan(4.0_f64.to_radians());
        let (low, high) = (|_: f64, y: f64| slope * y, |_: f64, y: f64| 6.0 + slope * y);
        let upright = room(low, high, 0.0).unwrap();
        assert!((upright.room_mm - (6.0 - 4.0 * slope)).abs() < 1e-9);
        let tilted = room(low, high, 5.0).unwrap();
        assert!((tilted.room_mm - 6.0 * cos(4.0_f64.to_radians())).abs() < 0.003, "{tilted:?}");
        assert!((tilted.tilt_deg[1] + 4.0).abs() < 0.1 && tilted.tilt_deg[0].abs() < 0.1);
    }

    #[test]
    fn the_best_place_is_where_the_ridge_is_lowest() {
        // The ridge falls 0.1 mm a millimetre and the plate is level: the far end of the zone has most room.
        let r = room(|x, _| -0.1 * x, |_, _| 5.0, 0.0).unwrap();
        // `s` runs down the slope; the highest tissue is under the front edge, 3 mm before the centre.
        let under_front = |s: f64| 5.0 + 0.1 * (s / 1.01_f64.sqrt() - 3.0);
        assert!((r.to_mm - 8.0).abs() < 1e-9 && (r.room_mm - under_front(5.0)).abs() < 1e-9, "{r:?}");
        assert!((r.worst.0 - under_front(4.0)).abs() < 1e-9 && (r.worst.1 - 4.0).abs() < 1e-9);
    }

    #[test]
    fn a_ridge_narrower_than_the_footprint_is_judged_by_its_crest() {
        let r = room(|_, y| -2.0 * y * y, |_, _| 5.0, 5.0).unwrap();
        assert!((r.room_mm - 5.0).abs() < 1e-9, "{r:?}");
    }

    #[test]
    fn the_abutments_bulge_pushes_the_body_back() {
        let (restored, opposing) = (
            Surface::new(&sheet(30.0, 0.3, true, |_, _| 0.0)),
            Surface::new(&sheet(30.0, 0.3, false, |_, _| 5.0)),
        );
        let line = crest(12.0, |_| 0.0);
        let crown = [Point::new(0.4, 0.5, 4.0), Point::new(3.0, 9.0, 4.0)];
        let settings = SiteSettings { length_mm: 3.0, ..settings(0.0) };
        let asked = SiteAsked {
            restored: &restored,
            opposing: &opposing,
            opening: up(),
            crest: &line,
            crown: &crown,
            at: None,
            settings,
        };
        let r = best(&asked).unwrap();
        assert!((1.4 - 1e-9..1.4 + PLACE_STEP_MM).contains(&r.along_crest_mm[0]), "{:?}", r.along_crest_mm);
        assert!((1.0 - 1e-9..1.0 + PLACE_STEP_MM).contains(&r.from_mm), "{}", r.from_mm);
    }

    #[test]
    fn on_a_crest_that_falls_the_abutment_is_kept_clear_of_in_plan() {
        let fall = |x: f64, _: f64| -0.5 * x;
        let restored = Surface::new(&sheet(40.0, 0.3, true, fall));
        let opposing = Surface::new(&sheet(40.0, 0.3, false, |_, _| 15.0));
        let line = crest(20.0, |x| fall(x, 0.0));
        // A crown whose back stands 8 mm over the ridge, a millimetre behind the first station.
        let crown = [Point::new(1.0, 0.5, 8.0)];
        let settings = SiteSettings { zone_mm: 16.0, length_mm: 3.0, ..settings(0.0) };
        let (crest, at) = (&line, None);
        let asked = SiteAsked {
            restored: &restored,
            opposing: &opposing,
            opening: up(),
            crest,
            crown: &crown,
            at,
            settings,
        };
        let line = CrestLine::new(crest).unwrap();
        for s in [4.0, 6.0, 8.0] {
            let front = line.at(s).x - 1.5;
            assert!((clear_of_abutment_mm(&asked, &line, s) - (front - 1.0)).abs() < 1e-9, "{s}");
        }
    }

    #[test]
    fn what_is_too_short_or_has_nothing_over_it_says_so() {
        let (restored, opposing) = (
            Surface::new(&sheet(30.0, 0.3, true, |_, _| 0.0)),
            Surface::new(&sheet(30.0, 0.3, false, |_, _| 5.0)),
        );
        let ask = |length: f64, opposing: &Surface| {
            let line = crest(length, |_| 0.0);
            best(&SiteAsked {
                restored: &restored,
                opposing,
                opening: up(),
                crest: &line,
                crown: &[],
                at: None,
                settings: settings(5.0),
            })
        };
        assert!(ask(6.5, &opposing).unwrap_err().because.contains("shorter than the footprint"));
        let away = opposing.mesh().moved(&crate::space::Motion::translation(80.0, 0.0, 0.0));
        assert!(ask(12.0, &Surface::new(&away)).unwrap_err().because.contains("no opposing surface"));
        // An opposing border over the middle of the footprint: measured, but known not to cover it.
        let border = opposing.mesh().moved(&crate::space::Motion::translation(19.0, 0.0, 0.0));
        let r = ask(12.0, &Surface::new(&border)).unwrap();
        assert!(!r.is_covered() && r.covered > 0.3);
    }
}
