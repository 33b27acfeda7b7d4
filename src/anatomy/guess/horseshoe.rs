//! The anterior direction: a horseshoe laid over what stands out in plan.

use rayon::prelude::*;

use crate::anatomy::arch_form;
use crate::anatomy::plan::HeightMap;
use crate::case::Arch;
use crate::space::{Plane, Point, Vector, cos, exp, sin};

/// Radius of the disc that what stands out must not hold, mm.
const DISC_MM: f64 = 7.0;
/// Greatest height over its surroundings that counts, mm.
const MOST_MM: f64 = 5.0;
/// Only what lies within this depth of the occlusal plane counts, mm.
const DEPTH_MM: f64 = 12.0;
/// Blur of what stands out, mm.
const BLUR_MM: f64 = 2.0;

/// Height over the surroundings, after the blur, from which something stands out, mm.
const STANDS_OUT_MM: f64 = 0.8;
/// A tip within this distance of the horseshoe lies near it, mm.
const NEAR_MM: f64 = 5.0;

/// Where the horseshoe fits.
#[derive(Clone, Debug)]
pub struct Laid {
    /// Toward its closed end.
    pub anterior: Vector,
    /// Ratio of the best score to the best more than 45 degrees away.
    pub ratio: f64,
    /// Mean height over the surroundings along the horseshoe, mm.
    pub score: f64,
    /// Share of the horseshoe over which something stands out.
    pub covered: f64,
    /// Share of the tips that lie near the horseshoe.
    pub tips_near: f64,
    /// The horseshoe, in plan coordinates of the height map.
    pub line: Vec<[f64; 2]>,
    /// Where on it the crown of each place (1 to 7 from the midline) would stand, one side after the other.
    pub crowns: Vec<(u8, [f64; 2])>,
}

impl Laid {
    /// Which crown of the horseshoe a place in plan is nearest to, by its index; `None` off the horseshoe.
    pub fn crown_at(&self, plan: [f64; 2]) -> Option<usize> {
        if !self.near(plan) {
            return None;
        }
        let gap =
            |i: &usize| crate::space::hypot(plan[0] - self.crowns[*i].1[0], plan[1] - self.crowns[*i].1[1]);
        (0..self.crowns.len()).min_by(|a, b| gap(a).total_cmp(&gap(b)).then(a.cmp(b)))
    }

    /// Whether a place in plan lies near the horseshoe.
    pub fn near(&self, plan: [f64; 2]) -> bool {
        self.line.iter().any(|q| crate::space::hypot(plan[0] - q[0], plan[1] - q[1]) < NEAR_MM)
    }
}

/// Lays the horseshoe. `None` where nothing stands out.
pub fn laid(map: &HeightMap, plane: &Plane, tips: &[Point]) -> Option<Laid> {
    let field = Field::new(map, plane)?;
    let curves: Vec<Template> = [Arch::Mandible, Arch::Maxilla]
        .into_iter()
        .flat_map(|arch| [0.85, 0.95, 1.05, 1.15].map(|scale| template(arch, scale)))
        .collect();
    let places: Vec<Place> =
        (0..72).into_par_iter().map(|k| field.best(&curves, (5.0 * f64::from(k)).to_radians())).collect();
    let (k, best) = places
        .iter()
        .enumerate()
        .fold((0, f64::NEG_INFINITY), |held, (i, p)| if p.score > held.1 { (i, p.score) } else { held });
    let apart = |i: usize| {
        let d = (i + 72 - k) % 72;
        d.min(72 - d)
    };
    let second = (0..72).filter(|&i| apart(i) > 9).map(|i| places[i].score).fold(0.0, f64::max);
    if best <= 0.0 {
        return None;
    }
    let angle = (5.0 * k as f64).to_radians();
    let ratio = if second > 0.0 { best / second } else { 10.0 };
    let Place { line, crowns, .. } = places[k].clone();
    let standing = line.iter().filter(|p| field.at(p[0], p[1]) > STANDS_OUT_MM).count();
    let covered = standing as f64 / line.len().max(1) as f64;
    let anterior = map.u * cos(angle) + map.v * sin(angle);
    let mut laid = Laid { anterior, ratio, score: best, covered, tips_near: 0.0, line, crowns };
    let near = tips.iter().filter(|p| laid.near(map.plan(p))).count();
    laid.tips_near = near as f64 / tips.len().max(1) as f64;
    Some(laid)
}

/// A place of the horseshoe.
#[derive(Clone)]
struct Place {
    score: f64,
    line: Vec<[f64; 2]>,
    crowns: Vec<(u8, [f64; 2])>,
}

/// The average arch in plan, (anterior, aside), about its middle.
struct Template {
    /// Points 1 mm apart to the second molars.
    points: Vec<[f64; 2]>,
    /// Crowns, by their place from the midline.
    crowns: Vec<(u8, [f64; 2])>,
}

fn template(arch: Arch, scale: f64) -> Template {
    let places = arch_form::places(arch);
    let mut crowns: Vec<(u8, [f64; 2])> = places
        .iter()
        .filter(|(t, _)| t.place() < 8)
        .map(|(t, p)| (t.place(), [p[0] * scale, p[1] * scale]))
        .collect();
    let mut points = Vec::new();
    for w in crowns.windows(2) {
        let (a, b) = (w[0].1, w[1].1);
        let parts = crate::space::hypot(b[0] - a[0], b[1] - a[1]).ceil().max(1.0) as usize;
        for k in 0..parts {
            let t = k as f64 / parts as f64;
            points.push([a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]);
        }
    }
    let depth = points.iter().map(|p| p[0]).fold(0.0, f64::min);
    points.iter_mut().for_each(|p| p[0] -= depth / 2.0);
    crowns.iter_mut().for_each(|(_, p)| p[0] -= depth / 2.0);
    Template { points, crowns }
}

/// What stands out in plan, blurred, on the cells of the height map.
struct Field {
    size: [usize; 2],
    cell: f64,
    low: [f64; 2],
    value: Vec<f64>,
    middle: [f64; 2],
}

impl Field {
    fn new(map: &HeightMap, plane: &Plane) -> Option<Field> {
        let [w, h] = map.size;
        let floor = plane.point.coords.dot(&map.up) - DEPTH_MM;
        let height: Vec<f64> = (0..w * h)
            .map(|c| map.cell_height(c % w, c / w).map_or(0.0, |z| (z - floor).clamp(0.0, DEPTH_MM + 4.0)))
            .collect();
        let disc = disc(DISC_MM / map.cell_mm);
        let eroded = ranked(&height, [w, h], &disc, f64::min);
        let opened = ranked(&eroded, [w, h], &disc, f64::max);
        let out: Vec<f64> = height.iter().zip(&opened).map(|(z, o)| (z - o).clamp(0.0, MOST_MM)).collect();
        let value = blurred(&out, [w, h], BLUR_MM / map.cell_mm);
        let total: f64 = value.iter().sum();
        if total <= 0.0 {
            return None;
        }
        let low = map.middle(0, 0);
        let mut middle = [0.0; 2];
        for (c, v) in value.iter().enumerate() {
            middle[0] += v / total * (low[0] + (c % w) as f64 * map.cell_mm);
            middle[1] += v / total * (low[1] + (c / w) as f64 * map.cell_mm);
        }
        Some(Field { size: [w, h], cell: map.cell_mm, low, value, middle })
    }

    fn at(&self, x: f64, y: f64) -> f64 {
        let (i, j) = ((x - self.low[0]) / self.cell + 0.5, (y - self.low[1]) / self.cell + 0.5);
        if i < 0.0 || j < 0.0 || i >= self.size[0] as f64 || j >= self.size[1] as f64 {
            return 0.0;
        }
        self.value[j as usize * self.size[0] + i as usize]
    }

    /// Best score of any template with its closed end toward an angle, over positions about the middle: at wide steps
    /// first, then near the best of each template.
    fn best(&self, templates: &[Template], angle: f64) -> Place {
        let (c, s) = (cos(angle), sin(angle));
        let turn = |p: &[f64; 2]| [c * p[0] - s * p[1], s * p[0] + c * p[1]];
        let mut best = Place { score: 0.0, line: Vec::new(), crowns: Vec::new() };
        for template in templates {
            let turned: Vec<[f64; 2]> = template.points.iter().map(turn).collect();
            let coarse: Vec<[f64; 2]> = turned.iter().step_by(2).copied().collect();
            let score = |at: [f64; 2], points: &[[f64; 2]]| -> f64 {
                points.iter().map(|p| self.at(at[0] + p[0], at[1] + p[1])).sum::<f64>() / points.len() as f64
            };
            let mut held = (0.0, self.middle);
            for (reach, step, points) in [(5, 3.0, &coarse), (1, 1.5, &turned)] {
                let middle = held.1;
                held.0 = score(middle, points);
                for (dx, dy) in (-reach..=reach).flat_map(|i| (-reach..=reach).map(move |j| (i, j))) {
                    let at = [middle[0] + step * f64::from(dx), middle[1] + step * f64::from(dy)];
                    let here = score(at, points);
                    if here > held.0 {
                        held = (here, at);
                    }
                }
            }
            let (score, at) = held;
            if score > best.score {
                let place = |p: &[f64; 2]| [at[0] + p[0], at[1] + p[1]];
                best = Place {
                    score,
                    line: turned.iter().map(place).collect(),
                    crowns: template.crowns.iter().map(|(n, p)| (*n, place(&turn(p)))).collect(),
                };
            }
        }
        best
    }
}

fn disc(radius: f64) -> Vec<[i64; 2]> {
    let r = radius.floor() as i64;
    (-r..=r)
        .flat_map(|j| (-r..=r).map(move |i| [i, j]))
        .filter(|[i, j]| ((i * i + j * j) as f64) <= radius * radius)
        .collect()
}

/// Least or greatest value over a disc about each cell; outside counts as 0.
fn ranked(value: &[f64], size: [usize; 2], disc: &[[i64; 2]], pick: fn(f64, f64) -> f64) -> Vec<f64> {
    let [w, h] = [size[0] as i64, size[1] as i64];
    (0..value.len())
        .into_par_iter()
        .map(|c| {
            let (x, y) = (c as i64 % w, c as i64 / w);
            disc.iter().fold(value[c], |held, [i, j]| {
                let (a, b) = (x + i, y + j);
                let inside = a >= 0 && b >= 0 && a < w && b < h;
                pick(held, if inside { value[(b * w + a) as usize] } else { 0.0 })
            })
        })
        .collect()
}

fn blurred(value: &[f64], size: [usize; 2], sigma: f64) -> Vec<f64> {
    let r = (3.0 * sigma).ceil() as i64;
    let kernel: Vec<f64> = (-r..=r).map(|k| exp(-((k * k) as f64) / (2.0 * sigma * sigma))).collect();
    let norm: f64 = kernel.iter().sum();
    let [w, h] = [size[0] as i64, size[1] as i64];
    let pass = |from: &[f64], step: [i64; 2]| -> Vec<f64> {
        (0..from.len() as i64)
            .map(|c| {
                let (x, y) = (c % w, c / w);
                let sum: f64 = (-r..=r)
                    .map(|k| {
                        let (a, b) = (x + k * step[0], y + k * step[1]);
                        let inside = a >= 0 && b >= 0 && a < w && b < h;
                        if inside { kernel[(k + r) as usize] * from[(b * w + a) as usize] } else { 0.0 }
                    })
                    .sum();
                sum / norm
            })
            .collect()
    };
    let once = pass(value, [1, 0]);
    pass(&once, [0, 1])
}
