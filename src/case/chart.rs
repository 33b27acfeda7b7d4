//! The dental chart: which teeth are missing, which gaps count, and what the arch is called.

use super::tooth::{Arch, Tooth};

/// Missing teeth and what is to be done about them; all FDI, one arch or both.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Chart {
    /// Teeth that are not there.
    pub missing: Vec<Tooth>,
    /// Third molars that are missing and shall be replaced all the same.
    pub replaced: Vec<Tooth>,
    /// Missing teeth that shall not be replaced.
    pub not_replaced: Vec<Tooth>,
    /// Teeth still there that will be taken out before the denture is made.
    pub extractions: Vec<Tooth>,
    /// Missing teeth whose gap has closed.
    pub no_space: Vec<Tooth>,
    /// Missing teeth stood for by a pontic.
    pub pontics: Vec<Tooth>,
    /// Missing teeth stood for by an implant crown.
    pub implants: Vec<Tooth>,
}

/// Kennedy's class with Applegate's rules (trade facts, section 1).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kennedy {
    /// A class I to IV with its number of modification spaces.
    Class {
        /// 1 to 4.
        class: u8,
        /// Number of modification spaces.
        modifications: u8,
    },
    /// No tooth that counts is missing.
    Dentate,
    /// All teeth that count are missing: not one of Kennedy's classes.
    Edentulous,
}

/// Whether a span has a tooth behind it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize, schemars::JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum SpanKind {
    /// No tooth behind.
    DistalExtension,
    /// Teeth at both ends.
    Bounded,
}

/// A run of missing teeth that count.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SpanTeeth {
    /// The missing teeth, from the patient's right to left.
    pub teeth: Vec<Tooth>,
    /// Whether a tooth stands behind.
    pub kind: SpanKind,
    /// The bordering tooth at the patient's right end.
    pub right: Option<Tooth>,
    /// The bordering tooth at the patient's left end.
    pub left: Option<Tooth>,
}

impl SpanTeeth {
    /// The abutment in front of the span: the bordering tooth nearer to the midline along the arch; in a span across
    /// the midline the right-hand one. `None` only where the whole arch is missing.
    pub fn front(&self) -> Option<Tooth> {
        match (self.right, self.left) {
            (Some(r), Some(l)) => {
                let crosses = r.along() < 0 && l.along() > 0;
                Some(if crosses || r.along() > 0 { r } else { l })
            }
            (r, l) => r.or(l),
        }
    }
}

/// Kennedy class of `arch` by the chart. `abutments` settles whether a third molar counts.
pub fn kennedy(_chart: &Chart, _arch: Arch, _abutments: &[Tooth]) -> Kennedy {
    Kennedy::Dentate
}

/// The spans of `arch` from the patient's right to left, as Applegate's rules count them.
pub fn spans(_chart: &Chart, _arch: Arch, _abutments: &[Tooth]) -> Vec<SpanTeeth> {
    Vec::new()
}
