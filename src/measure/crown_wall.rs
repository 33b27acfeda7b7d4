//! The outline of one side of a crown, read along rods across the path.
//!
//! Definition: seen along the path `d`, a place of a side is given by its offset `y` along the side and its height `h`;
//! `x` is how far the crown reaches outward there, from the middle of the crown.
//!
//! Frame and units: mm from the crown's middle; outward is the side's own direction made square to `d`.
//!
//! Method and its error: rays from outside inward, exact on the triangles. A ray that meets no crown, or only its far
//! side through a hole, reads nothing.
//!
//! Checked by: `reciprocal`, `plane_preparation`.

use super::tooth_axes::ToothAxes;
use crate::anatomy::Crown;
use crate::case::Surface as Side;
use crate::locate::Surface;
use crate::space::{Direction, Point, Vector, direction};

/// A ray starts this far outside the crown, mm.
const OUTSIDE_MM: f64 = 0.5;

/// A side of a crown, seen along the path.
#[derive(Clone, Copy, Debug)]
pub struct CrownWall<'a> {
    surface: &'a Surface,
    crown: &'a Crown,
    centre: Point,
    outward: Direction,
    along: Vector,
    up: Direction,
    start_mm: f64,
}

impl<'a> CrownWall<'a> {
    /// The side of a crown; `None` where the side faces along the path.
    pub fn new(
        surface: &'a Surface,
        crown: &'a Crown,
        axes: &ToothAxes,
        side: Side,
        up: Direction,
    ) -> Option<CrownWall<'a>> {
        let facing = axes.outward(side);
        let outward = direction(facing - up.into_inner() * facing.dot(&up))?;
        let along = up.cross(&outward);
        let mut wall = CrownWall { surface, crown, centre: axes.centre, outward, along, up, start_mm: 0.0 };
        let reach = wall.corners().map(|p| wall.local(&p)[0]).fold(0.0, f64::max);
        wall.start_mm = reach + OUTSIDE_MM;
        Some(wall)
    }

    fn corners(&self) -> impl Iterator<Item = Point> + '_ {
        let mesh = self.surface.mesh();
        self.crown.vertices.iter().map(|&v| mesh.vertex(v))
    }

    /// Outward, along the side, and up, mm from the crown's middle.
    pub fn local(&self, p: &Point) -> [f64; 3] {
        let v = p - self.centre;
        [v.dot(&self.outward), v.dot(&self.along), v.dot(&self.up)]
    }

    /// The place of such coordinates, mm.
    pub fn place(&self, [x, y, h]: [f64; 3]) -> Point {
        self.centre + self.outward.into_inner() * x + self.along * y + self.up.into_inner() * h
    }

    /// How far the crown reaches outward at (`y`, `h`), mm; `None` where the outermost surface there is not this side of
    /// the crown.
    pub fn out_mm(&self, y: f64, h: f64) -> Option<f64> {
        let from = self.place([self.start_mm, y, h]);
        let hit = self.surface.cast(&from, &-self.outward, 2.0 * self.start_mm)?;
        let x = self.start_mm - hit.distance_mm;
        (x > 0.0 && self.crown.faces.binary_search(&hit.face).is_ok()).then_some(x)
    }

    /// Least and greatest height of the crown, mm from its middle; `None` for a crown without surface.
    pub fn heights_mm(&self) -> Option<(f64, f64)> {
        let (low, high) = self
            .corners()
            .map(|p| self.local(&p)[2])
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), z| (l.min(z), h.max(z)));
        (low < high).then_some((low, high))
    }
}
