//! A finding: what was compared with which limit, where, and what came of it.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::case::{Surface, Tooth};
use crate::estimate::{Estimate, NotMeasured};
use crate::space::Point;
use crate::units::{self, Unit};

/// Outcome of a finding. Always shown as a word, never as a colour alone.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Clear of the limit by more than twice the uncertainty.
    Fits,
    /// Within twice the uncertainty of the limit.
    Tight,
    /// Less than wanted.
    Short,
    /// More than allowed.
    Exceeds,
    /// No figure; the finding says why.
    NotMeasured,
    /// Found with low confidence.
    Possible,
    /// A statement to keep in mind.
    Caution,
    /// A question.
    Ask,
}

impl Verdict {
    /// The words for it on the sheet.
    pub fn words(self) -> &'static str {
        match self {
            Verdict::Fits => "fits",
            Verdict::Tight => "tight",
            Verdict::Short => "short",
            Verdict::Exceeds => "exceeds",
            Verdict::NotMeasured => "not measured",
            Verdict::Possible => "possible",
            Verdict::Caution => "caution",
            Verdict::Ask => "ask",
        }
    }
}

/// A figure with unit and standard uncertainty.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Figure {
    /// The number.
    pub number: f64,
    /// Its unit.
    pub unit: Unit,
    /// Its standard uncertainty, in the same unit.
    pub uncertainty: f64,
    /// What the uncertainty is made of: source and standard uncertainty.
    #[serde(default)]
    pub contributions: Vec<(String, f64)>,
}

impl Figure {
    /// The figure of an estimate.
    pub fn of(estimate: &Estimate, unit: Unit) -> Figure {
        Figure {
            number: units::json(estimate.value),
            unit,
            uncertainty: units::json(estimate.standard()),
            contributions: estimate
                .contributions
                .iter()
                .map(|c| (c.source.word().to_owned(), units::json(c.standard)))
                .collect(),
        }
    }
}

/// A limit as it stood when it judged.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LimitShown {
    /// Its id in the table of rules.
    pub id: String,
    /// Least wanted.
    pub at_least: Option<f64>,
    /// Most allowed.
    pub at_most: Option<f64>,
    /// Its unit.
    pub unit: Unit,
    /// Source and how well it is founded.
    pub source: String,
    /// Whether the case file changed it.
    pub changed: bool,
}

/// Place of a finding, each part where it applies.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Where {
    /// The span's missing teeth.
    pub span: Option<Vec<Tooth>>,
    /// The tooth.
    pub tooth: Option<Tooth>,
    /// Its surface.
    pub surface: Option<Surface>,
    /// Position, mm.
    pub at_mm: Option<[f64; 3]>,
    /// The place in words: mm from a named tooth, side.
    pub words: Option<String>,
}

impl Where {
    /// A tooth.
    pub fn tooth(tooth: Tooth) -> Where {
        Where { tooth: Some(tooth), ..Where::default() }
    }
    /// A span.
    pub fn span(teeth: &[Tooth]) -> Where {
        Where { span: Some(teeth.to_vec()), ..Where::default() }
    }
    /// With a position.
    pub fn at(mut self, p: &Point) -> Where {
        self.at_mm = Some(units::json_place(p));
        self
    }
    /// With a surface.
    pub fn on(mut self, surface: Surface) -> Where {
        self.surface = Some(surface);
        self
    }
    /// With words.
    pub fn words(mut self, words: impl Into<String>) -> Where {
        self.words = Some(words.into());
        self
    }
}

/// One thing found, measured, or asked.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Finding {
    /// The check it comes from.
    pub check: String,
    /// What is said, as a stable code.
    pub code: String,
    /// What goes into the text, by name.
    pub parameters: BTreeMap<String, serde_json::Value>,
    /// Outcome.
    pub verdict: Verdict,
    /// The figure, where there is one.
    pub value: Option<Figure>,
    /// The limit that judged it, where one did.
    pub limit: Option<LimitShown>,
    /// Where.
    #[serde(rename = "where")]
    pub place: Where,
    /// The finding in plain English.
    pub says: String,
    /// What would settle it.
    pub settled_by: Option<String>,
}

impl Finding {
    /// A finding without figure.
    pub fn new(check: &str, code: &str, verdict: Verdict, says: impl Into<String>) -> Finding {
        Finding {
            check: check.into(),
            code: code.into(),
            parameters: BTreeMap::new(),
            verdict,
            value: None,
            limit: None,
            place: Where::default(),
            says: says.into(),
            settled_by: None,
        }
    }

    /// A finding `not_measured`: `what` could not be measured and why.
    pub fn not_measured(check: &str, code: &str, what: &str, reason: &NotMeasured) -> Finding {
        let mut finding = Finding::new(
            check,
            code,
            Verdict::NotMeasured,
            format!("{what}: not measured, because {}.", reason.because),
        );
        finding.settled_by = reason.settled_by.clone();
        finding
    }

    /// What the figure has to spare at its limit, negative where it misses it. `None` without figure or limit.
    pub fn margin(&self) -> Option<f64> {
        let (value, limit) = (self.value.as_ref()?, self.limit.as_ref()?);
        match (limit.at_least, limit.at_most) {
            (Some(least), _) => Some(value.number - least),
            (None, Some(most)) => Some(most - value.number),
            (None, None) => None,
        }
    }

    /// Whether the figure lies within its uncertainty (twice the standard one) of its limit: it is not clear on which side.
    pub fn is_unclear(&self) -> bool {
        let wide = self.value.as_ref().map_or(0.0, |v| 2.0 * v.uncertainty);
        wide > 0.0 && self.margin().is_some_and(|m| m.abs() <= wide)
    }

    /// With a figure.
    pub fn figure(mut self, estimate: &Estimate, unit: Unit) -> Finding {
        self.value = Some(Figure::of(estimate, unit));
        self
    }
    /// With the limit that judged it.
    pub fn limit(mut self, limit: LimitShown) -> Finding {
        self.limit = Some(limit);
        self
    }
    /// With a place.
    pub fn at(mut self, place: Where) -> Finding {
        self.place = place;
        self
    }
    /// With what would settle it.
    pub fn settled_by(mut self, what: impl Into<String>) -> Finding {
        self.settled_by = Some(what.into());
        self
    }
    /// With a parameter of its text.
    pub fn with(mut self, name: &str, value: impl Into<serde_json::Value>) -> Finding {
        self.parameters.insert(name.into(), value.into());
        self
    }
}
