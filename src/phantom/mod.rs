//! Solids with known answers and whole synthetic casts with their truth.
//!
//! | part | what it holds |
//! |---|---|
//! | [`solids`] | closed-form solids and their formulas |
//! | [`patient`] | a described patient made into a pair of casts |
//! | [`arch`], [`crown`], [`cast`] | the signed distance field of an arch |
//! | [`contour`], [`refine`], [`scan`] | the field as triangles |
//! | [`stl`] | triangles as bytes |

pub mod arch;
pub mod cast;
pub mod contour;
pub mod crown;
pub mod field;
pub mod patient;
pub mod refine;
pub mod scan;
pub mod solids;
pub mod stl;
