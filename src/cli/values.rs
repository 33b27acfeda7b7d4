//! Values of options: positions, directions, arches, units.

use clap::ValueEnum;

use crate::case::{Arch, Notation};
use crate::render::words::Language;
use crate::space::{Direction, Point, Vector, direction};
use crate::units::LengthUnit;

/// `X,Y,Z`, three finite numbers.
pub(super) fn triple(text: &str) -> Result<Vector, String> {
    let parts: Vec<&str> = text.split(',').map(str::trim).collect();
    let [x, y, z] = parts[..] else {
        return Err(format!("three numbers X,Y,Z are wanted, {} given", parts.len()));
    };
    let number = |part: &str| match part.parse::<f64>() {
        Ok(v) if v.is_finite() => Ok(v),
        _ => Err(format!("`{part}` is no finite number")),
    };
    Ok(Vector::new(number(x)?, number(y)?, number(z)?))
}

/// A position, mm.
pub(super) fn place(text: &str) -> Result<Point, String> {
    triple(text).map(Point::from)
}

/// A direction of any length but none.
pub(super) fn way(text: &str) -> Result<Direction, String> {
    direction(triple(text)?).ok_or_else(|| "a direction needs a length; 0,0,0 points nowhere".to_owned())
}

/// A direction as it was given.
#[derive(Clone, Copy, Debug)]
pub(super) struct Given {
    /// Brought to length one.
    pub(super) way: Direction,
    /// Its length before.
    pub(super) length: f64,
}

/// A direction of any length but none, with that length.
pub(super) fn given_way(text: &str) -> Result<Given, String> {
    let v = triple(text)?;
    // Scaled first, so that neither huge nor tiny numbers are lost when they are squared.
    let most = v.amax();
    let way = if most > 0.0 { direction(v / most) } else { None };
    way.map(|way| Given { way, length: (v / most).norm() * most })
        .ok_or_else(|| "a direction needs a length; 0,0,0 points nowhere".to_owned())
}

/// The word for an arch.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(super) enum ArchWord {
    /// The lower arch.
    Mandible,
    /// The upper arch.
    Maxilla,
}

impl From<ArchWord> for Arch {
    fn from(word: ArchWord) -> Arch {
        match word {
            ArchWord::Mandible => Arch::Mandible,
            ArchWord::Maxilla => Arch::Maxilla,
        }
    }
}

/// The word for a unit of length.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(super) enum UnitWord {
    /// Micrometres.
    Um,
    /// Millimetres.
    Mm,
    /// Centimetres.
    Cm,
    /// Metres.
    M,
    /// Inches of 25.4 mm.
    Inch,
}

impl From<UnitWord> for LengthUnit {
    fn from(word: UnitWord) -> LengthUnit {
        match word {
            UnitWord::Um => LengthUnit::Um,
            UnitWord::Mm => LengthUnit::Mm,
            UnitWord::Cm => LengthUnit::Cm,
            UnitWord::M => LengthUnit::M,
            UnitWord::Inch => LengthUnit::Inch,
        }
    }
}

/// The word for a notation.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(super) enum NotationWord {
    /// Two-digit numbers of ISO 3950, 11 to 48.
    Fdi,
    /// 1 to 32.
    Universal,
    /// Quadrant and place, UR4.
    Palmer,
}

impl From<NotationWord> for Notation {
    fn from(word: NotationWord) -> Notation {
        match word {
            NotationWord::Fdi => Notation::Fdi,
            NotationWord::Universal => Notation::Universal,
            NotationWord::Palmer => Notation::Palmer,
        }
    }
}

/// The words of ISO 639-1.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(super) enum LanguageWord {
    /// English.
    En,
    /// German.
    De,
}

impl From<LanguageWord> for Language {
    fn from(word: LanguageWord) -> Language {
        match word {
            LanguageWord::En => Language::English,
            LanguageWord::De => Language::German,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_direction_is_three_finite_numbers_with_a_length() {
        assert_eq!(triple(" -0.1, 0,1e0"), Ok(Vector::new(-0.1, 0.0, 1.0)));
        for bad in ["", "1,2", "1,2,3,4", "1,,2", "NaN,0,1", "inf,0,1", "a,b,c", "1e999,0,0"] {
            assert!(triple(bad).is_err(), "{bad}");
        }
        assert!(way("0,0,0").is_err());
        assert!((way("0,0,-7").unwrap().z + 1.0).abs() < 1e-15);
    }
}
