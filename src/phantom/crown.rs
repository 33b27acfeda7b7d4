//! Crowns: tapered barrels with cusps, sized by the averages of section 12.1 of the trade facts (WHEEL, POC).
//!
//! Own axes of a crown: u distal, v buccal, w occlusal, origin on its axis at the height of the gingival margin.

use super::field::{Weights, smax, smin, step};
use crate::case::{Arch, Tooth};
use crate::space::{Point, Vector};

/// Heights, as shares of the crown's height, at which the outlines are given.
const KNOTS: [f64; 7] = [-0.5, 0.0, 0.2, 0.4, 0.65, 0.85, 1.0];

/// A cusp, ridge or edge of the occlusal surface: a line from `from` to `to` (shares of the half widths).
#[derive(Clone, Copy, Debug)]
struct Rise {
    from: [f64; 2],
    to: [f64; 2],
    /// Height against the crown's full height, mm.
    height: f64,
    /// Slope of its sides.
    slope: f64,
}

const fn cusp(u: f64, v: f64, height: f64, slope: f64) -> Rise {
    Rise { from: [u, v], to: [u, v], height, slope }
}

const fn ridge(from: [f64; 2], to: [f64; 2], height: f64, slope: f64) -> Rise {
    Rise { from, to, height, slope }
}

/// Form of a kind of crown: half widths at `KNOTS` as shares of the greatest, squareness, occlusal rises.
#[derive(Debug)]
pub struct CrownForm {
    mesiodistal: [f64; 7],
    buccal: [f64; 7],
    lingual: [f64; 7],
    square: f64,
    rises: &'static [Rise],
    /// Height of the papillae as a share of the crown's height.
    papilla: f64,
}

const MOLAR_MD: [f64; 7] = [0.62, 0.82, 0.90, 0.97, 1.0, 0.95, 0.82];
const MOLAR_B: [f64; 7] = [0.76, 0.885, 0.985, 1.0, 0.93, 0.82, 0.70];
const MOLAR_L: [f64; 7] = [0.74, 0.88, 0.96, 1.0, 0.95, 0.86, 0.74];
const PREMOLAR_MD: [f64; 7] = [0.52, 0.72, 0.84, 0.95, 1.0, 0.92, 0.72];
const PREMOLAR_B: [f64; 7] = [0.64, 0.80, 0.97, 1.0, 0.90, 0.74, 0.55];
const PREMOLAR_L: [f64; 7] = [0.66, 0.86, 0.95, 1.0, 0.95, 0.82, 0.62];

static LOWER_FIRST_MOLAR: CrownForm = CrownForm {
    mesiodistal: MOLAR_MD,
    buccal: MOLAR_B,
    lingual: MOLAR_L,
    square: 0.75,
    rises: &[
        cusp(-0.52, 0.52, 0.0, 0.62),
        cusp(0.12, 0.56, -0.1, 0.62),
        cusp(0.66, 0.34, -0.45, 0.65),
        cusp(-0.46, -0.55, 0.0, 0.62),
        cusp(0.42, -0.55, -0.1, 0.62),
        ridge([-0.86, -0.3], [-0.86, 0.3], -1.1, 0.8),
        ridge([0.86, -0.35], [0.88, 0.1], -1.2, 0.8),
    ],
    papilla: 0.36,
};
static LOWER_SECOND_MOLAR: CrownForm = CrownForm {
    mesiodistal: MOLAR_MD,
    buccal: MOLAR_B,
    lingual: MOLAR_L,
    square: 0.8,
    rises: &[
        cusp(-0.46, 0.54, 0.0, 0.62),
        cusp(0.46, 0.52, -0.15, 0.62),
        cusp(-0.46, -0.54, -0.05, 0.62),
        cusp(0.44, -0.54, -0.15, 0.62),
        ridge([-0.86, -0.3], [-0.86, 0.3], -1.1, 0.8),
        ridge([0.86, -0.3], [0.86, 0.3], -1.2, 0.8),
    ],
    papilla: 0.36,
};
static LOWER_FIRST_PREMOLAR: CrownForm = CrownForm {
    mesiodistal: PREMOLAR_MD,
    buccal: PREMOLAR_B,
    lingual: PREMOLAR_L,
    square: 0.3,
    rises: &[
        cusp(-0.05, 0.18, 0.0, 0.68),
        cusp(0.0, -0.68, -2.4, 0.6),
        ridge([-0.8, -0.25], [-0.78, 0.2], -1.7, 0.8),
        ridge([0.8, -0.25], [0.78, 0.2], -1.6, 0.8),
        ridge([0.0, -0.35], [0.0, 0.1], -1.1, 1.1),
    ],
    papilla: 0.36,
};
static LOWER_SECOND_PREMOLAR: CrownForm = CrownForm {
    mesiodistal: PREMOLAR_MD,
    buccal: PREMOLAR_B,
    lingual: PREMOLAR_L,
    square: 0.45,
    rises: &[
        cusp(-0.05, 0.34, 0.0, 0.66),
        cusp(-0.3, -0.58, -0.9, 0.66),
        cusp(0.42, -0.56, -1.3, 0.66),
        ridge([-0.82, -0.25], [-0.8, 0.25], -1.4, 0.8),
        ridge([0.82, -0.25], [0.8, 0.25], -1.45, 0.8),
    ],
    papilla: 0.36,
};
static LOWER_CANINE: CrownForm = CrownForm {
    mesiodistal: [0.50, 0.70, 0.82, 0.93, 1.0, 0.93, 0.70],
    buccal: [0.72, 0.90, 1.0, 0.97, 0.80, 0.58, 0.32],
    lingual: [0.72, 0.92, 1.0, 0.84, 0.52, 0.36, 0.24],
    square: 0.25,
    rises: &[
        ridge([-0.12, 0.0], [0.0, 0.0], 0.0, 0.9),
        ridge([-0.8, 0.0], [0.0, 0.05], -0.95, 0.9),
        ridge([0.85, 0.0], [0.0, 0.05], -1.3, 0.9),
    ],
    papilla: 0.40,
};
static LOWER_INCISOR: CrownForm = CrownForm {
    mesiodistal: [0.46, 0.64, 0.75, 0.86, 0.97, 1.0, 0.95],
    buccal: [0.76, 0.93, 1.0, 0.92, 0.70, 0.46, 0.24],
    lingual: [0.76, 0.95, 1.0, 0.74, 0.42, 0.28, 0.20],
    square: 0.45,
    rises: &[ridge([-0.75, 0.0], [0.75, 0.0], 0.0, 0.9)],
    papilla: 0.42,
};
static UPPER_MOLAR: CrownForm = CrownForm {
    mesiodistal: MOLAR_MD,
    buccal: MOLAR_B,
    lingual: MOLAR_L,
    square: 0.7,
    rises: &[
        cusp(-0.48, 0.56, -0.1, 0.62),
        cusp(0.46, 0.52, -0.35, 0.62),
        cusp(-0.34, -0.52, 0.0, 0.6),
        cusp(0.52, -0.52, -0.8, 0.65),
        ridge([-0.34, -0.4], [0.40, 0.45], -1.35, 1.2),
        ridge([-0.86, -0.3], [-0.86, 0.3], -1.1, 0.8),
        ridge([0.86, -0.3], [0.86, 0.3], -1.3, 0.8),
    ],
    papilla: 0.36,
};
static UPPER_PREMOLAR: CrownForm = CrownForm {
    mesiodistal: [0.56, 0.74, 0.85, 0.95, 1.0, 0.92, 0.72],
    buccal: PREMOLAR_B,
    lingual: PREMOLAR_L,
    square: 0.35,
    rises: &[
        cusp(0.0, 0.54, 0.0, 0.66),
        cusp(-0.08, -0.54, -0.5, 0.64),
        ridge([-0.82, -0.3], [-0.8, 0.3], -1.4, 0.8),
        ridge([0.82, -0.3], [0.8, 0.3], -1.4, 0.8),
    ],
    papilla: 0.36,
};
static UPPER_CANINE: CrownForm = CrownForm {
    mesiodistal: [0.52, 0.72, 0.83, 0.94, 1.0, 0.92, 0.70],
    buccal: [0.72, 0.91, 1.0, 0.98, 0.82, 0.60, 0.34],
    lingual: [0.72, 0.93, 1.0, 0.88, 0.58, 0.38, 0.24],
    square: 0.25,
    rises: &[
        ridge([-0.1, 0.0], [0.0, 0.0], 0.0, 0.9),
        ridge([-0.8, 0.0], [0.0, 0.05], -1.0, 0.9),
        ridge([0.85, 0.0], [0.0, 0.05], -1.3, 0.9),
    ],
    papilla: 0.40,
};
static UPPER_INCISOR: CrownForm = CrownForm {
    mesiodistal: [0.60, 0.76, 0.84, 0.92, 0.99, 1.0, 0.92],
    buccal: [0.78, 0.94, 1.0, 0.94, 0.76, 0.52, 0.26],
    lingual: [0.78, 0.95, 1.0, 0.72, 0.38, 0.24, 0.18],
    square: 0.5,
    rises: &[ridge([-0.78, 0.0], [0.74, 0.0], 0.0, 0.9)],
    papilla: 0.42,
};

/// Average size of a crown: height, mesiodistal, buccolingual, mm; and its form.
pub fn average(tooth: Tooth) -> ([f64; 3], &'static CrownForm) {
    match (tooth.arch(), tooth.place()) {
        (Arch::Maxilla, 1) => ([10.5, 8.5, 7.0], &UPPER_INCISOR),
        (Arch::Maxilla, 2) => ([9.0, 6.5, 6.0], &UPPER_INCISOR),
        (Arch::Maxilla, 3) => ([10.0, 7.5, 8.0], &UPPER_CANINE),
        (Arch::Maxilla, 4) => ([8.5, 7.0, 9.0], &UPPER_PREMOLAR),
        (Arch::Maxilla, 5) => ([8.5, 7.0, 9.0], &UPPER_PREMOLAR),
        (Arch::Maxilla, 6) => ([7.5, 10.0, 11.0], &UPPER_MOLAR),
        (Arch::Maxilla, 7) => ([7.0, 9.0, 11.0], &UPPER_MOLAR),
        (Arch::Maxilla, _) => ([6.5, 8.5, 10.0], &UPPER_MOLAR),
        (Arch::Mandible, 1) => ([9.0, 5.0, 6.0], &LOWER_INCISOR),
        (Arch::Mandible, 2) => ([9.5, 5.5, 6.5], &LOWER_INCISOR),
        (Arch::Mandible, 3) => ([11.0, 7.0, 7.5], &LOWER_CANINE),
        (Arch::Mandible, 4) => ([8.5, 7.0, 7.5], &LOWER_FIRST_PREMOLAR),
        (Arch::Mandible, 5) => ([8.0, 7.0, 8.0], &LOWER_SECOND_PREMOLAR),
        (Arch::Mandible, 6) => ([7.5, 11.0, 10.5], &LOWER_FIRST_MOLAR),
        (Arch::Mandible, 7) => ([7.0, 10.5, 10.0], &LOWER_SECOND_MOLAR),
        (Arch::Mandible, _) => ([7.0, 10.0, 9.5], &LOWER_SECOND_MOLAR),
    }
}

/// A rest seat: a spoon cut into the crown.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Seat {
    /// Centre in the crown's own axes, mm.
    pub centre: [f64; 3],
    /// Half extents along u, v, w, mm.
    pub half: [f64; 3],
}

impl Seat {
    /// Negative inside the room that the opposing crown leaves over the seat: wider and higher than the spoon.
    pub fn room(&self, [u, v, w]: [f64; 3]) -> f64 {
        let half =
            [self.half[0] + 0.9, self.half[1] + 0.9, if w > self.centre[2] { 1.3 } else { self.half[2] }];
        ellipsoid([u - self.centre[0], v - self.centre[1], w - self.centre[2]], half)
    }

    /// Negative inside the spoon.
    fn value(&self, u: f64, v: f64, w: f64) -> f64 {
        ellipsoid([u - self.centre[0], v - self.centre[1], w - self.centre[2]], self.half)
    }
}

/// Near-distance to an ellipsoid about the origin with the given half axes.
pub fn ellipsoid(p: [f64; 3], half: [f64; 3]) -> f64 {
    let k0 = (0..3).map(|i| (p[i] / half[i]) * (p[i] / half[i])).sum::<f64>().sqrt();
    let k1 = (0..3)
        .map(|i| {
            let q = p[i] / (half[i] * half[i]);
            q * q
        })
        .sum::<f64>()
        .sqrt();
    if k1 < 1e-9 { -half.iter().fold(f64::INFINITY, |m, h| m.min(*h)) } else { k0 * (k0 - 1.0) / k1 }
}

/// A crown in its place.
#[derive(Clone, Debug)]
pub struct CrownBody {
    /// Which tooth.
    pub tooth: Tooth,
    /// Its form.
    pub form: &'static CrownForm,
    /// Origin of its own axes: on its axis at the height of the margin.
    pub origin: Point,
    /// Its own axes: distal, buccal, occlusal.
    pub axes: [Vector; 3],
    /// Height from margin to the highest cusp, mm.
    pub height: f64,
    /// Half of the mesiodistal width, mm.
    pub half_md: f64,
    /// Half of the buccolingual width, mm.
    pub half_bl: f64,
    /// Rest seats cut into it.
    pub seats: Vec<Seat>,
    /// Heights of the mesial and the distal papilla, mm.
    pub papillae: [f64; 2],
}

impl CrownBody {
    /// Own coordinates of a position.
    pub fn local(&self, p: &Point) -> [f64; 3] {
        let d = p - self.origin;
        [d.dot(&self.axes[0]), d.dot(&self.axes[1]), d.dot(&self.axes[2])]
    }

    /// Position of own coordinates.
    pub fn world(&self, local: [f64; 3]) -> Point {
        self.origin + self.axes[0] * local[0] + self.axes[1] * local[1] + self.axes[2] * local[2]
    }

    /// Middle and radius of a sphere that holds the crown and its sleeve of gingiva.
    pub fn bound(&self) -> (Point, f64) {
        let half = 0.5 * self.height;
        let up = half + 2.5;
        let r = (self.half_md * self.half_md + self.half_bl * self.half_bl).sqrt();
        (self.origin + self.axes[2] * (half - 1.5), (r * r + up * up).sqrt() + 1.2)
    }

    /// Papilla height as a share of the form.
    pub fn full_papilla(&self) -> f64 {
        self.form.papilla * self.height
    }

    /// Distance from the wall, about; negative inside.
    fn wall(&self, u: f64, v: f64, w: f64) -> f64 {
        let weights = Weights::at(&KNOTS, w / self.height);
        let a = self.half_md * weights.of(&self.form.mesiodistal);
        let buccal = self.half_bl * weights.of(&self.form.buccal);
        let lingual = self.half_bl * weights.of(&self.form.lingual);
        let b = if v >= 0.0 { buccal } else { lingual };
        let (x, y) = (u / a, v / b);
        let (x2, y2) = (x * x, y * y);
        let round = (x2 + y2).sqrt();
        let square = (x2 * x2 + y2 * y2).sqrt().sqrt();
        let q = round + self.form.square * (square - round);
        // The scale passes smoothly from one side to the other: off the wall itself, where fillets lie, a step in it
        // would be a step in the field.
        let scale = lingual + (buccal - lingual) * step(-0.5, 0.5, v);
        (q - 1.0) * a.min(scale)
    }

    /// Height of the occlusal surface over (u, v), mm above the margin.
    fn top(&self, u: f64, v: f64) -> f64 {
        let mut top = f64::NEG_INFINITY;
        for rise in self.form.rises {
            let scale = |q: [f64; 2]| [q[0] * self.half_md, q[1] * self.half_bl];
            let (a, b) = (scale(rise.from), scale(rise.to));
            let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
            let length2 = dx * dx + dy * dy;
            let share = if length2 > 0.0 {
                (((u - a[0]) * dx + (v - a[1]) * dy) / length2).clamp(0.0, 1.0)
            } else {
                0.0
            };
            let (x, y) = (u - a[0] - share * dx, v - a[1] - share * dy);
            // A tip is rounded to a radius of about 0.9 mm over its slope.
            let d = (x * x + y * y + 0.36).sqrt() - 0.6;
            let z = self.height + rise.height - rise.slope * d;
            top = if top == f64::NEG_INFINITY { z } else { smax(top, z, 0.35) };
        }
        top
    }

    /// Field of the crown with its root stump, rest seats cut in; own coordinates.
    pub fn value(&self, [u, v, w]: [f64; 3]) -> f64 {
        let slope = 0.85;
        let mut f = smax(self.wall(u, v, w), (w - self.top(u, v)) * slope, 0.9);
        for seat in &self.seats {
            f = smax(f, -seat.value(u, v, w), 0.25);
        }
        f.max(-w - 0.7 * self.height)
    }

    /// Field of the sleeve of gingiva around it, scalloped from papilla to papilla.
    pub fn sleeve(&self, [u, v, w]: [f64; 3]) -> f64 {
        let (x, y) = (u / self.half_md, v / self.half_bl);
        let share = x * x / (x * x + y * y + 1e-6);
        let papilla = if u < 0.0 { self.papillae[0] } else { self.papillae[1] };
        let edge = papilla * share * share;
        let down = (edge - w).max(0.0);
        let thick = 0.25 + 0.9 * down / (down + 0.8) + 0.06 * down;
        let f = smax(self.wall(u, v, w.min(edge)) - thick, (w - edge - 0.15) * 0.95, 0.5);
        // Roots stand out on the buccal side only.
        let deep = 0.34 + 0.21 * y.clamp(-1.0, 1.0);
        smax(f, -w - deep * self.height, 2.0)
    }

    /// Where the crown's wall stands at angle `turn` (0 distal, a quarter buccal) and height `w`: own coordinates.
    pub fn on_wall(&self, turn: f64, w: f64) -> [f64; 3] {
        let (c, s) = (crate::space::cos(turn), crate::space::sin(turn));
        let (mut lo, mut hi) = (0.0, 2.0 * (self.half_md + self.half_bl));
        for _ in 0..60 {
            let r = 0.5 * (lo + hi);
            if self.value([r * c, r * s, w]) > 0.0 { hi = r } else { lo = r }
        }
        let r = 0.5 * (lo + hi);
        [r * c, r * s, w]
    }
}

/// Union of crowns and gingiva with a crease at the margin filled over `k` mm.
pub fn joined(crown: f64, gingiva: f64, k: f64) -> f64 {
    smin(crown, gingiva, k)
}
