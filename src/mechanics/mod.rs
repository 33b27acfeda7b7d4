//! Support of the denture and clasp flexure. Filled by a later issue.
