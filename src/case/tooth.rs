//! Arches, tooth numbers (FDI, ISO 3950) and their other notations.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// One of the two arches.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Arch {
    /// Lower.
    Mandible,
    /// Upper.
    Maxilla,
}

impl Arch {
    /// The arch that bites against it.
    pub fn opposing(self) -> Arch {
        match self {
            Arch::Mandible => Arch::Maxilla,
            Arch::Maxilla => Arch::Mandible,
        }
    }

    /// `mandible` or `maxilla`.
    pub fn word(self) -> &'static str {
        match self {
            Arch::Mandible => "mandible",
            Arch::Maxilla => "maxilla",
        }
    }
}

/// Side of the patient.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Side {
    /// The patient's right.
    Right,
    /// The patient's left.
    Left,
}

impl Side {
    /// `left` or `right`.
    pub fn word(self) -> &'static str {
        match self {
            Side::Right => "right",
            Side::Left => "left",
        }
    }
}

/// A permanent tooth, FDI 11 to 48.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(try_from = "u8", into = "u8")]
pub struct Tooth(u8);

impl TryFrom<u8> for Tooth {
    type Error = String;
    fn try_from(fdi: u8) -> Result<Tooth, String> {
        Tooth::fdi(fdi).ok_or_else(|| format!("{fdi} is no permanent tooth in FDI numbers"))
    }
}

impl From<Tooth> for u8 {
    fn from(t: Tooth) -> u8 {
        t.0
    }
}

impl std::fmt::Display for Tooth {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}", self.0)
    }
}

impl Tooth {
    /// The tooth with this FDI number: quadrant 1 to 4, place 1 to 8.
    pub fn fdi(number: u8) -> Option<Tooth> {
        ((1..=4).contains(&(number / 10)) && (1..=8).contains(&(number % 10))).then_some(Tooth(number))
    }

    /// FDI number.
    pub fn number(self) -> u8 {
        self.0
    }

    /// Quadrant 1 to 4 (upper right, upper left, lower left, lower right).
    pub fn quadrant(self) -> u8 {
        self.0 / 10
    }

    /// Place from the midline, 1 to 8.
    pub fn place(self) -> u8 {
        self.0 % 10
    }

    /// Its arch.
    pub fn arch(self) -> Arch {
        if self.quadrant() <= 2 { Arch::Maxilla } else { Arch::Mandible }
    }

    /// Its side of the patient.
    pub fn side(self) -> Side {
        if matches!(self.quadrant(), 1 | 4) { Side::Right } else { Side::Left }
    }

    /// Whether it is a molar, 6 to 8.
    pub fn is_molar(self) -> bool {
        self.place() >= 6
    }

    /// Whether it is an incisor or a canine.
    pub fn is_front(self) -> bool {
        self.place() <= 3
    }

    /// Order along the arch from the patient's right to left: -8 to -1, 1 to 8.
    pub fn along(self) -> i8 {
        let place = self.place() as i8;
        if self.side() == Side::Right { -place } else { place }
    }

    /// The tooth of `arch` at an order along the arch; see [`Tooth::along`].
    pub fn at(arch: Arch, along: i8) -> Option<Tooth> {
        let quadrant = match (arch, along < 0) {
            (Arch::Maxilla, true) => 1,
            (Arch::Maxilla, false) => 2,
            (Arch::Mandible, false) => 3,
            (Arch::Mandible, true) => 4,
        };
        (along != 0 && along.unsigned_abs() <= 8).then(|| Tooth(quadrant * 10 + along.unsigned_abs()))
    }

    /// The same tooth on the other side.
    pub fn mirrored(self) -> Tooth {
        let quadrant = [2, 1, 4, 3][self.quadrant() as usize - 1];
        Tooth(quadrant * 10 + self.place())
    }

    /// The next tooth toward distal, none behind the third molar.
    pub fn distal(self) -> Option<Tooth> {
        (self.place() < 8).then(|| Tooth(self.0 + 1))
    }

    /// The next tooth toward mesial; across the midline from a central incisor.
    pub fn mesial(self) -> Tooth {
        if self.place() > 1 { Tooth(self.0 - 1) } else { self.mirrored() }
    }
}
