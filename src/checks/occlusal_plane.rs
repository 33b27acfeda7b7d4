//! Check: Occlusal plane.

use super::{Check, Part};
use crate::facts::Facts;

/// The check.
pub const CHECK: Check = Check {
    id: "occlusal_plane",
    title: "Occlusal plane",
    measures: "",
    limits: &[],
    method: "occlusal_plane.md",
    run,
};

fn run(_facts: &Facts<'_>) -> Part {
    Part::default()
}
