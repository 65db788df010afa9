//! A session on one page that needs nothing else: where the time went, and what to work on first.

pub mod composite;
mod data;
pub mod findings;
pub mod grip;
mod page;
pub mod unjudged;
mod words;

pub use page::render;

use crate::session::Session;
use cuepost_engine::{Config, ReferenceView};

/// Everything a page is made of.
#[derive(Clone, Copy)]
pub struct Debrief<'a> {
    /// The recording's name for people.
    pub recording: &'a str,
    /// The session's notes, may be empty.
    pub conditions: &'a str,
    /// What it was held against.
    pub reference: &'a ReferenceView<'a>,
    /// What was measured.
    pub session: &'a Session,
    /// The thresholds it was judged with.
    pub config: &'a Config,
    /// The units to write.
    pub units: crate::report::units::Units,
}
