//! The lingual surface of a front tooth, seen from half way between the occlusal and the lingual side, and the ledge cut
//! into its cingulum.

use super::profile::{self, Flanks, Notch, Profile, smooth, steps};
use super::quadric::Quadric;
use super::relief::{Relief, STEP_MM};

/// Sine and cosine of the angle of view.
const HALF: f64 = std::f64::consts::FRAC_1_SQRT_2;

/// No ledge is deeper, mm.
const MOST_MM: f64 = 5.0;

/// A ledge.
#[derive(Debug)]
pub(super) struct Ledge {
    /// The notch along the tooth, in the middle of the ledge: from the gingival to the incisal side.
    pub notch: Notch,
    /// Column and row of the place that lies deepest along the tooth's axis.
    pub floor: [usize; 2],
    /// Depth there along the axis, mm.
    pub depth_mm: f64,
    /// How much lower the ledge lies than its rim, square to the view, mm.
    pub basin_mm: f64,
    /// Mesiodistal extent, mm.
    pub length_mm: f64,
    /// Lingual to labial extent, mm.
    pub width_mm: f64,
    /// How much the floor falls a mm toward the labial side; `None` where it is too short to tell.
    pub fall: Option<f64>,
}

/// First and last step of a profile: a ledge may be as wide as a narrow tooth, and then has no shoulders beside it.
fn extent(p: &Profile) -> Option<[usize; 2]> {
    let known: Vec<usize> = (0..p.len()).filter(|&i| p[i].is_some()).collect();
    Some([*known.first()?, *known.last()?])
}

/// Rows between which a ledge is sought: the gingival two thirds of what is seen.
fn range(p: &Profile) -> Option<(usize, usize)> {
    let known: Vec<usize> = (0..p.len()).filter(|&j| p[j].is_some()).collect();
    let (first, last) = (*known.first()?, *known.last()?);
    Some((first + (last - first) / 10, first + (last - first) * 13 / 20))
}

/// Heights of the crown over a relief.
struct Seen<'a>(&'a Relief);

impl Seen<'_> {
    fn own(&self, i: usize, j: usize) -> Option<f64> {
        self.0.cell(i, j).filter(|c| c.own).map(|c| c.z)
    }

    fn down(&self, i: usize) -> Profile {
        smooth(&(0..self.0.size()[1]).map(|j| self.own(i, j)).collect(), 2)
    }

    fn across(&self, j: usize) -> Profile {
        smooth(&(0..self.0.size()[0]).map(|i| self.own(i, j)).collect(), 2)
    }

    /// Column and row of the deepest basin near the middle of the tooth.
    fn basin(&self) -> Option<[usize; 2]> {
        let middle = self.0.size()[0] / 2;
        let reach = steps(1.2);
        let (_, at) = (middle.saturating_sub(reach)..=middle + reach)
            .step_by(2)
            .filter_map(|i| {
                let p = self.down(i);
                let (from, to) = range(&p)?;
                let j = profile::basin(&p, from, to)?;
                Some((profile::basin_mm(&p, j, from, to)?, [i, j]))
            })
            .max_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1)))?;
        Some(at)
    }
}

/// Reads the ledge; `None` where the lingual surface has none with a rim.
pub(super) fn read(relief: &Relief) -> Option<Ledge> {
    let seen = Seen(relief);
    let [i, bottom] = seen.basin()?;
    let p = seen.down(i);
    let notch = profile::notch(&p, bottom, 2.6, Flanks::Straight)?;
    let across = seen.across(bottom);
    let sides = profile::notch(&across, i, 2.6, Flanks::Straight).map_or_else(
        || extent(&across).map(|[a, b]| [a as f64, b as f64]),
        |n| Some(n.shoulders.map(|s| s.step as f64)),
    )?;
    let ring = Ring::between(sides, &notch);
    let whole = ring.whole(&seen, relief.size())?;
    let (depth_mm, floor) = deepest(&seen, &ring, &whole)?;
    let [low, high] = notch.shoulders;
    let (dy, dz) = (notch.width_mm(), high.z - low.z);
    let row = |j: usize| {
        let z = p.get(j).copied().flatten()?;
        Some([(relief.y(j) - z) * HALF, (relief.y(j) + z) * HALF])
    };
    Some(Ledge {
        basin_mm: low.z.min(high.z) - p[bottom]?,
        length_mm: (sides[1] - sides[0]) * STEP_MM,
        width_mm: ((dy - dz) * HALF).abs(),
        fall: fall(&row, low.step + steps(0.24)),
        notch,
        floor,
        depth_mm,
    })
}

/// The place inside the ring that lies deepest under the restored surface along the axis of the tooth, and how deep.
fn deepest(seen: &Seen<'_>, ring: &Ring, whole: &Whole) -> Option<(f64, [usize; 2])> {
    let mut best: Option<(f64, [usize; 2])> = None;
    let range = |k: usize| {
        let (low, high) = (ring.centre[k] - ring.half[k], ring.centre[k] + ring.half[k]);
        low.max(0.0) as usize..=high.max(0.0) as usize
    };
    for j in range(1) {
        for i in range(0) {
            let Some(z) = seen.own(i, j).filter(|_| ring.holds(i as f64, j as f64, 0.0)) else { continue };
            // Up along the axis until the restored surface is met.
            let under = |t: f64| z + t * HALF < whole.at([i as f64, j as f64 + t * HALF / STEP_MM]);
            let (mut lo, mut hi) = (0.0, MOST_MM);
            for _ in 0..24 {
                let t = 0.5 * (lo + hi);
                if under(t) { lo = t } else { hi = t }
            }
            if best.is_none_or(|b| lo > b.0) {
                best = Some((lo, [i, j]));
            }
        }
    }
    best
}

/// How much the floor falls a mm toward the labial side from a row inside its rim: to its lowest place along the tooth's
/// axis, or over 0.8 mm where it rises from the start. `row` gives the labial place and the height along the axis.
fn fall(row: &dyn Fn(usize) -> Option<[f64; 2]>, from: usize) -> Option<f64> {
    let start = row(from)?;
    let floor: Vec<[f64; 2]> = (from + 1..from + steps(2.4)).map_while(row).collect();
    let lowest = floor.iter().copied().min_by(|a, b| a[1].total_cmp(&b[1]))?;
    let end =
        if lowest[0] - start[0] > 0.3 { lowest } else { *floor.iter().find(|f| f[0] - start[0] > 0.8)? };
    Some((start[1] - end[1]) / (end[0] - start[0]))
}

/// Column and row of the middle of the cingulum: a third of the way up the middle of the lingual surface.
pub(super) fn middle(relief: &Relief) -> Option<[usize; 2]> {
    let [columns, rows] = relief.size();
    let i = columns / 2;
    let own: Vec<usize> = (0..rows).filter(|&j| relief.cell(i, j).is_some_and(|c| c.own)).collect();
    own.get(own.len() / 3).map(|&j| [i, j])
}

/// Surface around a ledge: an ellipse in steps of the grid.
struct Ring {
    centre: [f64; 2],
    half: [f64; 2],
}

/// The surface that was there before the ledge.
struct Whole {
    centre: [f64; 2],
    quadric: Quadric,
}

impl Whole {
    fn at(&self, at: [f64; 2]) -> f64 {
        self.quadric.at(scaled(&self.centre, at))
    }
}

/// A place in mm from a centre, both in steps of the grid.
fn scaled(centre: &[f64; 2], at: [f64; 2]) -> [f64; 2] {
    [(at[0] - centre[0]) * STEP_MM, (at[1] - centre[1]) * STEP_MM]
}

impl Ring {
    /// The ellipse between two columns and the shoulders of a notch along the rows.
    fn between(sides: [f64; 2], notch: &Notch) -> Ring {
        let rows = notch.shoulders.map(|s| s.step as f64);
        let middle = |of: [f64; 2]| (of[0] + of[1]) / 2.0;
        let half = |of: [f64; 2]| ((of[1] - of[0]) / 2.0).max(1.0);
        Ring { centre: [middle(sides), middle(rows)], half: [half(sides), half(rows)] }
    }

    /// Whether a place lies in the ellipse made wider by so many mm.
    fn holds(&self, i: f64, j: f64, more_mm: f64) -> bool {
        let more = more_mm / STEP_MM;
        let (x, y) =
            ((i - self.centre[0]) / (self.half[0] + more), (j - self.centre[1]) / (self.half[1] + more));
        x * x + y * y <= 1.0
    }

    /// The surface around carried on over the ellipse; `None` where there is too little of it.
    fn whole(&self, seen: &Seen<'_>, size: [usize; 2]) -> Option<Whole> {
        let mut points = Vec::new();
        for j in 0..size[1] {
            for i in 0..size[0] {
                let (x, y) = (i as f64, j as f64);
                if self.holds(x, y, 0.25) || !self.holds(x, y, 1.35) {
                    continue;
                }
                if let Some(z) = seen.own(i, j) {
                    points.push((scaled(&self.centre, [x, y]), z));
                }
            }
        }
        Quadric::through(&points).map(|quadric| Whole { centre: self.centre, quadric })
    }
}
