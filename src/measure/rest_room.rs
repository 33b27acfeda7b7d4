//! Quantity: rest_room.
