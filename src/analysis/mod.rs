//! A case to its report: facts once, the checks in parallel, their parts joined in the order of the table.

mod cautions;
mod clearance;
mod compare;
mod framework;
mod path;
mod point;
mod scene;
mod sections;
mod settings;
mod shown;
mod survey;
mod tilted;
mod tori;

use rayon::prelude::*;

pub use clearance::{ClearanceWanted, Clearances, clearances};
pub use compare::{CompareWanted, Compared, compare};
pub use framework::{CastSeen, FrameworkChecked, framework};
pub use point::{Aim, Apart, ClearanceAt, PointRead, aimed, apart, read_point};
pub use shown::input;
pub use survey::{Survey, SurveyRefused, SurveyWanted, survey};
pub use tilted::{AtTilt, Ready, at_tilt, path_of};
pub use tori::{Tori, tori};

use crate::case::Case;
use crate::checks::{self, CHECKS, Part};
use crate::facts::Facts;
use crate::mesh::Mesh;
use crate::report::{AbutmentShown, CaseNamed, Cut, PathShown, Report, Scene, Tool, Unrolled};
use crate::rules::Rules;

/// What came of a case: the facts, from which the layers are drawn, and the report.
#[derive(Debug)]
pub struct Analysis<'c> {
    /// What was computed once.
    pub facts: Facts<'c>,
    /// What was measured and judged.
    pub report: Report,
}

/// A distance of each vertex, mm; `None` where nothing is there or nothing was measured.
pub type Distances = Vec<Option<f64>>;

impl Analysis<'_> {
    /// Sections through the spans, the tori and the gauge points.
    pub fn sections(&self) -> Vec<Cut> {
        let mut all = sections::of_spans(&self.facts, &self.report.spans);
        all.extend(sections::of_tori(&self.facts));
        all.extend(sections::of_gauges(&self.facts, &self.report.abutments));
        all
    }

    /// The lingual wall of a mandible, unrolled.
    pub fn unrolled(&self) -> Option<Unrolled> {
        sections::unrolled(&self.facts)
    }

    /// The path with all tilts beside it, searched now where they were not yet; `None` where the case has no path.
    pub fn path_among_tilts(&self) -> Option<PathShown> {
        let mut path = self.report.path.clone()?;
        if let (None, Ok(found)) = (&path.search, self.facts.searched()) {
            path::add_search(&mut path, &self.facts, found);
        }
        Some(path)
    }

    /// Everything that stands in space: surfaces with their values, solids, curves, places.
    pub fn scene(&self) -> Scene<'_> {
        scene::scene(self)
    }

    /// What has to be blocked out where something rigid crosses undercut tissue, as a closed solid; `None` where nothing.
    pub fn blockout_solid(&self) -> Option<Mesh> {
        checks::blockout::solid(&self.facts)
    }

    /// Nearest distance and distance along the opening direction of each vertex of the restored arch.
    pub fn clearance(&self) -> (Distances, Distances) {
        match &self.facts.clearance {
            Some(of_vertex) => of_vertex.iter().map(|c| (c.nearest_mm, c.along_mm)).unzip(),
            None => {
                let none = vec![None; self.facts.restored.mesh().vertices().len()];
                (none.clone(), none)
            }
        }
    }
}

/// The arch that is to get the denture was not scanned: nothing can be reported.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the case restores the {0}, but gives no scan of it")]
pub struct NoRestoredScan(pub &'static str);

/// Works a case through. `progress` is told what is being done, in words, from any thread.
///
/// # Errors
/// Only where the restored arch was not scanned; all else that fails is a finding `not_measured`.
pub fn analyse<'c>(
    case: &'c Case,
    rules: &'c Rules,
    progress: &(dyn Fn(&str) + Sync),
) -> Result<Analysis<'c>, NoRestoredScan> {
    progress("surfaces, anatomy, path, undercut, tori");
    let facts = Facts::new(case, rules).ok_or(NoRestoredScan(case.file.restored.word()))?;
    let parts: Vec<Part> = CHECKS
        .par_iter()
        .map(|check| {
            progress(check.title);
            (check.run)(&facts)
        })
        .collect();
    let report = report(&facts, join(parts));
    Ok(Analysis { facts, report })
}

/// Joins the parts of several checks: abutments by tooth, questions without repetition.
pub fn join(parts: Vec<Part>) -> Part {
    let mut all = Part::default();
    for part in parts {
        all.findings.extend(part.findings);
        all.spans.extend(part.spans);
        all.tori.extend(part.tori);
        all.connectors.extend(part.connectors);
        all.blockout.extend(part.blockout);
        all.mechanics.join(part.mechanics);
        all.preparation.extend(part.preparation);
        for abutment in part.abutments {
            match all.abutments.iter_mut().find(|a| a.tooth == abutment.tooth) {
                Some(known) => join_abutment(known, abutment),
                None => all.abutments.push(abutment),
            }
        }
        for question in part.questions {
            if !all.questions.iter().any(|q| q.to == question.to && q.text == question.text) {
                all.questions.push(question);
            }
        }
    }
    all
}

fn join_abutment(known: &mut AbutmentShown, more: AbutmentShown) {
    known.surfaces.extend(more.surfaces);
    known.survey_line_mm.extend(more.survey_line_mm);
    known.guiding_planes.extend(more.guiding_planes);
    known.rests.extend(more.rests);
    known.suprabulge_mm2 = known.suprabulge_mm2.or(more.suprabulge_mm2);
    known.infrabulge_mm2 = known.infrabulge_mm2.or(more.infrabulge_mm2);
    known.clasps.extend(more.clasps);
}

fn report(facts: &Facts<'_>, part: Part) -> Report {
    let case = facts.case;
    Report {
        schema: "saddleroom/report/1".into(),
        tool: Tool::this(),
        case: CaseNamed { id: case.file.id.clone(), restored_arch: case.file.restored },
        inputs: shown::inputs(facts),
        settings: Some(settings::shown(facts)),
        frame: facts.restored.anatomy.frame.as_ref().ok().map(shown::frame_found),
        articulation: shown::articulation(&facts.articulation),
        chart: shown::chart_shown(facts),
        teeth: shown::teeth(&facts.restored),
        path: path::shown(facts),
        abutments: part.abutments,
        spans: part.spans,
        tori: part.tori,
        connectors: part.connectors,
        blockout: part.blockout,
        mechanics: Some(part.mechanics).filter(|m| !m.is_empty()),
        preparation: part.preparation,
        questions: part.questions,
        findings: part.findings,
        cautions: cautions::of_a_case(),
    }
}
