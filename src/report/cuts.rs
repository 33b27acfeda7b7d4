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
    /// Lines that are drawn finer, such as the relief over a torus.
    pub fine: Vec<Vec<Flat>>,
    /// Bodies that stand in the section, such as the parts of an attachment.
    pub bodies: Vec<Body2>,
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

/// A body in a section.
#[derive(Clone, Debug, PartialEq)]
pub struct Body2 {
    /// Its outline, closed.
    pub outline: Vec<Flat>,
    /// Its name and height in words.
    pub says: String,
}

/// The lingual wall of a mandible, unrolled: across, mm along the arch from its right end; down, mm along the tissue from the
/// gingival margin.
#[derive(Clone, Debug, PartialEq)]
pub struct Unrolled {
    /// Its stations.
    pub stations: Vec<UnrolledStation>,
    /// Levels that a connector wants, mm below the margin, with their words.
    pub levels: Vec<(f64, String)>,
}

/// A station of the unrolled wall.
#[derive(Clone, Debug, PartialEq)]
pub struct UnrolledStation {
    /// Distance along the arch, mm.
    pub s_mm: f64,
    /// Nearest tooth, FDI.
    pub tooth: String,
    /// Depth to where the recorded wall ends, mm.
    pub recorded_mm: Option<f64>,
    /// Depth probed in the mouth, interpolated, mm.
    pub probed_mm: Option<f64>,
    /// Parts that tori take: from and to, mm.
    pub tori_mm: Vec<[f64; 2]>,
}
