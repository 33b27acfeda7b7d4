//! A report and its surfaces to bytes. Computes nothing but layout and pictures.

pub mod colour;
pub mod html;
pub mod json;
pub mod picture;
pub mod ply;
mod ridge_tables;
pub mod sheet;
pub mod stl;
pub mod support_chart;
mod support_tables;
pub mod svg;
pub mod tables;
pub mod text;
pub mod tilt_map;
