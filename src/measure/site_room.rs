//! Quantity: site_room.
