//! Where a drive's samples come from.

pub mod decode;
mod line_watch;
pub mod open;
mod outlet;
pub mod paced;
pub mod serial;
mod source;
pub mod stdin;
pub mod udp;

pub use decode::Decode;
pub use open::{How, OpenSourceFault, Opened, open};
pub use outlet::Outlet;
pub use source::{BAUD_DEFAULT, Source, SourceFault};
