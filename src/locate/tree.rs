//! A tree of boxes over the triangles of a surface: finds the few triangles that a query has to look at.
//!
//! Four boxes a node, side by side, so that one pass tells the distance to all of them. Boxes are kept in f32 and are
//! wider than the rounding of everything that is done with them, so that a box never hides a triangle; the triangles
//! themselves are f64 and decide. The tree is quartered by the medians of the triangles' centres, so its shape depends
//! only on the mesh, and an answer does not depend on the order of the search.

use rayon::prelude::*;

use super::triangle::{Ray, closest, is_beyond};
use crate::space::{Point, Vector};

/// Boxes of a node.
const WIDTH: usize = 4;
/// A child that is a triangle carries this bit, the rest is its place in the list.
const IS_TRIANGLE: u32 = 1 << 31;
/// No child.
const EMPTY: u32 = u32::MAX;
/// Deepest stack: at most three waiting children a level, 16 levels for 2^31 triangles.
const STACK: usize = 64;
/// Triangles from which the quarters are built on several threads.
const PARALLEL: usize = 8192;

/// Four boxes with what they hold.
#[derive(Clone, Copy, Debug)]
struct Node {
    low: [[f32; WIDTH]; 3],
    high: [[f32; WIDTH]; 3],
    child: [u32; WIDTH],
}

impl Node {
    fn empty() -> Node {
        Node {
            low: [[f32::INFINITY; WIDTH]; 3],
            high: [[f32::NEG_INFINITY; WIDTH]; 3],
            child: [EMPTY; WIDTH],
        }
    }

    fn set_box(&mut self, slot: usize, triangle: &Triangle) {
        // Wider than the rounding of f32 for places as far out as the box, narrower than anything that is measured.
        let widen = |v: f64| 1e-6 + v.abs() * 1e-6;
        for k in 0..3 {
            let [a, b, c] = triangle.corners.map(|p| p[k]);
            let (low, high) = (a.min(b).min(c), a.max(b).max(c));
            self.low[k][slot] = (low - widen(low)) as f32;
            self.high[k][slot] = (high + widen(high)) as f32;
        }
    }

    /// Hangs a node, which is the child number `at`, into a slot, with the box around its boxes.
    fn hang(&mut self, slot: usize, at: usize, child: &Node) {
        for k in 0..3 {
            self.low[k][slot] = child.low[k].into_iter().fold(f32::INFINITY, f32::min);
            self.high[k][slot] = child.high[k].into_iter().fold(f32::NEG_INFINITY, f32::max);
        }
        self.child[slot] = at as u32;
    }

    /// Squared distances of the four boxes from a place.
    fn distance2(&self, p: &[f32; 3]) -> [f32; WIDTH] {
        let greater = |a: f32, b: f32| if a > b { a } else { b };
        let mut sum = [0.0; WIDTH];
        for k in 0..3 {
            for i in 0..WIDTH {
                let out = greater(greater(self.low[k][i] - p[k], p[k] - self.high[k][i]), 0.0);
                sum[i] += out * out;
            }
        }
        sum
    }

    /// Where a ray enters each box, in lengths of its direction; infinite where it does not between `least` and
    /// `most`.
    fn enter(&self, ray: &Ray, inverse: &Vector, least: f64, most: f64) -> [f64; WIDTH] {
        let (mut enter, mut leave) = ([least; WIDTH], [most; WIDTH]);
        for k in 0..3 {
            for i in 0..WIDTH {
                let (low, high) =
                    (f64::from(self.low[k][i]) - ray.origin[k], f64::from(self.high[k][i]) - ray.origin[k]);
                if ray.d[k] == 0.0 {
                    if low > 0.0 || high < 0.0 {
                        leave[i] = f64::NEG_INFINITY;
                    }
                } else {
                    let (a, b) = (low * inverse[k], high * inverse[k]);
                    enter[i] = enter[i].max(a.min(b));
                    leave[i] = leave[i].min(a.max(b));
                }
            }
        }
        std::array::from_fn(|i| if enter[i] <= leave[i] { enter[i] } else { f64::INFINITY })
    }

    /// Least value of `normal . p` over a box.
    fn least_along(&self, slot: usize, normal: &Vector) -> f64 {
        let side = |k: usize| if normal[k] > 0.0 { self.low[k][slot] } else { self.high[k][slot] };
        (0..3).map(|k| normal[k] * f64::from(side(k))).sum()
    }
}

#[derive(Clone, Copy, Debug)]
pub(super) struct Triangle {
    pub corners: [Point; 3],
    pub face: u32,
}

/// The tree. Positions are relative to the surface's centre.
#[derive(Debug)]
pub(super) struct Tree {
    /// The first one is the root; empty without a triangle.
    nodes: Vec<Node>,
    triangles: Vec<Triangle>,
}

/// A crossing of a ray.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct RayHit {
    pub t: f64,
    pub face: u32,
    pub from_behind: bool,
}

/// Best answer so far: squared distance, triangle, nearest point.
pub(super) type Nearest = (f64, u32, Point);

/// The greatest squared distance of a box that may still hold something as near as `bound`: above the rounding of
/// the place and of the sum to f32.
fn reach(bound: f64) -> f32 {
    (bound * (1.0 + 1e-4) + 1e-9) as f32
}

impl Tree {
    pub fn new(triangles: Vec<Triangle>) -> Tree {
        let centre = |t: &Triangle| [0, 1, 2].map(|k| t.corners[0][k] + t.corners[1][k] + t.corners[2][k]);
        let item = |(at, t): (usize, &Triangle)| Item { centre: centre(t), face: t.face, at: at as u32 };
        let mut items: Vec<Item> = triangles.iter().enumerate().map(item).collect();
        let mut nodes = Vec::with_capacity(triangles.len() / 2);
        if !triangles.is_empty() {
            build(&mut nodes, &triangles, &mut items, 0);
        }
        Tree { nodes, triangles: items.iter().map(|i| triangles[i.at as usize]).collect() }
    }

    /// Nearest triangle within the squared distance `most2`; lowest triangle where several are equally near.
    pub fn closest(&self, p: &Point, most2: f64) -> Option<Nearest> {
        let place = [p.x as f32, p.y as f32, p.z as f32];
        let mut best: Option<Nearest> = None;
        let (mut bound, mut within) = (most2, reach(most2));
        let mut stack = [(0.0_f32, 0_u32); STACK];
        let mut depth = usize::from(!self.nodes.is_empty());
        while depth > 0 {
            depth -= 1;
            let (near, at) = stack[depth];
            if near > within {
                continue;
            }
            let node = &self.nodes[at as usize];
            let distance = node.distance2(&place);
            for slot in nearest_last(&distance) {
                let child = node.child[slot];
                if distance[slot] > within || child == EMPTY {
                    continue;
                }
                if child & IS_TRIANGLE == 0 {
                    stack[depth] = (distance[slot], child);
                    depth += 1;
                    continue;
                }
                let t = &self.triangles[(child & !IS_TRIANGLE) as usize];
                if is_beyond(p, &t.corners, bound) {
                    continue;
                }
                let (d2, q) = closest(p, &t.corners);
                if d2 < bound || (d2 == bound && best.is_none_or(|b| t.face < b.1)) {
                    (bound, within) = (d2, reach(d2));
                    best = Some((d2, t.face, q));
                }
            }
        }
        best
    }

    /// First crossing between `least` and `most` lengths of the ray's direction of a triangle for which `counts` says so
    /// (told whether it is met from behind); lowest triangle on ties.
    pub fn first_hit(
        &self,
        ray: &Ray,
        (least, most): (f64, f64),
        counts: impl Fn(bool) -> bool,
    ) -> Option<RayHit> {
        let inverse = ray.d.map(|v| 1.0 / v);
        let mut best: Option<RayHit> = None;
        let mut bound = most;
        let mut stack = [(least, 0_u32); STACK];
        let mut depth = usize::from(!self.nodes.is_empty());
        while depth > 0 {
            depth -= 1;
            let (from, at) = stack[depth];
            if from > bound {
                continue;
            }
            let node = &self.nodes[at as usize];
            let enter = node.enter(ray, &inverse, least, bound);
            for slot in nearest_last(&enter) {
                let child = node.child[slot];
                if enter[slot] == f64::INFINITY || child == EMPTY {
                    continue;
                }
                if child & IS_TRIANGLE == 0 {
                    stack[depth] = (enter[slot], child);
                    depth += 1;
                    continue;
                }
                let t = &self.triangles[(child & !IS_TRIANGLE) as usize];
                let Some(c) =
                    ray.crosses(&t.corners).filter(|c| c.t >= least && c.t <= bound && counts(c.from_behind))
                else {
                    continue;
                };
                if c.t < bound || best.is_none_or(|b| t.face < b.face) {
                    bound = c.t;
                    best = Some(RayHit { t: c.t, face: t.face, from_behind: c.from_behind });
                }
            }
        }
        best
    }

    /// All crossings between `least` and `most`, by distance, then triangle.
    pub fn all_hits(&self, ray: &Ray, least: f64, most: f64) -> Vec<RayHit> {
        let inverse = ray.d.map(|v| 1.0 / v);
        let mut hits = Vec::new();
        self.visit(
            |node| node.enter(ray, &inverse, least, most).map(|t| t < f64::INFINITY),
            |t| {
                if let Some(c) = ray.crosses(&t.corners).filter(|c| c.t >= least && c.t <= most) {
                    hits.push(RayHit { t: c.t, face: t.face, from_behind: c.from_behind });
                }
            },
        );
        hits.sort_by(|a, b| a.t.total_cmp(&b.t).then(a.face.cmp(&b.face)));
        hits
    }

    /// Triangles that do not lie wholly on the far side of one of the half-spaces `normal . p <= offset`, ascending.
    pub fn within(&self, half_spaces: &[(Vector, f64)]) -> Vec<u32> {
        let mut faces = Vec::new();
        self.visit(
            |node| {
                std::array::from_fn(|slot| {
                    half_spaces.iter().all(|(n, offset)| node.least_along(slot, n) <= *offset)
                })
            },
            |t| {
                let reaches =
                    |(n, offset): &(Vector, f64)| t.corners.iter().any(|p| n.dot(&p.coords) <= *offset);
                if half_spaces.iter().all(reaches) {
                    faces.push(t.face);
                }
            },
        );
        faces.sort_unstable();
        faces
    }

    fn visit(&self, enters: impl Fn(&Node) -> [bool; WIDTH], mut take: impl FnMut(&Triangle)) {
        let mut stack: Vec<u32> = if self.nodes.is_empty() { Vec::new() } else { vec![0] };
        while let Some(at) = stack.pop() {
            let node = &self.nodes[at as usize];
            let entered = enters(node);
            for slot in (0..WIDTH).filter(|&s| entered[s] && node.child[s] != EMPTY) {
                let child = node.child[slot];
                if child & IS_TRIANGLE == 0 {
                    stack.push(child);
                } else {
                    take(&self.triangles[(child & !IS_TRIANGLE) as usize]);
                }
            }
        }
    }
}

/// The four slots, farthest first, so that the nearest is taken off the stack first.
fn nearest_last<T: PartialOrd + Copy>(distance: &[T; WIDTH]) -> [usize; WIDTH] {
    let mut order = [0, 1, 2, 3];
    for (i, j) in [(0, 1), (2, 3), (0, 2), (1, 3), (1, 2)] {
        if distance[order[i]] < distance[order[j]] {
            order.swap(i, j);
        }
    }
    order
}

/// A triangle by three times its centre, by which the tree is quartered, and its place among those given.
#[derive(Clone, Copy)]
struct Item {
    centre: [f64; 3],
    face: u32,
    at: u32,
}

/// Appends the nodes over `items`, which are put in order, to `nodes`, the root first; `first` is the place of the first
/// item in the whole list.
fn build(nodes: &mut Vec<Node>, triangles: &[Triangle], items: &mut [Item], first: usize) {
    let half = split(items);
    let (left, right) = items.split_at_mut(half);
    let (quarter, three_quarters) = (split(left), split(right));
    let (a, b) = left.split_at_mut(quarter);
    let (c, d) = right.split_at_mut(three_quarters);
    let starts = [first, first + quarter, first + half, first + half + three_quarters];
    let root = nodes.len();
    nodes.push(Node::empty());
    let mut parts: Vec<(usize, &mut [Item], usize)> = Vec::with_capacity(WIDTH);
    for (slot, (part, start)) in [a, b, c, d].into_iter().zip(starts).enumerate() {
        match part {
            [] => {}
            [item] => {
                nodes[root].set_box(slot, &triangles[item.at as usize]);
                nodes[root].child[slot] = start as u32 | IS_TRIANGLE;
            }
            more => parts.push((slot, more, start)),
        }
    }
    if half < PARALLEL {
        for (slot, part, start) in parts {
            let child = nodes.len();
            build(nodes, triangles, part, start);
            let below = nodes[child];
            nodes[root].hang(slot, child, &below);
        }
        return;
    }
    let grown: Vec<(usize, Vec<Node>)> = parts
        .into_par_iter()
        .map(|(slot, part, start)| {
            let mut own = Vec::with_capacity(part.len() / 2);
            build(&mut own, triangles, part, start);
            (slot, own)
        })
        .collect();
    for (slot, own) in grown {
        let child = nodes.len();
        nodes[root].hang(slot, child, &own[0]);
        let moved = |c: u32| if c & IS_TRIANGLE == 0 { c + child as u32 } else { c };
        nodes.extend(own.into_iter().map(|node| Node { child: node.child.map(moved), ..node }));
    }
}

/// Halves triangles by the median of their centres along the longest side of the box around the centres.
fn split(items: &mut [Item]) -> usize {
    let half = items.len().div_ceil(2);
    if items.len() < 2 {
        return half;
    }
    let (mut low, mut high) = ([f64::INFINITY; 3], [f64::NEG_INFINITY; 3]);
    for item in items.iter() {
        for k in 0..3 {
            low[k] = low[k].min(item.centre[k]);
            high[k] = high[k].max(item.centre[k]);
        }
    }
    let sides = [high[0] - low[0], high[1] - low[1], high[2] - low[2]];
    let axis = (1..3).fold(0, |best, k| if sides[k] > sides[best] { k } else { best });
    items.select_nth_unstable_by(half - 1, |a, b| {
        a.centre[axis].total_cmp(&b.centre[axis]).then(a.face.cmp(&b.face))
    });
    half
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_triangle_hangs_in_the_tree_once() {
        for n in [1, 2, 3, 4, 5, 7, 16, 17, 63, 1000, 20_000] {
            let at = |i: usize| Point::new((i * 7 % 1009) as f64, (i * 13 % 997) as f64, i as f64 * 0.01);
            let triangles = (0..n)
                .map(|i| Triangle {
                    corners: [at(i), at(i) + Vector::x(), at(i) + Vector::y()],
                    face: i as u32,
                })
                .collect();
            let tree = Tree::new(triangles);
            assert_eq!(tree.within(&[]), (0..n as u32).collect::<Vec<_>>());
        }
    }

    #[test]
    fn the_nearest_slot_comes_last() {
        assert_eq!(nearest_last(&[3.0, 1.0, 4.0, 2.0]), [2, 0, 3, 1]);
        assert_eq!(nearest_last(&[f64::INFINITY, 1.0, 0.5, f64::INFINITY])[2..], [1, 2]);
    }
}
