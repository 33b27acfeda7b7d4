//! Surfaces beside spans that run along the path, and what it would take to make one.

use super::CHECK;
use super::survey::Abutment;
use crate::anatomy::Span;
use crate::case::{SpanKind, Surface, Tooth};
use crate::estimate::{Estimate, Source};
use crate::facts::{Facts, Path};
use crate::measure::crown_wall::CrownWall;
use crate::measure::guiding_plane::{self, GuidingPlane, PlaneAsked};
use crate::measure::plane_preparation::{self, NoPlane, PlaneWanted};
use crate::report::{Finding, GuidingPlaneShown, Preparation, Verdict, Where};
use crate::rules::judge;
use crate::space::sin;
use crate::units::{self, Unit};

/// Guiding planes of an abutment.
pub(super) struct Planes {
    pub shown: Vec<GuidingPlaneShown>,
    pub findings: Vec<Finding>,
    pub preparation: Vec<Preparation>,
}

/// Looks at each surface of an abutment that borders a span.
pub(super) fn of(facts: &Facts<'_>, path: &Path, abutment: &Abutment<'_>) -> Planes {
    let mut planes = Planes { shown: Vec::new(), findings: Vec::new(), preparation: Vec::new() };
    for span in &facts.restored.anatomy.spans {
        if let Some(surface) = facing(span, abutment.crown.tooth) {
            one(facts, path, abutment, (span, surface), &mut planes);
        }
    }
    planes
}

/// The surface of `tooth` that faces a span; `None` where the span does not border it.
pub(super) fn facing(span: &Span, tooth: Tooth) -> Option<Surface> {
    if span.front != Some(tooth) && span.back != Some(tooth) {
        return None;
    }
    let beyond = span.teeth.first()?;
    // Away from the midline on the tooth's own side is distal; anything else is mesial.
    let distal = beyond.side() == tooth.side() && beyond.place() > tooth.place();
    Some(if distal { Surface::Distal } else { Surface::Mesial })
}

fn one(
    facts: &Facts<'_>,
    path: &Path,
    abutment: &Abutment<'_>,
    (span, surface): (&Span, Surface),
    planes: &mut Planes,
) {
    let (good, prepare) =
        (facts.rules.get("guiding_plane_good_deg"), facts.rules.get("guiding_plane_prepare_deg"));
    let find = |band_deg| {
        guiding_plane::find(&PlaneAsked {
            mesh: facts.restored.mesh(),
            topology: &facts.restored.topology,
            normals: facts.restored.normals(),
            crown: abutment.crown,
            axes: &abutment.axes,
            surface,
            direction: path.withdrawal,
            band_deg,
        })
    };
    let (narrow, wide) = (find(good.number), find(prepare.number));
    let tooth = facts.tooth_words(abutment.crown.tooth);
    let place = Where::tooth(abutment.crown.tooth).on(surface);
    let rule = facts.rules.get(match span.kind {
        SpanKind::DistalExtension => "guiding_plane_height_extension_mm",
        SpanKind::Bounded => "guiding_plane_height_tooth_mm",
    });
    let height = narrow.as_ref().map_or(0.0, |p| p.height_mm);
    let figure = Estimate::new(height, vec![])
        .with(Source::Scan, facts.case.file.accuracy.scan_mm)
        .with(Source::Spacing, abutment.edge_mm / 2.0);
    let guides = judge(&figure, rule) == Verdict::Fits;
    let mut says = format!(
        "{tooth} {}, beside the span: along {} of the path the surface guides ({} are wanted), within {}",
        surface.word(),
        units::mm(height),
        units::mm(rule.number),
        units::show(good.number, Unit::Deg)
    );
    match &wide {
        Some(p) => {
            says += &format!(
                "; within {} along {}.",
                units::show(prepare.number, Unit::Deg),
                units::mm(p.height_mm)
            )
        }
        None => {
            says += &format!(
                "; no part of it runs within {} of the path.",
                units::show(prepare.number, Unit::Deg)
            )
        }
    }
    if !guides {
        let read = prepared(facts, path, abutment, surface, rule.number);
        says += &read.0;
        planes.preparation.extend(read.1);
    }
    let mut finding =
        Finding::new(CHECK.id, "guiding_plane", if guides { Verdict::Fits } else { Verdict::Caution }, says)
            .figure(&figure, Unit::Mm)
            .limit(rule.shown())
            .at(place);
    if !guides {
        finding = finding.settled_by("the dentist, whether a guiding plane shall be prepared there");
    }
    planes.findings.push(finding);
    planes.shown.extend([narrow, wide].into_iter().flatten().map(|p| shown(&p)));
}

/// What would have to go to make a plane of the height wanted, in words and as figures.
fn prepared(
    facts: &Facts<'_>,
    path: &Path,
    abutment: &Abutment<'_>,
    surface: Surface,
    height_mm: f64,
) -> (String, Option<Preparation>) {
    let share = facts.rules.number("guiding_plane_width_share");
    let wanted = PlaneWanted { height_mm, width_mm: share * 2.0 * abutment.axes.half_mm[1] };
    let tooth = abutment.crown.tooth;
    let wall =
        CrownWall::new(&facts.restored.surface, abutment.crown, &abutment.axes, surface, path.withdrawal);
    let found = match wall.map(|w| plane_preparation::least(&w, &wanted)) {
        Some(Ok(found)) => found,
        Some(Err(NoPlane::Gaps)) => {
            return (
                " What making one would take is not told: the surface there is not scanned throughout."
                    .into(),
                None,
            );
        }
        Some(Err(NoPlane::TooShort)) | None => {
            let says = format!(
                " None of {} can be made there: less than that of the tooth stands above the gingival margin.",
                units::mm(height_mm)
            );
            return (says, None);
        }
    };
    let figure = Estimate::new(found.removal_mm, vec![])
        .with(Source::Scan, facts.case.file.accuracy.scan_mm)
        .with(Source::Direction, height_mm * sin(path.uncertainty_deg.to_radians()));
    let says = format!(
        " For one {} high and {} wide along this path up to {} of tooth would have to go. Enamel thickness is not on the \
         scan.",
        units::mm(height_mm),
        units::mm(wanted.width_mm),
        units::mm(found.removal_mm)
    );
    let preparation = Preparation {
        tooth,
        place: format!("{} surface, beside the span", surface.word()),
        removal_mm: units::json(found.removal_mm),
        gains: format!(
            "a guiding plane {} high and {} wide along this path, curved as the tooth; enamel thickness is not on the \
             scan, and the dentist decides",
            units::mm(height_mm),
            units::mm(wanted.width_mm)
        ),
        height_mm: Some(units::json(height_mm)),
        width_mm: Some(units::json(wanted.width_mm)),
        at_mm: Some(units::json_place(&found.at)),
        volume_mm3: Some(units::json(found.volume_mm3)),
        uncertainty_mm: Some(units::json(figure.standard())),
    };
    (says, Some(preparation))
}

fn shown(plane: &GuidingPlane) -> GuidingPlaneShown {
    GuidingPlaneShown {
        surface: plane.surface,
        height_mm: units::json(plane.height_mm),
        width_mm: units::json(plane.width_mm),
        deviation_deg: units::json(plane.deviation_deg),
    }
}
