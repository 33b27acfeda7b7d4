//! Which stretches of the arch hold a tooth, and which tooth: dynamic programming over the way along the course.

use rayon::prelude::*;

use super::course::{Beside, Course};
use super::graph::Graph;
use crate::anatomy::arch_form::crown_width_mm;
use crate::case::{Arch, Tooth};
use crate::space::{Frame, Vector};

/// Spacing of the profiles along the course, mm.
const STEP_MM: f64 = 0.25;
/// Half width of the band about the course whose detail tells teeth from ridge, mm.
const BAND_MM: f64 = 7.0;
/// Greatest height over the occlusal plane that a tooth is taken to reach, mm; what stands higher is a fold of cheek or tongue.
pub(super) const HIGHEST_MM: f64 = 4.0;
/// Depth under the local top down to which it is looked at, mm.
const DEPTH_MM: f64 = 4.5;

/// What is known about a row before it is read.
#[derive(Clone, Debug)]
pub struct Wanted {
    /// The arch.
    pub arch: Arch,
    /// For each of the 16 places from the patient's right to left: whether a tooth stands there.
    pub stands: [Stands; 16],
}

/// Whether a tooth of the row stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stands {
    /// The chart says so.
    Yes,
    /// The chart says that it does not.
    No,
    /// Not told.
    Open,
}

impl Wanted {
    /// Nothing told.
    pub fn open(arch: Arch) -> Wanted {
        Wanted { arch, stands: [Stands::Open; 16] }
    }

    /// The tooth of a place of the row.
    pub fn tooth(&self, k: usize) -> Option<Tooth> {
        let along = k as i8 - 8;
        Tooth::at(self.arch, if along >= 0 { along + 1 } else { along })
    }
}

/// A stretch of the course that holds a tooth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stretch {
    /// Which.
    pub tooth: Tooth,
    /// From and to, mm from the midline, positive to the patient's left.
    pub ends: [f64; 2],
    /// Mean of the signs of a tooth over it, -1 to 1.
    pub presence: f64,
}

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
    first: f64,
    /// Signs of a tooth, -1 to 1.
    pub presence: Vec<f64>,
    /// How much a place falls short of the deepest crease across the arch within 3 mm, at most 0.
    pub cut: Vec<f64>,
    /// Detail.
    pub detail: Vec<f64>,
}

impl Profile {
    /// Profiles of a cast.
    pub fn new(graph: &Graph, layout: &Layout, frame: &Frame) -> Profile {
        let n = layout.top.len();
        let mut detail = vec![[0.0; 2]; n];
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
        let detail = spread(&|k| detail[k], 6);
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
                    ((detail[k] - DETAIL[0]) / DETAIL[1] - low).clamp(-1.0, 1.0)
                }
            })
            .collect();
        Profile { first: layout.first, presence, cut, detail }
    }
}

/// Detail under which a stretch looks like ridge, and by how much more it surely looks like a tooth, 1/mm. On labelled
/// scans and on the generator's casts teeth had at least 0.42, ridges at most 0.31.
const DETAIL: [f64; 2] = [0.42, 0.16];
/// Worth of a millimetre of presence under a tooth, and its cost between teeth.
const PRESENCE: f64 = 1.0;
/// The cost of presence before the first and behind the last tooth, as a share of that.
const OUTSIDE: f64 = 0.1;
/// Cost of an end of a tooth away from a crease, for 1/mm.
const CUT: f64 = 4.0;
/// Cost of a gap of more than `CLOSE_MM`.
const GAP: f64 = 2.0;
/// Teeth nearer together than this stand in one row, mm.
const CLOSE_MM: f64 = 2.0;
/// Cost of leaving out a tooth of which nothing is told, and one that the chart has.
const SKIP_OPEN: f64 = 1.5;
const SKIP_STANDING: f64 = 8.0;
/// Cost of a third molar that no chart names: folds behind the last molar look like one.
const THIRD_MOLAR: f64 = 3.0;
/// How many spreads the middle of a tooth strays from its average place at most.
const FARTHEST: f64 = 5.0;
/// Scales of the average widths that are tried, with the spread that they have among people.
const SCALES: [f64; 5] = [0.88, 0.94, 1.0, 1.06, 1.12];
const SCALE_SPREAD: f64 = 0.06;
/// Shifts of the middle of the row from the middle of the arch that are tried, mm; those over 3 mm only to see whether
/// the teeth could bear other numbers.
const SHIFTS_MM: [f64; 9] = [-6.0, -4.5, -3.0, -1.5, 0.0, 1.5, 3.0, 4.5, 6.0];

/// One row under a scale of the widths and a shift of the midline.
struct Trial<'a> {
    profile: &'a Profile,
    wanted: &'a Wanted,
    scale: f64,
    shift: f64,
    /// Prefix sums of presence, and of its positive part, mm.
    sum: &'a [f64],
    there: &'a [f64],
}

/// A row as it was read.
#[derive(Clone, Debug, Default)]
pub struct Row {
    /// Teeth from the patient's right to left.
    pub teeth: Vec<Stretch>,
    /// By how much the best row that numbers the same teeth otherwise costs more; `None` where none was found.
    pub lead: Option<f64>,
}

/// Reads the teeth of a row.
pub fn read(profile: &Profile, wanted: &Wanted) -> Row {
    let (mut sum, mut there) = (vec![0.0], vec![0.0]);
    for p in &profile.presence {
        sum.push(sum[sum.len() - 1] + p * STEP_MM);
        there.push(there[there.len() - 1] + p.max(0.0) * STEP_MM);
    }
    let pairs: Vec<(f64, f64)> = SCALES.iter().flat_map(|a| SHIFTS_MM.map(|b| (*a, b))).collect();
    let rows: Vec<(Vec<Stretch>, f64)> = pairs
        .par_iter()
        .map(|&(scale, shift)| {
            let trial = Trial { profile, wanted, scale, shift, sum: &sum, there: &there };
            let (row, cost) = trial.row();
            let off = (scale - 1.0) / SCALE_SPREAD;
            (row, cost + off * off / 2.0 + shift * shift / 8.0)
        })
        .collect();
    let best = rows.iter().min_by(|a, b| a.1.total_cmp(&b.1));
    let Some((teeth, cost)) = best.filter(|b| b.1.is_finite()) else { return Row::default() };
    let others = rows.iter().filter(|(row, _)| otherwise(teeth, row)).map(|(_, c)| c - cost);
    Row { teeth: teeth.clone(), lead: others.filter(|c| c.is_finite()).reduce(f64::min) }
}

/// Whether a row gives at least a third of the teeth of another a different number.
fn otherwise(teeth: &[Stretch], row: &[Stretch]) -> bool {
    let middle = |s: &Stretch| (s.ends[0] + s.ends[1]) / 2.0;
    let changed = teeth.iter().filter(|s| {
        let same = row.iter().find(|r| (middle(r) - middle(s)).abs() < 0.4 * (s.ends[1] - s.ends[0]));
        same.is_some_and(|r| r.tooth != s.tooth)
    });
    3 * changed.count() >= teeth.len().max(1)
}

impl Trial<'_> {
    fn width(&self, k: usize) -> f64 {
        let place = if k < 8 { 8 - k } else { k - 7 } as u8;
        self.scale * crown_width_mm(self.wanted.arch, place)
    }

    /// Middle of a tooth of the average row, mm from the midline.
    fn middle(&self, k: usize) -> f64 {
        let inner: f64 =
            if k < 8 { (k + 1..8).map(|j| self.width(j)).sum() } else { (8..k).map(|j| self.width(j)).sum() };
        let middle = inner + self.width(k) / 2.0;
        self.shift + if k < 8 { -middle } else { middle }
    }

    /// How far its middle strays, mm.
    fn spread(&self, k: usize) -> f64 {
        2.0 + 0.05 * self.middle(k).abs()
    }

    /// Stations between which a tooth may start, and may end: its middle strays by no more than `FARTHEST` spreads.
    fn stations(&self, k: usize) -> [std::ops::RangeInclusive<usize>; 2] {
        let n = self.profile.presence.len();
        let (reach, half) = (FARTHEST * self.spread(k), 0.75 * self.width(k));
        let middle = self.middle(k) - self.profile.first;
        let at = |way: f64| ((way / STEP_MM).max(0.0) as usize).min(n);
        [at(middle - reach - half)..=at(middle + reach), at(middle - reach)..=at(middle + reach + half)]
    }

    fn skip(&self, k: usize) -> f64 {
        match self.wanted.stands[k] {
            Stands::Yes => SKIP_STANDING,
            Stands::No => 0.0,
            Stands::Open if k == 0 || k == 15 => 0.0,
            Stands::Open => SKIP_OPEN,
        }
    }

    /// Cost of a tooth over stations `a` to `b`.
    fn tooth(&self, k: usize, a: usize, b: usize) -> f64 {
        let (length, width) = ((b - a) as f64 * STEP_MM, self.width(k));
        let off = (length - width) / (0.11 * width + 0.35);
        let middle = self.profile.first + (a + b) as f64 / 2.0 * STEP_MM;
        let aside = (middle - self.middle(k)) / self.spread(k);
        let third =
            if (k == 0 || k == 15) && self.wanted.stands[k] != Stands::Yes { THIRD_MOLAR } else { 0.0 };
        let cut = |s: usize| self.profile.cut.get(s).copied().unwrap_or(0.0);
        third + off * off / 2.0 + aside * aside / 2.0
            - CUT * (cut(a) + cut(b)) / 2.0
            - PRESENCE * (self.sum[b] - self.sum[a])
    }

    /// Cost of `from..to` without a tooth.
    fn empty(&self, from: usize, to: usize) -> f64 {
        PRESENCE * (self.there[to] - self.there[from])
    }

    fn row(&self) -> (Vec<Stretch>, f64) {
        let n = self.profile.presence.len();
        // best[k][b]: least cost of a row whose last tooth is k and ends at station b; from[k][b]: its start and the tooth before.
        let mut best = vec![vec![f64::INFINITY; n + 1]; 16];
        let mut from: Vec<Vec<(usize, Option<(usize, usize)>)>> = vec![vec![(0, None); n + 1]; 16];
        let close = (CLOSE_MM / STEP_MM) as usize;
        for k in 0..16 {
            if self.wanted.stands[k] == Stands::No {
                continue;
            }
            let [starts, ends] = self.stations(k);
            // entry[a]: least cost of everything before a tooth that starts at a.
            let skipped: f64 = (0..k).map(|j| self.skip(j)).sum();
            let mut entry: Vec<(f64, Option<(usize, usize)>)> =
                (0..=n).map(|a| (skipped + OUTSIDE * self.empty(0, a), None)).collect();
            for j in 0..k {
                let between: f64 = (j + 1..k).map(|i| self.skip(i)).sum();
                let missing: f64 = (j + 1..k).map(|i| self.width(i)).sum();
                let mut far: (f64, usize) = (f64::INFINITY, 0);
                for a in 0..=*starts.end() {
                    for b in (a.saturating_sub(close)..=a).filter(|_| starts.contains(&a)) {
                        // Teeth that lack between two neighbours leave their width, or half of it where teeth moved together.
                        let gap = (a - b) as f64 * STEP_MM;
                        let closed = 0.5 * (missing - gap).max(0.0);
                        let cost = best[j][b] + between + 0.4 * gap + closed + self.empty(b, a);
                        if cost < entry[a].0 {
                            entry[a] = (cost, Some((j, b)));
                        }
                    }
                    if a > close {
                        let b = a - close - 1;
                        let cost = best[j][b] - PRESENCE * self.there[b];
                        if cost < far.0 {
                            far = (cost, b);
                        }
                        let gap = (a - far.1) as f64 * STEP_MM;
                        let closed = 0.25 * (missing - gap).max(0.0);
                        let cost = far.0 + PRESENCE * self.there[a] + between + GAP + closed;
                        if cost < entry[a].0 {
                            entry[a] = (cost, Some((j, far.1)));
                        }
                    }
                }
            }
            let width = self.width(k);
            let (least, most) = ((0.55 * width / STEP_MM) as usize, (1.5 * width / STEP_MM) as usize);
            for b in ends.filter(|b| *b >= least) {
                for a in b.saturating_sub(most)..=b - least {
                    if !starts.contains(&a) {
                        continue;
                    }
                    let cost = entry[a].0 + self.tooth(k, a, b);
                    if cost < best[k][b] {
                        best[k][b] = cost;
                        from[k][b] = (a, entry[a].1);
                    }
                }
            }
        }
        let mut end: Option<(f64, usize, usize)> = None;
        for k in 0..16 {
            let skipped: f64 = (k + 1..16).map(|j| self.skip(j)).sum();
            for b in 0..=n {
                let cost = best[k][b] + skipped + OUTSIDE * self.empty(b, n);
                if cost.is_finite() && end.is_none_or(|e| cost < e.0) {
                    end = Some((cost, k, b));
                }
            }
        }
        let Some((cost, mut k, mut b)) = end else { return (Vec::new(), f64::INFINITY) };
        let mut row = Vec::new();
        loop {
            let (a, before) = from[k][b];
            let at = |s: usize| self.profile.first + s as f64 * STEP_MM;
            if let Some(tooth) = self.wanted.tooth(k) {
                let presence = (self.sum[b] - self.sum[a]) / ((b - a).max(1) as f64 * STEP_MM);
                row.push(Stretch { tooth, ends: [at(a), at(b)], presence });
            }
            match before {
                Some((j, e)) => (k, b) = (j, e),
                None => break,
            }
        }
        row.reverse();
        (row, cost)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A row of teeth of `scale` times the average widths, shifted, with creases at their ends.
    fn profile(arch: Arch, scale: f64, shift: f64, stands: &dyn Fn(Tooth) -> bool) -> Profile {
        let first = -70.0;
        let n = (140.0 / STEP_MM) as usize;
        let (mut presence, mut cut) = (vec![-1.0; n], vec![-0.6; n]);
        for along in (-8..=8i8).filter(|a| *a != 0) {
            let inner: f64 = (1..along.unsigned_abs()).map(|p| scale * crown_width_mm(arch, p)).sum();
            let width = scale * crown_width_mm(arch, along.unsigned_abs());
            if !stands(Tooth::at(arch, along).unwrap()) {
                continue;
            }
            let ends = if along > 0 { [inner, inner + width] } else { [-inner - width, -inner] };
            let [a, b] = ends.map(|e| (((e + shift - first) / STEP_MM).round()) as usize);
            presence[a..b].iter_mut().for_each(|p| *p = 1.0);
            cut[a] = 0.0;
            cut[b] = 0.0;
        }
        Profile { first, detail: presence.clone(), presence, cut }
    }

    fn numbers(row: &Row) -> Vec<u8> {
        row.teeth.iter().map(|s| s.tooth.number()).collect()
    }

    #[test]
    fn a_row_with_gaps_is_numbered_with_and_without_the_chart() {
        for (arch, missing) in
            [(Arch::Mandible, vec![36, 37, 45]), (Arch::Maxilla, vec![15, 24, 25]), (Arch::Mandible, vec![])]
        {
            let stands = |t: Tooth| t.place() < 8 && !missing.contains(&t.number());
            for (scale, shift) in [(1.0, 0.0), (0.93, 1.2), (1.08, -1.0)] {
                let profile = profile(arch, scale, shift, &stands);
                let mut wanted = Wanted::open(arch);
                let expected: Vec<u8> = (0..16)
                    .filter_map(|k| wanted.tooth(k))
                    .filter(|t| stands(*t))
                    .map(|t| t.number())
                    .collect();
                assert_eq!(numbers(&read(&profile, &wanted)), expected, "{arch:?} {scale} {shift}");
                for k in 0..16 {
                    let tooth = wanted.tooth(k).unwrap();
                    wanted.stands[k] = if stands(tooth) { Stands::Yes } else { Stands::No };
                }
                let row = read(&profile, &wanted);
                assert_eq!(numbers(&row), expected);
                let s = row.teeth.iter().find(|s| s.tooth.place() == 1).unwrap();
                let wide = scale * crown_width_mm(arch, 1);
                assert!(
                    (s.ends[1] - s.ends[0] - wide).abs() < 0.6,
                    "ends stand in the creases: {:?}",
                    s.ends
                );
            }
        }
    }

    #[test]
    fn a_bare_ridge_has_no_teeth_and_a_row_that_may_be_off_by_one_says_so() {
        let bare = profile(Arch::Mandible, 1.0, 0.0, &|_| false);
        let found = read(&bare, &Wanted::open(Arch::Mandible));
        assert!(found.teeth.iter().all(|s| s.presence < 0.0), "nothing that stands is claimed");
        // Four lower front teeth of nearly one width, half a tooth aside: left or right of the middle is a toss.
        let aside = profile(Arch::Mandible, 1.0, 2.6, &|t| t.place() <= 2);
        let whole = profile(Arch::Mandible, 1.0, 0.0, &|t| t.place() <= 7);
        let lead = |p: &Profile| read(p, &Wanted::open(Arch::Mandible)).lead.unwrap_or(f64::MAX);
        assert!(lead(&aside) < 3.0, "{}", lead(&aside));
        assert!(lead(&whole) > 6.0, "{}", lead(&whole));
    }
}
