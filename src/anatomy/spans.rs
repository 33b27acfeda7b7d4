//! Spans: the chart's, each with the crest line that was marked or found for it.

use super::arch_form::ArchFit;
use super::{Crown, KnownFrame, Origin, Span, crest, curves};
use crate::case::{Arch, Marks, SpanKind, SpanTeeth, Tooth};
use crate::estimate::{Measured, NotMeasured};
use crate::locate::Surface;
use crate::space::Point;

/// A crest mark farther than this from every span belongs to none, mm.
const FARTHEST_MM: f64 = 25.0;

/// What is known when spans are read.
#[derive(Clone, Copy, Debug)]
pub struct Known<'a> {
    /// The arch.
    pub arch: Arch,
    /// The spans of the chart.
    pub chart: &'a [SpanTeeth],
    /// Crowns.
    pub crowns: &'a [Crown],
    /// Crowns by their centres, else by the mark of the tooth.
    pub places: &'a [(Tooth, Point)],
    /// Frame, where known.
    pub frame: Option<&'a KnownFrame>,
    /// Marks.
    pub marks: Option<&'a Marks>,
}

/// The spans with their crest lines, and the marked crests that fit none (by their order in the case file).
pub fn read(surface: &Surface, known: &Known<'_>) -> (Vec<Span>, Vec<usize>) {
    let marked: &[Vec<Point>] = known.marks.map_or(&[], |m| &m.crests);
    let owner = assigned(marked, known);
    let spans = known
        .chart
        .iter()
        .enumerate()
        .map(|(i, s)| {
            let mark = owner.iter().position(|o| *o == Some(i)).map(|k| marked[k].as_slice());
            span(surface, s, mark, known)
        })
        .collect();
    let unused = (0..marked.len()).filter(|&k| owner[k].is_none()).collect();
    (spans, unused)
}

/// `span 36-37`, `span 45`.
pub fn name(teeth: &[Tooth]) -> String {
    let numbers: Vec<String> = teeth.iter().map(Tooth::to_string).collect();
    format!("span {}", numbers.join("-"))
}

fn span(surface: &Surface, s: &SpanTeeth, mark: Option<&[Point]>, known: &Known<'_>) -> Span {
    let front = s.front();
    let back = [s.right, s.left].into_iter().flatten().find(|t| Some(*t) != front);
    let crown = |t: Option<Tooth>| t.and_then(|t| known.crowns.iter().find(|c| c.tooth == t));
    let ridge_ends: &[Point] = known.marks.map_or(&[], |m| &m.ridge_ends);
    let ends = crest::Ends { front: crown(front), back: crown(back), ridge_ends };
    let ask = || format!("mark the crest of {} in [marks] crests", name(&s.teeth));
    let (crest, crest_origin): (Measured<Vec<Point>>, Origin) = match mark {
        Some(marked) => {
            let line = crest::laid(surface, &oriented(marked, s, known), &ends);
            let long_enough = curves::length_mm(&line) > 1.0;
            let reason = || {
                NotMeasured::new(
                    format!("the crest marked for {} leaves no line on the ridge", name(&s.teeth)),
                    ask(),
                )
            };
            (if long_enough { Ok(line) } else { Err(reason()) }, Origin::Given)
        }
        None => (
            Err(NotMeasured::new(format!("the crest of {} is not marked", name(&s.teeth)), ask())),
            Origin::Found,
        ),
    };
    Span { teeth: s.teeth.clone(), kind: s.kind, front, back, crest, crest_origin }
}

/// Where a tooth of the arch stands or would stand: known, else by the average form laid over what is known.
pub(super) fn place_of(tooth: Tooth, known: &Known<'_>) -> Option<Point> {
    if let Some((_, at)) = known.places.iter().find(|(t, _)| *t == tooth) {
        return Some(*at);
    }
    form(known)?.place_of(tooth)
}

/// The average form of the arch over the known teeth, else over the frame.
pub(super) fn form(known: &Known<'_>) -> Option<ArchFit> {
    let frame = known.frame?;
    let by_teeth =
        ArchFit::of(known.arch, frame.frame.occlusal, known.places).filter(|_| known.places.len() > 2);
    by_teeth.or_else(|| {
        frame.anterior_known.then(|| {
            let half_depth = if known.arch == Arch::Mandible { 20.0 } else { 22.0 };
            ArchFit::over(
                known.arch,
                frame.frame.occlusal,
                &frame.frame.anterior,
                &frame.frame.origin,
                half_depth,
            )
        })
    })
}

/// For each marked crest the span it belongs to: the pairs of least misfit first, one crest a span.
fn assigned(marked: &[Vec<Point>], known: &Known<'_>) -> Vec<Option<usize>> {
    let mut owner = vec![None; marked.len()];
    if marked.len() == 1 && known.chart.len() == 1 {
        return vec![Some(0)];
    }
    let mut pairs: Vec<(f64, usize, usize)> = Vec::new();
    for (k, line) in marked.iter().enumerate() {
        for (i, s) in known.chart.iter().enumerate() {
            if let Some(cost) = misfit(line, s, known).filter(|c| *c < FARTHEST_MM) {
                pairs.push((cost, k, i));
            }
        }
    }
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0).then((a.1, a.2).cmp(&(b.1, b.2))));
    for (_, k, i) in pairs {
        if owner[k].is_none() && !owner.contains(&Some(i)) {
            owner[k] = Some(i);
        }
    }
    owner
}

/// Mean distance of the ends of a crest from the bordering teeth of a span (the missing teeth stand in for a lacking
/// one), mm, the better way round.
fn misfit(line: &[Point], s: &SpanTeeth, known: &Known<'_>) -> Option<f64> {
    let (a, b) = (line.first()?, line.last()?);
    let place = |border: Option<Tooth>, missing: Option<&Tooth>| {
        border.and_then(|t| place_of(t, known)).or_else(|| place_of(*missing?, known))
    };
    let right = place(s.right, s.teeth.first())?;
    let left = place(s.left, s.teeth.last())?;
    let sum = |p: &Point, q: &Point| ((p - right).norm() + (q - left).norm()) / 2.0;
    Some(sum(a, b).min(sum(b, a)))
}

/// The marked line from the front abutment backwards.
fn oriented(line: &[Point], s: &SpanTeeth, known: &Known<'_>) -> Vec<Point> {
    let mut line = line.to_vec();
    let (Some(&a), Some(&b)) = (line.first(), line.last()) else { return line };
    let front = s.front().and_then(|t| place_of(t, known));
    let turn = match front {
        Some(at) => (b - at).norm() < (a - at).norm(),
        None => known.frame.filter(|f| f.anterior_known).is_some_and(|f| {
            f.frame.local(&b)[0] > f.frame.local(&a)[0] && s.kind == SpanKind::DistalExtension
        }),
    };
    if turn {
        line.reverse();
    }
    line
}
