//! Polygons of a file, and how they are split into triangles.

use super::error::LoadError;
use crate::mesh::audit::{Defect, DefectKind};

/// Faces with any number of corners.
#[derive(Clone, Debug, Default)]
pub(super) struct Polygons {
    /// Corners of all faces, one after another.
    corners: Vec<u32>,
    /// Where each face ends in `corners`.
    ends: Vec<usize>,
}

/// Triangles of polygons.
#[derive(Clone, Debug, Default)]
pub(super) struct Split {
    pub triangles: Vec<[u32; 3]>,
    /// The polygon of each triangle; `None` where they are one and the same.
    pub face_of: Option<Vec<u32>>,
    pub defects: Vec<Defect>,
}

impl Polygons {
    /// Adds a corner to the face that is being read.
    pub(super) fn corner(&mut self, vertex: u32) {
        self.corners.push(vertex);
    }

    /// Ends the face that is being read.
    pub(super) fn end_face(&mut self) {
        self.ends.push(self.corners.len());
    }

    /// Number of whole faces.
    pub(super) fn len(&self) -> usize {
        self.ends.len()
    }

    fn face(&self, index: usize) -> &[u32] {
        let from = index.checked_sub(1).and_then(|i| self.ends.get(i)).copied().unwrap_or(0);
        let to = self.ends.get(index).copied().unwrap_or(from);
        self.corners.get(from..to).unwrap_or_default()
    }

    /// Splits all faces into triangles. Every corner must be an index of `vertices`.
    ///
    /// # Errors
    /// More faces than 32-bit indices can number.
    pub(super) fn split(self, vertices: &[[f64; 3]]) -> Result<Split, LoadError> {
        if self.corners.len() >= u32::MAX as usize || self.ends.len() >= u32::MAX as usize {
            return Err(LoadError::TooMany);
        }
        let whole = self.corners.len() == 3 * self.ends.len();
        if whole && self.ends.iter().enumerate().all(|(i, end)| *end == 3 * (i + 1)) {
            let triangles = self.corners.chunks_exact(3).map(|c| [c[0], c[1], c[2]]).collect();
            return Ok(Split { triangles, ..Split::default() });
        }
        let (mut triangles, mut face_of) = (Vec::new(), Vec::new());
        let (mut many, mut few) = (Seen::default(), Seen::default());
        for f in 0..self.len() {
            let face = self.face(f);
            match *face {
                [a, b, c] => triangles.push([a, b, c]),
                [a, b, c, d] => triangles.extend(quad(vertices, [a, b, c, d])),
                [first, ref rest @ ..] if rest.len() > 3 => {
                    triangles.extend(rest.windows(2).map(|w| [first, w[0], w[1]]));
                }
                _ => few.note(f, face),
            }
            if face.len() > 3 {
                many.note(f, face);
            }
            face_of.resize(triangles.len(), f as u32);
        }
        let place = |seen: &Seen| {
            let v = vertices.get(seen.corner? as usize)?;
            Some(crate::space::Point::new(v[0], v[1], v[2]))
        };
        let mut defects = Vec::new();
        if many.count > 0 {
            defects.push(Defect {
                kind: DefectKind::PolygonSplit,
                count: many.count,
                at: place(&many),
                says: format!(
                    "{} faces have more than three corners (the first is face {}, counted from 0) and were split \
                     into triangles; a face that is not flat could have been split the other way.",
                    many.count, many.first
                ),
                mended: true,
            });
        }
        if few.count > 0 {
            defects.push(Defect {
                kind: DefectKind::IgnoredContent,
                count: few.count,
                at: place(&few),
                says: format!(
                    "{} faces have fewer than three corners (the first is face {}, counted from 0) and were left out.",
                    few.count, few.first
                ),
                mended: true,
            });
        }
        Ok(Split { triangles, face_of: Some(face_of), defects })
    }
}

#[derive(Default)]
struct Seen {
    count: usize,
    first: usize,
    corner: Option<u32>,
}

impl Seen {
    fn note(&mut self, face: usize, corners: &[u32]) {
        if self.count == 0 {
            self.first = face;
            self.corner = corners.first().copied();
        }
        self.count += 1;
    }
}

/// Splits a quadrilateral along the shorter of the diagonals that leave both halves facing the same way.
fn quad(vertices: &[[f64; 3]], [a, b, c, d]: [u32; 4]) -> [[u32; 3]; 2] {
    let p = |i: u32| {
        let v = vertices.get(i as usize).copied().unwrap_or_default();
        crate::space::Vector::new(v[0], v[1], v[2])
    };
    let (pa, pb, pc, pd) = (p(a), p(b), p(c), p(d));
    let agree_ac = (pb - pa).cross(&(pc - pa)).dot(&(pc - pa).cross(&(pd - pa))) > 0.0;
    let agree_bd = (pc - pb).cross(&(pd - pb)).dot(&(pd - pb).cross(&(pa - pb))) > 0.0;
    let shorter_ac = (pc - pa).norm_squared() <= (pd - pb).norm_squared();
    if if agree_ac == agree_bd { shorter_ac } else { agree_ac } {
        [[a, b, c], [a, c, d]]
    } else {
        [[b, c, d], [b, d, a]]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn split(vertices: &[[f64; 3]], faces: &[&[u32]]) -> Split {
        let mut polygons = Polygons::default();
        for face in faces {
            face.iter().for_each(|v| polygons.corner(*v));
            polygons.end_face();
        }
        polygons.split(vertices).unwrap()
    }

    #[test]
    fn a_quad_is_split_along_its_shorter_diagonal_but_never_outside_itself() {
        let kite = [[0., 0., 0.], [1., -3., 0.], [2., 0., 0.], [1., 3., 0.]];
        assert_eq!(split(&kite, &[&[0, 1, 2, 3]]).triangles, [[0, 1, 2], [0, 2, 3]]);
        // An arrowhead: the shorter diagonal (1 to 3) runs outside, the right one ends in the inner corner.
        let arrow = [[0., 0., 0.], [1., -1., 0.], [-8., 0., 0.], [1., 1., 0.]];
        assert_eq!(split(&arrow, &[&[0, 1, 2, 3]]).triangles, [[0, 1, 2], [0, 2, 3]]);
    }

    #[test]
    fn faces_keep_their_number_and_what_was_done_is_counted() {
        let v = [[0.; 3], [1., 0., 0.], [2., 1., 0.], [1., 2., 0.], [0., 1., 0.]];
        let out = split(&v, &[&[0, 1], &[0, 1, 2], &[0, 1, 2, 3, 4]]);
        assert_eq!(out.triangles.len(), 4);
        assert_eq!(out.face_of, Some(vec![1, 2, 2, 2]));
        let kinds: Vec<_> = out.defects.iter().map(|d| (d.kind, d.count)).collect();
        assert_eq!(kinds, [(DefectKind::PolygonSplit, 1), (DefectKind::IgnoredContent, 1)]);
    }
}
