//! The comparison as it stands in `change.json`.

use super::{Changes, Laid};
use crate::anatomy::Span;
use crate::case::{Scan, Tooth};
use crate::measure::ridge_change::{Place, RidgeChange};
use crate::measure::teeth_moved::Fate;
use crate::mesh::{Topology, audit};
use crate::report::{
    ChangeAt, ChangeFile, ChangeStation, Input, RegistrationShown, SpanChange, ToothChange, ToothFate,
};
use crate::space::Point;
use crate::units;

/// What the signs mean.
pub(super) const SIGN: &str = "A change is measured along the outward normal of the older surface: negative = the surface \
    has gone down (resorbed), positive = it has come up.";

/// A file that was read, with what is wrong with it.
pub(super) fn input(role: &str, scan: &Scan) -> Input {
    let mut defects = scan.import.defects.clone();
    let mesh = &scan.import.mesh;
    defects.extend(audit::audit_in(mesh, &Topology::new(mesh), scan.import.unit));
    super::super::shown::input(role, scan, &defects)
}

pub(super) fn registration(laid: &Laid) -> RegistrationShown {
    let r = &laid.teeth.registered;
    let rotation = r.motion.rotation.to_rotation_matrix();
    let row = |k: usize| units::json_direction(&rotation.matrix().row(k).transpose());
    RegistrationShown {
        old_to_new_rotation: [row(0), row(1), row(2)],
        old_to_new_shift_mm: units::json_place(&Point::from(r.motion.translation.vector)),
        teeth: stayed(laid),
        rms_mm: units::json(r.rms_mm),
        median_mm: units::json(r.median_mm),
        p95_mm: units::json(r.p95_mm),
        places: r.used,
        used_share: units::json(r.used_share),
        whole_agreeing_share: units::json(laid.whole.agreeing_share),
        whole_median_mm: units::json(laid.whole.median_mm),
    }
}

/// Teeth on which the registration rests.
pub(super) fn stayed(laid: &Laid) -> Vec<Tooth> {
    laid.teeth.teeth.iter().filter(|t| t.fate == Fate::Stayed).map(|t| t.tooth).collect()
}

pub(super) fn teeth(changes: &Changes<'_>, file: &mut ChangeFile) {
    let frame = changes.older.anatomy.frame.as_ref().ok().filter(|f| f.anterior_known).map(|f| f.frame);
    file.teeth = changes
        .laid
        .teeth
        .teeth
        .iter()
        .map(|t| {
            let ways = t.moved.zip(frame).map(|((_, way), f)| {
                [f.anterior, f.left, f.occlusal].map(|axis| units::json(way.dot(&axis)))
            });
            ToothChange {
                tooth: t.tooth,
                fate: fate(t.fate),
                moved_mm: t.moved.map(|(mm, _)| units::json(mm)),
                moved_uncertainty_mm: t.moved.map(|_| units::json(t.uncertainty_mm)),
                moved_anterior_left_occlusal_mm: ways,
                tilted_deg: t.tilted_deg.map(units::json),
                tilted_uncertainty_deg: t.tilted_deg.map(|_| units::json(t.uncertainty_deg)),
                residual_mm: units::json(t.median_mm),
                at_mm: units::json_place(&t.centre),
            }
        })
        .collect();
}

fn fate(fate: Fate) -> ToothFate {
    match fate {
        Fate::Stayed => ToothFate::Stayed,
        Fate::Moved => ToothFate::Moved,
        Fate::Reshaped => ToothFate::Reshaped,
        Fate::Gone => ToothFate::Gone,
        Fate::NotScanned => ToothFate::NotScanned,
    }
}

/// The ridge of a span; `exceeds` says whether its change is more than two scans of an unchanged mouth differ by.
pub(super) fn span(
    changes: &Changes<'_>,
    span: &Span,
    found: &RidgeChange,
    exceeds: Option<bool>,
) -> SpanChange {
    let mean_normal = changes.normals[found.lowest.vertex as usize];
    let steady = changes.whole(found.mean_mm, &found.lowest.at, &mean_normal).standard();
    SpanChange {
        teeth: span.teeth.clone(),
        kind: span.kind,
        exceeds_scan_difference: exceeds,
        deepest: at(changes, span, &found.lowest),
        highest: at(changes, span, &found.highest),
        mean_mm: units::json(found.mean_mm),
        volume_mm3: units::json(found.volume_mm3),
        // The scans' own errors go together over a ridge, so they do not average out.
        volume_uncertainty_mm3: units::json(found.area_mm2 * steady),
        area_mm2: units::json(found.area_mm2),
        measured_share: units::json(found.measured_share),
        profile: found
            .profile
            .iter()
            .map(|s| ChangeStation {
                s_mm: units::json(s.s_mm),
                at_mm: units::json_place(&s.at),
                change_mm: s.change_mm.map(units::json),
            })
            .collect(),
    }
}

/// A place of a ridge with its change.
pub(super) fn at(changes: &Changes<'_>, span: &Span, place: &Place) -> ChangeAt {
    let normal = changes.normals[place.vertex as usize];
    let estimate = changes.whole(place.change_mm, &place.at, &normal);
    let (s_mm, words) = place_on_ridge(span, &place.at);
    ChangeAt {
        change_mm: units::json(place.change_mm),
        uncertainty_mm: units::json(estimate.standard()),
        at_mm: units::json_place(&place.at),
        s_mm: s_mm.map(units::json),
        words,
    }
}

/// Where on a ridge a place lies: distance along the crest, and in words.
fn place_on_ridge(span: &Span, at: &Point) -> (Option<f64>, String) {
    let Ok(crest) = &span.crest else { return (None, units::place_words(at)) };
    let (mut s, mut best, mut last) = (0.0, None::<(f64, f64, Point)>, None::<Point>);
    for p in crest {
        s += last.map_or(0.0, |q| (p - q).norm());
        last = Some(*p);
        let far = (p - at).norm();
        if best.is_none_or(|(least, ..)| far < least) {
            best = Some((far, s, *p));
        }
    }
    let Some((far, s, _)) = best else { return (None, units::place_words(at)) };
    let from = span.front.map_or_else(|| "from its front end".to_owned(), |t| format!("from {t}"));
    let section = span.sections.iter().min_by(|a, b| (a.at - at).norm().total_cmp(&(b.at - at).norm()));
    let side = match section.map(|c| (at - c.at).dot(&c.outward)) {
        Some(out) if out > 1.0 => ", on the buccal slope",
        Some(out) if out < -1.0 => ", on the lingual slope",
        Some(_) => ", on the crest",
        None if far < 1.0 => ", on the crest",
        None => "",
    };
    (Some(s), format!("{} along the crest {from}{side}", units::mm(s)))
}
