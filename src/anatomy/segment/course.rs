//! The course of the arch in plan, and where each place of the surface lies beside it.

use super::graph::Graph;
use crate::anatomy::arch_form::ArchFit;
use crate::case::Arch;
use crate::space::{Frame, hypot};

/// Side of a cell of the plan, mm.
const CELL_MM: f64 = 1.0;
/// How far below and above the occlusal plane the arch is looked for, mm.
const DEPTHS_MM: [f64; 2] = [-14.0, 3.0];
/// Radius of the disc under which rises stand out, mm.
const DISC_MM: f64 = 9.0;
/// A rise that fully speaks for the arch, mm, and the share of the greatest around that does.
const RISE_MM: f64 = 5.0;
const FULL_SHARE: f64 = 0.7;
/// Way to both sides of the average arch in which its course is looked for, mm.
const ASIDE_MM: f64 = 8.0;
/// Spacing of stations along the arch, mm.
pub const STEP_MM: f64 = 0.5;

/// The course of an arch: a curve in plan, coordinates (anterior, left) of the frame.
#[derive(Clone, Debug)]
pub struct Course {
    /// Stations from the patient's right to left, `STEP_MM` apart.
    pub points: Vec<[f64; 2]>,
    /// Position of the midline along it, mm from the first station.
    pub midline_mm: f64,
}

/// Where a place lies beside the course.
#[derive(Clone, Copy, Debug)]
pub struct Beside {
    /// Way along the course from the midline, positive to the patient's left, mm.
    pub along: f64,
    /// Way outward (buccal) from it, mm.
    pub out: f64,
    /// Direction of the course there, unit vector (anterior, left) to the patient's left.
    pub way: [f64; 2],
}

impl Course {
    fn new(points: &[[f64; 2]]) -> Option<Course> {
        let points = resampled(points, STEP_MM);
        let cross = (1..points.len()).filter(|&i| (points[i - 1][1] < 0.0) != (points[i][1] < 0.0));
        // Of several crossings that nearest to the incisors.
        let at = cross.max_by(|&i, &j| points[i][0].total_cmp(&points[j][0]))?;
        let (a, b) = (points[at - 1][1], points[at][1]);
        let share = if (b - a).abs() > 1e-9 { -a / (b - a) } else { 0.0 };
        Some(Course { midline_mm: (at as f64 - 1.0 + share) * STEP_MM, points })
    }

    /// A smooth curve through places of teeth, led on at both ends along `before`.
    pub fn through(places: &[[f64; 2]], before: &Course) -> Option<Course> {
        let (first, last) = (places.first()?, places.last()?);
        let [from, to] = [first, last].map(|p| before.beside(*p).along + before.midline_mm);
        let shifted = |end: &[f64; 2], at: f64| {
            let near = before.at(at);
            [end[0] - near[0], end[1] - near[1]]
        };
        let (at_first, at_last) = (shifted(first, from), shifted(last, to));
        let mut points = Vec::new();
        for (i, p) in before.points.iter().enumerate() {
            let s = i as f64 * STEP_MM;
            if s < from - 5.0 {
                let share = f64::max(0.0, 1.0 - (from - s) / 15.0);
                points.push([p[0] + share * at_first[0], p[1] + share * at_first[1]]);
            }
        }
        points.extend_from_slice(places);
        for (i, p) in before.points.iter().enumerate() {
            let s = i as f64 * STEP_MM;
            if s > to + 5.0 {
                let share = f64::max(0.0, 1.0 - (s - to) / 15.0);
                points.push([p[0] + share * at_last[0], p[1] + share * at_last[1]]);
            }
        }
        let mut fine = resampled(&points, STEP_MM);
        for _ in 0..3 {
            fine = smoothed(&fine, 5);
        }
        Course::new(&fine)
    }

    /// Point at a way from the first station, mm.
    pub fn at(&self, way: f64) -> [f64; 2] {
        let x = (way / STEP_MM).clamp(0.0, (self.points.len() - 1) as f64);
        let i = (x.floor() as usize).min(self.points.len().saturating_sub(2));
        let share = x - i as f64;
        let (a, b) = (self.points[i], self.points[(i + 1).min(self.points.len() - 1)]);
        [a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])]
    }

    /// Length, mm.
    pub fn length_mm(&self) -> f64 {
        (self.points.len() - 1) as f64 * STEP_MM
    }

    /// Where a point of the plan lies beside the course.
    pub fn beside(&self, p: [f64; 2]) -> Beside {
        let nearest = (0..self.points.len())
            .min_by(|&i, &j| square(self.points[i], p).total_cmp(&square(self.points[j], p)))
            .unwrap_or(0);
        let (a, b) =
            (self.points[nearest.saturating_sub(2)], self.points[(nearest + 2).min(self.points.len() - 1)]);
        let length = hypot(b[0] - a[0], b[1] - a[1]).max(1e-9);
        let way = [(b[0] - a[0]) / length, (b[1] - a[1]) / length];
        let q = self.points[nearest];
        let off = [p[0] - q[0], p[1] - q[1]];
        let along = (off[0] * way[0] + off[1] * way[1]).clamp(-4.0 * STEP_MM, 4.0 * STEP_MM);
        // Walking from right to left round the front, outward lies on the anterior-right side of the way.
        let out = off[0] * way[1] - off[1] * way[0];
        Beside { along: nearest as f64 * STEP_MM + along - self.midline_mm, out, way }
    }
}

fn square(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - b[0]) * (a[0] - b[0]) + (a[1] - b[1]) * (a[1] - b[1])
}

fn smoothed(points: &[[f64; 2]], half: usize) -> Vec<[f64; 2]> {
    let n = points.len();
    (0..n)
        .map(|i| {
            let half = half.min(i).min(n - 1 - i);
            let window = &points[i - half..=i + half];
            [0, 1].map(|k| window.iter().map(|p| p[k]).sum::<f64>() / window.len() as f64)
        })
        .collect()
}

fn resampled(points: &[[f64; 2]], step: f64) -> Vec<[f64; 2]> {
    let mut fine: Vec<[f64; 2]> = points.first().copied().into_iter().collect();
    let mut left = step;
    for pair in points.windows(2) {
        let length = square(pair[0], pair[1]).sqrt();
        let mut done = 0.0;
        while length - done >= left {
            done += left;
            left = step;
            let share = done / length;
            fine.push([0, 1].map(|k| pair[0][k] + share * (pair[1][k] - pair[0][k])));
        }
        left -= length - done;
    }
    fine
}

/// How a rise is measured that speaks for the arch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rise {
    /// In millimetres over what is lowest around; lowest of all is where the scan has nothing.
    Whole,
    /// As a share of the greatest around, over the lowest surface around.
    Share,
}

impl Rise {
    /// All ways.
    pub const ALL: [Rise; 2] = [Rise::Whole, Rise::Share];
}

/// The cast from above, by cell.
struct Plan {
    low: [f64; 2],
    size: [usize; 2],
    /// The highest surface; the floor where nothing lies.
    top: Vec<f64>,
    /// Curved detail.
    detail: Vec<f64>,
}

impl Plan {
    fn new(graph: &Graph, local: &[[f64; 3]]) -> Option<Plan> {
        let inside = |p: &&[f64; 3]| (DEPTHS_MM[0]..DEPTHS_MM[1]).contains(&p[2]);
        let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        for p in local.iter().filter(inside) {
            for k in 0..2 {
                low[k] = low[k].min(p[k].max(-90.0));
                high[k] = high[k].max(p[k].min(90.0));
            }
        }
        if !low[0].is_finite() || high[0] <= low[0] || high[1] <= low[1] {
            return None;
        }
        let size = [0, 1].map(|k| ((high[k] - low[k]) / CELL_MM) as usize + 1);
        let floor = DEPTHS_MM[0];
        let (mut top, mut detail) = (vec![floor; size[0] * size[1]], vec![0.0; size[0] * size[1]]);
        let cell_of = |p: &[f64; 3]| {
            let fits = (0..2).all(|k| p[k] >= low[k] && p[k] <= high[k]);
            let cell = [0, 1].map(|k| (((p[k] - low[k]) / CELL_MM) as usize).min(size[k] - 1));
            fits.then_some(cell[1] * size[0] + cell[0])
        };
        for (i, p) in local.iter().enumerate().filter(|(_, p)| inside(p)) {
            let Some(slot) = cell_of(p) else { continue };
            top[slot] = f64::max(top[slot], p[2]);
            detail[slot] += graph.area[i] * (graph.most_curved(i) - 0.15).clamp(0.0, 1.0);
            // Where triangles are longer than a cell, the surface between two places.
            for q in graph.near(i as u32).iter().filter(|j| **j as usize > i).map(|j| &local[*j as usize]) {
                let parts = (hypot(q[0] - p[0], q[1] - p[1]) / (0.5 * CELL_MM)).ceil();
                for k in 1..parts as usize {
                    let share = k as f64 / parts;
                    let between = [0, 1, 2].map(|a| p[a] + share * (q[a] - p[a]));
                    if let Some(slot) = cell_of(&between).filter(|_| inside(&&between)) {
                        top[slot] = f64::max(top[slot], between[2]);
                    }
                }
            }
        }
        for p in local.iter().filter(|p| p[2] > DEPTHS_MM[1] + 2.0) {
            // What stands over the teeth hides them; it is no arch.
            if let Some(slot) = cell_of(p) {
                top[slot] = floor;
                detail[slot] = 0.0;
            }
        }
        Some(Plan { low, size, top, detail })
    }

    fn evidence(&self, rise: Rise) -> Evidence<'_> {
        let rises = rises(&self.top, self.size, rise);
        let value = rises.iter().zip(&self.detail).map(|(r, d)| 0.7 * r + 0.3 * d.min(1.0)).collect();
        Evidence { plan: self, value }
    }
}

/// What speaks for the arch at each cell of a plan, 0 to 1.
struct Evidence<'a> {
    plan: &'a Plan,
    value: Vec<f64>,
}

impl Evidence<'_> {
    /// Mean over a square of 3 cells.
    fn at(&self, p: [f64; 2]) -> f64 {
        let Plan { low, size, .. } = self.plan;
        let cell = [0, 1].map(|k| ((p[k] - low[k]) / CELL_MM).floor() as i64);
        let mut sum = 0.0;
        for (dx, dy) in (-1..=1).flat_map(|x| (-1..=1).map(move |y| (x, y))) {
            let (i, j) = (cell[0] + dx, cell[1] + dy);
            if i >= 0 && j >= 0 && (i as usize) < size[0] && (j as usize) < size[1] {
                sum += self.value[j as usize * size[0] + i as usize];
            }
        }
        sum / 9.0
    }
}

/// How much each cell stands out of what lies within the disc around it, 0 to 1; `top` is the floor where nothing lies.
fn rises(top: &[f64], size: [usize; 2], rise: Rise) -> Vec<f64> {
    let floor = DEPTHS_MM[0];
    if rise == Rise::Whole {
        let opened = disc(&disc(top, size, false), size, true);
        return top.iter().zip(&opened).map(|(t, o)| ((t - o) / RISE_MM).clamp(0.0, 1.0)).collect();
    }
    let blank = DEPTHS_MM[1] + 1.0;
    let surface: Vec<f64> = top.iter().map(|t| if *t <= floor { blank } else { *t }).collect();
    let least: Vec<f64> =
        disc(&surface, size, false).into_iter().map(|t| if t >= blank { floor } else { t }).collect();
    let (opened, highest) = (disc(&least, size, true), disc(top, size, true));
    let share = |k: usize| (top[k] - opened[k]) / (FULL_SHARE * (highest[k] - opened[k]).max(RISE_MM));
    (0..top.len()).map(|k| if top[k] <= floor { 0.0 } else { share(k).clamp(0.0, 1.0) }).collect()
}

/// Greatest (or least) value within a disc around each cell.
fn disc(values: &[f64], size: [usize; 2], greatest: bool) -> Vec<f64> {
    let reach = (DISC_MM / CELL_MM) as i64;
    let half: Vec<i64> = (-reach..=reach).map(|d| ((reach * reach - d * d) as f64).sqrt() as i64).collect();
    let better = |a: f64, b: f64| if greatest { a.max(b) } else { a.min(b) };
    let mut result = vec![0.0; values.len()];
    for j in 0..size[1] as i64 {
        for i in 0..size[0] as i64 {
            let mut best: Option<f64> = None;
            for (d, h) in (-reach..=reach).zip(&half) {
                let y = j + d;
                if y < 0 || y >= size[1] as i64 {
                    continue;
                }
                let (from, to) = ((i - h).max(0), (i + h).min(size[0] as i64 - 1));
                for x in from..=to {
                    let value = values[y as usize * size[0] + x as usize];
                    best = Some(best.map_or(value, |b| better(b, value)));
                }
            }
            result[j as usize * size[0] + i as usize] = best.unwrap_or(0.0);
        }
    }
    result
}

/// The course of the arch on a cast with a known frame, by each way of measuring a rise that gives one; `local` are the places
/// in it.
pub fn by_rises(graph: &Graph, local: &[[f64; 3]], frame: &Frame, arch: Arch, rises: &[Rise]) -> Vec<Course> {
    let Some(plan) = Plan::new(graph, local) else { return Vec::new() };
    let depth = if arch == Arch::Mandible { 20.0 } else { 22.0 };
    let form = ArchFit::over(arch, frame.occlusal, &frame.anterior, &frame.origin, depth);
    let average: Vec<[f64; 2]> = form
        .curve(STEP_MM)
        .iter()
        .map(|p| {
            let l = frame.local(p);
            [l[0], l[1]]
        })
        .collect();
    let course = |rise: &Rise| {
        let evidence = plan.evidence(*rise);
        let bent = bent(&evidence, &laid_over(&evidence, &average));
        Course::new(&smoothed(&smoothed(&bent, 6), 6))
    };
    rises.iter().filter_map(course).collect()
}

/// The average arch moved and stretched to where most speaks for it.
fn laid_over(evidence: &Evidence<'_>, average: &[[f64; 2]]) -> Vec<[f64; 2]> {
    // Ends of the form behind the second molars say little.
    let front = average.iter().map(|p| p[0]).fold(f64::NEG_INFINITY, f64::max);
    let moved = |shift: [f64; 2], scale: [f64; 2]| -> Vec<[f64; 2]> {
        average
            .iter()
            .map(|p| [front + (p[0] - front) * scale[0] + shift[0], p[1] * scale[1] + shift[1]])
            .collect()
    };
    let score = |curve: &[[f64; 2]]| -> f64 {
        let shown = curve.iter().step_by(2).filter(|p| p[0] > front - 45.0);
        let (sum, count) = shown.fold((0.0, 0.0), |(s, n), p| (s + evidence.at(*p), n + 1.0));
        sum / f64::max(count, 1.0)
    };
    let mut best = (moved([0.0; 2], [1.0; 2]), f64::NEG_INFINITY);
    for (deep, wide) in
        [0.85, 0.95, 1.05, 1.15].iter().flat_map(|d| [0.85, 0.95, 1.05, 1.15].map(|w| (*d, w)))
    {
        for (ahead, aside) in
            (-4..=4).flat_map(|a| (-2..=2).map(move |s| (2.0 * f64::from(a), 1.5 * f64::from(s))))
        {
            let curve = moved([ahead, aside], [deep, wide]);
            let value = score(&curve) - 0.002 * (ahead.abs() + aside.abs());
            if value > best.1 {
                best = (curve, value);
            }
        }
    }
    best.0
}

/// The curve bent sideways to the line of greatest evidence: stations square to it, dynamic programming along it.
fn bent(evidence: &Evidence<'_>, curve: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let n = curve.len();
    let side = |i: usize| {
        let (a, b) = (curve[i.saturating_sub(3)], curve[(i + 3).min(n - 1)]);
        let length = square(a, b).sqrt().max(1e-9);
        [(b[1] - a[1]) / length, -(b[0] - a[0]) / length]
    };
    let steps = (2.0 * ASIDE_MM / STEP_MM) as usize + 1;
    let off = |k: usize| k as f64 * STEP_MM - ASIDE_MM;
    let place = |i: usize, k: usize| {
        let s = side(i);
        [curve[i][0] + off(k) * s[0], curve[i][1] + off(k) * s[1]]
    };
    let value = |i: usize, k: usize| evidence.at(place(i, k)) - 0.002 * off(k) * off(k);
    let mut best: Vec<f64> = (0..steps).map(|k| value(0, k)).collect();
    let mut from: Vec<Vec<usize>> = Vec::with_capacity(n);
    for i in 1..n {
        let mut chosen = vec![0; steps];
        let next: Vec<f64> = (0..steps)
            .map(|k| {
                let (low, high) = (k.saturating_sub(2), (k + 2).min(steps - 1));
                let swerve = |j: usize| best[j] - 0.25 * (off(j) - off(k)) * (off(j) - off(k));
                let j = (low..=high)
                    .max_by(|&a, &b| swerve(a).total_cmp(&swerve(b)).then(b.cmp(&a)))
                    .unwrap_or(k);
                chosen[k] = j;
                swerve(j) + value(i, k)
            })
            .collect();
        best = next;
        from.push(chosen);
    }
    let mut k = (0..steps).max_by(|&a, &b| best[a].total_cmp(&best[b]).then(b.cmp(&a))).unwrap_or(steps / 2);
    let mut line = vec![place(n - 1, k)];
    for i in (1..n).rev() {
        k = from[i - 1][k];
        line.push(place(i - 1, k));
    }
    line.reverse();
    line
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A strip of crowns (top at 0) 6 mm wide along one axis, tissue 9 mm lower beside it up to 8 mm from its middle, then
    /// nothing.
    #[test]
    fn a_narrow_scan_stands_out_whole_and_only_its_crowns_do_as_a_share() {
        let size = [41, 31];
        let height = |i: i64| match (i - 20).abs() {
            0..=3 => 0.0,
            4..=8 => -9.0,
            _ => DEPTHS_MM[0],
        };
        let top: Vec<f64> = (0..size[1]).flat_map(|_| (0..size[0] as i64).map(height)).collect();
        let at = |values: &[f64], i: usize| values[15 * size[0] + i];
        let [whole, share] = Rise::ALL.map(|rise| rises(&top, size, rise));
        assert_eq!((at(&whole, 20), at(&share, 20)), (1.0, 1.0), "crowns");
        assert_eq!(at(&whole, 26), 1.0, "5 mm over nothing");
        assert_eq!(at(&share, 26), 0.0, "the lowest surface");
        assert_eq!((at(&whole, 2), at(&share, 2)), (0.0, 0.0), "nothing");
    }
}
