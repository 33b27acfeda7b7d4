//! Corners at the same place become one vertex; what is no triangle then is left out, and counted.
//!
//! Places are compared exactly, in the file's own numbers (only -0.0 equals 0.0), so that welding never moves anything.

use super::error::LoadError;
use super::{Import, Soup, VertexProperty};
use crate::mesh::audit::{Defect, DefectKind};
use crate::mesh::{Mesh, MeshError};
use crate::space::Point;
use crate::units::{self, LengthUnit};

/// Beyond this a file holds no scan, and products of coordinates might leave the range of numbers, mm.
const FARTHEST_MM: f64 = 1e9;
/// A file's number grid coarser than this is reported, mm: a hundredth of what scanners resolve.
const GRID_REPORTED_MM: f64 = 0.001;
const UNUSED: u32 = u32::MAX;

/// Makes the surface of what a file held.
///
/// # Errors
/// Coordinates that no scan has, no triangle left.
pub(super) fn weld(soup: Soup, unit: LengthUnit) -> Result<Import, LoadError> {
    let scale = unit.mm();
    if let Some(vertex) = soup.vertices.iter().position(|p| p.iter().any(|c| c.abs() * scale > FARTHEST_MM)) {
        return Err(LoadError::TooFar { vertex, unit: unit.word() });
    }
    let file_triangles = soup.triangles.len();
    let (mut welded_of, positions) = join(&soup.vertices, &soup.triangles);
    let at = |p: [f64; 3]| Point::new(p[0] * scale, p[1] * scale, p[2] * scale);
    let mut vertices: Vec<Point> = positions.into_iter().map(at).collect();
    let kept = keep(&soup.triangles, &welded_of, &vertices);
    if kept.triangles.is_empty() {
        let what = format!("{file_triangles} triangles, none of which has an area");
        return Err(LoadError::NoTriangles { what });
    }
    let mut triangles = kept.triangles;
    drop_unused(&mut triangles, &mut vertices, &mut welded_of);
    let first_of = first_of_each(&welded_of, vertices.len());
    let mut defects = soup.defects;
    for defect in &mut defects {
        defect.at = defect.at.map(|p| Point::from(p.coords * scale));
    }
    defects.extend(kept.defects);
    defects.extend(unused(&welded_of, &soup.vertices, at));
    defects.extend(far(&soup.vertices, scale));
    defects.sort_by_key(|d| d.kind);
    let file_face_of = match soup.face_of {
        Some(face_of) => kept.indices.iter().map(|i| face_of[*i as usize]).collect(),
        None => kept.indices,
    };
    let mesh = Mesh::new(vertices, triangles).map_err(|e| match e {
        MeshError::TooMany => LoadError::TooMany,
        MeshError::NotFinite { vertex }
        | MeshError::OutOfRange { vertex, .. }
        | MeshError::RepeatedCorner { vertex, .. } => {
            LoadError::TooFar { vertex: vertex as usize, unit: unit.word() }
        }
    })?;
    let pick = |values: &[f64]| first_of.iter().map(|v| values[*v as usize]).collect();
    Ok(Import {
        mesh,
        format: soup.format,
        unit,
        file_triangles,
        file_vertices: soup.vertices.len(),
        welded_of,
        file_face_of,
        colours: soup.colours.map(|c| first_of.iter().map(|v| c[*v as usize]).collect()),
        properties: soup
            .properties
            .into_iter()
            .map(|p| VertexProperty { values: pick(&p.values), name: p.name })
            .collect(),
        defects,
    })
}

/// For each vertex its welded vertex, and the places of these, in order of first appearance in the file. Vertices that
/// no triangle uses stay out.
fn join(vertices: &[[f64; 3]], triangles: &[[u32; 3]]) -> (Vec<u32>, Vec<[f64; 3]>) {
    let mut welded_of = vec![UNUSED; vertices.len()];
    for corner in triangles.iter().flatten() {
        welded_of[*corner as usize] = 0;
    }
    let mut places = Places::for_about(vertices.len() / 6);
    for (v, welded) in welded_of.iter_mut().enumerate() {
        if *welded != UNUSED {
            *welded = places.number_of(vertices[v].map(|c| c + 0.0)); // -0.0 becomes 0.0
        }
    }
    (welded_of, places.places)
}

/// Different places, numbered in order of first appearance. An open table at a load of one half at most; the hash is
/// fixed, and no order of the table reaches the output.
struct Places {
    places: Vec<[f64; 3]>,
    table: Vec<u32>,
}

impl Places {
    fn for_about(count: usize) -> Places {
        Places { places: Vec::new(), table: vec![UNUSED; (2 * count).next_power_of_two().max(16)] }
    }

    fn number_of(&mut self, place: [f64; 3]) -> u32 {
        let mut slot = self.slot_of(&place);
        loop {
            let known = self.table[slot];
            if known == UNUSED {
                break;
            }
            if self.places[known as usize] == place {
                return known;
            }
            slot = (slot + 1) & (self.table.len() - 1);
        }
        let number = self.places.len() as u32;
        self.places.push(place);
        self.table[slot] = number;
        if 2 * self.places.len() > self.table.len() {
            self.grow();
        }
        number
    }

    fn slot_of(&self, place: &[f64; 3]) -> usize {
        hash(place) as usize & (self.table.len() - 1)
    }

    fn grow(&mut self) {
        self.table = vec![UNUSED; 4 * self.table.len()];
        for number in 0..self.places.len() {
            let mut slot = self.slot_of(&self.places[number]);
            while self.table[slot] != UNUSED {
                slot = (slot + 1) & (self.table.len() - 1);
            }
            self.table[slot] = number as u32;
        }
    }
}

/// Mixes the bits of a place; neighbours on a grid go to places far apart in the table.
fn hash(place: &[f64; 3]) -> u64 {
    let mut h = 0x9e37_79b9_7f4a_7c15_u64;
    for c in place {
        h = (h ^ c.to_bits()).wrapping_mul(0xd6e8_feb8_6659_fd93);
        h ^= h >> 32;
    }
    h = h.wrapping_mul(0xd6e8_feb8_6659_fd93);
    h ^ (h >> 32)
}

struct Kept {
    triangles: Vec<[u32; 3]>,
    /// Their indices in the file.
    indices: Vec<u32>,
    defects: Vec<Defect>,
}

/// Leaves out triangles without area and, of those with the same three corners, all but the first.
fn keep(file: &[[u32; 3]], welded_of: &[u32], vertices: &[Point]) -> Kept {
    let (mut triangles, mut indices) = (Vec::with_capacity(file.len()), Vec::with_capacity(file.len()));
    let (mut flat, mut first_flat) = (0, None);
    for (i, corners) in file.iter().enumerate() {
        let t = corners.map(|v| welded_of[v as usize]);
        let [a, b, c] = t.map(|v| vertices[v as usize]);
        if t[0] == t[1]
            || t[1] == t[2]
            || t[2] == t[0]
            || (b - a).cross(&(c - a)) == crate::space::Vector::zeros()
        {
            flat += 1;
            first_flat = first_flat.or(Some(a));
        } else {
            triangles.push(t);
            indices.push(i as u32);
        }
    }
    let twice = repeated(&triangles, vertices.len());
    let count = twice.iter().filter(|t| **t).count();
    let first_twice = twice.iter().position(|t| *t).map(|i| vertices[triangles[i][0] as usize]);
    let mut defects = Vec::new();
    if flat > 0 {
        defects.push(Defect {
            kind: DefectKind::TriangleWithoutArea,
            count: flat,
            at: first_flat,
            says: format!(
                "{flat} triangles have no area (two corners at one place, or all three in a line) and were left out; \
                 no figure changes by it."
            ),
            mended: true,
        });
    }
    if count > 0 {
        defects.push(Defect {
            kind: DefectKind::DuplicateTriangle,
            count,
            at: first_twice,
            says: format!(
                "{count} triangles have the same three corners as an earlier one and were left out; no figure changes \
                 by it."
            ),
            mended: true,
        });
        let mut drop = twice.iter();
        triangles.retain(|_| !drop.next().copied().unwrap_or(false));
        let mut drop = twice.iter();
        indices.retain(|_| !drop.next().copied().unwrap_or(false));
    }
    Kept { triangles, indices, defects }
}

/// Marks each triangle whose three corners an earlier one has, in whatever order.
fn repeated(triangles: &[[u32; 3]], vertices: usize) -> Vec<bool> {
    let mut sorted: Vec<[u32; 3]> = triangles.to_vec();
    sorted.iter_mut().for_each(|t| t.sort_unstable());
    // Chains of the triangles by their lowest corner, newest first.
    let mut newest = vec![UNUSED; vertices];
    let mut before = vec![UNUSED; triangles.len()];
    let mut twice = vec![false; triangles.len()];
    let mut long = vec![0u8; vertices];
    for (i, t) in sorted.iter().enumerate() {
        let low = t[0] as usize;
        let mut other = newest[low];
        while other != UNUSED && sorted[other as usize] != *t {
            other = before[other as usize];
        }
        if other != UNUSED {
            twice[i] = true;
            continue;
        }
        before[i] = newest[low];
        newest[low] = i as u32;
        long[low] = long[low].saturating_add(1);
        if long[low] == u8::MAX {
            return repeated_by_sorting(&sorted);
        }
    }
    twice
}

/// As [`repeated`], for fans of so many triangles around one vertex that chains would be slow.
fn repeated_by_sorting(sorted: &[[u32; 3]]) -> Vec<bool> {
    let mut order: Vec<u32> = (0..sorted.len() as u32).collect();
    order.sort_unstable_by_key(|i| (sorted[*i as usize], *i));
    let mut twice = vec![false; sorted.len()];
    for pair in order.windows(2) {
        twice[pair[1] as usize] = sorted[pair[0] as usize] == sorted[pair[1] as usize];
    }
    twice
}

/// Takes out vertices that only left-out triangles used; the rest keep their order.
fn drop_unused(triangles: &mut [[u32; 3]], vertices: &mut Vec<Point>, welded_of: &mut [u32]) {
    let mut new_of = vec![UNUSED; vertices.len()];
    for corner in triangles.iter().flatten() {
        new_of[*corner as usize] = 0;
    }
    if !new_of.contains(&UNUSED) {
        return;
    }
    let mut next = 0;
    for new in &mut new_of {
        if *new != UNUSED {
            *new = next;
            next += 1;
        }
    }
    let mut old = new_of.iter();
    vertices.retain(|_| old.next().is_some_and(|new| *new != UNUSED));
    for v in triangles.iter_mut().flatten().chain(welded_of.iter_mut()).filter(|v| **v != UNUSED) {
        *v = new_of[*v as usize];
    }
}

/// The first vertex of the file at each welded vertex.
fn first_of_each(welded_of: &[u32], welded: usize) -> Vec<u32> {
    let mut first = vec![0; welded];
    for (v, w) in welded_of.iter().enumerate().rev() {
        if *w != UNUSED {
            first[*w as usize] = v as u32;
        }
    }
    first
}

fn unused(welded_of: &[u32], vertices: &[[f64; 3]], at: impl Fn([f64; 3]) -> Point) -> Option<Defect> {
    let first = welded_of.iter().position(|w| *w == UNUSED)?;
    let count = welded_of.iter().filter(|w| **w == UNUSED).count();
    Some(Defect {
        kind: DefectKind::UnusedVertex,
        count,
        at: vertices.get(first).map(|p| at(*p)),
        says: format!("{count} vertices belong to no triangle and were left out; no figure changes by it."),
        mended: true,
    })
}

/// Whether a number came from single precision: it is one, or it is the shortest text of one.
fn from_single(number: f64) -> bool {
    let single = number as f32;
    f64::from(single) == number || single.to_string().parse() == Ok(number)
}

/// Numbers that all fit in single precision came from it: then the grid of single precision at the farthest coordinate
/// is as fine as the file can say anything, however many digits it writes.
fn far(vertices: &[[f64; 3]], scale: f64) -> Option<Defect> {
    let farthest = vertices.iter().flatten().fold(0.0_f64, |m, c| m.max(c.abs()));
    let single = farthest as f32;
    let grid_mm = f64::from(single.next_up() - single) * scale;
    if grid_mm <= GRID_REPORTED_MM || !vertices.iter().flatten().all(|c| from_single(*c)) {
        return None;
    }
    let first = vertices.iter().find(|p| p.iter().any(|c| c.abs() == farthest))?;
    Some(Defect {
        kind: DefectKind::FarFromOrigin,
        count: 1,
        at: Some(Point::new(first[0] * scale, first[1] * scale, first[2] * scale)),
        says: format!(
            "The surface stands {} from the origin, where the file's own numbers are {} apart: no figure can be \
             finer than that. Export the scan again near its origin.",
            units::mm(farthest * scale),
            units::digits(grid_mm, 4) + " mm"
        ),
        mended: false,
    })
}

#[cfg(test)]
#[path = "weld_tests.rs"]
mod tests;
