//! Where places lie beside the course, and what along it speaks for a tooth and for the end of one.

use super::course::{Beside, Course};
use super::graph::Graph;
use crate::space::{Frame, Vector};

/// Spacing of the profiles along the course, mm.
pub const STEP_MM: f64 = 0.25;
/// Half width of the band about the course whose detail tells teeth from ridge, mm.
const BAND_MM: f64 = 7.0;
/// Greatest height over the occlusal plane that a tooth is taken to reach, mm; what stands higher is a fold of cheek or tongue.
pub(super) const HIGHEST_MM: f64 = 4.0;
/// Depth under the local top down to which it is looked at, mm.
const DEPTH_MM: f64 = 4.5;
/// Mean height over the occlusal plane, down to that depth, from which on a stretch looks like a fold, and by how much more
/// it is none of a tooth, mm. Teeth of labelled scans had at most 0.5, a fold behind a last molar 4.
const ABOVE_MM: [f64; 2] = [1.5, 1.5];
/// Detail under which a stretch looks like ridge, and by how much more it surely looks like a tooth, 1/mm. On labelled
/// scans and on the generator's casts teeth had at least 0.42, ridges at most 0.31.
const DETAIL: [f64; 2] = [0.42, 0.16];

/// Where each place of a graph lies beside the course, with its depth under the local top.
#[derive(Clone, Debug)]
pub struct Layout {
    /// Beside the course.
    pub beside: Vec<Beside>,
    /// Under the local top of the arch, mm.
    pub depth: Vec<f64>,
    /// The local top by station of `STEP_MM`, mm over the occlusal plane.
    pub top: Vec<Option<f64>>,
    first: f64,
}

impl Layout {
    /// The layout of places with coordinates `local` in the frame.
    pub fn new(course: &Course, local: &[[f64; 3]]) -> Layout {
        let beside: Vec<Beside> = local.iter().map(|p| course.beside([p[0], p[1]])).collect();
        let count = (course.length_mm() / STEP_MM) as usize + 2;
        let first = -course.midline_mm;
        let mut top: Vec<Option<f64>> = vec![None; count];
        for (b, p) in beside.iter().zip(local).filter(|(b, p)| b.out.abs() < 4.5 && p[2] < HIGHEST_MM) {
            let k = (((b.along - first) / STEP_MM).max(0.0) as usize).min(count - 1);
            top[k] = Some(top[k].map_or(p[2], |t: f64| t.max(p[2])));
        }
        let wide = (2.5 / STEP_MM) as usize;
        let greatest: Vec<Option<f64>> = (0..count)
            .map(|k| {
                top[k.saturating_sub(wide)..(k + wide + 1).min(count)]
                    .iter()
                    .flatten()
                    .copied()
                    .reduce(f64::max)
            })
            .collect();
        let top: Vec<Option<f64>> = (0..count)
            .map(|k| {
                let window: Vec<f64> = greatest[k.saturating_sub(wide)..(k + wide + 1).min(count)]
                    .iter()
                    .flatten()
                    .copied()
                    .collect();
                (!window.is_empty()).then(|| window.iter().sum::<f64>() / window.len() as f64)
            })
            .collect();
        let mut layout = Layout { beside, depth: Vec::new(), top, first };
        layout.depth =
            (0..local.len()).map(|i| layout.top_at(layout.beside[i].along) - local[i][2]).collect();
        layout
    }

    /// Local top at a way from the midline; the plane where nothing lies there.
    pub fn top_at(&self, along: f64) -> f64 {
        let k = (((along - self.first) / STEP_MM).max(0.0) as usize).min(self.top.len() - 1);
        self.top[k].unwrap_or(0.0)
    }
}

/// Profiles along the course.
#[derive(Clone, Debug)]
pub struct Profile {
    /// Way of the first station from the midline, mm.
    pub first: f64,
    /// Signs of a tooth, -1 to 1.
    pub presence: Vec<f64>,
    /// How much a place falls short of the deepest crease across the arch within 3 mm, at most 0.
    pub cut: Vec<f64>,
}

impl Profile {
    /// Profiles of a cast.
    pub fn new(graph: &Graph, layout: &Layout, frame: &Frame) -> Profile {
        let n = layout.top.len();
        let mut detail = vec![[0.0; 2]; n];
        let mut height = vec![[0.0; 2]; n];
        let mut crease = vec![[[0.0; 2]; 2]; n];
        for i in 0..graph.len() {
            let (b, depth) = (&layout.beside[i], layout.depth[i]);
            let k = (b.along - layout.first) / STEP_MM;
            if k < 0.0 || k as usize >= n || b.out.abs() > BAND_MM || !(-3.0..5.0).contains(&depth) {
                continue;
            }
            let k = k as usize;
            if depth < DEPTH_MM {
                detail[k][0] += graph.area[i] * graph.most_curved(i).min(2.0);
                detail[k][1] += graph.area[i];
                height[k][0] += graph.area[i] * (layout.top_at(b.along) - depth);
                height[k][1] += graph.area[i];
            }
            let Some(c) = graph.curvature[i] else { continue };
            let way: Vector = frame.anterior.into_inner() * b.way[0] + frame.left.into_inner() * b.way[1];
            let concave = c.along(&way).map_or(0.0, |k| (-k - 0.05).clamp(0.0, 1.5));
            let side = usize::from(b.out < 0.0);
            crease[k][side][0] += graph.area[i] * concave;
            crease[k][side][1] += graph.area[i];
        }
        let spread = |get: &dyn Fn(usize) -> [f64; 2], half: usize| -> Vec<f64> {
            (0..n)
                .map(|k| {
                    let (mut sum, mut weight) = (0.0, 0.0);
                    for j in k.saturating_sub(half)..(k + half + 1).min(n) {
                        let near = 1.0 - (j as f64 - k as f64).abs() / (half as f64 + 1.0);
                        let [s, w] = get(j);
                        sum += near * s;
                        weight += near * w;
                    }
                    if weight > 0.5 { sum / weight } else { 0.0 }
                })
                .collect()
        };
        let detail = spread(&|k| detail[k], 9);
        let height = spread(&|k| height[k], 9);
        let buccal = spread(&|k| crease[k][0], 3);
        let lingual = spread(&|k| crease[k][1], 3);
        let both: Vec<f64> = buccal.iter().zip(&lingual).map(|(b, l)| b.min(*l) + 0.5 * (b + l)).collect();
        let reach = (3.0 / STEP_MM) as usize;
        let cut = (0..n)
            .map(|k| {
                let most =
                    both[k.saturating_sub(reach)..(k + reach + 1).min(n)].iter().copied().fold(0.0, f64::max);
                both[k] - most
            })
            .collect();
        let presence = (0..n)
            .map(|k| match layout.top[k] {
                None => -1.0,
                Some(top) => {
                    let low = ((-top - 2.5) / 3.0).clamp(0.0, 2.0);
                    let high = ((height[k] - ABOVE_MM[0]) / ABOVE_MM[1]).clamp(0.0, 2.0);
                    ((detail[k] - DETAIL[0]) / DETAIL[1] - low - high).clamp(-1.0, 1.0)
                }
            })
            .collect();
        Profile { first: layout.first, presence, cut }
    }

    /// Mean presence between two ways from the midline; -1 where nothing lies between.
    pub fn mean(&self, from: f64, to: f64) -> f64 {
        let at = |way: f64| (((way - self.first) / STEP_MM).max(0.0) as usize).min(self.presence.len());
        let part = &self.presence[at(from).min(at(to))..at(to)];
        if part.is_empty() { -1.0 } else { part.iter().sum::<f64>() / part.len() as f64 }
    }
}
