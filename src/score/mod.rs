//! Answers against truth.
