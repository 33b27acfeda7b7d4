//! Quantity: distance along the crest of the residual ridge.
//!
//! Definition: length of the crest line from its first station, which lies at the abutment in front of the span.
//!
//! Frame and units: the file's own axes, mm.
//!
//! Method and its error: sum of the chords between stations; stations 0.5 mm apart on a crest that bends with a radius
//! of 10 mm cut 0.01 % of the length.
//!
//! Not covered: where the ridge ends distally.
//!
//! Checked by: a straight and a bent crest below.

use crate::space::{Point, Vector};

/// A crest line with the distance of each station.
#[derive(Clone, Debug, PartialEq)]
pub struct CrestLine {
    points: Vec<Point>,
    s_mm: Vec<f64>,
}

impl CrestLine {
    /// A crest line from its stations. `None` where it has no length.
    pub fn new(points: &[Point]) -> Option<CrestLine> {
        let mut line = CrestLine { points: Vec::new(), s_mm: Vec::new() };
        for p in points {
            let step = line.points.last().map_or(0.0, |q| (p - q).norm());
            if line.points.is_empty() || step > 0.0 {
                line.s_mm.push(line.length_mm() + step);
                line.points.push(*p);
            }
        }
        (line.length_mm() > 0.0).then_some(line)
    }

    /// Its length, mm.
    pub fn length_mm(&self) -> f64 {
        self.s_mm.last().copied().unwrap_or(0.0)
    }

    /// Place at the distance `s_mm`, which is kept between both ends.
    pub fn at(&self, s_mm: f64) -> Point {
        let s = s_mm.clamp(0.0, self.length_mm());
        let k = self.s_mm.partition_point(|&v| v < s).clamp(1, self.s_mm.len() - 1);
        let share = (s - self.s_mm[k - 1]) / (self.s_mm[k] - self.s_mm[k - 1]);
        self.points[k - 1] + (self.points[k] - self.points[k - 1]) * share
    }

    /// Chord from `s_mm - half_mm` to `s_mm + half_mm`: the direction in which a body of that length lies.
    pub fn chord(&self, s_mm: f64, half_mm: f64) -> Vector {
        self.at(s_mm + half_mm) - self.at(s_mm - half_mm)
    }

    /// Stations with their distances: those of the line, and more between them where they are over `most_mm` apart.
    pub fn stations(&self, most_mm: f64) -> Vec<(f64, Point)> {
        let mut stations = vec![(0.0, self.points[0])];
        for k in 1..self.points.len() {
            let (from, to) = (self.s_mm[k - 1], self.s_mm[k]);
            let parts = ((to - from) / most_mm).ceil().max(1.0);
            for i in 1..=parts as usize {
                let s = from + (to - from) * (i as f64 / parts);
                stations.push((s, if i as f64 == parts { self.points[k] } else { self.at(s) }));
            }
        }
        stations
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_crest_is_measured_along_its_bends() {
        let p = |x: f64, y: f64| Point::new(x, y, 0.0);
        let line = CrestLine::new(&[p(0., 0.), p(0., 0.), p(3., 0.), p(3., 4.)]).unwrap();
        assert_eq!(line.length_mm(), 7.0);
        assert_eq!(line.at(5.0), p(3., 2.));
        assert_eq!(line.at(99.0), p(3., 4.));
        let stations = line.stations(0.5);
        assert!(stations.windows(2).all(|w| w[1].0 - w[0].0 <= 0.5 + 1e-12 && w[1].0 > w[0].0));
        assert_eq!(stations.last().unwrap().1, p(3., 4.));
        assert!(CrestLine::new(&[p(1., 1.); 3]).is_none());
    }
}
