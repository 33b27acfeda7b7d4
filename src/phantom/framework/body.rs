//! The body of a framework: the union of its parts as a field, negative inside.

use super::super::arch::{ArchForm, Place};
use super::super::contour::Grid;
use super::super::field::smin;
use super::ground::Ground;
use super::record::PartTruth;
use crate::space::{Point, Vector};
use std::cell::OnceCell;

/// Width of the fillet where parts meet, mm.
const JOIN_MM: f64 = 0.3;
/// Farther than this from its box a part is not asked, mm.
const AWAY_MM: f64 = 0.8;
/// Least gap of rigid parts, mm.
const CLEAR_MM: f64 = 0.04;
/// Gap of what touches the cast, mm.
pub(super) const TOUCH_MM: f64 = 0.01;
/// Least gap to the opposing arch, mm.
const BITE_MM: f64 = 0.2;
/// Value where no part is near, mm.
const FAR_MM: f64 = 6.0;

/// A place, and what is known of it once asked for.
pub(super) struct Probe<'a> {
    /// Own position, mm.
    pub p: Point,
    ground: &'a Ground,
    form: &'a ArchForm,
    tissue: OnceCell<f64>,
    blocked: OnceCell<f64>,
    place: OnceCell<Place>,
}

impl<'a> Probe<'a> {
    fn new(p: &Point, ground: &'a Ground, form: &'a ArchForm) -> Probe<'a> {
        let (tissue, blocked, place) = (OnceCell::new(), OnceCell::new(), OnceCell::new());
        Probe { p: *p, ground, form, tissue, blocked, place }
    }

    /// Distance from the cast, mm.
    pub fn tissue(&self) -> f64 {
        *self.tissue.get_or_init(|| self.ground.tissue_mm(&self.p))
    }

    /// Distance from the blocked-out cast, mm.
    pub fn blocked(&self) -> f64 {
        *self.blocked.get_or_init(|| self.ground.blocked_mm(&self.p))
    }

    /// Arch coordinates.
    pub fn place(&self) -> Place {
        *self.place.get_or_init(|| self.form.place(self.p.x, self.p.y))
    }
}

/// What keeps a part off the cast.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Held {
    /// It lies in no undercut, and off the cast.
    Rigid,
    /// It touches the cast at most.
    Touching,
    /// Nothing: it is wrong.
    Free,
}

/// A part.
pub(super) struct Part<'a> {
    /// What is true of it.
    pub truth: PartTruth,
    /// Box that holds it, mm.
    pub low: Point,
    /// See `low`.
    pub high: Point,
    /// What keeps it off the cast.
    pub held: Held,
    /// The line along which its sections are stated, own positions; none for most.
    pub axis: Vec<Point>,
    /// Its field.
    pub field: Box<dyn Fn(&Probe<'_>) -> f64 + Send + Sync + 'a>,
}

impl Part<'_> {
    fn away(&self, p: &Point) -> f64 {
        let out = Vector::from_fn(|a, _| (self.low[a] - p[a]).max(p[a] - self.high[a]).max(0.0));
        out.norm()
    }
}

/// The whole of a framework.
pub(super) struct Body<'a> {
    /// What it stands on.
    pub ground: &'a Ground,
    /// The arch in plan.
    pub form: &'a ArchForm,
    /// Its parts.
    pub parts: Vec<Part<'a>>,
    /// Whether it keeps out of the opposing arch.
    pub opposed: bool,
}

impl Body<'_> {
    /// Negative inside, own position.
    pub fn value(&self, p: &Point) -> f64 {
        let probe = Probe::new(p, self.ground, self.form);
        let [mut rigid, mut touching, mut free] = [FAR_MM; 3];
        for part in &self.parts {
            let away = part.away(p);
            let f = if away > AWAY_MM { away } else { (part.field)(&probe) };
            let slot = match part.held {
                Held::Rigid => &mut rigid,
                Held::Touching => &mut touching,
                Held::Free => &mut free,
            };
            *slot = smin(*slot, f, JOIN_MM);
        }
        if rigid < 1.0 {
            rigid = rigid.max(CLEAR_MM - probe.blocked()).max(CLEAR_MM - probe.tissue());
        }
        let held = smin(rigid, touching, JOIN_MM);
        let held = if held < 1.0 { held.max(TOUCH_MM - probe.tissue()) } else { held };
        let held =
            if self.opposed && held < 0.8 { held.max(BITE_MM - self.ground.opposing_mm(p)) } else { held };
        held.min(free)
    }

    /// Whether a place belongs to what nothing keeps off the cast.
    pub fn is_free(&self, p: &Point) -> bool {
        let free = self.parts.iter().filter(|part| part.held == Held::Free);
        let near = |part: &Part<'_>| {
            part.away(p) <= 0.0 && (part.field)(&Probe::new(p, self.ground, self.form)) < 0.1
        };
        free.into_iter().any(near)
    }

    /// From a place of the cast along a direction: the way to the metal and the way through it, mm.
    pub fn along(&self, at: &Point, way: &Vector) -> Option<[f64; 2]> {
        const STEP_MM: f64 = 0.02;
        let f = |k: f64| self.value(&(at + way * k));
        let change = |from: f64, into: bool| {
            let steps = (1..300).map(|i| from + STEP_MM * f64::from(i));
            let far = steps.take_while(|k| *k < 6.0).find(|k| (f(*k) < 0.0) == into)?;
            let (mut lo, mut hi) = (far - STEP_MM, far);
            for _ in 0..30 {
                let mid = 0.5 * (lo + hi);
                if (f(mid) < 0.0) == into { hi = mid } else { lo = mid }
            }
            Some(hi)
        };
        let entry = if f(0.0) < 0.0 { 0.0 } else { change(0.0, true)? };
        Some([entry, change(entry, false)? - entry])
    }

    /// Outward normal at a place of the surface.
    pub fn normal(&self, p: &Point) -> Option<Vector> {
        const H_MM: f64 = 0.01;
        let slope = |axis: Vector| self.value(&(p + axis * H_MM)) - self.value(&(p - axis * H_MM));
        Vector::new(slope(Vector::x()), slope(Vector::y()), slope(Vector::z())).try_normalize(1e-9)
    }

    /// How near all parts but one come to a place, by their fields, mm.
    pub fn apart_mm(&self, p: &Point, but: &Part<'_>) -> f64 {
        let probe = Probe::new(p, self.ground, self.form);
        let others = self.parts.iter().filter(|part| !std::ptr::eq(*part, but) && part.away(p) <= AWAY_MM);
        others.map(|part| (part.field)(&probe)).fold(FAR_MM, f64::min)
    }

    /// The box to contour.
    pub fn grid(&self, cell_mm: f64) -> Grid {
        let mut low = Point::from(Vector::repeat(f64::INFINITY));
        let mut high = -low;
        for part in &self.parts {
            low = low.inf(&part.low);
            high = high.sup(&part.high);
        }
        let room = Vector::repeat(4.0 * cell_mm);
        Grid { low: low - room, high: high + room, cell_mm }
    }
}
