//! Facts as they are shown in a report.

use crate::anatomy::{KnownFrame, Origin};
use crate::case::{Kennedy, Scan, chart};
use crate::facts::{ArchFacts, Facts, Path};
use crate::measure::articulation::ArticulationFact;
use crate::mesh::Topology;
use crate::mesh::audit::{self, Defect};
use crate::report::{
    Articulation, ArticulationState, ChartShown, ChosenBy, DefectShown, FoundBy, FrameFound, Input,
    KennedyShown, PathShown, Place, TiltShown, ToothShown,
};
use crate::space::{Point, Tilt};
use crate::units;

/// The files that were read: the mandible, the maxilla, the scan of the bite.
pub fn inputs(facts: &Facts<'_>) -> Vec<Input> {
    let mut arches: Vec<&ArchFacts<'_>> =
        std::iter::once(&facts.restored).chain(facts.opposing.as_ref()).collect();
    arches.sort_by_key(|a| a.arch);
    let mut inputs: Vec<Input> =
        arches.into_iter().map(|a| input(a.arch.word(), a.scan, &a.defects)).collect();
    if let Some(bite) = &facts.case.bite {
        let mesh = &bite.import.mesh;
        let mut defects = bite.import.defects.clone();
        defects.extend(audit::audit_in(mesh, &Topology::new(mesh), bite.import.unit));
        inputs.push(input("bite", bite, &defects));
    }
    inputs
}

/// A file that was read, with what is wrong with it.
pub fn input(role: &str, scan: &Scan, defects: &[Defect]) -> Input {
    let import = &scan.import;
    Input {
        role: role.to_owned(),
        file: scan.file.clone(),
        sha256: scan.sha256.clone(),
        format: import.format.word().to_owned(),
        triangles: import.mesh.faces().len(),
        vertices: import.mesh.vertices().len(),
        unit_scale: import.unit.mm(),
        extent_mm: import.mesh.bounds().map(|(lo, hi)| [0, 1, 2].map(|k| units::json(hi[k] - lo[k]))),
        defects: defects.iter().map(defect_shown).collect(),
    }
}

fn defect_shown(d: &Defect) -> DefectShown {
    DefectShown {
        kind: d.kind,
        count: d.count,
        at_mm: d.at.as_ref().map(units::json_place),
        says: d.says.clone(),
        mended: d.mended,
    }
}

/// A position as it stands in a sentence.
pub(super) fn place_words(place: &Place) -> String {
    units::place_words(&Point::new(place[0], place[1], place[2]))
}

/// A frame as it is shown.
pub fn frame_found(known: &KnownFrame) -> FrameFound {
    FrameFound {
        origin_mm: units::json_place(&known.frame.origin),
        occlusal: units::json_direction(&known.frame.occlusal),
        anterior: units::json_direction(&known.frame.anterior),
        left: units::json_direction(&known.frame.left),
        found_by: found_by(known.origin),
        confidence: units::json(known.confidence),
        uncertainty_deg: units::json(known.uncertainty_deg),
    }
}

fn found_by(origin: Origin) -> FoundBy {
    match origin {
        Origin::Given => FoundBy::Case,
        Origin::Found => FoundBy::Scan,
    }
}

/// How two arches stand to each other, as it is shown.
pub fn articulation(fact: &ArticulationFact) -> Articulation {
    let known = fact.state != ArticulationState::Unknown;
    let place = fact.deepest_overlap.as_ref().or(fact.least_gap.as_ref()).map(|(_, p)| units::json_place(p));
    Articulation {
        state: fact.state,
        contacts: known.then_some(fact.contacts.len()),
        deepest_overlap_mm: fact.deepest_overlap.map(|(mm, _)| units::json(mm)),
        least_gap_mm: fact.least_gap.map(|(mm, _)| units::json(mm)),
        at_mm: place,
    }
}

pub(super) fn chart_shown(facts: &Facts<'_>) -> Option<ChartShown> {
    let case = facts.case;
    let (given, proposed) = facts.chart()?;
    let arch = case.file.restored;
    let (state, kennedy) = match chart::kennedy(given, arch, &case.file.design.abutments) {
        Kennedy::Dentate => ("dentate", None),
        Kennedy::Edentulous => ("edentulous", None),
        Kennedy::Class { class, modifications } => {
            let class =
                ["I", "II", "III", "IV"].get(usize::from(class).wrapping_sub(1)).copied().unwrap_or("");
            ("classified", Some(KennedyShown { class: class.to_owned(), modifications }))
        }
    };
    Some(ChartShown {
        missing: given.missing.iter().copied().filter(|t| t.arch() == arch).collect(),
        found_by: if proposed { FoundBy::Scan } else { FoundBy::Case },
        kennedy,
        state: state.to_owned(),
    })
}

pub(super) fn teeth(arch: &ArchFacts<'_>) -> Vec<ToothShown> {
    arch.anatomy
        .crowns
        .iter()
        .map(|c| ToothShown {
            tooth: c.tooth,
            margin_mm: c.margin.iter().map(units::json_place).collect(),
            crown_area_mm2: units::json(c.area_mm2),
            confidence: units::json(c.confidence),
            found_by: found_by(c.origin),
        })
        .collect()
}

/// The withdrawal direction as it is shown.
pub fn path_shown(path: &Path) -> PathShown {
    PathShown {
        withdrawal: units::json_direction(&path.withdrawal),
        tilt_deg: path
            .tilt
            .map(|t| TiltShown { anterior: units::json(t.anterior_deg), left: units::json(t.left_deg) }),
        chosen_by: path.chosen_by,
        says: path_words(path),
        search: None,
        map_tilts: Vec::new(),
        unbeaten: Vec::new(),
        compared: Vec::new(),
        tripod_mm: Vec::new(),
        tripod: Vec::new(),
    }
}

fn path_words(path: &Path) -> String {
    let reason = match path.chosen_by {
        ChosenBy::Case => "as given",
        ChosenBy::Search => "chosen by the search",
        ChosenBy::OcclusalNormal => "the occlusal normal, since no direction was given and none was searched",
    };
    let lean = path.tilt.map_or_else(
        || "its tilt is not told, since the cast has no frame".to_owned(),
        |tilt| tilt_words(&tilt),
    );
    format!("The denture comes out along {}; {lean}; {reason}.", units::direction_words(&path.withdrawal))
}

/// How a withdrawal direction leans, and how the bench tips the cast for it.
fn tilt_words(tilt: &Tilt) -> String {
    let lean = |deg: f64, plus: &str, minus: &str, tip_plus: &str, tip_minus: &str| {
        if deg.abs() < 0.05 {
            return None;
        }
        let (to, tip) = if deg > 0.0 { (plus, tip_plus) } else { (minus, tip_minus) };
        Some((format!("{} toward {to}", units::deg(deg.abs())), format!("{tip} {}", units::deg(deg.abs()))))
    };
    let parts: Vec<(String, String)> = [
        lean(tilt.anterior_deg, "anterior", "posterior", "front edge up", "front edge down"),
        lean(tilt.left_deg, "the patient's left", "the patient's right", "left side up", "right side up"),
    ]
    .into_iter()
    .flatten()
    .collect();
    if parts.is_empty() {
        return "it stands square to the occlusal plane".to_owned();
    }
    let (leans, tips): (Vec<String>, Vec<String>) = parts.into_iter().unzip();
    format!("it leans {} (tip the cast: {})", leans.join(" and "), tips.join(", "))
}
