//! Front teeth: labial and lingual face and incisal edge, cut out of the wall.

use crate::phantom::field::{Weights, bell, smax, step};

/// Faces of a kind of front tooth. Profiles at the heights of the wall's knots, shares of the half buccolingual width.
#[derive(Clone, Copy, Debug)]
pub(super) struct Face {
    /// Labial profile over the middle of the crown.
    pub labial: [f64; 7],
    /// How far the labial face falls back to its mesial and distal border, mm.
    pub curve: f64,
    /// How far it falls back on both sides of a labial ridge, mm.
    pub ridge: f64,
    /// Depth of the two depressions between the labial lobes, mm.
    pub lobes: f64,
    /// Lingual profile over the fossa; lingual is negative.
    pub lingual: [f64; 7],
    /// Height of the lingual marginal ridges over the fossa, mm.
    pub margin: f64,
    /// Height of a lingual ridge in the middle, mm.
    pub rib: f64,
    /// Where the tip or the middle of the edge stands, share of the half mesiodistal width.
    pub tip: f64,
    /// How far the edge falls from the tip to its mesial and distal end, mm.
    pub shoulders: [f64; 2],
    /// Rounding of the mesial and distal incisal angle, mm.
    pub angles: [f64; 2],
}

/// Faces of one crown.
#[derive(Clone, Debug)]
pub(super) struct Faces {
    face: Face,
    height: f64,
    half: [f64; 2],
    mamelons: f64,
}

impl Faces {
    /// Faces over half widths `half`, mm; `variety` changes depths and angles.
    pub fn new(face: Face, height: f64, half: [f64; 2], variety: [f64; 6]) -> Faces {
        let mut face = face;
        let z = variety;
        face.lobes *= 1.0 + 0.4 * z[0];
        face.margin *= 1.0 + 0.25 * z[1];
        face.rib *= 1.0 + 0.3 * z[2];
        face.tip += 0.04 * z[3];
        face.angles = [face.angles[0] * (1.0 + 0.15 * z[4]), face.angles[1] * (1.0 + 0.15 * z[3])];
        face.shoulders = [face.shoulders[0] * (1.0 + 0.12 * z[5]), face.shoulders[1] * (1.0 - 0.12 * z[5])];
        let mut faces = Faces { face, height, half, mamelons: 0.0 };
        if face.ridge == 0.0 {
            faces.mamelons = 0.04 * (1.0 + 0.9 * z[5]).max(0.0);
        }
        let most =
            (-40..=40).map(|i| faces.edge(0.02 * f64::from(i) * half[0])).fold(f64::NEG_INFINITY, f64::max);
        faces.height += height - most;
        faces
    }

    /// Height of the incisal edge, mm.
    pub fn edge(&self, u: f64) -> f64 {
        // Beyond the crown the edge runs on level, which bounds its steepness.
        let x = (u / self.half[0]).clamp(-1.25, 1.25);
        let from = (x - self.face.tip) * self.half[0];
        let side = usize::from(from > 0.0);
        let fall = self.face.shoulders[side] / self.half[0] * ((from * from + 0.64).sqrt() - 0.8);
        let round = ((x.abs() - 0.4) / 0.6).max(0.0);
        let mamelons = self.mamelons * (bell(x / 0.3) + bell((x.abs() - 0.6) / 0.3));
        let angle = 1.9 * self.face.angles[usize::from(x > 0.0)] * round * round / (0.9 + round);
        self.height + mamelons - fall - angle
    }

    /// The wall `f` cut by the faces and the edge.
    pub fn cut(&self, f: f64, p: [f64; 3], weights: &Weights) -> f64 {
        smax(self.sides(f, p, weights), (p[2] - self.edge(p[0])) * 0.82, 0.5)
    }

    /// The wall `f` cut by the faces alone.
    pub fn sides(&self, f: f64, [u, v, w]: [f64; 3], weights: &Weights) -> f64 {
        let high = w / self.height;
        let x = (u / self.half[0]).clamp(-1.4, 1.4);
        let face = &self.face;
        let upper = step(0.25, 0.6, high);
        let x2 = x * x;
        let tent = (x2 + 0.03).sqrt() - 0.17;
        let labial = self.half[1] * weights.of(&face.labial)
            - upper * (face.curve * x2 + face.ridge * tent + face.lobes * bell((x.abs() - 0.34) / 0.26));
        let at = 0.60 + 0.22 * high.clamp(0.0, 1.0);
        let lingual = self.half[1] * weights.of(&face.lingual)
            - step(0.18, 0.4, high) * (face.margin * bell((x.abs() - at) / 0.42) + face.rib * bell(x / 0.4));
        let f = smax(f, (v - labial) * 0.92, 0.7);
        smax(f, (lingual - v) * 0.85, 0.65)
    }
}
