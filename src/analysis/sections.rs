//! Plane sections that are drawn beside the figures: one a span, one for a gauge reading.

use rayon::prelude::*;

use super::survey::Put;
use crate::anatomy::Span;
use crate::case::{Arch, Surface as ToothSurface, Tooth};
use crate::facts::Facts;
use crate::locate::cut::cut;
use crate::measure::clearance::Antagonist;
use crate::measure::connector;
use crate::measure::torus::Torus;
use crate::mesh::Mesh;
use crate::report::{
    AbutmentShown, Body2, Cut, Flat, GaugeShown, Mark2, SiteShown, Span2, SpanShown, Unrolled,
    UnrolledStation,
};
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
        Some(a) => vec![
            ("relief", a.relief_mm),
            ("attachment", a.height_mm),
            ("resin", a.resin_mm),
            ("tooth", a.tooth_mm),
            ("adjustment", a.adjustment_mm),
        ],
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

/// One section through each torus, across its longest chord.
pub fn of_tori(facts: &Facts<'_>) -> Vec<Cut> {
    facts.tori.iter().enumerate().filter_map(|(i, t)| of_torus(facts, t, i)).collect()
}

fn of_torus(facts: &Facts<'_>, torus: &Torus, index: usize) -> Option<Cut> {
    let up = facts.restored.anatomy.frame.as_ref().ok()?.frame.occlusal;
    let axes = Axes::new(torus.summit, longest_chord(&torus.outline)?, &up)
        .or_else(|| Axes::new(torus.summit, across(&up).0, &up))?;
    let (left, right) = sides(facts, &axes, &torus.summit);
    let side = torus.side.map_or("", |s| s.word());
    let relief = facts.keepout.solid.as_ref().map_or_else(Vec::new, |solid| axes.lines(solid));
    let relief_says = if relief.is_empty() {
        "no relief is laid over it".to_owned()
    } else {
        format!("thin line: relief of {}", units::mm(facts.rules.number("relief_mm")))
    };
    // Where the outline passes through the section.
    let n = torus.outline.len();
    let height = |p: &Point| axes.plane.height_mm(p);
    let marks = (0..n).filter_map(|i| {
        let (a, b) = (torus.outline[i], torus.outline[(i + 1) % n]);
        let (da, db) = (height(&a), height(&b));
        let at = a + (b - a) * (da / (da - db));
        ((da > 0.0) != (db > 0.0)).then(|| Mark2 { at: axes.flat(&at), says: "outline".into() })
    });
    let summit = Mark2 { at: [0.0, 0.0], says: format!("summit, {} high", units::mm(torus.height_mm)) };
    Some(Cut {
        name: format!("torus-{}{side}", if index == 0 { String::new() } else { format!("{}-", index + 1) }),
        caption: format!(
            "Section through the {side} torus across its longest chord: {} above the surface without it; {relief_says}",
            units::mm(torus.height_mm)
        ),
        right,
        left,
        tissue: axes.lines(facts.restored.mesh()),
        opposing: Vec::new(),
        fine: relief,
        bodies: Vec::new(),
        measures: Vec::new(),
        rod: None,
        marks: std::iter::once(summit).chain(marks).collect(),
    })
}

/// The longest chord of an outline, of every so many of its points.
fn longest_chord(outline: &[Point]) -> Option<Vector> {
    const MOST: usize = 120;
    let step = outline.len().div_ceil(MOST).max(1);
    let few: Vec<&Point> = outline.iter().step_by(step).collect();
    let mut best: Option<(f64, Vector)> = None;
    for (i, a) in few.iter().enumerate() {
        for b in few.iter().skip(i + 1) {
            let chord = **b - **a;
            let long = chord.norm();
            if best.is_none_or(|(far, _)| long > far) {
                best = Some((long, chord));
            }
        }
    }
    best.map(|(_, chord)| chord)
}

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
            let put = Put { asked, at: near.at, normal, depth };
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

/// The lingual wall unrolled; `None` in a maxilla and where the way is not known.
pub fn unrolled(facts: &Facts<'_>) -> Option<Unrolled> {
    if facts.restored.arch == Arch::Maxilla {
        return None;
    }
    let way = connector::lingual_way(&connector::Cast {
        surface: &facts.restored.surface,
        topology: &facts.restored.topology,
        anatomy: &facts.restored.anatomy,
        tori: &facts.tori,
        abutments: &facts.case.file.design.abutments,
        probed_mm: &facts.case.file.probe_mm,
    })
    .ok()?;
    let stations: Vec<UnrolledStation> = way
        .stations
        .iter()
        .map(|s| UnrolledStation {
            s_mm: s.s_mm,
            tooth: s.tooth.to_string(),
            recorded_mm: s.wall.as_ref().ok().map(|w| w.along_mm),
            probed_mm: s.probed_mm,
            tori_mm: s
                .wall
                .as_ref()
                .map_or_else(|_| Vec::new(), |w| w.tori.iter().map(|t| [t.from_mm, t.to_mm]).collect()),
        })
        .collect();
    let level = |id: &str, words: &str| {
        let mm = facts.rules.number(id);
        (mm, format!("{words} {}", units::mm(mm)))
    };
    let levels = vec![
        level("bar_below_margin_mm", "a lingual bar begins at"),
        level("bar_depth_mm", "and needs a depth of"),
    ];
    stations.iter().any(|s| s.recorded_mm.is_some()).then_some(Unrolled { stations, levels })
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
        fine: Vec::new(),
        bodies: Vec::new(),
        measures,
        rod: Some(rod.unwrap_or([0.0, 0.0])),
        marks,
    })
}
