//! Sections and profiles that are drawn beside the figures.

/// A position in a section: across (mm, to the right) and up (mm, along the direction it is measured in).
pub type Flat = [f64; 2];

/// A plane section through the arches.
#[derive(Clone, Debug, PartialEq)]
pub struct Cut {
    /// Name of its file, without ending.
    pub name: String,
    /// What it shows.
    pub caption: String,
    /// What stands at the right-hand end of the across axis, such as `buccal`.
    pub right: String,
    /// What stands at the left-hand end.
    pub left: String,
    /// The cast or tissue that is measured.
    pub tissue: Vec<Vec<Flat>>,
    /// The opposing surface.
    pub opposing: Vec<Vec<Flat>>,
    /// Measured lengths: from, to, and the figure in words.
    pub measures: Vec<Span2>,
    /// A vertical rod: where it stands.
    pub rod: Option<Flat>,
    /// Places with their names.
    pub marks: Vec<Mark2>,
}

/// A named place in a section.
#[derive(Clone, Debug, PartialEq)]
pub struct Mark2 {
    /// Where.
    pub at: Flat,
    /// Its name.
    pub says: String,
}

/// A measured length in a section.
#[derive(Clone, Debug, PartialEq)]
pub struct Span2 {
    /// From.
    pub from: Flat,
    /// To.
    pub to: Flat,
    /// The figure in words.
    pub says: String,
}
