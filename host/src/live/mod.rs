//! Watching a drive live: ports in, engine, displays and recording out.
//!
//! Each part has a thread of its own: a reader ([`input`]), the engine ([`watcher`]), the
//! [`recorder`], and one for each [`sink`]. They are joined by bounded queues ([`queue`]): to the
//! recorder one that loses nothing, to the sinks ones that keep the newest.

pub mod counters;
pub mod drive;
pub mod input;
pub mod latency;
pub mod layout;
pub mod message;
pub mod port;
pub mod queue;
pub mod recorder;
pub mod sink;
pub mod summary;
pub mod watcher;
