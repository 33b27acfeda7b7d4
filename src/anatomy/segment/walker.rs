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

/// Chance of each label at each place: `labels` columns a place.
pub fn chances(graph: &Graph, conductance: &[f64], start: &[Start], labels: usize) -> Vec<Vec<f64>> {
    (0..labels).into_par_iter().map(|k| solved(graph, conductance, start, k as u8)).collect()
}

/// Solves for one label by conjugate gradients with the diagonal as preconditioner.
fn solved(graph: &Graph, conductance: &[f64], start: &[Start], label: u8) -> Vec<f64> {
    let n = graph.len();
    let mut diagonal = vec![0.0; n];
    let mut rhs = vec![0.0; n];
    let mut x = vec![0.0; n];
    let fixed: Vec<bool> = start.iter().map(|s| matches!(s, Start::Seed(_))).collect();
    for i in 0..n {
        match start[i] {
            Start::Seed(l) => x[i] = if l == label { 1.0 } else { 0.0 },
            Start::Free { gum, tooth } => {
                let (own, pull) = tooth;
                diagonal[i] = gum + pull + 1e-9;
                rhs[i] = if label == 0 {
                    gum
                } else if own == label {
                    pull
                } else {
                    0.0
                };
            }
        }
    }
    for i in (0..n).filter(|&i| !fixed[i]) {
        let first = graph.first(i as u32);
        for (k, &j) in graph.near(i as u32).iter().enumerate() {
            let w = conductance[first + k];
            diagonal[i] += w;
            if fixed[j as usize] {
                rhs[i] += w * x[j as usize];
            }
        }
    }
    let product = |v: &[f64], out: &mut [f64]| {
        for i in (0..n).filter(|&i| !fixed[i]) {
            let first = graph.first(i as u32);
            let mut sum = diagonal[i] * v[i];
            for (k, &j) in graph.near(i as u32).iter().enumerate() {
                if !fixed[j as usize] {
                    sum -= conductance[first + k] * v[j as usize];
                }
            }
            out[i] = sum;
        }
    };
    let mut free = vec![0.0; n];
    let mut residual: Vec<f64> = (0..n).map(|i| if fixed[i] { 0.0 } else { rhs[i] }).collect();
    let scaled =
        |r: &[f64]| -> Vec<f64> { (0..n).map(|i| if fixed[i] { 0.0 } else { r[i] / diagonal[i] }).collect() };
    let mut z = scaled(&residual);
    let mut p = z.clone();
    let mut rz: f64 = residual.iter().zip(&z).map(|(a, b)| a * b).sum();
    let goal = SETTLED * rz.max(1e-30);
    let mut ap = vec![0.0; n];
    for _ in 0..MOST_STEPS {
        if rz <= goal {
            break;
        }
        product(&p, &mut ap);
        let pap: f64 = p.iter().zip(&ap).map(|(a, b)| a * b).sum();
        if pap <= 0.0 {
            break;
        }
        let step = rz / pap;
        for i in 0..n {
            free[i] += step * p[i];
            residual[i] -= step * ap[i];
        }
        z = scaled(&residual);
        let next: f64 = residual.iter().zip(&z).map(|(a, b)| a * b).sum();
        let share = next / rz;
        for i in 0..n {
            p[i] = z[i] + share * p[i];
        }
        rz = next;
    }
    for i in 0..n {
        if !fixed[i] {
            x[i] = free[i];
        }
    }
    x
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
            let chances = chances(&graph, &conductances(&graph), &start, 2);
            for i in 0..graph.len() {
                let (x, y) = (graph.at[i].x, graph.at[i].y);
                assert!(
                    (chances[0][i] + chances[1][i] - 1.0).abs() < 1e-2,
                    "the chances of a place make up one"
                );
                // Along the plate's border no curvature is known, so that walks pass there.
                if (x - crease).abs() > 1.5 && (1.5..3.3).contains(&y) {
                    let right = if x > crease { chances[1][i] } else { chances[0][i] };
                    assert!(right > 0.5, "{x} {y}: {right}");
                }
            }
        }
    }
}
