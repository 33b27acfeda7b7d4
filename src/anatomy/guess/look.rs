//! From which side most of the curved detail is seen near the top.

use rayon::prelude::*;

use super::features::Feature;
use super::level::Lean;
use crate::space::{Direction, Vector, across, angle_deg, direction};

/// Number of directions looked from.
const DIRECTIONS: usize = 400;
/// Detail within this depth of the top counts, mm.
const DEPTH_MM: f64 = 8.0;
/// A point this far under the greatest height of its cell is still seen, mm; side of a cell, mm.
const SEEN_MM: f64 = 1.0;

/// What was seen.
#[derive(Clone, Copy, Debug)]
pub struct Look {
    /// Mean of the directions about a maximum.
    pub best: Direction,
    /// Share of the detail seen near the top from there.
    pub seen: f64,
    /// The same from the best direction more than 60 degrees away.
    pub seen_elsewhere: f64,
}

/// Looks from all sides: the best direction, then others well apart that see nearly as much, three at most; and from both
/// ends of the axis of a trimmed base, and from where something else suggests.
pub fn around(features: &[Feature], axis: Option<Direction>, hints: &[Lean]) -> Vec<Look> {
    let total: f64 = features.iter().map(|f| f.weight).sum();
    let directions = crate::space::over_the_sphere(DIRECTIONS);
    let scores: Vec<f64> = directions
        .par_iter()
        .map_init(Sight::default, |sight, d| seen_from(features, d, sight) / total)
        .collect();
    let most = scores.iter().copied().fold(0.0, f64::max);
    let mut looks: Vec<Look> = Vec::new();
    while looks.len() < 3 {
        let free = |i: &usize| looks.iter().all(|l| angle_deg(&directions[*i], &l.best) > 35.0);
        let next =
            (0..scores.len()).filter(free).max_by(|&a, &b| scores[a].total_cmp(&scores[b]).then(b.cmp(&a)));
        let Some(best) = next.filter(|&i| scores[i] > 0.7 * most && scores[i] > 0.0) else { break };
        let mut sum = Vector::zeros();
        for (d, s) in directions.iter().zip(&scores) {
            if *s > 0.9 * scores[best] && angle_deg(d, &directions[best]) < 60.0 {
                sum += d.into_inner() * *s;
            }
        }
        let Some(middle) = direction(sum) else { break };
        let elsewhere = (0..scores.len()).filter(|&i| angle_deg(&directions[i], &middle) > 60.0);
        looks.push(Look {
            best: middle,
            seen: scores[best],
            seen_elsewhere: elsewhere.map(|i| scores[i]).fold(0.0, f64::max),
        });
    }
    for end in axis.into_iter().flat_map(|a| [a, -a]).chain(hints.iter().map(|h| h.toward)) {
        if looks.iter().all(|l| angle_deg(&l.best, &end) > 5.0) {
            let elsewhere = (0..scores.len()).filter(|&i| angle_deg(&directions[i], &end) > 60.0);
            looks.push(Look {
                best: end,
                seen: seen_from(features, &end, &mut Sight::default()) / total,
                seen_elsewhere: elsewhere.map(|i| scores[i]).fold(0.0, f64::max),
            });
        }
    }
    looks
}

/// Heights along `d` and which points are seen from there.
pub fn visible(features: &[Feature], d: &Direction) -> (Vec<f64>, Vec<bool>) {
    let mut sight = Sight::default();
    sight.look(features, d);
    (0..features.len()).map(|i| (sight.places[i][2], sight.seen(i))).unzip()
}

/// What is seen from a direction; its room is used again for the next one.
#[derive(Default)]
struct Sight {
    /// Coordinates across and along the direction.
    places: Vec<[f64; 3]>,
    cells: Vec<usize>,
    /// Greatest height of each cell.
    top: Vec<f64>,
}

impl Sight {
    fn look(&mut self, features: &[Feature], d: &Direction) {
        let (u, v) = across(d);
        self.places.clear();
        self.places
            .extend(features.iter().map(|f| [f.at.coords.dot(&u), f.at.coords.dot(&v), f.at.coords.dot(d)]));
        let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        for p in &self.places {
            low = [low[0].min(p[0]), low[1].min(p[1])];
            high = [high[0].max(p[0]), high[1].max(p[1])];
        }
        // A surface that is no arch may be metres wide: cells grow with it.
        let side = SEEN_MM.max((high[0] - low[0]).max(high[1] - low[1]) / 1000.0);
        let cell = |p: &[f64; 3], k: usize| ((p[k] - low[k]) / side) as usize;
        let width = ((high[0] - low[0]) / side) as usize + 1;
        self.top.clear();
        self.top.resize(width * (((high[1] - low[1]) / side) as usize + 1), f64::NEG_INFINITY);
        self.cells.clear();
        self.cells.extend(self.places.iter().map(|p| cell(p, 1) * width + cell(p, 0)));
        for (p, &at) in self.places.iter().zip(&self.cells) {
            self.top[at] = self.top[at].max(p[2]);
        }
    }

    fn seen(&self, i: usize) -> bool {
        self.places[i][2] >= self.top[self.cells[i]] - SEEN_MM
    }
}

fn seen_from(features: &[Feature], d: &Direction, sight: &mut Sight) -> f64 {
    sight.look(features, d);
    let top = sight.places.iter().map(|p| p[2]).fold(f64::NEG_INFINITY, f64::max);
    let near = (0..features.len()).filter(|&i| sight.places[i][2] > top - DEPTH_MM && sight.seen(i));
    near.map(|i| features[i].weight * features[i].normal.dot(d).max(0.0).sqrt()).sum()
}
