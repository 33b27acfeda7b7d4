//! Cuts of a clasp arm: half planes through the tooth's axis, then planes square to the line through the middles of those, and
//! on to the arm's end. See [`super::arms`] for what is read of them.

use super::Cast;
use super::arms::{ArmAsked, GOES_ON_MM, SAME_MM, THICKEST_MM};
use super::sections::{Loop, Sizes, loops};
use crate::mesh::Mesh;
use crate::space::{Direction, Plane, Point, Vector, cos, sin};

/// A section higher than this is no arm's, mm.
const HIGHEST_MM: f64 = 3.2;
/// Steps by which an arm is followed on to its end, mm; how many; how far its middle may lie from where it is expected, mm; how
/// much larger a section may be than the one before; under which share of that its end has begun.
const ON_MM: f64 = 0.15;
const MOST_STEPS: usize = 40;
const ASTRAY_MM: f64 = 0.3;
const GROWS: f64 = 1.25;
const ROUNDING: f64 = 0.93;
/// Halvings of the angle before an arm's first section in which its origin is sought.
const HALVINGS: usize = 5;
/// Cosine of the angle between the cast's normal and the cut up to which an arm's section lies on a wall.
const UPRIGHT: f64 = 0.25;
/// How much farther metal on tissue counts than metal on a crown, mm.
const OFF_CROWN_MM: f64 = 0.5;
/// Least number of sections of an arm.
const LEAST: usize = 5;

/// A cut through the axis.
pub(super) struct Cutting {
    pub plane: Plane,
    pub arm: Option<(Loop, Sizes)>,
    /// All metal about the crown that was cut here.
    pub all: Vec<Loop>,
}

/// The cut at an angle from the middle of the arm's surface, degrees.
pub(super) fn cutting(
    part: &Mesh,
    cast: &Cast<'_>,
    asked: &ArmAsked<'_>,
    (out, side): (&Vector, &Vector),
    deg: f64,
) -> Cutting {
    let (s, c) = (sin(deg.to_radians()), cos(deg.to_radians()));
    let ahead = out * c + side * s;
    let normal = Direction::new_normalize(side * c - out * s);
    let plane = Plane { point: asked.axes.centre, normal };
    let here: Vec<Loop> = loops(part, &plane)
        .into_iter()
        .filter(|l| (l.middle - asked.axes.centre).dot(&ahead) > 0.0)
        .collect();
    let lies = |l: &Loop| {
        let closest = cast.surface.closest(&l.middle)?;
        let normal = super::normal_at(cast.surface.mesh(), cast.normals, closest.face, &closest.at);
        // A tip may lie over the papilla between two crowns; metal on a crown is taken before metal on tissue.
        let beside = if cast.tooth_at(closest.face) == 0 { OFF_CROWN_MM } else { 0.0 };
        (normal.dot(&ahead) > UPRIGHT).then_some(closest.distance_mm + beside)
    };
    // The arm's section is the one nearest to a crown's wall of those that are small enough.
    let arm = here
        .iter()
        .filter(|l| l.closed)
        .filter_map(|l| l.sizes(&plane).map(|sizes| (l, sizes)))
        .filter(|(_, sizes)| sizes.height_mm <= HIGHEST_MM && sizes.thickness_mm <= THICKEST_MM)
        .filter_map(|(l, sizes)| lies(l).map(|off| (l, sizes, off)))
        .min_by(|a, b| a.2.total_cmp(&b.2))
        .map(|(l, sizes, _)| (l.clone(), sizes));
    Cutting { plane, arm, all: here }
}

/// The cut nearest to where an arm grows into the body: between its first section and the next cut, which is none of an arm,
/// by halving.
pub(super) fn origin(first: &Point, between: &dyn Fn(f64) -> Cutting) -> Option<Cutting> {
    let (mut arm, mut body) = (0.0, 1.0);
    let mut best = None;
    for _ in 0..HALVINGS {
        let share = (arm + body) / 2.0;
        let mut cut = between(share);
        match next_to(first, &cut) {
            Some(found) => {
                cut.arm = Some(found);
                (arm, best) = (share, Some(cut));
            }
            None => body = share,
        }
    }
    best
}

/// The small section of a cut that is close to a place, whatever it lies over.
fn next_to(place: &Point, cut: &Cutting) -> Option<(Loop, Sizes)> {
    let near = |l: &Loop| (l.middle - place).norm();
    let close = cut.all.iter().filter(|l| l.closed && near(l) <= GOES_ON_MM);
    let small = close.filter_map(|l| l.sizes(&cut.plane).map(|s| (l, s)));
    small
        .filter(|(_, s)| s.height_mm <= HIGHEST_MM && s.thickness_mm <= THICKEST_MM)
        .min_by(|a, b| near(a.0).total_cmp(&near(b.0)))
        .map(|(l, s)| (l.clone(), s))
}

/// The longest run of cuts, without gap, whose sections follow each other.
fn longest(cuts: &[Cutting]) -> Option<Vec<usize>> {
    let follows = |a: &Cutting, b: &Cutting| match (&a.arm, &b.arm) {
        (Some((l, _)), Some((m, _))) => (l.middle - m.middle).norm() < 1.2,
        _ => false,
    };
    let (mut best, mut run): (Vec<usize>, Vec<usize>) = (Vec::new(), Vec::new());
    for i in 0..cuts.len() {
        if cuts[i].arm.is_none() {
            run.clear();
            continue;
        }
        if !run.last().is_some_and(|&last| follows(&cuts[last], &cuts[i])) {
            run.clear();
        }
        run.push(i);
        if run.len() > best.len() {
            best.clone_from(&run);
        }
    }
    (best.len() >= LEAST).then_some(best)
}

/// The longest run with what goes on from both its ends: small sections close to the last one, whatever they lie over (a
/// tip may lie between two crowns).
pub(super) fn extended(mut cuts: Vec<Cutting>) -> Option<(Vec<Cutting>, Vec<usize>)> {
    let mut run = longest(&cuts)?;
    let goes_on = |cuts: &[Cutting], from: usize, to: usize| {
        let (last, _) = cuts.get(from)?.arm.as_ref()?;
        next_to(&last.middle, cuts.get(to)?)
    };
    while let Some(to) = run.last().map(|i| i + 1)
        && let Some(found) = goes_on(&cuts, to - 1, to)
    {
        cuts[to].arm = Some(found);
        run.push(to);
    }
    while let Some(to) = run.first().and_then(|i| i.checked_sub(1))
        && let Some(found) = goes_on(&cuts, to + 1, to)
    {
        cuts[to].arm = Some(found);
        run.insert(0, to);
    }
    Some((cuts, run))
}

/// The sections again, square to the line through the middles of those from the axis: an arm that falls along the tooth is
/// cut aslant by these.
pub(super) fn square(part: &Mesh, order: &[&Cutting]) -> Vec<(Loop, Sizes, Plane)> {
    let rough: Vec<(&Loop, Sizes, Plane)> =
        order.iter().filter_map(|c| c.arm.as_ref().map(|(l, s)| (l, *s, c.plane))).collect();
    let last = rough.len().saturating_sub(1);
    (0..rough.len())
        .map(|i| {
            let (found, sizes, plane) = rough[i];
            let way = rough[(i + 2).min(last)].0.middle - rough[i.saturating_sub(2)].0.middle;
            let again = crate::space::direction(way).and_then(|normal| {
                let plane = Plane { point: found.middle, normal };
                let near = |l: &Loop| (l.middle - found.middle).norm();
                let best = loops(part, &plane)
                    .into_iter()
                    .filter(|l| l.closed && near(l) <= SAME_MM)
                    .min_by(|a, b| near(a).total_cmp(&near(b)))?;
                let sizes = best.sizes(&plane)?;
                (sizes.height_mm <= HIGHEST_MM).then_some((best, sizes, plane))
            });
            again.unwrap_or_else(|| (found.clone(), sizes, plane))
        })
        .collect()
}

/// The sections with those that follow where the cuts through the tooth's axis stop: on from the last two, square to the way
/// from one to the next, until no metal of the arm's size is cut.
pub(super) fn to_the_end(part: &Mesh, mut sections: Vec<(Loop, Sizes, Plane)>) -> Vec<(Loop, Sizes, Plane)> {
    for _ in 0..MOST_STEPS {
        let Some([before, .., last]) = sections.get(sections.len().saturating_sub(3)..) else { break };
        let Some(normal) = crate::space::direction(last.0.middle - before.0.middle) else { break };
        let aim = last.0.middle + normal.into_inner() * ON_MM;
        let plane = Plane { point: aim, normal };
        let near = |l: &Loop| (l.middle - aim).norm();
        let fits = |s: &Sizes| {
            s.height_mm <= GROWS * last.1.height_mm && s.thickness_mm <= GROWS * last.1.thickness_mm
        };
        let next = loops(part, &plane)
            .into_iter()
            .filter(|l| l.closed && near(l) <= ASTRAY_MM)
            .filter_map(|l| l.sizes(&plane).filter(fits).map(|s| (l, s)))
            .min_by(|a, b| near(&a.0).total_cmp(&near(&b.0)));
        let Some((found, sizes)) = next else { break };
        // The rounding of the end is no section, nor is a corner of it.
        if sizes.height_mm < ROUNDING * last.1.height_mm
            || sizes.thickness_mm < ROUNDING * last.1.thickness_mm
        {
            break;
        }
        sections.push((found, sizes, plane));
    }
    sections
}
