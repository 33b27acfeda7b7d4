//! Occlusal surfaces: crests from cusp tip to cusp tip and inward, fissures between them.

use crate::phantom::field::{smax, smin};

/// A crest of the occlusal surface. Ends: shares of the half widths (distal, buccal), height against the highest cusp, mm.
#[derive(Clone, Copy, Debug)]
pub(super) struct Crest {
    pub from: [f64; 3],
    pub to: [f64; 3],
    /// Slope of its sides.
    pub slope: f64,
}

/// A fissure along the bottom of a valley. Ends: shares of the half widths.
#[derive(Clone, Copy, Debug)]
pub(super) struct Fissure {
    pub from: [f64; 2],
    pub to: [f64; 2],
    /// Shares of the full depth at both ends.
    pub depth: [f64; 2],
}

/// Occlusal surface of a kind of crown.
#[derive(Clone, Copy, Debug)]
pub(super) struct Table {
    pub crests: &'static [Crest],
    pub fissures: &'static [Fissure],
    /// Depth of the deepest place without its fissure, mm.
    pub floor: f64,
}

/// A crest with the slope that most of them have.
pub(super) const fn crest(from: [f64; 3], to: [f64; 3]) -> Crest {
    Crest { from, to, slope: 0.78 }
}

/// A crest that runs from a tip down to the middle of the table.
pub(super) const fn inner(from: [f64; 3], to: [f64; 3]) -> Crest {
    Crest { from, to, slope: 0.92 }
}

/// A crest that runs low along the border of the table.
pub(super) const fn marginal(from: [f64; 3], to: [f64; 3]) -> Crest {
    Crest { from, to, slope: 0.9 }
}

/// A crest of a small table with deep fossae.
pub(super) const fn steep(from: [f64; 3], to: [f64; 3]) -> Crest {
    Crest { from, to, slope: 1.08 }
}

/// A fissure of full depth.
pub(super) const fn fissure(from: [f64; 2], to: [f64; 2]) -> Fissure {
    Fissure { from, to, depth: [1.0, 1.0] }
}

/// A fissure that runs out toward `to`.
pub(super) const fn out(from: [f64; 2], to: [f64; 2]) -> Fissure {
    Fissure { from, to, depth: [1.0, 0.15] }
}

/// A shallow fissure that runs out toward `to`.
pub(super) const fn faint(from: [f64; 2], to: [f64; 2]) -> Fissure {
    Fissure { from, to, depth: [0.5, 0.1] }
}

/// Depth of a fissure under its valley, mm.
const DEPTH: f64 = 0.26;
/// Half width of a fissure, mm.
const WIDTH: f64 = 0.52;
/// Rounding of crests, mm.
const TIP: f64 = 0.5;
/// Width over which valleys between crests are rounded, mm of height.
const VALLEY: f64 = 0.28;

#[derive(Clone, Copy, Debug)]
struct Line {
    from: [f64; 2],
    way: [f64; 2],
    /// 1 / length^2, 0 for a point.
    per: f64,
    height: f64,
    rise: f64,
    slope: f64,
}

impl Line {
    /// Share along the line and squared distance from it.
    fn at(&self, u: f64, v: f64) -> (f64, f64) {
        let (x, y) = (u - self.from[0], v - self.from[1]);
        let t = ((x * self.way[0] + y * self.way[1]) * self.per).clamp(0.0, 1.0);
        let (x, y) = (x - t * self.way[0], y - t * self.way[1]);
        (t, x * x + y * y)
    }
}

/// The occlusal surface of one crown as a height over its own plane.
#[derive(Clone, Debug)]
pub(super) struct Relief {
    crests: Vec<Line>,
    fissures: Vec<Line>,
    floor: f64,
    worn: f64,
}

impl Relief {
    /// Occlusal surface whose highest place lies at `height`, over half widths `half`, mm. `variety` moves tips, raises
    /// some against others and wears them.
    pub fn new(table: &Table, height: f64, half: [f64; 2], variety: [f64; 6]) -> Relief {
        let z = variety;
        let moved = |[x, y]: [f64; 2]| {
            [half[0] * (x + 0.035 * (z[0] + z[1] * y)), half[1] * (y + 0.03 * (z[2] - z[1] * x))]
        };
        let line = |from: [f64; 3], to: [f64; 3], slope: f64| {
            let raised = |p: [f64; 3]| height + p[2] + 0.16 * (z[3] * p[0] + z[4] * p[0] * p[1]);
            let (a, b) = (moved([from[0], from[1]]), moved([to[0], to[1]]));
            let way = [b[0] - a[0], b[1] - a[1]];
            let length2 = way[0] * way[0] + way[1] * way[1];
            let per = if length2 > 0.0 { 1.0 / length2 } else { 0.0 };
            Line { from: a, way, per, height: raised(from), rise: raised(to) - raised(from), slope }
        };
        let mut relief = Relief {
            crests: table.crests.iter().map(|c| line(c.from, c.to, c.slope)).collect(),
            fissures: table
                .fissures
                .iter()
                .map(|f| {
                    let flat = line([f.from[0], f.from[1], 0.0], [f.to[0], f.to[1], 0.0], 0.0);
                    Line { height: f.depth[0], rise: f.depth[1] - f.depth[0], ..flat }
                })
                .collect(),
            floor: height - table.floor,
            worn: height - 0.1 - 0.12 * (1.0 + z[5]).max(0.0),
        };
        let over = relief.highest(half) - height;
        for line in &mut relief.crests {
            line.height -= over;
        }
        relief.floor -= over;
        relief.worn -= over;
        relief
    }

    fn highest(&self, half: [f64; 2]) -> f64 {
        let mut most = f64::NEG_INFINITY;
        for i in -18..=18 {
            for j in -18..=18 {
                most = most.max(self.top(0.05 * f64::from(i) * half[0], 0.05 * f64::from(j) * half[1]));
            }
        }
        most
    }

    /// A height under which the surface never lies, mm.
    pub fn least(&self) -> f64 {
        self.floor - DEPTH
    }

    /// Height of the surface over (u, v), mm.
    pub fn top(&self, u: f64, v: f64) -> f64 {
        let mut top = self.floor;
        for line in &self.crests {
            let (t, d2) = line.at(u, v);
            let z = line.height + line.rise * (t * t * (3.0 - 2.0 * t))
                - line.slope * ((d2 + TIP * TIP).sqrt() - TIP);
            top = smax(top, z, VALLEY);
        }
        let mut left = 1.0;
        for line in &self.fissures {
            let (t, d2) = line.at(u, v);
            if d2 < WIDTH * WIDTH {
                let q = 1.0 - d2 / (WIDTH * WIDTH);
                left *= 1.0 - (line.height + line.rise * t) * q * q;
            }
        }
        // Tips are worn to small facets.
        smin(top, self.worn, 0.5) - DEPTH * (1.0 - left)
    }
}
