//! Rest seats: spoons cut into marginal ridges, ledges over cingula, notches in incisal edges.

/// Where a rest seat is prepared.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SeatKind {
    /// A spoon over the mesial marginal ridge.
    Mesial,
    /// A spoon over the distal marginal ridge.
    Distal,
    /// A ledge over the cingulum.
    Cingulum,
    /// A notch in the mesial half of the incisal edge.
    IncisalMesial,
    /// A notch in the distal half of the incisal edge.
    IncisalDistal,
}

/// A rest seat: what is cut away is a rounded body with an inclined floor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Seat {
    /// Where it is.
    pub kind: SeatKind,
    /// Centre of the body in the crown's own axes, mm.
    pub centre: [f64; 3],
    /// Half extents along u, v, w, mm.
    pub half: [f64; 3],
    /// How far the floor rises a mm along u and along v: outward, so that it falls toward the axis of the tooth.
    pub tilt: [f64; 2],
    /// How far the floor bows down to both sides, per mm: over 0 on a cingulum.
    pub bend: f64,
    /// Where its depth is measured, u and v, mm: under the middle of the marginal ridge, the ledge or the edge.
    pub at: [f64; 2],
    /// Depth there along the axis of the tooth, mm.
    pub depth: f64,
}

impl Seat {
    /// Seat of `kind` in a crown with the given half widths, mm; `top` is the height of its surface over (u, v).
    pub(super) fn new(kind: SeatKind, half: [f64; 2], top: &dyn Fn(f64, f64) -> f64) -> Seat {
        let side = if matches!(kind, SeatKind::Mesial | SeatKind::IncisalMesial) { -1.0 } else { 1.0 };
        let mut seat = match kind {
            SeatKind::Mesial | SeatKind::Distal => Seat {
                kind,
                centre: [side * (half[0] - 0.9), 0.0, 0.0],
                half: [(0.75 * half[0]).clamp(2.5, 3.4), 2.0, 2.3],
                tilt: [0.16 * side, 0.0],
                bend: 0.0,
                at: [side * 0.83 * half[0], 0.0],
                depth: 1.25,
            },
            SeatKind::Cingulum => Seat {
                kind,
                centre: [0.0, -0.62 * half[1], 0.0],
                half: [(0.6 * half[0]).clamp(1.5, 2.2), 1.6, 2.6],
                tilt: [0.0, -0.3],
                bend: 0.14,
                at: [0.0, -0.62 * half[1]],
                depth: 1.5,
            },
            SeatKind::IncisalMesial | SeatKind::IncisalDistal => Seat {
                kind,
                centre: [side * 0.40 * half[0], 0.0, 0.0],
                half: [1.45, 9.0, 1.9],
                tilt: [0.15 * side, 0.0],
                bend: 0.0,
                at: [side * 0.40 * half[0], 0.0],
                depth: 1.3,
            },
        };
        let [u, v] = seat.at;
        let floor = top(u, v) - seat.depth;
        let (x, y) = ((u - seat.centre[0]) / seat.half[0], (v - seat.centre[1]) / seat.half[1]);
        let rise = seat.tilt[0] * (u - seat.centre[0]) + seat.tilt[1] * (v - seat.centre[1]);
        seat.centre[2] = floor - rise + seat.half[2] * (1.0 - x * x - y * y).max(0.0).sqrt();
        seat
    }

    fn own(&self, [u, v, w]: [f64; 3]) -> [f64; 3] {
        let (x, y) = (u - self.centre[0], v - self.centre[1]);
        let bow = (self.bend * x * x).min(1.0);
        [x, y, w - self.centre[2] - self.tilt[0] * x - self.tilt[1] * y + bow]
    }

    /// Negative inside the room that the opposing crown leaves over the seat: a little wider, 2 mm over the floor.
    pub fn room(&self, p: [f64; 3]) -> f64 {
        let [x, y, z] = self.own(p);
        let half = [self.half[0] + 0.6, self.half[1] + 0.6, 1.5];
        soft_ellipsoid([x, y, z + self.half[2] - 0.5], half)
    }

    /// Negative inside the body cut away.
    pub(super) fn value(&self, p: [f64; 3]) -> f64 {
        soft_ellipsoid(self.own(p), self.half)
    }
}

/// Near-distance to an ellipsoid that is no steeper at its centre, which for a seat lies in the air close to the crown.
fn soft_ellipsoid(p: [f64; 3], half: [f64; 3]) -> f64 {
    const SOFT: f64 = 0.2;
    let least = half[0].min(half[1]).min(half[2]);
    let (mut q, mut steep) = (0.0, SOFT / (least * least));
    for i in 0..3 {
        let x = p[i] / half[i];
        q += x * x;
        steep += x * x / (half[i] * half[i]);
    }
    (q.sqrt() - 1.0) / (steep / (q + SOFT)).sqrt()
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
