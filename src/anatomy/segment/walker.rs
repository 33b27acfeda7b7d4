//! Which tooth a place belongs to: the chance that a walk over the surface, slow across creases, ends in its seeds.

use rayon::prelude::*;

use super::graph::Graph;

/// How strongly a crease holds a walk back.
const HOLD: f64 = 15.0;
/// Concavity that holds nothing back yet, 1/mm.
const FLAT: f64 = 0.05;

/// Share of the first residual (squared, as the diagonal weighs it) at which the chances are settled.
const SETTLED: f64 = 1e-6;
/// Steps after which they are taken as they are.
const MOST_STEPS: usize = 600;

/// Conductance of each link of the graph, in the order of its list of neighbours.
pub fn conductances(graph: &Graph) -> Vec<f64> {
    let mut result = Vec::new();
    for i in 0..graph.len() as u32 {
        for &j in graph.near(i) {
            let way = graph.at[j as usize] - graph.at[i as usize];
            let bend = |k: u32| graph.curvature[k as usize].and_then(|c| c.along(&way));
            let curvature = match (bend(i), bend(j)) {
                (Some(a), Some(b)) => (a + b) / 2.0,
                (a, b) => a.or(b).unwrap_or(0.0),
            };
            result.push(crate::space::exp(-HOLD * (-curvature - FLAT).clamp(0.0, 1.5)));
        }
    }
    result
}

/// What holds a place before the walk.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Start {
    /// It belongs to a label.
    Seed(u8),
    /// It may end up anywhere; a pull toward label 0 and one toward any other, both small.
    Free {
        /// Pull toward label 0.
        gum: f64,
        /// A label and the pull toward it.
        tooth: (u8, f64),
    },
}

/// The likeliest label of each place, of `labels` (0 = gingiva). A walk that starts nearest to one tooth is followed to
/// that tooth, its two neighbours and the gingiva; it ends in no other.
pub fn likeliest(graph: &Graph, conductance: &[f64], start: &[Start], labels: usize) -> Vec<u8> {
    let columns: Vec<Vec<(u32, f64)>> = (1..labels)
        .into_par_iter()
        .map(|k| Walk::new(graph, conductance, start, k as u8).chances())
        .collect();
    let mut best: Vec<(f64, u8)> = vec![(0.0, 0); start.len()];
    let mut gum = vec![1.0; start.len()];
    for (k, column) in columns.iter().enumerate() {
        for &(i, chance) in column {
            gum[i as usize] -= chance;
            if chance > best[i as usize].0 {
                best[i as usize] = (chance, k as u8 + 1);
            }
        }
    }
    let label = |i: usize| match start[i] {
        Start::Seed(label) => label,
        Start::Free { .. } if best[i].0 > gum[i] => best[i].1,
        Start::Free { .. } => 0,
    };
    (0..start.len()).map(label).collect()
}

/// The free places from which walks may end in one tooth, as a system of equations for the chance that they do.
struct Walk {
    /// Places of the graph.
    at: Vec<u32>,
    diagonal: Vec<f64>,
    rhs: Vec<f64>,
    /// Links among them: first link of each, and (place of the system, conductance).
    first: Vec<u32>,
    links: Vec<(u32, f64)>,
}

impl Walk {
    fn new(graph: &Graph, conductance: &[f64], start: &[Start], label: u8) -> Walk {
        let near = |s: &Start| matches!(s, Start::Free { tooth, .. } if tooth.0.abs_diff(label) <= 1);
        let at: Vec<u32> = (0..start.len() as u32).filter(|&i| near(&start[i as usize])).collect();
        let mut own = vec![u32::MAX; start.len()];
        at.iter().enumerate().for_each(|(k, &i)| own[i as usize] = k as u32);
        let mut walk = Walk { diagonal: Vec::new(), rhs: Vec::new(), first: vec![0], links: Vec::new(), at };
        for &i in &walk.at {
            let (mut diagonal, mut rhs) = (1e-9, 0.0);
            if let Start::Free { gum, tooth } = start[i as usize] {
                diagonal += gum + tooth.1;
                rhs += if tooth.0 == label { tooth.1 } else { 0.0 };
            }
            let first = graph.first(i);
            for (k, &j) in graph.near(i).iter().enumerate() {
                let w = conductance[first + k];
                diagonal += w;
                if own[j as usize] != u32::MAX {
                    walk.links.push((own[j as usize], w));
                } else if start[j as usize] == Start::Seed(label) {
                    rhs += w;
                }
            }
            walk.diagonal.push(diagonal);
            walk.rhs.push(rhs);
            walk.first.push(walk.links.len() as u32);
        }
        walk
    }

    fn product(&self, v: &[f64], out: &mut [f64]) {
        for i in 0..v.len() {
            let links = &self.links[self.first[i] as usize..self.first[i + 1] as usize];
            let mut sum = self.diagonal[i] * v[i];
            for &(j, w) in links {
                sum -= w * v[j as usize];
            }
            out[i] = sum;
        }
    }

    /// Chance by place of the graph, by conjugate gradients with the diagonal as preconditioner.
    fn chances(self) -> Vec<(u32, f64)> {
        let n = self.at.len();
        let mut x = vec![0.0; n];
        let mut residual = self.rhs.clone();
        let scaled = |r: &[f64]| -> Vec<f64> { r.iter().zip(&self.diagonal).map(|(r, d)| r / d).collect() };
        let mut z = scaled(&residual);
        let mut p = z.clone();
        let dot = |a: &[f64], b: &[f64]| -> f64 { a.iter().zip(b).map(|(a, b)| a * b).sum() };
        let mut rz = dot(&residual, &z);
        let goal = SETTLED * rz.max(1e-30);
        let mut ap = vec![0.0; n];
        for _ in 0..MOST_STEPS {
            if rz <= goal {
                break;
            }
            self.product(&p, &mut ap);
            let pap = dot(&p, &ap);
            if pap <= 0.0 {
                break;
            }
            let step = rz / pap;
            for i in 0..n {
                x[i] += step * p[i];
                residual[i] -= step * ap[i];
            }
            z = scaled(&residual);
            let next = dot(&residual, &z);
            let share = next / rz;
            for i in 0..n {
                p[i] = z[i] + share * p[i];
            }
            rz = next;
        }
        self.at.into_iter().zip(x).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::{Mesh, Topology};
    use crate::space::Point;

    /// A valley with a sharp floor at x = `crease`, a plate 13 mm wide.
    fn valley(crease: f64) -> Mesh {
        let (across, along) = (33u32, 13u32);
        let vertices = (0..along)
            .flat_map(|j| (0..across).map(move |i| (0.4 * f64::from(i), 0.4 * f64::from(j))))
            .map(|(x, y)| Point::new(x, y, (x - crease).abs()))
            .collect();
        let mut faces = Vec::new();
        for a in (0..along - 1).flat_map(|j| (0..across - 1).map(move |i| j * across + i)) {
            faces.extend([[a, a + 1, a + across + 1], [a, a + across + 1, a + across]]);
        }
        Mesh::new(vertices, faces).unwrap()
    }

    #[test]
    fn walks_part_at_a_crease_wherever_their_seeds_lie() {
        for crease in [4.0, 8.0] {
            let mesh = valley(crease);
            let graph = Graph::new(&mesh, &Topology::new(&mesh));
            let start: Vec<Start> = graph
                .at
                .iter()
                .map(|p| match p.x {
                    x if x < 0.5 => Start::Seed(0),
                    x if x > 12.5 => Start::Seed(1),
                    _ => Start::Free { gum: 0.0, tooth: (1, 0.0) },
                })
                .collect();
            let label = likeliest(&graph, &conductances(&graph), &start, 2);
            for i in 0..graph.len() {
                let (x, y) = (graph.at[i].x, graph.at[i].y);
                // Along the plate's border no curvature is known, so that walks pass there.
                if (x - crease).abs() > 1.5 && (1.5..3.3).contains(&y) {
                    assert_eq!(label[i], u8::from(x > crease), "{x} {y}");
                }
            }
        }
    }
}
