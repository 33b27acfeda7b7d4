//! Distances between two surfaces: along the opening direction and nearest, for every vertex of the tissue.

use super::{cautions, shown};
use crate::anatomy::frame;
use crate::case::{Arch, Scan};
use crate::estimate::NotMeasured;
use crate::locate::Surface;
use crate::measure::articulation::{self, ContactLimits, Pair};
use crate::measure::clearance::{self, Clearance};
use crate::mesh::{Topology, VertexId, audit};
use crate::report::{ArticulationState, ClearanceFile, Finding, FoundBy, Tool, Verdict};
use crate::rules::Rules;
use crate::space::{Direction, Point};
use crate::units;

/// What is asked.
#[derive(Clone, Copy, Debug, Default)]
pub struct ClearanceWanted {
    /// From the tissue toward the opposing arch; the occlusal normal found on the tissue where `None`.
    pub opening: Option<Direction>,
}

/// Distances and their layer.
#[derive(Debug)]
pub struct Clearances {
    /// What goes into `clearance.json`.
    pub file: ClearanceFile,
    /// Of each vertex of the tissue.
    pub of_vertex: Vec<Clearance>,
}

/// Measures.
///
/// # Errors
/// Where no opening direction was given and none was found: why.
pub fn clearances(
    tissue: &Scan,
    opposing: &Scan,
    wanted: &ClearanceWanted,
    rules: &Rules,
) -> Result<Clearances, NotMeasured> {
    let (mesh, other) = (&tissue.import.mesh, &opposing.import.mesh);
    let (topology, other_topology) = (Topology::new(mesh), Topology::new(other));
    let (opening, opening_from) = match wanted.opening {
        Some(d) => (d, FoundBy::Case),
        None => {
            let found = frame::find(mesh, &topology, Arch::Mandible, None)?;
            (found.sure(rules.number("confidence_least"))?.frame.occlusal, FoundBy::Scan)
        }
    };
    let (surface, other_surface) = (Surface::new(mesh), Surface::new(other));
    let of_vertex = clearance::map(&surface, &other_surface, &opening);
    let pair = Pair { restored: &surface, opposing: &other_surface, opening, map: &of_vertex };
    let limits = ContactLimits {
        contact_gap_mm: rules.number("contact_gap_mm"),
        overlap_allowed_mm: rules.number("overlap_allowed_mm"),
    };
    let fact = articulation::of_map(&pair, &limits);
    let summary = clearance::summary(&of_vertex);
    let place = |found: Option<(f64, VertexId)>| found.map(|(_, v)| units::json_place(&mesh.vertex(v)));
    let audited = |scan: &Scan, topology: &Topology| {
        let mut defects = scan.import.defects.clone();
        defects.extend(audit::audit_in(&scan.import.mesh, topology, scan.import.unit));
        defects
    };
    let file = ClearanceFile {
        schema: "saddleroom/clearance/1".into(),
        tool: Tool::this(),
        inputs: vec![
            shown::input("tissue", tissue, &audited(tissue, &topology)),
            shown::input("opposing", opposing, &audited(opposing, &other_topology)),
        ],
        opening: units::json_direction(&opening),
        opening_from,
        articulation: shown::articulation(&fact),
        vertices: of_vertex.len(),
        nothing_above: summary.nothing_above,
        least_along_mm: summary.least_along.map(|(mm, _)| units::json(mm)),
        least_along_at_mm: place(summary.least_along),
        least_nearest_mm: summary.least_nearest.map(|(mm, _)| units::json(mm)),
        least_nearest_at_mm: place(summary.least_nearest),
        findings: findings(summary.least_along, fact.state, fact.deepest_overlap.as_ref()),
        cautions: cautions::of_clearance(),
    };
    Ok(Clearances { file, of_vertex })
}

fn findings(
    along: Option<(f64, VertexId)>,
    state: ArticulationState,
    overlap: Option<&(f64, Point)>,
) -> Vec<Finding> {
    let mut findings = Vec::new();
    if along.is_none() {
        let reason = NotMeasured::new(
            "no ray along the opening direction meets the opposing surface",
            "the direction (--opening), the order of the files, or scans that stand in their relation",
        );
        findings.push(Finding::not_measured(
            "clearance",
            "nothing_opposite",
            "Distance along the opening direction",
            &reason,
        ));
    }
    if let (ArticulationState::Overlapping, Some((mm, at))) = (state, overlap) {
        let says = format!(
            "The surfaces overlap by up to {} at {}: distances there are negative, and all others hold only if this is the \
             true relation.",
            units::mm(*mm),
            units::place_words(at)
        );
        let place = crate::report::Where::default().at(at);
        findings.push(Finding::new("clearance", "overlapping", Verdict::Caution, says).at(place));
    }
    findings
}
