//! The bounds.
