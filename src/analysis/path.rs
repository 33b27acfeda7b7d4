//! The search for a path as it is shown.

use crate::checks;
use crate::facts::Facts;
use crate::measure::path_of_insertion::{Searched, Tried};
use crate::report::{
    ClaspSought, PathSearch, PathShown, SurfaceBesideSpan, TiltCompared, TiltScored, TripodMark, Weight,
    WhichTilt,
};
use crate::space::Tilt;
use crate::units;

/// The path of a case with its search, where one was made, and its tripod marks.
pub(super) fn shown(facts: &Facts<'_>) -> Option<PathShown> {
    let mut path = super::shown::path_shown(facts.path.as_ref().ok()?);
    if let Some(Ok(found)) = facts.search() {
        add_search(&mut path, facts, found);
    }
    if let Ok(tripod) = &facts.tripod {
        path.tripod_mm = tripod.marks.iter().map(|m| units::json_place(&m.at)).collect();
        path.tripod = tripod
            .marks
            .iter()
            .map(|m| TripodMark {
                at_mm: units::json_place(&m.at),
                tooth: m.tooth,
                surface: m.surface,
                says: checks::path::mark_words(facts, m),
            })
            .collect();
    }
    Some(path)
}

/// Puts what the search came to beside the path.
pub(super) fn add_search(path: &mut PathShown, facts: &Facts<'_>, found: &Searched) {
    path.search = Some(search(facts, found));
    path.map_tilts = found.tried.iter().map(scored).collect();
    path.unbeaten = found.unbeaten.iter().filter_map(|&i| found.tried.get(i)).map(scored).collect();
    path.compared = compared(found);
}

fn scored(tried: &Tried) -> TiltScored {
    let parts = &tried.parts;
    TiltScored {
        anterior_deg: units::json(tried.tilt.anterior_deg),
        left_deg: units::json(tried.tilt.left_deg),
        score: tried.score,
        lean_deg: parts.lean_deg,
        usable_mm: parts.usable_mm.clone(),
        retention_share: parts.retention_share,
        spread_mm: parts.spread_mm,
        guiding_share: parts.guiding_share,
        tissue_undercut_mm2: parts.tissue_mm2,
        blockout_mm3: parts.blockout_mm3,
    }
}

fn compared(found: &Searched) -> Vec<TiltCompared> {
    let of = |which: WhichTilt, tried: &Tried, chosen: bool| TiltCompared {
        which,
        chosen,
        figures: scored(tried),
        guiding_mm2: tried.parts.guiding_mm2.clone(),
        tissue_deepest_mm: tried.parts.tissue_deepest_mm,
    };
    let zero_chosen = found.chosen == Tilt::default();
    let mut all = vec![of(WhichTilt::Zero, &found.zero, zero_chosen)];
    if found.best != Tilt::default() {
        all.push(of(WhichTilt::Best, &found.best_exact, !zero_chosen));
    }
    all.extend(found.given.as_ref().map(|g| of(WhichTilt::Given, g, false)));
    all
}

fn search(facts: &Facts<'_>, found: &Searched) -> PathSearch {
    let rules = facts.rules;
    let weights = checks::path::WEIGHTS.iter().map(|&id| {
        let row = rules.get(id);
        Weight { id: id.to_owned(), weight: row.number, changed: row.changed }
    });
    PathSearch {
        cone_deg: found.goodness.cone_deg,
        step_deg: found.step_deg,
        tilts_tried: found.tried.len(),
        on_grid: found.on_grid,
        triangles: found.reduced.triangles_of_scan,
        triangles_reduced: found.reduced.triangles,
        reduced_within_mm: found.reduced.within_mm,
        clasps: found
            .held
            .iter()
            .map(|h| ClaspSought { tooth: h.tooth, surfaces: h.surfaces.clone(), gauge_mm: h.gauge_mm })
            .collect(),
        left_out: found.left_out.clone(),
        guided: found.guided.iter().map(|&(tooth, surface)| SurfaceBesideSpan { tooth, surface }).collect(),
        tissue_mm2: units::json(found.tissue_mm2),
        weights: weights.collect(),
        ceiling_mm: found.goodness.ceiling_mm,
        worst_tissue_mm2: found.goodness.worst_tissue_mm2,
        worst_blockout_mm3: found.goodness.worst_blockout_mm3,
        says: checks::path::choice_words(facts, found),
    }
}
