//! Undercut depth of a place of a cast for any withdrawal direction.
//!
//! Definition: the least way, square to the withdrawal, that a rod along it must be moved aside to be free of all that
//! stands above the place; beyond the border of the scan nothing stands.
//!
//! Method: over a place of the plane across the withdrawal the least value of the field above the height tells whether
//! something stands there, and that value bounds how far aside it still does. So rays in 48 directions go outward in
//! steps that cannot pass a gap wider than a hair; the best directions are refined by golden sections to about 1 um.

use super::super::cast::Cast;
use crate::case::Arch;
use crate::space::{Direction, Point, Vector, across, cos, sin};

/// Bound on the steepness of the field.
const STEEP: f64 = 1.6;
/// Directions tried.
const TURNS: usize = 48;
/// No undercut is deeper, mm.
const MOST_MM: f64 = 12.0;
/// Share of a golden section.
const GOLDEN: f64 = 0.618_033_988_749_894_9;
/// Least distance between samples over a place, mm.
const SAMPLE_MM: f64 = 0.15;
/// Least step aside, mm.
const STEP_MM: f64 = 0.004;
/// A rod is free where the field over it is no less than this: the surface itself is known to 1e-8.
const TOUCH: f64 = -2e-7;

/// A cast and a withdrawal direction.
pub struct Path<'a> {
    cast: &'a Cast,
    withdrawal: Direction,
    across: (Vector, Vector),
    /// Spheres that hold the crowns, file positions.
    crowns: Vec<(Point, f64)>,
    /// Own height over which there are crowns only.
    tissue_top: f64,
}

/// How well a way out is sought.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Care {
    /// As the directions happen to lie.
    Rough,
    /// Refined along the rim of one body.
    Quick,
    /// Refined whatever stands there.
    Full,
}

/// The best way out found in one direction.
#[derive(Clone, Copy, Debug)]
struct Way {
    turn: f64,
    mm: f64,
}

impl<'a> Path<'a> {
    /// A path of withdrawal (from the tissue to the occlusal side).
    pub fn new(cast: &'a Cast, withdrawal: &Direction) -> Path<'a> {
        let crowns = cast.crowns.iter().map(|c| {
            let (middle, radius) = c.bound();
            (cast.own(&middle), radius + 0.5)
        });
        let rises = cast.rises.iter().map(|r| {
            let reach = r.half.iter().fold(0.0f64, |m, h| m.max(*h)) + r.blend;
            r.centre.z + reach
        });
        let tops = cast.levels.top.iter().copied().chain(rises);
        Path {
            cast,
            withdrawal: *withdrawal,
            across: across(withdrawal),
            crowns: crowns.collect(),
            tissue_top: tops.fold(f64::NEG_INFINITY, f64::max) + 3.0,
        }
    }

    /// How far up from `p` something of the cast may be met, mm.
    fn reach(&self, p: &Point) -> f64 {
        let d = &self.withdrawal;
        let (own, own_way) = (self.cast.own(p).z, self.cast.own(&Point::from(d.into_inner())).z);
        let plane = if own_way > 0.05 { (self.tissue_top - own) / own_way } else { 40.0 };
        self.crowns.iter().fold(plane, |most, (middle, radius)| {
            let to = middle - p;
            let along = to.dot(d);
            let aside2 = (to - d.into_inner() * along).norm_squared();
            let half2 = radius * radius - aside2;
            if half2 > 0.0 { most.max(along + half2.sqrt()) } else { most }
        })
    }

    /// The field where the scan has it: inside the cast but beyond the border of the scan nothing stands.
    fn solid(&self, p: &Point) -> f64 {
        let f = self.cast.value(p);
        if f < 0.0 { f.max(self.cast.border(p)) } else { f }
    }

    /// Least value of the field over `p` along the withdrawal, and how far up: negative where something stands there.
    ///
    /// Where nothing is seen to stand, dips between the samples are followed to their bottom.
    fn over(&self, p: &Point) -> (f64, f64) {
        let top = self.reach(p);
        let at = |z: f64| self.solid(&(p + self.withdrawal.into_inner() * z));
        let mut samples = vec![(at(0.0), 0.0)];
        let (mut z, mut least) = (0.0, samples[0]);
        while z < top {
            z += samples.last().map_or(1.0, |s| s.0.abs() / STEEP).max(SAMPLE_MM);
            let now = (at(z), z);
            if now.0 < least.0 {
                least = now;
            }
            samples.push(now);
        }
        if least.0 < -1e-3 {
            return least;
        }
        for w in samples.windows(3) {
            let [a, b, c] = [w[0], w[1], w[2]];
            if b.0 <= a.0 && b.0 <= c.0 && b.0 < 0.5 * STEEP * SAMPLE_MM {
                let found = dip(&at, a.1, c.1);
                if found.0 < least.0 {
                    least = found;
                }
            }
        }
        least
    }

    /// Place of the plane `r` mm aside from `p` at `turn`.
    fn aside(&self, p: &Point, turn: f64, r: f64) -> Point {
        p + self.across.0 * (r * cos(turn)) + self.across.1 * (r * sin(turn))
    }

    /// The first free place from `p` at `turn` up to `most` mm; `None` where all of it is covered. `here` is what
    /// stands over `p` itself.
    fn way(&self, p: &Point, turn: f64, most: f64, mut here: (f64, f64)) -> Option<f64> {
        let up = self.withdrawal.into_inner();
        let over = |r: f64| self.over(&self.aside(p, turn, r));
        let (mut last, mut r) = (0.0, 0.0);
        let mut tried = false;
        while here.0 < TOUCH {
            let (f, z) = here;
            if r > most {
                return None;
            }
            last = r;
            r += (-f / STEEP).max(STEP_MM);
            if f > -0.06 && !tried {
                // Near the rim of what covers: its place by Newton steps, good if it is free there.
                tried = true;
                let rim = self.rim(p, turn, (last, z)).map(|(rim, _)| rim);
                if let Some(rim) = rim.filter(|rim| *rim >= last && *rim < last + 0.5) {
                    if over(rim).0 >= TOUCH {
                        return Some(rim);
                    }
                    // Something else stands over the rim, so the way goes on from there.
                    (r, tried) = (rim.max(last + STEP_MM), false);
                }
            }
            // What covered the last place mostly covers this one too.
            let same = self.solid(&(self.aside(p, turn, r) + up * z));
            here = if same < -0.02 { (same, z) } else { over(r) };
        }
        let (mut lo, mut hi) = (last, r);
        while hi - lo > 1e-8 {
            let mid = 0.5 * (lo + hi);
            if over(mid).0 < TOUCH { lo = mid } else { hi = mid }
        }
        Some(hi)
    }

    /// The rim of one body over the ray at `turn`, from near it: distance from `p` and height over it.
    fn rim(&self, p: &Point, turn: f64, (mut r, mut z): (f64, f64)) -> Option<(f64, f64)> {
        const H: f64 = 1e-4;
        let up = self.withdrawal.into_inner();
        for _ in 0..12 {
            let at = |r: f64, z: f64| self.solid(&(self.aside(p, turn, r) + up * z));
            // Newton steps on "the field is zero and does not change along the withdrawal"; see `dip` for the height.
            let w = 0.02;
            let [below, f, above] = [at(r, z - w), at(r, z), at(r, z + w)];
            let bend = below - 2.0 * f + above;
            if bend <= 0.0 {
                return None;
            }
            let dz = (0.5 * w * (below - above) / bend).clamp(-0.3, 0.3);
            z = (z + dz).max(0.0);
            let f = at(r, z);
            let slope = (at(r + H, z) - at(r - H, z)) / (2.0 * H);
            if slope < 0.02 {
                return None;
            }
            let dr = (-f / slope).clamp(-0.2, 0.2);
            r += dr;
            if dr.abs() < 1e-8 && dz.abs() < 1e-4 {
                return Some((r + 3e-7, z));
            }
        }
        None
    }

    /// Undercut depth of a place of the surface, mm; 0 where nothing stands over it.
    pub fn depth_mm(&self, p: &Point) -> f64 {
        self.sought(p, &self.turns(p), Care::Full).map_or(MOST_MM, |w| w.mm)
    }

    /// Directions to try, that in which the surface faces first: the way out is mostly there.
    fn turns(&self, p: &Point) -> Vec<f64> {
        let facing = self.cast.gradient(p);
        let first = crate::space::atan2(facing.dot(&self.across.1), facing.dot(&self.across.0));
        let step = 2.0 * std::f64::consts::PI / TURNS as f64;
        (0..TURNS as i32)
            .map(|k| first + step * f64::from(if k % 2 == 1 { k / 2 + 1 } else { -k / 2 }))
            .collect()
    }

    /// Whether a rod along the path comes down to a place in the air.
    pub fn touched(&self, p: &Point) -> bool {
        self.over(p).0 >= 0.0
    }

    /// The depth from fewer directions and not refined: at most about a tenth too deep.
    pub(super) fn rough(&self, p: &Point) -> f64 {
        let turns: Vec<f64> = self.turns(p).into_iter().step_by(3).collect();
        self.sought(p, &turns, Care::Rough).map_or(MOST_MM, |w| w.mm)
    }

    /// The same from fewer directions, the best of them refined.
    pub(super) fn quick(&self, p: &Point) -> f64 {
        let turns: Vec<f64> = self.turns(p).into_iter().step_by(3).collect();
        self.sought(p, &turns, Care::Quick).map_or(MOST_MM, |w| w.mm)
    }

    /// The withdrawal.
    pub fn withdrawal(&self) -> &Direction {
        &self.withdrawal
    }

    /// The cast.
    pub fn cast(&self) -> &'a Cast {
        self.cast
    }

    /// Least way out over `turns`, refined where asked.
    fn sought(&self, p: &Point, turns: &[f64], care: Care) -> Option<Way> {
        // A hair above the place, so that the surface itself counts only where it leans over it.
        let p = p + self.withdrawal.into_inner() * 1e-5;
        let here = self.over(&p);
        if here.0 >= -2e-5 {
            return Some(Way { turn: 0.0, mm: 0.0 });
        }
        let mut ways: Vec<Way> = Vec::new();
        let mut best = MOST_MM;
        for turn in turns {
            // A direction up to a sixth worse may be the best once refined.
            if let Some(mm) = self.way(&p, *turn, best * 1.15 + 0.02, here) {
                best = best.min(mm);
                ways.push(Way { turn: *turn, mm });
            }
        }
        ways.retain(|w| w.mm <= best * 1.15 + 0.02);
        ways.sort_by(|a, b| a.mm.total_cmp(&b.mm));
        if care == Care::Rough {
            return ways.into_iter().next();
        }
        let step = 2.0 * std::f64::consts::PI / TURNS as f64;
        let mut tried: Vec<f64> = Vec::new();
        let mut least: Option<Way> = None;
        for way in ways {
            let apart = |t: &f64| 1.0 - cos(t - way.turn) > 1.0 - cos(1.5 * step);
            if !tried.iter().all(apart) {
                continue;
            }
            tried.push(way.turn);
            let found = self.refined(&p, way, here, care);
            if least.is_none_or(|l| found.mm < l.mm) {
                least = Some(found);
            }
        }
        least
    }

    /// The least way between the neighbours of a direction.
    ///
    /// Along the rim of one body by Newton steps; where another body stands over that place, by full searches.
    fn refined(&self, p: &Point, start: Way, here: (f64, f64), care: Care) -> Way {
        let step = 2.0 * std::f64::consts::PI / TURNS as f64;
        let most = start.mm * 1.4 + 0.05;
        let (_, z) = self.over(&self.aside(p, start.turn, start.mm));
        let along_rim = |turn: f64| self.rim(p, turn, (start.mm, z)).map_or(most, |(r, _)| r.max(0.0));
        let quick = golden(&along_rim, start, step);
        // The rim is where it is free on its far side.
        if self.over(&self.aside(p, quick.turn, quick.mm)).0 >= TOUCH {
            return quick;
        }
        if care != Care::Full {
            return start;
        }
        golden(&|turn: f64| self.way(p, turn, most, here).unwrap_or(most), start, step)
    }
}

/// The least of `mm` within `step` of a direction, by golden sections.
fn golden(mm: &impl Fn(f64) -> f64, start: Way, step: f64) -> Way {
    let (mut lo, mut hi) = (start.turn - step, start.turn + step);
    let mut a = hi - GOLDEN * (hi - lo);
    let mut b = lo + GOLDEN * (hi - lo);
    let (mut fa, mut fb) = (mm(a), mm(b));
    let mut best = start;
    for _ in 0..26 {
        for way in [Way { turn: a, mm: fa }, Way { turn: b, mm: fb }] {
            if way.mm < best.mm {
                best = way;
            }
        }
        // Along a smooth rim the way changes with the square of the turn.
        if (hi - lo) * start.mm < 1e-6 || hi - lo < 2e-3 && (fa - fb).abs() < 1e-7 {
            break;
        }
        if fa < fb {
            (hi, b, fb) = (b, a, fa);
            a = hi - GOLDEN * (hi - lo);
            fa = mm(a);
        } else {
            (lo, a, fa) = (a, b, fb);
            b = lo + GOLDEN * (hi - lo);
            fb = mm(b);
        }
    }
    best
}

/// Least value between `a` and `c`, which hold one dip between them, and where.
fn dip(f: &impl Fn(f64) -> f64, a: f64, c: f64) -> (f64, f64) {
    let (mut lo, mut hi) = (a, c);
    let mut x = hi - GOLDEN * (hi - lo);
    let mut y = lo + GOLDEN * (hi - lo);
    let (mut fx, mut fy) = (f(x), f(y));
    // Below 1 um of height the value changes by far less than the field is known.
    while hi - lo > 2e-4 {
        if fx < fy {
            (hi, y, fy) = (y, x, fx);
            x = hi - GOLDEN * (hi - lo);
            fx = f(x);
        } else {
            (lo, x, fx) = (x, y, fy);
            y = lo + GOLDEN * (hi - lo);
            fy = f(y);
        }
    }
    if fx < fy { (fx, x) } else { (fy, y) }
}

/// Undercut depth of a surface point of a cast for withdrawal square to the occlusal plane, mm.
pub fn undercut_mm(cast: &Cast, p: &Point) -> f64 {
    Path::new(cast, &occlusal(cast.arch)).depth_mm(p)
}

/// Away from the tissue of an arch, square to the occlusal plane.
pub fn occlusal(arch: Arch) -> Direction {
    let sign = if arch == Arch::Mandible { 1.0 } else { -1.0 };
    Direction::new_unchecked(Vector::z() * sign)
}
