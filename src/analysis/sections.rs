//! Plane sections that are drawn beside the figures: one a span, one for a gauge reading.

use super::survey::Put;
use crate::anatomy::Span;
use crate::case::Arch;
use crate::facts::Facts;
use crate::locate::cut::cut;
use crate::measure::clearance::Antagonist;
use crate::mesh::Mesh;
use crate::report::{Cut, Flat, Mark2, Span2, SpanShown};
use crate::space::{Direction, Plane, Point, Vector, across, direction};
use crate::units;

/// Axes of a section through a place.
struct Axes {
    plane: Plane,
    right: Vector,
    up: Vector,
}

impl Axes {
    /// Square to `along` as far as `up` allows. `None` where `along` runs with `up`.
    fn new(point: Point, along: Vector, up: &Direction) -> Option<Axes> {
        let up = up.into_inner();
        let normal = direction(along - up * along.dot(&up))?;
        Some(Axes { plane: Plane { point, normal }, right: up.cross(&normal), up })
    }

    fn flat(&self, p: &Point) -> Flat {
        let v = p - self.plane.point;
        [units::json(v.dot(&self.right)), units::json(v.dot(&self.up))]
    }

    fn lines(&self, mesh: &Mesh) -> Vec<Vec<Flat>> {
        cut(mesh, &self.plane).iter().map(|line| line.iter().map(|p| self.flat(p)).collect()).collect()
    }
}

/// One section a span: through its site for the attachment, or else through the place of its least clearance.
pub fn of_spans(facts: &Facts<'_>, shown: &[SpanShown]) -> Vec<Cut> {
    shown.iter().filter_map(|s| of_span(facts, s)).collect()
}

fn of_span(facts: &Facts<'_>, shown: &SpanShown) -> Option<Cut> {
    let (other, up) = (facts.opposing.as_ref()?, facts.opening.as_ref().ok()?);
    let span: &Span = facts.restored.anatomy.spans.iter().find(|s| s.teeth == shown.teeth)?;
    let crest = span.crest.as_ref().ok()?;
    let place =
        shown.site.as_ref().map(|s| s.at_mm).or_else(|| shown.least.as_ref().and_then(|l| l.at_mm))?;
    let at = Point::from(Vector::from(place));
    let axes = Axes::new(at, along_crest(crest, &at)?, up)?;
    let clear = Antagonist::new(&other.surface, up).at(&at);
    let mut measures = Vec::new();
    if let (Some(mm), Some(hit)) = (clear.along_mm, clear.along_at) {
        let says = match &shown.site {
            Some(site) => {
                format!("{} here; room for a rigid body {}", units::mm(mm), units::mm(site.room_mm))
            }
            None => units::mm(mm),
        };
        measures.push(Span2 { from: [0.0, 0.0], to: axes.flat(&hit), says });
    }
    let (left, right) = sides(facts, &axes, &at);
    let front = span.front.map_or_else(|| "span".to_owned(), |t| t.to_string());
    let what = if shown.site.is_some() { "site for the attachment" } else { "least clearance" };
    Some(Cut {
        name: format!("behind-{front}"),
        caption: format!(
            "Section square to the crest behind {front}, at the {what} {}",
            super::shown::place_words(&place)
        ),
        right,
        left,
        tissue: axes.lines(facts.restored.mesh()),
        opposing: axes.lines(other.mesh()),
        measures,
        rod: None,
        marks: Vec::new(),
    })
}

/// Direction of the crest beside a place.
fn along_crest(crest: &[Point], at: &Point) -> Option<Vector> {
    let mut nearest: Option<(usize, f64)> = None;
    for (i, p) in crest.iter().enumerate() {
        let far = (p - at).norm();
        if nearest.is_none_or(|(_, best)| far < best) {
            nearest = Some((i, far));
        }
    }
    let (i, _) = nearest?;
    let (a, b) = (i.saturating_sub(3), (i + 3).min(crest.len() - 1));
    Some(crest[b] - crest[a])
}

/// Words for the left and the right end: buccal is away from the middle of the arch.
fn sides(facts: &Facts<'_>, axes: &Axes, at: &Point) -> (String, String) {
    let inner = if facts.restored.arch == Arch::Mandible { "lingual" } else { "palatal" };
    match facts.restored.anatomy.frame.as_ref() {
        Ok(known) if axes.right.dot(&(at - known.frame.origin)) < 0.0 => ("buccal".into(), inner.into()),
        Ok(_) => (inner.into(), "buccal".into()),
        Err(_) => (String::new(), String::new()),
    }
}

/// What is written into the section of a gauge reading.
pub(super) struct Gauge {
    /// Name of its file, without ending.
    pub name: String,
    /// Height of the survey line above the point, mm.
    pub below_mm: Option<f64>,
}

/// Distance beside the rod at which a height is drawn, mm.
const BESIDE_ROD_MM: f64 = 1.5;

/// The upright section through a gauge reading and the place where the rod stands free.
pub(super) fn of_gauge(mesh: &Mesh, up: &Direction, put: &Put, gauge: &Gauge) -> Option<Cut> {
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
        measures,
        rod: Some(rod.unwrap_or([0.0, 0.0])),
        marks,
    })
}
