//! One arch as a signed distance field: crowns in sleeves of gingiva on an alveolar process with sulci, ridges, pads, tori.
//!
//! Inside, "up" is away from the tissue: a maxilla is turned over by mirroring z, so both arches share one description.

use super::arch::{ArchForm, Place};
use super::crown::{CrownBody, ellipsoid, joined};
use super::field::{Waves, Weights, bell, smax, smin, step};
use crate::case::Arch;
use crate::space::{Point, Vector};
use std::sync::Arc;

/// Levels of the alveolar process along the arch, each given at `s`.
#[derive(Clone, Debug, Default)]
pub struct Levels {
    /// Where the levels are given, ascending, mm along the arch.
    pub s: Vec<f64>,
    /// Height of the crest, mm.
    pub top: Vec<f64>,
    /// Half width just under the crest, mm.
    pub half: Vec<f64>,
    /// Rounding of the crest, mm.
    pub round: Vec<f64>,
    /// How far the crest stands buccal of the arch curve, mm.
    pub shift: Vec<f64>,
    /// How far the process moves buccally a mm of depth: over 0 its lingual wall is undercut.
    pub lean: Vec<f64>,
    /// Height of the vestibular sulcus, mm.
    pub vestibule: Vec<f64>,
    /// Height of the floor of the mouth; unused in a maxilla, mm.
    pub floor: Vec<f64>,
}

/// Form of a palate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Palate {
    /// Level from which the depth of the vault counts, own z, mm.
    pub level: f64,
    /// Depth of the vault, mm.
    pub depth: f64,
    /// Width over which the side of the vault goes down, mm.
    pub reach: f64,
    /// Height of the rugae, mm.
    pub rugae: f64,
    /// y behind which the cast ends, mm.
    pub end_y: f64,
}

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

/// Where the scan ends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// Beyond the buccal wall of the process, mm.
    pub outer: f64,
    /// Beyond the lingual wall (mandible), mm.
    pub inner: f64,
    /// Right (negative) and left end along the arch, mm.
    pub ends: [f64; 2],
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
    /// See `waves`.
    pub uneven: f64,
    /// Width of the fillet at the margins, mm.
    pub crease: f64,
    /// What this arch was ground in against, and the gap left, mm.
    pub ground: Option<(Arc<Cast>, f64)>,
}

struct Section {
    x: f64,
    half: f64,
    top: f64,
    vestibule: f64,
    floor: f64,
    round: f64,
    down: f64,
    place: Place,
}

impl Cast {
    /// Own position of a file position, and back: a maxilla is mirrored in z.
    pub fn own(&self, p: &Point) -> Point {
        match self.arch {
            Arch::Mandible => *p,
            Arch::Maxilla => Point::new(p.x, p.y, -p.z),
        }
    }

    fn section(&self, p: &Point) -> Section {
        let place = self.form.place(p.x, p.y);
        let l = &self.levels;
        let weights = Weights::at(&l.s, place.s);
        let at = |v: &[f64]| weights.of(v);
        let top = at(&l.top);
        let down = top - p.z;
        let d = down.clamp(0.0, 14.0);
        let x = place.t - at(&l.shift) - at(&l.lean) * d;
        Section {
            x,
            half: at(&l.half) + 0.10 * d,
            top,
            vestibule: at(&l.vestibule),
            floor: at(&l.floor),
            round: at(&l.round),
            down,
            place,
        }
    }

    fn process(&self, p: &Point) -> f64 {
        let c = self.section(p);
        let process = smax((c.x.abs() - c.half) * 0.98, -c.down, c.round);
        let out = (c.x - c.half - 2.5).max(0.0);
        let outer = c.vestibule + 0.11 * out * out;
        let inner = match &self.palate {
            None => {
                let from = -c.x - c.half - 1.0;
                let back = (from - 7.0).max(0.0);
                c.floor + 0.5 * bell((from - 7.5) / 5.0) + 0.06 * back * back.min(4.0)
            }
            Some(palate) => self.vault(palate, &c, p),
        };
        let side = step(-1.5, 1.5, c.x);
        let level = inner + (outer - inner) * side;
        let floor = (p.z - level) * 0.9;
        smin(process, floor, 3.2) + self.uneven * self.waves.at(p.x, p.y, p.z)
    }

    fn vault(&self, palate: &Palate, c: &Section, p: &Point) -> f64 {
        let from = -c.x - c.half + 1.0;
        let down = step(-0.2, 1.0, from / palate.reach);
        let side_level = c.top - 2.2;
        // Deep inside, arch coordinates lose their meaning: there the level is that of the vault alone.
        let mut level = side_level + (palate.level - palate.depth - side_level) * down;
        // Rugae: bowed ridges on both sides behind the incisors, running out toward the midline and backwards.
        let side = p.x.abs();
        let bow = -p.y - 7.0 - 0.25 * side + 0.6 * crate::space::sin(side * 0.8);
        let strength = bell((side - 6.0) / 5.5) * bell((-p.y - 14.0) / 9.5);
        level += palate.rugae * strength * (0.5 + 0.5 * crate::space::cos(bow * 1.75));
        // Raphe and incisive papilla.
        level += 0.35 * bell(p.x / 1.6) * step(-8.0, -14.0, p.y);
        let papilla = bell(p.x / 2.0) * bell((p.y + 6.5) / 3.6);
        level + 1.2 * papilla
    }

    /// Field of the crowns alone, own position. Far from every crown it is a lower bound.
    pub fn crown_value(&self, p: &Point) -> f64 {
        let mut f: f64 = 6.0;
        for crown in &self.crowns {
            let (middle, radius) = crown.bound();
            let far = (p - middle).norm() - radius;
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
        let mut f = self.process(p);
        for crown in &self.crowns {
            let (middle, radius) = crown.bound();
            if (p - middle).norm() - radius < 2.0 {
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
        let f = joined(self.crown_value(&own), self.tissue_value(&own, tori), self.crease);
        match &self.ground {
            Some((against, gap)) if p.z < against.highest() + 2.5 => against
                .seat_rooms(*p)
                .fold(smax(f, gap - against.value(p), 0.12), |f, room| smax(f, -room, 0.5)),
            _ => f,
        }
    }

    /// Fields of the rooms over the rest seats near a position: what the opposing arch keeps clear of.
    fn seat_rooms(&self, p: Point) -> impl Iterator<Item = f64> {
        self.crowns
            .iter()
            .filter(move |c| !c.seats.is_empty() && (p - c.origin).norm_squared() < 240.0)
            .flat_map(move |c| c.seats.iter().map(move |seat| seat.room(c.local(&p))))
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

    /// Negative where the scan has surface, positive beyond its border; file position.
    pub fn border(&self, p: &Point) -> f64 {
        let own = self.own(p);
        let c = self.section(&own);
        let wave = 0.6 * self.waves.at(0.7 * own.x, 0.7 * own.y, 0.0);
        let outer = c.x - c.half - self.limits.outer - wave;
        // A palate ends by its own border: the ends of the arch hold only outside of it.
        let release = if self.palate.is_some() { 3.0 * (-c.x - c.half - 3.0).max(0.0) } else { 0.0 };
        let ends = (c.place.s - self.limits.ends[1]).max(self.limits.ends[0] - c.place.s) - release;
        let inner = match &self.palate {
            None => -c.x - c.half - self.limits.inner - wave,
            Some(palate) => palate.end_y - own.y + wave,
        };
        smax(smax(outer, ends, 3.0), inner, 3.0)
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
