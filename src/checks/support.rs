//! Check: Hinged or rigid.

use super::{Check, Part};
use crate::facts::Facts;

/// The check.
pub const CHECK: Check =
    Check { id: "support", title: "Hinged or rigid", measures: "", limits: &[], method: "support.md", run };

fn run(_facts: &Facts<'_>) -> Part {
    Part::default()
}
