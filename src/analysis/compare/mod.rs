//! Two scans of one arch, years apart: which teeth stayed, and how far ridge and tori have changed.

mod read;
mod said;
mod shown;
mod tori;

use crate::anatomy::Anatomy;
use crate::case::{Accuracy, Arch, CaseFile, Chart, Marks, Scan, Tooth};
use crate::estimate::{Estimate, Measured, NotMeasured, Source};
use crate::locate::Surface;
use crate::measure::registration::{self, Agreement, Registered, Target};
use crate::measure::ridge_change::{self, RidgeChange};
use crate::measure::teeth_moved::{self, CrownPlaces, OnTeeth, Teeth};
use crate::mesh::{Mesh, Topology};
use crate::report::{ChangeFile, FoundBy, Tool};
use crate::rules::Rules;
use crate::space::{Point, Vector};

/// What is known besides the two scans; places are in the older file's axes.
#[derive(Clone, Debug, Default)]
pub struct CompareWanted {
    /// Which arch it is; found on the older scan where `None`.
    pub arch: Option<Arch>,
    /// Chart of the older scan.
    pub chart: Option<Chart>,
    /// Marks on the older scan.
    pub marks: Marks,
    /// Abutments, as the case names them.
    pub abutments: Vec<Tooth>,
    /// How true the scans are.
    pub accuracy: Accuracy,
}

impl CompareWanted {
    /// What a case file tells of the older scan.
    pub fn of_case(case: &CaseFile) -> CompareWanted {
        CompareWanted {
            arch: Some(case.restored),
            chart: case.chart.clone(),
            marks: case.marks.clone(),
            abutments: case.design.abutments.clone(),
            accuracy: case.accuracy,
        }
    }
}

/// What came of it.
#[derive(Debug)]
pub struct Compared {
    /// What goes into `change.json`.
    pub file: ChangeFile,
    /// Change of each vertex of the older scan, mm.
    pub change_mm: Vec<Option<f64>>,
}

/// The older scan, read.
struct Older {
    arch: Arch,
    arch_found_by: FoundBy,
    surface: Surface,
    topology: Topology,
    anatomy: Anatomy,
}

/// Both scans laid onto each other.
struct Laid {
    /// On the whole surfaces.
    whole: Registered,
    /// On the teeth that stayed.
    teeth: OnTeeth,
}

/// What the older surface's change is read from.
struct Changes<'a> {
    older: &'a Older,
    laid: &'a Laid,
    normals: Vec<Vector>,
    change_mm: Vec<Option<f64>>,
    /// The newer scan in the older file's axes.
    newer: Surface,
    scan_mm: f64,
}

/// Radius of a ridge's crest that is taken for the chord error of its triangles, mm.
const CREST_RADIUS_MM: f64 = 3.0;

impl Changes<'_> {
    fn mesh(&self) -> &Mesh {
        self.older.surface.mesh()
    }

    /// A change with what makes it uncertain apart from the scans' own difference.
    fn apart_from_scans(&self, change_mm: f64, at: &Point, normal: &Vector) -> Estimate {
        let motion = &self.laid.teeth.registered.motion;
        let laid =
            self.laid.teeth.registered.uncertainty_along_mm(&(motion * at), &(motion.rotation * normal));
        // The older places are vertices and lie on their surface; the newer triangles lie anywhere between none and the
        // whole chord under theirs: a rectangular law, whose standard deviation is its width by the root of twelve.
        let edge = self.newer.mesh().mean_edge_mm();
        let chord = edge * edge / (8.0 * CREST_RADIUS_MM) / 12.0_f64.sqrt();
        Estimate::new(change_mm, Vec::new()).with(Source::Method, laid).with(Source::Spacing, chord)
    }

    /// The same with the trueness of both scans.
    fn whole(&self, change_mm: f64, at: &Point, normal: &Vector) -> Estimate {
        self.apart_from_scans(change_mm, at, normal).with(Source::Scan, self.scan_mm * 2.0_f64.sqrt())
    }
}

/// Compares two scans of one arch.
pub fn compare(old: &Scan, new: &Scan, wanted: &CompareWanted, rules: &Rules) -> Compared {
    let (older, newer) =
        rayon::join(|| read::older(&old.import.mesh, wanted, rules), || Surface::new(&new.import.mesh));
    let laid = laid(&older, &newer, wanted, rules);
    let mut file = blank(old, new, &older);
    said::of_the_arch(&older, &mut file);
    let change_mm = match laid {
        Ok(laid) => measured(&older, &newer, &laid, wanted, rules, &mut file),
        Err(reason) => {
            said::of_units(old, new, &mut file);
            said::do_not_match(&reason, &mut file);
            vec![None; old.import.mesh.vertices().len()]
        }
    };
    file.vertices_not_measured = change_mm.iter().filter(|c| c.is_none()).count();
    Compared { file, change_mm }
}

fn blank(old: &Scan, new: &Scan, older: &Older) -> ChangeFile {
    ChangeFile {
        schema: "saddleroom/change/1".into(),
        tool: Tool::this(),
        inputs: vec![shown::input("old", old), shown::input("new", new)],
        arch: older.arch,
        arch_found_by: older.arch_found_by,
        frame: older.anatomy.frame.as_ref().ok().map(super::shown::frame_found),
        sign: shown::SIGN.into(),
        registration: None,
        teeth: Vec::new(),
        spans: Vec::new(),
        tori: Vec::new(),
        vertices: old.import.mesh.vertices().len(),
        vertices_not_measured: 0,
        questions: Vec::new(),
        findings: Vec::new(),
        cautions: super::cautions::of_a_comparison(),
    }
}

/// When two scans are taken for one mouth.
fn agreement(rules: &Rules) -> Agreement {
    Agreement {
        within_mm: rules.number("match_within_mm"),
        least_share: rules.number("match_least_share"),
        least_of_all_share: rules.number("match_least_of_all"),
    }
}

/// Lays the older scan onto the newer: on everything first, then on the teeth that stayed.
fn laid(older: &Older, newer: &Surface, wanted: &CompareWanted, rules: &Rules) -> Measured<Laid> {
    let mesh = older.surface.mesh();
    let target = Target::new(newer);
    let agreement = agreement(rules);
    let starts = registration::coarse(mesh, &target);
    let whole = registration::best_of(mesh, &registration::untrimmed(mesh), &target, &starts, agreement)?;
    let crowns = read::crowns(older);
    if crowns.is_empty() {
        return Err(NotMeasured::new(
            format!(
                "no tooth was found on the older scan on which it could be laid onto the newer; tissue is no place to measure \
                 a change of tissue from (the whole surfaces come together with a median residual of {})",
                crate::units::mm(whole.median_mm)
            ),
            "margins of teeth that stand in both scans, in [marks] of a case file (--case), or the chart (--missing)",
        ));
    }
    let axis = older.anatomy.frame.as_ref().map_or(Vector::z(), |f| f.frame.occlusal.into_inner());
    let teeth = teeth_moved::on_teeth(&Teeth {
        crowns: &crowns,
        newer: &target,
        start: whole.motion,
        axis,
        agreement,
        scan_mm: wanted.accuracy.scan_mm,
    })?;
    Ok(Laid { whole, teeth })
}

/// Everything that is measured once the scans lie onto each other.
fn measured(
    older: &Older,
    newer: &Surface,
    laid: &Laid,
    wanted: &CompareWanted,
    rules: &Rules,
    file: &mut ChangeFile,
) -> Vec<Option<f64>> {
    let back = laid.teeth.registered.motion.inverse();
    let (normals, moved) = rayon::join(
        || ridge_change::smoothed_normals(older.surface.mesh(), &older.topology),
        || Surface::new(&newer.mesh().moved(&back)),
    );
    let change_mm = ridge_change::of_vertices(older.surface.mesh(), &normals, &moved);
    let changes = Changes { older, laid, normals, change_mm, newer: moved, scan_mm: wanted.accuracy.scan_mm };
    file.registration = Some(shown::registration(laid));
    shown::teeth(&changes, file);
    said::of_teeth(&changes, file);
    if older.anatomy.spans.is_empty() {
        said::no_span(older, file);
    }
    for span in &older.anatomy.spans {
        match ridge(&changes, span) {
            Ok(found) => {
                let reading = said::of_ridge(&changes, span, &found, rules, file);
                file.spans.push(shown::span(&changes, span, &found, reading));
            }
            Err(reason) => said::ridge_not_measured(span, &reason, file),
        }
    }
    tori::compare(&changes, newer, wanted, rules, file);
    changes.change_mm
}

/// The change of one span's ridge.
fn ridge(changes: &Changes<'_>, span: &crate::anatomy::Span) -> Measured<RidgeChange> {
    let crest = span.crest.as_ref().map_err(Clone::clone)?;
    let asked = ridge_change::Asked {
        mesh: changes.mesh(),
        normals: &changes.normals,
        change_mm: &changes.change_mm,
        faces: &span.faces,
        crest,
    };
    ridge_change::of_ridge(&asked).ok_or_else(|| {
        NotMeasured::new(
            "the two scans do not match there: the newer one holds no surface over the older one's ridge",
            "a newer scan that holds the ridge of this span",
        )
    })
}
