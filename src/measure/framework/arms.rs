//! Quantity: a clasp arm of a framework: its length, its section at origin and tip, where it crosses the survey line, and
//! the depth that its tip engages.
//!
//! Definition: the arm is cut by half planes through the tooth's axis, 3 degrees apart. Sections that stand on the tooth's
//! wall and are no higher than 3.2 mm are the arm's; it ends where no metal follows (the tip) and begins where it grows into
//! the body, found to a tenth of a degree. *Length* runs along the middles of its sections to its end; within 0.8 mm of where
//! it begins it is taken to run straight on. The *depth engaged* is the undercut of the tooth, along the path, under the middle of the rounding that ends the arm: half its height before its end.
//!
//! Frame and units: mm.
//!
//! Method and its error: sections exact on the triangles; the tip's last section is up to 3 degrees (0.2 to 0.3 mm) before
//! its end, which is the farthest vertex along the line of its last sections. Depth exact at the tooth's triangles.
//!
//! Not covered: arms that leave the tooth (the approach of a bar clasp is not followed; its tip is).
//!
//! Checked by: an arc about a cylinder, below; `tests/framework.rs` on generated frameworks.

use rayon::prelude::*;

use super::arm_cuts::{Cutting, cutting, extended, origin, square, to_the_end};
use super::connectors::stands_off;
use super::parts::Over;
use super::sections::{Loop, Sizes, loops};
use super::{Cast, Framework, Near};
use crate::case::{Surface as Side, Tooth};
use crate::measure::tooth_axes::ToothAxes;
use crate::mesh::{FaceId, VertexId};
use crate::space::{Plane, Point, Vector};

/// Angle between two cuts, degrees.
const STEP_DEG: f64 = 3.0;
/// Angles from the middle of the surface to which an arm is followed, degrees.
const MOST_DEG: f64 = 105.0;
/// A section thicker than this is no arm's, mm.
pub(super) const THICKEST_MM: f64 = 2.6;
/// The last part of an arm in which its tip engages, mm.
const TIP_MM: f64 = 1.0;
/// An inner side lies this near to the tooth, mm.
const INNER_MM: f64 = 0.35;
/// Share of an arm from its origin that is taken to be rigid.
const RIGID_SHARE: f64 = 0.55;
/// Depth from which a place counts as under the survey line, mm.
const UNDER_MM: f64 = 0.02;
/// Metal this far beside a crown may be its arm's, mm.
const BESIDE_MM: f64 = 2.5;
/// Metal this far above or below a crown's middle may be its arm's, mm.
const UPRIGHT_MM: f64 = 6.0;
/// An arm ends within this of its last section, mm.
const ENDS_MM: f64 = 1.0;
/// Metal this near to an arm's last section goes on from it, mm.
pub(super) const GOES_ON_MM: f64 = 1.0;
/// A section square to the arm lies this near to that from the tooth's axis, mm.
pub(super) const SAME_MM: f64 = 0.9;

/// Least chord by which the line through its middles is measured, mm.
const CHORD_MM: f64 = 0.5;
/// So far from where it grows into the body an arm is taken to run straight on, mm; least cosine of its way to the plane of that.
const SETTLED_MM: f64 = 0.8;
const LEAST_AHEAD: f64 = 0.3;

/// The depth of the cast's undercut at a place of a triangle, mm.
pub type Depth<'a> = dyn Fn(&Point, FaceId) -> f64 + Sync + 'a;

/// A section of an arm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ArmSection {
    /// Its middle, mm.
    pub middle: Point,
    /// Distance along the arm from its origin, mm.
    pub s_mm: f64,
    /// Thickness: how far its outer side stands off its inner side at the most.
    pub thickness_mm: f64,
    /// Height along the tooth, mm.
    pub height_mm: f64,
    /// Undercut of the tooth under the middle of its inner side, mm; `None` where that stands off the tooth.
    pub depth_mm: Option<f64>,
    /// Greatest undercut under its inner side, mm.
    pub deepest_mm: Option<f64>,
    /// Place of the tooth under the middle of its inner side, mm.
    pub foot: Option<Point>,
}

/// An arm of the framework.
#[derive(Clone, Debug, PartialEq)]
pub struct ArmFound {
    /// Its tooth.
    pub tooth: Tooth,
    /// The surface on which its tip stands.
    pub side: Side,
    /// Its sections, from the origin to the tip.
    pub sections: Vec<ArmSection>,
    /// Length, mm.
    pub length_mm: f64,
    /// Its end, mm.
    pub tip: Point,
    /// Depth engaged, mm; `None` where the tip stands off the tooth.
    pub tip_depth_mm: Option<f64>,
    /// Greatest depth under the tip's inner side, mm.
    pub tip_deepest_mm: Option<f64>,
    /// Where on the tooth the tip engages, mm.
    pub tip_at: Option<Point>,
    /// Length from the origin to where it crosses the survey line, mm; `None` where it does not.
    pub crosses_at_mm: Option<f64>,
    /// Vertices of the part that is taken to flex, ascending.
    pub flexing: Vec<VertexId>,
    /// Whether its end was seen: metal ends before the followed angle does.
    pub ends_seen: bool,
}

impl ArmFound {
    /// Sizes at a share of the length from the origin, 0 to 1: of the nearest section.
    pub fn at_share(&self, share: f64) -> Option<&ArmSection> {
        let off = |s: &ArmSection| (s.s_mm - share * self.length_mm).abs();
        self.sections.iter().min_by(|a, b| off(a).total_cmp(&off(b)))
    }

    /// Thickness and height so far before the end, between those of the two nearest sections; those of the last one where
    /// none is nearer to the end.
    pub fn before_end(&self, mm: f64) -> Option<[f64; 2]> {
        let aim = self.length_mm - mm;
        let next = self.sections.partition_point(|s| s.s_mm < aim);
        let of = |s: &ArmSection| [s.thickness_mm, s.height_mm];
        let (Some(after), Some(before)) = (self.sections.get(next), next.checked_sub(1)) else {
            return self.sections.get(next.min(self.sections.len().checked_sub(1)?)).map(of);
        };
        let before = &self.sections[before];
        let share = (aim - before.s_mm) / (after.s_mm - before.s_mm).max(1e-9);
        let (a, b) = (of(before), of(after));
        Some([0, 1].map(|k| a[k] + (b[k] - a[k]) * share))
    }
}

/// What is looked at.
#[derive(Clone, Copy, Debug)]
pub struct ArmAsked<'a> {
    /// The tooth.
    pub tooth: Tooth,
    /// The surface that the tip engages.
    pub side: Side,
    /// Axes of the crown.
    pub axes: &'a ToothAxes,
    /// Where the rest of the tooth lies, where it has one: the arm begins on that side.
    pub begins_near: Option<Point>,
}

/// Follows the arm on a surface of a tooth; `None` where there is none.
pub fn follow(
    framework: &Framework,
    cast: &Cast<'_>,
    (near, over): (&[Option<Near>], &[Over]),
    asked: &ArmAsked<'_>,
    depth: &Depth<'_>,
) -> Option<ArmFound> {
    let axes = asked.axes;
    let up = axes.occlusal;
    let out = axes.outward(asked.side);
    let side = up.cross(&out);
    let mesh = framework.mesh();
    // An arm may reach over to the neighbour, so the metal about the crown is followed, not only that over it.
    let about = |v: VertexId| {
        let [m, b, h] = axes.local(&mesh.vertex(v));
        over[v as usize] != Over::Nothing
            && m.abs() <= axes.half_mm[0] + BESIDE_MM
            && b.abs() <= axes.half_mm[1] + BESIDE_MM
            && h.abs() <= UPRIGHT_MM
    };
    let reach = [axes.half_mm[0] + BESIDE_MM, axes.half_mm[1] + BESIDE_MM, UPRIGHT_MM];
    let walls = [axes.mesial, axes.buccal, up.into_inner()].into_iter().zip(reach).flat_map(|(way, mm)| {
        [way, -way]
            .map(|way| Some(Plane { point: axes.centre + way * mm, normal: crate::space::direction(way)? }))
    });
    let mut close = framework.surface.faces_within(&walls.flatten().collect::<Vec<_>>());
    close.retain(|&f| mesh.faces()[f as usize].iter().all(|&v| about(v)));
    let part = mesh.part_of(&close).0;
    if part.faces().is_empty() {
        return None;
    }
    let steps = (MOST_DEG / STEP_DEG) as i32;
    let cuts: Vec<Cutting> = (-steps..=steps)
        .into_par_iter()
        .map(|k| cutting(&part, cast, asked, (&out, &side), f64::from(k) * STEP_DEG))
        .collect();
    let (cuts, run) = extended(cuts)?;
    let (first, last) = (*run.first()?, *run.last()?);
    // Metal goes on beyond a section where a next cut meets some close to its middle.
    let goes_on = |from: usize, next: &mut dyn Iterator<Item = usize>| {
        let Some((last, _)) = &cuts[from].arm else { return true };
        let close = |l: &Loop| l.places.iter().any(|p| (p - last.middle).norm() <= GOES_ON_MM);
        next.filter_map(|i| cuts.get(i)).any(|c| c.all.iter().any(close))
    };
    let ends = [
        first > 1 && !goes_on(first, &mut (first.saturating_sub(2)..first)),
        last + 2 < cuts.len() && !goes_on(last, &mut (last + 1..last + 3)),
    ];
    let rest = asked.begins_near.map(|p| (p - axes.centre).dot(&side));
    let tip_is_last = match (ends, rest) {
        ([false, true], _) => true,
        ([true, false], _) => false,
        // Both ends are seen, or none: the tip is the one farther from the rest.
        (_, Some(rest)) => rest < 0.0,
        (_, None) => return None,
    };
    let (begins, before) = if tip_is_last { (first, -1) } else { (last, 1) };
    let deg = |cut: f64| (cut - f64::from(steps)) * STEP_DEG;
    let between = |share: f64| {
        let deg = deg(begins as f64 + share * f64::from(before));
        cutting(&part, cast, asked, (&out, &side), deg)
    };
    let origin = cuts[begins].arm.as_ref().and_then(|(l, _)| origin(&l.middle, &between));
    let run: Vec<usize> = if tip_is_last { run } else { run.into_iter().rev().collect() };
    let order: Vec<&Cutting> = origin.iter().chain(run.iter().map(|&i| &cuts[i])).collect();
    let square = to_the_end(&part, square(&part, &order));
    let mut sections = sections((framework, cast), (asked.tooth, axes), &square, depth);
    from_origin(&mut sections, &origin.as_ref().unwrap_or(&cuts[begins]).plane);
    let last = sections.last()?;
    let along = sections.len().checked_sub(3).map(|i| last.middle - sections[i].middle);
    let along = along.and_then(|w| w.try_normalize(1e-9)).unwrap_or_default();
    // The end is the farthest vertex of the same metal beyond the last section.
    let ahead = |p: &Point| {
        let way = p - last.middle;
        let mm = way.dot(&along);
        ((0.0..ENDS_MM).contains(&mm) && (way - along * mm).norm() <= last.height_mm).then_some(mm)
    };
    let farthest = part.vertices().iter().filter_map(|p| ahead(p).map(|mm| (mm, *p)));
    let (beyond_mm, tip) = farthest.max_by(|a, b| a.0.total_cmp(&b.0)).unwrap_or((0.0, last.middle));
    let length_mm = last.s_mm + beyond_mm;
    let at_tip: Vec<&ArmSection> = sections.iter().filter(|s| s.s_mm >= length_mm - TIP_MM).collect();
    // Half its height before its end, along the tooth: where it bends about that, the middle of its metal would be led astray.
    let rounded =
        sections.iter().rev().find(|s| s.s_mm <= length_mm - TIP_MM).unwrap_or(last).height_mm / 2.0;
    let straight = last.middle + along * (beyond_mm - last.height_mm / 2.0).max(0.0);
    let (axis_end, along) = on_tooth(&part, &sections, rounded).unwrap_or((straight, along));
    // The arm is cut once more there: its last section lies before.
    let end = crate::space::direction(along).and_then(|normal| {
        let plane = Plane { point: axis_end, normal };
        let near = |l: &Loop| (l.middle - axis_end).norm();
        let all = loops(&part, &plane).into_iter().filter(|l| l.closed && near(l) <= SAME_MM);
        let best = all.min_by(|a, b| near(a).total_cmp(&near(b)))?;
        foot_under((framework, cast), (asked.tooth, axes), (&best, &plane)).0
    });
    let at_end = end.or_else(|| foot_of(cast, (asked.tooth, axes), &axis_end));
    let at_end = at_end.map(|(p, f)| (depth(&p, f), p));
    let at_sections = at_tip.iter().filter_map(|s| Some((s.depth_mm?, s.foot?)));
    let engaged = at_end.or_else(|| at_sections.max_by(|a, b| a.0.total_cmp(&b.0)));
    let flexing = flexing(framework, (near, over), &sections, length_mm);
    Some(ArmFound {
        tooth: asked.tooth,
        side: asked.side,
        length_mm,
        tip,
        tip_depth_mm: engaged.map(|e| e.0),
        tip_deepest_mm: at_tip.iter().filter_map(|s| s.deepest_mm).reduce(f64::max),
        tip_at: engaged.map(|e| e.1),
        crosses_at_mm: sections.iter().find(|s| s.depth_mm.is_some_and(|d| d > UNDER_MM)).map(|s| s.s_mm),
        flexing,
        ends_seen: if tip_is_last { ends[1] } else { ends[0] },
        sections,
    })
}

/// Counts lengths from the plane in which an arm grows into the body: where it comes within [`SETTLED_MM`] of that its sections
/// grow and their middles wander, so it is taken to run straight on there.
fn from_origin(sections: &mut [ArmSection], plane: &Plane) {
    let Some(side) = sections.get(sections.len() / 2).map(|s| plane.height_mm(&s.middle).signum()) else {
        return;
    };
    let off: Vec<f64> = sections.iter().map(|s| side * plane.height_mm(&s.middle)).collect();
    let Some(next) = off.iter().position(|mm| *mm >= SETTLED_MM) else { return };
    let (line, before): (Vec<Point>, _) = (sections.iter().map(|s| s.middle).collect(), next.checked_sub(1));
    let share = before.map(|k| (SETTLED_MM - off[k]) / (off[next] - off[k]));
    let from = before.zip(share).map_or(line[next], |(k, share)| line[k] + (line[next] - line[k]) * share);
    let straight: Vec<Point> = std::iter::once(from).chain(line[next..].iter().copied()).collect();
    let lengths = lengths(&straight);
    let Some(k) = lengths.iter().position(|mm| *mm >= SETTLED_MM) else { return };
    let back = straight[k] - (straight[k] - straight[k - 1]).normalize() * (lengths[k] - SETTLED_MM);
    let ahead = side * (back - from).normalize().dot(&plane.normal);
    if ahead < LEAST_AHEAD {
        return;
    }
    let own = off[next].min(SETTLED_MM) / ahead;
    let mut least = 0.0;
    for (i, section) in sections.iter_mut().enumerate() {
        let mm = if i < next { own * off[i] / SETTLED_MM } else { own + lengths[i + 1 - next] };
        least = mm.max(least);
        section.s_mm = least;
    }
}

/// Lengths along a line to each of its places, mm, by chords of half a millimetre: over shorter ones the unevenness of facets
/// adds up.
fn lengths(line: &[Point]) -> Vec<f64> {
    let (mut all, mut from) = (vec![0.0], 0);
    for i in 1..line.len() {
        let chord = (line[i] - line[from]).norm();
        all.push(all[from] + chord);
        if chord >= CHORD_MM {
            from = i;
        }
    }
    all
}

/// A place so far before the end of an arm, along the line of its feet on the tooth, and the direction of that.
fn on_tooth(part: &crate::mesh::Mesh, sections: &[ArmSection], before_mm: f64) -> Option<(Point, Vector)> {
    let (last, earlier) = (sections.last()?, sections.get(sections.len().checked_sub(4)?)?);
    let foot = last.foot?;
    let along = (foot - earlier.foot?).try_normalize(1e-9)?;
    let ahead = part.vertices().iter().filter_map(|p| {
        let way = p - foot;
        let mm = way.dot(&along);
        ((0.0..ENDS_MM).contains(&mm) && (way - along * mm).norm() <= last.height_mm).then_some(mm)
    });
    let end = ahead.max_by(f64::total_cmp)?;
    Some((foot + along * (end - before_mm), along))
}

fn sections(
    (framework, cast): (&Framework, &Cast<'_>),
    (tooth, axes): (Tooth, &ToothAxes),
    order: &[(Loop, Sizes, Plane)],
    depth: &Depth<'_>,
) -> Vec<ArmSection> {
    let own = |face: FaceId| [0, tooth.number()].contains(&cast.tooth_at(face));
    let mut all: Vec<ArmSection> = Vec::new();
    for (found, sizes, plane) in order {
        let s_mm = all.last().map_or(0.0, |last| last.s_mm + (found.middle - last.middle).norm());
        let (foot, mut inner) = foot_under((framework, cast), (tooth, axes), (found, plane));
        if inner.is_empty() {
            inner.extend(foot);
        }
        all.push(ArmSection {
            middle: found.middle,
            s_mm,
            thickness_mm: stands_off(framework, cast, found, &own).unwrap_or(sizes.middle_mm),
            height_mm: sizes.height_mm,
            depth_mm: foot.map(|(p, f)| depth(&p, f)),
            deepest_mm: inner.iter().map(|(p, f)| depth(p, *f)).reduce(f64::max),
            foot: foot.map(|f| f.0),
        });
    }
    all
}

/// A place of a tooth and its triangle.
type Foot = (Point, FaceId);

/// The place of a tooth under the middle of a section's inner side, and the places under that side.
fn foot_under(
    (framework, cast): (&Framework, &Cast<'_>),
    (tooth, axes): (Tooth, &ToothAxes),
    (found, plane): (&Loop, &Plane),
) -> (Option<Foot>, Vec<Foot>) {
    // The inner side: places of the section that face the tooth. What lies against a neighbour engages nothing.
    let mut inner: Vec<Foot> = Vec::new();
    for p in crate::anatomy::curves::densified(&found.places, 0.08) {
        let Some(own) = framework.surface.closest(&p) else { continue };
        let normal = super::normal_at(framework.mesh(), &framework.normals, own.face, &own.at);
        let against = |n: &Near| n.fitting && n.signed_mm <= INNER_MM;
        if let Some(n) = cast.near(&p, &normal).filter(against)
            && [0, tooth.number()].contains(&cast.tooth_at(n.face))
        {
            inner.push((n.at, n.face));
        }
    }
    let middle = super::sections::in_plane_up(plane, inner.iter().map(|i| i.0)).and_then(|(_, _, axis)| {
        let by = |a: &&Foot, b: &&Foot| a.0.coords.dot(&axis).total_cmp(&b.0.coords.dot(&axis));
        let (low, high) = (inner.iter().min_by(by)?, inner.iter().max_by(by)?);
        // Half way between the borders, on the tooth.
        let closest = cast.surface.closest_within(&nalgebra::center(&low.0, &high.0), THICKEST_MM)?;
        [0, tooth.number()].contains(&cast.tooth_at(closest.face)).then_some((closest.at, closest.face))
    });
    (middle.or_else(|| foot_of(cast, (tooth, axes), &found.middle)), inner)
}

/// The place of a tooth under a place of an arm: the closest where that is the tooth's own or tissue, else, since between two
/// crowns the neighbour may be nearer, straight in.
fn foot_of(cast: &Cast<'_>, (tooth, axes): (Tooth, &ToothAxes), p: &Point) -> Option<(Point, FaceId)> {
    let closest = cast.surface.closest_within(p, THICKEST_MM)?;
    if [0, tooth.number()].contains(&cast.tooth_at(closest.face)) {
        return Some((closest.at, closest.face));
    }
    let way = axes.centre - p;
    let flat = way - axes.occlusal.into_inner() * way.dot(&axes.occlusal);
    let hit = cast.surface.cast(p, &crate::space::direction(flat)?, THICKEST_MM)?;
    (cast.tooth_at(hit.face) == tooth.number()).then_some((hit.at, hit.face))
}

fn flexing(
    framework: &Framework,
    (near, over): (&[Option<Near>], &[Over]),
    sections: &[ArmSection],
    length_mm: f64,
) -> Vec<VertexId> {
    let from = sections.partition_point(|s| s.s_mm < RIGID_SHARE * length_mm);
    let part = sections.get(from..).unwrap_or_default();
    let Some(end) = part.last() else { return Vec::new() };
    (0..over.len() as VertexId)
        .filter(|&v| {
            let p = framework.mesh().vertex(v);
            over[v as usize] != Over::Nothing
                && near[v as usize].is_some()
                && part.iter().any(|s| {
                    let reach =
                        0.6 * s.height_mm.max(s.thickness_mm) + if s.s_mm == end.s_mm { 1.2 } else { 0.4 };
                    (p - s.middle).norm() <= reach
                })
        })
        .collect()
}
