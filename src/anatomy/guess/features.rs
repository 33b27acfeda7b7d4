//! Curvature of a cast at about 0.7 mm: what sets cusps, edges and fissures apart from smooth tissue.

use rayon::prelude::*;

use crate::anatomy::quadric::Quadric;
use crate::mesh::{Mesh, Topology};
use crate::space::{Point, Vector};

/// Side of the cells in which the vertices of a finer mesh are joined, mm.
const CELL_MM: f64 = 0.7;
/// Radius of the neighbourhood of the curvature fit, mm, and its greatest where it holds too few points.
const RADIUS_MM: [f64; 2] = [1.2, 2.2];
/// Least number of neighbours of a fit.
const LEAST_NEIGHBOURS: usize = 9;
/// Pieces under this share of the largest are left out.
const LEAST_PIECE: f64 = 0.25;
/// More points than this would make the search slow; cells grow instead.
const MOST_POINTS: usize = 60_000;

/// A point of the thinned surface.
#[derive(Clone, Copy, Debug)]
pub struct Feature {
    /// Where, mm.
    pub at: Point,
    /// Unit normal, outward.
    pub normal: Vector,
    /// Surface it stands for, mm2.
    pub area: f64,
    /// Greatest curvature, 1/mm, convex positive.
    pub most_convex: f64,
    /// Area times how much the curvature exceeds that of tissue.
    pub weight: f64,
}

/// Points of the thinned surface with their curvature. `left_out` are triangles that hold no anatomy;
/// `turned` takes the surface to face the other way.
pub fn of(mesh: &Mesh, topology: &Topology, left_out: &[bool], turned: bool) -> Vec<Feature> {
    let mut cell = CELL_MM;
    let mut points = thinned(mesh, topology, left_out, cell);
    while points.len() > MOST_POINTS {
        cell *= 1.5;
        points = thinned(mesh, topology, left_out, cell);
    }
    face_outward(&mut points);
    if turned {
        points.iter_mut().for_each(|p| p.normal = -p.normal);
    }
    let grid = Grid::new(&points);
    let curvature: Vec<Option<[f64; 2]>> = (0..points.len())
        .into_par_iter()
        .map(|i| if points[i].border { None } else { fit(&points, &grid, i) })
        .collect();
    points
        .iter()
        .zip(curvature)
        .map(|(p, k)| {
            let [low, high] = k.unwrap_or([0.0; 2]);
            let excess = (low.abs().max(high.abs()) - 0.15).clamp(0.0, 1.0);
            let weight = if p.flat { 0.0 } else { p.area * excess };
            Feature { at: p.at, normal: p.normal, area: p.area, most_convex: high, weight }
        })
        .collect()
}

#[derive(Clone, Copy)]
struct Thinned {
    at: Point,
    normal: Vector,
    area: f64,
    border: bool,
    flat: bool,
}

/// Vertices joined by cell where the mesh is finer than the cells; small pieces left out.
fn thinned(mesh: &Mesh, topology: &Topology, left_out: &[bool], cell: f64) -> Vec<Thinned> {
    let kept = kept_faces(mesh, topology);
    let n = mesh.vertices().len();
    let mut around: Vec<(Vector, f64, f64)> = vec![(Vector::zeros(), 0.0, 0.0); n];
    let mut total = 0.0;
    for (f, corners) in mesh.faces().iter().enumerate().filter(|(f, _)| kept[*f]) {
        let doubled = mesh.doubled_area_normal(f as u32);
        let area = doubled.norm() / 6.0;
        total += 3.0 * area;
        for &v in corners {
            let slot = &mut around[v as usize];
            slot.0 += doubled;
            slot.1 += area;
            slot.2 += if left_out[f] { area } else { 0.0 };
        }
    }
    let mut border = vec![false; n];
    for e in topology.edges().iter().filter(|e| e.faces == 1) {
        e.ends.iter().for_each(|&v| border[v as usize] = true);
    }
    let used: Vec<u32> = (0..n as u32).filter(|&v| around[v as usize].1 > 0.0).collect();
    // A vertex stands for about 0.87 of the square of its spacing.
    let spacing = (total / (0.87 * used.len().max(1) as f64)).sqrt();
    let key = |p: &Point| [0, 1, 2].map(|k| (p[k] / cell).floor() as i64);
    let mut groups: Vec<([i64; 3], u32)> = used
        .iter()
        .map(|&v| if spacing > 0.7 * cell { ([i64::from(v), 0, 0], v) } else { (key(&mesh.vertex(v)), v) })
        .collect();
    groups.sort_unstable();
    groups
        .chunk_by(|a, b| a.0 == b.0)
        .map(|group| {
            let (mut at, mut normal, mut area, mut flat) = (Vector::zeros(), Vector::zeros(), 0.0, 0.0);
            let mut on_border = false;
            for &(_, v) in group {
                let (n, a, f) = around[v as usize];
                at += mesh.vertex(v).coords;
                normal += n;
                area += a;
                flat += f;
                on_border |= border[v as usize];
            }
            let length = normal.norm();
            Thinned {
                at: Point::from(at / group.len() as f64),
                normal: if length > 0.0 { normal / length } else { Vector::z() },
                area,
                border: on_border,
                flat: flat > 0.5 * area,
            }
        })
        .collect()
}

/// Triangles of the large pieces of a scan; stray shells are left out.
pub(super) fn kept_faces(mesh: &Mesh, topology: &Topology) -> Vec<bool> {
    let (piece, area) = topology.piece_areas_mm2(mesh);
    let largest = area.iter().copied().fold(0.0, f64::max);
    piece.iter().map(|&p| area[p as usize] >= LEAST_PIECE * largest).collect()
}

/// Mean agreement of the outermost points' normals with the directions in which they are outermost, under which a
/// surface faces inward. A closed surface has nearly +1 or -1; an open sheet lies between and keeps its facing.
const INWARD: f64 = -0.3;

/// Turns all normals where the surface faces inward: the outermost point in any direction must face that way.
fn face_outward(points: &mut [Thinned]) {
    let directions = crate::space::over_the_sphere(200);
    let agreement: f64 = directions
        .iter()
        .filter_map(|d| {
            let outermost = points.iter().max_by(|a, b| a.at.coords.dot(d).total_cmp(&b.at.coords.dot(d)));
            outermost.map(|p| p.normal.dot(d))
        })
        .sum();
    if agreement < INWARD * directions.len() as f64 {
        points.iter_mut().for_each(|p| p.normal = -p.normal);
    }
}

/// Points sorted into cubes of the greatest radius.
struct Grid {
    low: Point,
    side: f64,
    size: [usize; 3],
    start: Vec<u32>,
    order: Vec<u32>,
}

impl Grid {
    fn new(points: &[Thinned]) -> Grid {
        let mut low = Point::new(0.0, 0.0, 0.0);
        let mut high = low;
        for (i, p) in points.iter().enumerate() {
            (low, high) = if i == 0 { (p.at, p.at) } else { (low.inf(&p.at), high.sup(&p.at)) };
        }
        let mut side = RADIUS_MM[0];
        let size = loop {
            let size = [0, 1, 2].map(|k| ((high[k] - low[k]) / side) as usize + 1);
            if size.iter().map(|&s| s as f64).product::<f64>() < 4e6 {
                break size;
            }
            side *= 1.5;
        };
        let mut grid = Grid { low, side, size, start: Vec::new(), order: Vec::new() };
        let cells: Vec<usize> = points.iter().map(|p| grid.index(grid.cell(&p.at))).collect();
        let mut start = vec![0u32; size[0] * size[1] * size[2] + 1];
        cells.iter().for_each(|&c| start[c + 1] += 1);
        for c in 1..start.len() {
            start[c] += start[c - 1];
        }
        let mut fill = start.clone();
        let mut order = vec![0u32; points.len()];
        for (i, &c) in cells.iter().enumerate() {
            order[fill[c] as usize] = i as u32;
            fill[c] += 1;
        }
        grid.start = start;
        grid.order = order;
        grid
    }

    fn cell(&self, p: &Point) -> [usize; 3] {
        [0, 1, 2].map(|k| (((p[k] - self.low[k]) / self.side).max(0.0) as usize).min(self.size[k] - 1))
    }

    fn index(&self, c: [usize; 3]) -> usize {
        (c[2] * self.size[1] + c[1]) * self.size[0] + c[0]
    }

    fn near(&self, p: &Point, radius: f64, mut visit: impl FnMut(usize)) {
        let reach = Vector::repeat(radius);
        let (from, to) = (self.cell(&(p - reach)), self.cell(&(p + reach)));
        for z in from[2]..=to[2] {
            for y in from[1]..=to[1] {
                let row = self.index([from[0], y, z]);
                let (a, b) = (self.start[row], self.start[row + to[0] - from[0] + 1]);
                self.order[a as usize..b as usize].iter().for_each(|&i| visit(i as usize));
            }
        }
    }
}

/// Principal curvatures at a point by a weighted quadric over its neighbours; `None` with too few of them.
fn fit(points: &[Thinned], grid: &Grid, i: usize) -> Option<[f64; 2]> {
    let here = &points[i];
    let n = here.normal;
    let (u, v) = crate::space::across(&crate::space::direction(n)?);
    for radius in [RADIUS_MM[0], (RADIUS_MM[0] + RADIUS_MM[1]) / 2.0, RADIUS_MM[1]] {
        let mut quadric = Quadric::default();
        grid.near(&here.at, radius, |j| {
            let d = points[j].at - here.at;
            let square = d.norm_squared() / (radius * radius);
            if square <= 1.0 && points[j].normal.dot(&n) > 0.0 {
                quadric.add([d.dot(&u), d.dot(&v), d.dot(&n)], square);
            }
        });
        if quadric.count > LEAST_NEIGHBOURS {
            let [a, b, c] = quadric.solved()?;
            let (mean, half) = (-(a + c), ((a - c) * (a - c) + b * b).sqrt());
            return Some([mean - half, mean + half]);
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A sphere of radius `r` as a height field is awkward at the rim; a cap is enough.
    fn cap(r: f64, step: f64, sign: f64) -> Mesh {
        let n = (0.8 * r / step) as i32;
        let w = (2 * n + 1) as u32;
        let mut vertices = Vec::new();
        for j in -n..=n {
            for i in -n..=n {
                let (x, y) = (0.6 * step * f64::from(i), 0.6 * step * f64::from(j));
                vertices.push(Point::new(x, y, sign * (r * r - x * x - y * y).sqrt()));
            }
        }
        let mut faces = Vec::new();
        for j in 0..w - 1 {
            for i in 0..w - 1 {
                let a = j * w + i;
                faces.extend([[a, a + 1, a + w + 1], [a, a + w + 1, a + w]]);
            }
        }
        Mesh::new(vertices, faces).unwrap()
    }

    #[test]
    fn a_sphere_of_4_mm_has_curvature_a_quarter() {
        for step in [0.2, 0.6] {
            let mesh = cap(4.0, step, 1.0);
            let features = of(&mesh, &Topology::new(&mesh), &vec![false; mesh.faces().len()], false);
            let top = features.iter().max_by(|a, b| a.at.z.total_cmp(&b.at.z)).unwrap();
            assert!((top.most_convex - 0.25).abs() < 0.03, "{step}: {}", top.most_convex);
            assert!(top.weight > 0.0 && top.normal.z > 0.9);
        }
    }
}
