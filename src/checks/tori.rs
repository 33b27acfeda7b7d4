//! Check: Tori.

use super::{Check, Part};
use crate::facts::Facts;

/// The check.
pub const CHECK: Check =
    Check { id: "tori", title: "Tori", measures: "", limits: &[], method: "tori.md", run };

fn run(_facts: &Facts<'_>) -> Part {
    Part::default()
}
