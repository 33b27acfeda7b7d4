//! The dental chart: which teeth are missing, which gaps count, and what the arch is called.

use super::notation::{ToothError, teeth_of};
use super::{Arch, Notation, Tooth};

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

impl SpanKind {
    /// The words for it on the sheet.
    pub fn words(self) -> &'static str {
        match self {
            SpanKind::DistalExtension => "distal extension",
            SpanKind::Bounded => "bounded",
        }
    }
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

impl Chart {
    /// The teeth of `arch` that are missing once the extractions are done, replaced third molars included, from the
    /// patient's right to left. Teeth that a pontic or an implant crown stands for, and closed gaps, are left out.
    pub fn counted_missing(&self, arch: Arch) -> Vec<Tooth> {
        let filled =
            |t: &Tooth| self.no_space.contains(t) || self.pontics.contains(t) || self.implants.contains(t);
        teeth_of(arch)
            .filter(|t| self.missing.contains(t) || self.extractions.contains(t) || self.replaced.contains(t))
            .filter(|t| !filled(t))
            .collect()
    }

    /// Whether a crown stands at a place of the arch when the denture is made: the tooth itself, a pontic or an
    /// implant crown.
    pub fn crown_at(&self, tooth: Tooth) -> bool {
        let gone =
            [&self.missing, &self.extractions, &self.replaced].iter().any(|list| list.contains(&tooth));
        let filled = self.pontics.contains(&tooth) || self.implants.contains(&tooth);
        !self.no_space.contains(&tooth) && (filled || !gone)
    }
}

/// A place of the arch that Applegate's rules consider.
#[derive(Clone, Copy)]
struct Considered {
    tooth: Tooth,
    missing: bool,
}

/// The places of the arch that count, from the patient's right to left (rules 1 to 4).
fn considered(chart: &Chart, arch: Arch, abutments: &[Tooth]) -> Vec<Considered> {
    let missing = chart.counted_missing(arch);
    let abutment = |t: Tooth| chart.crown_at(t) && abutments.contains(&t);
    teeth_of(arch)
        .filter(|t| !chart.no_space.contains(t))
        .filter(|&t| match t.place() {
            8 => abutment(t) || chart.replaced.contains(&t),
            7 => {
                let dropped = missing.contains(&t) && chart.not_replaced.contains(&t);
                !dropped || t.distal().is_some_and(abutment)
            }
            _ => true,
        })
        .map(|tooth| Considered { tooth, missing: missing.contains(&tooth) })
        .collect()
}

/// Kennedy class of `arch` by the chart, with Applegate's rules. `abutments` settles whether a third molar counts.
///
/// Rule 8 needs no code: a space behind one that crosses the midline decides the class instead.
pub fn kennedy(chart: &Chart, arch: Arch, abutments: &[Tooth]) -> Kennedy {
    if considered(chart, arch, abutments).iter().all(|c| c.missing) {
        return Kennedy::Edentulous;
    }
    let spans = spans(chart, arch, abutments);
    let ends = spans.iter().filter(|s| s.kind == SpanKind::DistalExtension).count();
    let across =
        |s: &SpanTeeth| s.teeth.iter().any(|t| t.along() < 0) && s.teeth.iter().any(|t| t.along() > 0);
    let (class, deciding) = match (ends, spans.as_slice()) {
        (_, []) => return Kennedy::Dentate,
        (2, _) => (1, 2),
        (1, _) => (2, 1),
        (_, [only]) if across(only) => (4, 1),
        _ => (3, 1),
    };
    Kennedy::Class { class, modifications: (spans.len() - deciding) as u8 }
}

/// The spans of `arch` from the patient's right to left, as Applegate's rules count them.
pub fn spans(chart: &Chart, arch: Arch, abutments: &[Tooth]) -> Vec<SpanTeeth> {
    let places = considered(chart, arch, abutments);
    let mut spans: Vec<SpanTeeth> = Vec::new();
    let mut right: Option<Tooth> = None;
    for run in places.chunk_by(|a, b| a.missing == b.missing) {
        match run.first() {
            Some(first) if first.missing => spans.push(SpanTeeth {
                teeth: run.iter().map(|c| c.tooth).collect(),
                kind: SpanKind::DistalExtension,
                right,
                left: None,
            }),
            Some(first) => {
                if let Some(before) = spans.last_mut() {
                    before.left = Some(first.tooth);
                }
                right = run.last().map(|c| c.tooth);
            }
            None => {}
        }
    }
    for span in &mut spans {
        if span.right.is_some() && span.left.is_some() {
            span.kind = SpanKind::Bounded;
        }
    }
    spans
}

/// A chart of missing teeth alone, from a list of words divided by commas or blanks.
///
/// # Errors
/// Every word that is no permanent tooth, is named twice, or belongs to the other arch.
pub fn missing_from(text: &str, notation: Notation, restored: Arch) -> Result<Chart, Vec<ToothError>> {
    let (mut missing, mut errors): (Vec<Tooth>, Vec<ToothError>) = (Vec::new(), Vec::new());
    for word in text.split([',', ' ', ';']).filter(|w| !w.is_empty()) {
        match Tooth::of_word(word, notation) {
            Err(error) => errors.push(error),
            Ok(tooth) if tooth.arch() != restored => errors.push(ToothError {
                says: format!(
                    "{word} stands in the {}, but the restored arch is the {}",
                    tooth.arch().word(),
                    restored.word()
                ),
                mend: "name teeth of the restored arch, or check the notation".into(),
            }),
            Ok(tooth) if missing.contains(&tooth) => errors.push(ToothError {
                says: format!("{word} is named twice among the missing teeth"),
                mend: "name it once".into(),
            }),
            Ok(tooth) => missing.push(tooth),
        }
    }
    if errors.is_empty() { Ok(Chart { missing, ..Chart::default() }) } else { Err(errors) }
}

#[cfg(test)]
#[path = "chart_tests.rs"]
mod tests;
