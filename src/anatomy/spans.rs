//! Spans: the chart's, each with the crest line that was marked or found for it.

use super::arch_form::{ArchFit, crown_width_mm};
use super::plan::HeightMap;
use super::ridge_end::{EndKind, RidgeEnd};
use super::ridge_section::Section;
use super::{Crown, KnownFrame, Origin, Span, crest, curves, ridge, ridge_section};
use crate::case::{Arch, Marks, SpanKind, SpanTeeth, Tooth};
use crate::estimate::{Measured, NotMeasured};
use crate::locate::Surface;
use crate::mesh::FaceId;
use crate::space::Point;

/// A crest mark farther than this from every span belongs to none, mm.
const FARTHEST_MM: f64 = 25.0;

/// Way between the sections of a ridge, mm.
const SECTION_STEP_MM: f64 = 1.0;
/// A crest that ends within this distance of a mark in `ridge_ends` ends at it, mm.
const MARKED_END_MM: f64 = 6.0;

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
    let (crest, crest_origin): (Measured<(Vec<Point>, Option<RidgeEnd>)>, Origin) = match mark {
        Some(marked) => {
            let line = crest::laid(surface, &oriented(marked, s, known), &ends);
            let long_enough = curves::length_mm(&line) > 1.0;
            let reason = || {
                NotMeasured::new(
                    format!("the crest marked for {} leaves no line on the ridge", name(&s.teeth)),
                    ask(),
                )
            };
            (if long_enough { Ok((line, None)) } else { Err(reason()) }, Origin::Given)
        }
        None => (found(surface, s, &ends, known, ask()), Origin::Found),
    };
    let found_end = crest.as_ref().ok().and_then(|(_, end)| *end);
    let crest = crest.map(|(line, _)| line);
    let end = crest.as_ref().ok().filter(|_| s.kind == SpanKind::DistalExtension).and_then(|line| {
        let at = *line.last()?;
        let marked = crest_origin == Origin::Given || ended_at_mark(line, ridge_ends);
        if marked {
            return Some(RidgeEnd { kind: EndKind::Marked, at, confidence: 1.0 });
        }
        found_end.map(|e| RidgeEnd { at, ..e })
    });
    let sections = crest.as_ref().map_or_else(|_| Vec::new(), |line| sections(surface, line, known));
    let faces = ridge_surface(surface, &sections, known);
    Span { teeth: s.teeth.clone(), kind: s.kind, front, back, crest, crest_origin, end, sections, faces }
}

/// Sections along a crest; none without a frame.
fn sections(surface: &Surface, crest: &[Point], known: &Known<'_>) -> Vec<Section> {
    let Some(frame) = known.frame.map(|f| &f.frame) else { return Vec::new() };
    ridge_section::sections(&ridge_section::Asked {
        mesh: surface.mesh(),
        crest,
        occlusal: frame.occlusal,
        inside: frame.origin,
        step_mm: SECTION_STEP_MM,
    })
}

/// The surface of the ridge that its sections tell.
fn ridge_surface(surface: &Surface, sections: &[Section], known: &Known<'_>) -> Vec<FaceId> {
    let Some(frame) = known.frame else { return Vec::new() };
    let taken = |f: FaceId| known.crowns.iter().any(|c| c.faces.binary_search(&f).is_ok());
    ridge_section::surface(surface.mesh(), sections, &frame.frame.occlusal, &taken)
}

fn ended_at_mark(line: &[Point], marks: &[Point]) -> bool {
    line.last().is_some_and(|at| marks.iter().any(|m| (m - at).norm() < MARKED_END_MM))
}

/// The crest found on the ridge between known crowns, where it is not marked.
fn found(
    surface: &Surface,
    s: &SpanTeeth,
    ends: &crest::Ends<'_>,
    known: &Known<'_>,
    ask: String,
) -> Measured<(Vec<Point>, Option<RidgeEnd>)> {
    let lacks = |what: &str| {
        NotMeasured::new(format!("the crest of {} is not marked and {what}", name(&s.teeth)), ask.clone())
    };
    let front = ends.front.filter(|c| !c.margin.is_empty());
    let front = front.ok_or_else(|| lacks("the crown in front of it is not known"))?;
    if s.kind == SpanKind::Bounded && ends.back.is_none_or(|c| c.margin.is_empty()) {
        return Err(lacks("the crown behind it is not known"));
    }
    let frame = known.frame.ok_or_else(|| lacks("the occlusal plane is not known"))?;
    let form = form(known).ok_or_else(|| lacks("the course of the arch is not known"))?;
    let (gum, _) = surface.mesh().part(|f| known.crowns.iter().all(|c| c.faces.binary_search(&f).is_err()));
    let map =
        HeightMap::new(&gum, frame.frame.occlusal, 0.5).ok_or_else(|| lacks("no ridge is on the scan"))?;
    let mut wanted = ridge::Wanted {
        occlusal: frame.frame.occlusal,
        form: &form,
        front,
        back: ends.back,
        leftward: s.right == Some(front.tooth),
        teeth_mm: s.teeth.iter().map(|t| crown_width_mm(known.arch, t.place())).sum(),
        arch: known.arch,
        plane_mm: frame.frame.origin.coords.dot(&frame.frame.occlusal),
        whole: !ends.ridge_ends.is_empty(),
    };
    let none = || lacks("no ridge was found behind the abutment");
    let mut ridge = ridge::crest(&map, &wanted).ok_or_else(none)?;
    let mut laid = crest::laid(surface, &ridge.line, ends);
    if wanted.whole && !ended_at_mark(&laid, ends.ridge_ends) {
        // The marks belong to other ridges.
        wanted.whole = false;
        ridge = ridge::crest(&map, &wanted).ok_or_else(none)?;
        laid = crest::laid(surface, &ridge.line, ends);
    }
    if curves::length_mm(&laid) > 1.0 {
        Ok((laid, ridge.end))
    } else {
        Err(lacks("no ridge was found behind the abutment"))
    }
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

#[cfg(test)]
mod tests {
    use super::super::test_casts::{FieldCast, RealScan, extracted, radius, real_scans};
    use super::super::{crowns, frame};
    use super::*;
    use crate::mesh::Topology;
    use crate::space::{angle_deg, hypot};

    fn tooth(n: u8) -> Tooth {
        Tooth::fdi(n).unwrap()
    }

    /// Spans and frame of a labelled cast with a list of missing teeth.
    fn by_labels(
        arch: Arch,
        mesh: &crate::mesh::Mesh,
        labels: &[u8],
        missing: &[Tooth],
    ) -> (Vec<Span>, KnownFrame) {
        let (surface, topology) = (Surface::new(mesh), Topology::new(mesh));
        let crowns = crowns::from_labels(&surface, &topology, labels);
        let known = frame::find_with(mesh, &topology, arch, None, &crowns).unwrap();
        let chart = crate::case::Chart { missing: missing.to_vec(), ..Default::default() };
        let places = frame::tooth_places(arch, None, &crowns);
        let (spans, _) = read(
            &surface,
            &Known {
                arch,
                chart: &crate::case::chart::spans(&chart, arch, &[]),
                crowns: &crowns,
                places: &places,
                frame: Some(&known),
                marks: None,
            },
        );
        (spans, known)
    }

    #[test]
    fn the_crest_of_an_unmarked_span_is_found_between_its_crowns() {
        let missing = [36, 37, 45].map(tooth);
        let cast = FieldCast::new(Arch::Mandible, &|t| !missing.contains(&t), 0.5);
        let labels: Vec<u8> = cast
            .mesh
            .vertices()
            .iter()
            .map(|p| {
                let on = cast.centres.iter().find(|(t, c)| hypot(p.x - c[0], p.y - c[1]) < radius(*t));
                on.map_or(0, |(t, _)| t.number())
            })
            .collect();
        let (spans, _) = by_labels(Arch::Mandible, &cast.mesh, &labels, &missing);
        assert_eq!(spans.len(), 2);
        let whole = FieldCast::new(Arch::Mandible, &|_| true, 8.0);
        for span in &spans {
            let crest = span.crest.as_ref().unwrap();
            assert_eq!(span.crest_origin, Origin::Found);
            assert!(crest.windows(2).all(|w| (w[1] - w[0]).norm() <= 0.5 + 1e-9));
            for t in &span.teeth {
                let c = whole.centre(*t);
                // The ridge of the cast is flat on top for some millimetres, so the crest may lie a little aside.
                let near = crest.iter().map(|p| hypot(p.x - c[0], p.y - c[1])).fold(f64::INFINITY, f64::min);
                assert!(near < 1.5, "{t}: {near}");
            }
        }
    }

    fn truth_spans(scan: &RealScan) -> Vec<(Vec<Tooth>, Vec<Point>)> {
        let point = |p: &serde_json::Value| {
            Point::new(p[0].as_f64().unwrap(), p[1].as_f64().unwrap(), p[2].as_f64().unwrap())
        };
        let spans = scan.json["spans"].as_array().unwrap();
        spans
            .iter()
            .map(|s| {
                let teeth = s["teeth_fdi"].as_array().unwrap();
                let mut teeth: Vec<Tooth> = teeth.iter().map(|v| tooth(v.as_u64().unwrap() as u8)).collect();
                teeth.sort_by_key(|t| t.along());
                (teeth, s["crest_polyline"].as_array().unwrap().iter().map(point).collect())
            })
            .collect()
    }

    #[test]
    fn crests_found_on_casts_made_from_real_scans_lie_on_the_true_ones() {
        let Some(folder) = real_scans() else { return };
        let mut means = Vec::new();
        for scan in extracted(&folder) {
            let truth = truth_spans(&scan);
            let missing: Vec<Tooth> = truth.iter().flat_map(|(t, _)| t.clone()).collect();
            let (spans, known) = by_labels(scan.arch, &scan.mesh, &scan.labels, &missing);
            let off = angle_deg(&known.frame.occlusal, &scan.normal);
            assert!(off < 2.0 * known.uncertainty_deg, "{}: {off} of {}", scan.name, known.uncertainty_deg);
            for (teeth, line) in truth {
                let span = spans.iter().find(|s| s.teeth == teeth).unwrap();
                let crest = span.crest.as_ref().unwrap();
                let middle = &line[line.len() / 10..line.len() - line.len() / 10];
                let sum: f64 = middle.iter().map(|p| curves::distance_mm(crest, p).unwrap()).sum();
                means.push(sum / middle.len() as f64);
                println!("{} {teeth:?} {:.2} mm", scan.name, sum / middle.len() as f64);
            }
        }
        let mean = means.iter().sum::<f64>() / means.len().max(1) as f64;
        assert!(mean < 0.6 && means.iter().all(|m| *m < 1.2), "{means:?}");
    }
}
