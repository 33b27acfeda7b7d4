//! Quantity: clearance between a framework and the opposing arch.
//!
//! Definition: the least distance, along the opening direction, from a place of the framework to the opposing surface,
//! negative where the framework reaches through it; in occlusion, and with the restored arch moved into each position of
//! an excursion.
//!
//! Method and its error: rays from the framework's vertices, exact on the opposing triangles; a cusp that comes down between
//! two vertices is missed by up to the chord between them.
//!
//! Checked by: two plates, below.

use rayon::prelude::*;

use super::Framework;
use crate::measure::clearance::Antagonist;
use crate::mesh::VertexId;
use crate::space::{Motion, Point};

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

/// Least clearance of the vertices of `of`, with the restored arch moved by `motion`.
pub fn least(
    framework: &Framework,
    antagonist: &Antagonist<'_>,
    of: &[VertexId],
    motion: &Motion,
) -> Option<Least> {
    of.par_iter()
        .filter_map(|&v| {
            let at = framework.mesh().vertex(v);
            let mm = antagonist.along(&(motion * at))?.mm;
            (mm > -DEEPEST_MM).then_some(Least { mm, at })
        })
        .min_by(|a, b| a.mm.total_cmp(&b.mm).then(order(&a.at, &b.at)))
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
        let found = least(&plate, &antagonist, &all, &Motion::identity()).unwrap();
        assert!((found.mm - 0.7).abs() < 1e-9 && (found.at.z - 1.3).abs() < 1e-9);
        let up = Motion::translation(0.0, 0.0, 1.0);
        let found = least(&plate, &antagonist, &all, &up).unwrap();
        assert!((found.mm + 0.3).abs() < 1e-9, "a plate that goes through is negative: {found:?}");
    }
}
