//! What can be made wrong with a framework, and what is then true of it.

use super::super::cast::Cast;
use super::super::contour::mesh as finished;
use super::super::field::smax;
use super::super::solids::icosphere;
use super::super::truth::undercut::{Path, occlusal};
use super::body::{Body, Part, Probe};
use super::parts::BoxOf;
use super::record::{FrameworkTruth, Kind, PartTruth, Wrong};
use crate::mesh::Mesh;
use crate::space::{Point, Vector, hypot};

/// What can be made wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    /// A rest that is too thin.
    ThinRest,
    /// A bar that is too thin; a strap in a maxilla.
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

impl Fault {
    /// All of them.
    pub const ALL: [Fault; 14] = [
        Fault::ThinRest,
        Fault::ThinBar,
        Fault::TipTooDeep,
        Fault::RestHigh,
        Fault::NoRelief,
        Fault::BarIntoTorus,
        Fault::BorderNearMargin,
        Fault::OpposingContact,
        Fault::CaughtOnPath,
        Fault::OpenShell,
        Fault::FloatingShell,
        Fault::ZeroThickness,
        Fault::Struts,
        Fault::Metres,
    ];

    /// Whether it is done to the finished surface of a sound framework.
    pub fn is_of_the_surface(self) -> bool {
        matches!(self, Fault::OpenShell | Fault::FloatingShell | Fault::ZeroThickness | Fault::Metres)
    }

    /// Its name as a file has it.
    pub fn name(self) -> &'static str {
        self.words().0
    }

    fn words(self) -> (&'static str, &'static str) {
        match self {
            Fault::ThinRest => ("thin-rest", "a rest is too thin"),
            Fault::ThinBar => ("thin-bar", "the major connector is too thin"),
            Fault::TipTooDeep => ("tip-too-deep", "the tip of an arm lies too deep in its undercut"),
            Fault::RestHigh => ("rest-high", "a rest stands off its seat"),
            Fault::NoRelief => ("no-relief", "the bar touches the tissue"),
            Fault::BarIntoTorus => ("bar-into-torus", "the major connector enters a torus"),
            Fault::BorderNearMargin => {
                ("border-near-margin", "the border of the major connector runs too near the gingival margins")
            }
            Fault::OpposingContact => ("opposing-contact", "a rest is too high for the opposing tooth"),
            Fault::CaughtOnPath => ("caught-on-path", "a rigid part lies under the survey line"),
            Fault::OpenShell => ("open-shell", "the surface has a hole"),
            Fault::FloatingShell => ("floating-shell", "a loose piece lies beside the framework"),
            Fault::ZeroThickness => ("zero-thickness", "a sheet without thickness stands on the framework"),
            Fault::Struts => ("struts", "print supports stand on the framework"),
            Fault::Metres => ("metres", "the file is in metres"),
        }
    }
}

/// Radius of the hole, of the loose ball and of a strut, half side of the sheet, mm.
const HOLE_MM: f64 = 0.8;
const BALL_MM: f64 = 0.6;
const STRUT_MM: f64 = 0.4;
const SHEET_MM: f64 = 1.5;
/// How far struts reach over the occlusal plane, mm.
const STRUT_TOP_MM: f64 = 6.0;

fn is_major(part: &PartTruth) -> bool {
    matches!(part.kind, Kind::Bar | Kind::Strap)
}

/// Print supports on the major connector and on the meshes: upright rods.
pub(super) fn struts<'a>(parts: &[Part<'_>], cast: &Cast) -> Vec<Part<'a>> {
    let stands =
        parts.iter().filter(|p| is_major(&p.truth) || p.truth.kind == Kind::Mesh && p.truth.place.is_none());
    let feet = stands.map(|p| {
        let at = cast.own(&p.truth.at_mm.into());
        // A bar hangs on a wall: the rod stands on the middle of its metal.
        let aside = if p.truth.kind == Kind::Bar {
            -cast.form.axes(cast.form.place(at.x, at.y).s).1
        } else {
            Vector::zeros()
        };
        (p.truth.clone(), at + aside * 1.3 + Vector::z() * 1.2)
    });
    feet.map(|(truth, foot)| {
        let long = STRUT_TOP_MM - foot.z;
        let field = move |q: &Probe<'_>| {
            let d = q.p - foot;
            smax(hypot(d.x, d.y) - STRUT_MM, (-d.z).max(d.z - long), 0.1)
        };
        let mut box_of = BoxOf::new(STRUT_MM + 0.2);
        box_of.hold(&foot);
        box_of.hold(&(foot + Vector::z() * long));
        box_of.part(truth, field)
    })
    .collect()
}

/// What of a fault is done to the finished surface, own axes.
pub(super) fn done_to(mesh: Mesh, fault: Fault, at: &Point) -> Mesh {
    let with = |more: &Mesh| {
        let n = mesh.vertices().len() as u32;
        let vertices = mesh.vertices().iter().chain(more.vertices()).copied().collect();
        let others = more.faces().iter().map(|f| f.map(|v| v + n));
        finished(vertices, mesh.faces().iter().copied().chain(others).collect())
    };
    match fault {
        Fault::OpenShell => mesh.part(|f| (mesh.face_centre(f) - at).norm() > HOLE_MM).0,
        Fault::FloatingShell => {
            let ball = icosphere(BALL_MM, 0.25);
            let vertices = ball.vertices().iter().map(|p| at + p.coords).collect();
            with(&finished(vertices, ball.faces().to_vec()))
        }
        Fault::ZeroThickness => with(&sheet(at)),
        Fault::Metres => {
            let vertices = mesh.vertices().iter().map(|p| p * 0.001).collect();
            finished(vertices, mesh.faces().to_vec())
        }
        _ => mesh,
    }
}

/// An upright sheet with a front and a back at the same place.
fn sheet(at: &Point) -> Mesh {
    const N: usize = 6;
    let corner = |i: usize, j: usize| {
        let [x, z] = [i, j].map(|k| SHEET_MM * (2.0 * k as f64 / N as f64 - 1.0));
        at + Vector::new(x, 0.0, z + SHEET_MM)
    };
    let vertices = (0..=N).flat_map(|j| (0..=N).map(move |i| corner(i, j))).collect();
    let id = |i: usize, j: usize| (j * (N + 1) + i) as u32;
    let mut faces = Vec::new();
    for j in 0..N {
        for i in 0..N {
            let [a, b, c, d] = [id(i, j), id(i + 1, j), id(i + 1, j + 1), id(i, j + 1)];
            faces.extend([[a, b, c], [a, c, d], [a, c, b], [a, d, c]]);
        }
    }
    finished(vertices, faces)
}

/// Where a fault is done to the finished surface, own axes; elsewhere the part tells.
pub(super) fn place(fault: Fault, body: &Body<'_>, truth: &FrameworkTruth, cast: &Cast) -> Option<Point> {
    let over = |part: &PartTruth, out_mm: f64| {
        let at = Point::from(part.at_mm);
        cast.own(&(at + Vector::from(part.way) * (part.gap_mm + part.thickness_mm + out_mm)))
    };
    let major = truth.parts.iter().find(|p| is_major(p));
    let mesh = truth.parts.iter().find(|p| p.kind == Kind::Mesh);
    match fault {
        Fault::OpenShell => major.map(|p| over(p, 0.0)),
        Fault::FloatingShell => major.map(|p| over(p, 3.0)),
        Fault::ZeroThickness => mesh.map(|p| over(p, -0.1)),
        Fault::Struts => mesh.map(|p| over(p, 2.0)),
        Fault::BarIntoTorus => {
            let torus = cast.rises.iter().filter(|r| r.torus);
            let reach = torus.map(|r| r.centre + r.axes[1] * r.half[1]);
            let deep = |p: &Point| body.value(p);
            reach.min_by(|a, b| deep(a).total_cmp(&deep(b)))
        }
        _ => None,
    }
}

/// Where the front of a bar or a strap lies nearest to the cast, own axes, and how near, mm.
pub(super) fn nearest(mesh: &Mesh, body: &Body<'_>) -> Option<(Point, f64)> {
    const FRONT_MM: f64 = 9.0;
    let front = mesh.vertices().iter().filter(|p| p.x.abs() < FRONT_MM);
    let near = front.map(|p| (*p, body.ground.near_mm(p)));
    near.min_by(|a, b| a.1.total_cmp(&b.1))
}

/// The arm whose tip lies farthest under its gauge, where one lies clearly deeper: not every cast has an undercut for it.
fn deepest(truth: &FrameworkTruth) -> Option<&PartTruth> {
    const CLEARLY_MM: f64 = 0.15;
    let over = |p: &PartTruth| Some(p.depth_mm? - p.wanted_depth_mm?);
    let arms = truth.parts.iter().filter_map(|p| Some((over(p)?, p)));
    arms.filter(|a| a.0 > CLEARLY_MM).max_by(|a, b| a.0.total_cmp(&b.0)).map(|a| a.1)
}

/// What is true of a fault; `None` where the framework has nothing that it could be done to.
pub(super) fn wrong(fault: Fault, truth: &FrameworkTruth, at: Option<Point>, cast: &Cast) -> Option<Wrong> {
    let rests = || truth.parts.iter().filter(|p| p.kind == Kind::Rest);
    let part = match fault {
        Fault::ThinRest => rests().next(),
        Fault::OpposingContact => rests().nth(1),
        Fault::RestHigh => rests().nth(2),
        Fault::TipTooDeep => deepest(truth),
        Fault::CaughtOnPath => {
            truth.parts.iter().find(|p| p.kind == Kind::MinorConnector && p.caught == Some(true))
        }
        Fault::OpenShell | Fault::FloatingShell | Fault::Metres => None,
        Fault::ZeroThickness | Fault::Struts => truth.parts.iter().find(|p| p.kind == Kind::Mesh),
        // A strap keeps its relief and its border.
        Fault::NoRelief | Fault::BorderNearMargin => truth.parts.iter().find(|p| p.kind == Kind::Bar),
        Fault::ThinBar | Fault::BarIntoTorus => truth.parts.iter().find(|p| is_major(p)),
    };
    let whole = matches!(fault, Fault::OpenShell | Fault::FloatingShell | Fault::Metres);
    if (part.is_none() && !whole) || (fault == Fault::BarIntoTorus && at.is_none()) {
        return None;
    }
    let value_mm = match fault {
        Fault::ThinRest | Fault::ThinBar | Fault::OpposingContact => part.map(|p| p.thickness_mm),
        Fault::TipTooDeep => part.and_then(|p| p.depth_mm),
        Fault::RestHigh | Fault::NoRelief => part.map(|p| p.gap_mm),
        Fault::BarIntoTorus => part.and_then(|p| p.torus_gap_mm),
        Fault::BorderNearMargin => part.and_then(|p| p.below_margin_mm),
        Fault::CaughtOnPath => {
            part.map(|p| Path::new(cast, &occlusal(cast.arch)).depth_mm(&Point::from(p.at_mm)))
        }
        Fault::OpenShell => Some(HOLE_MM),
        Fault::FloatingShell => Some(BALL_MM),
        Fault::ZeroThickness => Some(0.0),
        Fault::Struts => Some(2.0 * STRUT_MM),
        Fault::Metres => None,
    };
    let arm = fault == Fault::TipTooDeep;
    let own = part.and_then(|p| if arm { p.tip_at_mm } else { Some(p.at_mm) });
    let at_mm = at.map(|p| cast.own(&p).into()).or(own).or(truth.parts.first().map(|p| p.at_mm))?;
    Some(Wrong {
        says: fault.words().1,
        value_mm,
        kind: part.map(|p| p.kind),
        tooth: part.and_then(|p| p.tooth),
        at_mm,
    })
}
