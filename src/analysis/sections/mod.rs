//! Plane sections that are drawn beside the figures: through spans, tori and gauge points; and the unrolled lingual wall.

mod gauge;
mod torus;
mod wall;

pub use gauge::of_gauges;
pub(super) use gauge::{Gauge, of_gauge};
pub use torus::of_tori;
pub use wall::unrolled;

use crate::anatomy::Span;
use crate::case::Arch;
use crate::facts::Facts;
use crate::locate::cut::cut;
use crate::measure::clearance::Antagonist;
use crate::mesh::Mesh;
use crate::report::{Body2, Cut, Flat, Mark2, SiteShown, Span2, SpanShown};
use crate::space::{Direction, Plane, Point, Vector, direction};
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
    let (mut measures, mut marks) = (Vec::new(), Vec::new());
    if let (Some(mm), Some(hit)) = (clear.along_mm, clear.along_at) {
        let to = axes.flat(&hit);
        // Beside boxes the figure stands at the end of its line, where nothing else is written.
        let says = match &shown.site {
            Some(_) => {
                marks.push(Mark2 { at: to, says: format!("{} here", units::mm(mm)) });
                String::new()
            }
            None => units::mm(mm),
        };
        measures.push(Span2 { from: [0.0, 0.0], to, says });
    }
    let (left, right) = sides(facts, &axes, &at);
    let front = span.front.map_or_else(|| "span".to_owned(), |t| t.to_string());
    let what = if shown.site.is_some() { "site for the attachment" } else { "least clearance" };
    let room = shown.site.as_ref().map_or_else(String::new, |site| {
        let needed =
            site.required_mm.map_or_else(String::new, |mm| format!(", the parts need {}", units::mm(mm)));
        format!("; a rigid body finds {}{needed}", units::mm(site.room_mm))
    });
    Some(Cut {
        name: format!("behind-{front}"),
        caption: format!(
            "Section square to the crest behind {front}, at the {what} {}{room}",
            super::shown::place_words(&place)
        ),
        right,
        left,
        tissue: axes.lines(facts.restored.mesh()),
        opposing: axes.lines(other.mesh()),
        fine: Vec::new(),
        bodies: shown.site.as_ref().map_or_else(Vec::new, |site| stack(facts, span, site, &axes)),
        measures,
        rod: None,
        marks,
    })
}

/// The parts over a site, from below: relief, attachment, resin, tooth, adjustment; where the case gives none, the room of
/// common practice as one body.
fn stack(facts: &Facts<'_>, span: &Span, site: &SiteShown, axes: &Axes) -> Vec<Body2> {
    let Some((at, [along, across, up])) = super::scene::axes(facts, span, site) else { return Vec::new() };
    let Some(mut base) = super::scene::seat_mm(facts, at, &[along, across, up], site) else {
        return Vec::new();
    };
    let parts: Vec<(&str, f64)> = match &facts.case.file.attachment {
        Some(a) => a.parts().to_vec(),
        None => vec![("hinge with its tooth", facts.rules.number("attachment_room_mm"))],
    };
    let half = across * (site.footprint_mm[1] / 2.0);
    let mut bodies = Vec::new();
    for (name, height) in parts.into_iter().filter(|(_, mm)| *mm > 0.0) {
        let (low, high) = (at + up * base, at + up * (base + height));
        let outline =
            [low - half, low + half, high + half, high - half].iter().map(|p| axes.flat(p)).collect();
        bodies.push(Body2 { outline, says: format!("{name} {}", units::mm(height)) });
        base += height;
    }
    bodies
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
