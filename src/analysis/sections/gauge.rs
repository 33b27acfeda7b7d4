//! The section through a gauge point with the rod that stands free of what overhangs it.

use rayon::prelude::*;

use super::Axes;
use crate::analysis::survey::Put;
use crate::case::{Surface as ToothSurface, Tooth};
use crate::facts::Facts;
use crate::mesh::Mesh;
use crate::report::{AbutmentShown, Cut, GaugeShown, Mark2, Span2};
use crate::space::{Direction, Point, Vector, across};
use crate::units;

/// Sections through gauge points at most.
const GAUGES: usize = 24;

/// The section through the first place of each gauge on the buccal and lingual surfaces of the abutments.
pub fn of_gauges(facts: &Facts<'_>, abutments: &[AbutmentShown]) -> Vec<Cut> {
    let Ok(path) = &facts.path else { return Vec::new() };
    let wanted: Vec<(Tooth, ToothSurface, &GaugeShown)> = abutments
        .iter()
        .flat_map(|a| a.surfaces.iter().map(move |s| (a.tooth, s)))
        .filter(|(_, s)| matches!(s.surface, ToothSurface::Buccal | ToothSurface::Lingual))
        .flat_map(|(tooth, s)| first_places(&s.gauges).into_iter().map(move |g| (tooth, s.surface, g)))
        .take(GAUGES)
        .collect();
    if wanted.is_empty() {
        return Vec::new();
    }
    let (surface, cast) = (&facts.restored.surface, facts.surveyor.tilted(&path.withdrawal));
    wanted
        .par_iter()
        .filter_map(|(tooth, of, gauge)| {
            let asked = Point::from(Vector::from(gauge.at_mm?));
            let near = surface.closest(&asked)?;
            let normal = surface.mesh().face_normal(near.face).unwrap_or_default();
            let depth = cast.depth_at(&near.at, near.face);
            let put = Put { asked, at: near.at, face: near.face, normal, depth };
            let name = format!("gauge-{tooth}-{}-{}", of.word(), units::digits(gauge.gauge_mm, 2));
            let words = format!("{} gauge on {tooth} {}: ", units::mm(gauge.gauge_mm), of.word());
            let mut cut = of_gauge(
                surface.mesh(),
                &path.withdrawal,
                &put,
                &Gauge { name, below_mm: gauge.below_survey_line_mm },
            )?;
            cut.caption.insert_str(0, &words);
            Some(cut)
        })
        .collect()
}

/// The first place of each gauge that is reached.
fn first_places(gauges: &[GaugeShown]) -> Vec<&GaugeShown> {
    let mut all: Vec<&GaugeShown> = Vec::new();
    for g in gauges.iter().filter(|g| g.reached && g.at_mm.is_some()) {
        if !all.iter().any(|known| (known.gauge_mm - g.gauge_mm).abs() < 1e-9) {
            all.push(g);
        }
    }
    all
}

/// What is written into the section of a gauge reading.
pub struct Gauge {
    /// Name of its file, without ending.
    pub name: String,
    /// Height of the survey line above the point, mm.
    pub below_mm: Option<f64>,
}

/// Distance beside the rod at which a height is drawn, mm.
const BESIDE_ROD_MM: f64 = 1.5;

/// The upright section through a gauge reading and the place where the rod stands free.
pub(in crate::analysis) fn of_gauge(mesh: &Mesh, up: &Direction, put: &Put, gauge: &Gauge) -> Option<Cut> {
    let aside = put.depth.free_at.map_or(put.normal, |rod| rod - put.at);
    // On a level place any upright plane shows the point.
    let axes = Axes::new(put.at, aside.cross(up), up).or_else(|| Axes::new(put.at, across(up).0, up))?;
    let rod = put.depth.free_at.as_ref().map(|r| axes.flat(r));
    let mut measures = Vec::new();
    let mut marks = vec![Mark2 { at: [0.0, 0.0], says: "gauge point".into() }];
    match rod {
        Some(at) => {
            // The figure stands with the point: the line itself is shorter than its letters.
            marks[0].says = format!("gauge point: depth {}", units::mm(put.depth.depth_mm));
            measures.push(Span2 { from: [0.0, 0.0], to: at, says: String::new() });
            if let Some(height) = gauge.below_mm {
                let outward = if at[0] < 0.0 { -BESIDE_ROD_MM } else { BESIDE_ROD_MM };
                let x = at[0] + outward;
                let says = format!("{} below the survey line", units::mm(height));
                measures.push(Span2 { from: [x, at[1]], to: [x, at[1] + height], says });
                marks.push(Mark2 { at: [at[0], at[1] + height], says: "survey line".into() });
            }
        }
        None => marks[0].says = "gauge point: free, depth 0".into(),
    }
    let hole = if put.depth.closed_hole { "; beside a hole in the scan that was closed" } else { "" };
    let [x, y, z] = units::json_direction(up);
    Some(Cut {
        name: gauge.name.clone(),
        caption: format!(
            "Upright section through the gauge point {}; the rod stands along the path of withdrawal ({}, {}, {}), which \
             is up in the picture{hole}",
            units::place_words(&put.at),
            units::digits(x, 3),
            units::digits(y, 3),
            units::digits(z, 3)
        ),
        right: String::new(),
        left: String::new(),
        tissue: axes.lines(mesh),
        opposing: Vec::new(),
        fine: Vec::new(),
        bodies: Vec::new(),
        measures,
        rod: Some(rod.unwrap_or([0.0, 0.0])),
        marks,
    })
}
