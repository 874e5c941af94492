//! The command line: parse arguments, call the libraries, print.

fn main() {}
