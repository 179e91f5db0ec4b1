//! Sensors that nobody here wrote.
