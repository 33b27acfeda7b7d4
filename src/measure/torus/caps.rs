//! Convex caps: where the surface, smoothed as a thin plate, bulges outwards.

use super::sparse::conjugate_gradients;
use super::work::Work;
use crate::mesh::VertexId;
use crate::space::Vector;

/// How caps are looked for.
#[derive(Clone, Copy, Debug)]
pub(super) struct CapSettings {
    /// Wavelength at which the smoothing halves a wave, mm.
    pub wavelength_mm: f64,
    /// Levels of mean curvature, 1/mm, highest first.
    pub levels: &'static [f64],
    /// Least peak of a cap, 1/mm.
    pub least_peak_per_mm: f64,
    /// Least and greatest area of a cap, mm2.
    pub area_mm2: (f64, f64),
}

/// The discrete Laplacian of a domain, zero on its border: `sum of weights (x_i - x_j)`.
pub(super) struct Laplacian<'w> {
    work: &'w Work,
    /// Vertices that have an equation: inside the domain with all their neighbours, off the scan's border.
    pub inner: Vec<bool>,
}

impl<'w> Laplacian<'w> {
    /// For the vertices for which `domain` holds.
    pub fn new(work: &'w Work, domain: &[bool]) -> Laplacian<'w> {
        let inner = (0..work.len())
            .map(|v| domain[v] && !work.border[v] && work.around(v as u32).all(|(w, _)| domain[w as usize]))
            .collect();
        Laplacian { work, inner }
    }

    /// The Laplacian of a field.
    pub fn of(&self, x: &[Vector], out: &mut [Vector]) {
        for v in 0..x.len() {
            out[v] = Vector::zeros();
            if self.inner[v] {
                for (w, weight) in self.work.weights(&self.work.metric, v as u32) {
                    out[v] += (x[v] - x[w as usize]) * weight;
                }
            }
        }
    }

    /// Its transpose.
    fn transposed(&self, y: &[Vector], out: &mut [Vector]) {
        for v in 0..y.len() {
            let mut sum = Vector::zeros();
            for (w, weight) in self.work.weights(&self.work.metric, v as u32) {
                // A row that has no equation adds nothing, whichever end it stands at.
                sum += (y[v] - y[w as usize]) * weight;
            }
            out[v] = sum;
        }
    }
}

/// Positions of the domain's vertices, smoothed as a thin plate; all other vertices stay.
pub(super) fn smoothed(work: &Work, domain: &[bool], wavelength_mm: f64) -> Vec<Vector> {
    let laplacian = Laplacian::new(work, domain);
    let stiff = stiffness(wavelength_mm);
    let places: Vec<Vector> = work.mesh.vertices().iter().map(|p| p.coords).collect();
    let b: Vec<Vector> = places.iter().zip(&work.metric.area_mm2).map(|(p, a)| p * *a).collect();
    let mut diagonal = work.metric.area_mm2.clone();
    for v in 0..work.len() as u32 {
        let own: f64 = work.weights(&work.metric, v).map(|(_, w)| w).sum();
        if laplacian.inner[v as usize] {
            diagonal[v as usize] += stiff * own * own / work.metric.area_mm2[v as usize];
        }
        for (w, weight) in work.weights(&work.metric, v) {
            if laplacian.inner[w as usize] {
                diagonal[v as usize] += stiff * weight * weight / work.metric.area_mm2[w as usize];
            }
        }
    }
    let scratch =
        std::cell::RefCell::new((vec![Vector::zeros(); work.len()], vec![Vector::zeros(); work.len()]));
    let apply = |x: &[Vector], out: &mut [Vector]| {
        let (lap, back) = &mut *scratch.borrow_mut();
        laplacian.of(x, lap);
        lap.iter_mut().zip(&work.metric.area_mm2).for_each(|(l, a)| *l /= *a);
        laplacian.transposed(lap, back);
        for v in 0..x.len() {
            out[v] = x[v] * work.metric.area_mm2[v] + back[v] * stiff;
        }
    };
    conjugate_gradients(apply, &diagonal, &b, places, (1e-6, 300))
}

/// Stiffness of a plate that halves a wave of this length, mm4.
pub(super) fn stiffness(wavelength_mm: f64) -> f64 {
    let reach = wavelength_mm / (2.0 * std::f64::consts::PI);
    reach * reach * reach * reach
}

/// Mean curvature of the smoothed surface, 1/mm, convex positive, twice averaged; `None` where it has no equation.
pub(super) fn mean_curvature(work: &Work, domain: &[bool], smooth: &[Vector]) -> Vec<Option<f64>> {
    let laplacian = Laplacian::new(work, domain);
    let mut bend = vec![Vector::zeros(); work.len()];
    laplacian.of(smooth, &mut bend);
    let normal = normals(work, smooth);
    let mut h: Vec<Option<f64>> = (0..work.len())
        .map(|v| laplacian.inner[v].then(|| 0.5 * bend[v].dot(&normal[v]) / work.metric.area_mm2[v]))
        .collect();
    for _ in 0..2 {
        let before = h.clone();
        for v in 0..work.len() {
            let Some(own) = before[v] else { continue };
            let (mut sum, mut count) = (own, 1.0);
            for (w, _) in work.around(v as u32) {
                if let Some(other) = before[w as usize] {
                    sum += other;
                    count += 1.0;
                }
            }
            h[v] = Some(sum / count);
        }
    }
    h
}

/// Normals of the work surface with its vertices moved.
pub(super) fn normals(work: &Work, places: &[Vector]) -> Vec<Vector> {
    let mut normal = vec![Vector::zeros(); work.len()];
    for corners in work.mesh.faces() {
        let [a, b, c] = corners.map(|v| places[v as usize]);
        let n = (b - a).cross(&(c - a));
        for &v in corners {
            normal[v as usize] += n;
        }
    }
    for n in &mut normal {
        let length = n.norm();
        if length > 0.0 {
            *n /= length;
        }
    }
    normal
}

/// Caps of all levels, highest level first, each ascending: connected, of fitting area, with a peak that stands out,
/// and not cut in half by the domain's border.
pub(super) fn caps(
    work: &Work,
    domain: &[bool],
    h: &[Option<f64>],
    settings: &CapSettings,
) -> Vec<Vec<VertexId>> {
    let edge: Vec<bool> = (0..work.len())
        .map(|v| work.border[v] || work.around(v as u32).any(|(w, _)| !domain[w as usize]))
        .collect();
    let mut all = Vec::new();
    for &level in settings.levels {
        for piece in work.pieces(|v| h[v as usize].is_some_and(|k| k > level)) {
            let area = work.area_mm2(&piece);
            let peak = piece.iter().filter_map(|&v| h[v as usize]).fold(0.0, f64::max);
            let cut = piece.iter().filter(|&&v| edge[v as usize]).count();
            let fits = area >= settings.area_mm2.0 && area <= settings.area_mm2.1;
            if fits && peak > settings.least_peak_per_mm && cut * 5 < piece.len() * 2 {
                all.push(piece);
            }
        }
    }
    all
}
