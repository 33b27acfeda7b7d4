//! Quantity: keep-out of tori.
