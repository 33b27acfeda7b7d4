//! Connected pieces: debris, several shells, both arches in one file, inner walls.

use super::coarse::Coarse;
use super::{Defect, DefectKind};
use crate::mesh::{FaceId, Mesh, Topology};
use crate::space::{Point, Vector, atan2};
use crate::units;
use nalgebra::{Matrix3, SymmetricEigen};

/// Pieces under this share of the whole area are debris.
const DEBRIS: f64 = 0.02;
/// An arch is a piece at least this wide, mm, with at least this share of the largest piece's area.
const ARCH_MM: f64 = 30.0;
const ARCH_SHARE: f64 = 0.2;
/// Share of the surface behind which a parallel wall must stand at a few mm for a model to be hollow.
const HOLLOW: f64 = 0.5;

/// One connected piece.
#[derive(Clone, Debug)]
pub(super) struct Piece {
    pub first_face: FaceId,
    pub faces: usize,
    pub area_mm2: f64,
    /// Area-weighted centre.
    pub centre: Point,
    /// Corners of its box.
    pub low: Point,
    pub high: Point,
    /// Whether no edge of it is a border.
    pub closed: bool,
    /// Signed volume about its centre, mm3.
    pub volume_mm3: f64,
    scatter: Matrix3<f64>,
}

impl Piece {
    /// Greatest side of its box.
    pub(super) fn extent_mm(&self) -> f64 {
        (self.high - self.low).max()
    }

    /// Diagonal of its box.
    pub(super) fn diameter_mm(&self) -> f64 {
        (self.high - self.low).norm()
    }

    /// The direction in which it is flattest.
    fn flat_normal(&self) -> Vector {
        let eigen = SymmetricEigen::new(self.scatter);
        eigen.eigenvectors.column(eigen.eigenvalues.imin()).into_owned()
    }
}

/// All pieces of a surface.
pub(super) struct Shells {
    piece: Vec<u32>,
    pub pieces: Vec<Piece>,
    area_mm2: f64,
}

impl Shells {
    pub(super) fn new(mesh: &Mesh, topology: &Topology) -> Shells {
        let (piece, count) = topology.pieces();
        let far = f64::INFINITY;
        let mut pieces = vec![
            Piece {
                first_face: 0,
                faces: 0,
                area_mm2: 0.0,
                centre: Point::origin(),
                low: Point::new(far, far, far),
                high: Point::new(-far, -far, -far),
                closed: true,
                volume_mm3: 0.0,
                scatter: Matrix3::zeros(),
            };
            count
        ];
        let origin = mesh.vertices().first().copied().unwrap_or_default();
        for f in 0..mesh.faces().len() as u32 {
            let p = &mut pieces[piece[f as usize] as usize];
            if p.faces == 0 {
                p.first_face = f;
            }
            p.faces += 1;
            let area = mesh.face_area_mm2(f);
            p.area_mm2 += area;
            p.centre += (mesh.face_centre(f) - origin) * area;
            for corner in mesh.corners(f) {
                (p.low, p.high) = (p.low.inf(&corner), p.high.sup(&corner));
            }
        }
        for p in &mut pieces {
            p.centre = origin + p.centre.coords / p.area_mm2.max(f64::MIN_POSITIVE);
        }
        for f in 0..mesh.faces().len() as u32 {
            let p = &mut pieces[piece[f as usize] as usize];
            let [a, b, c] = mesh.corners(f).map(|q| q - p.centre);
            p.volume_mm3 += a.cross(&b).dot(&c) / 6.0;
            let d = mesh.face_centre(f) - p.centre;
            p.scatter += d * d.transpose() * mesh.face_area_mm2(f);
        }
        for (e, edge) in topology.edges().iter().enumerate() {
            if edge.faces == 1
                && let [f] = topology.faces_of_edge(e as u32)
            {
                pieces[piece[*f as usize] as usize].closed = false;
            }
        }
        let area_mm2 = pieces.iter().map(|p| p.area_mm2).sum();
        Shells { piece: piece.to_vec(), pieces, area_mm2 }
    }

    /// Piece of a triangle.
    pub(super) fn piece_of(&self, face: FaceId) -> u32 {
        self.piece[face as usize]
    }

    /// Whether a piece is too small to matter.
    pub(super) fn is_debris(&self, piece: u32) -> bool {
        self.pieces[piece as usize].area_mm2 < DEBRIS * self.area_mm2
    }

    /// Pieces that are no debris.
    pub(super) fn large(&self) -> impl Iterator<Item = &Piece> {
        (0..self.pieces.len()).filter(|p| !self.is_debris(*p as u32)).map(|p| &self.pieces[p])
    }

    /// Inner walls and pieces of the size of an arch; `None` for `coarse` where the size of the surface is unlikely.
    pub(super) fn of_arch_size(&self, mesh: &Mesh, coarse: Option<&Coarse>) -> Option<Defect> {
        let coarse = coarse?;
        let inner = self.inner(mesh);
        self.inner_walls(mesh, &inner, coarse).or_else(|| self.several(&inner))
    }

    pub(super) fn debris(&self, mesh: &Mesh) -> Option<Defect> {
        let small: Vec<&Piece> =
            (0..self.pieces.len()).filter(|p| self.is_debris(*p as u32)).map(|p| &self.pieces[p]).collect();
        let first = small.first()?;
        let area: f64 = small.iter().map(|p| p.area_mm2).sum();
        Some(Defect {
            kind: DefectKind::Debris,
            count: small.len(),
            at: Some(mesh.face_centre(first.first_face)),
            says: format!(
                "Loose pieces too small to be an arch: {} ({} together). They were kept, because what stands free may be \
                 real; delete them in the scanner's software if they are not.",
                small.len(),
                units::show(area, units::Unit::Mm2)
            ),
            mended: false,
        })
    }

    /// For each piece that is no debris, whether it lies inside another.
    pub(super) fn inner(&self, mesh: &Mesh) -> Vec<bool> {
        let mut inner = vec![false; self.pieces.len()];
        for i in 0..self.pieces.len() {
            let p = &self.pieces[i];
            inner[i] = !self.is_debris(i as u32)
                && (0..self.pieces.len()).any(|j| {
                    let q = &self.pieces[j];
                    let boxed = (0..3).all(|k| q.low[k] <= p.low[k] && p.high[k] <= q.high[k]);
                    i != j && q.area_mm2 > p.area_mm2 && boxed && self.inside(mesh, p, j as u32)
                });
        }
        inner
    }

    /// Whether a piece lies inside the shell `outer`, by the solid angle that the shell fills around a corner of it.
    fn inside(&self, mesh: &Mesh, piece: &Piece, outer: u32) -> bool {
        let eye = mesh.corners(piece.first_face)[0];
        let angle: f64 = (0..mesh.faces().len() as u32)
            .filter(|f| self.piece_of(*f) == outer)
            .map(|f| solid_angle(mesh.corners(f).map(|q| q - eye)))
            .sum();
        // Full is four pi; an open scan around the place fills far less.
        angle.abs() > 0.9 * 4.0 * std::f64::consts::PI
    }

    fn several(&self, inner: &[bool]) -> Option<Defect> {
        let largest = self.pieces.iter().fold(0.0_f64, |m, p| m.max(p.area_mm2));
        let arches: Vec<&Piece> = self
            .pieces
            .iter()
            .zip(inner)
            .filter(|(p, inner)| !**inner && p.extent_mm() >= ARCH_MM && p.area_mm2 >= ARCH_SHARE * largest)
            .map(|(p, _)| p)
            .collect();
        let second = arches.get(1)?;
        if let [a, b] = arches[..]
            && stand_over_each_other(a, b)
        {
            return Some(Defect {
                kind: DefectKind::BothArchesInOne,
                count: 2,
                at: Some(second.centre),
                says: "The file holds two pieces, each of the size of an arch, one over the other: both arches in one \
                       file, it seems. Nothing was taken apart; export each arch to a file of its own."
                    .to_owned(),
                mended: false,
            });
        }
        Some(Defect {
            kind: DefectKind::SeveralShells,
            count: arches.len(),
            at: Some(second.centre),
            says: format!(
                "The file holds {} separate pieces of the size of an arch. All were kept as one surface; if only one \
                 of them is the arch, export that one alone.",
                arches.len()
            ),
            mended: false,
        })
    }

    fn inner_walls(&self, mesh: &Mesh, inner: &[bool], coarse: &Coarse) -> Option<Defect> {
        let count = inner.iter().filter(|i| **i).count();
        if let Some(first) = inner.iter().position(|i| *i) {
            return Some(Defect {
                kind: DefectKind::InnerWall,
                count,
                at: Some(mesh.face_centre(self.pieces[first].first_face)),
                says: format!(
                    "Pieces inside another piece: {count}; these are inner walls of a hollow or sectioned model. They were kept; \
                     nothing outside is hidden by them, but thickness and nearest distance from inside are not those \
                     of the tissue. Export the outer surface alone."
                ),
                mended: false,
            });
        }
        let (share, at) = coarse.share_with_wall_behind();
        (share > HOLLOW).then(|| Defect {
            kind: DefectKind::InnerWall,
            count: 1,
            at,
            says: format!(
                "Behind {} of the surface a second wall stands a few mm deeper: a hollow model whose inside is part \
                 of the file. It was kept; export the outer surface alone.",
                units::digits(100.0 * share, 0) + " %"
            ),
            mended: false,
        })
    }
}

fn stand_over_each_other(a: &Piece, b: &Piece) -> bool {
    let (na, nb) = (a.flat_normal(), b.flat_normal());
    let alike = a.area_mm2.min(b.area_mm2) > a.area_mm2.max(b.area_mm2) / 3.0;
    let parallel = na.dot(&nb).abs() > 0.8;
    let offset = b.centre - a.centre;
    let aside = (offset - na * offset.dot(&na)).norm();
    alike && parallel && aside < 0.5 * a.extent_mm().min(b.extent_mm())
}

/// Signed solid angle of a triangle seen from the origin.
fn solid_angle([a, b, c]: [Vector; 3]) -> f64 {
    let (la, lb, lc) = (a.norm(), b.norm(), c.norm());
    let over = a.cross(&b).dot(&c);
    let under = la * lb * lc + a.dot(&b) * lc + b.dot(&c) * la + c.dot(&a) * lb;
    2.0 * atan2(over, under)
}
