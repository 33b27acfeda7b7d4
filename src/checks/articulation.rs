//! Check: How the arches stand to each other.

use super::{Check, Part};
use crate::facts::Facts;

/// The check.
pub const CHECK: Check = Check {
    id: "articulation",
    title: "How the arches stand to each other",
    measures: "",
    limits: &[],
    method: "articulation.md",
    run,
};

fn run(_facts: &Facts<'_>) -> Part {
    Part::default()
}
