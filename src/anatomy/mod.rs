//! What is where on a cast: frame, teeth, margins, spans, crest lines. A mark of the case file overrides what is found.
//!
//! Where neither a mark nor a finder gives a thing, it is absent and a [`NotMeasured`] says what would settle it.

pub mod arch_form;
pub mod base;
pub mod crest;
pub mod crowns;
pub mod curves;
pub mod found_teeth;
pub mod frame;
pub mod guess;
pub mod margins;
pub mod plan;
pub mod presence;
mod quadric;
pub mod region;
pub mod ridge;
pub mod ridge_end;
pub mod ridge_section;
pub mod segment;
pub mod spans;
pub mod symmetry;
pub mod teeth;
#[cfg(test)]
mod test_casts;

use crate::case::{SpanKind, Tooth};
use crate::estimate::{Measured, NotMeasured};
use crate::mesh::{FaceId, VertexId};
use crate::space::{Frame, Point};

/// Where a fact comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Origin {
    /// Marked or labelled by the user.
    Given,
    /// Found on the scan.
    Found,
}

/// A frame and how well it is known.
#[derive(Clone, Debug, PartialEq)]
pub struct KnownFrame {
    /// The frame.
    pub frame: Frame,
    /// Whence.
    pub origin: Origin,
    /// 0 to 1.
    pub confidence: f64,
    /// Standard uncertainty of the occlusal direction, degrees.
    pub uncertainty_deg: f64,
    /// Whether the anterior direction is known; without it left and right, mesial and distal are not told.
    pub anterior_known: bool,
}

impl KnownFrame {
    /// A frame that is given, anterior told, with its uncertainty in degrees.
    pub fn given(frame: Frame, uncertainty_deg: f64) -> KnownFrame {
        KnownFrame { frame, origin: Origin::Given, confidence: 1.0, uncertainty_deg, anterior_known: true }
    }

    /// The frame, where it was given or its confidence reaches `least`.
    ///
    /// # Errors
    /// The confidence reached, and what to mark.
    pub fn sure(self, least: f64) -> Measured<KnownFrame> {
        if self.origin == Origin::Given || self.confidence >= least {
            return Ok(self);
        }
        let reached = crate::units::show(self.confidence, crate::units::Unit::Share);
        Err(NotMeasured::new(
            format!("the occlusal plane found on the scan is uncertain (confidence {reached})"),
            frame::MARK_THE_PLANE,
        ))
    }
}

/// What a vertex belongs to; the numbers go into `anatomy.ply`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Region {
    /// Not told.
    Other = 0,
    /// Crown of a tooth.
    Tooth = 1,
    /// Gingiva.
    Gingiva = 2,
    /// Residual ridge of a span.
    ResidualRidge = 3,
    /// Torus.
    Torus = 4,
    /// Palate.
    Palate = 5,
    /// Base of the model.
    Base = 6,
}

/// How much a figure is a sign of something, 0 to 1: nothing up to `none`, all from `full` on, straight between.
pub fn sign(value: f64, none: f64, full: f64) -> f64 {
    ((value - none) / (full - none)).clamp(0.0, 1.0)
}

/// A crown on the cast.
#[derive(Clone, Debug, PartialEq)]
pub struct Crown {
    /// Its number.
    pub tooth: Tooth,
    /// Triangles of the crown, ascending.
    pub faces: Vec<FaceId>,
    /// Vertices of those triangles, ascending.
    pub vertices: Vec<VertexId>,
    /// Gingival margin as a closed curve on the surface, first position not repeated; empty where it is not known.
    pub margin: Vec<Point>,
    /// Centroid of the crown's surface, mm.
    pub centre: Point,
    /// Area of the crown, mm2.
    pub area_mm2: f64,
    /// 0 to 1.
    pub confidence: f64,
    /// Whence.
    pub origin: Origin,
}

/// An edentulous span on the cast.
#[derive(Clone, Debug, PartialEq)]
pub struct Span {
    /// Missing teeth, from the patient's right to left.
    pub teeth: Vec<Tooth>,
    /// With or without a tooth behind.
    pub kind: SpanKind,
    /// Abutment in front of the span (in a span across the midline its right-hand one).
    pub front: Option<Tooth>,
    /// The other abutment.
    pub back: Option<Tooth>,
    /// Crest line on the surface, from the front abutment backwards, stations at most 0.5 mm apart.
    pub crest: Measured<Vec<Point>>,
    /// Whence the crest.
    pub crest_origin: Origin,
    /// Where the ridge of a distal extension ends, where its crest is known.
    pub end: Option<ridge_end::RidgeEnd>,
    /// Sections square to the crest, a millimetre apart; empty where the crest or the frame is not known.
    pub sections: Vec<ridge_section::Section>,
    /// Triangles of the surface of the residual ridge that they tell, ascending.
    pub faces: Vec<FaceId>,
}

/// What was found on one arch.
#[derive(Clone, Debug)]
pub struct Anatomy {
    /// Its frame.
    pub frame: Measured<KnownFrame>,
    /// Crowns, by tooth number.
    pub crowns: Vec<Crown>,
    /// Why crowns are missing that the chart calls present.
    pub crowns_lacking: Option<NotMeasured>,
    /// Teeth whose marked margin encloses no crown, with the reason.
    pub margins_unused: Vec<(Tooth, NotMeasured)>,
    /// Marked crest lines that fit no span of the chart, by their order in the case file.
    pub unused_crests: Vec<usize>,
    /// What came of the search for teeth; `None` where there was none to be made.
    pub found_teeth: Option<found_teeth::FoundTeeth>,
    /// Spans from the patient's right to left; of the restored arch only.
    pub spans: Vec<Span>,
    /// Region of each vertex.
    pub region: Vec<Region>,
    /// FDI number of each vertex, 0 = none.
    pub tooth_of: Vec<u8>,
}

impl Anatomy {
    /// A frame and nothing else, for a surface of so many vertices.
    pub fn bare(frame: Measured<KnownFrame>, vertices: usize) -> Anatomy {
        Anatomy {
            frame,
            crowns: Vec::new(),
            crowns_lacking: None,
            margins_unused: Vec::new(),
            unused_crests: Vec::new(),
            found_teeth: None,
            spans: Vec::new(),
            region: vec![Region::Other; vertices],
            tooth_of: vec![0; vertices],
        }
    }

    /// The crown of a tooth.
    pub fn crown(&self, tooth: Tooth) -> Option<&Crown> {
        self.crowns.iter().find(|c| c.tooth == tooth)
    }
}
