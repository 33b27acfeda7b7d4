//! A body in its own axes, and a pose of it.

use crate::mesh::{BOX_FACES, Mesh};
use crate::space::{Direction, Point, Vector, direction, tan};

/// A body: triangles in its own axes, the origin in the middle of its underside.
#[derive(Clone, Debug, PartialEq)]
pub struct Body {
    corners: Vec<[Point; 3]>,
    size: [f64; 3],
    is_box: bool,
}

impl Body {
    /// The box of an envelope of that height, length and width, mm.
    pub fn envelope([height, length, width]: [f64; 3]) -> Body {
        let side = |far: bool, mm: f64| if far { mm / 2.0 } else { -mm / 2.0 };
        let corner = |k: usize| {
            let z = if k & 4 != 0 { height } else { 0.0 };
            Point::new(side(k & 1 != 0, length), side(k & 2 != 0, width), z)
        };
        let corners = BOX_FACES.iter().map(|t| t.map(|k| corner(k as usize))).collect();
        Body { corners, size: [length, width, height], is_box: true }
    }

    /// The body of a mesh in its own axes, moved so that the middle of its underside is the origin. `None` where it is
    /// empty.
    pub fn of_mesh(mesh: &Mesh) -> Option<Body> {
        let (low, high) = mesh.bounds()?;
        let origin = Vector::new((low.x + high.x) / 2.0, (low.y + high.y) / 2.0, low.z);
        let corners = (0..mesh.faces().len() as u32).map(|f| mesh.corners(f).map(|p| p - origin)).collect();
        let size = high - low;
        Some(Body { corners, size: [size.x, size.y, size.z], is_box: false })
    }

    /// Length along its x, mm.
    pub fn length_mm(&self) -> f64 {
        self.size[0]
    }

    /// Width along its y, mm.
    pub fn width_mm(&self) -> f64 {
        self.size[1]
    }

    /// Height along its z, mm.
    pub fn height_mm(&self) -> f64 {
        self.size[2]
    }

    /// Whether it fills its envelope.
    pub(super) fn is_box(&self) -> bool {
        self.is_box
    }

    /// Its triangles in a pose.
    pub fn placed(&self, pose: &Pose) -> Vec<[Point; 3]> {
        self.corners.iter().map(|t| t.each_ref().map(|p| pose.world(p))).collect()
    }
}

/// Where a body stands: the middle of its underside and its axes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pose {
    /// The middle of its underside, mm.
    pub at: Point,
    axes: [Vector; 3],
}

impl Pose {
    /// A pose whose height is `up` and whose length lies along `along` as far as that allows. `None` where they are one.
    pub fn new(at: Point, along: &Vector, up: Direction) -> Option<Pose> {
        let along = direction(along - up.into_inner() * along.dot(&up))?;
        Some(Pose { at, axes: [along.into_inner(), up.cross(&along), up.into_inner()] })
    }

    /// A pose whose length lies along a chord of the crest and whose height leans from `opening` by tilts along and across
    /// it, degrees. `None` where the chord runs along `opening`.
    pub fn leaning(at: Point, chord: &Vector, opening: &Direction, tilt_deg: [f64; 2]) -> Option<Pose> {
        let flat = direction(chord - opening.into_inner() * chord.dot(opening))?.into_inner();
        let across = opening.cross(&flat);
        let [along_deg, across_deg] = tilt_deg.map(f64::to_radians);
        let up = direction(opening.into_inner() + flat * tan(along_deg) + across * tan(across_deg))?;
        Pose::new(at, &flat, up)
    }

    /// Along the crest, away from the abutment.
    pub fn along(&self) -> Direction {
        Direction::new_unchecked(self.axes[0])
    }

    /// Across the crest.
    pub fn across(&self) -> Direction {
        Direction::new_unchecked(self.axes[1])
    }

    /// Its height.
    pub fn up(&self) -> Direction {
        Direction::new_unchecked(self.axes[2])
    }

    /// The place of a point of the body.
    pub fn world(&self, p: &Point) -> Point {
        self.at + self.axes[0] * p.x + self.axes[1] * p.y + self.axes[2] * p.z
    }

    /// Lifted along its height.
    pub(super) fn lifted(self, mm: f64) -> Pose {
        Pose { at: self.at + self.axes[2] * mm, ..self }
    }
}
