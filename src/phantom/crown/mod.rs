//! Crowns sized by the averages of section 12.1 of the trade facts (WHEEL, POC): a wall, and over it the cusps, crests and
//! fissures of a back tooth or the faces and the edge of a front tooth.
//!
//! Own axes of a crown: u distal, v buccal, w occlusal, origin on its axis at the height of the gingival margin.

mod face;
mod front;
mod molars;
mod premolars;
mod relief;
mod seat;
mod wall;

pub use seat::{Seat, SeatKind, ellipsoid};

use super::field::{bell, smax, smin};
use crate::case::{Arch, Tooth};
use crate::space::{Point, Vector};
use face::{Face, Faces};
use relief::{Relief, Table};
use wall::{Outline, Wall};

/// Form of a kind of crown.
#[derive(Debug)]
pub struct CrownForm {
    outline: Outline,
    surface: Surface,
    /// Height of the papillae as a share of the crown's height.
    papilla: f64,
}

#[derive(Debug)]
enum Surface {
    Back(Table),
    Front(Face),
}

/// Average size of a crown: height, mesiodistal, buccolingual, mm; and its form.
pub fn average(tooth: Tooth) -> ([f64; 3], &'static CrownForm) {
    use {front::*, molars::*, premolars::*};
    match (tooth.arch(), tooth.place()) {
        (Arch::Maxilla, 1) => ([10.5, 8.5, 7.0], &UPPER_CENTRAL),
        (Arch::Maxilla, 2) => ([9.0, 6.5, 6.0], &UPPER_LATERAL),
        (Arch::Maxilla, 3) => ([10.0, 7.5, 8.0], &UPPER_CANINE),
        (Arch::Maxilla, 4) => ([8.5, 7.0, 9.0], &UPPER_FIRST_PREMOLAR),
        (Arch::Maxilla, 5) => ([8.5, 7.0, 9.0], &UPPER_SECOND_PREMOLAR),
        (Arch::Maxilla, 6) => ([7.5, 10.0, 11.0], &UPPER_FIRST_MOLAR),
        (Arch::Maxilla, 7) => ([7.0, 9.0, 11.0], &UPPER_SECOND_MOLAR),
        (Arch::Maxilla, _) => ([6.5, 8.5, 10.0], &UPPER_THIRD_MOLAR),
        (Arch::Mandible, 1) => ([9.0, 5.0, 6.0], &LOWER_CENTRAL),
        (Arch::Mandible, 2) => ([9.5, 5.5, 6.5], &LOWER_LATERAL),
        (Arch::Mandible, 3) => ([11.0, 7.0, 7.5], &LOWER_CANINE),
        (Arch::Mandible, 4) => ([8.5, 7.0, 7.5], &LOWER_FIRST_PREMOLAR),
        (Arch::Mandible, 5) => ([8.0, 7.0, 8.0], &LOWER_SECOND_PREMOLAR),
        (Arch::Mandible, 6) => ([7.5, 11.0, 10.5], &LOWER_FIRST_MOLAR),
        (Arch::Mandible, 7) => ([7.0, 10.5, 10.0], &LOWER_SECOND_MOLAR),
        (Arch::Mandible, _) => ([7.0, 10.0, 9.5], &LOWER_THIRD_MOLAR),
    }
}

#[derive(Clone, Debug)]
enum Top {
    Back(Relief),
    Front(Faces),
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
    wall: Wall,
    top: Top,
}

/// Numbers of the variety of a crown; all 0 for the average form, about -2 to 2 otherwise.
pub type CrownVariety = [f64; 8];

impl CrownBody {
    /// A tooth's crown of the given height, mesiodistal and buccolingual width, mm, without seats or papillae.
    pub fn new(
        tooth: Tooth,
        (origin, axes): (Point, [Vector; 3]),
        size: [f64; 3],
        variety: CrownVariety,
    ) -> CrownBody {
        let (_, form) = average(tooth);
        let z = variety.map(|z| if z.is_finite() { z.clamp(-2.0, 2.0) } else { 0.0 });
        let (height, half) = (size[0], [0.5 * size[1], 0.5 * size[2]]);
        let rest = [z[2], z[3], z[4], z[5], z[6], z[7]];
        CrownBody {
            tooth,
            form,
            origin,
            axes,
            height,
            half_md: half[0],
            half_bl: half[1],
            seats: Vec::new(),
            papillae: [0.0; 2],
            wall: Wall::new(form.outline, size, [z[0], z[1]]),
            top: match &form.surface {
                Surface::Back(table) => Top::Back(Relief::new(table, height, half, rest)),
                Surface::Front(face) => Top::Front(Faces::new(*face, height, half, rest)),
            },
        }
    }

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

    /// Field of the crown with its root stump, no seats cut in; own coordinates.
    fn sound(&self, p: [f64; 3]) -> f64 {
        const FILLET: f64 = 1.0;
        const GENTLE: f64 = 0.75;
        let [u, v, w] = p;
        let weights = self.wall.weights(w);
        let wall = self.wall.value(p, &weights);
        let f = match &self.top {
            // Far under the occlusal surface the wall alone counts.
            Top::Back(relief) if (w - relief.least()) * GENTLE < wall - FILLET => wall,
            Top::Back(relief) => smax(wall, (w - relief.top(u, v)) * GENTLE, FILLET),
            Top::Front(faces) => faces.cut(wall, p, &weights),
        };
        f.max(-w - 0.7 * self.height)
    }

    /// Field of the crown with its root stump, rest seats cut in; own coordinates.
    pub fn value(&self, p: [f64; 3]) -> f64 {
        let mut f = self.sound(p);
        for seat in &self.seats {
            f = smax(f, -seat.value(p), 0.3);
        }
        f
    }

    /// Cuts a rest seat of a kind into the crown.
    pub fn prepare(&mut self, kind: SeatKind) {
        let seat = Seat::new(kind, [self.half_md, self.half_bl], &|u, v| self.surface(u, v, false));
        self.seats.push(seat);
    }

    /// Height of the crown's surface over (u, v), with or without its rest seats, mm.
    fn surface(&self, u: f64, v: f64, cut: bool) -> f64 {
        let (mut lo, mut hi) = (0.0, self.height + 1.0);
        for _ in 0..50 {
            let w = 0.5 * (lo + hi);
            let f = if cut { self.value([u, v, w]) } else { self.sound([u, v, w]) };
            if f > 0.0 { hi = w } else { lo = w }
        }
        lo
    }

    /// Place on the floor of a rest seat where its depth is measured, own coordinates, and that depth along w, mm.
    pub fn seat_floor(&self, seat: &Seat) -> ([f64; 3], f64) {
        let [u, v] = seat.at;
        let floor = self.surface(u, v, true);
        ([u, v, floor], self.surface(u, v, false) - floor)
    }

    /// Field of the sleeve of gingiva around it, scalloped from papilla to papilla.
    pub fn sleeve(&self, [u, v, w]: [f64; 3]) -> f64 {
        let (x, y) = (u / self.half_md, v / self.half_bl);
        let share = (1.3 * x * x / (x * x + y * y + 0.3)).min(1.0);
        let papilla = if u < 0.0 { self.papillae[0] } else { self.papillae[1] };
        let edge = papilla * share * share;
        let down = (edge - w).max(0.0);
        // A collar thin at its edge, a shallow groove where free gingiva ends and attached gingiva begins.
        let thick = 0.13 + 0.95 * down / (down + 1.3) + 0.06 * down - 0.05 * bell((down - 1.5) / 0.9);
        // Between teeth it fills the embrasure.
        let thick = thick * (1.0 + 0.6 * share);
        let low = w.min(edge);
        let weights = self.wall.weights(low);
        let wall = self.wall.outline(u, v, &weights);
        let wall = match &self.top {
            Top::Back(_) => wall,
            Top::Front(faces) => faces.sides(wall, [u, v, low], &weights),
        };
        let f = smax(wall - thick, (w - edge - 0.1) * 0.95, 0.35);
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

#[cfg(test)]
mod tests;
