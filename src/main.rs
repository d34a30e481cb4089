//! The command line's entry.
fn main() {}
