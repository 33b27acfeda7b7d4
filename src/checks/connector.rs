//! Check: Where the connector may run.

use super::{Check, Part};
use crate::facts::Facts;

/// The check.
pub const CHECK: Check = Check {
    id: "connector",
    title: "Where the connector may run",
    measures: "",
    limits: &[],
    method: "connector.md",
    run,
};

fn run(_facts: &Facts<'_>) -> Part {
    Part::default()
}
