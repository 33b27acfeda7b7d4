//! The plane on the tips of the teeth: laid on from above, so that lower tips pull less than higher ones.

use super::features::Feature;
use super::level::{self, Lean, Level, Station};
use super::look;
use crate::anatomy::Crown;
use crate::case::Arch;
use crate::mesh::Mesh;
use crate::space::{Direction, Plane, Point, Vector, across, angle_deg, direction, tan};

/// A tip is the highest point within this radius in plan, mm.
const TIP_RADIUS_MM: f64 = 2.5;
/// Least curvature of a tip, 1/mm.
const TIP_CURVATURE: f64 = 0.12;
/// A tip within this distance of the plane lies on it, mm.
const ON_PLANE_MM: f64 = 1.5;
/// A tip farther than this from the settled plane is none of its row, mm.
const OFF_PLANE_MM: f64 = 2.5;
/// How far the plane that most tips share may lean from that laid on all of them, degrees, and what the square of a
/// degree costs, in tips.
const MOST_LEAN_DEG: i32 = 8;
const LEAN_COST: f64 = 0.012;
/// Rounds of refinement.
const ROUNDS: usize = 12;

/// A refined plane.
#[derive(Clone, Debug)]
pub struct Refined {
    /// The plane, normal away from the tissue.
    pub plane: Plane,
    /// Tips on it.
    pub tips: Vec<Point>,
    /// Their spread across the narrower axis (standard deviation), mm.
    pub spread_mm: f64,
}

/// Refines an occlusal direction by laying a plane on the tips seen along it. `None` with fewer than four tips.
pub fn refined(features: &[Feature], start: Direction) -> Option<Refined> {
    let mut up = start;
    for _ in 0..ROUNDS {
        let plane = laid_on(&tips(features, &up), &up, f64::INFINITY)?;
        let turn = angle_deg(&plane.normal, &up);
        up = plane.normal;
        if turn < 0.05 {
            break;
        }
    }
    settled(tips(features, &up), up)
}

/// The plane that most tips share within a few degrees of `up`, then laid on those.
pub fn settled(tips: Vec<Point>, up: Direction) -> Option<Refined> {
    let mut plane = Plane { point: Point::origin(), normal: shared(&tips, &up) };
    for _ in 0..4 {
        plane = laid_on(&tips, &plane.normal, OFF_PLANE_MM)?;
    }
    let on: Vec<Point> = tips.into_iter().filter(|p| plane.height_mm(p).abs() < ON_PLANE_MM).collect();
    let spread_mm = plane_through(&on).map_or(0.0, |(_, s)| s);
    Some(Refined { plane, tips: on, spread_mm })
}

/// Of directions a few degrees about `up` that along which most tips lie at one height, with few above it.
fn shared(tips: &[Point], up: &Direction) -> Direction {
    let (u, v) = across(up);
    let mut best = (f64::NEG_INFINITY, *up);
    for i in -MOST_LEAN_DEG..=MOST_LEAN_DEG {
        for j in -MOST_LEAN_DEG..=MOST_LEAN_DEG {
            let lean = |k: i32| tan(f64::from(k).to_radians());
            let Some(d) = direction(up.into_inner() + u * lean(i) + v * lean(j)) else { continue };
            let heights: Vec<f64> = tips.iter().map(|p| p.coords.dot(&d)).collect();
            for level in &heights {
                let score: f64 = heights
                    .iter()
                    .map(|h| {
                        let r = h - level;
                        if r > ON_PLANE_MM { -0.5 } else { (1.0 - r.abs() / ON_PLANE_MM).max(0.0) }
                    })
                    .sum();
                // A leaning plane must earn its lean.
                let score = score - LEAN_COST * f64::from(i * i + j * j);
                if score > best.0 {
                    best = (score, d);
                }
            }
        }
    }
    best.1
}

/// Local maxima of height that are seen and convex.
pub fn tips(features: &[Feature], up: &Direction) -> Vec<Point> {
    let (heights, seen) = look::visible(features, up);
    let candidates: Vec<(Point, f64)> = features
        .iter()
        .zip(heights.iter().zip(&seen))
        .filter(|(f, (_, s))| {
            **s && f.most_convex > TIP_CURVATURE && f.weight > 0.0 && f.normal.dot(up) > 0.2
        })
        .map(|(f, (h, _))| (f.at, *h))
        .collect();
    highest_within(candidates, up)
}

/// Of points with heights, those that none within the radius in plan exceeds.
fn highest_within(mut points: Vec<(Point, f64)>, up: &Direction) -> Vec<Point> {
    // Sorted along one plan axis, so that only a strip is compared.
    let (u, v) = across(up);
    points.sort_by(|a, b| a.0.coords.dot(&u).total_cmp(&b.0.coords.dot(&u)).then(a.1.total_cmp(&b.1)));
    let flat: Vec<[f64; 2]> = points.iter().map(|(p, _)| [p.coords.dot(&u), p.coords.dot(&v)]).collect();
    let beaten = |i: usize, j: usize| {
        let (dx, dy) = (flat[i][0] - flat[j][0], flat[i][1] - flat[j][1]);
        dx * dx + dy * dy < TIP_RADIUS_MM * TIP_RADIUS_MM && (points[j].1, j) > (points[i].1, i)
    };
    let is_tip = |i: usize| {
        let right = (i + 1..points.len()).take_while(|&j| flat[j][0] - flat[i][0] < TIP_RADIUS_MM);
        let left = (0..i).rev().take_while(|&j| flat[i][0] - flat[j][0] < TIP_RADIUS_MM);
        !right.chain(left).any(|j| beaten(i, j))
    };
    (0..points.len()).filter(|&i| is_tip(i)).map(|i| points[i].0).collect()
}

/// Asymmetric robust plane through tips: residuals above count 0.65, below 0.35, and large ones less.
/// After the first rounds tips farther than `off_mm` from the plane are left out.
pub(super) fn laid_on(tips: &[Point], up: &Direction, off_mm: f64) -> Option<Plane> {
    if tips.len() < 4 {
        return None;
    }
    let (u, v) = across(up);
    let places: Vec<[f64; 3]> =
        tips.iter().map(|p| [p.coords.dot(&u), p.coords.dot(&v), p.coords.dot(up)]).collect();
    let mut weight = vec![1.0; places.len()];
    let mut plane = None;
    for round in 0..25 {
        let (a, b, at) = weighted_plane(&places, &weight)?;
        // What still lies far off once the plane has settled is no tip of this row.
        let far = if round < 3 { f64::INFINITY } else { off_mm };
        for (w, p) in weight.iter_mut().zip(&places) {
            let r = p[2] - (at[2] + a * (p[0] - at[0]) + b * (p[1] - at[1]));
            let side = if r > 0.0 { 0.65 } else { 0.35 };
            *w = if r.abs() > far { 0.0 } else { side * (0.6 / r.abs().max(1e-9)).min(1.0) };
        }
        let normal = direction(up.into_inner() - u * a - v * b)?;
        let point = Point::from(u * at[0] + v * at[1] + up.into_inner() * at[2]);
        plane = Some(Plane { point, normal });
    }
    plane
}

/// Slopes along both axes and the weighted middle.
fn weighted_plane(places: &[[f64; 3]], weight: &[f64]) -> Option<(f64, f64, [f64; 3])> {
    let total: f64 = weight.iter().sum();
    let mut at = [0.0; 3];
    for (p, w) in places.iter().zip(weight) {
        (0..3).for_each(|k| at[k] += p[k] * w / total);
    }
    let (mut xx, mut xy, mut yy, mut xz, mut yz) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for (p, w) in places.iter().zip(weight) {
        let (x, y, z) = (p[0] - at[0], p[1] - at[1], p[2] - at[2]);
        xx += w * x * x;
        xy += w * x * y;
        yy += w * y * y;
        xz += w * x * z;
        yz += w * y * z;
    }
    let determinant = xx * yy - xy * xy;
    if determinant <= 1e-6 * xx * yy || !total.is_finite() || total <= 0.0 {
        return None;
    }
    Some(((xz * yy - yz * xy) / determinant, (yz * xx - xz * xy) / determinant, at))
}

/// Plane on the highest tips of known crowns, each expected at the height of its place in the row. `leans` are directions
/// that something else suggests. `None` where the crowns leave the plane free.
pub fn plane_on_crowns(
    mesh: &Mesh,
    arch: Arch,
    crowns: &[Crown],
    up: Direction,
    leans: &[Lean],
) -> Option<Level> {
    let mut up = up;
    let mut found = None;
    for _ in 0..ROUNDS {
        let stations: Vec<Station> = crowns.iter().filter_map(|c| highest(mesh, arch, c, &up)).collect();
        let level = level::laid(&stations, up, leans)?;
        let turn = angle_deg(&level.plane.normal, &up);
        up = level.plane.normal;
        found = Some(level);
        if turn < 0.02 {
            break;
        }
    }
    found
}

/// The highest tip of a crown along a direction.
fn highest(mesh: &Mesh, arch: Arch, crown: &Crown, up: &Direction) -> Option<Station> {
    let at = crown
        .vertices
        .iter()
        .map(|&v| mesh.vertex(v))
        .max_by(|a, b| a.coords.dot(up).total_cmp(&b.coords.dot(up)))?;
    Some(Station { at, rise_mm: level::rise_mm(arch, crown.tooth.place()) })
}

/// Plane on the tips near marked teeth, starting from a rough one; confidence; uncertainty in degrees.
pub fn plane_near(mesh: &Mesh, start: Plane, points: &[Point]) -> Option<(Plane, f64, f64)> {
    let up = start.normal;
    let near: Vec<(Point, f64)> = mesh
        .vertices()
        .iter()
        .filter(|v| points.iter().any(|p| (*v - p).norm() < 4.0))
        .map(|p| (*p, p.coords.dot(&up)))
        .collect();
    let tips = highest_within(near, &up);
    let plane = laid_on(&tips, &up, OFF_PLANE_MM)?;
    Some((plane, 0.8, 3.0))
}

/// Least-squares plane of points, and their second greatest standard deviation within it, mm.
pub fn plane_through(points: &[Point]) -> Option<(Plane, f64)> {
    if points.len() < 3 {
        return None;
    }
    let n = points.len() as f64;
    let middle = Point::from(points.iter().map(|p| p.coords).sum::<Vector>() / n);
    let mut m = nalgebra::Matrix3::zeros();
    for p in points {
        let d = p - middle;
        for i in 0..3 {
            for j in 0..3 {
                m[(i, j)] += d[i] * d[j] / n;
            }
        }
    }
    let eigen: nalgebra::SymmetricEigen<f64, nalgebra::Const<3>> = m.symmetric_eigen();
    let mut order = [0, 1, 2];
    order.sort_by(|&a, &b| eigen.eigenvalues[a].total_cmp(&eigen.eigenvalues[b]));
    let normal = direction(eigen.eigenvectors.column(order[0]).into_owned())?;
    Some((Plane { point: middle, normal }, eigen.eigenvalues[order[1]].max(0.0).sqrt()))
}
