//! Fixed binary packets, read as a layout file says: any simulator's published packet without code.
//!
//! [`mod@file`] is a checked [`Layout`], read from TOML; [`reader`] cuts datagrams into records, puts
//! them in [`order`], reads their [`values`] and joins packets of the same time to one sample.

pub mod channel;
pub mod classify;
pub mod field;
pub mod file;
pub mod order;
mod parse;
pub mod reader;
pub mod show;
pub mod values;

pub use file::{Layout, LayoutError};
pub use reader::{Counts, PacketReader, Refused, Step};

#[cfg(test)]
mod tests;
