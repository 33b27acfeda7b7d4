//! Quantity: the distance of a place from the nearest gingival margin, and whether the framework crosses that margin there.
//!
//! Definition: the margins of all crowns of the cast as lines; a place of one is crossed where a crossing of the framework has a
//! place within 1.2 mm.
//!
//! Frame and units: mm.
//!
//! Method and its error: margins in steps of 0.2 mm, so a distance is up to 0.005 mm too long a millimetre away.
//!
//! Checked by: all places looked through, below.

use super::Cast;
use super::parts::Crossing;
use crate::anatomy::curves;
use crate::case::Tooth;
use crate::space::Point;

/// Spacing of margins, mm.
const MARGIN_STEP_MM: f64 = 0.2;
/// A margin's place is crossed where a crossing has one within this, mm.
const CROSSED_MM: f64 = 1.2;

/// The places of all margins, each with whether the framework crosses it there.
#[derive(Debug)]
pub struct Margins {
    places: Vec<(Point, Tooth, bool)>,
    /// Their indices in the order of `x`.
    by_x: Vec<u32>,
}

impl Margins {
    /// Of all crowns of a cast.
    pub fn new(cast: &Cast<'_>, crossings: &[Crossing]) -> Margins {
        let crossed =
            |p: &Point| crossings.iter().flat_map(|c| &c.margin).any(|q| (p - q).norm() <= CROSSED_MM);
        let mut places = Vec::new();
        for crown in cast.anatomy.crowns.iter().filter(|c| c.margin.len() > 2) {
            let mut closed = crown.margin.clone();
            closed.extend(crown.margin.first().copied());
            places.extend(
                curves::evenly(&closed, MARGIN_STEP_MM).into_iter().map(|p| (p, crown.tooth, crossed(&p))),
            );
        }
        Margins::of(places)
    }

    fn of(places: Vec<(Point, Tooth, bool)>) -> Margins {
        let mut by_x: Vec<u32> = (0..places.len() as u32).collect();
        by_x.sort_by(|a, b| places[*a as usize].0.x.total_cmp(&places[*b as usize].0.x).then(a.cmp(b)));
        Margins { places, by_x }
    }

    /// The nearest place of a margin: distance, tooth, whether it is crossed there. Of two as near, the first one.
    pub fn nearest(&self, p: &Point) -> Option<(f64, Tooth, bool)> {
        let place = |k: usize| &self.places[self.by_x[k] as usize];
        let (mut best2, mut best) = (f64::INFINITY, None);
        let middle = self.by_x.partition_point(|&i| self.places[i as usize].0.x < p.x);
        let (mut low, mut high) = (middle, middle);
        // Outward along x, the nearer side first, until that alone is farther.
        loop {
            let before = low.checked_sub(1).map_or(f64::INFINITY, |k| p.x - place(k).0.x);
            let after = if high < self.by_x.len() { place(high).0.x - p.x } else { f64::INFINITY };
            let beside = before.min(after);
            if !beside.is_finite() || beside * beside > best2 {
                break;
            }
            let k = if before <= after {
                low -= 1;
                low
            } else {
                high += 1;
                high - 1
            };
            let (d2, own) = ((place(k).0 - p).norm_squared(), self.by_x[k]);
            if best.is_none_or(|b| d2 < best2 || (d2 == best2 && own < b)) {
                (best2, best) = (d2, Some(own));
            }
        }
        let nearest = &self.places[best? as usize];
        Some(((nearest.0 - p).norm(), nearest.1, nearest.2))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_place_of_a_margin_is_that_of_all_and_the_first_of_two() {
        let tooth = Tooth::fdi(35).unwrap();
        // Numbers spread by a multiplier, many of them in one plane across x.
        let spread = |k: u32, of: u32| f64::from(k.wrapping_mul(2_654_435_761) / of % 97) / 4.0;
        let place = |k: u32| {
            Point::new(if k.is_multiple_of(3) { 7.0 } else { spread(k, 3) }, spread(k, 7), spread(k, 11))
        };
        let places: Vec<(Point, Tooth, bool)> =
            (0..200).map(|k| (place(k), tooth, k.is_multiple_of(2))).collect();
        let margins = Margins::of(places.clone());
        for k in 0..300 {
            let p = place(1000 + k);
            let by = |a: &&(Point, Tooth, bool), b: &&(Point, Tooth, bool)| {
                (a.0 - p).norm_squared().total_cmp(&(b.0 - p).norm_squared())
            };
            let wanted = places.iter().min_by(by).unwrap();
            assert_eq!(margins.nearest(&p), Some(((wanted.0 - p).norm(), wanted.1, wanted.2)));
        }
        let twice = [true, false].map(|crossed| (Point::new(1.0, 0.0, 0.0), tooth, crossed));
        let at_both_sides = [&twice[..], &[(Point::new(-1.0, 0.0, 0.0), tooth, false)]].concat();
        assert!(Margins::of(at_both_sides).nearest(&Point::origin()).unwrap().2);
        assert_eq!(Margins::of(Vec::new()).nearest(&Point::origin()), None);
    }
}
