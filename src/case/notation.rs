//! Tooth numbers in and out: FDI (ISO 3950), Universal and Palmer.
//!
//! Inside the program a tooth is always its FDI number. Universal 12 is FDI 24, and nothing here reads it otherwise.

use super::{Arch, Notation, Tooth};

/// Why a number or a word names no permanent tooth.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{says}; {mend}")]
pub struct ToothError {
    /// What is wrong, without a full stop.
    pub says: String,
    /// What to do about it, without a full stop.
    pub mend: String,
}

impl ToothError {
    fn new(says: String, mend: impl Into<String>) -> ToothError {
        ToothError { says, mend: mend.into() }
    }
}

impl Notation {
    /// The word for it in a case file.
    pub fn word(self) -> &'static str {
        match self {
            Notation::Fdi => "fdi",
            Notation::Universal => "universal",
            Notation::Palmer => "palmer",
        }
    }

    /// The notation of a word.
    pub fn of_word(word: &str) -> Option<Notation> {
        [Notation::Fdi, Notation::Universal, Notation::Palmer].into_iter().find(|n| n.word() == word)
    }

    fn title(self) -> &'static str {
        match self {
            Notation::Fdi => "FDI",
            Notation::Universal => "Universal",
            Notation::Palmer => "Palmer",
        }
    }

    fn form(self) -> &'static str {
        match self {
            Notation::Fdi => "FDI numbers are a quadrant 1 to 4 and a place 1 to 8, 11 to 48",
            Notation::Universal => "Universal numbers run from 1 to 32",
            Notation::Palmer => {
                "Palmer is written UR4, UL4, LL4 or LR4, or with the quadrant's corner: 4⏌ ⎿4 ⎾4 4⏋"
            }
        }
    }
}

impl Tooth {
    /// The tooth with this Universal number, 1 to 32.
    pub fn from_universal(number: u8) -> Option<Tooth> {
        match number {
            1..=8 => Tooth::fdi(10 + 9 - number),
            9..=16 => Tooth::fdi(20 + number - 8),
            17..=24 => Tooth::fdi(30 + 25 - number),
            25..=32 => Tooth::fdi(40 + number - 24),
            _ => None,
        }
    }

    /// Its Universal number.
    pub fn universal(self) -> u8 {
        match self.quadrant() {
            1 => 9 - self.place(),
            2 => 8 + self.place(),
            3 => 25 - self.place(),
            _ => 24 + self.place(),
        }
    }

    /// Its Palmer form in letters, `UR4`.
    pub fn palmer(self) -> String {
        let quadrant = match self.quadrant() {
            1 => "UR",
            2 => "UL",
            3 => "LL",
            _ => "LR",
        };
        format!("{quadrant}{}", self.place())
    }

    /// Its Palmer form with the corner sign of its quadrant, seen facing the patient: `4⏌`.
    pub fn palmer_sign(self) -> String {
        match self.quadrant() {
            1 => format!("{}⏌", self.place()),
            2 => format!("⎿{}", self.place()),
            3 => format!("⎾{}", self.place()),
            _ => format!("{}⏋", self.place()),
        }
    }

    /// Its number as a notation writes it.
    pub fn show(self, notation: Notation) -> String {
        match notation {
            Notation::Fdi => self.number().to_string(),
            Notation::Universal => self.universal().to_string(),
            Notation::Palmer => self.palmer(),
        }
    }

    /// The tooth of a plain number in `notation`.
    ///
    /// # Errors
    /// A deciduous number, a number of another notation, no tooth at all.
    pub fn of_number(number: i64, notation: Notation) -> Result<Tooth, ToothError> {
        let small = u8::try_from(number).ok();
        let tooth = match notation {
            Notation::Fdi => small.and_then(Tooth::fdi),
            Notation::Universal => small.and_then(Tooth::from_universal),
            Notation::Palmer => None,
        };
        tooth.ok_or_else(|| refuse_number(number, small, notation))
    }

    /// The tooth of a word in `notation`: a plain number, or a Palmer form.
    ///
    /// # Errors
    /// A deciduous letter or number, a word of another notation, no tooth at all.
    pub fn of_word(word: &str, notation: Notation) -> Result<Tooth, ToothError> {
        let word = word.trim();
        if let Ok(number) = word.parse::<i64>() {
            return Tooth::of_number(number, notation);
        }
        match (of_palmer(word), notation) {
            (Some(tooth), Notation::Palmer) => Ok(tooth),
            (Some(tooth), _) => Err(ToothError::new(
                format!("`{word}` is Palmer, but the notation is {}", notation.title()),
                format!("write {} for it, or set notation = \"palmer\"", tooth.show(notation)),
            )),
            (None, _) => Err(refuse_word(word, notation)),
        }
    }
}

fn of_palmer(word: &str) -> Option<Tooth> {
    let letters = word.to_ascii_uppercase();
    let lettered = ["UR", "UL", "LL", "LR"]
        .iter()
        .zip(1u8..)
        .find_map(|(q, quadrant)| letters.strip_prefix(q).map(|place| (quadrant, place.trim().to_owned())));
    // The corner stands on the midline side of the digit: behind it on the patient's right, before it on the left.
    let (quadrant, place) = lettered.or_else(|| {
        let signs: [(u8, [char; 2], bool); 4] =
            [(1, ['⏌', '┘'], false), (2, ['⎿', '└'], true), (3, ['⎾', '┌'], true), (4, ['⏋', '┐'], false)];
        signs.into_iter().find_map(|(quadrant, sign, before)| {
            let place = if before { word.strip_prefix(sign) } else { word.strip_suffix(sign) };
            place.map(|p| (quadrant, p.trim().to_owned()))
        })
    })?;
    let place: u8 = if place.len() == 1 { place.parse().ok()? } else { return None };
    Tooth::fdi(quadrant * 10 + place)
}

fn refuse_number(number: i64, small: Option<u8>, notation: Notation) -> ToothError {
    let deciduous = small.is_some_and(|n| (5..=8).contains(&(n / 10)) && (1..=5).contains(&(n % 10)));
    let no = format!("{number} is no tooth in {} notation", notation.title());
    match notation {
        Notation::Fdi | Notation::Universal if deciduous => ToothError::new(
            format!("{number} is a deciduous tooth in FDI numbers"),
            "only permanent teeth can be charted; leave deciduous teeth out",
        ),
        Notation::Fdi => match small.and_then(Tooth::from_universal) {
            Some(t) => ToothError::new(
                no,
                format!(
                    "{}; if {number} is a Universal number, write {t} for it, or set notation = \"universal\"",
                    Notation::Fdi.form()
                ),
            ),
            None => ToothError::new(no, Notation::Fdi.form()),
        },
        Notation::Universal => match small.and_then(Tooth::fdi) {
            Some(t) => ToothError::new(
                no,
                format!(
                    "{}; if {number} is an FDI number, write {} for it, or set notation = \"fdi\"",
                    Notation::Universal.form(),
                    t.universal()
                ),
            ),
            None => ToothError::new(no, Notation::Universal.form()),
        },
        Notation::Palmer => ToothError::new(
            format!("{number} names no quadrant, so it is no tooth in Palmer notation"),
            Notation::Palmer.form(),
        ),
    }
}

fn refuse_word(word: &str, notation: Notation) -> ToothError {
    let mut letters = word.chars();
    let single = letters.next().filter(|_| letters.next().is_none()).map(|c| c.to_ascii_uppercase());
    let upper = word.to_ascii_uppercase();
    let quadrant_letter = ["UR", "UL", "LL", "LR"]
        .iter()
        .filter_map(|q| upper.strip_prefix(q))
        .any(|rest| matches!(rest.trim(), "A" | "B" | "C" | "D" | "E"));
    if single.is_some_and(|c| ('A'..='T').contains(&c)) || quadrant_letter {
        return ToothError::new(
            format!("`{word}` is a deciduous tooth"),
            "only permanent teeth can be charted; leave deciduous teeth out",
        );
    }
    ToothError::new(format!("`{word}` is no tooth in {} notation", notation.title()), notation.form())
}

/// Teeth in a list of words, for a message: `36, 37 and 45`.
pub fn list(teeth: &[Tooth], notation: Notation) -> String {
    let words: Vec<String> = teeth.iter().map(|t| t.show(notation)).collect();
    match words.split_last() {
        None => String::new(),
        Some((last, [])) => last.clone(),
        Some((last, rest)) => format!("{} and {last}", rest.join(", ")),
    }
}

/// All permanent teeth of an arch from the patient's right to left.
pub fn teeth_of(arch: Arch) -> impl Iterator<Item = Tooth> {
    (-8i8..=8).filter_map(move |along| Tooth::at(arch, along))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fdi(n: u8) -> Tooth {
        Tooth::fdi(n).unwrap()
    }

    #[test]
    fn universal_numbers_agree_with_the_spot_checks() {
        // Trade facts, section 2: seen in sources, and computed there.
        let seen = [(11, 8), (21, 9), (12, 7), (22, 10), (26, 14), (25, 13), (28, 16)];
        let computed =
            [(18, 1), (38, 17), (31, 24), (41, 25), (48, 32), (36, 19), (46, 30), (33, 22), (43, 27)];
        for (n, universal) in seen.into_iter().chain(computed) {
            assert_eq!(fdi(n).universal(), universal);
            assert_eq!(Tooth::from_universal(universal), Some(fdi(n)));
        }
        for n in 1..=32 {
            assert_eq!(Tooth::from_universal(n).unwrap().universal(), n);
        }
        assert_eq!(Tooth::from_universal(0), None);
        assert_eq!(Tooth::from_universal(33), None);
    }

    #[test]
    fn each_notation_has_its_word() {
        let all = [(Notation::Fdi, "fdi"), (Notation::Universal, "universal"), (Notation::Palmer, "palmer")];
        for (notation, word) in all {
            assert_eq!((notation.word(), Notation::of_word(word)), (word, Some(notation)));
        }
        assert_eq!(Notation::of_word("FDI"), None);
    }

    #[test]
    fn universal_12_is_never_fdi_12() {
        assert_eq!(Tooth::of_number(12, Notation::Universal), Ok(fdi(24)));
        assert_eq!(Tooth::of_word("12", Notation::Universal), Ok(fdi(24)));
        assert_eq!(Tooth::of_number(12, Notation::Fdi), Ok(fdi(12)));
    }

    #[test]
    fn every_notation_reads_what_it_shows() {
        for arch in [Arch::Mandible, Arch::Maxilla] {
            assert_eq!(teeth_of(arch).count(), 16);
            for tooth in teeth_of(arch) {
                for notation in [Notation::Fdi, Notation::Universal, Notation::Palmer] {
                    assert_eq!(Tooth::of_word(&tooth.show(notation), notation), Ok(tooth));
                }
                assert_eq!(Tooth::of_word(&tooth.palmer_sign(), Notation::Palmer), Ok(tooth));
            }
        }
    }

    #[test]
    fn palmer_corners_are_those_seen_facing_the_patient() {
        // Trade facts, section 2: UR n⏌, UL ⎿n, LL ⎾n, LR n⏋.
        let rows = [("UR4", "4⏌", 14), ("UL4", "⎿4", 24), ("LL4", "⎾4", 34), ("LR4", "4⏋", 44)];
        for (letters, sign, n) in rows {
            assert_eq!(fdi(n).palmer(), letters);
            assert_eq!(fdi(n).palmer_sign(), sign);
        }
        assert_eq!(Tooth::of_word("lr 6", Notation::Palmer), Ok(fdi(46)));
        assert_eq!(Tooth::of_word("6┐", Notation::Palmer), Ok(fdi(46)));
        for wrong in ["4", "⏌4", "4⎿", "UR9", "UR0", "UR", "UR44", "XX4", ""] {
            assert!(Tooth::of_word(wrong, Notation::Palmer).is_err(), "{wrong}");
        }
    }

    #[test]
    fn deciduous_teeth_are_refused_by_that_name() {
        for n in [51, 55, 61, 65, 71, 75, 81, 85] {
            let error = Tooth::of_number(n, Notation::Fdi).unwrap_err();
            assert!(error.says.contains("deciduous"), "{error}");
        }
        for letter in ["A", "K", "T", "t"] {
            assert!(Tooth::of_word(letter, Notation::Universal).unwrap_err().says.contains("deciduous"));
        }
        assert!(Tooth::of_word("LLE", Notation::Palmer).unwrap_err().says.contains("deciduous"));
        assert!(!Tooth::of_word("U", Notation::Universal).unwrap_err().says.contains("deciduous"));
    }

    #[test]
    fn a_number_of_the_other_notation_is_refused_with_what_to_write() {
        let error = Tooth::of_number(46, Notation::Universal).unwrap_err();
        assert!(error.mend.contains("write 30"), "{error}");
        let error = Tooth::of_number(19, Notation::Fdi).unwrap_err();
        assert!(error.mend.contains("write 36"), "{error}");
        let error = Tooth::of_word("LR6", Notation::Fdi).unwrap_err();
        assert!(error.mend.contains("write 46"), "{error}");
        for n in [0, -3, 10, 49, 90, 1000, i64::MIN] {
            assert!(Tooth::of_number(n, Notation::Fdi).is_err(), "{n}");
        }
    }

    #[test]
    fn a_list_reads_as_a_sentence() {
        assert_eq!(list(&[fdi(36), fdi(37), fdi(45)], Notation::Fdi), "36, 37 and 45");
        assert_eq!(list(&[fdi(36)], Notation::Universal), "19");
        assert_eq!(list(&[], Notation::Fdi), "");
    }
}
