//! A designed framework against its case: where it lies, how it seats, what it touches, how thick it is.

mod arms;
mod lay;
mod parts;
mod said;
mod said_file;
mod said_parts;
mod seen;

use crate::case::{Arch, Case, Scan};
use crate::facts::{ArchFacts, Facts};
use crate::measure::clearance::Antagonist;
use crate::measure::framework::brought::Brought;
use crate::measure::framework::connectors::{self, OverTissue};
use crate::measure::framework::laid::Laid;
use crate::measure::framework::margins::Margins;
use crate::measure::framework::parts::{Crossing, Over, axes, chosen, crossings, over};
use crate::measure::framework::seating::{self, OtherPath, Strike};
use crate::measure::framework::shells::{self, Sane};
use crate::measure::framework::thickness::{self, Thick};
use crate::measure::framework::{Cast, Framework, Near, edges, quantile};
use crate::measure::tooth_axes::ToothAxes;
use crate::measure::undercut::TiltedCast;
use crate::mesh::{VertexId, audit};
use crate::report::{
    CaseNamed, FileShown, FrameworkFile, Input, LaidShown, OtherPathShown, PartKind, SeatingShown,
    StrikeShown, Tool,
};
use crate::rules::Rules;
use crate::space::{Direction, Point};
use crate::units;
pub use seen::CastSeen;

use super::NoRestoredScan;

/// What came of a framework.
#[derive(Debug)]
pub struct FrameworkChecked {
    /// What goes into `framework.json`.
    pub file: FrameworkFile,
    /// The framework in the cast's axes.
    pub mesh: crate::mesh::Mesh,
    /// Distance of each of its vertices from the cast, mm; negative inside.
    pub distance_mm: Vec<Option<f64>>,
    /// Thickness at each vertex by the inscribed ball, mm.
    pub thickness_mm: Vec<Option<f64>>,
    /// The cast that it was measured on.
    pub cast: CastSeen,
}

/// Tilts up to which other paths are tried, degrees.
const OTHER_PATHS_DEG: f64 = 15.0;
/// Lift at which the play is read, mm.
const PLAY_LIFT_MM: f64 = 1.0;
/// Depth that a turned framework may enter before it counts as stopped, mm.
const PLAY_MM: f64 = 0.02;
/// Corridor beside a crossed margin that belongs to what crosses it, mm.
const CORRIDOR_MM: f64 = 4.0;
/// Share of the surface without a wall behind it from which the file is no metal.
const MOST_BARE: f64 = 0.3;
/// Standard uncertainty of a position found by contact at the least, mm: half of the gap that is left under what touches.
const LEAST_PLACED_MM: f64 = 0.03;
/// Greatest extent of a framework, mm, and the least.
const EXTENT_MM: [f64; 2] = [8.0, 120.0];

/// Everything that is read once of a framework in place.
struct Placed<'a, 'c> {
    facts: &'a Facts<'c>,
    cast: Cast<'a>,
    framework: &'a Framework,
    near: Vec<Option<Near>>,
    thick: Vec<Option<Thick>>,
    over: Vec<Over>,
    axes: std::collections::BTreeMap<crate::case::Tooth, ToothAxes>,
    crossings: Vec<Crossing>,
    margins: Margins,
    tissue: Vec<OverTissue>,
    antagonist: Option<Antagonist<'a>>,
    /// Along the path of the case; `None` where there is none.
    d: Option<Direction>,
    /// Along the path, else the occlusal normal, else up: for what needs some direction only.
    up: Direction,
    /// The cast set up in that direction.
    tilted: TiltedCast<'a>,
    laid: Laid,
    /// How it was brought onto the cast, where its file had other axes.
    brought: Option<Brought>,
    /// Standard uncertainty of a distance to the cast, mm.
    off_mm: f64,
}

fn cast<'a>(arch: &'a ArchFacts<'_>) -> Cast<'a> {
    Cast { surface: &arch.surface, normals: arch.normals(), anatomy: &arch.anatomy }
}

/// Checks a framework against a case. `progress` is told what is being done.
///
/// # Errors
/// Only where the restored arch was not scanned.
pub fn framework(
    case: &Case,
    frame: &Scan,
    rules: &Rules,
    progress: &(dyn Fn(&str) + Sync),
) -> Result<FrameworkChecked, NoRestoredScan> {
    progress("surfaces, anatomy, path, undercut, tori");
    let facts = Facts::new(case, rules).ok_or(NoRestoredScan(case.file.restored.word()))?;
    let mut file = blank(&facts, frame);
    progress("whether the framework lies on the cast");
    let given = Framework::new(&frame.import.mesh);
    said::of_size(&given, frame, &mut file);
    match lay::lay(&facts, &given, progress, &mut file) {
        Ok((found, moved)) => {
            progress("distances, thickness");
            let (given, brought) = match moved {
                Some(moved) => (moved.framework, Some(moved.by)),
                None => (given, None),
            };
            let placed = Placed::new(&facts, &given, (found, brought));
            progress("way in, parts, opposing arch");
            placed.measure(&mut file);
            let distance_mm = placed.near.iter().map(|n| n.map(|n| n.signed_mm)).collect();
            let thickness_mm = placed.thick.iter().map(|t| t.map(|t| t.sphere_mm)).collect();
            let mesh = given.mesh().clone();
            Ok(FrameworkChecked { file, mesh, distance_mm, thickness_mm, cast: CastSeen::of(&facts) })
        }
        Err(reason) => {
            said::no_place(&reason, &mut file);
            let thick = thickness::of_vertices(&given);
            let none = vec![None; given.mesh().vertices().len()];
            let mut sane = shells::look(&given, &none, &thick);
            // Without a place on the cast, or in the wrong unit, no wall is told thin.
            sane.no_wall = None;
            let distance_mm = vec![None; thick.len()];
            if !is_likely(extent_mm(&given)) {
                // Read in a wrong unit: no length of it is told.
                said::of_file(&facts, &sane, None, &mut file);
                let (mesh, cast, thickness_mm) =
                    (given.mesh().clone(), CastSeen::of(&facts), distance_mm.clone());
                return Ok(FrameworkChecked { file, mesh, distance_mm, thickness_mm, cast });
            }
            of_file(&facts, &given, &thick, &sane, &mut file);
            let thickness_mm = thick.iter().map(|t| t.map(|t| t.sphere_mm)).collect();
            let (mesh, cast) = (given.mesh().clone(), CastSeen::of(&facts));
            Ok(FrameworkChecked { file, mesh, distance_mm, thickness_mm, cast })
        }
    }
}

/// Greatest extent of a framework along an axis, mm.
fn extent_mm(framework: &Framework) -> f64 {
    framework.mesh().bounds().map_or(0.0, |(low, high)| (high - low).max())
}

/// Whether frameworks are of this extent.
fn is_likely(extent_mm: f64) -> bool {
    (EXTENT_MM[0]..=EXTENT_MM[1]).contains(&extent_mm)
}

fn blank(facts: &Facts<'_>, frame: &Scan) -> FrameworkFile {
    let mut inputs: Vec<Input> = super::shown::inputs(facts);
    // A framework is no arch: what would be wrong with an arch's size or shells is not told of it.
    let defects: Vec<audit::Defect> = frame
        .import
        .defects
        .iter()
        .filter(|d| !matches!(d.kind, audit::DefectKind::UnlikelyUnit | audit::DefectKind::SeveralShells))
        .cloned()
        .collect();
    inputs.push(super::shown::input("framework", frame, &defects));
    FrameworkFile {
        schema: "saddleroom/framework/1".into(),
        tool: Tool::this(),
        case: CaseNamed { id: facts.case.file.id.clone(), restored_arch: facts.restored.arch },
        inputs,
        laid: None,
        path: facts.path.as_ref().ok().map(super::shown::path_shown),
        seating: None,
        parts: Vec::new(),
        border_mm: None,
        border_at_mm: None,
        torus_relief_mm: None,
        connector_relief_mm: None,
        margin_gap_mm: None,
        file: None,
        vertices: frame.import.mesh.vertices().len(),
        triangles: frame.import.mesh.faces().len(),
        questions: Vec::new(),
        findings: Vec::new(),
        cautions: super::cautions::of_a_framework(),
    }
}

impl<'a, 'c> Placed<'a, 'c> {
    fn new(
        facts: &'a Facts<'c>,
        framework: &'a Framework,
        (laid, brought): (Laid, Option<Brought>),
    ) -> Placed<'a, 'c> {
        let cast = cast(&facts.restored);
        let (near, thick) = rayon::join(|| cast.under(framework), || thickness::of_vertices(framework));
        let d = facts.path.as_ref().ok().map(|p| p.withdrawal);
        let normal = facts.restored.anatomy.frame.as_ref().ok().map(|f| f.frame.occlusal);
        let up = d.or(normal).unwrap_or_else(|| Direction::new_unchecked(crate::space::Vector::z()));
        let over = over(&cast, &near, &up);
        let axes = axes(&cast);
        let crossings = crossings(framework, &cast);
        let margins = Margins::new(&cast, &crossings);
        let tissue = connectors::over_tissue(framework, &near, &over, &margins, CORRIDOR_MM);
        let antagonist = match (&facts.opposing, &facts.opening) {
            (Some(other), Ok(opening)) => Some(Antagonist::new(&other.surface, opening)),
            _ => None,
        };
        let edge = framework.mesh().mean_edge_mm();
        // The chord of its edges on a wall of 2 mm radius.
        let chord_mm = edge * edge / 16.0 / 12.0_f64.sqrt();
        let placed_mm = brought.map_or(0.0, |b| b.residual_mm.max(LEAST_PLACED_MM));
        let off_mm = crate::space::hypot(chord_mm, placed_mm);
        let tilted = facts.surveyor.tilted(&up);
        Placed {
            facts,
            cast,
            framework,
            near,
            thick,
            over,
            axes,
            crossings,
            margins,
            tissue,
            antagonist,
            d,
            up,
            tilted,
            laid,
            brought,
            off_mm,
        }
    }

    fn measure(&self, file: &mut FrameworkFile) {
        file.laid = Some(self.laid_shown());
        said::of_laid(self, file);
        let sane = shells::look(self.framework, &self.near, &self.thick);
        let area_mm2: f64 = self.framework.vertex_areas_mm2().iter().sum();
        if let Some(bare) = sane.no_wall.filter(|s| s.amount > MOST_BARE * area_mm2) {
            // Parts and walls of a sheet would be told wrong one by one.
            said::no_metal(bare.amount / area_mm2, file);
            of_file(self.facts, self.framework, &self.thick, &sane, file);
            return;
        }
        let arms = self.arms();
        self.seating(&arms, file);
        self.rests(file);
        self.clasp_arms(&arms, file);
        self.crossing_parts(&arms, file);
        self.major_connector(file);
        self.bases(file);
        self.over_tori(file);
        self.border(&arms, file);
        self.against_opposing(file);
        of_file(self.facts, self.framework, &self.thick, &sane, file);
    }

    fn laid_shown(&self) -> LaidShown {
        LaidShown {
            residual_mm: units::json(self.laid.residual_mm),
            touching_share: units::json(self.laid.touching_share),
            deep_share: units::json(self.laid.deep_share),
        }
    }

    fn seating(&self, arms: &arms::Arms, file: &mut FrameworkFile) {
        let Some(d) = self.d else {
            said::no_path(self.facts, file);
            return;
        };
        let all: Vec<VertexId> = (0..self.near.len() as VertexId).collect();
        let struck = seating::struck(self.framework, &self.cast, &d, &all);
        let (flexing, rigid): (Vec<_>, Vec<_>) = struck.iter().partition(|s| arms.flexes(s.vertex));
        let least = self.facts.rules.number("frame_strike_mm");
        let of_rigid = seating::strikes(self.framework, &d, &rigid, PLAY_MM);
        let of_arms = seating::strikes(self.framework, &d, &flexing, PLAY_MM);
        let fitting: Vec<VertexId> = all
            .iter()
            .copied()
            .filter(|&v| {
                !arms.flexes(v) && self.near[v as usize].is_some_and(|n| n.fitting && n.signed_mm < 1.5)
            })
            .collect();
        let paths = seating::paths(self.framework, &self.cast, &d, &fitting, OTHER_PATHS_DEG);
        let play_deg = self.play(&d, &fitting);
        let best = paths.iter().min_by(|a, b| {
            // Among those that strike nothing the one nearest to the case's own.
            let key = |p: &OtherPath| if p.by_mm <= least { 0.0 } else { p.by_mm };
            key(a).total_cmp(&key(b)).then(a.from_case_deg.total_cmp(&b.from_case_deg))
        });
        let Some(best) = best else { return };
        let shown = |s: &Strike, flexing: bool| StrikeShown {
            at_mm: units::json_place(&s.at),
            by_mm: units::json(s.by_mm),
            lift_mm: units::json(s.lift_mm),
            from_mm: units::json(s.from_mm),
            tooth: self.tooth_struck(&s.on_the_way),
            vertices: s.vertices,
            flexing,
        };
        let mut strikes: Vec<StrikeShown> = of_rigid.iter().map(|s| shown(s, false)).collect();
        strikes.extend(of_arms.iter().map(|s| shown(s, true)));
        file.seating = Some(SeatingShown {
            from_mm: seating::FROM_MM,
            strikes,
            play_deg: play_deg.map(|axis| axis.map(units::json)),
            best: OtherPathShown {
                withdrawal: units::json_direction(&best.direction),
                from_case_deg: units::json(best.from_case_deg),
                by_mm: units::json(best.by_mm),
            },
            tried: paths.len(),
            free: paths.iter().filter(|p| p.by_mm <= least).count(),
        });
        said::of_seating(self, &of_rigid, &of_arms, best, file);
        said::of_play(&play_deg, PLAY_LIFT_MM, file);
    }

    fn tooth_struck(&self, p: &Point) -> Option<crate::case::Tooth> {
        crate::case::Tooth::fdi(self.cast.tooth_at(self.cast.surface.closest(p)?.face))
    }

    /// Free turns a millimetre over the seat about left, anterior and the path; none where the frame is not known.
    fn play(&self, d: &Direction, rigid: &[VertexId]) -> [[f64; 2]; 3] {
        let places: Vec<Point> = rigid.iter().map(|&v| self.framework.mesh().vertex(v)).collect();
        let Some(middle) = middle(&places) else { return [[0.0; 2]; 3] };
        let (u, w) = crate::space::across(d);
        let frame = self.facts.restored.anatomy.frame.as_ref().ok().filter(|f| f.anterior_known);
        let flat = |v: crate::space::Vector| crate::space::direction(v - d.into_inner() * v.dot(d));
        let axes = [
            frame.and_then(|f| flat(f.frame.left.into_inner())).unwrap_or(Direction::new_unchecked(u)),
            frame.and_then(|f| flat(f.frame.anterior.into_inner())).unwrap_or(Direction::new_unchecked(w)),
            *d,
        ];
        let mut play = [[0.0; 2]; 3];
        rayon::scope(|s| {
            for (slot, axis) in play.iter_mut().zip(&axes) {
                let middle = &middle;
                s.spawn(move |_| {
                    *slot = seating::play_deg(
                        self.framework,
                        &self.cast,
                        (d, PLAY_LIFT_MM),
                        (axis, middle),
                        rigid,
                        PLAY_MM,
                    );
                });
            }
        });
        play
    }

    /// Least clearance to the opposing arch of some vertices, in occlusion.
    fn opposing_of(&self, of: &[VertexId]) -> Option<crate::measure::framework::opposing::Least> {
        let antagonist = self.against()?;
        crate::measure::framework::opposing::least(
            self.framework,
            antagonist,
            of,
            (&crate::space::Motion::identity(), f64::INFINITY),
        )
    }

    /// The opposing arch with the normals of its vertices.
    fn against(&self) -> Option<(&Antagonist<'a>, &'a [crate::space::Vector])> {
        Some((self.antagonist.as_ref()?, self.facts.opposing.as_ref()?.normals()))
    }

    fn vertices_over(&self, wanted: impl Fn(Over) -> bool) -> Vec<VertexId> {
        chosen(&self.over, wanted)
    }

    fn over_tori(&self, file: &mut FrameworkFile) {
        let tori = &self.facts.tori;
        if tori.is_empty() {
            return;
        }
        let mut on = vec![false; self.cast.surface.mesh().faces().len()];
        tori.iter().flat_map(|t| &t.faces).for_each(|&f| on[f as usize] = true);
        let over: Vec<(f64, VertexId)> = self
            .near
            .iter()
            .enumerate()
            .filter_map(|(v, n)| {
                let n = n.filter(|n| n.fitting && on[n.face as usize] && n.signed_mm < 2.5)?;
                Some((n.signed_mm, v as VertexId))
            })
            .collect();
        let Some(least) = quantile(over.iter().map(|o| o.0).collect(), 0.02) else {
            said::clear_of_tori(file);
            return;
        };
        let at = over.iter().min_by(|a, b| a.0.total_cmp(&b.0)).map(|o| self.framework.mesh().vertex(o.1));
        file.torus_relief_mm = Some(units::json(least));
        said::over_torus(self, least, at, file);
    }

    fn border(&self, arms: &arms::Arms, file: &mut FrameworkFile) {
        // A tip beside the papilla is no border of the connector.
        let of: Vec<OverTissue> = self
            .tissue
            .iter()
            .filter(|o| !arms.pass(&self.framework.mesh().vertex(o.vertex)))
            .copied()
            .collect();
        if let Some(found) = connectors::border(self.framework, &of) {
            file.border_mm = Some(units::json(found.distance_mm));
            file.border_at_mm = Some(units::json_place(&found.at));
            said::of_border(self, &found, file);
        }
    }
}

/// What the file itself is like.
fn of_file(
    facts: &Facts<'_>,
    framework: &Framework,
    thick: &[Option<Thick>],
    sane: &Sane,
    file: &mut FrameworkFile,
) {
    let wall = thickness::thinnest_wall(framework, thick);
    let alloy = facts
        .case
        .file
        .design
        .clasps
        .iter()
        .find_map(|c| c.alloy)
        .unwrap_or(crate::case::Alloy::CobaltChromium);
    let density = said::density(facts.rules, alloy);
    let inner = edges::inner(framework);
    file.file = Some(FileShown {
        watertight: sane.is_closed(),
        bodies: sane.bodies,
        borders: sane.borders.len(),
        struts: sane.struts.len(),
        volume_mm3: sane.volume_mm3.map(units::json),
        mass_g: sane.volume_mm3.zip(density).map(|(v, d)| units::json(v * d / 1000.0)),
        alloy: crate::checks::clasp_arms::alloy_words(alloy).to_owned(),
        thinnest_wall_mm: wall.map(|w| units::json(w.0)),
        thinnest_at_mm: wall.map(|w| units::json_place(&w.1)),
        sharp_inner_edges_mm: units::json(inner.sharp_mm),
        blunt_inner_edges_mm: units::json(inner.blunt_mm),
    });
    said::of_file(facts, sane, wall, file);
    said::of_inner_edges(&inner, file);
    if let Some(volume_mm3) = sane.volume_mm3 {
        said::of_volume(facts, volume_mm3, alloy, file);
    }
}

/// Which kind of major connector an arch gets.
fn connector_kind(arch: Arch) -> PartKind {
    if arch == Arch::Mandible { PartKind::Bar } else { PartKind::Strap }
}

/// Middle of some places; `None` without any.
fn middle(places: &[Point]) -> Option<Point> {
    let sum: crate::space::Vector = places.iter().map(|p| p.coords).sum();
    (!places.is_empty()).then(|| Point::from(sum / places.len() as f64))
}
