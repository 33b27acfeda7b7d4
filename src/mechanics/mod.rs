//! How a removable partial denture is carried: framework and bases as rigid bodies, abutments as roots in springy sockets,
//! the residual ridge as a bed of springs that only push; and how much a clasp arm gives.
//!
//! Nothing here knows a limit or gives advice, and nothing here reads a scan: a [`scene::Scene`] holds the measured
//! geometry, a [`scene::Stiffness`] the assumed numbers.

pub mod answers;
pub mod bed;
pub mod clasp_flexure;
#[cfg(test)]
mod closed_forms;
pub mod design;
pub mod equilibrium;
mod linear;
pub mod sampling;
pub mod scene;
pub mod sensitivity;
pub mod springs;
