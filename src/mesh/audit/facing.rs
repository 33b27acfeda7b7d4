//! Which way a surface faces, and whether it is the negative of an arch. No test depends on the pose.
//!
//! *Volume.* The signed volume between the surface and cones from the middle of its border: for a closed surface the
//! volume itself, for an open scan the body of teeth and ridge above the border. *Features.* Crowns are domes and
//! pits are few (on every scan that was tried domes are more than twice the pits in area). A surface faces inward
//! where the volume is negative and, if it is open, pits prevail or, without either, the volume is large. It is a negative where its
//! volume is positive, but pits prevail.

use super::coarse::{Coarse, Features};
use super::shells::Shells;
use super::{Defect, DefectKind};
use crate::mesh::Mesh;
use crate::space::{Point, Vector};

/// Which way a surface faces.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Facing {
    /// Out of the body.
    Outward,
    /// Into it: the surface is inside-out.
    Inward,
    /// Too flat to tell.
    Unsure,
}

/// Volume over area to the power of 1.5, under which an open surface is too flat to tell. A sphere has 0.094.
const FLAT: f64 = 0.003;
/// The same for a surface without round features, which only its bulk can accuse; open scans have 0.025 and more.
const DEEP: f64 = 0.015;
/// Pits must prevail by this factor, and measure this much, mm2, before a surface is called a negative.
const PREVAIL: f64 = 1.2;
const LEAST_MM2: f64 = 40.0;

/// Tells which way the whole surface faces.
pub fn facing(mesh: &Mesh) -> Facing {
    let border = border_vertices(mesh);
    let apex = middle(mesh, &border);
    let volume = volume_from(mesh, &apex);
    let area = mesh.area_mm2();
    let bulk = volume / (area * area.sqrt());
    if !bulk.is_finite() || (border.is_empty() && bulk.abs() < 1e-9) {
        return Facing::Unsure;
    }
    if border.is_empty() {
        return if bulk > 0.0 { Facing::Outward } else { Facing::Inward };
    }
    if bulk > FLAT {
        return Facing::Outward;
    }
    if bulk > -FLAT {
        return Facing::Unsure;
    }
    match Coarse::new(mesh).map(|c| c.features()) {
        Some(f) if f.domes_mm2 > f.pits_mm2 => Facing::Unsure,
        Some(f) if f.pits_mm2 > LEAST_MM2 => Facing::Inward,
        _ if bulk < -DEEP => Facing::Inward,
        _ => Facing::Unsure,
    }
}

pub(super) fn defects(mesh: &Mesh, shells: &Shells, coarse: Option<&Coarse>) -> Vec<Defect> {
    let mut out = Vec::new();
    let whole = facing(mesh);
    let first = Some(mesh.face_centre(0)).filter(|_| !mesh.faces().is_empty());
    if whole == Facing::Inward {
        out.push(Defect {
            kind: DefectKind::InsideOut,
            count: 1,
            at: first,
            says: inward_words("It was left so."),
            mended: false,
        });
        return out;
    }
    out.extend(inward_pieces(mesh, shells));
    if let Some(features) = coarse.map(Coarse::features)
        && is_negative(&features)
    {
        out.push(Defect {
            kind: DefectKind::Negative,
            count: 1,
            at: first,
            says: "Where an arch has cusps and edges, this surface has pits: it seems to be the negative of an arch, a \
                   scanned impression. Nothing was turned over, and figures taken on it are not those of the mouth. \
                   Let the scanner's software make the positive, or scan a cast."
                .to_owned(),
            mended: false,
        });
    }
    out
}

/// The sentence for a surface that faces inward; `done` says what was done about it.
pub(crate) fn inward_words(done: &str) -> String {
    format!(
        "The whole surface faces inward: an inside-out export, or the raw scan of an impression, which is the same \
         surface seen from its other side. {done}"
    )
}

fn is_negative(features: &Features) -> bool {
    features.pits_mm2 > LEAST_MM2 && features.pits_mm2 > PREVAIL * features.domes_mm2
}

/// Closed pieces of size that face inward though the whole does not, and are no inner walls.
fn inward_pieces(mesh: &Mesh, shells: &Shells) -> Option<Defect> {
    let inward = |i: usize| shells.pieces[i].closed && shells.pieces[i].volume_mm3 < 0.0;
    let mut bad: Vec<usize> =
        (0..shells.pieces.len()).filter(|i| inward(*i) && !shells.is_debris(*i as u32)).collect();
    if !bad.is_empty() {
        let inner = shells.inner(mesh);
        bad.retain(|i| !inner[*i]);
    }
    let first = &shells.pieces[*bad.first()?];
    Some(Defect {
        kind: DefectKind::InsideOut,
        count: bad.len(),
        at: Some(mesh.face_centre(first.first_face)),
        says: format!(
            "Closed pieces that face inward while the rest of the surface faces outward: {}. They were left so; let the \
             scanner's software orient them and export the scan again.",
            bad.len()
        ),
        mended: false,
    })
}

/// Vertices whose triangles do not close around them. Each corner gives the next vertex to a sum and takes the one
/// before away: around an inner vertex all cancel.
fn border_vertices(mesh: &Mesh) -> Vec<u32> {
    let mut sum = vec![0u64; mesh.vertices().len()];
    let token = |v: u32| (u64::from(v) + 1).wrapping_mul(0x9e37_79b9_7f4a_7c15).rotate_left(v & 63);
    for corners in mesh.faces() {
        let tokens = corners.map(token);
        for k in 0..3 {
            let slot = &mut sum[corners[k] as usize];
            *slot = slot.wrapping_add(tokens[(k + 1) % 3]).wrapping_sub(tokens[(k + 2) % 3]);
        }
    }
    (0..sum.len() as u32).filter(|v| sum[*v as usize] != 0).collect()
}

/// Middle of some vertices; of all where there are none.
fn middle(mesh: &Mesh, some: &[u32]) -> Point {
    let Some(origin) = mesh.vertices().first() else { return Point::origin() };
    let mean = |sum: Vector, n: usize| origin + sum / n.max(1) as f64;
    if some.is_empty() {
        mean(mesh.vertices().iter().fold(Vector::zeros(), |s, p| s + (p - origin)), mesh.vertices().len())
    } else {
        mean(some.iter().fold(Vector::zeros(), |s, v| s + (mesh.vertex(*v) - origin)), some.len())
    }
}

fn volume_from(mesh: &Mesh, apex: &Point) -> f64 {
    mesh.faces()
        .iter()
        .map(|f| {
            let [a, b, c] = f.map(|v| mesh.vertex(v) - apex);
            a.cross(&b).dot(&c) / 6.0
        })
        .sum()
}
