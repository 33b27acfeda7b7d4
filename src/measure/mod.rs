//! One file a quantity. Each opens with its definition, method, error and what checks it.

pub mod approach_arm;
pub mod articulation;
pub mod beyond_plane;
pub mod blockout;
pub mod body_fit;
pub mod bulge_areas;
pub mod clean_line;
pub mod clearance;
pub mod column;
pub mod connector;
pub mod crest_line;
pub mod crown_wall;
pub mod denture_teeth;
pub mod excursion;
pub mod framework;
pub mod gauges;
pub mod guiding_plane;
mod joined;
pub mod keepout;
pub mod palate;
pub mod path_of_insertion;
pub mod plane_preparation;
pub mod reciprocal;
pub mod registration;
pub mod rest_room;
pub mod rest_seat;
pub mod ridge_change;
pub mod ridge_form;
pub mod site_room;
pub mod survey_line;
pub mod teeth_moved;
pub mod tooth_axes;
pub mod torus;
pub mod tripod;
pub mod undercut;

#[cfg(test)]
mod mirrored_pairs;
#[cfg(test)]
pub(crate) mod shapes;
