//! Rigid bodies held by springs: how far a spring is stretched by what the bodies do.
//!
//! A body moves by a displacement `t` of the common origin and a small rotation `r` (radians), so a point `p` moves by
//! `t + r x (p - origin)`. Rotations are kept as `r` times [`LEVER_MM`], so that all six numbers are millimetres.

use crate::space::{Point, Vector};

/// Length by which rotations are turned into millimetres: about the distance of an abutment from the middle of an arch.
pub const LEVER_MM: f64 = 20.0;

/// What a spring measures of a body's six numbers.
pub type Row = [f64; 6];

/// How far a place of a body moves in a direction.
pub fn at(origin: &Point, place: &Point, along: &Vector) -> Row {
    let turn = (place - origin).cross(along) / LEVER_MM;
    [along.x, along.y, along.z, turn.x, turn.y, turn.z]
}

/// How far a body turns about an axis, radians.
pub fn about(axis: &Vector) -> Row {
    let turn = axis / LEVER_MM;
    [0.0, 0.0, 0.0, turn.x, turn.y, turn.z]
}

fn turned_back(row: &Row) -> Row {
    row.map(|v| -v)
}

/// When a spring acts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sense {
    /// It pulls and pushes.
    Both,
    /// It only pushes: it acts while its stretch is negative.
    Pushes,
}

/// A spring between a body and the jaw, or between two bodies.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spring {
    /// The body whose motion lengthens it.
    pub body: usize,
    /// What it measures of that body.
    pub row: Row,
    /// The body at its other end; `None` for the jaw.
    pub other: Option<usize>,
    /// N/mm, or N·mm/rad where the rows are those of a turn.
    pub stiffness: f64,
    /// When it acts.
    pub sense: Sense,
    /// How far apart its ends stand before they meet, mm; radians where the rows are those of a turn.
    pub gap: f64,
}

impl Spring {
    /// A spring to the jaw.
    pub fn to_jaw(body: usize, row: Row, stiffness: f64, sense: Sense) -> Spring {
        Spring { body, row, other: None, stiffness, sense, gap: 0.0 }
    }

    /// A spring between two bodies; stretched where the first moves in the direction of the row and the second stays.
    pub fn between(bodies: [usize; 2], row: Row, stiffness: f64, sense: Sense) -> Spring {
        Spring { body: bodies[0], row, other: Some(bodies[1]), stiffness, sense, gap: 0.0 }
    }

    /// How far it is stretched; negative where it is pressed.
    pub fn stretch(&self, motion: &[f64]) -> f64 {
        self.lengthening(motion) + self.gap
    }

    /// By how much a motion lengthens it.
    pub fn lengthening(&self, motion: &[f64]) -> f64 {
        let of = |body: usize| -> f64 {
            let six = &motion[6 * body..6 * body + 6];
            self.row.iter().zip(six).map(|(a, b)| a * b).sum()
        };
        of(self.body) - self.other.map_or(0.0, of)
    }

    /// Whether it acts at a stretch.
    pub fn acts(&self, stretch: f64) -> bool {
        self.sense == Sense::Both || stretch <= 0.0
    }

    /// Force that it exerts on its body along its row, N: positive where it is pressed.
    pub fn push(&self, motion: &[f64]) -> f64 {
        let stretch = self.stretch(motion);
        if self.acts(stretch) { -self.stiffness * stretch } else { 0.0 }
    }

    /// Adds `force` times its rows to the six numbers of the bodies at its ends.
    pub(super) fn spread(&self, force: f64, into: &mut [f64]) {
        let mut add = |body: usize, row: &Row| {
            into[6 * body..6 * body + 6].iter_mut().zip(row).for_each(|(s, r)| *s += force * r);
        };
        add(self.body, &self.row);
        if let Some(other) = self.other {
            add(other, &turned_back(&self.row));
        }
    }

    /// Adds its stiffness to the lower part of a row-major matrix.
    pub(super) fn stiffen(&self, matrix: &mut [f64], size: usize) {
        let mut block = |a: usize, b: usize, sign: f64| {
            for i in 0..6 {
                let factor = sign * self.stiffness * self.row[i];
                let start = (6 * a + i) * size + 6 * b;
                let width = if a == b { i + 1 } else { 6 };
                matrix[start..start + width].iter_mut().zip(&self.row).for_each(|(m, r)| *m += factor * r);
            }
        };
        block(self.body, self.body, 1.0);
        if let Some(other) = self.other {
            block(other, other, 1.0);
            block(self.body.max(other), self.body.min(other), -1.0);
        }
    }
}

/// Bodies, what holds them, and what loads them.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct System {
    /// Number of bodies. Those that hang on one other body only come first: it makes the equations short.
    pub bodies: usize,
    /// Springs.
    pub springs: Vec<Spring>,
    /// Force and moment on each body: six numbers a body, the moments divided by [`LEVER_MM`].
    pub load: Vec<f64>,
}

impl System {
    /// So many bodies, free and without load.
    pub fn new(bodies: usize) -> System {
        System { bodies, springs: Vec::new(), load: vec![0.0; 6 * bodies] }
    }

    /// Loads a body with a force at a place, N.
    pub fn push(&mut self, body: usize, origin: &Point, place: &Point, force: &Vector) {
        let row = at(origin, place, force);
        self.load[6 * body..6 * body + 6].iter_mut().zip(row).for_each(|(l, r)| *l += r);
    }
}

/// How a place of a body moves, mm.
pub fn displacement(motion: &[f64], body: usize, origin: &Point, place: &Point) -> Vector {
    let six = &motion[6 * body..6 * body + 6];
    let turn = Vector::new(six[3], six[4], six[5]) / LEVER_MM;
    Vector::new(six[0], six[1], six[2]) + turn.cross(&(place - origin))
}

/// How a body turns, radians about each axis.
pub fn rotation(motion: &[f64], body: usize) -> Vector {
    let six = &motion[6 * body..6 * body + 6];
    Vector::new(six[3], six[4], six[5]) / LEVER_MM
}
