//! Check: room over the ridge.

mod attachment;
mod beyond_plane;
mod crown_height;
mod denture_teeth;
mod excursions;
mod fit;
mod profile;

use super::{Check, Part, articulation, ridge};
use crate::anatomy::{Span, spans};
use crate::case::{Request, SpanKind};
use crate::estimate::NotMeasured;
use crate::facts::Facts;
use crate::measure::clearance::Antagonist;
use crate::measure::crest_line::CrestLine;
use crate::report::{Finding, Opposing, SpanShown, Where};
use crate::units;

/// Where the restored arch goes in each position of an excursion; empty where that is not known.
pub(crate) fn positions_in_excursion(
    facts: &Facts<'_>,
    antagonist: &Antagonist<'_>,
) -> Vec<crate::space::Motion> {
    excursions::Moving::new(facts, antagonist).map(|m| m.motions()).unwrap_or_default()
}

/// The check.
pub const CHECK: Check = Check {
    id: "room",
    title: "Room over the ridge",
    measures: "Along each crest line the distance to the opposing arch is read along the opening direction and nearest, \
               exact on the triangles. Behind the abutment of a distal extension the room for a rigid body is measured \
               in the body's own axes: least opposing height minus greatest tissue height over its footprint, at the \
               best tilt and place allowed; the least gap point by point stands beside it and judges nothing. The 5.0 \
               mm from gingiva to the opposing arch over a hinge with its tooth are common practice with no published \
               source; parts given in the case file are judged by their own sum. The figures hold for the relation in \
               which the scans stand and for tissue as the scanner recorded it. A rigid design without an \
               attachment gets the figure as a statement, since nothing has to fit there.",
    limits: &[
        "attachment_room_mm",
        "site_length_mm",
        "site_clear_of_abutment_mm",
        "site_default_length_mm",
        "site_default_width_mm",
        "site_tilt_deg",
        "abutment_crown_height_mm",
        "site_shift_mm",
        "hinge_tissue_move_mm",
        "denture_tooth_room_mm",
        "tooth_corridor_share",
        "beyond_plane_mm",
        "excursion_mm",
        "condylar_guidance_deg",
        "bennett_deg",
        "intercondylar_mm",
        "balkwill_deg",
    ],
    method: "room.md",
    run,
};

/// What stands over the spans, prepared once for all of them.
struct Ceiling<'a> {
    antagonist: &'a Antagonist<'a>,
    opposite: Option<beyond_plane::Opposite<'a>>,
    moving: Option<excursions::Moving<'a>>,
}

fn run(facts: &Facts<'_>) -> Part {
    let mut part = Part::default();
    let spans = &facts.restored.anatomy.spans;
    let antagonist = match (&facts.opposing, &facts.opening) {
        (Some(other), Ok(up)) => Some(Antagonist::new(&other.surface, up)),
        _ => None,
    };
    let ceiling =
        antagonist.as_ref().filter(|_| spans.iter().any(|s| s.crest.is_ok())).map(|antagonist| Ceiling {
            antagonist,
            opposite: beyond_plane::Opposite::new(facts, antagonist),
            moving: excursions::Moving::new(facts, antagonist),
        });
    let mut seated = Vec::new();
    for (i, span) in spans.iter().enumerate() {
        let mut shown = of_span(facts, span, ceiling.as_ref(), &mut part, &mut seated);
        shown.ridge = ridge::stations(facts, i);
        shown.end = ridge::end(span);
        part.spans.push(shown);
    }
    if let Some(ceiling) = &ceiling {
        fit::all(facts, ceiling.antagonist, seated, &mut part);
    }
    part
}

/// Whether a part is asked for that needs room beside the abutment.
fn attachment_asked(facts: &Facts<'_>) -> bool {
    let file = &facts.case.file;
    file.attachment.is_some() || file.design.request != Some(Request::Rigid)
}

fn of_span(
    facts: &Facts<'_>,
    span: &Span,
    ceiling: Option<&Ceiling<'_>>,
    part: &mut Part,
    seated: &mut Vec<fit::Seated>,
) -> SpanShown {
    let mut shown = SpanShown {
        teeth: span.teeth.clone(),
        kind: span.kind,
        crest_mm: Vec::new(),
        profile: Vec::new(),
        least: None,
        site: None,
        fit: None,
        denture_teeth: Vec::new(),
        teeth_length: None,
        beyond_plane: Vec::new(),
        excursions: None,
        ridge: Vec::new(),
        end: None,
    };
    let name = spans::name(&span.teeth);
    let not_measured = |code: &str, reason: &NotMeasured| {
        Finding::not_measured(CHECK.id, code, &format!("Room over {name}"), reason)
            .at(Where::span(&span.teeth))
    };
    let crest = match &span.crest {
        Ok(crest) => crest,
        Err(reason) => {
            part.findings.push(not_measured("no_crest", reason));
            return shown;
        }
    };
    shown.crest_mm = crest.iter().map(units::json_place).collect();
    let line = CrestLine::new(crest);
    let stations = match (&line, ceiling) {
        (Some(line), Some(ceiling)) => profile::stations(facts, span, line, ceiling.antagonist),
        _ => Vec::new(),
    };
    shown.least = profile::least(&stations);
    shown.profile = stations;
    if let Some(reason) = articulation::hindrance(facts) {
        part.findings.push(not_measured("not_in_occlusion", &reason));
        return shown;
    }
    if !shown.profile.is_empty() && shown.profile.iter().all(|s| s.opposing == Opposing::None) {
        let reason = NotMeasured::new(
            "there is no opposing surface here",
            "a scan of the opposing arch that reaches over the span, or the word that nothing bites there",
        );
        part.findings.push(not_measured("no_opposing_surface", &reason));
        return shown;
    }
    let (Some(line), Some(ceiling)) = (&line, ceiling) else { return shown };
    let at = denture_teeth::Over { facts, span, line, antagonist: ceiling.antagonist, name: &name };
    if span.kind == SpanKind::DistalExtension {
        let site = attachment::Site { facts, span, line, profile: &shown.profile, name: &name };
        shown.site = attachment::judge(&site, part);
        if attachment_asked(facts) {
            part.findings.extend(crown_height::judge(facts, span, line));
        }
        if let Some(found) = &shown.site {
            seated.extend(fit::Seated::new(&site, found, part.spans.len()));
        }
    } else if !denture_teeth::judged(&shown) {
        part.findings.extend(profile::statement(facts, span, &name, &shown));
    }
    denture_teeth::measure(&at, &mut shown, part);
    if let Some(opposite) = &ceiling.opposite {
        beyond_plane::measure(&at, opposite, &mut shown, part);
    }
    if let Some(moving) = &ceiling.moving {
        excursions::measure(&at, moving, &mut shown, part);
    }
    shown
}

#[cfg(test)]
mod tests;
