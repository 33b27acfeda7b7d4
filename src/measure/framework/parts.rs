//! Quantity: which part of a framework a place belongs to, told by what it stands over.
//!
//! Definition: a place belongs to what its closest point of the cast belongs to: a *crown*, the *ridge* of a span, or other
//! *tissue*. A crown's places are *over* it where the cast's normal leans less than 50 degrees from the path (rests,
//! occlusal parts), else *beside* it (arms, plates). Where the framework crosses the gingival margin of a crown is a
//! *crossing*: a minor connector or the plate beside a saddle.
//!
//! Method and its error: the closest point, so that between two parts the border runs along the middle of the cast
//! between them; no name is given by it alone, the measurements of each part say what they took for it.
//!
//! Checked by: `tests/framework.rs` on generated frameworks.

use std::collections::BTreeMap;

use super::{Cast, Framework, Near};
use crate::anatomy::curves;
use crate::case::Tooth;
use crate::measure::tooth_axes::ToothAxes;
use crate::mesh::{FaceId, VertexId};
use crate::space::{Direction, Point, direction};

/// Cosine of the lean of the cast's normal from the path up to which a place is over a crown: 50 degrees.
const OVER: f64 = 0.643;
/// Farther than this from the cast a place belongs to nothing, mm.
const REACH_MM: f64 = 4.0;
/// Spacing of the places of a margin that are asked, mm.
const MARGIN_STEP_MM: f64 = 0.2;
/// A framework that crosses a margin lies within this of it, mm.
const CROSSING_MM: f64 = 2.5;
/// Breaks of a crossing up to this long are none, mm.
const BREAK_MM: f64 = 0.7;
/// Crossings shorter than this are none, mm.
const SHORTEST_MM: f64 = 0.6;
/// Crossings of two neighbouring crowns that come this near are one, mm.
const JOINED_MM: f64 = 1.6;

/// A margin's place this near to another crown's margin lies in an embrasure, mm.
const EMBRASURE_MM: f64 = 1.2;

/// What a place of the framework stands over.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Over {
    /// The occlusal or incisal side of a crown.
    CrownTop(Tooth),
    /// The wall of a crown.
    CrownWall(Tooth),
    /// The residual ridge of a span, by its order.
    Ridge(usize),
    /// Other tissue.
    Tissue,
    /// Nothing near.
    Nothing,
}

/// What each vertex stands over.
pub fn over(cast: &Cast<'_>, near: &[Option<Near>], d: &Direction) -> Vec<Over> {
    let ridges = ridge_of_face(cast);
    near.iter()
        .map(|n| match n {
            Some(n) if n.signed_mm.abs() <= REACH_MM => match Tooth::fdi(cast.tooth_at(n.face)) {
                Some(tooth) if n.normal.dot(d) > OVER => Over::CrownTop(tooth),
                Some(tooth) => Over::CrownWall(tooth),
                None => ridges.get(&n.face).map_or(Over::Tissue, |&span| Over::Ridge(span)),
            },
            _ => Over::Nothing,
        })
        .collect()
}

fn ridge_of_face(cast: &Cast<'_>) -> BTreeMap<FaceId, usize> {
    let spans = cast.anatomy.spans.iter().enumerate();
    spans.flat_map(|(k, span)| span.faces.iter().map(move |&f| (f, k))).collect()
}

/// Axes of the crowns, by tooth, where they are known.
pub fn axes(cast: &Cast<'_>) -> BTreeMap<Tooth, ToothAxes> {
    let mesh = cast.surface.mesh();
    let of = |c| ToothAxes::of(mesh, c, cast.anatomy).ok();
    cast.anatomy.crowns.iter().filter_map(|c| Some((c.tooth, of(c)?))).collect()
}

/// Where the framework crosses gingival margins.
#[derive(Clone, Debug, PartialEq)]
pub struct Crossing {
    /// The crowns whose margins it crosses.
    pub teeth: Vec<Tooth>,
    /// The crossed places of the margins, mm.
    pub margin: Vec<Point>,
    /// Greatest distance of two crossed places, mm.
    pub width_mm: f64,
    /// Gap between margin and metal at each of those places, mm.
    pub gap_mm: Vec<f64>,
    /// Thickness of the metal over each of them, mm, by the ray along the cast's normal; `None` where none leaves it.
    pub thickness_mm: Vec<Option<f64>>,
    /// Whether each of those places lies in an embrasure, beside another crown's margin.
    pub between: Vec<bool>,
    /// Middle of the crossed places, mm.
    pub at: Point,
}

impl Crossing {
    /// Thickness of the metal, mm: the middle one of the places, those in an embrasure, where the ray grazes both crowns,
    /// only where there are no others.
    pub fn thickness_mm(&self) -> Option<f64> {
        let of = |also_between: bool| -> Vec<f64> {
            let all = self.thickness_mm.iter().zip(&self.between);
            all.filter(|(_, b)| also_between || !**b).filter_map(|(t, _)| *t).collect()
        };
        super::median(of(false)).or_else(|| super::median(of(true)))
    }

    /// Whether it lies in embrasures only.
    pub fn is_between(&self) -> bool {
        self.between.iter().all(|b| *b)
    }
}

/// Finds them, by tooth as the crowns stand.
pub fn crossings(framework: &Framework, cast: &Cast<'_>) -> Vec<Crossing> {
    let mut all: Vec<Crossing> = Vec::new();
    for crown in &cast.anatomy.crowns {
        if crown.margin.len() < 3 {
            continue;
        }
        for run in of_margin(framework, cast, &crown.margin) {
            let between = |p: &Point| {
                let others = cast.anatomy.crowns.iter().filter(|c| c.tooth != crown.tooth);
                others.flat_map(|c| &c.margin).any(|q| (p - q).norm() <= EMBRASURE_MM)
            };
            let crossing = crossing(crown.tooth, run, between);
            match all.iter_mut().find(|known| apart(known, &crossing) <= JOINED_MM) {
                Some(known) => join(known, crossing),
                None => all.push(crossing),
            }
        }
    }
    all
}

/// A place of a margin under the framework: where, the gap over it, the metal over that.
type Under = (Point, f64, Option<f64>);

fn of_margin(framework: &Framework, cast: &Cast<'_>, margin: &[Point]) -> Vec<Vec<Under>> {
    let mut closed = margin.to_vec();
    closed.extend(margin.first().copied());
    let places = curves::evenly(&closed, MARGIN_STEP_MM);
    let met: Vec<Option<Under>> = places.iter().map(|p| under(framework, cast, p)).collect();
    // Begins at a place that is free, so that no crossing is cut in two; a margin all under metal is one crossing.
    let start = met.iter().position(Option::is_none).unwrap_or(0);
    let most_break = (BREAK_MM / MARGIN_STEP_MM) as usize;
    let (mut runs, mut run, mut free): (Vec<Vec<Under>>, Vec<Under>, usize) = (Vec::new(), Vec::new(), 0);
    for k in 0..met.len() {
        match met[(start + k) % met.len()] {
            Some(place) => {
                run.push(place);
                free = 0;
            }
            None => {
                free += 1;
                if free > most_break && !run.is_empty() {
                    runs.push(std::mem::take(&mut run));
                }
            }
        }
    }
    runs.extend((!run.is_empty()).then_some(run));
    runs.retain(|r| r.len() as f64 * MARGIN_STEP_MM >= SHORTEST_MM);
    runs
}

fn under(framework: &Framework, cast: &Cast<'_>, p: &Point) -> Option<Under> {
    let near = cast.near_within(p, 1.0)?;
    let out = direction(near.normal)?;
    // Metal that lies a little inside the cast still crosses.
    let start = near.at - out.into_inner() * 0.3;
    let hits = framework.surface.cast_all(&start, &out, CROSSING_MM + 3.0);
    let enters = hits.iter().find(|h| !h.from_behind)?.distance_mm;
    if enters - 0.3 > CROSSING_MM {
        return None;
    }
    let leaves =
        hits.iter().find(|h| h.from_behind && h.distance_mm > enters).map(|h| h.distance_mm - enters);
    Some((near.at, enters - 0.3, leaves))
}

fn crossing(tooth: Tooth, run: Vec<Under>, between: impl Fn(&Point) -> bool) -> Crossing {
    let margin: Vec<Point> = run.iter().map(|u| u.0).collect();
    Crossing {
        teeth: vec![tooth],
        width_mm: extent(&margin),
        between: margin.iter().map(between).collect(),
        at: margin.get(margin.len() / 2).copied().unwrap_or_default(),
        gap_mm: run.iter().map(|u| u.1).collect(),
        thickness_mm: run.iter().map(|u| u.2).collect(),
        margin,
    }
}

/// Greatest distance of two places, mm.
fn extent(places: &[Point]) -> f64 {
    let pairs = places.iter().enumerate().flat_map(|(i, p)| places[i..].iter().map(move |q| (p - q).norm()));
    pairs.fold(0.0, f64::max)
}

/// Least distance between the crossed places of two crossings, mm.
pub fn apart(a: &Crossing, b: &Crossing) -> f64 {
    let pairs = a.margin.iter().flat_map(|p| b.margin.iter().map(move |q| (p - q).norm()));
    pairs.fold(f64::INFINITY, f64::min)
}

fn join(known: &mut Crossing, more: Crossing) {
    known.teeth.extend(more.teeth);
    known.gap_mm.extend(more.gap_mm);
    known.thickness_mm.extend(more.thickness_mm);
    known.margin.extend(more.margin);
    known.between.extend(more.between);
    known.width_mm = extent(&known.margin);
    let sum: crate::space::Vector = known.margin.iter().map(|p| p.coords).sum();
    let middle = Point::from(sum / known.margin.len() as f64);
    let nearest = known.margin.iter().min_by(|a, b| (*a - middle).norm().total_cmp(&(*b - middle).norm()));
    known.at = nearest.copied().unwrap_or(middle);
}

/// Vertices that stand over what `wanted` says, ascending.
pub fn chosen(over: &[Over], wanted: impl Fn(Over) -> bool) -> Vec<VertexId> {
    (0..over.len() as VertexId).filter(|&v| wanted(over[v as usize])).collect()
}
