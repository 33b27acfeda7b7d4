//! Check: Undercut tissue under rigid parts.

use super::{Check, Part};
use crate::estimate::{Estimate, NotMeasured, Source};
use crate::facts::{Facts, Path};
use crate::measure::blockout::{self as measure, Along, Cast, DeadSpace, PartOf, Parts, base_below};
use crate::measure::undercut::{TiltedCast, UndercutField};
use crate::mesh::Mesh;
use crate::report::{BlockoutRegion, BlockoutShown, Finding, TorusSide, TorusState, Verdict, Where};
use crate::rules::judge;
use crate::space::tan;
use crate::units::{self, Unit};

/// The check.
pub const CHECK: Check = Check {
    id: "blockout",
    title: "Undercut tissue under rigid parts",
    measures: "What a rigid part would have to cross along the withdrawal direction: under each saddle, along the band of \
               the connector, over each torus the undercut surface, the deepest undercut and its place, and the volume \
               between the bulge and the surface below it (dead space), which has to be blocked out. The dead space of all \
               parts together is written as a closed solid, blockout.ply and blockout.stl, to be laid beside the cast. It \
               is told for the surface as scanned: how far mucosa gives way, and what the scanner has not seen under a \
               bulge, is not on it. Relief is another thing and not in it.",
    limits: &["tissue_undercut_mm", "bar_below_margin_mm", "bar_below_margin_other_mm"],
    method: "blockout.md",
    run,
};

/// Share of a volume for which the columns are not sure.
const COLUMNS: f64 = 0.003;
/// Radius of tissue bulges, for the chord error of the triangles, mm.
const BULGE_RADIUS_MM: f64 = 3.0;

fn run(facts: &Facts<'_>) -> Part {
    let mut part = Part::default();
    part.findings.extend(length_said(CHECK.id, facts.case.file.withdrawal_length));
    let (path, field) = match (&facts.path, &facts.undercut) {
        (Ok(path), Ok(field)) => (path, field),
        (Err(reason), _) | (_, Err(reason)) => {
            let what = "Undercut tissue under rigid parts";
            part.findings.push(Finding::not_measured(CHECK.id, "blockout_not_measured", what, reason));
            return part;
        }
    };
    if facts.into_the_tissue(path) {
        let reason = NotMeasured::new(
            "the withdrawal direction points into the tissue",
            "the opposite direction in path.withdrawal, or no direction at all",
        );
        let what = "Undercut tissue under rigid parts";
        part.findings.push(Finding::not_measured(CHECK.id, "blockout_not_measured", what, &reason));
        return part;
    }
    measured(facts, path, field, &mut part);
    part
}

/// A direction is taken to be of length one within this.
const LENGTH_ONE: f64 = 1e-3;

/// Says that a direction was brought to length one, where it was given with another.
pub fn length_said(check: &str, given: Option<f64>) -> Option<Finding> {
    let length = given.filter(|l| (l - 1.0).abs() > LENGTH_ONE)?;
    let says = format!(
        "The withdrawal direction was given with a length of {}; it was brought to length one. Only where it points counts.",
        units::digits(length, 3)
    );
    Some(Finding::new(check, "direction_brought_to_length_one", Verdict::Caution, says))
}

fn measured(facts: &Facts<'_>, path: &Path, field: &UndercutField, part: &mut Part) {
    let (parts, lacking) = crossed(facts);
    let mesh = facts.restored.mesh();
    let base = base_below(mesh, &facts.restored.topology, &path.withdrawal);
    let cast = Cast { mesh, topology: &facts.restored.topology, base: &base };
    let tilted = facts.surveyor.tilted(&path.withdrawal);
    let along = Along { tilted: &tilted, field, uncertainty_deg: path.uncertainty_deg };
    let flags: Vec<&[bool]> = parts.iter().map(|p| p.faces.as_slice()).collect();
    let (spaces, together_mm3) = measure::dead_space(&cast, &along, &flags);
    for (of, space) in parts.iter().map(|p| &p.of).zip(&spaces) {
        let figures = Figures::new(facts, path, &tilted, space);
        part.blockout.push(shown(facts, of, space, &figures));
        part.findings.push(finding(facts, of, space, &figures));
    }
    if !parts.is_empty() {
        part.findings.push(together(together_mm3));
    }
    for reason in lacking {
        let says =
            format!("Undercut under a rigid part was not looked for at one place: {}.", reason.because);
        let mut finding = Finding::new(CHECK.id, "part_not_known", Verdict::Caution, says);
        finding.settled_by = reason.settled_by;
        part.findings.push(finding);
    }
}

fn together(volume_mm3: f64) -> Finding {
    let says = format!(
        "The dead space over all these parts together, what they share counted once, is {}; it is written as a closed solid, \
         blockout.ply and blockout.stl, to be laid beside the cast.",
        units::show(volume_mm3, Unit::Mm3)
    );
    Finding::new(CHECK.id, "blockout_together", Verdict::Caution, says)
        .with("volume_mm3", units::json(volume_mm3))
}

/// The parts of the restored arch that something rigid crosses, and why some are not known.
pub fn crossed(facts: &Facts<'_>) -> (Vec<measure::Part>, Vec<NotMeasured>) {
    let restored = &facts.restored;
    let below = ["bar_below_margin_mm", "bar_below_margin_other_mm"].map(|id| facts.rules.number(id));
    measure::parts(&Parts {
        arch: restored.arch,
        surface: &restored.surface,
        anatomy: &restored.anatomy,
        tori: &facts.tori,
        way: facts.lingual_way.as_ref(),
        below_margin_mm: below[0].min(below[1]),
    })
}

/// The dead space over all crossed parts as one closed solid; `None` where there is none or no direction.
pub fn solid(facts: &Facts<'_>) -> Option<Mesh> {
    let path = facts.path.as_ref().ok().filter(|p| !facts.into_the_tissue(p))?;
    let mesh = facts.restored.mesh();
    let base = base_below(mesh, &facts.restored.topology, &path.withdrawal);
    let cast = Cast { mesh, topology: &facts.restored.topology, base: &base };
    let (parts, _) = crossed(facts);
    let flags: Vec<&[bool]> = parts.iter().map(|p| p.faces.as_slice()).collect();
    measure::solid(&cast, &path.withdrawal, &flags)
}

/// Depth and volume with their uncertainty.
pub struct Figures {
    /// Deepest undercut, mm.
    pub deepest: Estimate,
    /// Volume, mm3.
    pub volume: Estimate,
}

impl std::fmt::Debug for Figures {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Figures").field("deepest", &self.deepest).field("volume", &self.volume).finish()
    }
}

impl Figures {
    fn new(facts: &Facts<'_>, path: &Path, tilted: &TiltedCast<'_>, space: &DeadSpace) -> Figures {
        let edge = facts.restored.mesh().mean_edge_mm();
        Figures::of(facts.case.file.accuracy.scan_mm, path.uncertainty_deg, edge, tilted, space)
    }

    /// Scan trueness over the undercut surface, half of it above and half below the dead space; the direction over the
    /// height of what stands above; the chord of an edge; the columns.
    pub fn of(
        scan_mm: f64,
        direction_deg: f64,
        edge_mm: f64,
        tilted: &TiltedCast<'_>,
        space: &DeadSpace,
    ) -> Figures {
        let above = space.deepest.and_then(|d| tilted.highest_above_mm(&d.1)).unwrap_or(0.0).max(0.0);
        let chord = edge_mm * edge_mm / (8.0 * BULGE_RADIUS_MM);
        let deepest = Estimate::new(space.deepest.map_or(0.0, |d| d.2), Vec::new())
            .with(Source::Scan, scan_mm)
            .with(Source::Direction, above * tan(direction_deg.to_radians()))
            .with(Source::Spacing, chord);
        let volume = Estimate::new(space.volume_mm3, Vec::new())
            .with(Source::Scan, scan_mm * space.area_mm2 / 2.0)
            .with(Source::Direction, space.volume_by_direction_mm3)
            .with(Source::Spacing, chord * space.area_mm2 / 2.0)
            .with(Source::Method, COLUMNS * space.volume_mm3);
        Figures { deepest, volume }
    }
}

/// A part as the report shows it.
pub fn entry(region: BlockoutRegion, place: String, space: &DeadSpace, figures: &Figures) -> BlockoutShown {
    BlockoutShown {
        region,
        place,
        span: None,
        between_teeth: None,
        side: None,
        area_mm2: units::json(space.area_mm2),
        deepest_mm: units::json(figures.deepest.value),
        deepest_uncertainty_mm: units::json(figures.deepest.standard()),
        deepest_at_mm: space.deepest.map(|d| units::json_place(&d.1)),
        volume_mm3: units::json(figures.volume.value),
        volume_uncertainty_mm3: units::json(figures.volume.standard()),
        closed_hole_vertices: space.closed_hole_vertices,
    }
}

fn shown(facts: &Facts<'_>, of: &PartOf, space: &DeadSpace, figures: &Figures) -> BlockoutShown {
    let region = match of {
        PartOf::Saddle(_) => BlockoutRegion::Saddle,
        PartOf::LingualBand(..) => BlockoutRegion::LingualBand,
        PartOf::Palate => BlockoutRegion::Palate,
        PartOf::Torus(_) => BlockoutRegion::Torus,
    };
    let mut entry = entry(region, words(facts, of), space, figures);
    match of {
        PartOf::Saddle(teeth) => entry.span = Some(teeth.clone()),
        PartOf::LingualBand(a, b) => entry.between_teeth = Some([*a, *b]),
        PartOf::Torus(i) => entry.side = facts.tori.get(*i).and_then(|t| t.side),
        PartOf::Palate => {}
    }
    entry
}

/// `under the saddle of 36, 37`.
fn words(facts: &Facts<'_>, of: &PartOf) -> String {
    match of {
        PartOf::Saddle(teeth) => {
            let names: Vec<String> = teeth.iter().map(|t| facts.tooth_words(*t)).collect();
            format!("under the saddle of {}", names.join(", "))
        }
        PartOf::LingualBand(a, b) => format!(
            "along the lingual band of the connector from {} to {}",
            facts.tooth_words(*a),
            facts.tooth_words(*b)
        ),
        PartOf::Palate => "on the palate inside the arch".to_owned(),
        PartOf::Torus(i) => {
            let torus = facts.tori.get(*i);
            let possible = torus.is_some_and(|t| t.state == TorusState::Possible);
            let side = match torus.and_then(|t| t.side) {
                Some(TorusSide::Left) => " on the left",
                Some(TorusSide::Right) => " on the right",
                Some(TorusSide::Midline) => " in the midline",
                None => "",
            };
            let at = torus.map_or_else(String::new, |t| format!(" at {}", units::place_words(&t.summit)));
            format!("over the {}torus{side}{at}", if possible { "possible " } else { "" })
        }
    }
}

fn finding(facts: &Facts<'_>, of: &PartOf, space: &DeadSpace, figures: &Figures) -> Finding {
    let rule = facts.rules.get("tissue_undercut_mm");
    let place = words(facts, of);
    let span = match of {
        PartOf::Saddle(teeth) => Some(teeth.clone()),
        _ => None,
    };
    let at = Where { span, ..Where::default() }.words(place.clone());
    let Some((_, deepest, _)) = space.deepest else {
        let says = format!("No undercut {place}: a rigid part can follow the surface along the path.");
        return Finding::new(CHECK.id, "no_tissue_undercut", Verdict::Caution, says)
            .at(at)
            .figure(&figures.deepest, Unit::Mm);
    };
    let sizes = format!(
        "deepest {} at {}, undercut surface {}, dead space {}",
        figures.deepest.words(Unit::Mm),
        units::place_words(&deepest),
        units::show(space.area_mm2, Unit::Mm2),
        figures.volume.words(Unit::Mm3)
    );
    let most = units::mm(rule.number);
    let (code, then) = match judge(&figures.deepest, rule) {
        Verdict::Exceeds => (
            "tissue_undercut_crossed",
            format!(
                "A rigid part that followed the surface there would not pass along the path: more than {most}. The dead \
                 space is what has to be blocked out if the part is to lie there."
            ),
        ),
        Verdict::Tight => (
            "tissue_undercut_near",
            format!("That is about the {most} from which a rigid part is taken to be held up by it."),
        ),
        _ => ("tissue_undercut_slight", format!("That is less than {most}.")),
    };
    let hole = if space.closed_hole_vertices > 0 {
        " Some of it depends on the closing of holes in the scan."
    } else {
        ""
    };
    let says = format!("Undercut {place}: {sizes}. {then}{hole}");
    Finding::new(CHECK.id, code, Verdict::Caution, says)
        .figure(&figures.deepest, Unit::Mm)
        .limit(rule.shown())
        .at(at.at(&deepest))
        .with("area_mm2", units::json(space.area_mm2))
        .with("volume_mm3", units::json(figures.volume.value))
        .with("volume_uncertainty_mm3", units::json(figures.volume.standard()))
        .settled_by(
            "another tilt, block-out, or a border of the part above the bulge: technician and dentist decide",
        )
}
