//! Which stretches of the arch hold a tooth, and which tooth: dynamic programming over the way along the course.

use std::ops::RangeInclusive;

use rayon::prelude::*;

use super::profile::{Profile, STEP_MM};
use crate::anatomy::arch_form::crown_width_mm;
use crate::case::{Arch, Tooth};

/// What is known about a row before it is read.
#[derive(Clone, Debug)]
pub struct Wanted {
    /// The arch.
    pub arch: Arch,
    /// For each of the 16 places from the patient's right to left: whether a tooth stands there.
    pub stands: [Stands; 16],
    /// Whether the frame is sure before teeth are looked for.
    pub frame_sure: bool,
}

/// How far the middle of the row strays from the middle of a frame that is not sure, and of one that is, mm.
const MIDLINE_MM: [f64; 2] = [3.5, 2.0];

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
        Wanted { arch, stands: [Stands::Open; 16], frame_sure: true }
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
const THIRD_MOLAR: f64 = 5.0;
/// Mean presence that such a third molar shows, and the cost of falling short of it by one.
const THIRD_PRESENCE: f64 = 0.9;
const THIRD_FAINT: f64 = 12.0;
/// How many spreads the middle of a tooth strays from its average place at most.
const FARTHEST: f64 = 5.0;
/// Scales of the average widths that are tried, with the spread that they have among people.
const SCALES: [f64; 5] = [0.88, 0.94, 1.0, 1.06, 1.12];
const SCALE_SPREAD: f64 = 0.06;
/// Shifts of the middle of the row from the middle of the arch that are tried, in spreads of the midline; those over one
/// and a half only to see whether the teeth could bear other numbers.
const SHIFTS: [f64; 9] = [-3.0, -2.25, -1.5, -0.75, 0.0, 0.75, 1.5, 2.25, 3.0];

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
    /// What it costs: lower is a better fit.
    pub cost: f64,
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
    let pairs: Vec<(f64, f64)> = SCALES.iter().flat_map(|a| SHIFTS.map(|b| (*a, b))).collect();
    let rows: Vec<(Vec<Stretch>, f64)> = pairs
        .par_iter()
        .map(|&(scale, shift)| {
            let shift_mm = shift * MIDLINE_MM[usize::from(wanted.frame_sure)];
            let trial = Trial { profile, wanted, scale, shift: shift_mm, sum: &sum, there: &there };
            let (row, cost) = trial.row();
            let off = (scale - 1.0) / SCALE_SPREAD;
            (row, cost + off * off / 2.0 + shift * shift / 2.0)
        })
        .collect();
    let best = rows.iter().min_by(|a, b| a.1.total_cmp(&b.1));
    let Some((teeth, cost)) = best.filter(|b| b.1.is_finite()) else { return Row::default() };
    let others = rows.iter().filter(|(row, _)| otherwise(teeth, row)).map(|(_, c)| c - cost);
    Row { teeth: teeth.clone(), cost: *cost, lead: others.filter(|c| c.is_finite()).reduce(f64::min) }
}

/// By how much a row must fit better without the chart for the chart to be doubted.
const DOUBT: f64 = 6.0;

/// Where the scan fits the row read without the chart much better: the teeth that the chart calls missing and that this
/// row has. `None` where the chart fits.
pub fn against_chart(profile: &Profile, wanted: &Wanted, charted: &Row) -> Option<Vec<Tooth>> {
    let gone: Vec<Tooth> =
        (0..16).filter(|&k| wanted.stands[k] == Stands::No).filter_map(|k| wanted.tooth(k)).collect();
    if gone.is_empty() {
        return None;
    }
    let beyond = beyond(profile, wanted, &charted.teeth);
    if !beyond.is_empty() {
        return Some(beyond);
    }
    let open = read(profile, &Wanted { frame_sure: wanted.frame_sure, ..Wanted::open(wanted.arch) });
    (open.cost + DOUBT < charted.cost)
        .then(|| open.teeth.iter().map(|s| s.tooth).filter(|t| gone.contains(t)).collect())
}

/// Mean presence from which on a tooth stands behind the last one of the row.
const STANDS: f64 = 0.7;

/// Teeth next to the ends of a row that the chart calls missing and where something stands as high and curved as a
/// tooth. Third molars are left out: folds behind the last tooth look like one.
fn beyond(profile: &Profile, wanted: &Wanted, row: &[Stretch]) -> Vec<Tooth> {
    let place = |s: &Stretch| (0..16).find(|k| wanted.tooth(*k) == Some(s.tooth));
    let ends = [row.first().map(|s| (s, -1.0)), row.last().map(|s| (s, 1.0))];
    let next = |(s, side): (&Stretch, f64)| {
        let k = if side > 0.0 { place(s)? + 1 } else { place(s)?.checked_sub(1)? };
        let (tooth, width) = (wanted.tooth(k)?, crown_width_mm(wanted.arch, wanted.tooth(k)?.place()));
        let from = if side > 0.0 { s.ends[1] } else { s.ends[0] - width };
        let stands = profile.mean(from + 0.5, from + width - 0.5) > STANDS;
        (tooth.place() < 8 && wanted.stands[k] == Stands::No && stands).then_some(tooth)
    };
    ends.into_iter().flatten().filter_map(next).collect()
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
    fn stations(&self, k: usize) -> [RangeInclusive<usize>; 2] {
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

    /// What a tooth `k` costs over stations `a` to `b`.
    fn tooth_cost(&self, k: usize) -> impl Fn(usize, usize) -> f64 {
        let (width, middle, spread) = (self.width(k), self.middle(k), self.spread(k));
        let tolerance = 0.11 * width + 0.35;
        // By number of stations: the cost of the length, and the share of its presence that counts.
        let of_length: Vec<(f64, f64)> = (0..=(1.5 * width / STEP_MM) as usize)
            .map(|n| {
                let length = n as f64 * STEP_MM;
                let off = (length - width) / tolerance;
                (off * off / 2.0, PRESENCE * (width / length.max(STEP_MM)).min(1.0))
            })
            .collect();
        let unnamed_third = (k == 0 || k == 15) && self.wanted.stands[k] != Stands::Yes;
        let (profile, sum) = (self.profile, self.sum);
        move |a, b| {
            let (length, counted) = of_length[b - a];
            let aside = (profile.first + (a + b) as f64 / 2.0 * STEP_MM - middle) / spread;
            let present = sum[b] - sum[a];
            let cut = profile.cut.get(a).copied().unwrap_or(0.0) + profile.cut.get(b).copied().unwrap_or(0.0);
            let mut cost = length + aside * aside / 2.0 - CUT * cut / 2.0 - counted * present;
            if unnamed_third {
                let mean = present / ((b - a) as f64 * STEP_MM);
                cost += THIRD_MOLAR + THIRD_FAINT * (THIRD_PRESENCE - mean).max(0.0);
            }
            cost
        }
    }

    /// Cost of `from..to` without a tooth.
    fn empty(&self, from: usize, to: usize) -> f64 {
        PRESENCE * (self.there[to] - self.there[from])
    }

    /// The row that costs least, with its cost.
    fn row(&self) -> (Vec<Stretch>, f64) {
        let mut table = Table::new(self.profile.presence.len());
        for k in (0..16).filter(|&k| self.wanted.stands[k] != Stands::No) {
            let [starts, ends] = self.stations(k);
            let entries = self.entries(k, &starts, &table);
            let (width, tooth) = (self.width(k), self.tooth_cost(k));
            let (least, most) = ((0.55 * width / STEP_MM) as usize, (1.5 * width / STEP_MM) as usize);
            for b in ends.filter(|b| *b >= least) {
                let lengths = b.saturating_sub(most)..=b - least;
                for a in lengths.filter(|a| starts.contains(a)) {
                    let cost = entries[a].cost + tooth(a, b);
                    if cost < table.best[k][b] {
                        table.best[k][b] = cost;
                        table.from[k][b] = (a, entries[a].before);
                    }
                }
            }
        }
        match self.last(&table) {
            Some((cost, last)) => (self.traced(&table, last), cost),
            None => (Vec::new(), f64::INFINITY),
        }
    }

    /// By station: the least cost of everything before a tooth `k` that starts there.
    fn entries(&self, k: usize, starts: &RangeInclusive<usize>, table: &Table) -> Vec<Entry> {
        let skipped: f64 = (0..k).map(|j| self.skip(j)).sum();
        let first = |a| Entry { cost: skipped + OUTSIDE * self.empty(0, a), before: None };
        let mut entries: Vec<Entry> = (0..table.best[k].len()).map(first).collect();
        for j in 0..k {
            self.close_behind(j, k, starts, (table, &mut entries));
            self.far_behind(j, k, starts, (table, &mut entries));
        }
        entries
    }

    /// What skipping the teeth between two costs, and the width that they would take, mm.
    fn between(&self, j: usize, k: usize) -> (f64, f64) {
        ((j + 1..k).map(|i| self.skip(i)).sum(), (j + 1..k).map(|i| self.width(i)).sum())
    }

    /// Entries of `k` right behind `j`. Teeth that lack between two neighbours leave their width, or half of it where
    /// teeth moved together.
    fn close_behind(
        &self,
        j: usize,
        k: usize,
        starts: &RangeInclusive<usize>,
        (table, entries): (&Table, &mut [Entry]),
    ) {
        let (skipped, missing) = self.between(j, k);
        let [_, ends] = self.stations(j);
        let first = (*starts.start()).max(*ends.start());
        for a in first..=(*starts.end()).min(*ends.end() + CLOSE) {
            for b in a.saturating_sub(CLOSE)..=a {
                let gap = (a - b) as f64 * STEP_MM;
                let closed = 0.5 * (missing - gap).max(0.0);
                let cost = table.best[j][b] + skipped + 0.4 * gap + closed + self.empty(b, a);
                entries[a].lower(cost, (j, b));
            }
        }
    }

    /// Entries of `k` behind a gap after `j`.
    fn far_behind(
        &self,
        j: usize,
        k: usize,
        starts: &RangeInclusive<usize>,
        (table, entries): (&Table, &mut [Entry]),
    ) {
        let (skipped, missing) = self.between(j, k);
        // The end of `j` that costs least with what lies between it and the station.
        let mut least = (f64::INFINITY, 0);
        let [_, ends] = self.stations(j);
        for a in *ends.start() + CLOSE + 1..=*starts.end() {
            let b = a - CLOSE - 1;
            let cost = table.best[j][b] - PRESENCE * self.there[b];
            if cost < least.0 {
                least = (cost, b);
            }
            let gap = (a - least.1) as f64 * STEP_MM;
            let closed = 0.25 * (missing - gap).max(0.0);
            entries[a].lower(least.0 + PRESENCE * self.there[a] + skipped + GAP + closed, (j, least.1));
        }
    }

    /// The last tooth of the best row, as its number in the row and its end; with the cost of the row.
    fn last(&self, table: &Table) -> Option<(f64, (usize, usize))> {
        let mut found: Option<(f64, (usize, usize))> = None;
        for (k, best) in table.best.iter().enumerate() {
            let skipped: f64 = (k + 1..16).map(|j| self.skip(j)).sum();
            for (b, cost) in best.iter().enumerate() {
                let cost = cost + skipped + OUTSIDE * self.empty(b, best.len() - 1);
                if cost.is_finite() && found.is_none_or(|f| cost < f.0) {
                    found = Some((cost, (k, b)));
                }
            }
        }
        found
    }

    /// The row that ends with a tooth.
    fn traced(&self, table: &Table, last: (usize, usize)) -> Vec<Stretch> {
        let at = |s: usize| self.profile.first + s as f64 * STEP_MM;
        let (mut row, mut next) = (Vec::new(), Some(last));
        while let Some((k, b)) = next {
            let (a, before) = table.from[k][b];
            if let Some(tooth) = self.wanted.tooth(k) {
                let presence = (self.sum[b] - self.sum[a]) / ((b - a).max(1) as f64 * STEP_MM);
                row.push(Stretch { tooth, ends: [at(a), at(b)], presence });
            }
            next = before;
        }
        row.reverse();
        row
    }
}

/// Stations within which teeth stand in one row.
const CLOSE: usize = (CLOSE_MM / STEP_MM) as usize;

/// Everything before a tooth.
#[derive(Clone, Copy)]
struct Entry {
    cost: f64,
    /// The tooth before and its end.
    before: Option<(usize, usize)>,
}

impl Entry {
    fn lower(&mut self, cost: f64, before: (usize, usize)) {
        if cost < self.cost {
            *self = Entry { cost, before: Some(before) };
        }
    }
}

/// By last tooth and the station of its end.
struct Table {
    /// Least cost of such a row.
    best: Vec<Vec<f64>>,
    /// Start of that tooth, and the tooth before with its end.
    from: Vec<Vec<(usize, Option<(usize, usize)>)>>,
}

impl Table {
    fn new(stations: usize) -> Table {
        Table {
            best: vec![vec![f64::INFINITY; stations + 1]; 16],
            from: vec![vec![(0, None); stations + 1]; 16],
        }
    }
}

#[cfg(test)]
mod tests;
