//! Reports to bytes.
