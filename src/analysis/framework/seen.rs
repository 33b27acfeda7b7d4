//! The cast beside a framework, as a picture shows it.

use crate::case::Tooth;
use crate::facts::Facts;
use crate::mesh::Mesh;
use crate::space::{Frame, Point};

/// What is shown of the cast.
#[derive(Clone, Debug)]
pub struct CastSeen {
    /// Its surface, mm.
    pub mesh: Mesh,
    /// Its frame; `None` where it was not found.
    pub frame: Option<Frame>,
    /// Middles of its crowns, mm.
    pub teeth: Vec<(Tooth, Point)>,
}

impl CastSeen {
    /// The restored arch of a case.
    pub(super) fn of(facts: &Facts<'_>) -> CastSeen {
        let anatomy = &facts.restored.anatomy;
        CastSeen {
            mesh: facts.restored.mesh().clone(),
            frame: anatomy.frame.as_ref().ok().map(|known| known.frame),
            teeth: anatomy.crowns.iter().map(|c| (c.tooth, c.centre)).collect(),
        }
    }
}
