//! The best pose within the play, and the freedom left there.

use super::{Fit, FitAsked, Pose, meets};
use crate::estimate::{Measured, NotMeasured};
use crate::measure::clearance::REACH_MM;
use crate::measure::column::Column;
use crate::measure::crest_line::CrestLine;
use crate::measure::site_room;
use crate::space::{direction, hypot};

/// First steps of the search along the crest, across it, and of both tilts.
const STEPS: [f64; 4] = [0.5, 0.5, 2.0, 2.0];
/// How often they are halved.
const HALVED: usize = 5;
/// Share of the footprint that must have opposing surface over it.
const COVERED: f64 = 0.95;
/// Room that a shift off the crest has to gain, mm a mm: less is not worth leaving the crest for.
const SHIFT_GAIN: f64 = 0.05;
/// Room that a tilt has to gain, mm a degree.
const TILT_GAIN_MM: f64 = 0.02;
/// Step by which freedom is walked, mm.
const WALK_MM: f64 = 0.1;
/// Farthest that it is walked, mm.
const WALK_MOST_MM: f64 = 5.0;

/// How far a seated body may be shifted, mm, one way at a time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Freedom {
    /// Along the crest, toward the abutment and away from it.
    pub along_mm: [f64; 2],
    /// Across the crest, against [`Pose::across`] and along it.
    pub across_mm: [f64; 2],
    /// Along its height.
    pub vertical_mm: f64,
}

/// How far a place may pass the edge of the play: a start that was rounded to six digits still lies on it.
const ROUNDED: f64 = 2e-6;

/// Place along the crest, shift across it, tilts.
type Place = [f64; 4];

/// The underside on the crest, with the gaps under and over the body along its height, mm.
struct Tried {
    pose: Pose,
    below_mm: f64,
    above_mm: f64,
}

impl Tried {
    fn total_mm(&self) -> f64 {
        self.below_mm + self.above_mm
    }

    /// Room less what a place off the crest and a tilt have to gain.
    fn worth_mm(&self, [_, shift, tilt_along, tilt_across]: Place) -> f64 {
        self.total_mm() - SHIFT_GAIN * shift.abs() - TILT_GAIN_MM * hypot(tilt_along, tilt_across)
    }
}

struct Search<'a> {
    asked: &'a FitAsked<'a>,
    line: CrestLine,
}

impl Search<'_> {
    fn allowed(&self, [s, t, tx, ty]: Place) -> bool {
        let size = &self.asked.site.settings;
        let clear = site_room::clear_of_abutment_mm(self.asked.site, &self.line, s);
        // A place that was marked is left by no more than the shift allowed.
        let held =
            self.asked.site.at.is_none() || (s - self.asked.start.0).abs() <= self.asked.shift_mm + ROUNDED;
        held && (0.0..=self.line.length_mm()).contains(&s)
            && t.abs() <= self.asked.shift_mm + ROUNDED
            && hypot(tx, ty) <= size.tilt_deg + ROUNDED
            && clear >= size.clear_mm - ROUNDED
            && clear + size.length_mm <= size.zone_mm + ROUNDED
    }

    fn at(&self, [s, t, tx, ty]: Place) -> Option<Tried> {
        let FitAsked { site, body, .. } = self.asked;
        let along = self.asked.along.unwrap_or_else(|| self.line.chord(s, body.length_mm() / 2.0));
        // The shift goes square to the opening direction, whatever the tilt.
        let aside = direction(site.opening.cross(&along))?.into_inner();
        let pose = Pose::leaning(self.line.at(s) + aside * t, &along, &site.opening, [tx, ty])?;
        let up = pose.up();
        let column =
            Column::rectangle(pose.at, up, &pose.along().into_inner(), body.length_mm(), body.width_mm())?;
        let tissue = column.triangles(site.restored, 0.0);
        let opposing = column.triangles(site.opposing, 0.0);
        let ground = column.heights(&tissue, -REACH_MM)?;
        let ceiling = column.heights(&opposing, ground.greatest_mm - REACH_MM)?;
        let (below_mm, above_mm) = if body.is_box() {
            (-ground.greatest_mm, ceiling.least_mm - body.height_mm())
        } else {
            let placed = body.placed(&pose);
            let far = -2.0 * REACH_MM;
            (column.least_gap(&tissue, &placed, far)?.mm, column.least_gap(&placed, &opposing, far)?.mm)
        };
        (ceiling.covered >= COVERED).then_some(Tried { pose, below_mm, above_mm })
    }

    fn needed_mm(&self) -> f64 {
        self.asked.relief_mm + self.asked.over_mm
    }

    /// Climbs from a start, one coordinate at a time, halving the steps.
    fn climb(&self, start: Place) -> Option<(Place, Tried)> {
        let mut best = (start, self.at(start)?);
        let mut steps = STEPS;
        for _ in 0..HALVED {
            loop {
                let centre = best.0;
                for k in 0..4 {
                    for sign in [1.0, -1.0] {
                        let mut place = best.0;
                        place[k] += sign * steps[k];
                        if let Some(tried) = Some(place).filter(|&p| self.allowed(p)).and_then(|p| self.at(p))
                            && tried.worth_mm(place) > best.1.worth_mm(best.0) + 1e-6
                        {
                            best = (place, tried);
                        }
                    }
                }
                if best.0 == centre {
                    break;
                }
            }
            steps = steps.map(|s| s / 2.0);
        }
        Some(best)
    }

    /// Way from a place, one coordinate changed, until the body does not fit any more.
    fn walk(&self, from: Place, coordinate: usize, sign: f64) -> f64 {
        let fits = |way: f64| {
            let mut place = from;
            place[coordinate] += sign * way;
            self.allowed(place) && self.at(place).is_some_and(|t| t.total_mm() >= self.needed_mm())
        };
        let steps = (WALK_MOST_MM / WALK_MM) as usize;
        (1..=steps).take_while(|&k| fits(WALK_MM * k as f64)).count() as f64 * WALK_MM
    }
}

/// The body at its best pose.
///
/// # Errors
/// No place from which the search can start: nothing under or over the footprint.
pub fn best(asked: &FitAsked<'_>) -> Measured<Fit> {
    let none = || {
        NotMeasured::new(
            "the body finds no place with tissue under and opposing surface over it",
            "a scan of the opposing arch that reaches over the site, or a smaller attachment",
        )
    };
    let line = CrestLine::new(asked.site.crest).ok_or_else(none)?;
    let search = Search { asked, line };
    let (s, tilt) = asked.start;
    let (place, tried) = search.climb([s, 0.0, tilt[0], tilt[1]]).ok_or_else(none)?;
    let spare_mm = tried.total_mm() - search.needed_mm();
    let pose = tried.pose.lifted(asked.relief_mm - tried.below_mm);
    let over_mm = tried.total_mm() - asked.relief_mm;
    let freedom = (spare_mm >= 0.0).then(|| Freedom {
        along_mm: [search.walk(place, 0, -1.0), search.walk(place, 0, 1.0)],
        across_mm: [search.walk(place, 1, -1.0), search.walk(place, 1, 1.0)],
        vertical_mm: spare_mm,
    });
    let [s_mm, across_mm, tilt_along, tilt_across] = place;
    Ok(Fit {
        s_mm,
        across_mm,
        tilt_deg: [tilt_along, tilt_across],
        pose,
        over_mm,
        spare_mm,
        meets: meets(asked, &pose, [asked.relief_mm, over_mm]),
        freedom,
    })
}
