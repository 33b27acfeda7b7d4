//! What is true of the parts of a finished body, from its field: by the definitions of `docs/method/framework.md`, without the
//! mesh that is contoured from it and without what measures that.

use super::super::cast::Cast;
use super::super::crown::{CrownBody, Seat};
use super::super::truth::margin::is_crown;
use super::super::truth::undercut::{Path, occlusal};
use super::body::{Body, Part};
use super::ground::Ground;
use super::outline::{Line, Sheet, facing, halved, length, middle, nearest, outlines, sizes, stands_off};
use super::record::{Kind, PartTruth};
use super::ridge::of_rest;
use crate::space::{Direction, Point, Vector, cos, hypot, sin};
use rayon::prelude::*;

/// Distance of the sections of a connector and of an arm, mm.
const APART_MM: f64 = 0.5;
/// A section of a bar that another part comes this near to is not the bar's alone, mm.
const ALONE_MM: f64 = 0.4;
/// How far before the end of an arm its thickness at the tip is stated, mm.
const BEFORE_END_MM: f64 = 1.0;
/// A section higher or thicker than this is the body's, where an arm grows into it, mm.
const ARM_MOST_MM: [f64; 2] = [3.2, 2.6];
/// The strap is stated within this of the midline, mm.
const MIDLINE_MM: i32 = 10;

/// What is stated beside the gap and the thickness at the place of a part: what takes a while only where it is wanted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Wanted {
    /// Nothing.
    Place,
    /// What the ends of arms engage.
    Ends,
    /// All, with the figures of its sections.
    Sections,
}

/// The truth of a part, its gap and thickness those of the finished body at the place where they are stated.
pub(super) fn stated(body: &Body<'_>, part: &Part<'_>, cast: &Cast, wanted: Wanted) -> PartTruth {
    let mut truth = part.truth.clone();
    let at = cast.own(&truth.at_mm.into());
    let Some(foot) = body.ground.surface().closest(&at) else { return truth };
    let crown =
        |kind: Kind| cast.crowns.iter().find(|c| truth.kind == kind && truth.tooth == Some(c.tooth.number()));
    let (rests_on, clasps) = (crown(Kind::Rest), crown(Kind::ClaspArm));
    let square = body.ground.normal(&foot.at, foot.face);
    let way = rests_on.map_or(square, |c| c.axes[2]).normalize();
    if let Some([gap, thick]) = body.along(&foot.at, &way) {
        (truth.gap_mm, truth.thickness_mm) = (gap, thick);
    }
    truth.way = (cast.own(&(foot.at + way)) - cast.own(&foot.at)).into();
    if wanted == Wanted::Ends && clasps.is_some() {
        of_end(body, part, cast, &mut truth);
    }
    if wanted != Wanted::Sections {
        return truth;
    }
    if let Some(crown) = rests_on
        && let Some(seat) = crown.seats.iter().find(|s| (s.at[0] > 0.0) == (truth.place == Some("distal")))
    {
        let floor = cast_floor(body.ground, crown, seat);
        [truth.ridge_thickness_mm, truth.seat_gap_mm] = of_rest(body, cast, (crown, seat), &floor);
    }
    if let Some(crown) = clasps {
        of_arm(body, part, (cast, crown), &mut truth);
    }
    match truth.kind {
        Kind::Bar => {
            let all = bar(body, part);
            let least = |k: usize| all.iter().map(|s| s[k]).reduce(f64::min);
            (truth.least_thickness_mm, truth.least_width_mm) = (least(0), least(1));
        }
        Kind::Strap => truth.least_width_mm = strap(body, part, truth.thickness_mm),
        _ => {}
    }
    truth
}

/// Floor of a seat on the cast, in the crown's own axes, mm.
pub(super) fn cast_floor(ground: &Ground, crown: &CrownBody, seat: &Seat) -> [f64; 3] {
    let ([u, v, w], _) = crown.seat_floor(seat);
    let down = Direction::new_normalize(-crown.axes[2]);
    let hit = ground.surface().cast(&crown.world([u, v, w + 3.0]), &down, 6.0);
    [u, v, hit.map_or(w, |h| crown.local(&h.at)[2])]
}

/// Length of a line, mm.
fn long(line: &[Point]) -> f64 {
    line.windows(2).map(|two| (two[1] - two[0]).norm()).sum()
}

/// Places of a line so far apart, each with the direction in which it runs.
fn along(line: &[Point], apart_mm: f64) -> Vec<(Point, Vector)> {
    let whole = long(line);
    let n = (whole / apart_mm) as usize;
    (0..=n).filter_map(|i| at_length(line, whole * i as f64 / n.max(1) as f64)).collect()
}

fn at_length(line: &[Point], mm: f64) -> Option<(Point, Vector)> {
    let mut left = mm;
    for two in line.windows(2) {
        let way = two[1] - two[0];
        let long = way.norm();
        if left <= long + 1e-9 && long > 0.0 {
            return Some((two[0] + way * (left / long), way / long));
        }
        left -= long;
    }
    None
}

/// Thickness and height of the sections in which a bar is alone, square in plan to its course.
fn bar(body: &Body<'_>, part: &Part<'_>) -> Vec<[f64; 2]> {
    const HALF_MM: [f64; 2] = [5.0, 5.0];
    let one = |(at, _): &(Point, Vector)| {
        // The course of the arch: that of the wall is uneven.
        let sheet = Sheet::square_to(*at, &body.form.axes(body.form.place(at.x, at.y).s).0)?;
        let line = nearest(outlines(body, &sheet, HALF_MM), [0.0; 2])?;
        let alone = line.iter().step_by(3).all(|p| body.apart_mm(&sheet.at(p), part) > ALONE_MM);
        if !alone {
            return None;
        }
        let [least, height] = sizes(&line);
        let off = stands_off(&line, &facing(body, &sheet, &line)).map_or(least, |mm| mm.min(least));
        Some([off, height])
    };
    along(&part.axis, APART_MM).par_iter().filter_map(one).collect()
}

/// Least width of a strap in sections square to it a millimetre apart near the midline: half of the outline less the thickness.
fn strap(body: &Body<'_>, part: &Part<'_>, thickness_mm: f64) -> Option<f64> {
    const HALF_MM: [f64; 2] = [11.0, 8.0];
    let (first, last) = (part.axis.first()?, part.axis.last()?);
    let way = Vector::new(last.x - first.x, last.y - first.y, 0.0);
    let one = |x: &i32| {
        let share = (f64::from(*x) - first.x) / way.x;
        let p = first + way * share;
        let on = Point::new(p.x, p.y, body.ground.height_mm(p.x, p.y)?);
        let sheet = Sheet::square_to(on, &way)?;
        let line = nearest(outlines(body, &sheet, HALF_MM), [0.0; 2])?;
        Some(length(&line) / 2.0 - thickness_mm)
    };
    let all: Vec<f64> = (-MIDLINE_MM..=MIDLINE_MM).collect::<Vec<_>>().par_iter().filter_map(one).collect();
    all.into_iter().reduce(f64::min)
}

/// The middle of an arm's section lies within this of the line along which it was made, mm.
const ON_ITS_LINE_MM: f64 = 1.2;
/// So far from where it grows into the body an arm is taken to run straight on, mm: there its sections grow.
const SETTLED_MM: f64 = 0.8;
/// Half the rectangle in which a section of an arm is looked for, mm.
const ARM_HALF_MM: [f64; 2] = [3.4, 3.4];

fn section(body: &Body<'_>, at: &Point, way: &Vector) -> Option<(Sheet, Line)> {
    let sheet = Sheet::square_to(*at, way)?;
    Some((sheet, nearest(outlines(body, &sheet, ARM_HALF_MM), [0.0; 2])?))
}

/// Thickness of an arm before its end and what its end engages; how far it reaches beyond its line, mm.
fn of_end(body: &Body<'_>, part: &Part<'_>, cast: &Cast, truth: &mut PartTruth) -> Option<f64> {
    let whole = long(&part.axis);
    // Its end: the farthest metal along the way in which it runs there.
    let (last, way) = along(&part.axis, APART_MM).last().copied()?;
    let met = |mm: f64| {
        let sheet = Sheet::square_to(last + way * mm, &way)?;
        nearest(outlines(body, &sheet, [1.4; 2]), [0.0; 2]).map(|l| (sheet, l))
    };
    let reaches = |mm: f64| Sheet::square_to(last + way * mm, &way).is_some_and(|s| meets(body, &s));
    let beyond = halved([-0.3, 1.5], 11, reaches);
    let (p, before) = at_length(&part.axis, whole + beyond - BEFORE_END_MM)?;
    let (sheet, line) = section(body, &p, &before)?;
    truth.tip_thickness_mm = stands_off(&line, &facing(body, &sheet, &line));
    // What engages: the middle of the inner side in the middle of the rounding that ends it.
    let rounding = sizes(&line)[1] / 2.0;
    if let Some((sheet, line)) = met(beyond - rounding) {
        let inner = facing(body, &sheet, &line);
        // What lies against a neighbour engages nothing of the tooth.
        let others: Vec<&CrownBody> = beside(cast, truth.tooth).collect();
        let own = |p: &Point| {
            let foot = body.ground.surface().closest(p);
            foot.filter(|f| !others.iter().any(|c| is_crown(cast, c, &f.at))).map(|f| f.at)
        };
        let inner =
            line.iter().zip(inner).filter(|(p, f)| *f && own(&sheet.at(p)).is_some()).map(|(p, _)| *p);
        let inner: Vec<[f64; 2]> = inner.collect();
        let by = |a: &&[f64; 2], b: &&[f64; 2]| a[1].total_cmp(&b[1]);
        if let (Some(low), Some(high)) = (inner.iter().min_by(by), inner.iter().max_by(by))
            && let Some(foot) = own(&nalgebra::center(&sheet.at(low), &sheet.at(high)))
        {
            let at = cast.own(&foot);
            truth.depth_mm = Some(Path::new(cast, &occlusal(cast.arch)).depth_mm(&at));
            truth.tip_at_mm = Some(at.into());
        }
    }
    Some(beyond)
}

/// Crowns beside a tooth.
pub(super) fn beside(cast: &Cast, tooth: Option<u8>) -> impl Iterator<Item = &CrownBody> {
    const AROUND_MM: f64 = 20.0;
    let number = move |c: &&CrownBody| tooth == Some(c.tooth.number());
    let own = cast.crowns.iter().find(number);
    let near = move |c: &&CrownBody| own.is_some_and(|o| (c.origin - o.origin).norm() < AROUND_MM);
    cast.crowns.iter().filter(move |c| !number(c)).filter(near)
}

/// Whether a plane meets the body within 1.4 mm of its middle: its deepest place there, to a micrometre. An outline on a lattice
/// would miss the last of a rounded end.
fn meets(body: &Body<'_>, sheet: &Sheet) -> bool {
    const LATTICE: i32 = 14;
    const APART_MM: f64 = 0.1;
    let deep = |uv: [f64; 2]| body.value(&sheet.at(&uv));
    let node = |i: i32, j: i32| [i, j].map(|k| APART_MM * f64::from(k));
    let all = (-LATTICE..=LATTICE).flat_map(|i| (-LATTICE..=LATTICE).map(move |j| node(i, j)));
    let first = all.map(|uv| (deep(uv), uv)).min_by(|a, b| a.0.total_cmp(&b.0));
    let Some((mut least, mut at)) = first else { return false };
    let mut step = APART_MM / 2.0;
    while least >= 0.0 && step > 0.001 {
        let beside = [[step, 0.0], [-step, 0.0], [0.0, step], [0.0, -step]];
        let next = beside.map(|[u, v]| [at[0] + u, at[1] + v]).map(|uv| (deep(uv), uv));
        match next.into_iter().min_by(|a, b| a.0.total_cmp(&b.0)).filter(|n| n.0 < least) {
            Some(found) => (least, at) = found,
            None => step /= 2.0,
        }
    }
    least < 0.0
}

/// Length of an arm from where it grows into the body to its end, its thickness before that, and what its end engages.
fn of_arm(body: &Body<'_>, part: &Part<'_>, (cast, crown): (&Cast, &CrownBody), truth: &mut PartTruth) {
    let Some(beyond) = of_end(body, part, cast, truth) else { return };
    let Some(origin) = origin(body, part, crown) else { return };
    let section = |(p, way): &(Point, Vector)| {
        let (sheet, line) = section(body, p, way)?;
        let at = middle(&line);
        (hypot(at[0], at[1]) <= ON_ITS_LINE_MM && sizes(&line)[1] <= ARM_MOST_MM[0]).then(|| sheet.at(&at))
    };
    let middles: Vec<Point> = along(&part.axis, APART_MM).par_iter().filter_map(section).collect();
    truth.length_mm = from_origin(&middles, &origin).map(|mm| mm + beyond);
}

/// Length of a line that is taken to run straight on where it comes within [`SETTLED_MM`] of the plane in which it begins.
fn from_origin(line: &[Point], (at, normal): &(Point, Vector)) -> Option<f64> {
    let off = |p: &Point| (p - at).dot(normal);
    let k = line.windows(2).position(|two| off(&two[0]) < SETTLED_MM && off(&two[1]) >= SETTLED_MM)?;
    let share = (SETTLED_MM - off(&line[k])) / (off(&line[k + 1]) - off(&line[k]));
    let from = line[k] + (line[k + 1] - line[k]) * share;
    let rest: Vec<Point> = std::iter::once(from).chain(line[k + 1..].iter().copied()).collect();
    let way = (at_length(&rest, SETTLED_MM)?.0 - from).try_normalize(1e-9)?;
    Some(SETTLED_MM / way.dot(normal) + long(&rest))
}

/// The upright plane through the middle of a crown in which an arm, followed from its middle back to its root, becomes larger
/// than an arm or ends: a place of it, and its normal toward the tip.
fn origin(body: &Body<'_>, part: &Part<'_>, crown: &CrownBody) -> Option<(Point, Vector)> {
    const STEP_DEG: f64 = 2.5;
    const MOST: usize = 60;
    const SAME_MM: f64 = 1.0;
    let axis = crown.world([0.0, 0.0, 0.5 * crown.height]);
    let (root, (from, _)) = (part.axis.first()?, at_length(&part.axis, long(&part.axis) / 2.0)?);
    let out = |p: &Point| Vector::new(p.x - axis.x, p.y - axis.y, 0.0);
    let sign = Vector::z().dot(&out(&from).cross(&out(root))).signum();
    let turned = |p: &Point, deg: f64| {
        let (s, c) = (sin((sign * deg).to_radians()), cos((sign * deg).to_radians()));
        let o = out(p);
        Point::new(axis.x + o.x * c - o.y * s, axis.y + o.x * s + o.y * c, p.z)
    };
    let cut = |from: &Point, deg: f64| -> Option<Point> {
        let at = turned(from, deg);
        let sheet = Sheet::square_to(at, &Vector::z().cross(&out(&at)))?;
        let line = nearest(outlines(body, &sheet, ARM_HALF_MM), [0.0; 2])?;
        let ([thick, high], [u, v]) = (sizes(&line), middle(&line));
        let arm = hypot(u, v) <= SAME_MM && high <= ARM_MOST_MM[0] && thick <= ARM_MOST_MM[1];
        arm.then(|| sheet.at(&[u, v]))
    };
    let mut last = cut(&from, 0.0)?;
    for _ in 0..MOST {
        let Some(next) = cut(&last, STEP_DEG) else { break };
        last = next;
    }
    let deg = halved([0.0, STEP_DEG], 6, |deg| cut(&last, deg).is_some());
    let at = turned(&last, deg);
    Some((at, Vector::z().cross(&out(&at)).try_normalize(1e-9)? * -sign))
}
