//! The binary `borewitness`.
fn main() {}
