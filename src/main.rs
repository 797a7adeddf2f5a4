//! Arguments to library calls.

fn main() {}
