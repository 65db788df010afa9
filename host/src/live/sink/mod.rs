//! What a drive is shown on. Each sink has a thread of its own and takes the newest it can get.

pub mod display;
pub mod lines;
pub mod page;
pub mod status;
pub mod terminal;
