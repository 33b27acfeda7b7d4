//! Colours of measured values: cividis, perceptually even and readable with a colour vision deficiency.
//!
//! Anchors of the published map (Nuñez, Anderton, Renslow, PLoS One 2018;13:e0199239; values public domain), 17 of 256,
//! joined by straight lines: at most 3 of 255 away from the full table.

/// A colour, 0 to 255.
pub type Rgb = [u8; 3];

/// Surface that was not measured.
pub const NOT_MEASURED: Rgb = [176, 176, 176];
/// Surface without a value to show, such as free surface: plaster.
pub const PLAIN: Rgb = [226, 221, 210];

const ANCHORS: [[f64; 3]; 17] = [
    [0.0, 34.0, 78.0],
    [0.0, 46.0, 106.0],
    [26.0, 56.0, 111.0],
    [50.0, 67.0, 109.0],
    [67.0, 78.0, 108.0],
    [83.0, 90.0, 109.0],
    [97.0, 101.0, 111.0],
    [111.0, 112.0, 115.0],
    [125.0, 124.0, 120.0],
    [140.0, 136.0, 120.0],
    [155.0, 148.0, 118.0],
    [171.0, 160.0, 114.0],
    [188.0, 174.0, 108.0],
    [205.0, 187.0, 99.0],
    [222.0, 201.0, 88.0],
    [240.0, 216.0, 70.0],
    [254.0, 232.0, 56.0],
];

/// The colour at `share` of the scale, 0 (dark blue) to 1 (yellow); outside, its ends.
pub fn cividis(share: f64) -> Rgb {
    let last = ANCHORS.len() - 1;
    let at = share.clamp(0.0, 1.0) * last as f64;
    let low = (at as usize).min(last - 1);
    let part = at - low as f64;
    let (a, b) = (ANCHORS[low], ANCHORS[low + 1]);
    [0, 1, 2].map(|k| (a[k] + (b[k] - a[k]) * part).round() as u8)
}

/// A scale from `least` to `most` of a value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scale {
    /// Value at the dark end.
    pub least: f64,
    /// Value at the light end.
    pub most: f64,
}

impl Scale {
    /// Undercut depth, mm: the light end is a deep undercut by the gauges in use.
    pub const UNDERCUT: Scale = Scale { least: 0.0, most: 1.0 };
    /// Distance between the arches, mm.
    pub const DISTANCE: Scale = Scale { least: 0.0, most: 10.0 };

    /// Gap between a framework and the cast, mm.
    pub const GAP: Scale = Scale { least: 0.0, most: 1.0 };
    /// Thickness of a framework, mm.
    pub const THICKNESS: Scale = Scale { least: 0.0, most: 2.0 };

    /// The colour of a value.
    pub fn colour(&self, value: f64) -> Rgb {
        cividis((value - self.least) / (self.most - self.least))
    }
}

/// Colour of an undercut depth: plaster where free, grey where not measured.
pub fn undercut(depth_mm: Option<f64>) -> Rgb {
    match depth_mm {
        None => NOT_MEASURED,
        Some(d) if d <= 0.0 => PLAIN,
        Some(d) => Scale::UNDERCUT.colour(d),
    }
}

/// Colour of a distance: grey where nothing is there.
pub fn distance(mm: Option<f64>) -> Rgb {
    mm.map_or(NOT_MEASURED, |d| Scale::DISTANCE.colour(d))
}

/// Change at which the two-sided scale ends, mm.
pub const CHANGE_MOST_MM: f64 = 2.0;

/// Five of the eleven steps of the two-sided scale PuOr (Brewer, colorbrewer2.org; readable with a colour vision
/// deficiency): violet below, nearly white at none, brown above.
const TWO_SIDED: [[f64; 3]; 5] = [
    [45.0, 0.0, 75.0],
    [128.0, 115.0, 172.0],
    [247.0, 247.0, 247.0],
    [224.0, 130.0, 20.0],
    [127.0, 59.0, 8.0],
];

/// Colour of a signed change: grey where not measured.
pub fn change(mm: Option<f64>) -> Rgb {
    let Some(mm) = mm else { return NOT_MEASURED };
    let at = (mm / CHANGE_MOST_MM).clamp(-1.0, 1.0) * 2.0 + 2.0;
    let low = (at as usize).min(TWO_SIDED.len() - 2);
    let part = at - low as f64;
    let (a, b) = (TWO_SIDED[low], TWO_SIDED[low + 1]);
    [0, 1, 2].map(|k| (a[k] + (b[k] - a[k]) * part).round() as u8)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_scale_grows_lighter_all_the_way() {
        let light = |c: Rgb| 0.2126 * f64::from(c[0]) + 0.7152 * f64::from(c[1]) + 0.0722 * f64::from(c[2]);
        let steps: Vec<f64> = (0..=64).map(|i| light(cividis(f64::from(i) / 64.0))).collect();
        assert!(steps.windows(2).all(|w| w[1] > w[0]), "{steps:?}");
        assert_eq!(cividis(-3.0), [0, 34, 78]);
        assert_eq!(cividis(9.0), [254, 232, 56]);
    }

    #[test]
    fn a_change_is_darker_both_ways_and_white_at_none() {
        assert_eq!(change(Some(0.0)), [247, 247, 247]);
        assert_eq!(change(Some(-9.0)), [45, 0, 75]);
        assert_eq!(change(Some(9.0)), [127, 59, 8]);
        assert_eq!(change(None), NOT_MEASURED);
        let light = |mm: f64| change(Some(mm)).iter().map(|c| u32::from(*c)).sum::<u32>();
        for k in 0..20 {
            let (a, b) = (0.1 * f64::from(k), 0.1 * f64::from(k + 1));
            assert!(light(b) < light(a) && light(-b) < light(-a));
        }
    }

    #[test]
    fn free_and_not_measured_differ() {
        assert_ne!(undercut(Some(0.0)), undercut(None));
        assert_eq!(distance(None), NOT_MEASURED);
    }
}
