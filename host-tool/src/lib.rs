//! The cab and the office.
