//! The command line: words in, exit code out.

fn main() {}
