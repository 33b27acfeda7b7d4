//! Why bytes hold no surface: what, where, what to do.

/// Where in a file something stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// Byte, counted from 0.
    Byte(usize),
    /// Line of text, counted from 1.
    Line(usize),
}

impl std::fmt::Display for Place {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Place::Byte(b) => write!(f, "byte {b}"),
            Place::Line(l) => write!(f, "line {l}"),
        }
    }
}

/// Why bytes hold no surface.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum LoadError {
    /// There is no such file.
    #[error("there is no such file; check the name and the folder")]
    Missing,
    /// The name is that of a folder.
    #[error("this is a folder, not a file; name the STL, PLY or OBJ file inside it")]
    Directory,
    /// The operating system would not give the bytes.
    #[error("the file cannot be read ({why}); check that it may be opened and that its disk is there")]
    Unreadable {
        /// What the operating system says.
        why: String,
    },
    /// Nothing in it.
    #[error("the file is empty (0 bytes); export the scan again")]
    Empty,
    /// Something else than a surface.
    #[error("the file is {what}, not an STL, PLY or OBJ surface; {mend}")]
    NotASurface {
        /// What it seems to be.
        what: String,
        /// What to do.
        mend: &'static str,
    },
    /// The file ends before what it declares.
    #[error(
        "the file declares {declared} {what}, but holds only {present} whole ones and ends at byte {byte}: \
         it was cut short while being written or copied, or is no scan; export or copy it again"
    )]
    Truncated {
        /// What is missing: triangles, vertices, faces.
        what: String,
        /// How many the file declares.
        declared: u64,
        /// How many are there.
        present: u64,
        /// Where the file ends.
        byte: usize,
    },
    /// A text file ends within a facet.
    #[error(
        "the text ends at line {line} within facet {facet} (facets are counted from 0): it was cut short while \
         being written or copied; export or copy it again"
    )]
    TextEnds {
        /// Last line.
        line: usize,
        /// The facet that is not whole.
        facet: usize,
    },
    /// A coordinate is NaN or infinite.
    #[error(
        "{owner} {index} (counted from 0) has a coordinate that is not a finite number, at {place}; \
         export the scan again"
    )]
    NotFinite {
        /// "triangle" or "vertex".
        owner: &'static str,
        /// Its index in the file.
        index: usize,
        /// Where it stands.
        place: Place,
    },
    /// A coordinate is so large that the file cannot be a scan.
    #[error(
        "vertex {vertex} (counted from 0) has a coordinate beyond a thousand kilometres; the file is damaged, \
         or its unit is not {unit}; export the scan again"
    )]
    TooFar {
        /// Its index in the file.
        vertex: usize,
        /// The unit that was assumed.
        unit: &'static str,
    },
    /// A line of a text format or of a PLY header makes no sense.
    #[error("{place}: {problem}; export the scan again or mend the file there")]
    Malformed {
        /// Where.
        place: Place,
        /// What.
        problem: String,
    },
    /// A face names a vertex that is not there.
    #[error(
        "face {face} (counted from 0), at {place}, names vertex {index}, but the file has {vertices} vertices \
         ({counted}); export the scan again"
    )]
    IndexOutOfRange {
        /// The face.
        face: usize,
        /// Where it stands.
        place: Place,
        /// The index as the file has it.
        index: String,
        /// Number of vertices.
        vertices: usize,
        /// How the format counts them.
        counted: &'static str,
    },
    /// No triangle in it.
    #[error("the file holds no triangle ({what}); export the scan as a surface")]
    NoTriangles {
        /// What it does hold.
        what: String,
    },
    /// More than 32-bit indices can number.
    #[error("the file has more than 4,294,967,294 vertices or triangles; reduce the scan")]
    TooMany,
}

impl LoadError {
    /// The error to print where a file could not be opened or read.
    pub fn from_io(error: &std::io::Error) -> LoadError {
        match error.kind() {
            std::io::ErrorKind::NotFound => LoadError::Missing,
            std::io::ErrorKind::IsADirectory => LoadError::Directory,
            _ => LoadError::Unreadable { why: error.to_string() },
        }
    }
}
