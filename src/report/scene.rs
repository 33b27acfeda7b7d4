//! What stands in space: the surfaces, solids, curves and places of a case, which the page shows and the exports hold.
//! Positions in mm of the file's own axes.

use crate::mesh::Mesh;
use crate::space::{Direction, Frame, Point, Vector};

/// What a curve is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum CurveKind {
    /// Survey line (height of contour) of an abutment.
    SurveyLine,
    /// Gingival margin of a tooth.
    Margin,
    /// Crest of a residual ridge.
    Crest,
    /// Outline of a torus.
    Torus,
    /// Where nothing rigid may bear because of a torus.
    KeepOut,
    /// Border of the way that a major connector has.
    ConnectorBorder,
}

impl CurveKind {
    /// All kinds, in the order in which they are written.
    pub const ALL: [CurveKind; 6] = [
        CurveKind::SurveyLine,
        CurveKind::Margin,
        CurveKind::Crest,
        CurveKind::Torus,
        CurveKind::KeepOut,
        CurveKind::ConnectorBorder,
    ];

    /// Its name in files and language files.
    pub fn id(self) -> &'static str {
        match self {
            CurveKind::SurveyLine => "survey_line",
            CurveKind::Margin => "gingival_margin",
            CurveKind::Crest => "ridge_crest",
            CurveKind::Torus => "torus_outline",
            CurveKind::KeepOut => "keep_out",
            CurveKind::ConnectorBorder => "connector_border",
        }
    }
}

/// A curve on the cast.
#[derive(Clone, Debug, PartialEq)]
pub struct Curve {
    /// What it is.
    pub kind: CurveKind,
    /// Whose: a tooth, a span, a side; FDI numbers.
    pub of: String,
    /// Its places; a closed curve repeats its first.
    pub places: Vec<Point>,
    /// Normal of the cast at each place.
    pub outward: Vec<Vector>,
}

/// What a place is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum SpotKind {
    /// Where the tip of a gauge rests.
    Gauge,
    /// Tripod mark.
    Tripod,
    /// Summit of a torus.
    Summit,
}

impl SpotKind {
    /// All kinds, in the order in which they are written.
    pub const ALL: [SpotKind; 3] = [SpotKind::Gauge, SpotKind::Tripod, SpotKind::Summit];

    /// Its name in files and language files.
    pub fn id(self) -> &'static str {
        match self {
            SpotKind::Gauge => "gauge_points",
            SpotKind::Tripod => "tripod_marks",
            SpotKind::Summit => "torus_summits",
        }
    }
}

/// A place on the cast.
#[derive(Clone, Debug, PartialEq)]
pub struct Spot {
    /// What it is.
    pub kind: SpotKind,
    /// Where.
    pub at: Point,
    /// What is read there, in words.
    pub says: String,
}

/// What a solid is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum SolidKind {
    /// Envelope of the attachment with its tooth, in its best pose.
    Attachment,
    /// Relief over tori.
    KeepOut,
    /// Dead space to block out.
    Blockout,
}

impl SolidKind {
    /// All of them, in the order of files and lists.
    pub const ALL: [SolidKind; 3] = [SolidKind::Attachment, SolidKind::KeepOut, SolidKind::Blockout];

    /// Its name in files and language files.
    pub fn id(self) -> &'static str {
        match self {
            SolidKind::Attachment => "attachment_envelope",
            SolidKind::KeepOut => "keepout_relief",
            SolidKind::Blockout => "blockout",
        }
    }
}

/// A closed solid.
#[derive(Clone, Debug)]
pub struct Solid {
    /// What it is.
    pub kind: SolidKind,
    /// Its surface.
    pub mesh: Mesh,
}

/// Everything of a case that stands in space. A value of a vertex is `None` where it was not measured.
#[derive(Clone, Debug)]
pub struct Scene<'a> {
    /// The arch that gets the denture.
    pub restored: &'a Mesh,
    /// The other arch.
    pub opposing: Option<&'a Mesh>,
    /// Whether the restored arch is the upper one.
    pub upper: bool,
    /// Axes of the restored arch.
    pub frame: Option<Frame>,
    /// The way in which the denture comes out.
    pub withdrawal: Option<Direction>,
    /// Undercut depth of each vertex of the restored arch, mm; 0 where free.
    pub undercut_mm: Vec<Option<f64>>,
    /// Nearest distance of each vertex to the opposing arch, mm.
    pub nearest_mm: Vec<Option<f64>>,
    /// Distance along the opening direction, mm.
    pub along_mm: Vec<Option<f64>>,
    /// FDI number of each vertex's tooth, 0 where there is none.
    pub tooth_of: &'a [u8],
    /// Number of each vertex's region, as in `anatomy.ply`.
    pub region: Vec<u8>,
    /// Tooth numbers with the middle of their crown.
    pub teeth: Vec<(String, Point)>,
    /// Solids.
    pub solids: Vec<Solid>,
    /// Curves.
    pub curves: Vec<Curve>,
    /// Places.
    pub spots: Vec<Spot>,
}

impl Scene<'_> {
    /// Curves of a kind.
    pub fn curves_of(&self, kind: CurveKind) -> impl Iterator<Item = &Curve> {
        self.curves.iter().filter(move |c| c.kind == kind)
    }

    /// Places of a kind.
    pub fn spots_of(&self, kind: SpotKind) -> impl Iterator<Item = &Spot> {
        self.spots.iter().filter(move |s| s.kind == kind)
    }
}
