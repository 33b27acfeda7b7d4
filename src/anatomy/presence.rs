//! Where along the arch there are teeth, and whether that agrees with the chart and with the names of the files.

use super::KnownFrame;
use crate::case::{Arch, Chart};
use crate::mesh::Mesh;
use crate::mesh::audit::Defect;

/// One arch as it is compared with its name and its chart.
#[derive(Clone, Copy, Debug)]
pub struct ArchView<'a> {
    /// The arch that the file is said to hold.
    pub arch: Arch,
    /// Its surface.
    pub mesh: &'a Mesh,
    /// Its frame, where known.
    pub frame: Option<&'a KnownFrame>,
    /// Its chart, where there is one.
    pub chart: Option<&'a Chart>,
}

/// Whether the file named mandible holds the maxilla and the other way round; `None` where nothing speaks for it.
pub fn swapped(_mandible: &ArchView<'_>, _maxilla: &ArchView<'_>) -> Option<Defect> {
    None
}

/// Whether gaps stand on the side opposite to the chart; `None` where chart and scan agree or the scan does not tell.
pub fn gap_on_other_side(_view: &ArchView<'_>) -> Option<Defect> {
    None
}
