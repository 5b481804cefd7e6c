//! The `towpath` command.
fn main() {}
