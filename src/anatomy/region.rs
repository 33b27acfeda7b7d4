//! What each vertex belongs to: crowns, gingiva, residual ridge, palate, trimmed base.

use std::collections::BinaryHeap;

use super::{Crown, KnownFrame, Region, Span, base, curves};
use crate::case::Arch;
use crate::mesh::{Mesh, Topology, VertexId};
use crate::space::Vector;

/// Half the width of the strip about a crest line that counts as residual ridge, mm.
const RIDGE_HALF_WIDTH_MM: f64 = 5.0;
/// Way over the surface from a crown's margin or a ridge within which soft tissue is called gingiva, mm.
const GINGIVA_MM: f64 = 8.0;
/// What is known when regions are told.
#[derive(Clone, Copy, Debug)]
pub struct Known<'a> {
    /// The arch.
    pub arch: Arch,
    /// Crowns.
    pub crowns: &'a [Crown],
    /// Spans.
    pub spans: &'a [Span],
    /// Frame.
    pub frame: Option<&'a KnownFrame>,
}

/// Region and FDI number (0 = none) of each vertex. Tori are not told here.
pub fn of_vertices(mesh: &Mesh, topology: &Topology, known: &Known<'_>) -> (Vec<Region>, Vec<u8>) {
    let n = mesh.vertices().len();
    let mut region = vec![Region::Other; n];
    let mut tooth_of = vec![0u8; n];
    let flat = base::faces(mesh, topology);
    for (corners, _) in mesh.faces().iter().zip(flat).filter(|(_, flat)| **flat) {
        corners.iter().for_each(|&v| region[v as usize] = Region::Base);
    }
    paint_crowns(mesh, topology, known.crowns, &mut region, &mut tooth_of);
    for span in known.spans {
        for &v in span.faces.iter().flat_map(|&f| &mesh.faces()[f as usize]) {
            if region[v as usize] == Region::Other {
                region[v as usize] = Region::ResidualRidge;
            }
        }
        // Without a frame there are no sections: a strip about the crest stands in.
        if let (true, Ok(crest)) = (span.faces.is_empty(), &span.crest) {
            paint_ridge(mesh, crest, &mut region);
        }
    }
    let seeds: Vec<VertexId> = (0..n as u32)
        .filter(|&v| matches!(region[v as usize], Region::Tooth | Region::ResidualRidge))
        .collect();
    for v in within(mesh, topology, &seeds, GINGIVA_MM) {
        if region[v as usize] == Region::Other {
            region[v as usize] = Region::Gingiva;
        }
    }
    if known.arch == Arch::Maxilla && !known.crowns.is_empty() {
        paint_palate(mesh, known, &mut region);
    }
    (region, tooth_of)
}

/// Paints what is not yet a tooth: a vertex is one where crowns take half of the surface around it, and belongs to the
/// crown that takes most.
pub(super) fn paint_crowns(
    mesh: &Mesh,
    topology: &Topology,
    crowns: &[Crown],
    region: &mut [Region],
    tooth_of: &mut [u8],
) {
    let n = mesh.vertices().len();
    let (mut taken, mut most) = (vec![0.0; n], vec![(0.0, 0u8); n]);
    let mut own = vec![0.0; n];
    for crown in crowns {
        for &f in &crown.faces {
            let area = mesh.face_area_mm2(f);
            mesh.faces()[f as usize].iter().for_each(|&v| own[v as usize] += area);
        }
        for v in crown.vertices.iter().map(|&v| v as usize) {
            let area = std::mem::take(&mut own[v]);
            taken[v] += area;
            if area > most[v].0 {
                most[v] = (area, crown.tooth.number());
            }
        }
    }
    for v in 0..n {
        if most[v].1 == 0 || tooth_of[v] != 0 {
            continue;
        }
        let around: f64 = topology.faces_of_vertex(v as u32).iter().map(|&f| mesh.face_area_mm2(f)).sum();
        if taken[v] >= 0.5 * around {
            region[v] = Region::Tooth;
            tooth_of[v] = most[v].1;
        }
    }
}

fn paint_ridge(mesh: &Mesh, crest: &[crate::space::Point], region: &mut [Region]) {
    let reach = Vector::repeat(RIDGE_HALF_WIDTH_MM);
    let Some(first) = crest.first() else { return };
    let (low, high) = crest.iter().fold((*first, *first), |(l, h), p| (l.inf(p), h.sup(p)));
    let (low, high) = (low - reach, high + reach);
    for (v, p) in mesh.vertices().iter().enumerate() {
        let near = (0..3).all(|k| p[k] >= low[k] && p[k] <= high[k]);
        if near
            && region[v] == Region::Other
            && curves::distance_mm(crest, p).is_some_and(|d| d <= RIDGE_HALF_WIDTH_MM)
        {
            region[v] = Region::ResidualRidge;
        }
    }
}

/// Soft tissue inside the upper arch, behind the front teeth and above the margins, is palate.
fn paint_palate(mesh: &Mesh, known: &Known<'_>, region: &mut [Region]) {
    let Some(frame) = known.frame.filter(|f| f.anterior_known) else { return };
    let local: Vec<[f64; 3]> = known.crowns.iter().map(|c| frame.frame.local(&c.centre)).collect();
    let back = local.iter().map(|l| l[0]).fold(f64::INFINITY, f64::min) - 8.0;
    for (v, p) in mesh.vertices().iter().enumerate() {
        if region[v] != Region::Other {
            continue;
        }
        let [a, l, h] = frame.frame.local(p);
        // The crowns on this side nearest in the anterior direction bound the palate laterally.
        let beside = local
            .iter()
            .filter(|c| c[1] * l > 0.0)
            .min_by(|c, d| (c[0] - a).abs().total_cmp(&(d[0] - a).abs()));
        if h < 0.0 && a > back && beside.is_some_and(|c| l.abs() < c[1].abs() - 3.0 && a < c[0] + 8.0) {
            region[v] = Region::Palate;
        }
    }
}

/// Vertices within a way over the edges of the surface from any of the seeds, ascending.
fn within(mesh: &Mesh, topology: &Topology, seeds: &[VertexId], most_mm: f64) -> Vec<VertexId> {
    let mut way = vec![f64::INFINITY; mesh.vertices().len()];
    let mut queue = BinaryHeap::new();
    for &v in seeds {
        way[v as usize] = 0.0;
        queue.push(std::cmp::Reverse((0u64, v)));
    }
    while let Some(std::cmp::Reverse((bits, v))) = queue.pop() {
        // Distances are not negative, so their bits order as they do.
        let so_far = f64::from_bits(bits);
        if so_far > way[v as usize] {
            continue;
        }
        for &f in topology.faces_of_vertex(v) {
            for w in mesh.faces()[f as usize].into_iter().filter(|&w| w != v) {
                let sum = so_far + (mesh.vertex(w) - mesh.vertex(v)).norm();
                if sum <= most_mm && sum < way[w as usize] {
                    way[w as usize] = sum;
                    queue.push(std::cmp::Reverse((sum.to_bits(), w)));
                }
            }
        }
    }
    (0..way.len() as u32).filter(|&v| way[v as usize] <= most_mm).collect()
}
