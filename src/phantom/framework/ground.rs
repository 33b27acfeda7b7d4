//! What a framework stands on: distances to a cast as it was scanned, and to the cast with its undercuts blocked out.
//!
//! Axes are the cast's own: z away from the tissue, along the withdrawal, mm.

use crate::locate::Surface;
use crate::mesh::{FaceId, Mesh};
use crate::space::{Point, Vector};

/// How far the distances reach, mm; farther away they are this.
pub(super) const REACH_MM: f64 = 4.0;
/// Distance of the nodes of the blocked-out surface, mm.
const NODE_MM: f64 = 0.1;
/// Fine places for each node along an axis.
const FINE: usize = 2;
/// A rise over this, within a fine place, is a wall: the blocked-out surface is kept outside of it, mm.
const WALL_MM: f64 = 0.25;

/// A scanned surface that knows its sides.
#[derive(Debug)]
struct Skin {
    surface: Surface,
    normals: Vec<Vector>,
}

impl Skin {
    fn new(mesh: &Mesh) -> Skin {
        Skin { surface: Surface::new(mesh), normals: mesh.vertex_normals().to_vec() }
    }

    /// Distance within `most_mm`, negative inside.
    fn within(&self, p: &Point, most_mm: f64) -> f64 {
        let Some(c) = self.surface.closest_within(p, most_mm) else { return most_mm };
        if self.normal(&c.at, c.face).dot(&(p - c.at)) < 0.0 { -c.distance_mm } else { c.distance_mm }
    }

    /// Normal at a point of a triangle, between those of its corners.
    fn normal(&self, at: &Point, face: FaceId) -> Vector {
        let mesh = self.surface.mesh();
        let [a, b, c] = mesh.corners(face);
        let n = (b - a).cross(&(c - a));
        let whole = n.norm_squared();
        let corner = mesh.faces()[face as usize].map(|v| self.normals[v as usize]);
        if whole <= 0.0 {
            return corner[0];
        }
        let wa = (b - at).cross(&(c - at)).dot(&n) / whole;
        let wb = (c - at).cross(&(a - at)).dot(&n) / whole;
        corner[0] * wa + corner[1] * wb + corner[2] * (1.0 - wa - wb)
    }
}

/// A cast, its blocked-out cast, and what bites on it.
#[derive(Debug)]
pub(super) struct Ground {
    cast: Skin,
    heights: Heights,
    blocked: Surface,
    opposing: Option<Skin>,
}

impl Ground {
    /// Prepares a cast in its own axes, and the opposing one in the same; `low` and `high` hold the plan of what will stand
    /// on it.
    pub fn new(mesh: &Mesh, opposing: Option<&Mesh>, low: [f64; 2], high: [f64; 2]) -> Ground {
        let heights = Heights::new(mesh, low, high);
        let blocked = Surface::new(&heights.mesh());
        Ground { cast: Skin::new(mesh), heights, blocked, opposing: opposing.map(Skin::new) }
    }

    /// The cast.
    pub fn surface(&self) -> &Surface {
        &self.cast.surface
    }

    /// Distance from the cast, mm, negative inside.
    pub fn tissue_mm(&self, p: &Point) -> f64 {
        self.cast.within(p, REACH_MM)
    }

    /// The same where the cast is very near; farther away 0.4 mm.
    pub fn near_mm(&self, p: &Point) -> f64 {
        self.cast.within(p, 0.4)
    }

    /// Distance from the opposing cast, mm, negative inside; farther away 1.2 mm.
    pub fn opposing_mm(&self, p: &Point) -> f64 {
        const FAR_MM: f64 = 1.2;
        self.opposing.as_ref().map_or(FAR_MM, |o| o.within(p, FAR_MM))
    }

    /// Way from a place up to the opposing cast, mm; negative where that lies below, down to 6 mm.
    pub fn opposing_over_mm(&self, p: &Point) -> Option<f64> {
        const BELOW_MM: f64 = 6.0;
        let up = crate::space::Direction::new_unchecked(Vector::z());
        let hit =
            self.opposing.as_ref()?.surface.cast_facing(&(p - Vector::z() * BELOW_MM), &up, 12.0, false)?;
        Some(hit.distance_mm - BELOW_MM)
    }

    /// Normal of the cast at a point of one of its triangles, between those of its corners.
    pub fn normal(&self, at: &Point, face: FaceId) -> Vector {
        self.cast.normal(at, face)
    }

    /// Distance from the cast with its undercuts filled, mm, negative inside.
    pub fn blocked_mm(&self, p: &Point) -> f64 {
        let Some(height) = self.heights.at(p.x, p.y) else { return REACH_MM };
        let far = self.blocked.closest_within(p, REACH_MM).map_or(REACH_MM, |c| c.distance_mm);
        if p.z < height { -far } else { far }
    }

    /// Height of the highest part of the cast over a place in plan, mm.
    pub fn height_mm(&self, x: f64, y: f64) -> Option<f64> {
        self.heights.at(x, y)
    }
}

/// The greatest height of the cast over the nodes of a grid in plan.
#[derive(Debug)]
struct Heights {
    low: [f64; 2],
    n: [usize; 2],
    z: Vec<Option<f64>>,
}

impl Heights {
    fn new(mesh: &Mesh, low: [f64; 2], high: [f64; 2]) -> Heights {
        let n = [0, 1].map(|a| ((high[a] - low[a]) / NODE_MM).ceil().max(1.0) as usize + 1);
        let fine = n.map(|n| FINE * (n - 1) + 1);
        let tops = tops(mesh, low, fine);
        let at = |x: usize, y: usize| tops.get(y * fine[0] + x).copied().flatten();
        let node = |i: usize| {
            let (x, y) = (FINE * (i % n[0]), FINE * (i / n[0]));
            let here = at(x, y)?;
            let around = (y.saturating_sub(1)..=(y + 1).min(fine[1] - 1))
                .flat_map(|v| (x.saturating_sub(1)..=(x + 1).min(fine[0] - 1)).map(move |u| (u, v)))
                .filter_map(|(u, v)| at(u, v))
                .fold(here, f64::max);
            Some(if around - here > WALL_MM { around } else { here })
        };
        Heights { low, n, z: (0..n[0] * n[1]).map(node).collect() }
    }

    fn node(&self, x: usize, y: usize) -> Option<f64> {
        if x < self.n[0] { self.z.get(y * self.n[0] + x).copied().flatten() } else { None }
    }

    fn at(&self, x: f64, y: f64) -> Option<f64> {
        let (u, v) = ((x - self.low[0]) / NODE_MM, (y - self.low[1]) / NODE_MM);
        if u < 0.0 || v < 0.0 {
            return None;
        }
        let (i, j) = (u as usize, v as usize);
        let (u, v) = (u - i as f64, v - j as f64);
        let (a, b) = (self.node(i, j)?, self.node(i + 1, j)?);
        let (c, d) = (self.node(i + 1, j + 1)?, self.node(i, j + 1)?);
        Some(if u >= v { a + u * (b - a) + v * (c - b) } else { a + v * (d - a) + u * (c - d) })
    }

    /// The same as triangles that face up.
    fn mesh(&self) -> Mesh {
        let [nx, ny] = self.n;
        let mut vertices = Vec::new();
        let mut number = vec![None; nx * ny];
        for (i, z) in self.z.iter().enumerate() {
            if let Some(z) = z {
                number[i] = Some(vertices.len() as u32);
                let [x, y] = [(0, i % nx), (1, i / nx)].map(|(a, k)| self.low[a] + NODE_MM * k as f64);
                vertices.push(Point::new(x, y, *z));
            }
        }
        let mut faces = Vec::new();
        for j in 0..ny - 1 {
            for i in 0..nx - 1 {
                let k = j * nx + i;
                if let (Some(a), Some(b), Some(c), Some(d)) =
                    (number[k], number[k + 1], number[k + nx + 1], number[k + nx])
                {
                    faces.extend([[a, b, c], [a, c, d]]);
                }
            }
        }
        super::super::contour::mesh(vertices, faces)
    }
}

/// Greatest height over each fine place.
fn tops(mesh: &Mesh, low: [f64; 2], n: [usize; 2]) -> Vec<Option<f64>> {
    const SPACING_MM: f64 = NODE_MM / FINE as f64;
    let mut tops: Vec<Option<f64>> = vec![None; n[0] * n[1]];
    for f in 0..mesh.faces().len() as FaceId {
        let [a, b, c] = mesh.corners(f);
        let whole = (b.x - a.x) * (c.y - a.y) - (b.y - a.y) * (c.x - a.x);
        if whole.abs() < 1e-12 {
            continue;
        }
        let range = |axis: usize| {
            let all = [a[axis], b[axis], c[axis]].map(|v| (v - low[axis]) / SPACING_MM);
            let from = all.iter().copied().fold(f64::INFINITY, f64::min).ceil().max(0.0);
            let to = all.iter().copied().fold(f64::NEG_INFINITY, f64::max).floor();
            (from as usize, if to < 0.0 { 0 } else { (to as usize + 1).min(n[axis]) })
        };
        let ((x0, x1), (y0, y1)) = (range(0), range(1));
        for j in y0..y1 {
            for i in x0..x1 {
                let (x, y) = (low[0] + SPACING_MM * i as f64, low[1] + SPACING_MM * j as f64);
                let wb = ((x - a.x) * (c.y - a.y) - (y - a.y) * (c.x - a.x)) / whole;
                let wc = ((b.x - a.x) * (y - a.y) - (b.y - a.y) * (x - a.x)) / whole;
                if wb < -1e-9 || wc < -1e-9 || wb + wc > 1.0 + 1e-9 {
                    continue;
                }
                let z = a.z + wb * (b.z - a.z) + wc * (c.z - a.z);
                let slot = &mut tops[j * n[0] + i];
                *slot = Some(slot.map_or(z, |h| h.max(z)));
            }
        }
    }
    tops
}
