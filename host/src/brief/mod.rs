//! The coach's sheet: a reference in words that can be read aloud, corner by corner.
//!
//! [`sheet`] says everything once; [`text`] and [`page`] only lay it out, `map` draws the line.

mod map;
mod page;
mod sheet;
mod text;

pub use page::page;
pub use sheet::{CornerSheet, Sheet, Worth, sheet};
pub use text::{markdown, text};
