//! Spans and crest lines.
