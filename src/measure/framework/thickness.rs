//! Quantity: thickness of a framework at a place, by a ray and by an inscribed sphere.
//!
//! Definition: *by the ray*: from the place along its inward normal to the opposite wall. *By the sphere*: the diameter of
//! the greatest ball that touches the place from within and lies in the metal. On parallel walls both are the distance
//! of the walls; where the walls lean to each other the ray is longer, and the ball, which no lean fools, is the figure
//! that is judged.
//!
//! Method and its error: the ball begins with the ray's half and shrinks to the closest point that lies deeper in it than
//! its own chord, until none does. A wall of facets of edge `e` and radius `R` cuts up to `e^2 / 8R` into a ball that
//! touches it, which is let pass; points beside the place itself (seen from the ball's middle within 30 degrees) are its own
//! wall.
//!
//! Not covered: a place without opposite wall (an open shell) has no thickness.
//!
//! Checked by: plates, a wedge and a ball, below.

use rayon::prelude::*;

use super::Framework;
use crate::locate::Hit;
use crate::measure::joined::Joined;
use crate::mesh::VertexId;
use crate::space::{Direction, Point, Vector, direction};

/// Farthest opposite wall, mm.
const REACH_MM: f64 = 30.0;
/// How far into the ball a wall may reach, mm: rounding of facets.
const FACET_MM: f64 = 0.01;
/// Cosine of the angle at the ball's middle within which a point is the touched wall itself.
const OWN_WALL: f64 = 0.866;
/// Rounds of shrinking.
const ROUNDS: usize = 12;
/// Area of walls that must be so thin before it is told: the rounding of an edge is no wall, mm2.
const WALL_MM2: f64 = 0.5;
/// A ray starts so far inside, mm.
const START_MM: f64 = 1e-6;

/// Both thicknesses at a place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Thick {
    /// To the opposite wall along the inward normal, mm.
    pub ray_mm: f64,
    /// Diameter of the greatest inscribed ball that touches the place, mm.
    pub sphere_mm: f64,
}

/// Thickness at every vertex; `None` where there is no opposite wall.
pub fn of_vertices(framework: &Framework) -> Vec<Option<Thick>> {
    (0..framework.mesh().vertices().len())
        .into_par_iter()
        .map(|v| at_vertex(framework, v as VertexId))
        .collect()
}

/// Thickness at a vertex.
pub fn at_vertex(framework: &Framework, v: VertexId) -> Option<Thick> {
    let inward = direction(-framework.normals[v as usize])?;
    at(framework, &framework.mesh().vertex(v), &inward)
}

/// Thickness at a place of the surface, with the inward normal.
pub fn at(framework: &Framework, p: &Point, inward: &Direction) -> Option<Thick> {
    let ray_mm = opposite(framework, p, inward)?.distance_mm + START_MM;
    Some(Thick { ray_mm, sphere_mm: 2.0 * radius(framework, p, inward, ray_mm / 2.0) })
}

/// Where the ray from a place along the inward normal leaves the metal.
fn opposite(framework: &Framework, p: &Point, inward: &Direction) -> Option<Hit> {
    framework.surface.cast_facing(&(p + inward.into_inner() * START_MM), inward, REACH_MM, true)
}

/// Thinnest wall, mm, and a place of it: places whose two walls face each other (ray and ball agree within a tenth), with at least 0.5 mm2 of
/// them, which hang together, no thicker. Single places on the edges of a framework are no wall, nor is what two pieces that
/// pierce each other leave between them.
pub fn thinnest_wall(framework: &Framework, thick: &[Option<Thick>]) -> Option<(f64, Point)> {
    let areas = framework.vertex_areas_mm2();
    let pierced = framework.topology.pieces().1 > 1;
    let of_one = |v: usize| !pierced || is_of_one_piece(framework, v as VertexId);
    let mut walls: Vec<(f64, usize)> = thick
        .iter()
        .enumerate()
        .filter_map(|(v, t)| t.filter(|t| t.ray_mm - t.sphere_mm <= 0.1 * t.ray_mm).map(|t| (t.sphere_mm, v)))
        .filter(|(_, v)| of_one(*v))
        .collect();
    walls.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    // Taken in from the thinnest on, each joined to its neighbours that are in; the first patch that is large enough tells.
    let mut patches = Joined::new(areas.len());
    let mut taken = vec![false; areas.len()];
    let mut area = areas.clone();
    for &(mm, v) in &walls {
        taken[v] = true;
        for n in framework.topology.neighbours(framework.mesh(), v as VertexId) {
            let (a, b) = (patches.root(v), patches.root(n as usize));
            if taken[n as usize] && a != b {
                patches.put(b, a);
                area[a] += area[b];
            }
        }
        if area[patches.root(v)] >= WALL_MM2 {
            return Some((mm, framework.mesh().vertex(v as VertexId)));
        }
    }
    None
}

/// Whether the wall opposite a vertex, along its inward normal, belongs to the vertex's own piece.
fn is_of_one_piece(framework: &Framework, v: VertexId) -> bool {
    let (pieces, own) = (framework.topology.pieces().0, framework.topology.faces_of_vertex(v).first());
    let opposite = direction(-framework.normals[v as usize])
        .and_then(|inward| opposite(framework, &framework.mesh().vertex(v), &inward));
    opposite.zip(own).is_some_and(|(hit, &own)| pieces[hit.face as usize] == pieces[own as usize])
}

/// Steps along a way in which the greatest ball is sought, and rounds of halving about the best of them.
const ALONG: usize = 8;
const HALVINGS: usize = 8;

/// Diameter of the greatest ball in the metal whose middle lies on a way through it, mm; `None` where that has no length. A
/// ball over a place, whatever the wall under that is like: on parallel walls their distance, over an edge what stands
/// behind it.
pub fn ball_over(framework: &Framework, from: &Point, way: &Direction, through_mm: f64) -> Option<f64> {
    if through_mm <= 0.0 {
        return None;
    }
    let radius = |mm: f64| {
        // Both ends of the way are on the surface.
        let most = mm.min(through_mm - mm).max(0.0);
        let middle = from + way.into_inner() * mm;
        framework.surface.closest_within(&middle, most).map_or(most, |c| c.distance_mm)
    };
    let step = through_mm / (ALONG + 1) as f64;
    let places = (1..=ALONG).map(|k| step * k as f64).map(|mm| (mm, radius(mm)));
    let mut best = places.reduce(|a, b| if b.1 > a.1 { b } else { a })?;
    let mut reach = step / 2.0;
    for _ in 0..HALVINGS {
        for mm in [best.0 - reach, best.0 + reach] {
            let r = radius(mm);
            if r > best.1 {
                best = (mm, r);
            }
        }
        reach /= 2.0;
    }
    Some(2.0 * best.1)
}

fn radius(framework: &Framework, p: &Point, inward: &Vector, from_mm: f64) -> f64 {
    let mut r = from_mm;
    for _ in 0..ROUNDS {
        let middle = p + inward * r;
        let Some(q) = framework.surface.closest_within(&middle, (r - FACET_MM).max(0.0)) else { break };
        let to_q = q.at - middle;
        let beside = to_q.dot(&(p - middle)) > OWN_WALL * q.distance_mm * r;
        if beside {
            break;
        }
        // The ball through the place, with its middle on the normal, that passes through the point.
        let way = q.at - p;
        let along = way.dot(inward);
        if along <= 0.0 {
            break;
        }
        let smaller = way.norm_squared() / (2.0 * along);
        if smaller >= r - 1e-9 {
            break;
        }
        r = smaller;
    }
    r
}

#[cfg(test)]
mod tests {
    use super::super::tests::{divided, fine_box};
    use super::*;
    use crate::mesh::Mesh;

    fn inner(framework: &Framework, keep: impl Fn(&Point) -> bool) -> Vec<Thick> {
        let places = framework.mesh().vertices();
        (0..places.len())
            .filter(|&v| keep(&places[v]))
            .map(|v| at_vertex(framework, v as u32).unwrap())
            .collect()
    }

    #[test]
    fn a_plate_is_as_thick_as_it_is() {
        let plate = Framework::new(&fine_box([0.0, 0.0, 0.0], [8.0, 8.0, 0.7], 0.4));
        let all = inner(&plate, |p| (1.0..7.0).contains(&p.x) && (1.0..7.0).contains(&p.y));
        assert!(all.len() > 100);
        for t in all {
            assert!((t.ray_mm - 0.7).abs() < 1e-9 && (t.sphere_mm - 0.7).abs() < 1e-9, "{t:?}");
        }
    }

    #[test]
    fn rods_that_pierce_the_metal_leave_no_thin_wall_with_it() {
        let plate = fine_box([0.0, 0.0, 0.0], [8.0, 8.0, 1.0], 0.4);
        // A rod of 1.2 mm that stands up from 0.02 mm under the plate's upper side.
        let rod = fine_box([3.0, 3.0, 0.98], [4.2, 4.2, 6.0], 0.3);
        let of = |mesh: &Mesh| {
            let framework = Framework::new(mesh);
            let thick = of_vertices(&framework);
            (thick.iter().flatten().any(|t| t.ray_mm < 0.03), thinnest_wall(&framework, &thick).unwrap().0)
        };
        let (thin, wall) = of(&plate);
        assert!(!thin && (wall - 1.0).abs() < 1e-9, "{wall}");
        let (thin, both) = of(&Mesh::together(&[plate.clone(), rod]));
        assert!(thin, "the rod's end lies close under the plate's upper side");
        // Beside the rod balls that it narrows by less than a tenth count.
        assert!((0.9..=1.0 + 1e-9).contains(&both), "{both}");
    }

    #[test]
    fn in_a_wedge_the_ball_is_thinner_than_the_ray() {
        // Faces y = 0 and y = x tan 30 deg: at (x, 0) the ray is x tan 30, the ball has the radius x tan 15.
        let slope = crate::space::tan(30.0_f64.to_radians());
        let flat = fine_box([2.0, 0.0, 0.0], [10.0, 1.0, 8.0], 0.5);
        let lean = |p: &Point| Point::new(p.x, p.y * p.x * slope, p.z);
        let wedge = Mesh::new(flat.vertices().iter().map(lean).collect(), flat.faces().to_vec()).unwrap();
        let wedge = Framework::new(&wedge);
        let mut seen = 0;
        for (v, p) in wedge.mesh().vertices().iter().enumerate() {
            if p.y.abs() < 1e-12 && (4.0..6.0).contains(&p.x) && (3.0..5.0).contains(&p.z) {
                let t = at_vertex(&wedge, v as u32).unwrap();
                let ball = 2.0 * p.x * crate::space::tan(15.0_f64.to_radians());
                assert!((t.ray_mm - p.x * slope).abs() < 0.01, "{t:?} at {p}");
                assert!((t.sphere_mm - ball).abs() < 0.03, "{t:?} at {p}, {ball}");
                seen += 1;
            }
        }
        assert!(seen > 4);
    }

    #[test]
    fn a_ball_is_as_thick_as_it_is_wide() {
        let mut ball = fine_box([-1.0, -1.0, -1.0], [1.0, 1.0, 1.0], 1.5);
        for _ in 0..4 {
            let finer = divided(&ball);
            let out = finer.vertices().iter().map(|p| Point::from(p.coords.normalize() * 3.0)).collect();
            ball = Mesh::new(out, finer.faces().to_vec()).unwrap();
        }
        let ball = Framework::new(&ball);
        assert!(ball.mesh().mean_edge_mm() < 0.35);
        for t in inner(&ball, |_| true) {
            // Facets of 0.35 mm lie up to 0.005 mm inside a ball of 3 mm, on each side.
            assert!((t.ray_mm - 6.0).abs() < 0.05 && (t.sphere_mm - 6.0).abs() < 0.05, "{t:?}");
        }
    }

    #[test]
    fn a_ball_over_a_place_is_as_wide_as_the_wall_or_the_metal_behind_an_edge() {
        let up = Direction::new_normalize(Vector::z());
        let plate = Framework::new(&fine_box([0.0, 0.0, 0.0], [8.0, 8.0, 0.7], 0.4));
        let ball = |p: &Point, through: f64| ball_over(&plate, p, &up, through).unwrap();
        assert!((ball(&Point::new(4.1, 4.2, 0.0), 0.7) - 0.7).abs() < 1e-3);
        // 0.2 mm from its side the ball is no wider than that leaves.
        assert!((ball(&Point::new(0.2, 4.2, 0.0), 0.7) - 0.4).abs() < 1e-3);
        // In a wedge the ball about a place of the ray touches both walls: between y = 0 and y = x tan 30 deg, at x = 5, the
        // middle stands at y with y = (x tan 30 - y) cos 30, so y = x sin 30 / (1 + cos 30).
        let (sin, cos) = (crate::space::sin, crate::space::cos);
        let lean = 30.0_f64.to_radians();
        let flat = fine_box([2.0, 0.0, 0.0], [10.0, 1.0, 8.0], 0.5);
        let leant = |p: &Point| Point::new(p.x, p.y * p.x * crate::space::tan(lean), p.z);
        let wedge = Mesh::new(flat.vertices().iter().map(leant).collect(), flat.faces().to_vec()).unwrap();
        let wedge = Framework::new(&wedge);
        let through = 5.0 * crate::space::tan(lean);
        let across = Direction::new_normalize(Vector::y());
        let found = ball_over(&wedge, &Point::new(5.0, 0.0, 4.0), &across, through).unwrap();
        let wanted = 2.0 * 5.0 * sin(lean) / (1.0 + cos(lean));
        assert!((found - wanted).abs() < 0.01, "{found} for {wanted}");
    }

    #[test]
    fn an_open_sheet_has_none() {
        let sheet = fine_box([0.0, 0.0, 0.0], [4.0, 4.0, 1.0], 0.5).part(|_| true).0;
        let top = sheet.part(|f| sheet.face_centre(f).z > 0.99).0;
        let top = Framework::new(&top);
        assert!(of_vertices(&top).iter().all(Option::is_none));
    }
}
