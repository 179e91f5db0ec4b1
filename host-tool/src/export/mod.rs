//! Data out.
