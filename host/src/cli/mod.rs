//! The commands of the program, one file each.

pub mod check;
