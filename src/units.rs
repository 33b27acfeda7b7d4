//! Units and the rounding of figures for display. The only place that turns a number into text.
//!
//! Inside the program lengths are millimetres and angles degrees, always `f64`; the unit stands in the name of the
//! value (`_mm`, `_mm2`, `_deg`, `_n`, `_mpa`).

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Unit of a reported figure.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Unit {
    /// Millimetres.
    Mm,
    /// Square millimetres.
    Mm2,
    /// Cubic millimetres.
    Mm3,
    /// Degrees.
    Deg,
    /// Newtons.
    N,
    /// Megapascals.
    Mpa,
    /// Gigapascals.
    Gpa,
    /// Newton millimetres.
    NMm,
    /// Newtons to a millimetre.
    NPerMm,
    /// Newton millimetres to a radian.
    NMmPerRad,
    /// A plain count.
    Count,
    /// A share between 0 and 1.
    Share,
}

impl Unit {
    /// The sign printed behind a number, with its leading blank where one belongs.
    pub fn sign(self) -> &'static str {
        match self {
            Unit::Mm => " mm",
            Unit::Mm2 => " mm²",
            Unit::Mm3 => " mm³",
            Unit::Deg => "°",
            Unit::N => " N",
            Unit::Mpa => " MPa",
            Unit::Gpa => " GPa",
            Unit::NMm => " N·mm",
            Unit::NPerMm => " N/mm",
            Unit::NMmPerRad => " N·mm/rad",
            Unit::Count | Unit::Share => "",
        }
    }

    /// Decimal places shown: 0.01 mm, 0.1 degree, whole counts.
    pub fn places(self) -> usize {
        match self {
            Unit::Mm | Unit::Share | Unit::Mpa | Unit::Gpa => 2,
            Unit::Mm2 | Unit::Mm3 | Unit::Deg | Unit::N => 1,
            Unit::Count | Unit::NMm | Unit::NPerMm | Unit::NMmPerRad => 0,
        }
    }
}

/// Unit of the coordinates in a scan file.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum LengthUnit {
    /// Micrometres.
    #[serde(rename = "um")]
    Um,
    /// Millimetres, what scanners write unless set otherwise.
    #[default]
    #[serde(rename = "mm")]
    Mm,
    /// Centimetres.
    #[serde(rename = "cm")]
    Cm,
    /// Metres.
    #[serde(rename = "m")]
    M,
    /// Inches of 25.4 mm.
    #[serde(rename = "inch")]
    Inch,
}

impl LengthUnit {
    /// All units, smallest first.
    pub const ALL: [LengthUnit; 5] =
        [LengthUnit::Um, LengthUnit::Mm, LengthUnit::Cm, LengthUnit::Inch, LengthUnit::M];

    /// Millimetres in one unit of the file.
    pub fn mm(self) -> f64 {
        match self {
            LengthUnit::Um => 0.001,
            LengthUnit::Mm => 1.0,
            LengthUnit::Cm => 10.0,
            LengthUnit::M => 1000.0,
            LengthUnit::Inch => 25.4,
        }
    }

    /// The word for it in a case file.
    pub fn word(self) -> &'static str {
        match self {
            LengthUnit::Um => "um",
            LengthUnit::Mm => "mm",
            LengthUnit::Cm => "cm",
            LengthUnit::M => "m",
            LengthUnit::Inch => "inch",
        }
    }
}

/// A number with its unit, rounded as that unit is shown: `5.04 mm`. A negative zero loses its sign.
pub fn show(number: f64, unit: Unit) -> String {
    format!("{}{}", digits(number, unit.places()), unit.sign())
}

/// `5.04 mm`.
pub fn mm(number: f64) -> String {
    show(number, Unit::Mm)
}

/// `12.5°`.
pub fn deg(number: f64) -> String {
    show(number, Unit::Deg)
}

/// A number with `places` decimals; a negative zero loses its sign.
pub fn digits(number: f64, places: usize) -> String {
    let text = format!("{number:.places$}");
    let zero = text.trim_start_matches('-').chars().all(|c| c == '0' || c == '.');
    if zero { text.trim_start_matches('-').to_owned() } else { text }
}

/// A text with a decimal comma for the point in its numbers.
pub fn decimal_comma(text: &str) -> String {
    let letters: Vec<char> = text.chars().collect();
    let digit = |k: usize| letters.get(k).is_some_and(char::is_ascii_digit);
    let sign = |(k, &c): (usize, &char)| {
        if c == '.' && k > 0 && digit(k - 1) && digit(k + 1) { ',' } else { c }
    };
    letters.iter().enumerate().map(sign).collect()
}

/// A length in inches to the thousandth, as gauges are named by the bench: `0.010 in` for 0.25 mm.
pub fn inches(number_mm: f64) -> String {
    format!("{} in", digits(number_mm / LengthUnit::Inch.mm(), 3))
}

/// A figure as it goes into JSON: rounded to 1e-6 of its unit (1 nm), so that the text stays short.
pub fn json(number: f64) -> f64 {
    let rounded = (number * 1e6).round() / 1e6;
    if rounded == 0.0 { 0.0 } else { rounded }
}

/// A position or a direction as it goes into JSON; see [`json`]. Directions keep nine decimals.
pub fn json_place(place: &crate::space::Point) -> [f64; 3] {
    [json(place.x), json(place.y), json(place.z)]
}

/// A unit direction as it goes into JSON: nine decimals, 0.06 microdegree.
pub fn json_direction(direction: &crate::space::Vector) -> [f64; 3] {
    let keep = |v: f64| {
        let rounded = (v * 1e9).round() / 1e9;
        if rounded == 0.0 { 0.0 } else { rounded }
    };
    [keep(direction.x), keep(direction.y), keep(direction.z)]
}

/// A position in words for a message: `(12.34, -5.00, 3.20)`.
pub fn place_words(place: &crate::space::Point) -> String {
    format!("({}, {}, {})", digits(place.x, 2), digits(place.y, 2), digits(place.z, 2))
}

/// A direction in words for a message: `(0.087, 0.000, 0.996)`.
pub fn direction_words(d: &crate::space::Vector) -> String {
    format!("({}, {}, {})", digits(d.x, 3), digits(d.y, 3), digits(d.z, 3))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_figure_is_shown_with_its_unit_and_without_a_negative_zero() {
        assert_eq!(mm(5.037), "5.04 mm");
        assert_eq!(mm(-0.001), "0.00 mm");
        assert_eq!(deg(-12.34), "-12.3°");
        assert_eq!(show(3.0, Unit::Count), "3");
        assert_eq!(json(-1e-9).to_bits(), 0.0_f64.to_bits());
    }

    #[test]
    fn gauges_are_named_in_thousandths_of_an_inch() {
        assert_eq!([0.25, 0.5, 0.75].map(inches), ["0.010 in", "0.020 in", "0.030 in"]);
        assert_eq!(decimal_comma("0.25 mm (0.010 in). 3."), "0,25 mm (0,010 in). 3.");
    }

    #[test]
    fn gauge_of_ten_thousandths_of_an_inch_is_0_254_mm() {
        // Shortlist row 1 of the trade facts: 0.010/0.020/0.030 in = 0.254/0.508/0.762 mm (arithmetic).
        for (thousandths, expected_mm) in [(10.0, 0.254), (20.0, 0.508), (30.0, 0.762)] {
            assert!((thousandths / 1000.0 * LengthUnit::Inch.mm() - expected_mm).abs() < 1e-12);
        }
    }
}
