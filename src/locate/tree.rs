//! A tree of boxes over the triangles of a surface: finds the few triangles that a query has to look at.
//!
//! Boxes are kept in f32, rounded outward and widened, so that a box never hides a triangle; the triangles themselves
//! are f64. The tree is halved by the median of the triangles' centres, so its shape and its answers depend only on
//! the mesh.

use super::triangle::{Ray, closest};
use crate::space::{Point, Vector};

/// Most triangles in a leaf.
const LEAF: usize = 4;

/// A box with what it holds: a leaf's triangles, or the place of the right-hand child (the left one follows it).
#[derive(Clone, Copy, Debug, Default)]
struct Node {
    low: [f32; 3],
    high: [f32; 3],
    first: u32,
    count: u32,
}

impl Node {
    fn around(triangles: &[Triangle], first: usize) -> Node {
        let (mut low, mut high) = ([f64::INFINITY; 3], [f64::NEG_INFINITY; 3]);
        for p in triangles.iter().flat_map(|t| &t.corners) {
            for k in 0..3 {
                low[k] = low[k].min(p[k]);
                high[k] = high[k].max(p[k]);
            }
        }
        // Wider than the rounding of f32 and of the slab arithmetic, narrower than anything that is measured.
        let widen = |v: f64| 1e-6 + v.abs() * 2e-7;
        Node {
            low: low.map(|v| (v - widen(v)) as f32),
            high: high.map(|v| (v + widen(v)) as f32),
            first: first as u32,
            count: triangles.len() as u32,
        }
    }

    /// Squared distance from a point, 0 inside.
    fn distance2(&self, p: &Point) -> f64 {
        let mut sum = 0.0;
        for k in 0..3 {
            let out = (f64::from(self.low[k]) - p[k]).max(p[k] - f64::from(self.high[k])).max(0.0);
            sum += out * out;
        }
        sum
    }

    /// Where a ray enters the box, in lengths of its direction, if it does so between `least` and `most`.
    fn enter(&self, ray: &Ray, inverse: &Vector, least: f64, most: f64) -> Option<f64> {
        let (mut enter, mut leave) = (least, most);
        for k in 0..3 {
            let (low, high) =
                (f64::from(self.low[k]) - ray.origin[k], f64::from(self.high[k]) - ray.origin[k]);
            if ray.d[k] == 0.0 {
                if low > 0.0 || high < 0.0 {
                    return None;
                }
                continue;
            }
            let (a, b) = (low * inverse[k], high * inverse[k]);
            enter = enter.max(a.min(b));
            leave = leave.min(a.max(b));
        }
        (enter <= leave).then_some(enter)
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

impl Tree {
    pub fn new(mut triangles: Vec<Triangle>) -> Tree {
        let mut nodes = vec![Node::default(); if triangles.is_empty() { 0 } else { size(triangles.len()).0 }];
        if !nodes.is_empty() {
            build(&mut nodes, 0, &mut triangles, 0);
        }
        Tree { nodes, triangles }
    }

    /// Nearest triangle within the squared distance `most2`; lowest triangle where several are equally near.
    pub fn closest(&self, p: &Point, most2: f64) -> Option<Nearest> {
        let mut best: Option<Nearest> = None;
        let mut bound = most2;
        let mut stack = [(0.0, 0u32); 64];
        let mut depth = 0;
        if let Some(root) = self.nodes.first() {
            stack[0] = (root.distance2(p), 0);
            depth = 1;
        }
        while depth > 0 {
            depth -= 1;
            let (near2, at) = stack[depth];
            if near2 > bound {
                continue;
            }
            let mut at = at as usize;
            while self.nodes[at].count == 0 {
                let (left, right) = (at + 1, self.nodes[at].first as usize);
                let (l, r) = (self.nodes[left].distance2(p), self.nodes[right].distance2(p));
                let ((near, far), far2) = if l <= r { ((left, right), r) } else { ((right, left), l) };
                if far2 <= bound {
                    stack[depth] = (far2, far as u32);
                    depth += 1;
                }
                at = near;
            }
            let leaf = self.nodes[at];
            for t in &self.triangles[leaf.first as usize..(leaf.first + leaf.count) as usize] {
                let (d2, q) = closest(p, &t.corners);
                if d2 < bound || (d2 == bound && best.is_none_or(|b| t.face < b.1)) {
                    bound = d2;
                    best = Some((d2, t.face, q));
                }
            }
        }
        best
    }

    /// First crossing between `least` and `most` lengths of the ray's direction; lowest triangle on ties.
    pub fn first_hit(&self, ray: &Ray, least: f64, most: f64) -> Option<RayHit> {
        let inverse = ray.d.map(|v| 1.0 / v);
        let mut best: Option<RayHit> = None;
        let mut bound = most;
        let mut stack = [(0.0, 0u32); 64];
        let mut depth = 0;
        if let Some(t) = self.nodes.first().and_then(|n| n.enter(ray, &inverse, least, bound)) {
            stack[0] = (t, 0);
            depth = 1;
        }
        while depth > 0 {
            depth -= 1;
            let (enter, at) = stack[depth];
            if enter > bound {
                continue;
            }
            let node = self.nodes[at as usize];
            if node.count == 0 {
                let (left, right) = (at + 1, node.first);
                let l = self.nodes[left as usize].enter(ray, &inverse, least, bound);
                let r = self.nodes[right as usize].enter(ray, &inverse, least, bound);
                let order = match (l, r) {
                    (Some(l), Some(r)) if l <= r => [Some((r, right)), Some((l, left))],
                    (l, r) => [l.map(|l| (l, left)), r.map(|r| (r, right))],
                };
                for child in order.into_iter().flatten() {
                    stack[depth] = child;
                    depth += 1;
                }
                continue;
            }
            for t in &self.triangles[node.first as usize..(node.first + node.count) as usize] {
                let Some(c) = ray.crosses(&t.corners) else { continue };
                if c.t < least || c.t > bound {
                    continue;
                }
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
            |node| node.enter(ray, &inverse, least, most).is_some(),
            |t| {
                if let Some(c) = ray.crosses(&t.corners)
                    && c.t >= least
                    && c.t <= most
                {
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
                half_spaces.iter().all(|(n, offset)| {
                    let least: f64 = (0..3)
                        .map(|k| n[k] * f64::from(if n[k] > 0.0 { node.low[k] } else { node.high[k] }))
                        .sum();
                    least <= *offset
                })
            },
            |t| {
                let in_all = half_spaces
                    .iter()
                    .all(|(n, offset)| t.corners.iter().any(|p| n.dot(&p.coords) <= *offset));
                if in_all {
                    faces.push(t.face);
                }
            },
        );
        faces.sort_unstable();
        faces
    }

    fn visit(&self, mut enters: impl FnMut(&Node) -> bool, mut take: impl FnMut(&Triangle)) {
        let mut stack = vec![0u32];
        while let Some(at) = stack.pop() {
            let Some(node) = self.nodes.get(at as usize) else { continue };
            if !enters(node) {
                continue;
            }
            if node.count == 0 {
                stack.extend([node.first, at + 1]);
            } else {
                self.triangles[node.first as usize..(node.first + node.count) as usize]
                    .iter()
                    .for_each(&mut take);
            }
        }
    }
}

/// Number of boxes over `n` and over `n + 1` triangles, so that both halves can be built at once.
fn size(n: usize) -> (usize, usize) {
    if n <= LEAF {
        return (1, if n < LEAF { 1 } else { 3 });
    }
    let (half, more) = size(n / 2);
    if n % 2 == 0 { (1 + 2 * half, 1 + half + more) } else { (1 + half + more, 1 + 2 * more) }
}

fn build(nodes: &mut [Node], at: usize, triangles: &mut [Triangle], first: usize) {
    let n = triangles.len();
    nodes[0] = Node::around(triangles, first);
    if n <= LEAF {
        return;
    }
    let extent: [f32; 3] = std::array::from_fn(|k| nodes[0].high[k] - nodes[0].low[k]);
    let axis = (1..3).fold(0, |best, k| if extent[k] > extent[best] { k } else { best });
    let half = n / 2;
    let centre = |t: &Triangle| t.corners[0][axis] + t.corners[1][axis] + t.corners[2][axis];
    triangles.select_nth_unstable_by(half, |a, b| centre(a).total_cmp(&centre(b)).then(a.face.cmp(&b.face)));
    let left_size = size(half).0;
    nodes[0].first = (at + 1 + left_size) as u32;
    nodes[0].count = 0;
    let (left_nodes, right_nodes) = nodes[1..].split_at_mut(left_size);
    let (left, right) = triangles.split_at_mut(half);
    let mut halves = (
        || build(left_nodes, at + 1, left, first),
        || build(right_nodes, at + 1 + left_size, right, first + half),
    );
    if n > 4096 {
        rayon::join(&mut halves.0, &mut halves.1);
    } else {
        halves.0();
        halves.1();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn boxes_are_counted_before_they_are_built() {
        fn plain(n: usize) -> usize {
            if n <= LEAF { 1 } else { 1 + plain(n / 2) + plain(n - n / 2) }
        }
        for n in 1..300 {
            assert_eq!(size(n), (plain(n), plain(n + 1)), "{n}");
        }
    }
}
