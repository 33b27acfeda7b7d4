//! A report and its surfaces to bytes. Computes nothing but layout and pictures.

pub mod base64;
pub mod change;
pub mod colour;
pub mod curves;
pub mod display_mesh;
pub mod framework;
pub mod gltf;
pub mod html;
pub mod json;
pub mod page;
pub mod picture;
pub mod ply;
mod ridge_tables;
pub mod sheet;
pub mod solid_view;
pub mod stl;
pub mod support_chart;
mod support_tables;
pub mod svg;
pub mod tables;
pub mod text;
pub mod tilt_map;
pub mod unrolled;
pub mod words;
