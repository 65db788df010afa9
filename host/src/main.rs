//! The program `cuepost`.

fn main() {}
