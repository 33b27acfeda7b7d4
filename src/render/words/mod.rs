//! Words of the page by language, and how numbers and teeth are written. Findings are put into words by their code: the
//! language files hold a plain name and the trade's term for each; a sentence that a file does not hold stays English.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::sync::OnceLock;

use crate::report::{Finding, Notation, Tooth};
use crate::units::{self, Unit};

type Table = BTreeMap<String, String>;

/// A language that the page can be written in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Language {
    /// English.
    #[default]
    English,
    /// German.
    German,
}

impl Language {
    /// All languages.
    pub const ALL: [Language; 2] = [Language::English, Language::German];

    fn table(self) -> &'static Table {
        static ENGLISH: OnceLock<Table> = OnceLock::new();
        static GERMAN: OnceLock<Table> = OnceLock::new();
        // A file that does not parse fails the test below; the page would show its keys.
        let read = |text: &str| serde_json::from_str(text).unwrap_or_default();
        match self {
            Language::English => ENGLISH.get_or_init(|| read(include_str!("en.json"))),
            Language::German => GERMAN.get_or_init(|| read(include_str!("de.json"))),
        }
    }
}

/// How a page is written.
#[derive(Clone, Copy, Debug, Default)]
pub struct Manner {
    /// The language.
    pub language: Language,
    /// How teeth are numbered.
    pub notation: Notation,
}

impl Manner {
    /// The words under a key; the key itself where there are none.
    pub fn word<'k>(&self, key: &'k str) -> &'k str {
        self.known(key).unwrap_or(key)
    }

    /// The words under a key, where the language has them.
    pub fn known(&self, key: &str) -> Option<&'static str> {
        self.language.table().get(key).map(String::as_str)
    }

    /// Words with `{name}` put in.
    pub fn fill(&self, key: &str, with: &[(&str, &str)]) -> String {
        filled(self.word(key), with)
    }

    /// The decimal sign.
    pub fn decimal(&self) -> &'static str {
        if self.language == Language::German { "," } else { "." }
    }

    /// A figure with its unit.
    pub fn show(&self, number: f64, unit: Unit) -> String {
        self.numbers(&units::show(number, unit)).into_owned()
    }

    /// A text whose figures are written with the decimal sign of the language.
    pub fn numbers<'t>(&self, text: &'t str) -> Cow<'t, str> {
        match self.language {
            Language::English => Cow::Borrowed(text),
            Language::German => Cow::Owned(units::decimal_comma(text)),
        }
    }

    /// A tooth.
    pub fn tooth(&self, tooth: Tooth) -> String {
        match self.notation {
            Notation::Fdi => tooth.to_string(),
            // The sign keeps a Universal number from being taken for one of FDI.
            Notation::Universal => format!("#{}", tooth.show(Notation::Universal)),
            Notation::Palmer => tooth.palmer(),
        }
    }

    /// A tooth by its FDI number in words; other words stay as they are.
    pub fn tooth_of(&self, fdi: &str) -> String {
        let tooth = fdi.parse().ok().and_then(Tooth::fdi);
        tooth.map_or_else(|| fdi.to_owned(), |t| self.tooth(t))
    }

    /// A sentence whose tooth numbers are written as asked for.
    pub fn sentence<'t>(&self, says: &'t str) -> Cow<'t, str> {
        if self.notation == Notation::Fdi { Cow::Borrowed(says) } else { Cow::Owned(self.renumbered(says)) }
    }

    fn renumbered(&self, says: &str) -> String {
        let letters: Vec<char> = says.chars().collect();
        let mut out = String::with_capacity(says.len());
        let mut i = 0;
        while i < letters.len() {
            match tooth_at(&letters, i) {
                Some(tooth) => {
                    out.push_str(&self.tooth(tooth));
                    i += 2;
                }
                None => {
                    out.extend(letters.get(i));
                    i += 1;
                }
            }
        }
        out
    }

    /// The plain name of a finding.
    pub fn name(&self, f: &Finding) -> Option<&'static str> {
        self.known(&format!("code.{}", f.code))
    }

    /// The trade's term for it.
    pub fn term(&self, f: &Finding) -> Option<&'static str> {
        self.known(&format!("term.{}", f.code))
    }
}

/// What follows a number that counts something and so is no tooth.
#[rustfmt::skip]
const COUNTED: &[&str] = &[
    " (FDI ", " mm", "°", " °", " %", "%", " N", " MPa", " inch", " tilts", " triangles", " points", " places", " holes",
    " contacts", " edges", " stations", " vertices", " curve", " pieces", " questions", " rows", " sections", " teeth",
    " crowns", " spans", " shells", " clasps", " rests", " findings", " more", " are not", " of ", " fits", " short", " tight",
    " possible", " exceeds", " not measured",
];

/// The tooth whose FDI number begins at `i`, where two digits stand there that count nothing.
fn tooth_at(letters: &[char], i: usize) -> Option<Tooth> {
    let digit = |k: usize| letters.get(k).and_then(|c| c.to_digit(10));
    let (first, second) = (digit(i)?, digit(i + 1)?);
    let before = i.checked_sub(1).and_then(|k| letters.get(k));
    let number_before = before.is_some_and(|c| c.is_alphanumeric() || matches!(c, '.' | '_' | '#' | '±'))
        || (before.is_some_and(|&c| matches!(c, ',' | '-')) && i >= 2 && !pair_before(letters, i));
    let after = letters.get(i + 2);
    let goes_on = after.is_some_and(|c| c.is_alphanumeric() || *c == '_')
        || (after.is_some_and(|&c| matches!(c, '.' | ',')) && digit(i + 3).is_some());
    let rest: String = letters.iter().skip(i + 2).take(14).collect();
    let said_fdi = i >= 4 && letters.get(i - 4..i).is_some_and(|l| l.iter().collect::<String>() == "FDI ");
    if number_before || goes_on || said_fdi || COUNTED.iter().any(|c| rest.starts_with(c)) {
        return None;
    }
    Tooth::fdi(u8::try_from(10 * first + second).ok()?)
}

/// Whether a tooth stands before the sign before `i`, as in `36-37` or `36,37`.
fn pair_before(letters: &[char], i: usize) -> bool {
    let digits = |k: usize| letters.get(k).is_some_and(char::is_ascii_digit);
    i >= 3
        && digits(i - 2)
        && digits(i - 3)
        && !(i >= 4 && (digits(i - 4) || letters.get(i - 4) == Some(&'.')))
}

/// `{name}` put in.
fn filled(text: &str, with: &[(&str, &str)]) -> String {
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some((before, after)) = rest.split_once('{') {
        out.push_str(before);
        let Some((name, behind)) = after.split_once('}') else {
            out.push('{');
            rest = after;
            continue;
        };
        match with.iter().find(|(n, _)| *n == name) {
            Some((_, value)) => out.push_str(value),
            None => out.push_str(&format!("{{{name}}}")),
        }
        rest = behind;
    }
    out.push_str(rest);
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_languages_say_the_same_things() {
        let [english, german] = Language::ALL.map(Language::table);
        assert!(english.len() > 200);
        let lacking: Vec<&String> = english.keys().filter(|k| !german.contains_key(*k)).collect();
        let more: Vec<&String> =
            german.keys().filter(|k| !english.contains_key(*k) && !k.starts_with("says.")).collect();
        assert!(lacking.is_empty() && more.is_empty(), "lacking {lacking:?}, more {more:?}");
        // What is put in has the same names.
        let names = |t: &str| {
            let mut all: Vec<String> =
                t.split('{').skip(1).filter_map(|p| p.split('}').next()).map(str::to_owned).collect();
            all.sort();
            all
        };
        for (key, text) in english {
            assert_eq!(names(text), names(&german[key]), "{key}");
        }
    }

    #[test]
    fn values_are_put_in_once_and_never_read_again() {
        assert_eq!(filled("a {x} b {y} c {", &[("x", "{y}"), ("y", "2")]), "a {y} b 2 c {");
    }

    #[test]
    fn teeth_in_a_sentence_are_renumbered_and_counts_are_not() {
        let manner = Manner { language: Language::English, notation: Notation::Universal };
        let says = |text: &str| manner.sentence(text).into_owned();
        assert_eq!(
            says("At span 36-37, 4.85 mm behind 35 there are 8.30 mm."),
            "At span #19-#18, 4.85 mm behind #20 there are 8.30 mm."
        );
        assert_eq!(
            says("46 lingual: 0.25 mm lies 1.71 mm below."),
            "#30 lingual: 0.25 mm lies 1.71 mm below."
        );
        assert_eq!(
            says("41 are not beaten; 24 tilts; 33.25 mm; 1.36 mm; (-21.55, 14.20, 11.00); 15° and 44 %"),
            "41 are not beaten; 24 tilts; 33.25 mm; 1.36 mm; (-21.55, 14.20, 11.00); 15° and 44 %"
        );
        assert_eq!(says("Crowns: 47, 46, 44."), "Crowns: #31, #30, #28.");
        assert_eq!(says("2 short, 11 fits, 12 not measured."), "2 short, 11 fits, 12 not measured.");
        assert_eq!(says("28 (FDI 44) is an abutment"), "28 (FDI 44) is an abutment");
        let palmer = Manner { notation: Notation::Palmer, ..manner };
        assert_eq!(palmer.sentence("14 buccal"), "UR4 buccal");
        assert_eq!(Manner::default().sentence("14 buccal"), "14 buccal");
    }

    #[test]
    fn german_writes_a_decimal_comma() {
        let manner = Manner { language: Language::German, notation: Notation::Fdi };
        assert_eq!(manner.show(5.037, Unit::Mm), "5,04 mm");
        assert_eq!(manner.numbers("8.30 mm (±0.27). Ende"), "8,30 mm (±0,27). Ende");
    }
}
