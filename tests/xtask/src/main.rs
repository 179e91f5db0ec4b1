//! The verbs a person runs on this tree.
fn main() {}
