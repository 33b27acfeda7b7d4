//! A surface as even patches with a middle, a smooth normal and what it looks like around them: the same patches come out
//! of two scans of one surface, however they are meshed and however they lie.

use std::collections::BTreeMap;

use rayon::prelude::*;

use crate::mesh::{FaceId, Mesh};
use crate::space::{Point, Vector};

/// Radii at which the surroundings of a patch are looked at, in spacings.
const RADII: [f64; 2] = [2.5, 6.0];
/// Distance that chosen patches keep from each other, in spacings.
const APART: f64 = 2.2;

/// A patch.
#[derive(Clone, Copy, Debug)]
pub(super) struct Patch {
    /// Its middle, mm.
    pub at: Point,
    /// Smooth unit normal.
    pub normal: Vector,
    /// Height of the middle of the surroundings over the patch, as a share of their radius: under 0 on a cusp, over 0 in a
    /// groove; for both radii.
    pub hollow: [f64; 2],
    area: f64,
}

/// The cell of a grid that holds a position; kept to numbers that neighbours can be counted from.
pub(super) fn cell_of(p: &Point, width: f64) -> [i64; 3] {
    [p.x, p.y, p.z].map(|c| (c / width).floor().clamp(-1e15, 1e15) as i64)
}

/// Patches of the triangles for which `keep` holds.
pub(super) fn patches(mesh: &Mesh, keep: &dyn Fn(FaceId) -> bool, spacing: f64) -> Vec<Patch> {
    let mut cells: BTreeMap<[i64; 3], (Vector, Vector, f64)> = BTreeMap::new();
    for f in (0..mesh.faces().len() as FaceId).filter(|f| keep(*f)) {
        let normal = mesh.doubled_area_normal(f) / 2.0;
        let area = normal.norm();
        let middle = mesh.face_centre(f);
        let sum = cells.entry(cell_of(&middle, spacing)).or_insert((Vector::zeros(), Vector::zeros(), 0.0));
        sum.0 += middle.coords * area;
        sum.1 += normal;
        sum.2 += area;
    }
    let rough: Vec<Patch> = cells
        .into_values()
        .filter(|(_, n, area)| *area > 0.05 * spacing * spacing && n.norm() > 0.4 * area)
        .map(|(at, n, area)| Patch {
            at: Point::from(at / area),
            normal: n.normalize(),
            hollow: [0.0; 2],
            area,
        })
        .collect();
    let near = Near::new(&rough, RADII[1] * spacing);
    rough.par_iter().map(|p| looked_around(p, &rough, &near, spacing)).collect()
}

fn looked_around(p: &Patch, all: &[Patch], near: &Near, spacing: f64) -> Patch {
    let around = near.within(&p.at, all, RADII[1] * spacing);
    let mut normal = Vector::zeros();
    for (far, q) in &around {
        if *far < 1.8 * spacing && q.normal.dot(&p.normal) > 0.0 {
            normal += q.normal * q.area;
        }
    }
    let normal = normal.try_normalize(1e-12).unwrap_or(p.normal);
    let hollow = RADII.map(|radius| {
        let radius = radius * spacing;
        let (mut height, mut area) = (0.0, 0.0);
        for (far, q) in around.iter().filter(|(far, _)| *far < radius) {
            // Fades out, so that a patch at the edge comes and goes softly.
            let weight = q.area * (1.0 - (far / radius) * (far / radius));
            height += weight * (q.at - p.at).dot(&normal);
            area += weight;
        }
        if area > 0.0 { height / area / radius } else { 0.0 }
    });
    Patch { normal, hollow, ..*p }
}

/// Up to `most` patches that stand out from their surroundings most, apart from each other.
pub(super) fn salient(patches: &[Patch], spacing: f64, most: usize) -> Vec<Patch> {
    let mut order: Vec<usize> = (0..patches.len()).collect();
    order.sort_by(|&a, &b| patches[b].hollow[1].abs().total_cmp(&patches[a].hollow[1].abs()).then(a.cmp(&b)));
    let mut chosen: Vec<Patch> = Vec::new();
    for i in order {
        let p = &patches[i];
        let clear = |q: &Patch| (q.at - p.at).norm_squared() > (APART * spacing) * (APART * spacing);
        if chosen.iter().all(clear) {
            chosen.push(*p);
            if chosen.len() == most {
                break;
            }
        }
    }
    chosen
}

/// Patches by cells as wide as the radius asked for.
struct Near {
    width: f64,
    cells: BTreeMap<[i64; 3], Vec<u32>>,
}

impl Near {
    fn new(patches: &[Patch], width: f64) -> Near {
        let mut cells: BTreeMap<[i64; 3], Vec<u32>> = BTreeMap::new();
        for (i, p) in patches.iter().enumerate() {
            cells.entry(cell_of(&p.at, width)).or_default().push(i as u32);
        }
        Near { width, cells }
    }

    /// Patches within a radius (at most the width), with their distances, in a fixed order.
    fn within<'p>(&self, at: &Point, patches: &'p [Patch], radius: f64) -> Vec<(f64, &'p Patch)> {
        let [i, j, k] = cell_of(at, self.width);
        let mut found = Vec::new();
        for a in i - 1..=i + 1 {
            for b in j - 1..=j + 1 {
                for c in k - 1..=k + 1 {
                    for &q in self.cells.get(&[a, b, c]).into_iter().flatten() {
                        let q = &patches[q as usize];
                        let far = (q.at - at).norm();
                        if far < radius {
                            found.push((far, q));
                        }
                    }
                }
            }
        }
        found
    }
}

/// Which patch lies nearest to a place, by a grid over all of them.
pub(super) struct Field {
    low: Point,
    cell: f64,
    size: [usize; 3],
    nearest: Vec<u32>,
}

/// Most cells of the grid.
const MOST_CELLS: f64 = 3e6;
/// How far around each patch it is entered, in cells.
const PAINT: i64 = 2;

impl Field {
    /// A grid with cells of one spacing, or wider where it would grow too large. `None` without patches.
    pub fn new(patches: &[Patch], spacing: f64) -> Option<Field> {
        let first = patches.first()?.at;
        let (low, high) = patches.iter().fold((first, first), |(l, h), p| (l.inf(&p.at), h.sup(&p.at)));
        let mut cell = spacing;
        let size = loop {
            let size = (high - low).map(|c| (c / cell).ceil() + 2.0 * PAINT as f64 + 1.0);
            if size.x * size.y * size.z <= MOST_CELLS {
                break [size.x as usize, size.y as usize, size.z as usize];
            }
            cell *= 1.25;
        };
        let low = low - Vector::repeat(cell * PAINT as f64);
        let mut field = Field { low, cell, size, nearest: vec![u32::MAX; size[0] * size[1] * size[2]] };
        field.paint(patches);
        Some(field)
    }

    fn paint(&mut self, patches: &[Patch]) {
        let mut far = vec![f64::INFINITY; self.nearest.len()];
        for (i, p) in patches.iter().enumerate() {
            let [x, y, z] = cell_of(&(p.at - self.low.coords), self.cell);
            for a in x - PAINT..=x + PAINT {
                for b in y - PAINT..=y + PAINT {
                    for c in z - PAINT..=z + PAINT {
                        let Some(at) = self.index([a, b, c]) else { continue };
                        let middle = self.low
                            + Vector::new(a as f64 + 0.5, b as f64 + 0.5, c as f64 + 0.5) * self.cell;
                        let d2 = (middle - p.at).norm_squared();
                        if d2 < far[at] {
                            (far[at], self.nearest[at]) = (d2, i as u32);
                        }
                    }
                }
            }
        }
    }

    fn index(&self, cell: [i64; 3]) -> Option<usize> {
        let inside = (0..3).all(|k| cell[k] >= 0 && cell[k] < self.size[k] as i64);
        inside.then(|| (cell[0] as usize * self.size[1] + cell[1] as usize) * self.size[2] + cell[2] as usize)
    }

    /// The patch near a place, by number; `None` where none is near.
    pub fn near(&self, p: &Point) -> Option<usize> {
        let at = self.index(cell_of(&(p - self.low.coords), self.cell))?;
        let i = self.nearest[at];
        (i != u32::MAX).then_some(i as usize)
    }
}
