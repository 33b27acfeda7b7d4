//! Quantity: clearance between a framework and the opposing arch.
//!
//! Definition: the least distance, along the opening direction, from a place of the framework to the opposing surface,
//! negative where the framework reaches through it; in occlusion, and with the restored arch moved into each position of
//! an excursion.
//!
//! Method and its error: rays from the framework's vertices, exact on the opposing triangles; a cusp that comes down between
//! two vertices is missed by up to the chord between them. A ray that says that a place lies inside is believed only where
//! the side of the closest point says so too: beside a bulge that leans over, a ray back along the opening direction meets
//! both sides of its rim.
//!
//! Checked by: two plates, and a plate moved under a leaning one, below.

use rayon::prelude::*;

use super::{Framework, normal_at};
use crate::measure::clearance::Antagonist;
use crate::mesh::VertexId;
use crate::space::{Motion, Point, Vector};

/// Farther through the opposing surface than this is no overlap but another side of it, mm.
const DEEPEST_MM: f64 = 3.0;

/// The least clearance of some places.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Least {
    /// Clearance, mm; negative where they overlap.
    pub mm: f64,
    /// The place of the framework, mm.
    pub at: Point,
}

/// Clearance of one place, negative inside; `None` where nothing stands opposite.
fn clear_mm(antagonist: &Antagonist<'_>, normals: &[Vector], p: &Point) -> Option<f64> {
    let along = antagonist.along(p)?;
    if along.mm >= 0.0 {
        return Some(along.mm);
    }
    let surface = antagonist.surface();
    let closest = surface.closest(p)?;
    let normal = normal_at(surface.mesh(), normals, closest.face, &closest.at);
    let outward = if antagonist.inside_out() { -normal } else { normal };
    if (p - closest.at).dot(&outward) <= 0.0 {
        return Some(along.mm);
    }
    let ahead = surface.cast_facing(p, antagonist.opening(), f64::INFINITY, antagonist.inside_out());
    ahead.map(|h| h.distance_mm)
}

/// Vertices that are looked at one after another, so that each needs a look only as far as the least before it.
const CHUNK: usize = 512;

/// Least clearance, under `than_mm`, of the vertices of `of`, with the normals of the opposing surface's vertices, with the
/// restored arch moved by `motion`; `None` where none has less.
pub fn least(
    framework: &Framework,
    (antagonist, normals): (&Antagonist<'_>, &[Vector]),
    of: &[VertexId],
    (motion, than_mm): (&Motion, f64),
) -> Option<Least> {
    let of_chunk = |chunk: &[VertexId]| {
        let mut best: Option<Least> = None;
        for &v in chunk {
            let at = framework.mesh().vertex(v);
            let (there, than_mm) = (motion * at, best.map_or(than_mm, |b| b.mm));
            if !antagonist.is_nearer(&there, than_mm) {
                continue;
            }
            let mm = clear_mm(antagonist, normals, &there);
            best = mm.filter(|mm| *mm > -DEEPEST_MM && *mm < than_mm).map(|mm| Least { mm, at }).or(best);
        }
        best
    };
    of.par_chunks(CHUNK).filter_map(of_chunk).min_by(|a, b| a.mm.total_cmp(&b.mm).then(order(&a.at, &b.at)))
}

fn order(a: &Point, b: &Point) -> std::cmp::Ordering {
    a.x.total_cmp(&b.x).then(a.y.total_cmp(&b.y)).then(a.z.total_cmp(&b.z))
}

#[cfg(test)]
mod tests {
    use super::super::tests::fine_box;
    use super::*;
    use crate::locate::Surface;
    use crate::space::{Direction, Vector};

    #[test]
    fn a_plate_under_a_block_has_the_room_between_them() {
        let block = Surface::new(&fine_box([-5.0, -5.0, 2.0], [5.0, 5.0, 8.0], 1.0));
        let antagonist = Antagonist::new(&block, &Direction::new_normalize(Vector::z()));
        let plate = Framework::new(&fine_box([-2.0, -2.0, 0.0], [2.0, 2.0, 1.3], 0.5));
        let all: Vec<u32> = (0..plate.mesh().vertices().len() as u32).collect();
        let normals = block.mesh().vertex_normals();
        let antagonist = (&antagonist, normals);
        let found = least(&plate, antagonist, &all, (&Motion::identity(), f64::INFINITY)).unwrap();
        assert!((found.mm - 0.7).abs() < 1e-9 && (found.at.z - 1.3).abs() < 1e-9);
        let up = Motion::translation(0.0, 0.0, 1.0);
        let found = least(&plate, antagonist, &all, (&up, f64::INFINITY)).unwrap();
        assert!((found.mm + 0.3).abs() < 1e-9, "a plate that goes through is negative: {found:?}");
        assert_eq!(least(&plate, antagonist, &all, (&up, -0.2)).unwrap(), found);
        assert_eq!(least(&plate, antagonist, &all, (&up, -0.4)), None, "none has less");
    }

    /// A block whose lower side rises by `slope` along x, 2 mm high at x = 0.
    fn leaning(slope: f64) -> Surface {
        let flat = fine_box([-8.0, -5.0, 2.0], [8.0, 5.0, 9.0], 0.8);
        let lean = |p: &Point| Point::new(p.x, p.y, p.z + slope * p.x);
        Surface::new(
            &crate::mesh::Mesh::new(flat.vertices().iter().map(lean).collect(), flat.faces().to_vec())
                .unwrap(),
        )
    }

    #[test]
    fn over_an_excursion_the_clearance_is_what_guidance_and_slope_leave() {
        // The plate's top lies at 1.3 mm; its nearest edge to the falling side stands at x = -2. Moved by `aside` toward it and
        // opened by a guidance of 20 degrees it has 2 - 1.3 - (2 + aside) tan 30 + aside tan 20 left there.
        let (slope, guidance) = (30f64.to_radians(), 20f64.to_radians());
        let (slope, guidance) = (crate::space::tan(slope), crate::space::tan(guidance));
        let block = leaning(slope);
        let normals = block.mesh().vertex_normals();
        let antagonist = Antagonist::new(&block, &Direction::new_normalize(Vector::z()));
        let plate = Framework::new(&fine_box([-2.0, -2.0, 0.0], [2.0, 2.0, 1.3], 0.5));
        let all: Vec<u32> = (0..plate.mesh().vertices().len() as u32).collect();
        for aside in [0.0, 0.5, 1.0, 2.0, 3.0] {
            // Opening takes the restored arch down.
            let motion = Motion::translation(-aside, 0.0, -aside * guidance);
            let found = least(&plate, (&antagonist, normals), &all, (&motion, f64::INFINITY)).unwrap();
            let truth = 2.0 - 1.3 - (2.0 + aside) * slope + aside * guidance;
            assert!((found.mm - truth).abs() < 1e-9, "{aside}: {found:?}, {truth}");
            assert!((found.at.x + 2.0).abs() < 1e-9);
        }
    }
}
