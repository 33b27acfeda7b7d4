//! Check: Classification.

use super::{Check, Part};
use crate::facts::Facts;

/// The check.
pub const CHECK: Check = Check {
    id: "classification",
    title: "Classification",
    measures: "",
    limits: &[],
    method: "classification.md",
    run,
};

fn run(_facts: &Facts<'_>) -> Part {
    Part::default()
}
