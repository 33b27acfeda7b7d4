//! Measures scans of both arches before a removable partial denture is designed.
//!
//! Lengths are millimetres, angles degrees. Positions are in the file's own axes; each arch has a frame (occlusal,
//! anterior, left). The data takes one way: bytes, [`load::Import`], [`case::Case`], [`facts`], [`estimate::Estimate`],
//! [`report::Finding`], [`report::Report`], bytes.
//!
//! | module | what it holds |
//! |---|---|
//! | [`units`], [`space`], [`estimate`] | words: units and rounding, points and frames, figures with uncertainty |
//! | [`mesh`], [`load`], [`locate`] | surfaces: valid meshes and their defects, file formats, nearest points and rays |
//! | [`case`] | the case file, chart, Kennedy class, marks |
//! | [`anatomy`] | what is where: frame, crowns, margins, spans, crest lines |
//! | [`measure`], [`mechanics`] | one file a quantity |
//! | [`phantom`] | solids and casts with known answers |
//! | [`rules`], [`report`] | limits with their sources; the vocabulary of results |
//! | [`checks`], [`analysis`] | facts to findings; a case to its report |
//! | [`render`], [`cli`], [`serve`] | a report to bytes; the commands; the work sheet on screen |

pub mod analysis;
pub mod anatomy;
pub mod case;
pub mod checks;
pub mod cli;
pub mod estimate;
pub mod facts;
pub mod load;
pub mod locate;
pub mod measure;
pub mod mechanics;
pub mod mesh;
pub mod phantom;
pub mod render;
pub mod report;
pub mod rules;
pub mod serve;
pub mod space;
pub mod units;
