//! The section through a torus.

use super::{Axes, sides};
use crate::facts::Facts;
use crate::measure::torus::Torus;
use crate::report::{Cut, Mark2};
use crate::space::{Point, Vector, across};
use crate::units;

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
