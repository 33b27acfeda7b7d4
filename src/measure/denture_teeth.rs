//! Quantity: room for the denture teeth over an edentulous span: height, buccolingual corridor, mesiodistal length.
//!
//! Definition: the teeth to be replaced stand along the crest from the abutment backwards, each as wide as an average
//! crown (trade facts, section 12.1). Height of a tooth's place is the least interarch distance along the opening
//! direction over its stretch of crest; there is none where opposing surface is missing over more than a twentieth of it. Its corridor is how far to either side of the crest, in the section through the
//! middle of its stretch, that distance from the tissue stays at or above the height wanted. Length is what the neighbouring
//! crowns leave between them in plan, across a strip of 5 mm over the crest; behind the last abutment, the crest's length.
//!
//! Frame and units: mm; the crest runs from the abutment in front of the span backwards.
//!
//! Method and its error: rays on the triangles, exact at each station; stations 0.5 mm apart along the crest and 0.25 mm
//! across it, so that a corridor is known to 0.25 mm. Average widths differ from a patient's by about a tenth.
//!
//! Not covered: cheek and tongue, which the scan does not show; the form of denture teeth, which are chosen.
//!
//! Checked by: plates, a trough and two walls below.

use crate::case::Tooth;
use crate::locate::Surface;
use crate::measure::clearance::Antagonist;
use crate::measure::crest_line::CrestLine;
use crate::measure::site_room::COVERED;
use crate::space::{Direction, Point, Vector, direction};

/// Way between stations along the crest, mm.
const STEP_MM: f64 = 0.5;
/// Way between stations across it, mm.
const ACROSS_MM: f64 = 0.25;
/// Farthest that a corridor is followed, mm.
const FARTHEST_MM: f64 = 8.0;
/// Half the width of the strip over the crest in which neighbours bound the length, mm.
const STRIP_MM: f64 = 2.5;
/// From how far over the crest the tissue beside it is looked for, mm.
const ABOVE_MM: f64 = 6.0;

/// A tooth to be replaced.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wanted {
    /// Its number.
    pub tooth: Tooth,
    /// Its mesiodistal width, mm.
    pub width_mm: f64,
}

/// A span to be filled.
#[derive(Clone, Copy, Debug)]
pub struct Asked<'a> {
    /// Teeth from the abutment in front backwards.
    pub teeth: &'a [Wanted],
    /// The crest.
    pub crest: &'a CrestLine,
    /// The restored arch.
    pub restored: &'a Surface,
    /// The other arch.
    pub antagonist: &'a Antagonist<'a>,
    /// Crown in front of the span; empty where it is not known.
    pub front: &'a [Point],
    /// Crown behind it; empty where there is none or it is not known.
    pub back: &'a [Point],
    /// Height wanted over the tissue, mm.
    pub height_mm: f64,
}

/// A tooth's place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// Its number.
    pub tooth: Tooth,
    /// Its stretch of crest, mm from the front.
    pub along_crest_mm: [f64; 2],
    /// Least interarch distance over it, mm; `None` where nothing stands opposite, or not over all of it.
    pub height_mm: Option<f64>,
    /// Share of its stretch over which opposing surface stands, 0 to 1.
    pub covered: f64,
    /// Where that is, mm.
    pub at: Point,
    /// How far the corridor reaches along `across` and against it, mm; `None` where even the crest has less.
    pub corridor_mm: Option<[f64; 2]>,
    /// Across the crest: opening direction cross the crest's direction.
    pub across: Direction,
    /// By how much it stands beyond the length there is, mm.
    pub beyond_mm: f64,
}

/// Room along a span.
#[derive(Clone, Debug, PartialEq)]
pub struct TeethRoom {
    /// Length there is, mm.
    pub length_mm: f64,
    /// Length that the teeth need, mm.
    pub needed_mm: f64,
    /// Their places.
    pub places: Vec<Place>,
}

/// Measures the room of every tooth. `None` where no tooth is to be replaced or the crest has no direction.
pub fn room(asked: &Asked<'_>) -> Option<TeethRoom> {
    let needed_mm: f64 = asked.teeth.iter().map(|t| t.width_mm).sum();
    let length_mm = length_mm(asked)?;
    let on_crest = asked.crest.length_mm();
    // Between two crowns the places share the crest; behind the last abutment each has its own width of it.
    let scale = if asked.back.is_empty() { 1.0 } else { on_crest / needed_mm.max(1e-9) };
    let mut from = 0.0;
    let mut places = Vec::new();
    let mut needed_so_far = 0.0;
    for wanted in asked.teeth {
        needed_so_far += wanted.width_mm;
        let to = from + wanted.width_mm * scale;
        let beyond_mm = (needed_so_far - length_mm).clamp(0.0, wanted.width_mm);
        places.push(place(asked, wanted.tooth, [from.min(on_crest), to.min(on_crest)], beyond_mm)?);
        from = to;
    }
    (!places.is_empty()).then_some(TeethRoom { length_mm, needed_mm, places })
}

/// Length between the neighbours in plan, mm.
fn length_mm(asked: &Asked<'_>) -> Option<f64> {
    let whole = asked.crest.length_mm();
    if asked.front.is_empty() || asked.back.is_empty() {
        return Some(whole);
    }
    let up = asked.antagonist.opening();
    let (first, last) = (asked.crest.at(0.0), asked.crest.at(whole));
    let chord = last - first;
    let along = direction(chord - up.into_inner() * chord.dot(up))?;
    let across = up.cross(&along);
    let reach = |crown: &[Point], sign: f64| {
        crown
            .iter()
            .map(|p| p - first)
            .filter(|v| v.dot(&across).abs() <= STRIP_MM)
            .map(|v| sign * v.dot(&along))
            .fold(None, |far: Option<f64>, x| Some(far.map_or(x, |f| f.max(x))))
    };
    match (reach(asked.front, 1.0), reach(asked.back, -1.0)) {
        (Some(front), Some(back)) => Some((-back - front).max(0.0)),
        _ => Some(whole),
    }
}

fn place(asked: &Asked<'_>, tooth: Tooth, [from, to]: [f64; 2], beyond_mm: f64) -> Option<Place> {
    let up = asked.antagonist.opening();
    let middle = (from + to) / 2.0;
    let chord = asked.crest.chord(middle, ((to - from) / 2.0).max(1.0));
    let across = direction(up.cross(&chord))?;
    let count = ((to - from) / STEP_MM).ceil().max(1.0) as usize;
    let met: Vec<(f64, Point)> = (0..=count)
        .map(|k| asked.crest.at(from + (to - from) * k as f64 / count as f64))
        .filter_map(|p| Some((asked.antagonist.along(&p)?.mm, p)))
        .collect();
    let covered = met.len() as f64 / (count + 1) as f64;
    let least = met.into_iter().min_by(|a, b| a.0.total_cmp(&b.0)).filter(|_| covered >= COVERED);
    let at_middle = asked.crest.at(middle);
    Some(Place {
        tooth,
        along_crest_mm: [from, to],
        height_mm: least.map(|l| l.0),
        covered,
        at: least.map_or(at_middle, |l| l.1),
        corridor_mm: corridor(asked, &at_middle, &across.into_inner()),
        across,
        beyond_mm,
    })
}

/// How far to either side the height wanted is there.
fn corridor(asked: &Asked<'_>, crest: &Point, across: &Vector) -> Option<[f64; 2]> {
    let up = asked.antagonist.opening();
    let enough = |offset: f64| {
        let from = crest + across * offset + up.into_inner() * ABOVE_MM;
        let tissue = asked.restored.cast(&from, &-*up, 2.0 * ABOVE_MM + FARTHEST_MM);
        let room = tissue.and_then(|hit| asked.antagonist.along(&hit.at));
        room.is_some_and(|r| r.mm >= asked.height_mm)
    };
    let reach = |sign: f64| {
        let steps = (FARTHEST_MM / ACROSS_MM) as usize;
        (1..=steps).take_while(|&k| enough(sign * ACROSS_MM * k as f64)).count() as f64 * ACROSS_MM
    };
    enough(0.0).then(|| [reach(1.0), reach(-1.0)])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::shapes::{sheet, up};

    fn teeth(widths: &[(u8, f64)]) -> Vec<Wanted> {
        widths.iter().map(|&(n, width_mm)| Wanted { tooth: Tooth::fdi(n).unwrap(), width_mm }).collect()
    }

    fn measured(
        widths: &[(u8, f64)],
        length: f64,
        over: impl Fn(f64, f64) -> f64,
        crowns: [&[Point]; 2],
    ) -> TeethRoom {
        let points: Vec<Point> =
            (0..=(2.0 * length) as usize).map(|k| Point::new(0.5 * k as f64, 0., 0.)).collect();
        let crest = CrestLine::new(&points).unwrap();
        let restored = Surface::new(&sheet(60.0, 0.5, true, |_, _| 0.0));
        let opposing = Surface::new(&sheet(60.0, 0.25, false, over));
        let antagonist = Antagonist::new(&opposing, &up());
        room(&Asked {
            teeth: &teeth(widths),
            crest: &crest,
            restored: &restored,
            antagonist: &antagonist,
            front: crowns[0],
            back: crowns[1],
            height_mm: 5.0,
        })
        .unwrap()
    }

    #[test]
    fn behind_the_abutment_each_tooth_has_its_own_stretch_and_the_last_may_hang_over_the_end() {
        let r = measured(&[(36, 11.0), (37, 10.5)], 20.0, |x, _| 6.0 - 0.05 * x, [&[], &[]]);
        assert_eq!((r.length_mm, r.needed_mm), (20.0, 21.5));
        assert_eq!(r.places[0].along_crest_mm, [0.0, 11.0]);
        assert_eq!(r.places[1].along_crest_mm, [11.0, 20.0]);
        assert!((r.places[0].beyond_mm, r.places[1].beyond_mm) == (0.0, 1.5));
        assert!((r.places[0].height_mm.unwrap() - 5.45).abs() < 1e-9, "{:?}", r.places[0]);
        assert!((r.places[1].height_mm.unwrap() - 5.0).abs() < 1e-9);
    }

    #[test]
    fn where_opposing_surface_is_missing_over_a_place_it_has_no_height() {
        let points: Vec<Point> = (0..=40).map(|k| Point::new(0.5 * f64::from(k), 0., 0.)).collect();
        let crest = CrestLine::new(&points).unwrap();
        let whole = sheet(60.0, 0.25, false, |_, _| 6.0);
        // Nothing stands over the crest from 15 mm on.
        let part = whole.part(|f| whole.face_centre(f).x < 15.0).0;
        let (restored, opposing) = (Surface::new(&sheet(60.0, 0.5, true, |_, _| 0.0)), Surface::new(&part));
        let antagonist = Antagonist::new(&opposing, &up());
        let teeth = teeth(&[(36, 11.0), (37, 9.0)]);
        let (front, back): (&[Point], &[Point]) = (&[], &[]);
        let asked = Asked {
            teeth: &teeth,
            crest: &crest,
            restored: &restored,
            antagonist: &antagonist,
            front,
            back,
            height_mm: 5.0,
        };
        let r = room(&asked).unwrap();
        assert!((r.places[0].height_mm.unwrap() - 6.0).abs() < 1e-9 && r.places[0].covered == 1.0);
        assert!(r.places[1].height_mm.is_none(), "{:?}", r.places[1]);
        assert!((r.places[1].covered - 4.0 / 9.0).abs() < 0.06, "{:?}", r.places[1]);
    }

    #[test]
    fn a_gap_is_as_long_as_its_neighbours_leave_in_the_strip_over_the_crest() {
        let wall =
            |x: f64| -> Vec<Point> { (-10..=10).map(|k| Point::new(x, 0.5 * f64::from(k), 3.0)).collect() };
        // A bulge far beside the crest does not count.
        let mut front = wall(0.8);
        front.push(Point::new(4.0, 4.0, 3.0));
        let r = measured(&[(45, 7.0)], 8.0, |_, _| 7.0, [&front, &wall(7.3)]);
        assert!((r.length_mm - 6.5).abs() < 1e-12 && (r.places[0].beyond_mm - 0.5).abs() < 1e-12);
        assert_eq!(r.places[0].along_crest_mm, [0.0, 8.0]);
    }

    #[test]
    fn the_corridor_ends_where_the_opposing_surface_comes_down() {
        // 7 mm over the crest, 3 mm beyond 2.6 mm to one side and 4.1 mm to the other.
        let trough = |_: f64, y: f64| if (-4.1..=2.6).contains(&y) { 7.0 } else { 3.0 };
        let r = measured(&[(36, 11.0)], 20.0, trough, [&[], &[]]);
        let [left, right] = r.places[0].corridor_mm.unwrap();
        // Across is opening cross crest: +y. Stations are 0.25 mm apart, the walls slope over one triangle.
        assert!((2.0..=2.6).contains(&left) && (3.5..=4.1).contains(&right), "{left} {right}");
        let low = measured(&[(36, 11.0)], 20.0, |_, _| 4.0, [&[], &[]]);
        assert!(low.places[0].corridor_mm.is_none());
        assert!((low.places[0].height_mm.unwrap() - 4.0).abs() < 1e-9);
    }
}
