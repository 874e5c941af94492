//! Time to solve a tree of 1,000 nodes.
fn main() {}
