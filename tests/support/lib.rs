//! What the tests of this crate share.

pub mod csv;
pub mod drive;
pub mod track;
