//! Quantity: the palatal way, where a major connector may cross a maxilla between the gingival margins (Glossary of
//! Prosthodontic Terms, key G9: major connector, palatal strap, palatal plate).
//!
//! Definition: in the section square to the midline, the palate runs from the palatal gingival margin of one side to that
//! of the other; over a span the ridge crest stands for the margin. A place is *free* where its distance over the surface
//! from every gingival margin is `border_mm` or more and its distance from the outline of every torus is `keep_mm` or
//! more. A station is *crossed* where one free stretch passes the midline. A *run* is a row of crossed stations; its width
//! is the length along the tissue at the midline from its first to its last station, what a strap across could be wide.
//! A *band* is the free stretch beside the margin of one side, up to a torus or to the midline.
//!
//! Frame and units: mm. Stations stand along the frame's anterior axis, from the front backwards.
//!
//! Method and its error: sections are cut exactly through the triangles, `STEP_MM` apart; the end of a run is told to
//! half a step, so that a run on a plane palate is within one step. Distances from margins and tori go over the triangles
//! by a front unfolded from one to the next (as in `keepout`), and are read at chords of 0.25 mm.
//!
//! Not covered: where the hard palate ends behind, which no scan marks; the bead line; phonetics.
//!
//! Checked by: a flat palate between two straight rows (runs and bands by construction), the same with a torus, with a
//! hole, and without a palate; the generator's maxilla with a torus.

mod limits;
mod section;

#[cfg(test)]
mod trials;

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::connector::MarginFrom;
use super::keepout::{spread, spread_from, to_outline};
use super::torus::Torus;
use crate::anatomy::Anatomy;
use crate::case::Tooth;
use crate::estimate::{Measured, NotMeasured};
use crate::locate::Surface;
use crate::mesh::{Topology, VertexId};
use crate::report::TorusState;
use crate::space::{Frame, Point};

/// Distance between stations, mm.
pub const STEP_MM: f64 = 0.5;

/// What the way is measured on.
#[derive(Clone, Copy, Debug)]
pub struct Cast<'a> {
    /// The surface.
    pub surface: &'a Surface,
    /// Its adjacency.
    pub topology: &'a Topology,
    /// What is where.
    pub anatomy: &'a Anatomy,
    /// Tori; possible ones are left out.
    pub tori: &'a [Torus],
    /// Teeth that the connector shall join; where empty, those beside the spans.
    pub abutments: &'a [Tooth],
    /// Distance that a border keeps from the gingival margins, mm.
    pub border_mm: f64,
    /// Distance that it keeps from a torus, mm.
    pub keep_mm: f64,
}

/// The palate in one section.
#[derive(Clone, Debug, PartialEq)]
pub struct Section {
    /// Length along the tissue from the right limit to the left one, mm.
    pub length_mm: f64,
    /// Where along it the midline is, mm from the right limit.
    pub midline_mm: f64,
    /// Place of the midline.
    pub midline: Point,
    /// Free stretches from right to left, mm from the right limit.
    pub free_mm: Vec<[f64; 2]>,
    /// What tori take, their keep-out left aside: which of the tori given, from and to, mm.
    pub tori: Vec<(usize, [f64; 2])>,
    /// The section from right to left, a chord apart, mm.
    pub line: Vec<Point>,
}

impl Section {
    /// The free stretch that passes the midline.
    pub fn across_mm(&self) -> Option<[f64; 2]> {
        self.free_mm.iter().copied().find(|f| f[0] <= self.midline_mm && self.midline_mm <= f[1])
    }

    /// Width of the widest free stretch on the right and on the left of the midline, mm; 0 where there is none. Slivers between a
    /// crest and the zone beside a margin are no band.
    pub fn bands_mm(&self) -> [f64; 2] {
        let m = self.midline_mm;
        let widest = |width: &dyn Fn(&[f64; 2]) -> f64| self.free_mm.iter().map(width).fold(0.0, f64::max);
        [widest(&|f| f[1].min(m) - f[0]), widest(&|f| f[1] - f[0].max(m))]
    }

    /// The place so far along the section, mm from the right limit.
    pub fn at(&self, along_mm: f64) -> Option<Point> {
        let mut run = 0.0;
        for w in self.line.windows(2) {
            let step = (w[1] - w[0]).norm();
            if run + step >= along_mm && step > 0.0 {
                return Some(w[0] + (w[1] - w[0]) * ((along_mm - run) / step).clamp(0.0, 1.0));
            }
            run += step;
        }
        self.line.last().copied()
    }
}

/// A station of the way.
#[derive(Clone, Debug, PartialEq)]
pub struct PalatalStation {
    /// Distance behind the foremost margin, mm.
    pub behind_mm: f64,
    /// Right and left limit, mm, and what stands for the margin there.
    pub limits: [(Point, MarginFrom); 2],
    /// Nearest tooth, right and left.
    pub teeth: [Tooth; 2],
    /// The palate there.
    pub section: Measured<Section>,
}

/// A row of stations that a strap can cross.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Run {
    /// First and last station.
    pub stations: (usize, usize),
    /// Length along the tissue at the midline, mm.
    pub width_mm: f64,
}

/// The way of a palatal connector from the front backwards.
#[derive(Clone, Debug, PartialEq)]
pub struct PalatalWay {
    /// Its stations.
    pub stations: Vec<PalatalStation>,
    /// Stations between the foremost and the hindmost place that the connector joins: first and last.
    pub joined: (usize, usize),
    /// Foremost and hindmost tooth that it joins.
    pub teeth: (Tooth, Tooth),
}

impl PalatalWay {
    /// Rows of crossed stations, from the front.
    pub fn runs(&self) -> Vec<Run> {
        let mut runs: Vec<Run> = Vec::new();
        let mut open: Option<Run> = None;
        for (i, s) in self.stations.iter().enumerate() {
            let crossed = s.section.as_ref().ok().filter(|c| c.across_mm().is_some());
            match (crossed, open.as_mut()) {
                (Some(here), Some(run)) => {
                    let before = self.stations[run.stations.1].section.as_ref();
                    run.width_mm += before.map_or(0.0, |b| (here.midline - b.midline).norm());
                    run.stations.1 = i;
                }
                (Some(_), None) => open = Some(Run { stations: (i, i), width_mm: 0.0 }),
                (None, Some(_)) => runs.extend(open.take()),
                (None, None) => {}
            }
        }
        runs.extend(open);
        runs
    }

    /// The part of a run between two stations; `None` where none of it lies there.
    pub fn within(&self, run: &Run, (from, to): (usize, usize)) -> Option<Run> {
        let stations = (run.stations.0.max(from), run.stations.1.min(to));
        if stations.0 > stations.1 {
            return None;
        }
        let middles: Vec<Point> = self.stations[stations.0..=stations.1]
            .iter()
            .filter_map(|s| s.section.as_ref().ok().map(|c| c.midline))
            .collect();
        Some(Run { stations, width_mm: middles.windows(2).map(|w| (w[1] - w[0]).norm()).sum() })
    }

    /// Borders of the free palate, right and left, from the front backwards.
    pub fn borders(&self) -> [Vec<Point>; 2] {
        let side = |left: bool| {
            let places = self.stations.iter().filter_map(|s| {
                let c = s.section.as_ref().ok()?;
                let at = if left { c.free_mm.last()?[1] } else { c.free_mm.first()?[0] };
                c.at(at)
            });
            places.collect()
        };
        [side(false), side(true)]
    }
}

/// Measures the way across the palate of a maxilla.
///
/// # Errors
/// Without a frame, or with fewer than three crowns or none with a margin: what is missing.
pub fn palatal_way(cast: &Cast<'_>) -> Measured<PalatalWay> {
    let known = cast.anatomy.frame.as_ref().map_err(Clone::clone)?;
    if !known.anterior_known {
        return Err(NotMeasured::new(
            "the front of the arch is not known",
            "[marks] midline, or a chart that the teeth can be told by",
        ));
    }
    let frame: Frame = known.frame;
    let mesh = cast.surface.mesh();
    if mesh.vertices().is_empty() {
        return Err(NotMeasured::only("the cast has no surface"));
    }
    let places = limits::places(cast.anatomy, &frame)?;
    let joined = limits::joined(cast, &frame)?;
    let margin_mm = from_margins(cast);
    let sure: Vec<&Torus> = cast.tori.iter().filter(|t| t.state != TorusState::Possible).collect();
    let torus_mm = spread(mesh, cast.topology, &sure, cast.keep_mm.max(0.01));
    let field = section::Field { cast, frame: &frame, margin_mm: &margin_mm, torus_mm: &torus_mm };
    let stations: Vec<PalatalStation> = places
        .par_iter()
        .map(|p| PalatalStation {
            behind_mm: places[0].anterior_mm - p.anterior_mm,
            limits: p.limits,
            teeth: p.teeth,
            section: field.section(p),
        })
        .collect();
    let nearest = |ahead: f64| {
        let far = |i: &usize| (places[*i].anterior_mm - ahead).abs();
        (0..places.len()).min_by(|a, b| far(a).total_cmp(&far(b))).unwrap_or(0)
    };
    Ok(PalatalWay {
        stations,
        joined: (nearest(joined.ahead_mm.0), nearest(joined.ahead_mm.1)),
        teeth: joined.teeth,
    })
}

/// Distance of vertices from the nearest gingival margin over the surface, mm, a little farther than the border; 0 on crowns.
fn from_margins(cast: &Cast<'_>) -> BTreeMap<VertexId, f64> {
    let mesh = cast.surface.mesh();
    let mut start: BTreeMap<VertexId, f64> = BTreeMap::new();
    for crown in &cast.anatomy.crowns {
        for &v in &crown.vertices {
            start.insert(v, 0.0);
        }
    }
    for crown in &cast.anatomy.crowns {
        for &v in &crown.vertices {
            for w in cast.topology.neighbours(mesh, v) {
                if start.get(&w).is_none_or(|d| *d > 0.0) {
                    let far = to_outline(&crown.margin, &mesh.vertex(w));
                    let far = if far.is_finite() { far } else { (mesh.vertex(w) - mesh.vertex(v)).norm() };
                    let old = start.entry(w).or_insert(far);
                    *old = old.min(far);
                }
            }
        }
    }
    spread_from(mesh, cast.topology, start, cast.border_mm)
}
