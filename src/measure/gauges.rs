//! Quantity: undercut by gauge, surface by surface of an abutment.
