//! Check: The hinge.

use super::{Check, Part};
use crate::facts::Facts;

/// The check.
pub const CHECK: Check =
    Check { id: "hinge", title: "The hinge", measures: "", limits: &[], method: "hinge.md", run };

fn run(_facts: &Facts<'_>) -> Part {
    Part::default()
}
