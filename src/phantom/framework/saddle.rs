//! Parts that lie on tissue alone: the mesh over a ridge, its foot, and the palatal strap.

use super::super::field::{Weights, smax, step, through};
use super::body::{Held, Part, Probe, TOUCH_MM};
use super::parts::{BoxOf, Site, cut, plain, slab};
use super::record::{Kind, PartTruth};
use crate::space::{Point, Vector, hypot};

impl<'a> Site<'a> {
    /// A palatal strap.
    pub fn strap(&'a self, strap: &Strap) -> Part<'a> {
        let Strap { right, left, half_mm, thickness_mm, gap_mm, gap_from_s } = *strap;
        let way = (left - right).normalize();
        let across = Vector::new(-way.y, way.x, 0.0);
        let long = (left - right).norm();
        let half_at = move |share: f64| half_mm[0] + (half_mm[1] - half_mm[0]) * share;
        let most = half_mm[0].max(half_mm[1]);
        let field = move |q: &Probe<'_>| {
            let place = q.place();
            let d = q.p - right;
            // Clear of the margins, and up to the mesh where teeth are missing.
            let end =
                -BORDER_MM + (BORDER_MM - 2.4) * step(0.0, 2.5, (place.s - gap_from_s) * gap_from_s.signum());
            let gap = self.gap_mm(gap_mm, &q.p);
            let half = half_at((d.dot(&way) / long).clamp(0.0, 1.0));
            let sides = (d.dot(&across).abs() - half).max(place.t - end);
            cut(&[slab(q.blocked(), gap, thickness_mm), sides])
        };
        let mut box_of = BoxOf::new(0.8);
        let middle = nalgebra::center(&right, &left);
        let at = |p: &Point| Point::new(p.x, p.y, self.ground.height_mm(p.x, p.y).unwrap_or(p.z));
        for i in -12..=12 {
            for j in -2..=2 {
                let reach = 0.5 * (left - right).norm() + 4.5;
                let p = middle + way * (reach * f64::from(i) / 12.0) + across * (most * f64::from(j) / 2.0);
                let p = at(&p);
                box_of.hold(&p);
                box_of.hold(&(p + Vector::z() * (thickness_mm + 1.2)));
            }
        }
        // Beside the torus and the raphe.
        const STATED: f64 = 0.22;
        let stated = at(&(right + way * (long * STATED)));
        let torus = self
            .cast
            .rises
            .iter()
            .any(|r| r.torus && (r.centre - right).dot(&across).abs() < most + r.half[0]);
        let truth = PartTruth {
            thickness_mm,
            width_mm: Some(2.0 * half_at(STATED)),
            length_mm: Some(long),
            torus_gap_mm: torus.then_some(self.torus_mm),
            ..plain(Kind::Strap, gap_mm, self.on_cast(&stated))
        };
        let axis = (0..=60).map(|i| at(&(right + way * (long * f64::from(i) / 60.0)))).collect();
        Part { axis, ..box_of.part(truth, field) }
    }

    /// A mesh over a ridge.
    pub fn mesh(&'a self, mesh: &RidgeMesh) -> Part<'a> {
        let RidgeMesh { from_s, to_s, half_mm, lift_mm, thickness_mm, holes } = *mesh;
        let levels = &self.cast.levels;
        let (places, halves) = self.halves(mesh);
        let field = move |q: &Probe<'_>| {
            let place = q.place();
            let weights = Weights::at(&levels.s, place.s);
            let t = place.t - weights.of(&levels.shift);
            let half = through(&places, &halves[usize::from(t > 0.0)], place.s);
            let sides = (t.abs() - half).max(from_s - place.s).max(place.s - to_s);
            let cap = q.p.z - weights.of(&levels.top) - 2.6;
            let f = cut(&[slab(q.blocked(), lift_mm, thickness_mm), sides, cap]);
            let long = holes[1] - holes[0];
            if long > 3.0 { smax(f, -hole(place.s - holes[0], t, long, half_mm), 0.2) } else { f }
        };
        let mut box_of = BoxOf::new(1.0);
        for i in 0..=20 {
            let s = from_s + (to_s - from_s) * f64::from(i) / 20.0;
            for t in [-half_mm, half_mm] {
                let p = self.crest(s, t);
                box_of.hold(&p);
                box_of.hold(&Point::new(p.x, p.y, self.at(&levels.top, s) + 2.6));
            }
        }
        let at = self.crest(0.5 * (from_s + to_s), 0.5 * half_mm - 1.7);
        let truth = PartTruth {
            thickness_mm,
            width_mm: Some(2.0 * half_mm),
            length_mm: Some(to_s - from_s),
            ..plain(Kind::Mesh, lift_mm, self.on_cast(&at))
        };
        box_of.part(truth, field)
    }

    /// Half the width of a mesh along the arch, to lingual and to buccal: it ends where the ridge falls steeply, since its
    /// edge would be a fin there.
    fn halves(&self, mesh: &RidgeMesh) -> (Vec<f64>, [Vec<f64>; 2]) {
        const STEPS: usize = 40;
        const FALLS_MM: f64 = 1.7;
        const EVEN: usize = 3;
        let places: Vec<f64> =
            (0..=STEPS).map(|i| mesh.from_s + (mesh.to_s - mesh.from_s) * i as f64 / STEPS as f64).collect();
        let least = |side: f64| {
            let of = |s: &f64| {
                let top = self.crest(*s, 0.0).z;
                let falls = |k: &i32| self.crest(*s, side * 0.1 * f64::from(*k)).z < top - FALLS_MM;
                (10..34).find(falls).map_or(mesh.half_mm, |k| 0.1 * f64::from(k))
            };
            let all: Vec<f64> = places.iter().map(of).collect();
            let around = |i: usize| &all[i.saturating_sub(EVEN)..(i + EVEN + 1).min(STEPS + 1)];
            (0..=STEPS).map(|i| around(i).iter().copied().fold(mesh.half_mm, f64::min)).collect()
        };
        let halves = [least(-1.0), least(1.0)];
        (places, halves)
    }

    /// A foot of 2 by 2 mm under a mesh.
    pub fn stop(&'a self, s: f64, high_mm: f64) -> Part<'a> {
        const HALF_MM: f64 = 1.0;
        let at = self.crest(s, 0.0);
        let (along, out) = self.cast.form.axes(s);
        let field = move |q: &Probe<'_>| {
            let d = q.p - at;
            let sides = (d.dot(&along).abs() - HALF_MM).max(d.dot(&out).abs() - HALF_MM);
            slab(q.blocked(), TOUCH_MM, high_mm).max(sides)
        };
        let mut box_of = BoxOf::new(0.6);
        for (x, y) in [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)] {
            box_of.hold(&(at + along * x + out * y + Vector::z() * high_mm));
            box_of.hold(&(at + along * x + out * y - Vector::z()));
        }
        let truth = PartTruth {
            width_mm: Some(2.0 * HALF_MM),
            length_mm: Some(2.0 * HALF_MM),
            thickness_mm: high_mm,
            ..plain(Kind::TissueStop, TOUCH_MM, self.on_cast(&at))
        };
        let mut part = box_of.part(truth, field);
        part.held = Held::Touching;
        part
    }
}

/// Distance from the edge of the nearest hole of a mesh, negative inside: holes of 1.6 mm, about 2.9 mm apart.
fn hole(along: f64, across: f64, length: f64, half: f64) -> f64 {
    const RADIUS_MM: f64 = 0.8;
    const APART_MM: f64 = 2.9;
    let nearest = |x: f64, long: f64| {
        let n = ((long - 1.2) / APART_MM).floor().max(1.0);
        let pitch = long / n;
        let k = (x / pitch - 0.5).round().clamp(0.0, n - 1.0);
        x - (k + 0.5) * pitch
    };
    hypot(nearest(along, length), nearest(across + half, 2.0 * half)) - RADIUS_MM
}

/// Distance of a strap's ends from the arch curve, mm: more than 6 mm along the palate from the margins.
pub(super) const BORDER_MM: f64 = 9.6;

/// See [`Site::strap`].
#[derive(Clone, Copy)]
pub(super) struct Strap {
    /// Ends of its middle line, in plan.
    pub right: Point,
    pub left: Point,
    /// Half its width from front to back at the right and the left end, mm.
    pub half_mm: [f64; 2],
    pub thickness_mm: f64,
    pub gap_mm: f64,
    /// From where along the arch teeth are missing and it reaches up to a mesh, mm.
    pub gap_from_s: f64,
}

/// See [`Site::mesh`].
#[derive(Clone, Copy)]
pub(super) struct RidgeMesh {
    pub from_s: f64,
    pub to_s: f64,
    pub half_mm: f64,
    pub lift_mm: f64,
    pub thickness_mm: f64,
    /// From where to where there are holes, mm along the arch; an empty stretch for none.
    pub holes: [f64; 2],
}
