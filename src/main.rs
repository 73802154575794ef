//! stopwise.
fn main() {}
