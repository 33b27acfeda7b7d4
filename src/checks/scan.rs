//! Check: The scans.

use super::{Check, Part};
use crate::facts::Facts;

/// The check.
pub const CHECK: Check =
    Check { id: "scan", title: "The scans", measures: "", limits: &[], method: "scan.md", run };

fn run(_facts: &Facts<'_>) -> Part {
    Part::default()
}
