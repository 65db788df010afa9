//! Watching a drive live: ports in, engine, displays and recording out.

pub mod layout;
pub mod port;
