//! The cast turned so that the withdrawal direction is `z`, and its contour edges in projection.

use super::shell::{Shell, Side};
use crate::space::{Direction, Vector, across};
use rayon::prelude::*;

/// Height of a triangle's projection, as a share of nothing: under this many mm it is seen edge-on and covers nothing.
pub(super) const EDGE_ON_MM: f64 = 1e-9;
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
    /// Triangles at it that are not seen edge-on (twice the same where there is one).
    pub faces: [u32; 2],
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
    /// Least and greatest height of each triangle.
    pub span: Vec<[f64; 2]>,
    /// Whether a triangle that is not seen edge-on meets the vertex.
    pub anchored: Vec<bool>,
    /// Contour edges.
    pub rims: Vec<Rim>,
}

impl Turned {
    pub fn new(shell: &Shell, direction: &Direction) -> Turned {
        let (u, v) = across(direction);
        let axes = [u, v, direction.into_inner()];
        let at: Vec<[f64; 3]> = shell
            .points
            .par_iter()
            .with_min_len(CHUNK)
            .map(|p| axes.map(|a| a.x * p[0] + a.y * p[1] + a.z * p[2]))
            .collect();
        let (facing, span): (Vec<i8>, Vec<[f64; 2]>) =
            shell.faces.par_iter().with_min_len(CHUNK).map(|f| facing_of(f.map(|v| at[v as usize]))).unzip();
        let mut rims: Vec<Rim> = (0..shell.faces.len().div_ceil(CHUNK))
            .into_par_iter()
            .flat_map_iter(|chunk| {
                let first = chunk * CHUNK;
                let last = (first + CHUNK).min(shell.faces.len());
                let facing = &facing;
                (first..last).flat_map(move |f| rims_of(shell, facing, f as u32))
            })
            .collect();
        for fan in &shell.fans {
            rims.extend(rims_of_fan(fan.ends, &fan.faces, &facing));
        }
        let mut anchored = vec![false; at.len()];
        for (f, corners) in shell.faces.iter().enumerate() {
            if facing[f] != 0 {
                corners.iter().for_each(|&v| anchored[v as usize] = true);
            }
        }
        Turned { axes, at, facing, span, anchored, rims }
    }
}

/// Sense in projection and range of heights of a triangle.
fn facing_of([a, b, c]: [[f64; 3]; 3]) -> (i8, [f64; 2]) {
    let (ab, bc, ca) = ([b[0] - a[0], b[1] - a[1]], [c[0] - b[0], c[1] - b[1]], [a[0] - c[0], a[1] - c[1]]);
    let doubled = ab[0] * bc[1] - ab[1] * bc[0];
    let square = |s: [f64; 2]| s[0] * s[0] + s[1] * s[1];
    let longest = square(ab).max(square(bc)).max(square(ca)).sqrt();
    let facing = if doubled.abs() <= EDGE_ON_MM * longest {
        0
    } else if doubled > 0.0 {
        1
    } else {
        -1
    };
    (facing, [a[2].min(b[2]).min(c[2]), a[2].max(b[2]).max(c[2])])
}

/// Contour edges among the sides of triangle `f`, each given by the lower of its triangles.
fn rims_of(shell: &Shell, facing: &[i8], f: u32) -> impl Iterator<Item = Rim> {
    let corners = shell.faces[f as usize];
    let here = facing[f as usize];
    let sides = shell.sides[f as usize];
    (0..3).filter_map(move |k| {
        let along = [corners[k], corners[(k + 1) % 3]];
        let one = |face: u32, left: bool| Rim {
            ends: if left { along } else { [along[1], along[0]] },
            jump: 1,
            open: true,
            faces: [face, face],
            meet: None,
        };
        match sides[k] {
            Side::Fan => None,
            Side::Border => (here != 0).then(|| one(f, here > 0)),
            Side::Beside { face: g, turned } => {
                if g < f {
                    return None;
                }
                let there = facing[g as usize];
                // `g` runs along the side backwards unless it is turned; on which hand of `along` does it lie?
                let there_left = (there < 0) != turned;
                let meet = Some([f, g]);
                match (here != 0, there != 0) {
                    (false, false) => None,
                    (true, false) => Some(Rim { meet, ..one(f, here > 0) }),
                    (false, true) => Some(Rim { meet, ..one(g, there_left) }),
                    (true, true) if (here > 0) != there_left => None,
                    (true, true) => Some(Rim { jump: 2, faces: [f, g], meet, ..one(f, here > 0) }),
                }
            }
        }
    })
}

/// Contour edges of a side with more than two triangles: every triangle at it ends there for the bounds of a cell.
fn rims_of_fan(ends: [u32; 2], faces: &[(u32, bool)], facing: &[i8]) -> Vec<Rim> {
    let seen: Vec<(u32, bool)> = faces
        .iter()
        .filter(|(f, _)| facing[*f as usize] != 0)
        .map(|&(f, forward)| (f, (facing[f as usize] > 0) == forward))
        .collect();
    let left = seen.iter().filter(|s| s.1).count() as i32;
    let jump = 2 * left - seen.len() as i32;
    let ends = if jump >= 0 { ends } else { [ends[1], ends[0]] };
    seen.chunks(2)
        .enumerate()
        .map(|(i, pair)| Rim {
            ends,
            jump: if i == 0 { jump.abs() } else { 0 },
            open: i == 0 && jump.unsigned_abs() as usize == seen.len(),
            faces: [pair[0].0, pair[pair.len() - 1].0],
            meet: None,
        })
        .collect()
}
