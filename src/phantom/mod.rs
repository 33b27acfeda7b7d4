//! Solids with known answers and whole synthetic casts with their truth.
//!
//! | part | what it holds |
//! |---|---|
//! | [`solids`] | closed-form solids and their formulas |
//! | [`patient`] | a described patient made into a pair of casts |
//! | [`arch`], [`crown`], [`tissue`], [`base`], [`cast`] | the signed distance field of an arch |
//! | [`contour`], [`refine`], [`scan`] | the field as triangles |
//! | [`truth`] | what is true of a cast, from its field |
//! | [`faults`] | what goes wrong with a scan, on request |
//! | [`framework`] | frameworks for the demonstration cases, sound and with stated faults |
//! | [`stl`], [`demo`] | triangles as bytes; the demonstration cases |

pub mod arch;
pub mod base;
mod bite;
mod case_readme;
mod case_text;
pub mod cast;
pub mod contour;
pub mod crown;
pub mod demo;
pub mod faults;
pub mod field;
pub mod framework;
pub mod patient;
pub mod people;
mod process;
pub mod refine;
mod row;
pub mod scan;
pub mod solids;
pub mod stl;
pub mod tissue;
pub mod truth;
