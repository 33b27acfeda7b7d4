//! The surface that the cast would have without a rise: a thin plate through the rise's surroundings.

use super::caps::stiffness;
use super::sparse::Skyline;
use super::wall::Wall;
use super::work::{Metric, Work};
use crate::mesh::VertexId;
use crate::space::{Point, Vector};

/// Wavelength down to which the surroundings are followed, mm.
const WAVELENGTH_MM: f64 = 4.0;
/// Width of the surroundings that are adjusted together with the fill, mm; beyond it they stand.
const ROUND_MM: f64 = 3.0;
/// Weight of the old surface inside the mask: only to settle what no equation holds.
const FAINT: f64 = 1e-8;
/// Most unknowns of one fill; a mask that needs more is no torus.
const MOST: usize = 4000;

/// A filled surface: the work mesh with the masked part replaced.
#[derive(Clone, Debug)]
pub(super) struct Fill {
    /// Positions of all vertices of the work mesh, mm; those off the patch stay where they are.
    pub place: Vec<Vector>,
    /// Unit normals of the filled surface.
    pub normal: Vec<Vector>,
    /// Vertices that may have moved.
    moved: Vec<VertexId>,
}

/// What a plate is laid on.
#[derive(Clone, Copy)]
pub(super) struct Plate<'a> {
    /// The surface.
    pub work: &'a Work,
    /// Vertices that may speak for the surroundings.
    pub domain: &'a [bool],
}

impl Plate<'_> {
    /// Fills the masked vertices. `None` where the mask is too large or nothing surrounds it.
    ///
    /// The plate bends over the surface as it is, whose flanks are longer than the hole is wide; [`Plate::refined`] mends that.
    pub fn fill(&self, mask: &[VertexId]) -> Option<Fill> {
        self.bent(&self.work.metric, mask)
    }

    /// The same, bent once more over the first fill's own lengths and areas, so that it is the plate over the hole and not
    /// over the rise.
    pub fn refined(&self, mask: &[VertexId]) -> Option<Fill> {
        let first = self.fill(mask)?;
        self.bent(&self.work.metric_moved(&first.place, &first.moved), mask)
    }

    fn bent(&self, metric: &Metric, mask: &[VertexId]) -> Option<Fill> {
        let work = self.work;
        let mut masked = vec![false; work.len()];
        mask.iter().for_each(|&v| masked[v as usize] = true);
        let usable = |v: VertexId| self.domain[v as usize] || masked[v as usize];
        let round = work.grown(mask, ROUND_MM, usable);
        if round.len() > MOST || round.len() < mask.len() + 8 {
            return None;
        }
        let system = System { work, metric, order: ordered(work, &round) };
        let rows: Vec<VertexId> = rows_touching(work, &round)
            .into_iter()
            .filter(|&v| usable(v) && !work.border[v as usize] && work.around(v).all(|(w, _)| usable(w)))
            .collect();
        let solved = system.solve(&rows, |v| if masked[v as usize] { FAINT } else { 1.0 })?;
        Some(Fill::moved(work, system.order, &solved))
    }
}

/// The equations of a plate: each vertex of `order` is unknown, all others stand.
struct System<'w> {
    work: &'w Work,
    metric: &'w Metric,
    order: Vec<VertexId>,
}

impl System<'_> {
    /// Places of the unknown vertices that bend the rows' Laplacian least, held to the old places by `hold` each.
    fn solve(&self, rows: &[VertexId], hold: impl Fn(VertexId) -> f64) -> Option<Vec<Vector>> {
        let mut unknown = vec![None; self.work.len()];
        self.order.iter().enumerate().for_each(|(i, &v)| unknown[v as usize] = Some(i));
        let stencils: Vec<(VertexId, Vec<(VertexId, f64)>)> =
            rows.iter().map(|&v| (v, self.stencil(v))).collect();
        let mut first: Vec<usize> = (0..self.order.len()).collect();
        for (_, stencil) in &stencils {
            let places = stencil.iter().filter_map(|(w, _)| unknown[*w as usize]);
            let Some(least) = places.clone().min() else { continue };
            places.for_each(|i| first[i] = first[i].min(least));
        }
        let mut matrix = Skyline::new(first);
        let mut b = vec![Vector::zeros(); self.order.len()];
        for (i, &v) in self.order.iter().enumerate() {
            let weight = self.metric.area_mm2[v as usize] * hold(v);
            matrix.add(i, i, weight);
            b[i] += self.work.mesh.vertex(v).coords * weight;
        }
        let stiff = stiffness(WAVELENGTH_MM);
        for (v, stencil) in &stencils {
            let scale = stiff / self.metric.area_mm2[*v as usize];
            for &(p, wp) in stencil {
                let Some(i) = unknown[p as usize] else { continue };
                for &(q, wq) in stencil {
                    match unknown[q as usize] {
                        None => b[i] -= self.work.mesh.vertex(q).coords * (scale * wp * wq),
                        Some(j) if j <= i => matrix.add(i, j, scale * wp * wq),
                        Some(_) => {}
                    }
                }
            }
        }
        matrix.solve(b)
    }

    /// The Laplacian's row of a vertex: its own weight, then minus those of its neighbours.
    fn stencil(&self, v: VertexId) -> Vec<(VertexId, f64)> {
        let own: f64 = self.work.weights(self.metric, v).map(|(_, w)| w).sum();
        std::iter::once((v, own))
            .chain(self.work.weights(self.metric, v).map(|(w, weight)| (w, -weight)))
            .collect()
    }
}

/// Vertices of a set and their neighbours, ascending.
fn rows_touching(work: &Work, set: &[VertexId]) -> Vec<VertexId> {
    let mut rows: Vec<VertexId> =
        set.iter().flat_map(|&v| std::iter::once(v).chain(work.around(v).map(|(w, _)| w))).collect();
    rows.sort_unstable();
    rows.dedup();
    rows
}

/// The set in an order that keeps the skyline low: breadth first from an end of its longest extent.
fn ordered(work: &Work, set: &[VertexId]) -> Vec<VertexId> {
    let mut inside = vec![false; work.len()];
    set.iter().for_each(|&v| inside[v as usize] = true);
    let breadth = |start: VertexId, seen: &mut Vec<bool>| {
        let mut order = vec![start];
        seen[start as usize] = true;
        let mut at = 0;
        while at < order.len() {
            for (w, _) in work.around(order[at]) {
                if inside[w as usize] && !seen[w as usize] {
                    seen[w as usize] = true;
                    order.push(w);
                }
            }
            at += 1;
        }
        order
    };
    let mut seen = vec![false; work.len()];
    let mut order = Vec::with_capacity(set.len());
    for &v in set {
        if !seen[v as usize] {
            let far = breadth(v, &mut seen.clone()).last().copied().unwrap_or(v);
            order.extend(breadth(far, &mut seen));
        }
    }
    order
}

impl Fill {
    /// A part of the wall as the rest of it, less other rises, foretells it. `None` where the mask is not all on the wall.
    pub fn of_wall(
        work: &Work,
        domain: &[bool],
        wall: &Wall,
        mask: (&[VertexId], Option<&[bool]>),
    ) -> Option<Fill> {
        let foretold = wall.foretold(work, domain, mask)?;
        Some(Fill::moved(work, foretold.moved, &foretold.places))
    }

    /// The work mesh with some vertices at new places.
    fn moved(work: &Work, moved: Vec<VertexId>, places: &[Vector]) -> Fill {
        let mut place: Vec<Vector> = work.mesh.vertices().iter().map(|p| p.coords).collect();
        moved.iter().zip(places).for_each(|(&v, p)| place[v as usize] = *p);
        let normal = work.normals_moved(&place, &moved);
        Fill { place, normal, moved }
    }

    /// Signed normal distance of `p` from the filled surface, mm, and the vertex nearest to its foot. The search walks
    /// downhill over the filled surface from `start`; the fill is smooth, so the nearest place is reached.
    pub fn height_mm(&self, work: &Work, p: &Point, start: VertexId) -> (f64, VertexId) {
        let distance2 = |v: VertexId| (p.coords - self.place[v as usize]).norm_squared();
        let (mut at, mut best) = (start, distance2(start));
        loop {
            let mut next = at;
            for (w, _) in work.around(at) {
                let d = distance2(w);
                if d < best {
                    best = d;
                    next = w;
                }
            }
            if next == at {
                break;
            }
            at = next;
        }
        let mut nearest = (best, p.coords - self.place[at as usize], self.normal[at as usize]);
        for &f in work.topology.faces_of_vertex(at) {
            let corners = work.mesh.faces()[f as usize];
            let [a, b, c] = corners.map(|v| self.place[v as usize]);
            let foot = closest_in_triangle(&p.coords, &a, &b, &c);
            let off = p.coords - foot;
            if off.norm_squared() < nearest.0 {
                let n = corners.iter().fold(Vector::zeros(), |s, &v| s + self.normal[v as usize]);
                nearest = (off.norm_squared(), off, n);
            }
        }
        let length = nearest.0.sqrt();
        (if nearest.1.dot(&nearest.2) < 0.0 { -length } else { length }, at)
    }
}

/// The point of triangle `abc` nearest to `p`, by the seven regions of the plane around it.
pub(super) fn closest_in_triangle(p: &Vector, a: &Vector, b: &Vector, c: &Vector) -> Vector {
    let (ab, ac, ap) = (b - a, c - a, p - a);
    let (d1, d2) = (ab.dot(&ap), ac.dot(&ap));
    if d1 <= 0.0 && d2 <= 0.0 {
        return *a;
    }
    let bp = p - b;
    let (d3, d4) = (ab.dot(&bp), ac.dot(&bp));
    if d3 >= 0.0 && d4 <= d3 {
        return *b;
    }
    let vc = d1 * d4 - d3 * d2;
    if vc <= 0.0 && d1 >= 0.0 && d3 <= 0.0 && d1 > d3 {
        return a + ab * (d1 / (d1 - d3));
    }
    let cp = p - c;
    let (d5, d6) = (ab.dot(&cp), ac.dot(&cp));
    if d6 >= 0.0 && d5 <= d6 {
        return *c;
    }
    let vb = d5 * d2 - d1 * d6;
    if vb <= 0.0 && d2 >= 0.0 && d6 <= 0.0 && d2 > d6 {
        return a + ac * (d2 / (d2 - d6));
    }
    let va = d3 * d6 - d5 * d4;
    if va <= 0.0 && d4 >= d3 && d5 >= d6 && (d4 - d3) + (d5 - d6) > 0.0 {
        return b + (c - b) * ((d4 - d3) / ((d4 - d3) + (d5 - d6)));
    }
    let sum = va + vb + vc;
    if sum <= 0.0 { *a } else { a + ab * (vb / sum) + ac * (vc / sum) }
}
