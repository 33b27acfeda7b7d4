//! A figure with its standard uncertainty and where that comes from; and the reason where there is no figure.

use crate::units::{self, Unit};

/// Why a quantity has no figure. Never an error of the program: a finding `not_measured` is made of it.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{because}")]
pub struct NotMeasured {
    /// What was lacking, in a sentence without a full stop.
    pub because: String,
    /// What would settle it: a mark, another scan, a probe value.
    pub settled_by: Option<String>,
}

impl NotMeasured {
    /// A reason and what would settle it.
    pub fn new(because: impl Into<String>, settled_by: impl Into<String>) -> NotMeasured {
        NotMeasured { because: because.into(), settled_by: Some(settled_by.into()) }
    }

    /// A reason that nothing in the user's hands would settle.
    pub fn only(because: impl Into<String>) -> NotMeasured {
        NotMeasured { because: because.into(), settled_by: None }
    }
}

/// A measured figure or the reason for its absence.
pub type Measured<T> = Result<T, NotMeasured>;

/// Where a part of the uncertainty comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Source {
    /// Trueness of the scan (trade facts, section 11).
    Scan,
    /// Relation of the two arches.
    Articulation,
    /// The withdrawal or opening direction.
    Direction,
    /// Spacing of the mesh: chord error of its triangles.
    Spacing,
    /// The method itself.
    Method,
    /// Placement of marks by the user.
    Marks,
}

impl Source {
    /// The word for it on the sheet.
    pub fn word(self) -> &'static str {
        match self {
            Source::Scan => "scan",
            Source::Articulation => "articulation",
            Source::Direction => "direction",
            Source::Spacing => "mesh spacing",
            Source::Method => "method",
            Source::Marks => "marks",
        }
    }
}

/// One contribution to a standard uncertainty, in the unit of the figure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Contribution {
    /// Where it comes from.
    pub source: Source,
    /// Its standard uncertainty.
    pub standard: f64,
}

/// A figure with its standard uncertainty.
#[derive(Clone, Debug, PartialEq)]
pub struct Estimate {
    /// The figure, in the unit that the name of its owner says.
    pub value: f64,
    /// What the uncertainty is made of.
    pub contributions: Vec<Contribution>,
}

impl Estimate {
    /// A figure and its contributions.
    pub fn new(value: f64, contributions: Vec<Contribution>) -> Estimate {
        Estimate { value, contributions }
    }

    /// Adds a contribution.
    pub fn with(mut self, source: Source, standard: f64) -> Estimate {
        self.contributions.push(Contribution { source, standard });
        self
    }

    /// Combined standard uncertainty: the contributions added in quadrature.
    pub fn standard(&self) -> f64 {
        self.contributions.iter().map(|c| c.standard * c.standard).sum::<f64>().sqrt()
    }

    /// The figure as it stands in a sentence: `7.62 mm (±0.25)`, where ± is twice the standard uncertainty, so that a
    /// limit inside it is what the verdict calls tight.
    pub fn words(&self, unit: Unit) -> String {
        format!(
            "{} (±{})",
            units::show(self.value, unit),
            units::digits(2.0 * self.standard(), unit.places())
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn contributions_add_in_quadrature() {
        let e = Estimate::new(5.0, vec![]).with(Source::Scan, 0.03).with(Source::Articulation, 0.04);
        assert!((e.standard() - 0.05).abs() < 1e-12);
        assert_eq!(Estimate::new(1.0, vec![]).standard(), 0.0);
        assert_eq!(Estimate::new(7.618, e.contributions).words(Unit::Mm), "7.62 mm (±0.10)");
    }
}
