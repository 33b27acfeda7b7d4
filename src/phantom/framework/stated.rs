//! What is true of the parts of a finished body, from its field: by the definitions of `docs/method/framework.md`, without the
//! mesh that is contoured from it and without what measures that.

use super::super::cast::Cast;
use super::super::crown::{CrownBody, Seat};
use super::super::truth::undercut::{Path, occlusal};
use super::body::{Body, Part};
use super::ground::Ground;
use super::outline::{Line, Sheet, facing, halved, length, middle, nearest, outlines, sizes, stands_off};
use super::record::{Kind, PartTruth};
use super::ridge::of_rest;
use crate::space::{Direction, Point, Vector, hypot};
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
    let beyond = halved([-0.3, 1.5], 9, |mm| met(mm).is_some());
    let (p, before) = at_length(&part.axis, whole + beyond - BEFORE_END_MM)?;
    let (sheet, line) = section(body, &p, &before)?;
    truth.tip_thickness_mm = stands_off(&line, &facing(body, &sheet, &line));
    // What engages: the middle of the inner side in the middle of the rounding that ends it.
    let rounding = sizes(&line)[1] / 2.0;
    if let Some((sheet, line)) = met(beyond - rounding) {
        let inner = facing(body, &sheet, &line);
        let inner = line.iter().zip(inner).filter(|(_, f)| *f).map(|(p, _)| *p);
        let inner: Vec<[f64; 2]> = inner.collect();
        let by = |a: &&[f64; 2], b: &&[f64; 2]| a[1].total_cmp(&b[1]);
        if let (Some(low), Some(high)) = (inner.iter().min_by(by), inner.iter().max_by(by))
            && let Some(foot) =
                body.ground.surface().closest(&nalgebra::center(&sheet.at(low), &sheet.at(high)))
        {
            let at = cast.own(&foot.at);
            truth.depth_mm = Some(Path::new(cast, &occlusal(cast.arch)).depth_mm(&at));
            truth.tip_at_mm = Some(at.into());
        }
    }
    Some(beyond)
}

/// Length of an arm from where it grows into the body to its end, its thickness before that, and what its end engages.
fn of_arm(body: &Body<'_>, part: &Part<'_>, (cast, crown): (&Cast, &CrownBody), truth: &mut PartTruth) {
    let Some(beyond) = of_end(body, part, cast, truth) else { return };
    let whole = long(&part.axis);
    let places = along(&part.axis, APART_MM);
    let square: Vec<Option<(Sheet, Line)>> =
        places.par_iter().map(|(p, way)| section(body, p, way)).collect();
    // Its origin: where an upright cut through the middle of the crown becomes larger than an arm.
    let is_arm = |mm: f64| -> Option<bool> {
        let (p, _) = at_length(&part.axis, mm)?;
        let out = p - crown.world([0.0, 0.0, 0.5 * crown.height]);
        let sheet = Sheet::square_to(p, &Vector::z().cross(&out))?;
        let line = nearest(outlines(body, &sheet, ARM_HALF_MM), [0.0; 2])?;
        let [thick, high] = sizes(&line);
        Some(high <= ARM_MOST_MM[0] && thick <= ARM_MOST_MM[1])
    };
    let steps = (whole / APART_MM) as usize;
    let lengths: Vec<f64> = (0..=steps).map(|i| whole * (1.0 - i as f64 / steps.max(1) as f64)).collect();
    let arm: Vec<bool> = lengths.par_iter().map(|mm| is_arm(*mm).unwrap_or(false)).collect();
    let from = arm.iter().position(|a| *a).unwrap_or(0);
    let mut origin = 0.0;
    if let Some(body_from) = (from..arm.len()).find(|&i| !arm[i]).filter(|i| *i > 0) {
        origin = halved([lengths[body_from - 1], lengths[body_from]], 6, |mm| is_arm(mm).unwrap_or(false));
    }
    let own_mm = whole / (places.len().max(2) - 1) as f64;
    let first = at_length(&part.axis, origin).and_then(|(p, way)| section(body, &p, &way));
    let later =
        square.into_iter().enumerate().filter(|(i, _)| *i as f64 * own_mm > origin + 0.1).map(|(_, s)| s);
    let middles = std::iter::once(first)
        .chain(later)
        .flatten()
        .filter(|(_, l)| sizes(l)[1] <= ARM_MOST_MM[0])
        .map(|(s, l)| s.at(&middle(&l)));
    let middles: Vec<Point> = middles.collect();
    // Where it is an arm from its root on, it goes on into the body.
    let before = middles.first().filter(|_| origin == 0.0).and_then(|p| Some((*p, *middles.get(1)?)));
    let before = before.map_or(0.0, |(root, next)| long(&before_root(body, crown, root, &next)));
    truth.length_mm = Some(before + long(&middles) + beyond);
}

/// The middles of the upright cuts through the middle of the crown from the root of an arm back to where it becomes larger than
/// an arm, or ends.
fn before_root(body: &Body<'_>, crown: &CrownBody, root: Point, next: &Point) -> Vec<Point> {
    const STEP_MM: f64 = 0.2;
    const MOST: usize = 20;
    const SAME_MM: f64 = 1.0;
    let axis = crown.world([0.0, 0.0, 0.5 * crown.height]);
    let back = |p: &Point| Vector::z().cross(&Vector::new(p.x - axis.x, p.y - axis.y, 0.0));
    let sign = if back(&root).dot(&(root - next)) < 0.0 { -1.0 } else { 1.0 };
    let cut = |from: &Point, mm: f64| -> Option<Point> {
        let at = from + back(from).try_normalize(1e-9)? * (sign * mm);
        let sheet = Sheet::square_to(at, &back(&at))?;
        let line = nearest(outlines(body, &sheet, ARM_HALF_MM), [0.0; 2])?;
        let [thick, high] = sizes(&line);
        // What leaves the sheet is the body; another piece of it is not this arm.
        let [u, v] = middle(&line);
        let on = hypot(u, v) <= SAME_MM;
        (on && high <= ARM_MOST_MM[0] && thick <= ARM_MOST_MM[1]).then(|| sheet.at(&[u, v]))
    };
    let mut all = vec![root];
    let mut from = root;
    for _ in 0..MOST {
        if let Some(p) = cut(&from, STEP_MM) {
            all.push(p);
            from = p;
            continue;
        }
        let (mut lo, mut hi) = (0.0, STEP_MM);
        let mut last = None;
        for _ in 0..4 {
            let mid = 0.5 * (lo + hi);
            match cut(&from, mid) {
                Some(p) => (lo, last) = (mid, Some(p)),
                None => hi = mid,
            }
        }
        all.extend(last);
        break;
    }
    all
}
