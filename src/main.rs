//! The `railrise` program.
fn main() {}
