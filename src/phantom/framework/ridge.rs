//! How thick a rest was made where it leaves its crown, and how far it was made to stand off its seat: from the field of the
//! body alone.
//!
//! Over each place of the crown's top under the rest stands the greatest ball in the metal whose middle lies over that place.
//! The thickness over the marginal ridge is the diameter of the greatest ball that can be led from where the metal leaves the
//! crown (at its border: a third of what lies within 0.3 mm is off it) over so many places that it has swept half of the rest's
//! plan. The gap is the median distance of the metal's lower
//! side from the cast within a millimetre, in plan, of the seat's deepest place.
//!
//! Balls are measured from places of the surface 0.07 mm apart, each on it to a micrometre: they are too large by up to 0.002 mm.

use super::super::cast::Cast;
use super::super::crown::{CrownBody, Seat};
use super::super::truth::margin::is_crown;
use super::body::Body;
use super::outline::halved;
use super::parts::REST_INSET_MM;
use super::stated::beside;
use crate::space::{Direction, Point, Vector, hypot};
use rayon::prelude::*;
use std::collections::BTreeMap;

/// Distance of places in plan, mm.
const STEP_MM: f64 = 0.1;
/// Cosine of the lean up to which a place belongs to the top of a crown.
const TOP: f64 = 0.42;
/// Metal farther over the cast than this is no rest, mm; the way through it is looked at so far.
const FAR_MM: f64 = 1.5;
const THROUGH_MM: f64 = 8.0;
/// Share of the plan that is swept.
const SWEPT: f64 = 0.5;
/// What joins a rest adds so much to its plan, mm.
const FILLET_MM: f64 = 0.3;
/// How far beyond the crown it is looked where the metal leaves, mm.
const BEYOND_MM: f64 = 1.0;
/// Places about one within which a third has to be off the crown where it lies at the border.
const BORDER: i32 = 3;
/// Radius about the seat's place in which the gap is read, mm.
const GAP_MM: f64 = 1.0;

/// Places of a surface in buckets.
pub(super) struct Cloud {
    buckets: BTreeMap<[i32; 3], Vec<Point>>,
}

const BUCKET_MM: f64 = 0.3;

impl Cloud {
    /// Where the lattice of a box meets the surface of a body.
    pub fn of(body: &Body<'_>, low: &Point, high: &Point) -> Cloud {
        const CELL_MM: f64 = 0.07;
        const BLOCK: i32 = 4;
        const STEEPEST: f64 = 2.0;
        let blocks = [0, 1, 2].map(|a| ((high[a] - low[a]) / CELL_MM / f64::from(BLOCK)).ceil() as i32);
        let node = |at: [i32; 3]| low + Vector::from_fn(|a, _| CELL_MM * f64::from(at[a]));
        let side = CELL_MM * f64::from(BLOCK);
        let of_block = |k: i32| -> Vec<Point> {
            let first =
                [k % blocks[0], k / blocks[0] % blocks[1], k / blocks[0] / blocks[1]].map(|b| b * BLOCK);
            let middle = node(first) + Vector::repeat(side / 2.0);
            if body.value(&middle).abs() > STEEPEST * side * 0.87 {
                return Vec::new();
            }
            let n = BLOCK + 1;
            let all: Vec<[i32; 3]> = (0..n * n * n)
                .map(|i| [first[0] + i % n, first[1] + i / n % n, first[2] + i / n / n])
                .collect();
            let inside: Vec<bool> = all.iter().map(|at| body.value(&node(*at)) < 0.0).collect();
            let mut found = Vec::new();
            for (i, at) in all.iter().enumerate() {
                for (axis, stride) in [(0, 1), (1, n), (2, n * n)] {
                    let next = i + stride as usize;
                    if at[axis] - first[axis] == BLOCK || inside[i] == inside[next] {
                        continue;
                    }
                    let (mut lo, mut hi) = (node(*at), node(all[next]));
                    for _ in 0..7 {
                        let mid = nalgebra::center(&lo, &hi);
                        if (body.value(&mid) < 0.0) == inside[i] { lo = mid } else { hi = mid }
                    }
                    found.push(nalgebra::center(&lo, &hi));
                }
            }
            found
        };
        let found: Vec<Vec<Point>> =
            (0..blocks[0] * blocks[1] * blocks[2]).into_par_iter().map(of_block).collect();
        let mut buckets: BTreeMap<[i32; 3], Vec<Point>> = BTreeMap::new();
        for p in found.into_iter().flatten() {
            buckets.entry(Cloud::bucket(&p)).or_default().push(p);
        }
        Cloud { buckets }
    }

    fn bucket(p: &Point) -> [i32; 3] {
        [p.x, p.y, p.z].map(|mm| (mm / BUCKET_MM).floor() as i32)
    }

    /// Distance of the nearest place, as far as `most_mm`.
    pub fn within(&self, p: &Point, most_mm: f64) -> f64 {
        let at = Cloud::bucket(p);
        let mut best = most_mm;
        for ring in 0..=(most_mm / BUCKET_MM).ceil() as i32 {
            if f64::from(ring - 1) * BUCKET_MM > best {
                break;
            }
            for (x, y, z) in (-ring..=ring)
                .flat_map(|x| (-ring..=ring).flat_map(move |y| (-ring..=ring).map(move |z| (x, y, z))))
                .filter(|(x, y, z)| x.abs().max(y.abs()).max(z.abs()) == ring)
            {
                for q in self.buckets.get(&[at[0] + x, at[1] + y, at[2] + z]).into_iter().flatten() {
                    best = best.min((p - q).norm());
                }
            }
        }
        best
    }
}

/// What stands over a place in plan.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Over {
    /// Metal over the crown's top within the rest's plan: a ball's diameter, and how far its lower side stands off the cast.
    Rest([f64; 2]),
    /// Metal over the crown's top beside the rest, through which that may leave: a ball's diameter.
    Crown(f64),
    /// Metal off the crown's top.
    Beside,
    /// None.
    Nothing,
}

/// Thickness over the marginal ridge and gap over the seat of a rest, mm.
pub(super) fn of_rest(
    body: &Body<'_>,
    cast: &Cast,
    (crown, seat): (&CrownBody, &Seat),
    floor: &[f64; 3],
) -> [Option<f64>; 2] {
    let side = seat.at[0].signum();
    let [au, _, _] = *floor;
    let at = crown.world(*floor);
    let flat = |v: Vector| Vector::new(v.x, v.y, 0.0).normalize();
    let toward = flat(crown.axes[0] * side);
    let across = Vector::z().cross(&toward);
    let inner = side * seat.centre[0] - seat.half[0] + REST_INSET_MM;
    let half = (seat.half[1] - 0.5).max(1.0);
    let steps = |mm: f64| (mm / STEP_MM).ceil() as i32;
    let [from, to] = [inner - FILLET_MM - side * au, crown.half_md + BEYOND_MM - side * au].map(steps);
    let wide = steps(half + 1.0);
    let corner = |k: i32, j: i32| at + toward * (STEP_MM * f64::from(k)) + across * (STEP_MM * f64::from(j));
    let corners = [corner(from, -wide), corner(from, wide), corner(to, -wide), corner(to, wide)];
    let room = Vector::repeat(1.2);
    let low = corners.iter().fold(at - Vector::z() * 3.0, |l, p| l.inf(p)) - room;
    let high = corners.iter().fold(at + Vector::z() * 3.0, |h, p| h.sup(p)) + room;
    let cloud = Cloud::of(body, &low, &high);
    let of = |k: i32, j: i32| -> Over {
        let Some(way) = metal_over(body, &corner(k, j)) else { return Over::Nothing };
        let [u, v, _] = crown.local(&way.foot);
        let mut others = beside(cast, Some(crown.tooth.number()));
        if !way.top || others.any(|c| is_crown(cast, c, &way.foot)) {
            return Over::Beside;
        }
        let ball =
            |mm: f64| cloud.within(&(way.enters + Vector::z() * mm), mm.min(way.through_mm - mm).max(0.0));
        let mut best = (0.0, 0.0);
        let mut reach = way.through_mm / 20.0;
        for i in 1..20 {
            let mm = reach * f64::from(i);
            best = Some((ball(mm), mm)).filter(|b| b.0 > best.0).unwrap_or(best);
        }
        for _ in 0..6 {
            reach /= 2.0;
            for mm in [best.1 - reach, best.1 + reach] {
                best = Some((ball(mm), mm)).filter(|b| b.0 > best.0).unwrap_or(best);
            }
        }
        if side * u < inner - FILLET_MM || v.abs() > half + FILLET_MM {
            return Over::Crown(2.0 * best.0);
        }
        Over::Rest([2.0 * best.0, body.ground.tissue_mm(&way.enters)])
    };
    let all: BTreeMap<[i32; 2], Over> = (from..=to)
        .into_par_iter()
        .flat_map_iter(|k| (-wide..=wide).map(move |j| [k, j]))
        .map(|[k, j]| ([k, j], of(k, j)))
        .collect();
    let near = |at: &[i32; 2]| hypot(STEP_MM * f64::from(at[0]), STEP_MM * f64::from(at[1])) <= GAP_MM;
    let gaps = all.iter().filter(|(at, _)| near(at)).filter_map(|(_, over)| match over {
        Over::Rest([_, gap]) => Some(*gap),
        _ => None,
    });
    let mut gaps: Vec<f64> = gaps.collect();
    gaps.sort_by(f64::total_cmp);
    [passes(&all), gaps.get(gaps.len() / 2).copied()]
}

/// Least room between the metal over a crown and the opposing cast along the withdrawal, mm; negative inside it.
pub(super) fn room_mm(body: &Body<'_>, crown: &CrownBody) -> Option<f64> {
    let middle = crown.world([0.0, 0.0, crown.height]);
    let half = (crown.half_md.max(crown.half_bl) / STEP_MM) as i32 + 5;
    let room = |k: i32, j: i32| {
        let way = metal_over(body, &(middle + Vector::new(f64::from(k), f64::from(j), 0.0) * STEP_MM))?;
        body.ground.opposing_over_mm(&(way.enters + Vector::z() * way.through_mm))
    };
    let line = |k: i32| (-half..=half).filter_map(|j| room(k, j)).reduce(f64::min);
    let all: Vec<f64> = (-half..=half).into_par_iter().filter_map(line).collect();
    all.into_iter().reduce(f64::min)
}

/// Metal over a place of the cast.
struct Way {
    foot: Point,
    enters: Point,
    through_mm: f64,
    /// Whether the cast is the top of a crown there, by its lean.
    top: bool,
}

fn metal_over(body: &Body<'_>, p: &Point) -> Option<Way> {
    const FROM_MM: f64 = 3.0;
    const LOOK_MM: f64 = 0.05;
    let down = Direction::new_unchecked(-Vector::z());
    let foot = body.ground.surface().cast(&(p + Vector::z() * FROM_MM), &down, 2.0 * FROM_MM)?;
    let top = body.ground.normal(&foot.at, foot.face).normalize().z > TOP;
    let over = |mm: f64| foot.at + Vector::z() * mm;
    let inside = |mm: f64| body.value(&over(mm)) < 0.0;
    let change = |from: f64, most: f64| {
        let first = inside(from);
        let steps = (1..).map(|i| from + LOOK_MM * f64::from(i)).take_while(|mm| *mm <= most);
        let far = steps.into_iter().find(|mm| inside(*mm) != first)?;
        Some(halved([far - LOOK_MM, far], 8, |mid| inside(mid) == first))
    };
    let enters = if inside(0.0) { 0.0 } else { change(0.0, FAR_MM)? };
    let leaves = change(enters + 0.01, THROUGH_MM)?;
    Some(Way { foot: foot.at, enters: over(enters), through_mm: leaves - enters, top })
}

/// Diameter of the greatest ball that sweeps half of a rest from where it leaves the crown, by halving.
fn passes(all: &BTreeMap<[i32; 2], Over>) -> Option<f64> {
    let beside = |[k, j]: [i32; 2]| [[k - 1, j], [k + 1, j], [k, j - 1], [k, j + 1]];
    let ball = |at: &[i32; 2]| match all.get(at) {
        Some(Over::Rest([mm, _]) | Over::Crown(mm)) => Some(*mm),
        _ => None,
    };
    let of_rest = |at: &[i32; 2]| matches!(all.get(at), Some(Over::Rest(_)));
    let plan: Vec<[i32; 2]> = all.keys().copied().filter(of_rest).collect();
    let leaves: Vec<[i32; 2]> = all
        .keys()
        .copied()
        .filter(|at| ball(at).is_some())
        .filter(|at| beside(*at).iter().any(|n| all.get(n) == Some(&Over::Beside)))
        .filter(|at| {
            let around = (-BORDER..=BORDER).flat_map(|k| (-BORDER..=BORDER).map(move |j| [k, j]));
            let around: Vec<[i32; 2]> = around.filter(|[k, j]| k * k + j * j <= BORDER * BORDER).collect();
            let off = around.iter().filter(|[k, j]| ball(&[at[0] + k, at[1] + j]).is_none()).count();
            3 * off >= around.len()
        })
        .collect();
    let swept = |mm: f64| -> usize {
        let fits = |at: &[i32; 2]| ball(at).is_some_and(|b| b >= mm);
        let mut reached: std::collections::BTreeSet<[i32; 2]> = leaves.iter().copied().filter(fits).collect();
        let mut open: Vec<[i32; 2]> = reached.iter().copied().collect();
        while let Some(at) = open.pop() {
            open.extend(beside(at).into_iter().filter(|n| fits(n) && reached.insert(*n)));
        }
        let under = |p: &[i32; 2]| {
            let r = (mm / 2.0 / STEP_MM) as i32;
            let near = |k: i32, j: i32| hypot(f64::from(k), f64::from(j)) * STEP_MM <= mm / 2.0;
            (-r..=r).any(|k| (-r..=r).any(|j| near(k, j) && reached.contains(&[p[0] + k, p[1] + j])))
        };
        plan.par_iter().filter(|p| under(p)).count()
    };
    let enough = |mm: f64| swept(mm) as f64 >= SWEPT * plan.len() as f64;
    if leaves.is_empty() || !enough(0.0) {
        return None;
    }
    Some(halved([0.0, 4.0], 13, enough))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A rest of 3 by 2 mm that leaves over the line beyond its last, with balls of 1.2 mm but on some lines.
    fn plan(narrow: std::ops::Range<i32>) -> BTreeMap<[i32; 2], Over> {
        let over = |k: i32| match k {
            30 => Over::Beside,
            k if narrow.contains(&k) => Over::Rest([0.7, 0.04]),
            _ => Over::Rest([1.2, 0.04]),
        };
        (0..=30).flat_map(|k| (0..20).map(move |j| [k, j])).map(|[k, j]| ([k, j], over(k))).collect()
    }

    #[test]
    fn it_leaves_through_metal_beside_it_as_well() {
        // Narrow where it leaves straight on, and wide through what stands beside its first half, off over a wall.
        let mut all = plan(24..30);
        all.extend((0..14).map(|k| ([k, 20], Over::Crown(1.2))));
        all.extend((0..14).map(|k| ([k, 21], Over::Beside)));
        assert!((passes(&all).unwrap() - 1.2).abs() < 0.01);
    }

    #[test]
    fn half_of_a_rest_hangs_on_its_neck_but_not_on_its_inner_end() {
        let at = |narrow| passes(&plan(narrow)).unwrap();
        assert!((at(40..41) - 1.2).abs() < 0.01, "even");
        assert!((at(20..22) - 0.7).abs() < 0.01, "a neck before the half");
        assert!((at(28..30) - 0.7).abs() < 0.01, "where it leaves");
        assert!((at(0..8) - 1.2).abs() < 0.01, "its inner end");
        assert!(
            passes(&plan(0..31).into_iter().filter(|(at, _)| at[0] < 30).collect()).is_none(),
            "it leaves nowhere"
        );
    }
}
