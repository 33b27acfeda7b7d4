//! Solids with known answers and whole synthetic casts with their truth.

pub mod solids;
pub mod stl;
