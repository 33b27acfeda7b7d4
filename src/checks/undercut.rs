//! Check: Undercut of the abutments.

use super::{Check, Part};
use crate::facts::Facts;

/// The check.
pub const CHECK: Check = Check {
    id: "undercut",
    title: "Undercut of the abutments",
    measures: "",
    limits: &[],
    method: "undercut.md",
    run,
};

fn run(_facts: &Facts<'_>) -> Part {
    Part::default()
}
