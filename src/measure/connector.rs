//! Quantity: connector.
