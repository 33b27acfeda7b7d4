//! The tissue of an arch: an alveolar process swept along the arch between the vestibule and the floor of the mouth or
//! the palate.

use super::arch::ArchForm;
use super::field::{Waves, Weights, bell, smax, smin, step};
use crate::space::{Point, cos, sin};

/// Levels of the alveolar process along the arch, each given at `s`.
#[derive(Clone, Debug, Default)]
pub struct Levels {
    /// Where the levels are given, ascending, mm along the arch.
    pub s: Vec<f64>,
    /// Height of the gingival margins, or where they would be, mm.
    pub margin: Vec<f64>,
    /// Height of the crest, mm.
    pub top: Vec<f64>,
    /// Half width just under the crest, mm.
    pub half: Vec<f64>,
    /// Rounding of the crest, mm.
    pub round: Vec<f64>,
    /// How far the crest stands buccal of the arch curve, mm.
    pub shift: Vec<f64>,
    /// How far the process moves buccally a mm of depth: over `flare` its lingual wall is undercut.
    pub lean: Vec<f64>,
    /// How much the half width grows a mm of depth.
    pub flare: Vec<f64>,
    /// Height of the vestibular sulcus, mm.
    pub vestibule: Vec<f64>,
    /// Height of the floor of the mouth; unused in a maxilla, mm.
    pub floor: Vec<f64>,
    /// Crest, half width and floor averaged over some teeth: far inside of the arch single teeth are not felt.
    wide: [Vec<f64>; 3],
    /// Mean height of the floor, mm.
    deep: f64,
}

impl Levels {
    /// Averages what is felt far from the process; call once the levels are given.
    pub fn smoothed(&mut self) {
        let average = |values: &[f64]| -> Vec<f64> {
            self.s
                .iter()
                .map(|at| {
                    let weights: Vec<f64> = self.s.iter().map(|s| bell((s - at) / 22.0) + 1e-6).collect();
                    let sum: f64 = weights.iter().sum();
                    weights.iter().zip(values).map(|(w, v)| w * v).sum::<f64>() / sum
                })
                .collect()
        };
        self.wide = [average(&self.top), average(&self.half), average(&self.floor)];
        self.deep = self.floor.iter().sum::<f64>() / self.floor.len().max(1) as f64;
    }
}

/// Form of a palate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Palate {
    /// Level from which the depth of the vault counts, own z, mm.
    pub level: f64,
    /// Depth of the vault, mm.
    pub depth: f64,
    /// Width over which the side of the vault goes down, mm.
    pub reach: f64,
    /// Height of the rugae, mm.
    pub rugae: f64,
    /// Where along y the rugae stand, as an angle.
    pub phase: f64,
    /// y behind which the cast ends, mm.
    pub end_y: f64,
    /// Whether the scan leaves the vault out.
    pub open: bool,
}

impl Palate {
    /// Height of rugae, papilla and raphe over the vault at a place.
    fn relief(&self, p: &Point) -> f64 {
        // Rugae: bowed ridges on both sides behind the incisors, running out toward the midline and backwards.
        let side = p.x.abs();
        let strength = bell((side - 7.0) / 7.4) * bell((-p.y - 15.5) / 11.0);
        let mut up = 0.0;
        if strength > 0.0 {
            // No two sides are equal, and a ruga wanders.
            let lean = if p.x < 0.0 { self.phase } else { 1.3 - self.phase };
            let bow = -p.y - 7.0 - 0.32 * side
                + 0.8 * sin(side * 0.55 + lean)
                + 0.7 * sin(p.y * 0.45 + 2.0 * lean)
                + 0.4 * lean;
            let breadth = 0.6 + 0.4 * sin(side * 0.75 + p.y * 0.8 + 3.0 * lean);
            let ridge = 0.5 + 0.5 * cos(bow * 1.6);
            up += self.rugae * strength * breadth * ridge * ridge * 1.25;
        }
        // Raphe and incisive papilla.
        up += 0.35 * bell(p.x / 1.6) * step(-8.0, -14.0, p.y);
        up + 1.2 * bell(p.x / 2.0) * bell((p.y + 6.5) / 3.6)
    }
}

/// The process at a place: its section square to the arch.
#[derive(Clone, Copy, Debug)]
pub(super) struct Section {
    /// Across, from the middle of the process at that depth, buccal positive, mm.
    pub x: f64,
    /// Half width at that depth, mm.
    pub half: f64,
    top: f64,
    vestibule: f64,
    floor: f64,
    round: f64,
    down: f64,
    /// How far inside of the process the place lies, felt widely, mm.
    pub from: f64,
    wide_top: f64,
}

/// What an alveolar process is made of.
#[derive(Clone, Debug)]
pub(super) struct Tissue<'c> {
    pub form: &'c ArchForm,
    pub levels: &'c Levels,
    pub palate: Option<&'c Palate>,
    pub waves: &'c Waves,
    pub ripples: &'c Waves,
    pub uneven: f64,
}

impl Tissue<'_> {
    pub(super) fn section(&self, p: &Point) -> Section {
        let place = self.form.place(p.x, p.y);
        let l = self.levels;
        let weights = Weights::at(&l.s, place.s);
        let at = |v: &[f64]| weights.of(v);
        let top = at(&l.top);
        let down = top - p.z;
        let d = down.clamp(0.0, 14.0);
        let x = place.t - at(&l.shift) - at(&l.lean) * d;
        let half = at(&l.half) + at(&l.flare) * d;
        let inside = self.form.inside_mm(p.x, p.y, place);
        let [wide_top, wide_half, wide_floor] = [0, 1, 2].map(|i| at(&l.wide[i]));
        let from = inside + at(&l.shift) - wide_half - 1.0;
        // Near the wall the floor is that of its own teeth, further in that of all.
        let near = step(13.0, 4.0, from);
        let far = step(7.0, 16.0, from);
        let inner = wide_floor + (l.deep - 1.5 - wide_floor) * far;
        let floor = near * at(&l.floor) + (1.0 - near) * inner;
        Section {
            x,
            half,
            top,
            vestibule: at(&l.vestibule),
            floor,
            round: at(&l.round),
            down,
            from,
            wide_top,
        }
    }

    /// Field of the process with its sulci, own position.
    pub(super) fn value(&self, p: &Point) -> f64 {
        let c = self.section(p);
        let process = smax((c.x.abs() - c.half) * 0.98, -c.down, c.round);
        let outer = c.vestibule + land(c.x - c.half - 2.5);
        let inner = match self.palate {
            Some(palate) if !palate.open => vault(palate, &c, p),
            _ => {
                let from = c.from - 1.0;
                c.floor + 0.5 * bell((from - 7.5) / 5.0)
            }
        };
        let side = step(-1.5, 1.5, c.x);
        let level = inner + (outer - inner) * side;
        let floor = (p.z - level) * 0.9;
        let f = smin(process, floor, 3.2);
        // Far from the surface unevenness changes nothing that counts, and it is dear: it fades out.
        let share = step(2.4, 1.0, f.abs());
        if share <= 0.0 {
            return f;
        }
        let rough = self.waves.at(p.x, p.y, p.z) + 0.22 * self.ripples.at(p.x, p.y, p.z);
        f + share * self.uneven * rough
    }
}

/// Height of the land beyond the vestibular sulcus, `out` mm from it: it rolls up, then runs out level.
fn land(out: f64) -> f64 {
    let out = out.max(0.0);
    1.9 * step(0.0, 6.5, out) - 0.06 * (out - 7.0).max(0.0)
}

/// Height of the palate.
fn vault(palate: &Palate, c: &Section, p: &Point) -> f64 {
    let down = step(-1.2, 1.0, (c.from + 1.0) / palate.reach);
    // Flatter in front, deepest at the molars.
    let depth = palate.depth * (0.72 + 0.28 * step(-8.0, -30.0, p.y));
    let side_level = c.top + (c.wide_top - c.top) * step(1.0, 9.0, c.from) - 2.4;
    side_level + (palate.level - depth - side_level) * down + palate.relief(p)
}
