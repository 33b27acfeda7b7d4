//! Figures as the page reads them. Numbers go with their words, so that the page formats none.

use serde::Serialize;
use serde_json::{Value, json};

use crate::analysis::{Analysis, Apart, AtTilt, PointRead};
use crate::case::{SpanKind, Tooth};
use crate::mesh::Mesh;
use crate::render::colour::{self, Scale, cividis};
use crate::render::display_mesh::{DisplayMesh, display};
use crate::render::{svg, tables};
use crate::report::{Finding, Notation, Report, Section, tilt_words};
use crate::space::{Point, Vector};
use crate::units;

/// Triangles of the cast on the page at most.
const MOST_TRIANGLES: usize = 60_000;
/// Triangles of the other arch at most: nothing is read on it.
const MOST_OPPOSING: usize = 30_000;

/// The cast as the page draws it.
#[derive(Debug)]
pub(super) struct Cast {
    /// Vertices of the scan that are kept, and triangles over them.
    pub light: DisplayMesh,
    /// What is sent for it, once.
    pub bytes: Vec<u8>,
}

/// A JSON head and the bytes behind it: length of the head, head, filling to four, bytes.
fn enveloped(head: &Value, bytes: impl Iterator<Item = u8>) -> Vec<u8> {
    let mut head = head.to_string().into_bytes();
    while !(head.len() + 4).is_multiple_of(4) {
        head.push(b' ');
    }
    let mut out = (head.len() as u32).to_le_bytes().to_vec();
    out.extend(head);
    out.extend(bytes);
    out
}

fn places(vertices: impl Iterator<Item = Point>, middle: Point) -> Vec<u8> {
    vertices
        .map(|p| p - middle)
        .flat_map(|v| [v.x as f32, v.y as f32, v.z as f32])
        .flat_map(f32::to_le_bytes)
        .collect()
}

fn array(v: &Vector) -> [f64; 3] {
    units::json_direction(v)
}

impl Cast {
    /// The lighter mesh of the restored arch.
    pub fn new(done: &Analysis<'_>) -> Cast {
        let facts = &done.facts;
        let mesh = facts.restored.mesh();
        let light = display(mesh, MOST_TRIANGLES);
        let middle = mesh.middle();
        let anatomy = &facts.restored.anatomy;
        let frame = anatomy.frame.as_ref().ok().map(|known| &known.frame);
        let hex = |[r, g, b]: [u8; 3]| [r, g, b];
        let head = json!({
            "vertices": light.kept.len(),
            "triangles": light.faces.len(),
            "scan_triangles": mesh.faces().len(),
            "middle_mm": units::json_place(&middle),
            "frame": frame.map(|f| json!({
                "occlusal": array(&f.occlusal), "anterior": array(&f.anterior), "left": array(&f.left),
            })),
            "upper": facts.restored.arch == crate::case::Arch::Maxilla,
            "cividis": (0..=32).map(|n| hex(cividis(f64::from(n) / 32.0))).collect::<Vec<_>>(),
            "plain": hex(colour::PLAIN),
            "not_measured": hex(colour::NOT_MEASURED),
            "most_mm": Scale::UNDERCUT.most,
            "teeth": anatomy.crowns.iter().map(|c| json!({
                "tooth": c.tooth, "at_mm": units::json_place(&c.centre),
            })).collect::<Vec<_>>(),
            "crests": anatomy.spans.iter().filter(|s| s.kind == SpanKind::DistalExtension).filter_map(|s| s.crest.as_ref().ok()).map(|crest| {
                crest.iter().map(units::json_place).collect::<Vec<_>>()
            }).collect::<Vec<_>>(),
            "found": found(done),
        });
        let bytes = meshed(&head, mesh, &light, middle);
        Cast { light, bytes }
    }
}

/// A head and a lighter mesh behind it: places from a middle, then corners.
fn meshed(head: &Value, mesh: &Mesh, light: &DisplayMesh, middle: Point) -> Vec<u8> {
    let kept = places(light.kept.iter().map(|&v| mesh.vertex(v)), middle);
    let corners = light.faces.iter().flatten().flat_map(|c| c.to_le_bytes());
    enveloped(head, kept.into_iter().chain(corners))
}

/// The other arch, where it stands to the restored one in this case; `None` where it was not scanned.
pub(super) fn opposing(done: &Analysis<'_>) -> Option<Vec<u8>> {
    let facts = &done.facts;
    let mesh = facts.opposing.as_ref()?.mesh();
    let light = display(mesh, MOST_OPPOSING);
    let head = json!({ "vertices": light.kept.len(), "triangles": light.faces.len() });
    Some(meshed(&head, mesh, &light, facts.restored.mesh().middle()))
}

/// Lines that were found or marked on the restored arch: margins, crests, outlines of tori.
fn found(done: &Analysis<'_>) -> Value {
    let facts = &done.facts;
    let anatomy = &facts.restored.anatomy;
    let line = |points: &[Point], closed: bool| json!({ "points_mm": points.iter().map(units::json_place).collect::<Vec<_>>(), "closed": closed });
    let margins = anatomy.crowns.iter().filter(|c| !c.margin.is_empty()).map(|c| line(&c.margin, true));
    let crests = anatomy.spans.iter().filter_map(|s| s.crest.as_ref().ok()).map(|c| line(c, false));
    let tori = facts.tori.iter().map(|t| line(&t.outline, true));
    margins.chain(crests).chain(tori).collect()
}

/// A table as the page shows it.
fn table(t: &crate::render::sheet::Table, notation: Notation) -> Value {
    let mut rows = t.rows.clone();
    let of_teeth = t.head.iter().position(|h| h == "tooth");
    for row in &mut rows {
        if let Some(cell) = of_teeth.and_then(|k| row.get_mut(k)) {
            *cell = shown_tooth(cell, notation);
        }
    }
    json!({ "caption": t.caption, "head": t.head, "rows": rows })
}

fn shown_tooth(fdi: &str, notation: Notation) -> String {
    let tooth = fdi.parse::<u8>().ok().and_then(Tooth::fdi);
    tooth.map_or_else(|| fdi.to_owned(), |t| t.show(notation))
}

/// The abutments along a tilt, without the depths.
pub(super) fn tilt(at: &AtTilt, notation: Notation) -> Value {
    let lean = at.path.tilt;
    json!({
        "withdrawal": at.shown.withdrawal,
        "tilt_deg": at.shown.tilt_deg,
        "words": lean.map(|t| tilt_words(t.anterior_deg, t.left_deg)),
        "says": at.shown.says,
        "table": table(&tables::undercut(&at.abutments), notation),
        "surfaces": surfaces(at, notation),
        "findings": at.findings.iter().map(finding).collect::<Vec<_>>(),
        "survey_line_mm": at.abutments.iter().flat_map(|a| &a.survey_line_mm).collect::<Vec<_>>(),
        "gauges_mm": at.abutments.iter().flat_map(|a| &a.surfaces).flat_map(|s| &s.gauges)
            .filter_map(|g| g.at_mm).collect::<Vec<_>>(),
        "abutments": at.abutments,
    })
}

/// Deepest undercut of each surface, for two tilts beside each other.
fn surfaces(at: &AtTilt, notation: Notation) -> Vec<Value> {
    at.abutments
        .iter()
        .flat_map(|a| a.surfaces.iter().map(move |s| (a.tooth, s)))
        .map(|(tooth, s)| {
            let reached: Vec<String> =
                s.gauges.iter().filter(|g| g.reached).map(|g| units::mm(g.gauge_mm)).collect();
            let mut gauges = reached;
            gauges.dedup();
            json!({
                "place": format!("{} {}", tooth.show(notation), s.surface.word()),
                "deepest_mm": s.deepest_mm,
                "deepest": s.deepest_mm.map_or_else(|| "not scanned".to_owned(), units::mm),
                "gauges": if gauges.is_empty() { "none".to_owned() } else { gauges.join(", ") },
            })
        })
        .collect()
}

/// The same with the depth of each vertex that the page draws, mm, and behind these a byte for each: 1 where it was measured.
pub(super) fn tilt_with_depths(at: &AtTilt, cast: &Cast, notation: Notation) -> Vec<u8> {
    let depth = |v: &u32| at.field.depth_mm.get(*v as usize).copied().flatten();
    let kept = &cast.light.kept;
    let depths = kept.iter().map(|v| depth(v).map_or(0.0, |mm| mm as f32));
    let known = kept.iter().map(|v| u8::from(depth(v).is_some()));
    let mut head = tilt(at, notation);
    head["drawn_vertices"] = kept.len().into();
    enveloped(&head, depths.flat_map(f32::to_le_bytes).chain(known))
}

/// A finding in words.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub(super) struct Said {
    /// The check.
    pub check: String,
    /// Its stable code.
    pub code: String,
    /// The verdict in words.
    pub verdict: &'static str,
    /// Whether it wants attention.
    pub attend: bool,
    /// What it says.
    pub says: String,
    /// What would settle it.
    pub settled_by: Option<String>,
    /// Where, mm.
    pub at_mm: Option<[f64; 3]>,
}

pub(super) fn finding(f: &Finding) -> Said {
    use crate::report::Verdict::{Exceeds, NotMeasured, Short, Tight};
    Said {
        check: f.check.clone(),
        code: f.code.clone(),
        verdict: f.verdict.words(),
        attend: matches!(f.verdict, Short | Exceeds | Tight | NotMeasured),
        says: f.says.clone(),
        settled_by: f.settled_by.clone(),
        at_mm: f.place.at_mm,
    }
}

/// The findings of a report under the headings of their checks.
pub(super) fn findings(report: &Report, sections: &[Section]) -> Vec<Value> {
    let of = |id: &str| report.findings.iter().filter(|f| f.check == id).map(finding).collect::<Vec<_>>();
    sections
        .iter()
        .map(|s| json!({ "id": s.id, "title": s.title, "findings": of(&s.id) }))
        .filter(|s| s["findings"].as_array().is_some_and(|all| !all.is_empty()))
        .collect()
}

/// What changed from one report to the next: what is said anew, otherwise, and no more.
pub(super) fn changes(before: &Report, after: &Report) -> Vec<Value> {
    let key =
        |f: &Finding| (f.check.clone(), f.code.clone(), f.place.span.clone(), f.place.tooth, f.place.surface);
    // Findings alike in all that names them are told apart by their order.
    let numbered = |report: &Report| {
        let mut all: Vec<(_, Said)> = Vec::new();
        for f in &report.findings {
            let same = all.iter().filter(|((k, _), _)| *k == key(f)).count();
            all.push(((key(f), same), finding(f)));
        }
        all
    };
    let (old, new) = (numbered(before), numbered(after));
    let mut out = Vec::new();
    for (k, said) in &new {
        match old.iter().find(|(other, _)| other == k) {
            None => out.push(json!({ "change": "new", "now": said })),
            Some((_, was)) if was.says != said.says || was.verdict != said.verdict => {
                out.push(json!({ "change": "changed", "before": was, "now": said }));
            }
            Some(_) => {}
        }
    }
    for (k, was) in &old {
        if !new.iter().any(|(other, _)| other == k) {
            out.push(json!({ "change": "gone", "before": was }));
        }
    }
    out
}

/// What is read at a point.
pub(super) fn point(read: &PointRead, notation: Notation) -> Value {
    const REGIONS: [&str; 7] =
        ["not told", "tooth", "gingiva", "residual ridge", "torus", "palate", "base of the model"];
    let region = REGIONS.get(usize::from(read.region)).copied().unwrap_or("not told");
    let place = match (read.tooth, read.surface) {
        (Some(t), Some(s)) => format!("{} {}", t.show(notation), s.word()),
        (Some(t), None) => t.show(notation),
        (None, _) => region.to_owned(),
    };
    let gauge = read.gauge.as_ref().map(|g| {
        let mut lines = vec![if g.depth_mm > 0.0 {
            format!(
                "undercut {} (standard uncertainty {})",
                units::mm(g.depth_mm),
                units::mm(g.uncertainty_mm)
            )
        } else {
            "free: no undercut along this path".to_owned()
        }];
        lines.extend(g.below_survey_line_mm.map(|mm| format!("{} below the survey line", units::mm(mm))));
        if g.closed_hole {
            lines.push("the depth depends on the closing of a hole in the scan".to_owned());
        }
        lines
    });
    let clearance = read.clearance.as_ref().map(|c| {
        let said = |what: &str, mm: Option<f64>| match mm {
            Some(mm) => {
                format!("{what}: {} (standard uncertainty {})", units::mm(mm), units::mm(c.uncertainty_mm))
            }
            None => format!("{what}: nothing is there"),
        };
        vec![
            said("to the opposing arch along the opening direction", c.along_mm),
            said("to the opposing arch, nearest in any direction", c.nearest_mm),
        ]
    });
    json!({
        "at_mm": units::json_place(&read.at),
        "at": units::place_words(&read.at),
        "place": place,
        "tooth": read.tooth,
        "surface": read.surface,
        "region": region,
        "gauge": read.gauge,
        "gauge_says": gauge,
        "clearance": read.clearance,
        "clearance_says": clearance,
        "section": read.section.as_ref().map(|cut| String::from_utf8_lossy(&svg::section(cut)).into_owned()),
        "section_says": read.section.as_ref().map(|cut| cut.caption.clone()),
    })
}

/// How two points lie to each other.
pub(super) fn apart(a: &Apart) -> Value {
    let mut says = vec![format!("straight: {}", units::mm(a.straight_mm))];
    says.extend(a.along_path_mm.map(|mm| format!("along the path: {}", units::mm(mm))));
    says.extend(a.across_path_mm.map(|mm| format!("across it: {}", units::mm(mm))));
    says.push(format!("standard uncertainty of each: {}", units::mm(a.uncertainty_mm)));
    json!({ "distance": a, "says": says })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::{Verdict, Where};

    #[test]
    fn what_changes_between_two_reports_is_told_once() {
        let report = |findings: Vec<Finding>| -> Report {
            let mut value = json!({
                "schema": "saddleroom/report/1", "tool": { "name": "saddleroom", "version": "0" },
                "case": { "id": "x", "restored_arch": "mandible" }, "inputs": [],
                "articulation": { "state": "unknown", "contacts": null, "deepest_overlap_mm": null, "least_gap_mm": null, "at_mm": null },
                "teeth": [], "abutments": [], "spans": [], "tori": [], "connectors": [], "preparation": [], "questions": [],
                "findings": [], "cautions": [],
            });
            value["findings"] = json!(findings);
            serde_json::from_value(value).unwrap()
        };
        let f =
            |code: &str, verdict, says: &str| Finding::new("room", code, verdict, says).at(Where::default());
        let before =
            report(vec![f("a", Verdict::Fits, "5 mm"), f("b", Verdict::Ask, "x"), f("b", Verdict::Ask, "y")]);
        let after = report(vec![
            f("a", Verdict::Short, "4 mm"),
            f("b", Verdict::Ask, "x"),
            f("c", Verdict::Ask, "z"),
        ]);
        let told: Vec<String> =
            changes(&before, &after).iter().map(|c| c["change"].as_str().unwrap().to_owned()).collect();
        assert_eq!(told, ["changed", "new", "gone"]);
        assert!(changes(&after, &after).is_empty());
    }

    #[test]
    fn an_envelope_begins_its_bytes_on_a_multiple_of_four() {
        for text in ["a", "ab", "abc", "abcd"] {
            let out = enveloped(&json!(text), [7].into_iter());
            let head = u32::from_le_bytes(out[..4].try_into().unwrap()) as usize;
            assert_eq!((4 + head) % 4, 0);
            assert_eq!(out[4 + head..], [7]);
            assert_eq!(serde_json::from_slice::<Value>(&out[4..4 + head]).unwrap(), json!(text));
        }
    }
}
