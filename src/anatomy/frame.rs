//! The frame of an arch: from marks, from the crowns that are known, or from the shape of the cast.

use super::arch_form::ArchFit;
use super::guess::level::Lean;
use super::plan::HeightMap;
use super::{Crown, KnownFrame, Origin, base, guess, symmetry};
use crate::case::{Arch, Marks, Tooth};
use crate::estimate::{Measured, NotMeasured};
use crate::mesh::{Mesh, Topology};
use crate::space::{Direction, Frame, Plane, Point, Vector, angle_deg, atan2, direction, hypot};

/// Standard uncertainty with which a mark is placed, mm.
const MARK_MM: f64 = 0.1;
/// Least height of the triangle of the three marks of the occlusal plane, mm.
const LEAST_TRIANGLE_MM: f64 = 4.0;
/// Depth below the occlusal plane down to which the surface tells where the arch lies in plan, mm.
const ARCH_DEPTH_MM: f64 = 9.0;

/// How far the occlusal planes of two arches in occlusion differ (each axis), degrees.
const BETWEEN_ARCHES_DEG: f64 = 2.5;
/// Uncertainty from which a plane on crowns is compared with the shape of the whole cast, degrees.
const SHORT_ROW_DEG: f64 = 3.0;

/// What would settle the occlusal plane.
pub(super) const MARK_THE_PLANE: &str = "three points on the occlusal plane in [marks] occlusal_plane: the incisal edges and a molar on each side";

/// Frame of a cast. Marks decide where there are any; `marks` is `None` for an arch that has none.
///
/// # Errors
/// Where the shape gives no occlusal direction: what to mark.
pub fn find(mesh: &Mesh, topology: &Topology, arch: Arch, marks: Option<&Marks>) -> Measured<KnownFrame> {
    find_with(mesh, topology, arch, marks, &[])
}

/// The same where crowns of the arch are already known.
///
/// # Errors
/// As [`find`].
pub fn find_with(
    mesh: &Mesh,
    topology: &Topology,
    arch: Arch,
    marks: Option<&Marks>,
    crowns: &[Crown],
) -> Measured<KnownFrame> {
    find_beside(
        mesh,
        topology,
        &Asked { arch, marks, crowns, opposing: None, least: guess::LEAST_CONFIDENCE },
    )
}

/// What a frame is asked for with.
#[derive(Clone, Copy, Debug)]
pub struct Asked<'a> {
    /// The arch.
    pub arch: Arch,
    /// Marks, where there are any.
    pub marks: Option<&'a Marks>,
    /// Crowns that are known.
    pub crowns: &'a [Crown],
    /// What the frame of the other arch suggests ([`from_opposing`]).
    pub opposing: Option<Lean>,
    /// Confidence under which a frame from shape alone is none; 0 for a start that found teeth are to confirm.
    pub least: f64,
}

/// The occlusal direction that the frame of the other arch suggests for this one, where both scans stand in occlusion:
/// the two planes are one within a few degrees.
pub fn from_opposing(other: &KnownFrame) -> Lean {
    Lean { toward: -other.frame.occlusal, sigma_deg: hypot(other.uncertainty_deg, BETWEEN_ARCHES_DEG) }
}

/// The frame from marks, crowns, the shape and what the other arch suggests.
///
/// # Errors
/// As [`find`].
pub fn find_beside(mesh: &Mesh, topology: &Topology, asked: &Asked<'_>) -> Measured<KnownFrame> {
    let Asked { arch, marks, crowns, opposing, least } = *asked;
    let teeth = tooth_places(arch, marks, crowns);
    if let Some(points) = marks.and_then(|m| m.occlusal_plane) {
        let (plane, uncertainty_deg, confidence) = marked_plane(mesh, &points)?;
        let midline = marks.and_then(|m| m.midline);
        return Ok(turned(mesh, arch, plane, Known { midline, teeth: &teeth }, confidence, uncertainty_deg));
    }
    let midline = marks.and_then(|m| m.midline);
    let known = Known { midline, teeth: &teeth };
    let hints: Vec<Lean> = opposing.into_iter().collect();
    if let Some((plane, confidence, uncertainty_deg)) =
        plane_of_teeth(mesh, topology, &Row { arch, crowns, teeth: &teeth, hints: &hints })
    {
        let by_teeth = turned(mesh, arch, plane, known, confidence, uncertainty_deg);
        // A short row of teeth leaves the plane free to tip about it; the whole cast may know better.
        let by_shape =
            (uncertainty_deg > SHORT_ROW_DEG).then(|| guess::frame(mesh, topology, arch, &hints, 0.5).ok());
        let better = by_shape.flatten().filter(|f| {
            let apart = angle_deg(&f.frame.occlusal, &by_teeth.frame.occlusal);
            f.uncertainty_deg < uncertainty_deg && apart < 20.0
        });
        let Some(shape) = better else { return Ok(by_teeth) };
        let plane = Plane { point: shape.frame.origin, normal: shape.frame.occlusal };
        let frame = turned(mesh, arch, plane, known, shape.confidence, shape.uncertainty_deg);
        return Ok(KnownFrame { origin: Origin::Found, ..frame });
    }
    let mut found = guess::frame(mesh, topology, arch, &hints, least)?;
    if midline.is_some() || teeth.len() > 1 {
        let plane = Plane { point: found.frame.origin, normal: found.frame.occlusal };
        let turned = turned(mesh, arch, plane, known, found.confidence, found.uncertainty_deg);
        if turned.anterior_known {
            found = KnownFrame { origin: Origin::Found, ..turned };
        }
    }
    Ok(found)
}

/// A frame with its anterior direction told by the shape in plan, whatever the numbers of teeth say.
pub fn turned_by_shape(mesh: &Mesh, arch: Arch, known: &KnownFrame) -> KnownFrame {
    let plane = Plane { point: known.frame.origin, normal: known.frame.occlusal };
    turned(mesh, arch, plane, Known { midline: None, teeth: &[] }, known.confidence, known.uncertainty_deg)
}

/// Angle between a marked occlusal direction and that which the shape of the cast suggests, degrees, with the
/// confidence of the suggestion. `None` where the shape suggests none.
pub fn disagreement(mesh: &Mesh, topology: &Topology, arch: Arch, marked: &KnownFrame) -> Option<(f64, f64)> {
    let found = guess::frame(mesh, topology, arch, &[], guess::LEAST_CONFIDENCE).ok()?;
    Some((angle_deg(&found.frame.occlusal, &marked.frame.occlusal), found.confidence))
}

/// Crowns by their centres; teeth that are only marked by the mark.
pub fn tooth_places(arch: Arch, marks: Option<&Marks>, crowns: &[Crown]) -> Vec<(Tooth, Point)> {
    let mut places: Vec<(Tooth, Point)> = crowns.iter().map(|c| (c.tooth, c.centre)).collect();
    for (&tooth, &at) in marks.iter().flat_map(|m| &m.teeth) {
        if !places.iter().any(|(t, _)| *t == tooth) {
            places.push((tooth, at));
        }
    }
    places.retain(|(t, _)| t.arch() == arch);
    places.sort_by_key(|(t, _)| t.along());
    places
}

/// The marked plane with its normal away from the tissue, its uncertainty in degrees, and the confidence in its sign.
fn marked_plane(mesh: &Mesh, points: &[Point; 3]) -> Measured<(Plane, f64, f64)> {
    let in_line = || {
        NotMeasured::new(
            "the three marks of the occlusal plane stand nearly in a line",
            "three points in [marks] occlusal_plane that stand well apart: one in front, one behind on each side",
        )
    };
    let [a, b, c] = points;
    let plane = Plane::through(a, b, c).ok_or_else(in_line)?;
    let longest = (b - a).norm().max((c - b).norm()).max((a - c).norm());
    let height = (b - a).cross(&(c - a)).norm() / longest;
    if height < LEAST_TRIANGLE_MM {
        return Err(in_line());
    }
    let above = share_above(mesh, &plane);
    let normal = if above > 0.5 { -plane.normal } else { plane.normal };
    // Half the cast on either side means that the plane does not lie on the teeth.
    let confidence = if (above - 0.5).abs() > 0.25 { 1.0 } else { 0.6 };
    let uncertainty_deg = atan2(MARK_MM, height).to_degrees();
    Ok((Plane { point: *a, normal }, uncertainty_deg, confidence))
}

/// Share of the surface on the side of the plane's normal.
fn share_above(mesh: &Mesh, plane: &Plane) -> f64 {
    let (mut above, mut all) = (0.0, 0.0);
    for f in 0..mesh.faces().len() as u32 {
        let [a, b, c] = mesh.corners(f);
        let area = mesh.doubled_area_normal(f).norm();
        all += area;
        if plane.height_mm(&Point::from((a.coords + b.coords + c.coords) / 3.0)) > 0.0 {
            above += area;
        }
    }
    if all > 0.0 { above / all } else { 0.5 }
}

/// Teeth that a plane is laid on, and what else speaks for it.
#[derive(Clone, Copy)]
struct Row<'a> {
    arch: Arch,
    crowns: &'a [Crown],
    teeth: &'a [(Tooth, Point)],
    hints: &'a [Lean],
}

/// Plane on the tips of known crowns, or near marked teeth: plane, confidence, uncertainty in degrees.
fn plane_of_teeth(mesh: &Mesh, topology: &Topology, row: &Row<'_>) -> Option<(Plane, f64, f64)> {
    let Row { arch, crowns, teeth, hints } = *row;
    if crowns.len() >= 4 {
        // A crown is an open cap: its area vector points out of its margin, whichever way it leans.
        let mut sum = Vector::zeros();
        for &f in crowns.iter().flat_map(|c| &c.faces) {
            sum += mesh.doubled_area_normal(f);
        }
        let start = direction(sum)?;
        let up = signed_by_tissue(mesh, crowns, start);
        let axis = base::axis(mesh, base::faces(mesh, topology));
        let leans: Vec<Lean> = guess::base_lean(axis, &up).into_iter().chain(hints.iter().copied()).collect();
        let level = guess::plane_on_crowns(mesh, arch, crowns, up, &leans)?;
        // A row that leaves the plane free to tip about it is no plane.
        let settled = ((7.0 - level.uncertainty_deg) / 3.0).clamp(0.0, 1.0);
        return (settled > 0.0).then_some((level.plane, 0.95 * settled, level.uncertainty_deg));
    }
    if teeth.len() < 4 {
        return None;
    }
    let points: Vec<Point> = teeth.iter().map(|(_, p)| *p).collect();
    let (plane, spread) = guess::plane_through(&points)?;
    if spread < 6.0 {
        return None;
    }
    let above = share_above(mesh, &plane);
    let plane = if above > 0.5 { Plane { normal: -plane.normal, ..plane } } else { plane };
    guess::plane_near(mesh, plane, &points).or(Some((plane, 0.6, 4.0)))
}

/// Turns a rough occlusal direction so that the margins of most crowns lie below their middles.
fn signed_by_tissue(mesh: &Mesh, crowns: &[Crown], up: Direction) -> Direction {
    let rise: f64 = crowns
        .iter()
        .filter(|c| !c.margin.is_empty())
        .map(|c| {
            let low = c.margin.iter().map(|p| p.coords.dot(&up)).sum::<f64>() / c.margin.len() as f64;
            c.centre.coords.dot(&up) - low
        })
        .sum();
    let plane = Plane { point: crowns.first().map_or(Point::origin(), |c| c.centre), normal: up };
    let down = if rise.abs() > 1e-9 { rise < 0.0 } else { share_above(mesh, &plane) > 0.5 };
    if down { -up } else { up }
}

/// What tells the anterior direction besides the surface.
#[derive(Clone, Copy)]
struct Known<'a> {
    midline: Option<Point>,
    teeth: &'a [(Tooth, Point)],
}

/// Finds the anterior direction in a known plane: numbered teeth, then the midline mark, then the shape in plan.
fn turned(
    mesh: &Mesh,
    arch: Arch,
    plane: Plane,
    known: Known<'_>,
    confidence: f64,
    uncertainty_deg: f64,
) -> KnownFrame {
    let up = plane.normal;
    let map = HeightMap::new(mesh, up, 1.0);
    let middle = map.as_ref().map_or(plane.point, |m| symmetry::arch_middle(m, &plane, ARCH_DEPTH_MM));
    let fit = ArchFit::of(arch, up, known.teeth).filter(|f| f.rms_mm < 6.0);
    let flat = |p: Point| (p - middle) - up.into_inner() * (p - middle).dot(&up);
    let toward = known.midline.map(flat).filter(|v| v.norm() > 3.0);
    // Numbers that point elsewhere than the midline mark belong to a mirrored scan or a mistaken chart.
    let agrees = |v: &Vector| toward.is_none_or(|t| angle_deg(v, &t) < 60.0);
    let by_teeth = fit.filter(|_| both_sides(known.teeth)).map(|f| f.anterior()).filter(agrees);
    let (mut anterior, mut sure) = (by_teeth, by_teeth.is_some());
    if let (None, Some(midline), Some(toward)) = (anterior, known.midline, toward) {
        let axis = map.as_ref().and_then(|m| symmetry::axis_through(m, &plane, &midline, toward));
        anterior = Some(axis.unwrap_or(toward));
        sure = true;
    }
    if anterior.is_none()
        && let Some((toward, ratio)) = map.as_ref().and_then(|m| guess::anterior(m, &plane))
    {
        sure = ratio >= guess::LEAST_RATIO;
        anterior = Some(toward);
    }
    if anterior.is_none() {
        anterior = fit.map(|f| f.anterior());
        sure = fit.is_some();
    }
    let rough = anterior.unwrap_or_else(|| crate::space::across(&up).0);
    let origin = Point::from(middle.coords - up.into_inner() * plane.height_mm(&middle));
    let frame = Frame::new(origin, up, rough, arch == Arch::Mandible)
        .or_else(|| Frame::new(origin, up, crate::space::across(&up).0, arch == Arch::Mandible));
    let frame = frame.unwrap_or(Frame {
        origin,
        occlusal: up,
        anterior: Direction::new_unchecked(crate::space::across(&up).0),
        left: Direction::new_unchecked(crate::space::across(&up).1),
    });
    KnownFrame { frame, origin: Origin::Given, confidence, uncertainty_deg, anterior_known: sure }
}

fn both_sides(teeth: &[(Tooth, Point)]) -> bool {
    let right = teeth.iter().filter(|(t, _)| t.along() < 0).count();
    let left = teeth.len() - right;
    right > 0 && left > 0 && teeth.len() > 2
}

#[cfg(test)]
mod tests {
    use super::super::test_casts::FieldCast;
    use super::*;

    fn plane_marks(cast: &FieldCast) -> [Point; 3] {
        let on = |n: u8| {
            let c = cast.centre(Tooth::fdi(n).unwrap());
            Point::new(c[0], c[1], 13.0)
        };
        [on(31), on(36), on(46)]
    }

    #[test]
    fn marks_of_plane_and_midline_give_the_frame_of_a_lopsided_arch() {
        // Right molars missing: the surface alone would pull the middle to the left.
        let cast = FieldCast::new(Arch::Mandible, &|t| t.along() > -5 || t.number() == 46, 0.8);
        let mut marks = Marks { occlusal_plane: Some(plane_marks(&cast)), ..Marks::default() };
        marks.midline = Some(Point::new(0.0, 1.0, 13.0));
        let topology = Topology::new(&cast.mesh);
        let known = find(&cast.mesh, &topology, Arch::Mandible, Some(&marks)).unwrap();
        assert!(angle_deg(&known.frame.occlusal, &Vector::z()) < 1e-6, "away from the tissue");
        assert!(angle_deg(&known.frame.anterior, &Vector::y()) < 2.0, "{:?}", known.frame.anterior);
        assert!(angle_deg(&known.frame.left, &-Vector::x()) < 2.0);
        assert!(known.anterior_known && known.origin == Origin::Given);
        assert!((known.frame.origin.z - 13.0).abs() < 1e-9 && known.frame.origin.x.abs() < 2.0);
        // 0.1 mm over a triangle some 25 mm high.
        assert!(known.uncertainty_deg > 0.15 && known.uncertainty_deg < 0.35, "{}", known.uncertainty_deg);
        // The same marks in another order and on the cast upside down give the same directions.
        let flip = super::super::test_casts::pose(3);
        let [a, b, c] = plane_marks(&cast);
        marks.occlusal_plane = Some([flip * c, flip * b, flip * a]);
        marks.midline = marks.midline.map(|p| flip * p);
        let moved = cast.mesh.moved(&flip);
        let again = find(&moved, &topology, Arch::Mandible, Some(&marks)).unwrap();
        assert!(angle_deg(&again.frame.occlusal, &(flip * Vector::z())) < 1e-6);
        assert!(angle_deg(&again.frame.anterior, &(flip * Vector::y())) < 2.0);
    }

    #[test]
    fn numbered_teeth_tell_the_sides_of_either_arch_without_a_midline_mark() {
        for arch in [Arch::Mandible, Arch::Maxilla] {
            let cast = FieldCast::new(arch, &|_| true, 0.8);
            let at = |along: i8, z: f64| {
                let c = cast.centre(Tooth::at(arch, along).unwrap());
                Point::new(c[0], c[1], z)
            };
            let mut marks =
                Marks { occlusal_plane: Some([at(1, 13.0), at(6, 13.0), at(-6, 13.0)]), ..Marks::default() };
            for along in [-4, -1, 3, 6] {
                marks.teeth.insert(Tooth::at(arch, along).unwrap(), at(along, 12.0));
            }
            let known = find(&cast.mesh, &Topology::new(&cast.mesh), arch, Some(&marks)).unwrap();
            assert!(known.anterior_known);
            assert!(angle_deg(&known.frame.anterior, &Vector::y()) < 2.0);
            let left = known.frame.local(&at(6, 13.0))[1];
            assert!(left > 15.0, "{arch:?}: the left first molar is on the left: {left}");
        }
    }

    #[test]
    fn three_marks_in_a_line_say_so() {
        let cast = FieldCast::new(Arch::Mandible, &|_| true, 1.6);
        let on = |x: f64| Point::new(x, 0.0, 13.0);
        let marks = Marks { occlusal_plane: Some([on(0.0), on(9.0), on(20.0)]), ..Marks::default() };
        let reason = find(&cast.mesh, &Topology::new(&cast.mesh), Arch::Mandible, Some(&marks)).unwrap_err();
        assert!(reason.because.contains("in a line") && reason.settled_by.is_some());
    }
}
