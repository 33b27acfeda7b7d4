//! A notch in a profile: its shoulders, and the profile as it would run without it.

use super::relief::STEP_MM;

/// A profile of heights at even steps; `None` where there is no surface.
pub(super) type Profile = Vec<Option<f64>>;

/// A notch of a profile.
#[derive(Clone, Debug)]
pub(super) struct Notch {
    /// Its shoulders.
    pub shoulders: [Shoulder; 2],
    /// What the profile without it is like.
    pub flanks: Flanks,
}

/// What a profile without its notch is like between the flanks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Flanks {
    /// A valley between two cusps, or straight on.
    Valley,
    /// Straight on.
    Straight,
    /// Rounded, as an edge.
    Rounded,
}

impl Flanks {
    /// Sag as a share of slope times width; a parabola would sag by 1/4.
    fn sag(self) -> f64 {
        match self {
            Flanks::Valley => 0.0,
            Flanks::Straight => 0.0,
            Flanks::Rounded => 0.25,
        }
    }

    /// Most that the rounding of its corners has lowered a shoulder, mm.
    fn round_mm(self) -> f64 {
        if self == Flanks::Valley { 0.03 } else { 0.3 }
    }

    /// The slope that counts.
    fn counts(self, beyond: f64) -> f64 {
        beyond.clamp(-1.0, 1.0)
    }
}

/// A shoulder of a notch.
#[derive(Clone, Copy, Debug)]
pub(super) struct Shoulder {
    /// Its step.
    pub step: usize,
    /// Its height, mm.
    pub z: f64,
    /// Steepest slope of the wall between it and the notch, rising outward.
    pub wall: f64,
    /// Slope of the profile outside it, rising outward.
    pub beyond: f64,
}

impl Notch {
    /// Height at a step without the notch, mm.
    pub fn whole(&self, step: f64) -> f64 {
        let [a, b] = self.shoulders;
        let t = (step - a.step as f64) / (b.step as f64 - a.step as f64).max(1.0);
        let sag = self.flanks.sag() * (self.flanks.counts(a.beyond) + self.flanks.counts(b.beyond)) / 2.0
            * self.width_mm();
        a.z + t * (b.z - a.z) - sag * 4.0 * (t * (1.0 - t)).max(0.0)
    }
    /// Width between its shoulders, mm.
    pub fn width_mm(&self) -> f64 {
        (self.shoulders[1].step - self.shoulders[0].step) as f64 * STEP_MM
    }
}

/// The profile averaged over `radius` steps to both sides with weights that fall off.
pub(super) fn smooth(profile: &Profile, radius: usize) -> Profile {
    (0..profile.len())
        .map(|i| {
            profile[i]?;
            let (mut sum, mut weights) = (0.0, 0.0);
            // Even on both sides, so that a slope shifts nothing.
            let reach = (1..=radius)
                .take_while(|&k| {
                    i >= k && profile[i - k].is_some() && profile.get(i + k).is_some_and(Option::is_some)
                })
                .count();
            for k in i - reach..=i + reach {
                let w = (reach + 1 - k.abs_diff(i)) as f64;
                sum += w * profile[k]?;
                weights += w;
            }
            Some(sum / weights)
        })
        .collect()
}

/// Slope at a step over 0.24 mm to both sides.
fn slope(p: &Profile, i: usize) -> Option<f64> {
    const K: usize = 2;
    let (a, b) = ((*p.get(i.checked_sub(K)?)?)?, (*p.get(i + K)?)?);
    Some((b - a) / (2.0 * K as f64 * STEP_MM))
}

/// Second derivative at a step over 0.36 mm to both sides, 1/mm.
fn bend(p: &Profile, i: usize) -> Option<f64> {
    const K: usize = 3;
    let (a, m, b) = ((*p.get(i.checked_sub(K)?)?)?, (*p.get(i)?)?, (*p.get(i + K)?)?);
    Some((a + b - 2.0 * m) / (K as f64 * STEP_MM * (K as f64 * STEP_MM)))
}

/// Steps in so many mm.
pub(super) fn steps(mm: f64) -> usize {
    (mm / STEP_MM).round() as usize
}

/// Share of the sharpest bend of a flank from which a bend counts as the corner.
const KNEE: f64 = 0.3;

/// The shoulder on one side of `bottom` (`side` -1 or 1): beyond the steepest place of its wall, where the profile
/// bends down first.
fn shoulder(p: &Profile, bottom: usize, side: isize, (reach, round_mm): (usize, f64)) -> Option<Shoulder> {
    let at = |k: usize| bottom.checked_add_signed(side * k as isize).filter(|&i| i < p.len());
    let z = |k: usize| at(k).and_then(|i| p[i]);
    let rise = |k: usize| at(k).and_then(|i| slope(p, i)).map(|s| s * side as f64);
    let (mut low, mut top, mut end) = (f64::INFINITY, f64::NEG_INFINITY, 0);
    for k in 0..=reach + steps(1.6) {
        let Some(h) = z(k) else { break };
        if h < low {
            (low, top) = (h, h);
        }
        if h < top - 0.06 && top > low + 0.15 {
            break;
        }
        (top, end) = (top.max(h), k);
    }
    let slopes: Vec<(usize, f64)> = (0..=end.min(reach)).filter_map(|k| Some((k, rise(k)?))).collect();
    let steep = slopes.iter().map(|s| s.1).fold(f64::NEG_INFINITY, f64::max);
    // The end of the wall: the corner lies beyond what is nearly as steep as its steepest place.
    let wall = slopes.iter().rev().find(|s| s.1 >= steep - 0.15 * steep.abs())?.0;
    let bends: Vec<(usize, f64)> = (wall..=(wall + steps(1.6)).min(end + 2))
        .map_while(|k| Some((k, at(k).and_then(|i| bend(p, i))?)))
        .collect();
    let most = bends.iter().map(|b| b.1).fold(f64::INFINITY, f64::min);
    let first = (0..bends.len()).find(|&i| {
        let here = bends[i].1;
        here <= KNEE * most
            && (i == 0 || bends[i - 1].1 >= here)
            && bends.get(i + 1).is_none_or(|n| n.1 >= here)
    })?;
    let (k, _) = bends[first];
    let after: Vec<f64> = (4..=9).filter_map(|d| rise(k + d)).collect();
    let beyond = after.iter().sum::<f64>() / after.len().max(1) as f64;
    // The corner is rounded: its height is that of the flank beyond carried on to it.
    let flank = z(k + 3).zip(z(k + 6)).map(|(a, b)| a - (b - a).clamp(-0.1, 0.3));
    Some(Shoulder {
        step: at(k)?,
        z: flank.unwrap_or(z(k)?).clamp(z(k)?, z(k)? + round_mm),
        wall: steep,
        beyond,
    })
}

/// The notch whose deepest place is near `bottom`; `None` where a shoulder is not there.
pub(super) fn notch(p: &Profile, bottom: usize, reach_mm: f64, flanks: Flanks) -> Option<Notch> {
    let reach = (steps(reach_mm), flanks.round_mm());
    Some(Notch { shoulders: [shoulder(p, bottom, -1, reach)?, shoulder(p, bottom, 1, reach)?], flanks })
}

/// The step between `from` and `to` that lies deepest under the lower of the two heights beside it.
pub(super) fn basin(p: &Profile, from: usize, to: usize) -> Option<usize> {
    let (from, to) = (from, to.min(p.len().saturating_sub(1)));
    let known: Vec<(usize, f64)> = (from..=to).filter_map(|i| Some((i, p[i]?))).collect();
    let highest = |of: &[(usize, f64)]| of.iter().map(|k| k.1).fold(f64::NEG_INFINITY, f64::max);
    (0..known.len())
        .map(|k| (known[k].0, highest(&known[..=k]).min(highest(&known[k..])) - known[k].1))
        .max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)))
        .map(|b| b.0)
}

/// How deep a step lies under the lower of the two heights beside it, mm.
pub(super) fn basin_mm(p: &Profile, at: usize, from: usize, to: usize) -> Option<f64> {
    let z = (*p.get(at)?)?;
    let highest = |a: usize, b: usize| {
        p.get(a..=b.min(p.len().saturating_sub(1)))
            .into_iter()
            .flatten()
            .flatten()
            .fold(f64::NEG_INFINITY, |m, z| m.max(*z))
    };
    Some(highest(from, at).min(highest(at, to)) - z)
}
