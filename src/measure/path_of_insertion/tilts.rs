//! The tilts that are tried.

use crate::space::{Tilt, cos, hypot, sin, tan};

/// Height of a row of a hexagonal grid over its spacing: sine of 60 degrees.
const ROW: f64 = 0.866_025_403_784_438_6;
/// No more rows either way than this, whatever the step.
const MOST_ROWS: f64 = 60.0;

/// Angle between a tilted direction and the occlusal normal, degrees.
pub(super) fn lean_deg(t: &Tilt) -> f64 {
    let slope = hypot(tan(t.anterior_deg.to_radians()), tan(t.left_deg.to_radians()));
    crate::space::atan2(slope, 1.0).to_degrees()
}

/// A hexagonal grid within a cone, row by row from posterior to anterior, each from the patient's right to left. It
/// holds zero tilt and is alike left and right.
pub(super) fn grid(cone_deg: f64, step_deg: f64) -> Vec<Tilt> {
    let step = step_deg.max(cone_deg / MOST_ROWS);
    let rows = (cone_deg / (ROW * step)).floor() as i64;
    let columns = (cone_deg / step).ceil() as i64;
    let mut all = Vec::new();
    for row in -rows..=rows {
        for column in -columns..=columns {
            let shift = if row.rem_euclid(2) == 1 { 0.5 } else { 0.0 };
            // Odd rows run from -columns - 0.5 to columns + 0.5.
            for half in if shift > 0.0 && column == -columns { vec![-shift, shift] } else { vec![shift] } {
                let left_deg = (column as f64 + half) * step;
                let tilt = Tilt { anterior_deg: row as f64 * ROW * step, left_deg };
                if lean_deg(&tilt) <= cone_deg + 1e-9 {
                    all.push(tilt);
                }
            }
        }
    }
    all
}

/// Six tilts about one.
pub(super) fn ring(about: &Tilt, step_deg: f64) -> Vec<Tilt> {
    (0..6)
        .map(|k| f64::from(k) * std::f64::consts::FRAC_PI_3)
        .map(|turn| Tilt {
            anterior_deg: about.anterior_deg + step_deg * sin(turn),
            left_deg: about.left_deg + step_deg * cos(turn),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_grid_fills_the_cone_evenly_and_is_alike_left_and_right() {
        let all = grid(15.0, 0.9);
        assert!(all.len() > 950 && all.len() < 1050, "{}", all.len());
        assert_eq!(all.iter().filter(|t| t.anterior_deg == 0.0 && t.left_deg == 0.0).count(), 1);
        assert!(all.iter().all(|t| lean_deg(t) <= 15.0 + 1e-9));
        for t in &all {
            let twin = Tilt { anterior_deg: t.anterior_deg, left_deg: -t.left_deg };
            assert!(all.contains(&twin), "{t:?}");
        }
        // No tilt of the cone is farther than the step from one of the grid.
        for k in 0..60 {
            let turn = f64::from(k) * 0.105;
            let t = Tilt { anterior_deg: 14.4 * sin(turn), left_deg: 14.4 * cos(turn) };
            if lean_deg(&t) > 15.0 {
                continue;
            }
            let near = |g: &Tilt| hypot(g.anterior_deg - t.anterior_deg, g.left_deg - t.left_deg);
            assert!(all.iter().map(near).fold(f64::INFINITY, f64::min) <= 0.9);
        }
        assert!(ring(&all[0], 0.3).iter().all(|r| {
            (hypot(r.anterior_deg - all[0].anterior_deg, r.left_deg - all[0].left_deg) - 0.3).abs() < 1e-12
        }));
    }
}
