//! A case to its report.
