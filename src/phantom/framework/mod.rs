//! Frameworks of removable partial dentures with known figures, for the demonstration cases: sound ones, and ones with a
//! stated fault.
//!
//! A framework is the union of parts, each a field made from the distance to the cast as it was scanned, so that gaps and
//! thicknesses hold by construction. Rigid parts use the distance to the cast with its undercuts blocked out along the
//! withdrawal: nothing but the tips of clasp arms is caught on the way.
//!
//! Frame and units: file coordinates of the cast, mm.

mod arm;
mod body;
mod fault;
mod ground;
mod outline;
mod parts;
mod plan;
mod record;
mod ridge;
mod saddle;
mod stated;

use super::contour::zero_set;
use super::demo::{Named, files_of, named};
use super::patient::{Pair, casts};
use super::refine::coarsened;
use super::scan::{Density, scan};
use super::truth::occlusal;
use crate::case::{Arch, Tooth};
use crate::mesh::{Mesh, made_once};
use crate::space::Point;
use body::Body;
pub use fault::Fault;
use ground::Ground;
use parts::Site;
use plan::Plan;
use rayon::prelude::*;
pub use record::{FrameworkTruth, Kind, PartTruth, Wrong};
use stated::{Wanted, stated};
use std::sync::OnceLock;

/// Cell of the contour, mm.
const CELL_MM: f64 = 0.14;
/// Edges on arms and rests, on minor connectors, and elsewhere, mm.
const EDGES_MM: [f64; 3] = [0.13, 0.26, 0.42];
/// The same in the sample file, which has to be small.
const SAMPLE_EDGES_MM: [f64; 3] = [0.18, 0.26, 0.5];
/// How far a spoiled bar goes into a torus, mm.
const INTO_TORUS_MM: f64 = 0.3;
/// Gap of a bar over tissue, and of all over tori, mm.
const RELIEF_MM: [f64; 2] = [0.3, 0.6];

/// A framework and what is true of it.
#[derive(Clone, Debug)]
pub struct Framework {
    /// Its surface, file coordinates of the cast, mm.
    pub mesh: Mesh,
    /// What is true of it.
    pub truth: FrameworkTruth,
}

/// A case prepared for making frameworks.
pub struct Bench {
    case: Named,
    pair: Pair,
    ground: Ground,
    /// The finished surface of the sound framework, own axes: some faults are done to it.
    plain: OnceLock<Mesh>,
}

impl Bench {
    /// Prepares a case; `None` for a name not among the demonstration cases.
    pub fn new(name: &str) -> Option<Bench> {
        let case = planned(name)?;
        let other = case.restored.opposing();
        let densities = (case.density(case.restored), Some(case.density(other)));
        Bench::with(name, &densities, ([-42.0, -62.0], [42.0, 14.0]))
    }

    /// The same for scans of other densities, with or without the opposing arch, and a stretch of the plan, mm.
    fn with(name: &str, of: &(Density, Option<Density>), (low, high): ([f64; 2], [f64; 2])) -> Option<Bench> {
        let case = planned(name)?;
        let pair = casts(&case.patient);
        let cast = pair.cast(case.restored);
        let own = |mesh: &Mesh| turned(mesh, case.restored, &|p| cast.own(p));
        let other = pair.cast(case.restored.opposing());
        let opposing = of.1.as_ref().map(|density| own(&scan(other, density)));
        let ground = Ground::new(&own(&scan(cast, &of.0)), opposing.as_ref(), low, high);
        Some(Bench { case, pair, ground, plain: OnceLock::new() })
    }

    /// The files of the case, with the clasps for which the framework is made.
    pub fn files(&self) -> Vec<(String, Vec<u8>)> {
        files_of(&self.case)
    }

    fn site(&self, fault: Option<Fault>) -> Site<'_> {
        let [relief_mm, torus_mm] = RELIEF_MM;
        let torus_mm = if fault == Some(Fault::BarIntoTorus) { -INTO_TORUS_MM } else { torus_mm };
        Site { cast: self.pair.cast(self.case.restored), ground: &self.ground, relief_mm, torus_mm }
    }

    fn plan<'a>(&'a self, site: &'a Site<'a>, fault: Option<Fault>) -> Plan<'a> {
        Plan { case: &self.case, pair: &self.pair, site, fault }
    }

    fn body<'a>(&'a self, plan: &Plan<'a>) -> Body<'a> {
        let form = &self.pair.cast(self.case.restored).form;
        let opposed = plan.fault != Some(Fault::OpposingContact);
        Body { ground: &self.ground, form, parts: plan.parts(), opposed }
    }

    /// A sound framework.
    pub fn sound(&self) -> Framework {
        self.made(None, &EDGES_MM)
    }

    /// The same with longer edges on connectors and meshes, for a smaller file.
    pub fn sample(&self) -> Framework {
        // What is kept of the sound one has other edges.
        Bench::new(self.case.name).map_or_else(|| self.sound(), |bench| bench.made(None, &SAMPLE_EDGES_MM))
    }

    /// A framework with one fault; `None` where the case has nothing that could be made wrong that way.
    pub fn spoiled(&self, fault: Fault) -> Option<Framework> {
        let made = self.made(Some(fault), &EDGES_MM);
        made.truth.wrong.is_some().then_some(made)
    }

    fn made(&self, fault: Option<Fault>, edges_mm: &[f64; 3]) -> Framework {
        let (cast, arch) = (self.pair.cast(self.case.restored), self.case.restored);
        let site = self.site(fault);
        let plan = self.plan(&site, fault);
        let mut body = self.body(&plan);
        let wanted = match fault {
            None => Wanted::Sections,
            Some(Fault::TipTooDeep) => Wanted::Ends,
            _ => Wanted::Place,
        };
        let mut truth = FrameworkTruth {
            case: self.case.name,
            withdrawal: occlusal(arch).into_inner().into(),
            unit_scale: if fault == Some(Fault::Metres) { 1000.0 } else { 1.0 },
            wrong: None,
            left_out: plan.left_out().into_iter().map(|(t, surface)| (t.number(), surface)).collect(),
            parts: body.parts.iter().map(|p| stated(&body, p, cast, wanted)).collect(),
        };
        let at = fault.and_then(|f| fault::place(f, &body, &truth, cast));
        truth.wrong = fault.and_then(|f| fault::wrong(f, &truth, at, cast));
        if let (Some(Fault::OpposingContact), Some(wrong)) = (fault, &mut truth.wrong) {
            let rest = cast.crowns.iter().find(|c| wrong.tooth == Some(c.tooth.number()));
            wrong.value_mm = rest.and_then(|crown| ridge::room_mm(&body, crown));
        }
        if fault == Some(Fault::Struts) {
            let more = fault::struts(&body.parts, cast);
            body.parts.extend(more);
        }
        let finished = || cleared(contoured(&body, CELL_MM, edges_mm), &body);
        let mut own = if fault.is_none_or(Fault::is_of_the_surface) {
            made_once(&self.plain, finished).clone()
        } else {
            finished()
        };
        if let (Some(Fault::NoRelief), Some(wrong)) = (fault, &mut truth.wrong)
            && let Some((at, mm)) = fault::nearest(&own, &body)
        {
            (wrong.at_mm, wrong.value_mm) = (cast.own(&at).into(), Some(mm));
        }
        if let Some(fault) = fault {
            own = fault::done_to(own, fault, &at.unwrap_or(Point::origin()));
        }
        Framework { mesh: turned(&own, arch, &|p| cast.own(p)), truth }
    }
}

/// A case with clasps that a framework can have. Where the sample asks for an arm that its cast does not take, another is
/// planned: the molars of `whitby` lean, so that a buccal arm from the gap finds no undercut; on 24 of `lerwick` a wire
/// reaches 0.5 mm and not 0.75, and an arm to the buccal side of 16 would have to cross a closed embrasure; no approach arm
/// is made for `cromer`.
fn planned(name: &str) -> Option<Named> {
    let mut case = named(name)?;
    let wanted: &[(u8, &'static str)] = match name {
        "whitby" => &[(35, "buccal"), (37, "lingual"), (44, "buccal")],
        "lerwick" => &[(24, "buccal"), (16, "lingual")],
        "cromer" => &[(34, "buccal"), (45, "buccal")],
        _ => return Some(case),
    };
    let clasp =
        |(tooth, surface): &(u8, &'static str)| Some((Tooth::fdi(*tooth)?, *surface, "cast_circumferential"));
    case.clasps = wanted.iter().filter_map(clasp).collect();
    Some(case)
}

/// The surface with the corners drawn off the cast of triangles that would cut through it, as over a sharp ridge.
fn cleared(mesh: Mesh, body: &Body<'_>) -> Mesh {
    let ground = body.ground;
    const ROUNDS: usize = 4;
    const NEAR_MM: f64 = 0.004;
    let mut mesh = mesh;
    for _ in 0..ROUNDS {
        let short = |f: u32| {
            let [a, b, c] = mesh.corners(f);
            let places = [
                mesh.face_centre(f),
                nalgebra::center(&a, &b),
                nalgebra::center(&b, &c),
                nalgebra::center(&c, &a),
            ];
            let least = places.iter().map(|p| (ground.near_mm(p), p)).min_by(|a, b| a.0.total_cmp(&b.0))?;
            (least.0 < NEAR_MM && !body.is_free(least.1)).then_some((f, NEAR_MM - least.0, *least.1))
        };
        let found: Vec<(u32, f64, Point)> =
            (0..mesh.faces().len() as u32).into_par_iter().filter_map(short).collect();
        if found.is_empty() {
            break;
        }
        let mut vertices = mesh.vertices().to_vec();
        let mut moved = vec![0.0f64; vertices.len()];
        for (f, by, p) in found {
            let Some(foot) = ground.surface().closest(&p) else { continue };
            let way = ground.normal(&foot.at, foot.face);
            for v in mesh.faces()[f as usize].map(|v| v as usize) {
                let more = 1.2 * by - moved[v];
                if more > 0.0 {
                    vertices[v] += way * more;
                    moved[v] += more;
                }
            }
        }
        mesh = super::contour::mesh(vertices, mesh.faces().to_vec());
    }
    mesh
}

/// A sound framework for a demonstration case; `None` for a name not among them.
pub fn sound(name: &str) -> Option<Framework> {
    Bench::new(name).map(|b| b.sound())
}

/// A framework with one fault; `None` for a name not among the demonstration cases.
pub fn spoiled(name: &str, fault: Fault) -> Option<Framework> {
    Bench::new(name).and_then(|b| b.spoiled(fault))
}

/// The surface of a body, own axes.
fn contoured(body: &Body<'_>, cell_mm: f64, edges_mm: &[f64; 3]) -> Mesh {
    let field = |p: &Point| body.value(p);
    let fine = zero_set(&body.grid(cell_mm), &field, &|_: &Point| -1.0);
    let wanted = |p: &Point| {
        let near = |part: &body::Part<'_>| (0..3).all(|a| p[a] > part.low[a] && p[a] < part.high[a]);
        let edge = |part: &body::Part<'_>| match part.truth.kind {
            Kind::Rest | Kind::ClaspArm => edges_mm[0],
            Kind::MinorConnector => edges_mm[1],
            _ => edges_mm[2],
        };
        body.parts.iter().filter(|p| near(p)).map(edge).fold(edges_mm[2], f64::min)
    };
    coarsened(&fine, &field, &wanted)
}

/// A mesh in the other axes: a maxilla is mirrored.
fn turned(mesh: &Mesh, arch: Arch, own: &impl Fn(&Point) -> Point) -> Mesh {
    if arch == Arch::Mandible {
        return mesh.clone();
    }
    let faces = mesh.faces().iter().map(|[a, b, c]| [*a, *c, *b]).collect();
    super::contour::mesh(mesh.vertices().iter().map(own).collect(), faces)
}

#[cfg(test)]
mod tests;
