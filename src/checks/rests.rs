//! Check: Rests.

use super::{Check, Part};
use crate::facts::Facts;

/// The check.
pub const CHECK: Check =
    Check { id: "rests", title: "Rests", measures: "", limits: &[], method: "rests.md", run };

fn run(_facts: &Facts<'_>) -> Part {
    Part::default()
}
