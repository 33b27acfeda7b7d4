//! The search on casts whose best tilt is known.

use super::*;

/// Settings of the trials.
pub(super) fn limits(scan_mm: f64) -> Limits {
    Limits {
        cone_deg: 15.0,
        step_deg: 1.5,
        tip_above_margin_mm: 1.0,
        ceiling_mm: 0.762,
        guiding_deg: [2.0, 5.0],
        guiding_height_mm: [1.5, 2.0],
        band_mm: [3.0, 8.0],
        palatal_border_mm: 6.0,
        scan_mm,
        reduced_within_mm: 0.02,
    }
}
