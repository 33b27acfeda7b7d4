//! The marginal ridge of one side of a back tooth, and what is cut into it.

use super::FloorAngle;
use super::profile::{self, Flanks, Notch, Profile, smooth, steps};
use super::relief::{Relief, STEP_MM};
use crate::anatomy::sign;

/// How far inside the tooth's outline the crest of its marginal ridge is sought, mm.
const INSET_MM: [f64; 2] = [0.4, 1.2];

/// The marginal ridge as rows square to it.
#[derive(Debug)]
pub struct Ridge {
    /// Column of each row's outer end.
    pub ends: Vec<Option<usize>>,
    /// Height of the crest.
    pub crest: Profile,
}

/// Reads the ridge at the greatest x of a relief.
pub(super) fn ridge(relief: &Relief) -> Ridge {
    let z = |i: usize, j: usize| relief.cell(i, j).map(|c| c.z);
    let ends: Vec<Option<usize>> = (0..relief.size()[1])
        .map(|j| {
            let last = (0..relief.size()[0]).rev().find(|&i| relief.cell(i, j).is_some_and(|c| c.own))?;
            Some(border(&|i| z(i, j), last))
        })
        .collect();
    let ends = middle_values(&ends, steps(0.8));
    let crest = |j: usize| {
        let end = ends[j]?;
        let inset = end.saturating_sub(steps(INSET_MM[1]))..=end.saturating_sub(steps(INSET_MM[0]));
        inset.filter_map(|i| z(i, j)).max_by(f64::total_cmp)
    };
    let crest = smooth(&(0..ends.len()).map(crest).collect(), 2);
    Ridge { ends, crest }
}

/// Each value replaced by the middle one of those within `reach`.
fn middle_values(values: &[Option<usize>], reach: usize) -> Vec<Option<usize>> {
    (0..values.len())
        .map(|j| {
            values[j]?;
            let mut near: Vec<usize> = values[j.saturating_sub(reach)..values.len().min(j + reach + 1)]
                .iter()
                .flatten()
                .copied()
                .collect();
            near.sort_unstable();
            near.get(near.len() / 2).copied()
        })
        .collect()
}

/// Where the tooth ends in a row whose last own column is `last`: at a valley near there, else where the surface begins
/// to climb a neighbour's wall, else at `last`.
fn border(z: &dyn Fn(usize) -> Option<f64>, last: usize) -> usize {
    let (from, to) = (last.saturating_sub(steps(1.0)), last + steps(0.8));
    let highest = |a: usize, b: usize| (a..=b).filter_map(z).fold(f64::NEG_INFINITY, f64::max);
    let reach = steps(0.6);
    let valleys = (from..=to).filter(|&i| {
        z(i).is_some_and(|low| {
            let beside = |k: usize| z(k).is_none_or(|h| h >= low);
            beside(i + 1)
                && i > 0
                && beside(i - 1)
                && highest(i.saturating_sub(reach), i) > low + 0.1
                && highest(i, i + reach) > low + 0.2
        })
    });
    let nearest = valleys.min_by_key(|&i| (i.abs_diff(last), i));
    nearest
        .or_else(|| {
            let bend = |i: usize| Some(z(i.checked_sub(3)?)? + z(i + 3)? - 2.0 * z(i)?);
            let climbs = |i: usize| z(i).zip(z(i + 4)).is_some_and(|(a, b)| b - a > 0.3);
            (from..=to)
                .filter(|&i| climbs(i))
                .filter_map(|i| Some((i, bend(i)?)))
                .max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)))
                .map(|b| b.0)
        })
        .unwrap_or(last)
}

/// Way inward over which the slope of a floor is read, mm.
const FALL_MM: f64 = 0.8;

/// A cut through the ridge.
#[derive(Debug)]
pub(super) struct Cut {
    pub notch: Notch,
    /// Column and row of the floor.
    pub floor: [usize; 2],
    pub depth_mm: f64,
    /// Mean slope inward from the floor: how much it falls a mm.
    pub fall: f64,
    /// How far the surface rises inward of the floor's lowest place, mm.
    pub rise_mm: f64,
    /// From the outline inward to the end of the floor, mm.
    pub length_mm: f64,
    /// How the floor is curved.
    pub bowl: Option<Bowl>,
}

impl Cut {
    /// How much its shape is that of a prepared seat, 0 to 1. Each factor tells a cut from a fossa behind a whole or a worn
    /// ridge; where they begin and end was set by looking at untouched teeth and at seats of many depths.
    pub fn likeness(&self, floor: &FloorAngle) -> f64 {
        let (width, depth) = (self.notch.width_mm(), self.depth_mm);
        let wall = self.notch.shoulders[0].wall.min(self.notch.shoulders[1].wall);
        let smooth = self.bowl.map_or(0.0, |b| {
            (1.0 - sign(b.rough_mm, 0.025, 0.06))
                * sign(b.along, -0.3, 0.05)
                * sign(b.across, 0.15, 0.4)
                * sign(b.own, 0.5, 0.75)
        });
        smooth
            * sign(depth, 0.35, 0.7)
            * sign(depth / width.max(0.1), 0.14, 0.2)
            * sign(wall, 0.2, 0.45)
            * (1.0 - sign(self.fall, 0.25, 0.5))
            * sign(width, 2.0, 2.6)
            * (1.0 - sign(width - 0.8 * sign(depth, 1.4, 1.9), 5.0, 6.0))
            * sign(self.rise_mm, 0.05, 0.5)
            * (1.0 - sign(floor.angle_deg, 112.0, 130.0))
    }
}

/// Reads the deepest cut; `None` where the ridge has none with two shoulders.
pub(super) fn read(relief: &Relief, ridge: &Ridge) -> Option<Cut> {
    let known: Vec<usize> = (0..ridge.crest.len()).filter(|&j| ridge.crest[j].is_some()).collect();
    let (first, last) = (*known.first()?, *known.last()?);
    let (middle, half) = ((first + last) / 2, (last - first) / 2);
    let bottom = profile::basin(&ridge.crest, middle.saturating_sub(half * 6 / 10), middle + half * 6 / 10)?;
    let notch = profile::notch(&ridge.crest, bottom, 2.8, Flanks::Valley)?;
    let [a, b] = notch.shoulders.map(|s| s.step);
    // Under the crest as it ran from shoulder to shoulder, in the middle of where crests lie.
    let inset = (INSET_MM[0] + INSET_MM[1]) / 2.0;
    let floor: Profile =
        (0..ridge.ends.len()).map(|j| relief.at(relief.x(ridge.ends[j]?) - inset, relief.y(j))).collect();
    let floor = smooth(&floor, 2);
    let under = |j: usize| Some(notch.whole(j as f64) - (*floor.get(j)?)?);
    // At the floor's lowest place in the middle of the cut: toward a shoulder the line would be read too high.
    let third = (b - a) / 3;
    let (_, j) = (a + third..=b - third)
        .filter_map(|j| Some(((*floor.get(j)?)?, j)))
        .min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)))?;
    let depth_mm = under(j)?;
    let i = ridge.ends[j]?.saturating_sub(steps(inset));
    let (x, y) = (relief.x(i), relief.y(j));
    let mut falls = Vec::new();
    for k in -3..=3i32 {
        let y = y + 0.12 * f64::from(k);
        if let (Some(a), Some(b)) = (relief.at(x, y), relief.at(x - FALL_MM, y)) {
            falls.push((a - b) / FALL_MM);
        }
    }
    let fall = falls.iter().sum::<f64>() / falls.len().max(1) as f64;
    let along = |k: isize| {
        let x = x + STEP_MM * k as f64;
        let near: Vec<f64> = (-2..=2i32).filter_map(|q| relief.at(x, y + 0.15 * f64::from(q))).collect();
        (!near.is_empty()).then(|| near.iter().sum::<f64>() / near.len() as f64)
    };
    let inward: Vec<f64> = (0..=steps(4.6) as isize).map_while(|k| along(-k)).collect();
    let (mut low, mut rise_mm) = (f64::INFINITY, 0.0f64);
    for &z in &inward {
        low = low.min(z);
        rise_mm = rise_mm.max(z - low);
    }
    let out = (ridge.ends[j]? as f64 - i as f64) * STEP_MM;
    Some(Cut {
        notch,
        floor: [i, j],
        depth_mm,
        fall,
        rise_mm,
        length_mm: out + floor_end_mm(&inward),
        bowl: bowl(relief, x + out - 1.3, y),
    })
}

/// How far inward a floor reaches, mm: to where the surface has risen half of what it rises beyond its lowest place.
fn floor_end_mm(inward: &[f64]) -> f64 {
    let low = (0..inward.len()).min_by(|&a, &b| inward[a].total_cmp(&inward[b])).unwrap_or(0);
    let top = inward[low.min(inward.len())..].iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let half = inward.get(low).map_or(0.0, |z| (z + top) / 2.0);
    let end = (low..inward.len()).find(|&k| inward[k] >= half).unwrap_or(inward.len());
    end as f64 * STEP_MM
}

/// Column and row of the middle of the ridge.
pub(super) fn middle(relief: &Relief, ridge: &Ridge) -> Option<[usize; 2]> {
    let known: Vec<usize> = (0..ridge.crest.len()).filter(|&j| ridge.crest[j].is_some()).collect();
    let j = (known.first()? + known.last()?) / 2;
    let i = ridge.ends[j]?.saturating_sub(steps(0.8));
    relief.cell(i, j).map(|_| [i, j])
}

/// Whether there is surface throughout about the middle of the ridge.
pub(super) fn is_whole(relief: &Relief, ridge: &Ridge, middle: [usize; 2]) -> bool {
    let reach = steps(2.0);
    (middle[1].saturating_sub(reach)..=middle[1] + reach).all(|j| {
        let Some(end) = ridge.ends.get(j).copied().flatten() else { return true };
        (end.saturating_sub(steps(2.2))..end).all(|i| relief.cell(i, j).is_some())
    })
}

/// Curvature of a floor.
#[derive(Clone, Copy, Debug)]
pub(super) struct Bowl {
    /// Along the tooth, 1/mm; over 0 hollow, under 0 over a ridge.
    pub along: f64,
    /// Across it, 1/mm.
    pub across: f64,
    /// What a quadratic surface leaves over, root mean square, mm.
    pub rough_mm: f64,
    /// Share of it that is the crown's own surface, 0 to 1.
    pub own: f64,
}

/// The quadratic surface within 1 mm of a place.
fn bowl(relief: &Relief, x: f64, y: f64) -> Option<Bowl> {
    let (mut points, mut own) = (Vec::new(), 0usize);
    for a in -8..=8i32 {
        for b in -8..=8i32 {
            let (u, v) = (0.12 * f64::from(a), 0.12 * f64::from(b));
            if u * u + v * v <= 1.0 {
                points.extend(relief.at(x + u, y + v).map(|z| ([u, v], z)));
                own += usize::from(relief.is_own(x + u, y + v));
            }
        }
    }
    let surface = super::quadric::Quadric::through(&points)?;
    let left = points.iter().map(|&(at, z)| (z - surface.at(at)) * (z - surface.at(at))).sum::<f64>();
    Some(Bowl {
        along: 2.0 * surface.xx(),
        across: 2.0 * surface.yy(),
        rough_mm: (left / points.len() as f64).sqrt(),
        own: own as f64 / points.len() as f64,
    })
}
