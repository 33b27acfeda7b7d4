//! The loads under which the designs are compared.

use super::scene::SceneRead;
use crate::anatomy::arch_form::crown_width_mm;
use crate::anatomy::{Span, spans};
use crate::case::{Tooth, ToothLoad};
use crate::estimate::{Measured, NotMeasured};
use crate::facts::Facts;
use crate::measure::crest_line::CrestLine;
use crate::mechanics::scene::Load;
use crate::space::{Direction, Point, aside_mm};
use crate::units;

/// A load farther than this from every face under a base, in plan, lies outside it, mm.
const OUTSIDE_MM: f64 = 3.0;

/// Loads that act together.
#[derive(Clone, Debug)]
pub(super) struct LoadCase {
    /// Which, in words.
    pub words: String,
    /// The loaded teeth.
    pub teeth: Vec<Tooth>,
    /// The loads.
    pub loads: Vec<Load>,
    /// Whether they stand on one side of the arch.
    pub one_side: bool,
}

impl LoadCase {
    fn of(words: String, loads: Vec<(Tooth, Load)>) -> LoadCase {
        let sides = |sign: i8| loads.iter().any(|(t, _)| t.along().signum() == sign);
        LoadCase {
            words,
            one_side: sides(1) != sides(-1),
            teeth: loads.iter().map(|(t, _)| *t).collect(),
            loads: loads.into_iter().map(|(_, l)| l).collect(),
        }
    }

    /// Sum of the forces, N.
    pub(super) fn force_n(&self) -> f64 {
        self.loads.iter().map(|l| l.force.norm()).sum()
    }

    /// Whether a base is loaded.
    pub(super) fn on(&self, base: usize) -> bool {
        self.loads.iter().any(|l| l.base == base)
    }
}

/// The load cases; the first is the main one. And the loads that cannot be put on, with the reason.
pub(super) fn read(facts: &Facts<'_>, read: &SceneRead<'_>) -> (Vec<LoadCase>, Vec<(Tooth, NotMeasured)>) {
    let given = &facts.case.file.support.loads;
    if given.is_empty() { usual(facts, read) } else { asked(facts, read, given) }
}

/// The loads of the case file: all together, then each.
fn asked(
    facts: &Facts<'_>,
    read: &SceneRead<'_>,
    given: &[ToothLoad],
) -> (Vec<LoadCase>, Vec<(Tooth, NotMeasured)>) {
    let mut put = Vec::new();
    let mut refused = Vec::new();
    for load in given {
        match one(facts, read, load) {
            Ok(found) => put.push((load.tooth, found)),
            Err(reason) => refused.push((load.tooth, reason)),
        }
    }
    let mut cases = Vec::new();
    if put.len() > 1 {
        cases.push(LoadCase::of(words(&put.iter().map(|p| p.0).collect::<Vec<_>>()), put.clone()));
    }
    cases.extend(put.into_iter().map(|(t, l)| LoadCase::of(t.to_string(), vec![(t, l)])));
    (cases, refused)
}

/// Every replaced molar in turn, all of each base, and all of all bases; straight to the tissue. Where there are
/// distal extensions, theirs alone.
fn usual(facts: &Facts<'_>, read: &SceneRead<'_>) -> (Vec<LoadCase>, Vec<(Tooth, NotMeasured)>) {
    let jointed = |i: usize| read.scene.jointed(&read.scene.bases[i]);
    let mut refused = Vec::new();
    let mut of_bases: Vec<Vec<(Tooth, Load)>> = Vec::new();
    for (i, span) in read.spans.iter().enumerate().filter(|(i, _)| jointed(*i)) {
        let _ = i;
        let molars: Vec<Tooth> = span.teeth.iter().copied().filter(|t| t.is_molar()).collect();
        let teeth = if molars.is_empty() { span.teeth.clone() } else { molars };
        let mut put = Vec::new();
        for tooth in teeth {
            let load = ToothLoad { tooth, force_n: None, at: None, direction: None };
            match one(facts, read, &load) {
                Ok(load) => put.push((tooth, load)),
                Err(reason) => refused.push((tooth, reason)),
            }
        }
        of_bases.push(put);
    }
    of_bases.retain(|b| !b.is_empty());
    let shared = |base: &[(Tooth, Load)]| -> Vec<(Tooth, Load)> {
        let part = 1.0 / base.len() as f64;
        base.iter().map(|(t, l)| (*t, Load { force: l.force * part, ..*l })).collect()
    };
    let all: Vec<(Tooth, Load)> = of_bases.iter().flat_map(|b| shared(b)).collect();
    let named = |loads: &[(Tooth, Load)]| words(&loads.iter().map(|l| l.0).collect::<Vec<_>>());
    let mut cases = Vec::new();
    if !all.is_empty() {
        cases.push(LoadCase::of(named(&all), all));
    }
    if of_bases.len() > 1 {
        cases.extend(of_bases.iter().map(|b| LoadCase::of(named(b), shared(b))));
    }
    for (tooth, load) in of_bases.iter().filter(|b| b.len() > 1).flatten() {
        cases.push(LoadCase::of(tooth.to_string(), vec![(*tooth, *load)]));
    }
    (cases, refused)
}

fn words(teeth: &[Tooth]) -> String {
    let numbers: Vec<String> = teeth.iter().map(ToString::to_string).collect();
    match numbers.split_last() {
        Some((last, [])) => last.clone(),
        Some((last, rest)) => format!("{} and {last}", rest.join(", ")),
        None => String::new(),
    }
}

/// A load on the base of its tooth.
fn one(facts: &Facts<'_>, read: &SceneRead<'_>, load: &ToothLoad) -> Measured<Load> {
    let known = facts.restored.anatomy.frame.as_ref().map_err(Clone::clone)?;
    let up = known.frame.occlusal;
    let number = facts.tooth_words(load.tooth);
    let base = read.spans.iter().position(|s| s.teeth.contains(&load.tooth)).ok_or_else(|| {
        NotMeasured::new(
            format!("{number} stands over no base whose ridge is known"),
            "the chart, or [support] loads",
        )
    })?;
    let span = read.spans[base];
    let name = spans::name(&span.teeth);
    let at = match load.at {
        Some(at) => {
            let off = outside_mm(read, base, &at, &up);
            if off > OUTSIDE_MM {
                return Err(NotMeasured::new(
                    format!(
                        "the load at {} lies outside the base of {name}, {} from it",
                        units::place_words(&at),
                        units::mm(off)
                    ),
                    "a place over the base in [support] loads",
                ));
            }
            at
        }
        None => place_of(facts, span, load.tooth, &up)?,
    };
    let force = load.force_n.unwrap_or_else(|| facts.rules.number("support_load_n"));
    let way = load.direction.map_or(-up.into_inner(), |d| d.into_inner());
    Ok(Load { base, at, force: way * force })
}

/// How far a place lies beside the faces under a base, seen along the occlusal direction, mm.
fn outside_mm(read: &SceneRead<'_>, base: usize, at: &Point, up: &Direction) -> f64 {
    read.scene.bases[base].bed.iter().map(|f| aside_mm(&(at - f.at), up)).fold(f64::INFINITY, f64::min)
}

/// The middle of a replaced tooth: average widths laid along the crest from the abutment in front; in a bounded span
/// they are stretched to its length. At the height of the occlusal plane.
fn place_of(facts: &Facts<'_>, span: &Span, tooth: Tooth, up: &Direction) -> Measured<Point> {
    let crest = span.crest.as_ref().map_err(Clone::clone)?;
    let name = spans::name(&span.teeth);
    let lacking = || NotMeasured::only(format!("the crest of {name} has no length"));
    let line = CrestLine::new(crest).ok_or_else(lacking)?;
    let from = span.front.map_or(0, |t| t.along());
    let mut teeth = span.teeth.clone();
    teeth.sort_by_key(|t| (t.along() - from).unsigned_abs());
    let width = |t: &Tooth| crown_width_mm(t.arch(), t.place());
    let whole: f64 = teeth.iter().map(width).sum();
    let before: f64 = teeth.iter().take_while(|t| **t != tooth).map(width).sum();
    let stretch = if span.back.is_some() && whole > 0.0 { line.length_mm() / whole } else { 1.0 };
    let s = stretch * (before + width(&tooth) / 2.0);
    if s > line.length_mm() {
        return Err(NotMeasured::new(
            format!(
                "the place of {tooth}, {} along the crest, lies outside the base of {name}, which ends at {}",
                units::mm(s),
                units::mm(line.length_mm())
            ),
            "the distal end in [marks] ridge_ends, or the place in [support] loads",
        ));
    }
    let at = line.at(s);
    let frame = facts.restored.anatomy.frame.as_ref().map_err(Clone::clone)?;
    Ok(at + up.into_inner() * (frame.frame.origin - at).dot(up))
}
