//! Every limit and every setting of practice, once: number, unit, source, who may change it; and the one rule that
//! judges a figure by them.

mod table;

use crate::estimate::Estimate;
use crate::report::{LimitShown, Verdict};
use crate::units::Unit;

/// How well a number is founded. The mark is quoted wherever the number is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mark {
    /// A published source was seen (often its abstract only).
    Published,
    /// A secondary source was seen: lecture notes, teaching pages.
    Secondary,
    /// From memory, not checked.
    Memory,
    /// Derived here.
    Derived,
    /// Common practice, no source found.
    CommonPractice,
    /// This project's own choice.
    ProjectChoice,
}

impl Mark {
    /// The words for it on the sheet.
    pub fn words(self) -> &'static str {
        match self {
            Mark::Published => "published",
            Mark::Secondary => "teaching notes",
            Mark::Memory => "from memory, not checked",
            Mark::Derived => "derived here",
            Mark::CommonPractice => "common practice, no published source",
            Mark::ProjectChoice => "this project's choice",
        }
    }
}

/// Which way a row is used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sense {
    /// A figure must be at least this.
    AtLeast,
    /// A figure must be at most this.
    AtMost,
    /// A setting of the method or the design, not a limit.
    Setting,
}

/// A row of the table.
#[derive(Clone, Debug, PartialEq)]
pub struct Rule {
    /// Its id, which `[limits]` may name.
    pub id: &'static str,
    /// Which way it is used.
    pub sense: Sense,
    /// The number.
    pub number: f64,
    /// Least and greatest number that a case file may set.
    pub allowed: (f64, f64),
    /// Its unit.
    pub unit: Unit,
    /// Key of `docs/references.md`.
    pub source: &'static str,
    /// How well it is founded.
    pub mark: Mark,
    /// What it is about, in a sentence.
    pub says: &'static str,
    /// Whether the case file changed it.
    pub changed: bool,
}

/// A limit that cannot be changed so.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum RuleError {
    /// No such row.
    #[error("`{id}` is no limit; the limits are: {known}")]
    Unknown {
        /// The id given.
        id: String,
        /// All ids.
        known: String,
    },
    /// The number is outside what makes sense.
    #[error("limit `{id}` cannot be {number}; it may be {least} to {greatest}")]
    OutOfRange {
        /// The id.
        id: String,
        /// The number given.
        number: f64,
        /// Least allowed.
        least: f64,
        /// Greatest allowed.
        greatest: f64,
    },
}

/// The table, with the changes of one case.
#[derive(Clone, Debug, PartialEq)]
pub struct Rules {
    rows: Vec<Rule>,
}

impl Rules {
    /// The table as it stands.
    pub fn standard() -> Rules {
        Rules { rows: table::rows() }
    }

    /// The table with changed numbers.
    ///
    /// # Errors
    /// An unknown id, or a number outside what the row allows; all of them.
    pub fn changed(changes: &[(String, f64)]) -> Result<Rules, Vec<RuleError>> {
        let mut rules = Rules::standard();
        let mut errors = Vec::new();
        let known = rules.ids().join(", ");
        for (id, number) in changes {
            match rules.rows.iter_mut().find(|r| r.id == id) {
                None => errors.push(RuleError::Unknown { id: id.clone(), known: known.clone() }),
                Some(r) if !(r.allowed.0..=r.allowed.1).contains(number) => {
                    let (least, greatest) = r.allowed;
                    errors.push(RuleError::OutOfRange { id: id.clone(), number: *number, least, greatest });
                }
                Some(r) => {
                    r.changed = r.number.to_bits() != number.to_bits();
                    r.number = *number;
                }
            }
        }
        if errors.is_empty() { Ok(rules) } else { Err(errors) }
    }

    /// All rows, in the order of the table.
    pub fn rows(&self) -> &[Rule] {
        &self.rows
    }

    /// All ids, in the order of the table.
    pub fn ids(&self) -> Vec<&'static str> {
        self.rows.iter().map(|r| r.id).collect()
    }

    /// The row of an id of the table itself.
    ///
    /// # Panics
    /// Where the program names an id that the table does not hold; a test calls it for every id that checks use.
    #[allow(clippy::panic)]
    pub fn get(&self, id: &str) -> &Rule {
        match self.rows.iter().find(|r| r.id == id) {
            Some(rule) => rule,
            None => panic!("no rule `{id}` in the table"),
        }
    }

    /// The number of a row.
    pub fn number(&self, id: &str) -> f64 {
        self.get(id).number
    }
}

impl Rule {
    /// The row as it is shown beside a verdict.
    pub fn shown(&self) -> LimitShown {
        LimitShown {
            id: self.id.to_owned(),
            at_least: (self.sense != Sense::AtMost).then_some(self.number),
            at_most: (self.sense == Sense::AtMost).then_some(self.number),
            unit: self.unit,
            source: format!("{} ({})", self.source, self.mark.words()),
            changed: self.changed,
        }
    }
}

/// Judges a figure by a row: only a margin over twice the standard uncertainty is clear, else it is `tight`.
pub fn judge(figure: &Estimate, rule: &Rule) -> Verdict {
    let margin = match rule.sense {
        Sense::AtLeast | Sense::Setting => figure.value - rule.number,
        Sense::AtMost => rule.number - figure.value,
    };
    let wide = 2.0 * figure.standard();
    match (margin > wide, margin < -wide, rule.sense) {
        (true, _, _) => Verdict::Fits,
        (_, true, Sense::AtMost) => Verdict::Exceeds,
        (_, true, _) => Verdict::Short,
        _ => Verdict::Tight,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimate::Source;

    #[test]
    fn a_margin_within_twice_the_uncertainty_is_tight() {
        let rules = Rules::standard();
        let rule = rules.get("attachment_room_mm");
        let room = |v| Estimate::new(v, vec![]).with(Source::Articulation, 0.10);
        assert_eq!(judge(&room(5.05), rule), Verdict::Tight);
        assert_eq!(judge(&room(5.21), rule), Verdict::Fits);
        assert_eq!(judge(&room(4.79), rule), Verdict::Short);
    }

    #[test]
    fn every_mark_says_in_its_own_words_how_far_to_trust_it() {
        use Mark::{CommonPractice, Derived, Memory, ProjectChoice, Published, Secondary};
        let says = [Published, Secondary, Memory, Derived, CommonPractice, ProjectChoice].map(Mark::words);
        for (words, has) in
            says.iter().zip(["published", "teaching", "memory", "derived", "practice", "choice"])
        {
            assert!(words.contains(has), "{words}");
        }
        assert!(says.iter().enumerate().all(|(k, a)| says[..k].iter().all(|b| a != b)));
    }

    #[test]
    fn an_unknown_or_absurd_limit_is_refused_with_what_is_known() {
        let errors =
            Rules::changed(&[("hinge_room".into(), 5.0), ("attachment_room_mm".into(), -1.0)]).unwrap_err();
        assert_eq!(errors.len(), 2);
        assert!(errors[0].to_string().contains("attachment_room_mm"));
        let ok = Rules::changed(&[("attachment_room_mm".into(), 6.0)]).unwrap();
        assert!(ok.get("attachment_room_mm").changed);
    }

    #[test]
    fn ids_stand_once_and_numbers_lie_in_what_is_allowed() {
        let rules = Rules::standard();
        let mut ids = rules.ids();
        ids.sort_unstable();
        ids.dedup();
        assert_eq!(ids.len(), rules.rows().len());
        assert!(rules.rows().iter().all(|r| r.allowed.0 <= r.number && r.number <= r.allowed.1));
    }
}
