//! Quantity: tooth that would have to go to make a guiding plane of a wanted height, for a path.
//!
//! A guiding plane runs along the path from the marginal ridge down and follows the curve of the tooth seen along the
//! path (trade facts, section 4: heights and widths, teaching notes).
//!
//! Definition: over a window of the proximal surface, `height` along the path and `width` across it in the middle of the
//! surface, `x(y, h)` is how far the crown reaches outward. The finished surface is the cylinder along the path over the
//! curve `min_h x(y, h)`: the least that has to go so that every place of the window lies on one surface parallel to the
//! path. Removal is the greatest distance, square to that surface, of what stands outside it; the window is put at the
//! height where that is least. A wall that leans by t wants `height tan t`; the belly of a barrel with a wall of radius
//! rho wants `rho - sqrt(rho^2 - height^2 / 4)`.
//!
//! Frame and units: mm, mm3; place in the file's own axes.
//!
//! Method and its error: rays 0.25 mm apart along the side and a twentieth of the height apart along the path, exact on
//! the triangles; windows a twentieth of the height apart. The scan's trueness and the direction come on top.
//!
//! Not covered: how thick the enamel is, which no scan shows; a plane cut flat instead of along the curve of the tooth,
//! which wants more.
//!
//! Checked by: leaning cylinders, a barrel, a box, rigid motions, a crown with a hole, a crown too short, below.

use super::crown_wall::CrownWall;
use crate::space::{Point, hypot};

/// Rays along the side, mm apart at most.
const ACROSS_MM: f64 = 0.25;
/// Parts of the wanted height.
const PARTS: usize = 20;
/// The finished curve is looked at this far beyond the window too, mm: the nearest place of it may lie there.
const BEYOND_MM: f64 = 1.0;

/// The plane that is wanted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlaneWanted {
    /// Height along the path, mm.
    pub height_mm: f64,
    /// Width across it, mm.
    pub width_mm: f64,
}

/// What would have to go for it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Removal {
    /// Greatest depth of tooth removed, square to the finished surface, mm.
    pub removal_mm: f64,
    /// Where that is, on the tooth as it stands, mm.
    pub at: Point,
    /// Volume removed, mm3.
    pub volume_mm3: f64,
    /// Middle of the finished surface, mm.
    pub middle: Point,
}

/// Why nothing can be said.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoPlane {
    /// Fewer millimetres of tooth stand there, between margin and occlusal surface, than the height wanted.
    TooShort,
    /// Its surface was not read throughout: a hole in the scan, or another tooth before it.
    Gaps,
}

/// A column of the side: its offset and what was read, from below.
struct Column {
    y: f64,
    x: Vec<Option<f64>>,
}

/// The least removal.
///
/// # Errors
/// Where no stretch of scanned crown of that height and width is there.
pub fn least(wall: &CrownWall<'_>, wanted: &PlaneWanted) -> Result<Removal, NoPlane> {
    let (low, high) = wall.heights_mm().ok_or(NoPlane::TooShort)?;
    let step = wanted.height_mm / PARTS as f64;
    let rows = ((high - low) / step).floor() as usize + 1;
    let half = wanted.width_mm / 2.0;
    let inside = (half / ACROSS_MM).ceil().max(1.0) as i32;
    let apart = half / f64::from(inside);
    let beyond = (BEYOND_MM / apart).ceil() as i32;
    let columns: Vec<Column> = (-inside - beyond..=inside + beyond)
        .map(|k| {
            let y = apart * f64::from(k);
            Column { y, x: (0..rows).map(|r| wall.out_mm(y, low + step * r as f64)).collect() }
        })
        .collect();
    let inner = beyond as usize..columns.len() - beyond as usize;
    if columns[inner.clone()].iter().any(has_gap) {
        return Err(NoPlane::Gaps);
    }
    let mut best: Option<(f64, usize, [f64; 3])> = None;
    for first in 0..rows.saturating_sub(PARTS) {
        let Some((depth, [x, y, row])) = window(&columns, &inner, first) else { continue };
        if best.is_none_or(|(least, ..)| depth < least) {
            best = Some((depth, first, [x, y, low + step * row]));
        }
    }
    let (removal_mm, first, at) = best.ok_or(NoPlane::TooShort)?;
    let rows = first..=first + PARTS;
    let mut volume_mm3 = 0.0;
    for column in &columns[inner.clone()] {
        let Some((least, _, _)) = extremes(column, first) else { continue };
        // Trapezes over the rows, and over the columns: the outermost ones stand for half a strip.
        let edge = (column.y.abs() - half).abs() < 1e-9;
        for row in rows.clone() {
            let end = row == first || row == first + PARTS;
            let x = column.x[row].unwrap_or(least);
            let weight = if end { 0.5 } else { 1.0 } * if edge { 0.5 } else { 1.0 };
            volume_mm3 += (x - least) * step * apart * weight;
        }
    }
    let middle = columns[inner.start + (inner.len() - 1) / 2].y;
    let x = columns
        .iter()
        .find(|c| c.y == middle)
        .and_then(|c| extremes(c, first))
        .map_or(at[0], |(least, ..)| least);
    let height = low + step * (first as f64 + PARTS as f64 / 2.0);
    Ok(Removal { removal_mm, at: wall.place(at), volume_mm3, middle: wall.place([x, middle, height]) })
}

/// Whether some place between the lowest and the highest that were read was not.
fn has_gap(column: &Column) -> bool {
    let read = |row: &Option<f64>| row.is_some();
    let (first, last) = (column.x.iter().position(read), column.x.iter().rposition(read));
    matches!((first, last), (Some(a), Some(b)) if column.x[a..=b].iter().any(Option::is_none))
}

/// Least and greatest reach of a column over a window and the row of the greatest; `None` where a place of it was not
/// read.
fn extremes(column: &Column, first: usize) -> Option<(f64, f64, usize)> {
    let mut found = (f64::INFINITY, f64::NEG_INFINITY, first);
    for row in first..=first + PARTS {
        let x = (*column.x.get(row)?)?;
        found.0 = found.0.min(x);
        if x > found.1 {
            (found.1, found.2) = (x, row);
        }
    }
    Some(found)
}

/// Greatest removal over a window and where, as reach, offset and row; `None` where a place of it was not read.
fn window(columns: &[Column], inner: &std::ops::Range<usize>, first: usize) -> Option<(f64, [f64; 3])> {
    let read: Vec<Option<(f64, f64, usize)>> = columns.iter().map(|c| extremes(c, first)).collect();
    let curve: Vec<[f64; 2]> =
        read.iter().zip(columns).filter_map(|(r, c)| r.map(|(least, ..)| [least, c.y])).collect();
    let mut worst: Option<(f64, [f64; 3])> = None;
    for i in inner.clone() {
        let (_, most, row) = read[i]?;
        let depth = from_curve(&curve, [most, columns[i].y]);
        if worst.is_none_or(|(d, _)| depth > d) {
            worst = Some((depth, [most, columns[i].y, row as f64]));
        }
    }
    worst
}

/// Distance of a place of the plan from a polyline, mm.
fn from_curve(curve: &[[f64; 2]], p: [f64; 2]) -> f64 {
    let lone = curve.first().map_or(f64::INFINITY, |a| hypot(a[0] - p[0], a[1] - p[1]));
    curve
        .windows(2)
        .map(|w| {
            let (ab, ap) = ([w[1][0] - w[0][0], w[1][1] - w[0][1]], [p[0] - w[0][0], p[1] - w[0][1]]);
            let length2 = ab[0] * ab[0] + ab[1] * ab[1];
            let t =
                if length2 > 0.0 { ((ap[0] * ab[0] + ap[1] * ab[1]) / length2).clamp(0.0, 1.0) } else { 0.0 };
            hypot(ap[0] - ab[0] * t, ap[1] - ab[1] * t)
        })
        .fold(lone, f64::min)
}

#[cfg(test)]
mod tests {
    use super::super::tooth_axes::ToothAxes;
    use super::super::tooth_axes::tests::{anatomy, part};
    use super::*;
    use crate::case::Surface as Side;
    use crate::locate::Surface;
    use crate::mesh::Mesh;
    use crate::phantom::solids::{self, Barrel};
    use crate::space::{Direction, Motion, Vector, cos, direction, sin, tan};

    const WANTED: PlaneWanted = PlaneWanted { height_mm: 2.0, width_mm: 2.6 };

    /// The distal side of tooth 48 (mostly -y) of a solid above `margin`, for a path that leans by degrees toward it.
    fn of(mesh: &Mesh, margin: f64, lean_deg: f64) -> Result<Removal, NoPlane> {
        let (crown, axes) = tooth(mesh, margin);
        let t = lean_deg.to_radians();
        let up = direction(axes.mesial * sin(t) + Vector::z() * cos(t)).unwrap();
        let surface = Surface::new(mesh);
        least(&CrownWall::new(&surface, &crown, &axes, Side::Distal, up).unwrap(), &WANTED)
    }

    fn tooth(mesh: &Mesh, margin: f64) -> (crate::anatomy::Crown, ToothAxes) {
        let faces = (0..mesh.faces().len() as u32).filter(|&f| mesh.face_centre(f).z > margin).collect();
        let crown = part(mesh, 48, faces);
        let axes = ToothAxes::of(mesh, &crown, &anatomy(true, vec![crown.clone()], 1)).unwrap();
        (crown, axes)
    }

    #[test]
    fn a_leaning_cylinder_wants_its_height_times_the_tangent() {
        let mesh = solids::cylinder(4.0, 7.0, 0.2, true);
        for lean in [3.0f64, 6.0, 10.0] {
            let got = of(&mesh, 0.01, lean).unwrap();
            let wanted = 2.0 * tan(lean.to_radians());
            assert!((got.removal_mm - wanted).abs() < 0.01, "{lean}: {} {wanted}", got.removal_mm);
            // A wedge of half that depth on the whole, over the plane of 2.0 by 2.6 mm.
            assert!((got.volume_mm3 / (0.5 * wanted * 2.0 * 2.6) - 1.0).abs() < 0.05, "{}", got.volume_mm3);
            let to = Surface::new(&mesh).closest(&got.at).unwrap();
            assert!(to.distance_mm < 1e-6, "{}", to.distance_mm);
        }
    }

    #[test]
    fn a_barrel_wants_what_its_circle_says_and_a_box_nothing() {
        let barrel = Barrel { belly_mm: 4.0, belly_at_mm: 3.5, height_mm: 6.0, wall_mm: 6.0 };
        let got = of(&solids::barrel_on_plate(&barrel, 7.0, 0.15, false), 0.05, 0.0).unwrap();
        let wanted = 6.0 - (36.0f64 - 1.0).sqrt();
        assert!((got.removal_mm - wanted).abs() < 0.004, "{} {wanted}", got.removal_mm);
        assert!((got.middle.z - 3.5).abs() < 0.11 && (got.at.z - 3.5).abs() < 0.3, "{got:?}");
        let up = Motion::translation(0.0, 0.0, 2.0);
        let cube = of(&solids::cuboid([6.0, 7.0, 4.0], 0.25).moved(&up), 0.01, 0.0).unwrap();
        assert!(cube.removal_mm < 1e-3 && cube.volume_mm3 < 0.01, "{cube:?}");
    }

    #[test]
    fn a_crown_that_is_too_short_or_has_a_hole_there_is_told() {
        let barrel = Barrel { belly_mm: 4.0, belly_at_mm: 3.5, height_mm: 6.0, wall_mm: 6.0 };
        let mesh = solids::barrel_on_plate(&barrel, 7.0, 0.15, false);
        assert_eq!(of(&mesh, 4.3, 0.0), Err(NoPlane::TooShort));
        let (_, axes) = tooth(&mesh, 0.05);
        let (holed, _) = mesh.part(|f| {
            let local = axes.local(&mesh.face_centre(f));
            !(local[0] < 0.0 && local[1].abs() < 1.0 && (2.6..4.4).contains(&mesh.face_centre(f).z))
        });
        assert_eq!(of(&holed, 0.05, 0.0), Err(NoPlane::Gaps));
    }

    proptest::proptest! {
        #![proptest_config(proptest::prelude::ProptestConfig::with_cases(6))]
        #[test]
        fn a_turned_and_moved_cast_wants_the_same(
            (a, b, c) in (-3.0..3.0f64, -1.5..1.5f64, -3.0..3.0f64),
            (x, y) in (-80.0..80.0f64, -80.0..80.0f64),
        ) {
            let barrel = Barrel { belly_mm: 4.0, belly_at_mm: 3.5, height_mm: 6.0, wall_mm: 6.0 };
            let mesh = solids::barrel_on_plate(&barrel, 5.0, 0.4, false);
            let (crown, axes) = tooth(&mesh, 0.05);
            let t = 4f64.to_radians();
            let up = direction(axes.mesial * sin(t) + Vector::z() * cos(t)).unwrap();
            let motion = Motion::new(Vector::new(x, y, 7.0), Vector::new(a, b, c));
            let turn = |v: Vector| motion.rotation * v;
            let moved = ToothAxes {
                centre: motion * axes.centre,
                mesial: turn(axes.mesial),
                buccal: turn(axes.buccal),
                occlusal: Direction::new_normalize(turn(axes.occlusal.into_inner())),
                ..axes
            };
            let read = |mesh: &Mesh, axes: &ToothAxes, up: Direction| {
                let surface = Surface::new(mesh);
                least(&CrownWall::new(&surface, &crown, axes, Side::Distal, up).unwrap(), &WANTED).unwrap()
            };
            let here = read(&mesh, &axes, up);
            let there = read(&mesh.moved(&motion), &moved, Direction::new_normalize(turn(up.into_inner())));
            proptest::prop_assert!((here.removal_mm - there.removal_mm).abs() < 1e-6);
            proptest::prop_assert!((motion * here.at - there.at).norm() < 1e-4 || here.removal_mm < 1e-6);
        }
    }
}
