//! The cast turned so that the withdrawal direction is `z`, and its contour edges in projection.

use super::filled;
use super::shell::Shell;
use crate::space::{Direction, Vector, across};
use rayon::prelude::*;

/// Height of a triangle's projection under which it is seen edge-on and covers nothing, mm.
const EDGE_ON_MM: f64 = 1e-9;
const CHUNK: usize = 8192;

/// An edge at which the number of layers over the plan changes, or beyond which a triangle has no single neighbour.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Rim {
    /// Ends; the side with more layers is on the left of the way from the first to the second.
    pub ends: [u32; 2],
    /// Layers on the left less layers on the right.
    pub jump: i32,
    /// Whether one side has no layer at all: a piece of the border of what stands above.
    pub open: bool,
    /// The two triangles that meet there, one of them perhaps seen edge-on; `None` at a border and a fan.
    pub meet: Option<[u32; 2]>,
}

/// A shell turned into one direction.
#[derive(Debug)]
pub(super) struct Turned {
    /// Axes of the plan and the withdrawal direction.
    pub axes: [Vector; 3],
    /// Vertices: place in the plan and height, mm.
    pub at: Vec<[f64; 3]>,
    /// Sense of each triangle in projection: +1, -1, 0 where it is seen edge-on.
    pub facing: Vec<i8>,
    /// Whether a triangle that is not seen edge-on meets the vertex; `None` where that is so of all.
    anchored: Option<Vec<bool>>,
    /// Contour edges.
    pub rims: Vec<Rim>,
}

impl Turned {
    pub fn new(shell: &Shell, direction: &Direction) -> Turned {
        let (u, v) = across(direction);
        let axes = [u, v, direction.into_inner()];
        let along = |a: &Vector, p: &[f64; 3]| a.x * p[0] + a.y * p[1] + a.z * p[2];
        let at: Vec<[f64; 3]> = filled(shell.points.len(), |v| {
            let p = &shell.points[v];
            [along(&axes[0], p), along(&axes[1], p), along(&axes[2], p)]
        });
        let facing: Vec<i8> = filled(shell.faces.len(), |f| {
            let [a, b, c] = shell.faces[f];
            facing_of(&at[a as usize], &at[b as usize], &at[c as usize], shell.longest_square)
        });
        let anchored = facing.contains(&0).then(|| {
            let mut anchored = vec![false; at.len()];
            for (corners, _) in shell.faces.iter().zip(&facing).filter(|(_, s)| **s != 0) {
                corners.iter().for_each(|&v| anchored[v as usize] = true);
            }
            anchored
        });
        let rims = rims(shell, &facing);
        Turned { axes, at, facing, anchored, rims }
    }

    /// Whether a triangle that is not seen edge-on meets the vertex.
    pub fn anchored(&self, v: usize) -> bool {
        self.anchored.as_ref().is_none_or(|a| a[v])
    }

    /// Ends of a contour edge.
    #[inline]
    pub fn ends(&self, rim: u32) -> [[f64; 3]; 2] {
        let [a, b] = self.rims[rim as usize].ends;
        [self.at[a as usize], self.at[b as usize]]
    }

    /// Place of a vertex in the plan.
    pub fn plan(&self, v: u32) -> [f64; 2] {
        let p = self.at[v as usize];
        [p[0], p[1]]
    }
}

/// Sense in projection of a triangle; no side is longer than the root of `longest`.
#[inline]
fn facing_of(a: &[f64; 3], b: &[f64; 3], c: &[f64; 3], longest: f64) -> i8 {
    let (ab, bc) = ([b[0] - a[0], b[1] - a[1]], [c[0] - b[0], c[1] - b[1]]);
    let doubled = ab[0] * bc[1] - ab[1] * bc[0];
    if doubled * doubled <= EDGE_ON_MM * EDGE_ON_MM * longest {
        let ca = [a[0] - c[0], a[1] - c[1]];
        let square = |s: [f64; 2]| s[0] * s[0] + s[1] * s[1];
        let longest = square(ab).max(square(bc)).max(square(ca));
        if doubled * doubled <= EDGE_ON_MM * EDGE_ON_MM * longest {
            return 0;
        }
    }
    if doubled > 0.0 { 1 } else { -1 }
}

fn rims(shell: &Shell, facing: &[i8]) -> Vec<Rim> {
    let mut rims: Vec<Rim> = shell
        .edges
        .par_chunks(CHUNK)
        .flat_map_iter(|chunk| {
            let mut found = Vec::new();
            for e in chunk {
                let (here, there) = (facing[e.faces[0] as usize], facing[e.faces[1] as usize]);
                // The neighbour runs backwards: it lies on the other hand where the facings agree.
                if here != there {
                    found.extend(rim(e.ends, here, -there, Some(e.faces)));
                }
            }
            found
        })
        .collect();
    for e in &shell.turned_edges {
        let [first, second] = e.faces.map(|f| facing[f as usize]);
        rims.extend(rim(e.ends, first, second, Some(e.faces)));
    }
    for e in &shell.borders {
        rims.extend(rim(e.ends, facing[e.face as usize], 0, None));
    }
    for fan in &shell.fans {
        rims.extend(rim_of_fan(fan.ends, &fan.faces, facing));
    }
    rims
}

/// The contour edge at an edge whose triangles lie, in projection, on the left (+1), on the right (-1), or are not
/// there or seen edge-on (0).
fn rim([a, b]: [u32; 2], first: i8, second: i8, meet: Option<[u32; 2]>) -> Option<Rim> {
    let left_less_right = i32::from(first) + i32::from(second);
    // One on either hand, or none at all: the number of layers does not change.
    (left_less_right != 0).then(|| Rim {
        ends: if left_less_right > 0 { [a, b] } else { [b, a] },
        jump: left_less_right.abs(),
        open: true,
        meet,
    })
}

/// The contour edge at an edge with more than two triangles: every triangle ends there for the bounds of a cell.
fn rim_of_fan(ends: [u32; 2], faces: &[(u32, bool)], facing: &[i8]) -> Option<Rim> {
    let seen = faces.iter().filter(|(f, _)| facing[*f as usize] != 0).count() as i32;
    let left = faces
        .iter()
        .filter(|&&(f, forward)| facing[f as usize] != 0 && (facing[f as usize] > 0) == forward)
        .count() as i32;
    let jump = 2 * left - seen;
    (seen > 0).then(|| Rim {
        ends: if jump >= 0 { ends } else { [ends[1], ends[0]] },
        jump: jump.abs(),
        open: jump.abs() == seen,
        meet: None,
    })
}
