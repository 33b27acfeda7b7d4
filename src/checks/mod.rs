//! The table of checks. A check reads facts, estimates, judges, and returns its part of the report.

mod antagonist;
mod articulation;
pub mod blockout;
pub(crate) mod clasp_arms;
mod classification;
mod connector;
mod hinge;
mod indications;
mod occlusal_plane;
mod palate;
pub(crate) mod path;
mod rests;
mod ridge;
pub(crate) mod room;
mod scan;
mod seats;
mod support;
mod teeth;
#[cfg(test)]
mod test_cases;
mod tori;
pub mod undercut;

pub(crate) use connector::borders as connector_borders;

use crate::facts::Facts;
use crate::report::{
    AbutmentShown, BlockoutShown, ConnectorShown, Finding, Mechanics, Preparation, Question, Section,
    SpanShown, TorusShown,
};

/// One check. Help, `explain`, report sections and `docs/checks.md` come from this table.
#[derive(Debug)]
pub struct Check {
    /// Its id, as `explain` takes it and findings name it.
    pub id: &'static str,
    /// Heading of its section.
    pub title: &'static str,
    /// What it measures, how, and what it cannot see.
    pub measures: &'static str,
    /// Rows of the table of rules that it reads.
    pub limits: &'static [&'static str],
    /// The method page in `docs/method/`.
    pub method: &'static str,
    /// The check itself.
    pub run: fn(&Facts<'_>) -> Part,
}

/// What a check adds to the report.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Part {
    /// Findings, in order.
    pub findings: Vec<Finding>,
    /// Spans (only the check of room gives them).
    pub spans: Vec<SpanShown>,
    /// Abutments; those of several checks are joined by tooth.
    pub abutments: Vec<AbutmentShown>,
    /// Tori.
    pub tori: Vec<TorusShown>,
    /// Tissue undercut and block-out.
    pub blockout: Vec<BlockoutShown>,
    /// Connectors.
    pub connectors: Vec<ConnectorShown>,
    /// Support, clasp arms, for and against a hinge.
    pub mechanics: Mechanics,
    /// Preparation.
    pub preparation: Vec<Preparation>,
    /// Questions.
    pub questions: Vec<Question>,
}

/// All checks, in the order of the report.
pub const CHECKS: &[Check] = &[
    scan::CHECK,
    classification::CHECK,
    articulation::CHECK,
    occlusal_plane::CHECK,
    teeth::CHECK,
    ridge::CHECK,
    room::CHECK,
    hinge::CHECK,
    path::CHECK,
    undercut::CHECK,
    rests::CHECK,
    seats::CHECK,
    tori::CHECK,
    connector::CHECK,
    blockout::CHECK,
    clasp_arms::CHECK,
    support::CHECK,
    indications::CHECK,
];

/// The sections of the report, in its order.
pub fn sections() -> Vec<Section> {
    CHECKS.iter().map(|c| Section { id: c.id.to_owned(), title: c.title.to_owned() }).collect()
}
