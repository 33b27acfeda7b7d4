//! Tori found beside tori that are there.

use crate::rises::Truth;
use saddleroom::measure::torus::Torus;
use saddleroom::report::TorusState;
use saddleroom::units::digits;

/// How far a summit may stand from the true one to be the same lobe, mm.
const SUMMIT_MM: f64 = 3.5;
/// A true summit so near to a triangle of a torus lies on it, mm: flat tops have their summit anywhere.
const INSIDE_MM: f64 = 0.6;
/// Heights from which lobes are counted apart, mm.
const CLASSES: [(f64, f64); 3] = [(1.0, 1.5), (1.5, 2.5), (2.5, 99.0)];

/// Sums over casts.
#[derive(Default)]
pub struct Tally {
    casts: usize,
    lobes: [usize; 3],
    /// By class, those found and those possible.
    met: [[usize; 2]; 3],
    /// Found and possible ones that are none.
    wrong: [usize; 2],
    off: Vec<f64>,
    iou: Vec<f64>,
}

impl Tally {
    /// Adds a cast.
    pub fn add(&mut self, truth: &Truth, found: &[Torus], words: &str) {
        self.casts += 1;
        let pairs = pairs(truth, found);
        for (i, (_, height_mm, k)) in truth.lobes.iter().enumerate() {
            let Some(class) = CLASSES.iter().position(|(lo, hi)| height_mm >= lo && height_mm < hi) else {
                continue;
            };
            self.lobes[class] += 1;
            let Some(&(_, j)) = pairs.iter().find(|p| p.0 == i) else {
                eprintln!(
                    "{words}: lobe of {} mm of torus {k} not found at {:.1?}",
                    digits(*height_mm, 2),
                    truth.lobes[i].0
                );
                continue;
            };
            self.met[class][usize::from(found[j].state == TorusState::Possible)] += 1;
            let off = found[j].height_mm - height_mm;
            self.off.push(off);
            if off.abs() > 0.35 {
                eprintln!(
                    "{words}: {} mm for {} mm, {:?}",
                    digits(found[j].height_mm, 2),
                    digits(*height_mm, 2),
                    found[j].doubts
                );
            } else if found[j].state == TorusState::Possible {
                eprintln!("{words}: {} mm only possible: {:?}", digits(*height_mm, 2), found[j].doubts);
            }
        }
        for (j, torus) in found.iter().enumerate() {
            if pairs.iter().all(|p| p.1 != j) {
                self.wrong[usize::from(torus.state == TorusState::Possible)] += 1;
                eprintln!(
                    "{words}: {:?} {} mm, {} long at {:?} is none {:?}",
                    torus.state,
                    digits(torus.height_mm, 2),
                    digits(torus.length_mm, 1),
                    torus.summit,
                    torus.doubts
                );
            }
        }
        for (k, faces) in truth.faces.iter().enumerate().filter(|f| !f.1.is_empty()) {
            let own = pairs.iter().filter(|p| truth.lobes[p.0].2 == k);
            let mut all: Vec<u32> = own.flat_map(|p| &found[p.1].faces).copied().collect();
            all.sort_unstable();
            all.dedup();
            if !all.is_empty() {
                self.iou.push(iou(truth, faces, &all));
            }
        }
    }

    /// Head of the table.
    pub fn head() -> &'static str {
        "| casts | number | lobes of 1.0 to 1.5 mm: found, possible | of 1.5 to 2.5 mm | of 2.5 mm and more | recall from 1.5 mm (with possible ones) | false a cast (possible) | height off: mean, worst, mm | outline IoU: mean, least |\n|---|---|---|---|---|---|---|---|---|"
    }

    /// A line of it.
    pub fn line(&self, what: &str) -> String {
        let class = |c: usize| format!("{} + {} of {}", self.met[c][0], self.met[c][1], self.lobes[c]);
        let tall = |k: usize| (self.met[1][k] + self.met[2][k]) as f64;
        let all = (self.lobes[1] + self.lobes[2]).max(1) as f64;
        let casts = self.casts.max(1) as f64;
        let mean = |v: &[f64]| v.iter().map(|x| x.abs()).sum::<f64>() / v.len().max(1) as f64;
        let worst = self.off.iter().fold(0.0f64, |m, x| m.max(x.abs()));
        format!(
            "| {what} | {} | {} | {} | {} | {} ({}) | {} ({}) | {}, {} | {}, {} |",
            self.casts,
            class(0),
            class(1),
            class(2),
            digits(tall(0) / all, 3),
            digits((tall(0) + tall(1)) / all, 3),
            digits(self.wrong[0] as f64 / casts, 3),
            digits(self.wrong[1] as f64 / casts, 3),
            digits(mean(&self.off), 3),
            digits(worst, 2),
            digits(mean(&self.iou), 3),
            digits(self.iou.iter().copied().fold(1.0, f64::min), 2),
        )
    }
}

/// Lobes with the torus found for each, nearest pairs first.
fn pairs(truth: &Truth, found: &[Torus]) -> Vec<(usize, usize)> {
    let mut all: Vec<(f64, usize, usize)> = Vec::new();
    for (i, lobe) in truth.lobes.iter().enumerate() {
        for (j, torus) in found.iter().enumerate() {
            let inside = torus.faces.iter().any(|&f| (truth.mesh.face_centre(f) - lobe.0).norm() < INSIDE_MM);
            let far = (torus.summit - lobe.0).norm();
            all.push((if inside { 0.5 * far } else { far }, i, j));
        }
    }
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut pairs: Vec<(usize, usize)> = Vec::new();
    for (far, i, j) in all {
        if far <= SUMMIT_MM && pairs.iter().all(|p| p.0 != i && p.1 != j) {
            pairs.push((i, j));
        }
    }
    pairs
}

fn iou(truth: &Truth, a: &[u32], b: &[u32]) -> f64 {
    let area = |f: &u32| truth.mesh.face_area_mm2(*f);
    let (whole, other): (f64, f64) = (a.iter().map(area).sum(), b.iter().map(area).sum());
    let both: f64 = b.iter().filter(|f| a.binary_search(f).is_ok()).map(area).sum();
    both / (whole + other - both).max(1e-9)
}
