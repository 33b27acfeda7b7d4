//! What is computed once for a case: surfaces, anatomy, opening direction, path, undercut field, tori. Checks only read it.

mod path;
pub mod relation;
pub mod seats;

use crate::anatomy::presence::{self, ArchView};
use crate::anatomy::{Anatomy, Region, teeth};
use crate::case::{Arch, Case, Chart, Notation, PathWanted, Rest, Scan, Tooth};
use crate::estimate::Measured;
use crate::locate::Surface;
use crate::measure::articulation::{self, ArticulationFact, ContactLimits, Pair};
use crate::measure::clearance::{self, Clearance};
use crate::measure::connector::{self, LingualWay};
use crate::measure::keepout::{self, KeepOut};
use crate::measure::palate::{self, PalatalWay};
use crate::measure::path_of_insertion::Searched;
use crate::measure::ridge_form;
use crate::measure::torus::{self, Torus, TorusSettings};
use crate::measure::tripod::Tripod;
use crate::measure::undercut::{Surveyor, UndercutField};
use crate::mesh::audit::{self, Defect, DefectKind};
use crate::mesh::made_once;
use crate::mesh::{Mesh, Topology, VertexId};
use crate::report::ChosenBy;
use crate::rules::Rules;
use crate::space::{Direction, Motion, Tilt, Vector};
use relation::Relation;
use seats::SeatFact;
use std::sync::OnceLock;

/// Depths under the crest at which the width of a ridge is read, mm.
pub const RIDGE_DEPTHS_MM: [f64; 2] = [3.0, 5.0];

/// One arch, prepared.
#[derive(Debug)]
pub struct ArchFacts<'c> {
    /// Which arch.
    pub arch: Arch,
    /// The scan it comes from.
    pub scan: &'c Scan,
    /// Adjacency of its surface.
    pub topology: Topology,
    /// Its surface, ready for distances and rays.
    pub surface: Surface,
    /// What is where.
    pub anatomy: Anatomy,
    /// What is wrong with the file and its surface.
    pub defects: Vec<Defect>,
}

impl<'c> ArchFacts<'c> {
    fn view<'v>(&'v self, chart: Option<&'v Chart>) -> ArchView<'v> {
        ArchView { arch: self.arch, mesh: self.mesh(), frame: self.anatomy.frame.as_ref().ok(), chart }
    }

    /// Its mesh.
    pub fn mesh(&self) -> &Mesh {
        self.surface.mesh()
    }

    /// Unit normals of its vertices.
    pub fn normals(&self) -> &[Vector] {
        self.mesh().vertex_normals()
    }

    fn new(case: &'c Case, arch: Arch, rules: &Rules, motion: Option<&Motion>) -> Option<ArchFacts<'c>> {
        let scan = case.scan(arch)?;
        let moved = motion.map(|m| scan.import.mesh.moved(m));
        let mesh = moved.as_ref().unwrap_or(&scan.import.mesh);
        let (topology, surface) = rayon::join(|| Topology::new(mesh), || Surface::new(mesh));
        let known = teeth::Known {
            arch,
            chart: case.file.chart.as_ref(),
            abutments: &case.file.design.abutments,
            marks: (arch == case.file.restored).then_some(&case.file.marks),
            labels: scan.labels.as_deref(),
            least_confidence: rules.number("confidence_least"),
        };
        let (anatomy, found) = rayon::join(
            || teeth::read(&surface, &topology, &known),
            || audit::audit_in(mesh, &topology, scan.import.unit),
        );
        let mut defects = scan.import.defects.clone();
        defects.extend(found);
        Some(ArchFacts { arch, scan, topology, surface, anatomy, defects })
    }
}

/// The withdrawal direction that is used.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Path {
    /// From the tissue to the occlusal side.
    pub withdrawal: Direction,
    /// Its tilt, where there is a frame.
    pub tilt: Option<Tilt>,
    /// Who chose it.
    pub chosen_by: ChosenBy,
    /// Its standard uncertainty, degrees.
    pub uncertainty_deg: f64,
}

/// What the restored arch tells without the other one.
struct Own<'c> {
    restored: ArchFacts<'c>,
    surveyor: Surveyor,
    search: OnceLock<Measured<Searched>>,
    path: Measured<Path>,
    undercut: Measured<UndercutField>,
    tripod: Measured<Tripod>,
    tori: Vec<Torus>,
    keepout: KeepOut,
}

impl<'c> Own<'c> {
    fn new(case: &'c Case, rules: &Rules) -> Option<Own<'c>> {
        let restored = ArchFacts::new(case, case.file.restored, rules, None)?;
        let (mesh, topology) = (restored.mesh(), &restored.topology);
        let surveyor = Surveyor::new(mesh, topology);
        let along = || {
            let search = OnceLock::new();
            // A path that the case gives needs no search; it is made when somebody asks what else there would be.
            if case.file.path == PathWanted::Searched || case.tilts_beside {
                search.get_or_init(|| path::search(case, &restored, &restored.anatomy, &surveyor, rules));
            }
            let path = path::of(case, &restored.anatomy, search.get());
            let undercut = path.clone().map(|p| surveyor.field(&p.withdrawal));
            let tripod =
                undercut.as_ref().map_err(Clone::clone).and_then(|f| path::tripod(case, &restored, f));
            (search, path, undercut, tripod)
        };
        let marks = &case.file.marks;
        let rises = || {
            let settings = torus_settings(rules);
            let anatomy = &restored.anatomy;
            let tori =
                torus::find(mesh, topology, restored.arch, anatomy, &marks.tori, &marks.tori_at, &settings);
            let [margin_mm, relief_mm] = ["keepout_margin_mm", "relief_mm"].map(|id| rules.number(id));
            let keepout = keepout::keepout(mesh, topology, &tori, margin_mm, relief_mm);
            (tori, keepout)
        };
        let ((search, path, undercut, tripod), (tori, keepout)) = rayon::join(along, rises);
        Some(Own { surveyor, search, path, undercut, tripod, tori, keepout, restored })
    }
}

/// Everything that checks read.
#[derive(Debug)]
pub struct Facts<'c> {
    /// The case.
    pub case: &'c Case,
    /// The limits.
    pub rules: &'c Rules,
    /// The arch that gets the denture.
    pub restored: ArchFacts<'c>,
    /// The other arch, where it was scanned.
    pub opposing: Option<ArchFacts<'c>>,
    /// From the restored tissue toward the opposing arch.
    pub opening: Measured<Direction>,
    /// Clearance of every vertex of the restored arch, where there is another arch and an opening direction.
    pub clearance: Option<Vec<Clearance>>,
    /// Who says how the arches stand to each other, and how the opposing one was moved for it.
    pub relation: Measured<Relation>,
    /// How the arches stand to each other.
    pub articulation: ArticulationFact,
    search: OnceLock<Measured<Searched>>,
    /// What vertices of tori were before they were known as such.
    under_tori: Vec<(VertexId, Region)>,
    /// The withdrawal direction.
    pub path: Measured<Path>,
    /// Marks by which the cast is set up again for it.
    pub tripod: Measured<Tripod>,
    /// Undercut along it.
    pub undercut: Measured<UndercutField>,
    /// The surveyor of the restored arch.
    pub surveyor: Surveyor,
    /// Form of the residual ridge of each span of the restored arch; empty where its crest or the frame is not known.
    pub ridges: Vec<Vec<ridge_form::Station>>,
    /// Tori of the restored arch.
    pub tori: Vec<Torus>,
    /// Where nothing rigid may bear because of them.
    pub keepout: KeepOut,
    /// The lingual way for a connector; `None` where a maxilla gets the denture.
    pub lingual_way: Option<Measured<LingualWay>>,
    /// The palatal way for a connector; `None` where a mandible gets the denture.
    pub palatal_way: Option<Measured<PalatalWay>>,
    /// What is wrong with the pair of scans.
    pub pair_defects: Vec<Defect>,
    /// Places of the restored arch at which a rest can lie.
    pub seats: Vec<SeatFact>,
}

impl<'c> Facts<'c> {
    /// Computes the facts. `None` where the restored arch was not scanned.
    pub fn new(case: &'c Case, rules: &'c Rules) -> Option<Facts<'c>> {
        let related = relation::of(case);
        let motion = related.as_ref().ok().and_then(Relation::motion);
        // What the restored arch alone tells does not wait for the other one.
        let (own, opposing) = rayon::join(
            || Own::new(case, rules),
            || ArchFacts::new(case, case.file.restored.opposing(), rules, motion),
        );
        let Own { mut restored, surveyor, search, path, undercut, tripod, tori, keepout } = own?;
        let opening = restored.anatomy.frame.clone().map(|f| f.frame.occlusal);
        let pair_defects = pair_defects(case, &restored, opposing.as_ref());
        // A surface has no relation to itself.
        let twice = pair_defects.iter().any(|d| d.kind == DefectKind::SameFileTwice);
        let other = opposing.as_ref().filter(|_| !twice);
        let ((clearance, articulation), seats) = rayon::join(
            || relation(&restored, other, opening.as_ref().ok(), rules),
            || seats::read(&restored, other, opening.as_ref().ok(), &case.file.design.rests),
        );
        let spans = &restored.anatomy.spans;
        let ridges = spans.iter().map(|s| ridge_form::form(&s.sections, RIDGE_DEPTHS_MM)).collect();
        let surface = restored.surface.mesh();
        let mut under_tori = Vec::new();
        for &v in tori.iter().flat_map(|t| &t.faces).flat_map(|&f| &surface.faces()[f as usize]) {
            let region = &mut restored.anatomy.region[v as usize];
            if !matches!(*region, Region::Tooth | Region::Torus) {
                under_tori.push((v, *region));
                *region = Region::Torus;
            }
        }
        let lingual_way = (restored.arch == Arch::Mandible).then(|| {
            connector::lingual_way(&connector::Cast {
                surface: &restored.surface,
                topology: &restored.topology,
                anatomy: &restored.anatomy,
                tori: &tori,
                abutments: &case.file.design.abutments,
                probed_mm: &case.file.probe_mm,
            })
        });
        let palatal_way = (restored.arch == Arch::Maxilla).then(|| {
            palate::palatal_way(&palate::Cast {
                surface: &restored.surface,
                topology: &restored.topology,
                anatomy: &restored.anatomy,
                tori: &tori,
                abutments: &case.file.design.abutments,
                border_mm: rules.number("palatal_border_mm"),
                keep_mm: rules.number("keepout_margin_mm"),
            })
        });
        Some(Facts {
            case,
            rules,
            restored,
            opposing,
            opening,
            clearance,
            relation: related,
            articulation,
            search,
            under_tori,
            path,
            tripod,
            undercut,
            surveyor,
            ridges,
            tori,
            keepout,
            lingual_way,
            palatal_way,
            pair_defects,
            seats,
        })
    }

    /// What a search of all tilts came to; `None` where the case gives its path and nothing was tried beside it.
    pub fn search(&self) -> Option<&Measured<Searched>> {
        self.search.get()
    }

    /// The same, searched now where it was not yet.
    pub fn searched(&self) -> &Measured<Searched> {
        made_once(&self.search, || {
            // As the surface was told apart when the search is made at once.
            let mut anatomy = self.restored.anatomy.clone();
            self.under_tori.iter().for_each(|&(v, was)| anatomy.region[v as usize] = was);
            path::search(self.case, &self.restored, &anatomy, &self.surveyor, self.rules)
        })
    }

    /// The chart of the restored arch: the case's, else what the scan proposes; and whether it is a proposal.
    pub fn chart(&self) -> Option<(&Chart, bool)> {
        let proposed = || self.restored.anatomy.found_teeth.as_ref()?.proposed.as_ref();
        self.case.file.chart.as_ref().map(|c| (c, false)).or_else(|| Some((proposed()?, true)))
    }

    /// What was read at the place of a rest; `None` where its crown is not known or has no such place.
    pub fn seat_of(&self, rest: &Rest) -> Option<&SeatFact> {
        self.seats.iter().find(|s| s.tooth == rest.tooth && s.place == rest.place)
    }

    /// Whether a path leaves into the tissue, as far as the occlusal normal is known.
    pub fn into_the_tissue(&self, path: &Path) -> bool {
        let frame = self.restored.anatomy.frame.as_ref();
        frame.is_ok_and(|f| path.withdrawal.dot(&f.frame.occlusal) <= 0.0)
    }

    /// A tooth as the case writes its numbers, with its FDI number where that is another notation.
    pub fn tooth_words(&self, tooth: Tooth) -> String {
        match self.case.file.notation {
            Notation::Fdi => tooth.to_string(),
            other => format!("{} (FDI {tooth})", tooth.show(other)),
        }
    }
}

/// What is wrong with the two scans taken together, and with the scans against their chart.
fn pair_defects(case: &Case, restored: &ArchFacts<'_>, opposing: Option<&ArchFacts<'_>>) -> Vec<Defect> {
    let chart = case.file.chart.as_ref();
    let mut defects = Vec::new();
    if let Some(other) = opposing {
        defects.extend(audit::pair(restored.mesh(), other.mesh()));
        if defects.is_empty() {
            let (lower, upper) =
                if restored.arch == Arch::Mandible { (restored, other) } else { (other, restored) };
            defects.extend(presence::swapped(&lower.view(chart), &upper.view(chart)));
        }
    }
    defects.extend(presence::gap_on_other_side(&restored.view(chart)));
    defects
}

fn relation(
    restored: &ArchFacts<'_>,
    opposing: Option<&ArchFacts<'_>>,
    opening: Option<&Direction>,
    rules: &Rules,
) -> (Option<Vec<Clearance>>, ArticulationFact) {
    let (Some(other), Some(opening)) = (opposing, opening) else {
        return (None, ArticulationFact::unknown());
    };
    let (restored, opposing) = (&restored.surface, &other.surface);
    // Contacts want the normals of both surfaces; they are found beside the map, not after it.
    let (map, _) = rayon::join(
        || clearance::map(restored, opposing, opening),
        || rayon::join(|| restored.mesh().vertex_normals(), || opposing.mesh().vertex_normals()),
    );
    let pair = Pair { restored, opposing, opening: *opening, map: &map };
    let limits = ContactLimits {
        contact_gap_mm: rules.number("contact_gap_mm"),
        overlap_allowed_mm: rules.number("overlap_allowed_mm"),
    };
    let fact = articulation::of_map(&pair, &limits);
    (Some(map), fact)
}

/// Settings of the torus detector from the table of rules.
pub fn torus_settings(rules: &Rules) -> TorusSettings {
    TorusSettings {
        outline_mm: rules.number("torus_outline_mm"),
        saddle_mm: rules.number("torus_saddle_mm"),
        least_height_mm: rules.number("torus_least_height_mm"),
        least_area_mm2: rules.number("torus_least_area_mm2"),
    }
}
