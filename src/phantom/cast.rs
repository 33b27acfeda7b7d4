//! One arch as a signed distance field: crowns in sleeves of gingiva on an alveolar process with sulci, ridges, pads, tori.
//!
//! Inside, "up" is away from the tissue: a maxilla is turned over by mirroring z, so both arches share one description.

use super::arch::ArchForm;
use super::base::Base;
use super::crown::{CrownBody, ellipsoid, joined};
use super::field::{Waves, bell, smax, smin, step};
use super::tissue::{Levels, Palate, Tissue};
use crate::case::Arch;
use crate::space::{Point, Vector};
use std::sync::Arc;

/// A rounded rise on the tissue.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rise {
    /// Centre, own axes, mm.
    pub centre: Point,
    /// Its three axes.
    pub axes: [Vector; 3],
    /// Half extents along them, mm.
    pub half: [f64; 3],
    /// Width of the blend into the tissue, mm.
    pub blend: f64,
    /// Whether it is a torus.
    pub torus: bool,
}

impl Rise {
    fn value(&self, p: &Point) -> f64 {
        let d = p - self.centre;
        ellipsoid([d.dot(&self.axes[0]), d.dot(&self.axes[1]), d.dot(&self.axes[2])], self.half)
    }
}

/// Room over the middle of a rest seat in occlusion, mm: what is taught is 1.0 to 1.5 (section 5 of the trade facts).
const SEAT_ROOM_MM: f64 = 2.1;

/// Where the scan ends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// Beyond the buccal wall of the process, mm.
    pub outer: f64,
    /// Beyond the lingual wall (mandible), mm.
    pub inner: f64,
    /// Right (negative) and left end along the arch, mm.
    pub ends: [f64; 2],
    /// y behind which it ends, mm.
    pub back_y: f64,
}

/// One arch.
#[derive(Clone, Debug)]
pub struct Cast {
    /// Which arch.
    pub arch: Arch,
    /// Its form in plan.
    pub form: ArchForm,
    /// Its levels.
    pub levels: Levels,
    /// Its crowns.
    pub crowns: Vec<CrownBody>,
    /// Pads, tuberosities, tori.
    pub rises: Vec<Rise>,
    /// The palate of a maxilla.
    pub palate: Option<Palate>,
    /// Where the scan ends.
    pub limits: Limits,
    /// Unevenness of the gingiva and its height, mm.
    pub waves: Waves,
    /// Finer unevenness, a fifth as high.
    pub ripples: Waves,
    /// See `waves`.
    pub uneven: f64,
    /// Width of the fillet at the margins, mm.
    pub crease: f64,
    /// What this arch was ground in against, and the gap left, mm.
    pub ground: Option<(Arc<Cast>, f64)>,
    /// The trimmed base, where there is one.
    pub base: Option<Base>,
    /// How far a maxilla stands over its occlusion with the mandible, mm.
    pub opened_mm: f64,
}

impl Cast {
    /// Own position of a file position, and back: a maxilla is mirrored in z, and stands higher where the bite is open.
    pub fn own(&self, p: &Point) -> Point {
        match self.arch {
            Arch::Mandible => *p,
            Arch::Maxilla => Point::new(p.x, p.y, self.opened_mm - p.z),
        }
    }

    fn tissue(&self) -> Tissue<'_> {
        Tissue {
            form: &self.form,
            levels: &self.levels,
            palate: self.palate.as_ref(),
            waves: &self.waves,
            ripples: &self.ripples,
            uneven: self.uneven,
        }
    }

    /// Field of the crowns alone, own position. Far from every crown it is a lower bound.
    pub fn crown_value(&self, p: &Point) -> f64 {
        let mut f: f64 = 6.0;
        for crown in &self.crowns {
            let (middle, radius) = crown.bound();
            let apart2 = (p - middle).norm_squared();
            if apart2 > (radius + 6.0) * (radius + 6.0) {
                continue;
            }
            let far = apart2.sqrt() - radius;
            if far > 2.5 {
                f = f.min(far);
            } else {
                // Neighbours grow together under their contact, as a scan shows them, and part above it.
                let local = crown.local(p);
                let web = 1.8 - 1.7 * step(0.40, 0.72, local[2] / crown.height);
                f = smin(f, crown.value(local), web);
            }
        }
        f
    }

    /// Field of the tissue, with or without its tori, own position.
    pub fn tissue_value(&self, p: &Point, tori: bool) -> f64 {
        let mut f = self.tissue().value(p);
        for crown in &self.crowns {
            let (middle, radius) = crown.bound();
            if (p - middle).norm_squared() < (radius + 2.0) * (radius + 2.0) {
                f = smin(f, crown.sleeve(crown.local(p)), 2.0);
            }
        }
        for rise in self.rises.iter().filter(|r| tori || !r.torus) {
            let reach = rise.half.iter().fold(0.0f64, |m, h| m.max(*h)) + rise.blend + 2.0;
            if (p - rise.centre).norm_squared() < reach * reach {
                f = smin(f, rise.value(p), rise.blend);
            }
        }
        f
    }

    /// Field of the arch at a file position, with or without its tori.
    pub fn value_with(&self, p: &Point, tori: bool) -> f64 {
        let own = self.own(p);
        let f = self.open_value(p, tori);
        // It was ground in when the bite was closed.
        let closed = Point::new(p.x, p.y, p.z - self.opened_mm);
        let f = match &self.ground {
            Some((against, gap)) if closed.z < against.highest() + 2.5 => {
                // Over a seat the upper crown gives way, and a seat of its own is sunk until it has room.
                let room = against.seat_room(&closed).max(self.seat_room(&own));
                smax(f, gap + room - against.open_value(&closed, true), 0.12)
            }
            _ => f,
        };
        match &self.base {
            Some(base) => smax(f, base.value(&own), 0.5),
            None => f,
        }
    }

    /// Room that the opposing arch keeps over a position beyond contact, because a rest seat lies there, mm.
    fn seat_room(&self, p: &Point) -> f64 {
        let mut room = 0.0f64;
        for crown in self.crowns.iter().filter(|c| !c.seats.is_empty()) {
            if (p - crown.origin).norm_squared() < 240.0 {
                for seat in &crown.seats {
                    let floor = [seat.at[0], seat.at[1], seat.centre[2] - seat.half[2]];
                    let far = (p - crown.world(floor)).norm();
                    room = room.max(SEAT_ROOM_MM * bell(far / 5.4));
                }
            }
        }
        room
    }

    /// Field of the arch before it is ground in and without its base, with or without its tori, file position.
    fn open_value(&self, p: &Point, tori: bool) -> f64 {
        let own = self.own(p);
        joined(self.crown_value(&own), self.tissue_value(&own, tori), self.crease)
    }

    /// Height above which no crown of the arch reaches, own z, mm.
    pub fn highest(&self) -> f64 {
        self.crowns
            .iter()
            .map(|c| c.origin.z + c.axes[2].z * c.height + 1.0)
            .fold(f64::NEG_INFINITY, f64::max)
    }

    /// Field of the arch at a file position: negative inside, about the distance in mm.
    pub fn value(&self, p: &Point) -> f64 {
        self.value_with(p, true)
    }

    /// Negative where the scan has surface, positive beyond its border; file position. A trimmed cast has no border.
    pub fn border(&self, p: &Point) -> f64 {
        if self.base.is_some() {
            return -1.0;
        }
        let own = self.own(p);
        let c = self.tissue().section(&own);
        // Impressions and scans end unevenly.
        let wave = 0.8 * self.waves.at(0.7 * own.x, 0.7 * own.y, 0.0)
            + 0.45 * self.ripples.at(0.8 * own.x, 0.8 * own.y, 0.0);
        let outer = c.x - c.half - self.limits.outer - wave;
        // The ends stand square to the midline, a little bowed.
        let ends = self.limits.back_y - own.y + wave - 0.004 * own.x * own.x;
        let inner = match &self.palate {
            Some(palate) if !palate.open => palate.end_y - own.y + wave - 0.014 * own.x * own.x,
            _ => c.from - self.limits.inner - wave,
        };
        smax(smax(outer, ends, 3.0), inner, 3.0)
    }

    /// Whether the surface passes within `off_mm` of a file position: the sign of the field changes there along its
    /// gradient. A distance, where the field's value is only about one.
    pub fn passes_within(&self, p: &Point, off_mm: f64) -> bool {
        let aside = self.gradient(p).try_normalize(1e-9).map(|n| n * off_mm);
        aside.is_some_and(|n| self.value(&(p - n)) <= 0.0 && self.value(&(p + n)) >= 0.0)
    }

    /// Gradient of the field by central differences, per mm.
    pub fn gradient(&self, p: &Point) -> Vector {
        gradient(&|q| self.value(q), p)
    }
}

/// Gradient of a field by central differences over 0.002 mm.
pub fn gradient(f: &impl Fn(&Point) -> f64, p: &Point) -> Vector {
    const H: f64 = 1e-3;
    let along = |e: Vector| (f(&(p + e * H)) - f(&(p - e * H))) / (2.0 * H);
    Vector::new(along(Vector::x()), along(Vector::y()), along(Vector::z()))
}
