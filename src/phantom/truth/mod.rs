//! What is true of a phantom, from its distance function and never from its triangles.
//!
//! Opening and withdrawal are +z in a mandible and -z in a maxilla: the occlusal plane of every phantom is z = 0.
//!
//! | part | what it answers |
//! |---|---|
//! | [`margin`](mod@margin) | where a crown ends |
//! | [`crest`](mod@crest) | where the crest of a ridge runs, and the room over it |
//! | [`near`] | the nearest place of a surface |
//! | [`spans`](mod@spans) | where teeth are missing |
//! | [`room`] | room for a body of given footprint |
//! | [`undercut`], [`surfaces`] | undercut depth of a place; the deepest of each surface of a crown |
//! | [`survey`] | the survey line of a crown |
//! | [`tori`] | summit, height, outline and lobes of tori |
//! | [`lingual`] | the wall from the margin to the floor of the mouth |
//! | [`seats`] | floor and depth of rest seats |
//! | [`record`](mod@record) | all of it as JSON |

pub mod crest;
pub mod lingual;
pub mod margin;
pub mod near;
pub mod record;
pub mod room;
pub mod seats;
pub mod spans;
pub mod surfaces;
pub mod survey;
pub mod tori;
pub mod undercut;

pub use crest::{along_mm, crest};
pub use margin::{crown_of, labels, margin, on_crown, proximal_s};
pub use near::foot;
pub use record::{Wanted, record};
pub use room::Body;
pub use spans::spans;
pub use tori::torus_height;
pub use undercut::{occlusal, undercut_mm};
