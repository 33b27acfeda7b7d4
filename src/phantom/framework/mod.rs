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
mod ground;
mod parts;
mod plan;
mod record;

use super::cast::Cast;
use super::contour::zero_set;
use super::demo::{Named, named};
use super::patient::{Pair, casts};
use super::refine::coarsened;
use super::scan::scan;
use super::truth::occlusal;
use crate::case::Arch;
use crate::mesh::Mesh;
use crate::space::Point;
use body::Body;
use ground::Ground;
use parts::Site;
use plan::Plan;
pub use record::{FrameworkTruth, Kind, PartTruth, Wrong};

/// Cell of the contour, mm.
const CELL_MM: f64 = 0.14;
/// Edges on arms and rests, and elsewhere, mm.
const EDGES_MM: [f64; 2] = [0.18, 0.42];
/// Least gap of rigid parts, mm.
const CLEAR_MM: f64 = 0.04;
/// Gap of a bar over tissue, and of all over tori, mm.
const RELIEF_MM: [f64; 2] = [0.3, 0.6];

/// What can be made wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    /// A rest that is too thin.
    ThinRest,
    /// A bar that is too thin.
    ThinBar,
    /// The tip of an arm lies too deep in its undercut.
    TipTooDeep,
    /// A rest stands off its seat.
    RestHigh,
    /// The bar touches the tissue.
    NoRelief,
    /// The bar enters a torus.
    BarIntoTorus,
    /// The bar runs too near the margins.
    BorderNearMargin,
    /// A rest is too high for the opposing tooth.
    OpposingContact,
    /// A rigid part lies under the survey line.
    CaughtOnPath,
    /// The surface has a hole.
    OpenShell,
    /// A loose piece lies beside it.
    FloatingShell,
    /// A sheet without thickness stands on it.
    ZeroThickness,
    /// Print supports still stand on it.
    Struts,
    /// The file is in metres.
    Metres,
}

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
}

impl Bench {
    /// Prepares a case; `None` for a name not among the demonstration cases.
    pub fn new(name: &str) -> Option<Bench> {
        let case = named(name)?;
        let pair = casts(&case.patient);
        let cast = pair.cast(case.restored);
        let file = scan(cast, &case.density(case.restored));
        let own = turned(&file, case.restored, &|p| cast.own(p));
        let ground = Ground::new(&own, [-42.0, -62.0], [42.0, 14.0]);
        Some(Bench { case, pair, ground })
    }

    /// A sound framework.
    pub fn sound(&self) -> Framework {
        self.made(None)
    }

    fn made(&self, fault: Option<Fault>) -> Framework {
        let cast = self.pair.cast(self.case.restored);
        let [relief_mm, torus_mm] = RELIEF_MM;
        let site = Site { cast, ground: &self.ground, relief_mm, torus_mm };
        let plan = Plan { case: &self.case, pair: &self.pair, site: &site, fault };
        let body = Body { ground: &self.ground, form: &cast.form, parts: plan.parts(), clear_mm: CLEAR_MM };
        let own = surface(&body);
        let truth = FrameworkTruth {
            case: self.case.name,
            withdrawal: occlusal(self.case.restored).into_inner().into(),
            unit_scale: 1.0,
            wrong: None,
            parts: body.parts.iter().map(|p| stated(&body, p, cast)).collect(),
        };
        Framework { mesh: turned(&own, self.case.restored, &|p| cast.own(p)), truth }
    }
}

/// The truth of a part, its gap and thickness those of the finished body at the place where they are stated.
fn stated(body: &Body<'_>, part: &body::Part<'_>, cast: &Cast) -> PartTruth {
    let mut truth = part.truth.clone();
    let at = cast.own(&truth.at_mm.into());
    let Some(foot) = body.ground.surface().closest(&at) else { return truth };
    let crown = cast.crowns.iter().find(|c| truth.kind == Kind::Rest && truth.tooth == Some(c.tooth.number()));
    let square = body.ground.normal(&foot.at, foot.face);
    let way = crown.map_or(square, |c| c.axes[2]).normalize();
    if let Some([gap, thick]) = body.along(&foot.at, &way) {
        (truth.gap_mm, truth.thickness_mm) = (gap, thick);
    }
    truth.way = (cast.own(&(foot.at + way)) - cast.own(&foot.at)).into();
    truth
}

/// A sound framework for a demonstration case; `None` for a name not among them.
pub fn sound(name: &str) -> Option<Framework> {
    Bench::new(name).map(|b| b.sound())
}

/// The surface of a body, own axes.
fn surface(body: &Body<'_>) -> Mesh {
    let field = |p: &Point| body.value(p);
    let fine = zero_set(&body.grid(CELL_MM), &field, &|_: &Point| -1.0);
    let wanted = |p: &Point| {
        let near = |part: &body::Part<'_>| {
            matches!(part.truth.kind, Kind::Rest | Kind::ClaspArm)
                && (0..3).all(|a| p[a] > part.low[a] && p[a] < part.high[a])
        };
        if body.parts.iter().any(near) { EDGES_MM[0] } else { EDGES_MM[1] }
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
