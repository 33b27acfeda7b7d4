//! The ragged border of an intraoral scan.

use super::pieces::without;
use crate::mesh::{Mesh, Reached, Topology};
use crate::phantom::field::{Variety, Waves};
use std::collections::BinaryHeap;

/// Triangles near a border taken away by a field of slow and quick waves, so that bites and tongues are left.
pub(super) fn ragged(mesh: &Mesh, depth_mm: f64, variety: &mut Variety) -> Mesh {
    let topology = Topology::new(mesh);
    let from_border = distances(mesh, &topology, depth_mm);
    let (slow, quick) = (Waves::new(variety, 7.0), Waves::new(variety, 2.2));
    let gone = |f: u32| {
        let from = mesh.faces()[f as usize].map(|v| from_border[v as usize]);
        let Some(from) = from.into_iter().flatten().reduce(f64::min) else { return false };
        let c = mesh.face_centre(f);
        let bite = 0.35 + 0.75 * slow.at(c.x, c.y, c.z) + 0.35 * quick.at(c.x, c.y, c.z);
        from < depth_mm * bite.clamp(0.0, 1.0)
    };
    without(mesh, gone)
}

/// Distance along edges from the nearest border, mm; `None` beyond `limit_mm`.
fn distances(mesh: &Mesh, topology: &Topology, limit_mm: f64) -> Vec<Option<f64>> {
    let mut from: Vec<Option<f64>> = vec![None; mesh.vertices().len()];
    let mut queue = BinaryHeap::new();
    for v in topology.edges().iter().filter(|e| e.faces == 1).flat_map(|e| e.ends) {
        if from[v as usize].is_none() {
            from[v as usize] = Some(0.0);
            queue.push(Reached(0.0, v));
        }
    }
    while let Some(Reached(far, v)) = queue.pop() {
        if from[v as usize].is_some_and(|d| d < far) {
            continue;
        }
        for w in topology.neighbours(mesh, v) {
            let next = far + (mesh.vertex(v) - mesh.vertex(w)).norm();
            if next <= limit_mm && from[w as usize].is_none_or(|d| next < d) {
                from[w as usize] = Some(next);
                queue.push(Reached(next, w));
            }
        }
    }
    from
}

#[cfg(test)]
mod tests {
    use crate::mesh::{Mesh, Topology};
    use crate::phantom::faults::{Fault, apply, tests::borders, tests::dome};

    fn border_mm(m: &Mesh) -> f64 {
        let edges = Topology::new(m);
        let border = edges.edges().iter().filter(|e| e.faces == 1);
        border.map(|e| (m.vertex(e.ends[0]) - m.vertex(e.ends[1])).norm()).sum()
    }

    #[test]
    fn a_ragged_border_is_longer_uneven_and_bitten_no_deeper_than_asked() {
        let mesh = dome(0.4);
        let ragged = apply(&mesh, &[Fault::RaggedBorder { depth_mm: 2.5 }], 8).unwrap().mesh;
        assert!(border_mm(&ragged) > 1.3 * border_mm(&mesh));
        assert_eq!((borders(&ragged), Topology::new(&ragged).pieces().1), (1, 1));
        let topology = Topology::new(&ragged);
        let height: Vec<f64> =
            topology.edges().iter().filter(|e| e.faces == 1).map(|e| ragged.vertex(e.ends[0]).z).collect();
        let (low, high) = height.iter().fold((f64::INFINITY, 0.0f64), |(a, b), z| (a.min(*z), b.max(*z)));
        // The dome's border is at 0.3 mm, and its wall is steep there: 2.5 mm of it rise by 2.4 mm at the most.
        assert!(low < 0.6 && high > 1.3 && high < 0.3 + 2.5 + 0.5, "{low} {high}");
    }
}
