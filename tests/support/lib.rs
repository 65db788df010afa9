//! What the tests of this crate share.

pub mod campaign;
pub mod csv;
pub mod drive;
pub mod track;
