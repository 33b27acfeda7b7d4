//! The older scan read: which arch, teeth, spans.

use super::{CompareWanted, CrownPlaces, Older};
use crate::anatomy::{Anatomy, Crown, presence, teeth};
use crate::case::Arch;
use crate::locate::Surface;
use crate::measure::registration;
use crate::measure::teeth_moved::MOST_PLACES;
use crate::mesh::{Mesh, Topology};
use crate::report::FoundBy;
use crate::rules::Rules;

/// Reads the older scan.
pub(super) fn older(mesh: &Mesh, wanted: &CompareWanted, rules: &Rules) -> Older {
    let (surface, topology) = (Surface::new(mesh), Topology::new(mesh));
    let as_arch = |arch| anatomy(&surface, &topology, arch, wanted, rules);
    let (arch, anatomy, arch_found_by) = match wanted.arch.or_else(|| named(wanted)) {
        Some(arch) => (arch, as_arch(arch), FoundBy::Case),
        None => {
            let (lower, upper) = rayon::join(|| as_arch(Arch::Mandible), || as_arch(Arch::Maxilla));
            let (arch, anatomy) = likelier(mesh, lower, upper);
            (arch, anatomy, FoundBy::Scan)
        }
    };
    Older { arch, arch_found_by, surface, topology, anatomy }
}

/// The arch of the missing teeth, where all are of one.
fn named(wanted: &CompareWanted) -> Option<Arch> {
    let missing = &wanted.chart.as_ref()?.missing;
    let first = missing.first()?.arch();
    missing.iter().all(|t| t.arch() == first).then_some(first)
}

/// The anatomy of an arch with what is known of the older scan.
pub(super) fn anatomy(
    surface: &Surface,
    topology: &Topology,
    arch: Arch,
    wanted: &CompareWanted,
    rules: &Rules,
) -> Anatomy {
    let known = teeth::Known {
        arch,
        chart: wanted.chart.as_ref(),
        abutments: &wanted.abutments,
        marks: Some(&wanted.marks),
        labels: None,
        least_confidence: rules.number("confidence_least"),
    };
    teeth::read(surface, topology, &known)
}

/// The reading that fits better: a palate tells a maxilla, else the teeth's numbers are surer in one of the two.
fn likelier(mesh: &Mesh, lower: Anatomy, upper: Anatomy) -> (Arch, Anatomy) {
    let frame = lower.frame.as_ref().or(upper.frame.as_ref()).ok();
    let vaulted = frame.is_some_and(|f| presence::vaulted(mesh, &f.frame));
    let numbers = |a: &Anatomy| a.found_teeth.as_ref().map_or(0.0, |f| f.numbers);
    if vaulted || numbers(&upper) > numbers(&lower) {
        (Arch::Maxilla, upper)
    } else {
        (Arch::Mandible, lower)
    }
}

/// Sure crowns from which on the others are not needed.
const ENOUGH: usize = 4;

/// Crowns of the older scan, and where there are few, those not sure enough to be numbered: for the registration it is
/// the surface that counts.
pub(super) fn crowns(older: &Older) -> Vec<CrownPlaces> {
    let mesh = older.surface.mesh();
    let normals = mesh.vertex_normals();
    let sure = &older.anatomy.crowns;
    // What is not sure to be a crown is not said to be gone or moved either, unless nothing else would carry the scans.
    let unsure = older.anatomy.found_teeth.iter().flat_map(|f| &f.unsure).filter(|_| sure.len() < ENOUGH);
    let all: Vec<&Crown> = sure.iter().chain(unsure).collect();
    let most = MOST_PLACES / all.len().max(6);
    all.into_iter()
        .map(|c| {
            let square: f64 = c.vertices.iter().map(|&v| (mesh.vertex(v) - c.centre).norm_squared()).sum();
            CrownPlaces {
                tooth: c.tooth,
                places: registration::places(mesh, normals, &c.vertices, most),
                centre: c.centre,
                half_mm: (square / c.vertices.len().max(1) as f64).sqrt(),
            }
        })
        .filter(|c| !c.places.is_empty())
        .collect()
}
