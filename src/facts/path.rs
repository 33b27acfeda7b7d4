//! The path of a case: given, searched, or the occlusal normal; and the marks for it.

use super::{ArchFacts, Path};
use crate::anatomy::{Anatomy, Region};
use crate::case::{Case, ClaspKind, PathWanted, Surface, Tooth};
use crate::estimate::Measured;
use crate::measure::path_of_insertion::{self, Asked, Held, Limits, Searched, Weights};
use crate::measure::tooth_axes::ToothAxes;
use crate::measure::tripod::{self, MarkArea, Tripod, TripodAsked};
use crate::measure::undercut::{Surveyor, UndercutField};
use crate::report::ChosenBy;
use crate::rules::Rules;
use crate::space::{Direction, Tilt};

/// The direction that is used.
pub(super) fn of(case: &Case, anatomy: &Anatomy, search: Option<&Measured<Searched>>) -> Measured<Path> {
    let frame = anatomy.frame.as_ref();
    let by_tilt = |tilt: Tilt, chosen_by: ChosenBy| match frame {
        Ok(f) => Ok(Path {
            withdrawal: f.frame.tilted(tilt),
            tilt: Some(tilt),
            chosen_by,
            uncertainty_deg: f.uncertainty_deg,
        }),
        Err(reason) => Err(reason.clone()),
    };
    match (case.file.path, search) {
        (PathWanted::Withdrawal(d), _) => Ok(Path {
            withdrawal: d,
            tilt: frame.ok().and_then(|f| f.frame.tilt_of(&d)),
            chosen_by: ChosenBy::Case,
            uncertainty_deg: 1.0,
        }),
        (PathWanted::Tilt(tilt), _) => by_tilt(tilt, ChosenBy::Case),
        (PathWanted::Searched, Some(Ok(found))) => by_tilt(found.chosen, ChosenBy::Search),
        (PathWanted::Searched, _) => by_tilt(Tilt::default(), ChosenBy::OcclusalNormal),
    }
}

/// Searches all tilts; `anatomy` is that of the restored arch before its tori were told apart.
pub(super) fn search(
    case: &Case,
    restored: &ArchFacts<'_>,
    anatomy: &Anatomy,
    surveyor: &Surveyor,
    rules: &Rules,
) -> Measured<Searched> {
    path_of_insertion::search(&Asked {
        mesh: restored.mesh(),
        topology: &restored.topology,
        surveyor,
        anatomy,
        arch: restored.arch,
        held: &held(case, restored, rules),
        limits: &limits(case, rules),
        weights: &weights(rules),
        given: given(case, anatomy),
    })
}

fn given(case: &Case, anatomy: &Anatomy) -> Option<Direction> {
    match case.file.path {
        PathWanted::Searched => None,
        PathWanted::Withdrawal(d) => Some(d),
        PathWanted::Tilt(tilt) => anatomy.frame.as_ref().ok().map(|f| f.frame.tilted(tilt)),
    }
}

/// The clasps asked for; abutments without one; where neither is named, the teeth that border spans.
fn held(case: &Case, restored: &ArchFacts<'_>, rules: &Rules) -> Vec<Held> {
    let design = &case.file.design;
    let here = |t: &Tooth| t.arch() == restored.arch;
    let mut all: Vec<Held> = design
        .clasps
        .iter()
        .filter(|c| here(&c.tooth))
        .map(|c| Held { tooth: c.tooth, gauge_mm: gauge_mm(rules, c.kind), surfaces: vec![c.surface] })
        .collect();
    let mut others: Vec<Tooth> = design.abutments.iter().copied().filter(here).collect();
    if all.is_empty() && others.is_empty() {
        others.extend(restored.anatomy.spans.iter().flat_map(|s| [s.front, s.back]).flatten());
    }
    others.retain(|t| design.clasps.iter().all(|c| c.tooth != *t));
    let least = gauge_mm(rules, ClaspKind::CastCircumferential);
    all.extend(others.into_iter().map(|tooth| Held {
        tooth,
        gauge_mm: least,
        surfaces: vec![Surface::Buccal, Surface::Lingual],
    }));
    all.sort_by(|a, b| a.tooth.along().cmp(&b.tooth.along()).then(a.surfaces.cmp(&b.surfaces)));
    all.dedup();
    all
}

fn gauge_mm(rules: &Rules, kind: ClaspKind) -> f64 {
    rules.number(match kind {
        ClaspKind::CastCircumferential => "undercut_cast_circumferential_mm",
        ClaspKind::Bar => "undercut_bar_mm",
        ClaspKind::WroughtWire => "undercut_wrought_wire_mm",
    })
}

/// Where the case gives the path, the tilts beside it only show where it stands among them.
const GIVEN_STEPS: f64 = 2.0;
const WIDEST_STEP_DEG: f64 = 5.0;

fn step_deg(case: &Case, rules: &Rules) -> f64 {
    let step = rules.number("path_step_deg");
    match case.file.path {
        PathWanted::Searched => step,
        PathWanted::Withdrawal(_) | PathWanted::Tilt(_) => {
            step.max((GIVEN_STEPS * step).min(WIDEST_STEP_DEG))
        }
    }
}

fn limits(case: &Case, rules: &Rules) -> Limits {
    let from = rules.number("bar_below_margin_mm");
    Limits {
        cone_deg: rules.number("tilt_most_deg"),
        step_deg: step_deg(case, rules),
        tip_above_margin_mm: rules.number("tip_above_margin_mm"),
        ceiling_mm: rules.number("undercut_ceiling_mm"),
        guiding_deg: ["guiding_plane_good_deg", "guiding_plane_prepare_deg"].map(|id| rules.number(id)),
        guiding_height_mm: ["guiding_plane_height_extension_mm", "guiding_plane_height_tooth_mm"]
            .map(|id| rules.number(id)),
        band_mm: [from, from + rules.number("bar_height_mm")],
        palatal_border_mm: rules.number("palatal_border_mm"),
        scan_mm: case.file.accuracy.scan_mm,
        reduced_within_mm: rules.number("path_reduced_mm"),
    }
}

fn weights(rules: &Rules) -> Weights {
    let of = |what: &str| rules.number(&format!("path_weight_{what}"));
    Weights {
        retention: of("retention"),
        balance: of("balance"),
        guiding: of("guiding"),
        tissue: of("tissue"),
        blockout: of("blockout"),
        lean: of("lean"),
    }
}

/// Marks on crowns, off the surfaces of the design: those of clasps and those beside spans; where fewer than three crowns
/// are known, on all that is not ridge.
pub(super) fn tripod(case: &Case, restored: &ArchFacts<'_>, field: &UndercutField) -> Measured<Tripod> {
    let (mesh, anatomy) = (restored.mesh(), &restored.anatomy);
    let mut areas: Vec<MarkArea> = Vec::new();
    for crown in &anatomy.crowns {
        let Ok(axes) = ToothAxes::of(mesh, crown, anatomy) else { continue };
        let clasped =
            |s: Surface| case.file.design.clasps.iter().any(|c| c.tooth == crown.tooth && c.surface == s);
        for surface in [Surface::Lingual, Surface::Buccal].into_iter().filter(|s| !clasped(*s)) {
            let on = |f: &u32| axes.surface(&mesh.face_centre(*f)) == surface;
            let faces: Vec<u32> = crown.faces.iter().copied().filter(on).collect();
            areas.push(MarkArea { faces, tooth: Some(crown.tooth), surface: Some(surface) });
        }
    }
    let teeth = areas.iter().filter(|a| a.surface == Some(Surface::Lingual)).count();
    if teeth < 3 {
        areas = tripod::areas_by_plan(mesh, &field.direction);
        let ridge = |f: &u32| {
            mesh.faces()[*f as usize]
                .iter()
                .any(|&v| anatomy.region.get(v as usize) == Some(&Region::ResidualRidge))
        };
        areas.iter_mut().for_each(|a| a.faces.retain(|f| !ridge(f)));
    }
    tripod::find(&TripodAsked { mesh, topology: &restored.topology, field, areas: &areas })
}
