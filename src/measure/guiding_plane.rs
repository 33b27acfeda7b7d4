//! Quantity: guiding_plane.
