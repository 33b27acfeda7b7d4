//! Walls of crowns: outlines through knots of height, with developmental depressions running down them.

use crate::phantom::field::{Weights, bell, step};

/// Heights, as shares of the crown's height, at which the outlines are given.
pub(super) const KNOTS: [f64; 7] = [-0.5, 0.0, 0.2, 0.4, 0.65, 0.85, 1.0];

/// Outline of a kind of crown: half widths at `KNOTS` as shares of the greatest toward each side.
#[derive(Clone, Copy, Debug)]
pub(super) struct Outline {
    pub mesial: [f64; 7],
    pub distal: [f64; 7],
    pub buccal: [f64; 7],
    pub lingual: [f64; 7],
    /// 0 for an ellipse, 1 for a rounded square.
    pub square: f64,
    /// How far a section moves mesially a mm of buccal way: over 0 for the rhomb of the upper molars.
    pub shear: f64,
    /// How much wider the crown is buccally than lingually.
    pub taper: f64,
    /// Depressions of the wall.
    pub flutes: &'static [Flute],
}

/// A developmental depression that runs down a wall.
#[derive(Clone, Copy, Debug)]
pub(super) struct Flute {
    /// 1 on the buccal wall, -1 on the lingual wall.
    pub side: f64,
    /// Where it runs, share of the half mesiodistal width.
    pub at: f64,
    /// Depth at the occlusal end, mm; under 0 for a lobe that stands out.
    pub depth: f64,
    /// Half width, mm.
    pub width: f64,
    /// Where it begins and where it is at full depth, shares of the height.
    pub from: [f64; 2],
}

/// A depression of the buccal or lingual wall.
pub(super) const fn flute(side: f64, at: f64, depth: f64, width: f64, from: [f64; 2]) -> Flute {
    Flute { side, at, depth, width, from }
}

/// The wall of one crown.
#[derive(Clone, Debug)]
pub(super) struct Wall {
    outline: Outline,
    height: f64,
    half_md: f64,
    half_bl: f64,
    flutes: Vec<Flute>,
}

/// A place against the outline at its height.
struct Share {
    x: f64,
    y: f64,
    a: f64,
    b: f64,
}

impl Wall {
    /// Wall of the given height and widths, mm; `variety` changes its roundness and the depth of its depressions.
    pub fn new(outline: Outline, [height, md, bl]: [f64; 3], variety: [f64; 2]) -> Wall {
        let mut wall =
            Wall { outline, height, half_md: 0.5 * md, half_bl: 0.5 * bl, flutes: outline.flutes.to_vec() };
        wall.outline.square = (outline.square + 0.08 * variety[0]).clamp(0.0, 0.9);
        for flute in &mut wall.flutes {
            flute.depth *= 1.0 + 0.3 * variety[1];
        }
        for _ in 0..2 {
            let [wide, deep] = wall.extent();
            wall.half_md *= md / wide;
            wall.half_bl *= bl / deep;
        }
        wall
    }

    /// Weights of the knots at the height w, mm.
    pub fn weights(&self, w: f64) -> Weights {
        Weights::at(&KNOTS, w / self.height)
    }

    fn share(&self, u: f64, v: f64, weights: &Weights) -> Share {
        let o = &self.outline;
        let u = u + o.shear * v;
        let b = self.half_bl * weights.of(if v >= 0.0 { &o.buccal } else { &o.lingual });
        let y = v / b;
        let a = self.half_md
            * weights.of(if u >= 0.0 { &o.distal } else { &o.mesial })
            * (1.0 + o.taper * y / (1.0 + 0.5 * y * y));
        Share { x: u / a, y, a, b }
    }

    fn rounded(&self, s: &Share) -> f64 {
        let (x2, y2) = (s.x * s.x, s.y * s.y);
        let round = (x2 + y2).sqrt();
        let square = (x2 * x2 + y2 * y2).sqrt().sqrt();
        round + self.outline.square * (square - round)
    }

    /// Distance from the outline without its depressions, about; negative inside.
    pub fn outline(&self, u: f64, v: f64, weights: &Weights) -> f64 {
        const SOFT: f64 = 0.2;
        let s = self.share(u, v, weights);
        let (x, y) = (s.x / s.a, s.y / s.b);
        // First order of the distance; the soft term keeps it continuous across the axis.
        let o = &self.outline;
        let a = 0.5 * self.half_md * (weights.of(&o.mesial) + weights.of(&o.distal));
        let b = 0.5 * self.half_bl * (weights.of(&o.buccal) + weights.of(&o.lingual));
        let middle = 0.5 / (a * a) + 0.5 / (b * b);
        let steep = (x * x + y * y + SOFT * middle) / (s.x * s.x + s.y * s.y + SOFT);
        (self.rounded(&s) - 1.0) / steep.sqrt()
    }

    /// Distance from the wall, about; negative inside.
    pub fn value(&self, [u, v, w]: [f64; 3], weights: &Weights) -> f64 {
        let mut f = self.outline(u, v, weights);
        let high = w / self.height;
        for flute in &self.flutes {
            let across = (u - flute.at * self.half_md) / flute.width;
            if high > flute.from[0] && across.abs() < 1.0 {
                let side = step(0.1, 0.6, flute.side * v / self.half_bl);
                f += flute.depth * bell(across) * side * step(flute.from[0], flute.from[1], high);
            }
        }
        f
    }

    /// Mesiodistal and buccolingual extent of the outline, mm.
    fn extent(&self) -> [f64; 2] {
        const AROUND: usize = 48;
        let (mut low, mut high) = ([0.0f64; 2], [0.0f64; 2]);
        for w in (1..=20).map(|k| 0.05 * f64::from(k) * self.height) {
            let weights = self.weights(w);
            for i in 0..AROUND {
                let turn = 2.0 * std::f64::consts::PI * i as f64 / AROUND as f64;
                let way = [crate::space::cos(turn), crate::space::sin(turn)];
                let (mut lo, mut hi) = (0.0, 1.5 * (self.half_md + self.half_bl));
                for _ in 0..14 {
                    let r = 0.5 * (lo + hi);
                    let s = self.share(r * way[0], r * way[1], &weights);
                    if self.rounded(&s) > 1.0 { hi = r } else { lo = r }
                }
                for k in 0..2 {
                    low[k] = low[k].min(lo * way[k]);
                    high[k] = high[k].max(lo * way[k]);
                }
            }
        }
        [high[0] - low[0], high[1] - low[1]]
    }
}
