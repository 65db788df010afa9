//! What the tests of this crate share.

pub mod board;
pub mod campaign;
pub mod command;
pub mod csv;
pub mod drive;
pub mod faults;
pub mod hostile;
pub mod python;
pub mod ring;
pub mod scored;
pub mod track;
