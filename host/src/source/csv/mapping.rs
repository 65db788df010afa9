//! What the user says of a column.

use super::names::{self, Channel};
use crate::source::report::{Fault, SourceError};

/// A wish of the user: this column is that channel.
#[derive(Clone, Debug, PartialEq)]
pub struct Mapping {
    /// What it is.
    pub(super) channel: Channel,
    /// The table's own name for it.
    pub(super) source: String,
}

impl Mapping {
    /// Reads `time_s=Zeit`: a name of the accepted ones, then the column's own.
    pub fn parse(text: &str) -> Result<Self, SourceError> {
        let option = |words: String| SourceError::new(None, Fault::Option(words));
        let (target, source) = text.split_once('=').ok_or_else(|| {
            option(format!(
                "--column {text}: write NAME=COLUMN, for instance time_s=Zeit"
            ))
        })?;
        let (_, channel) = names::channel(target, None).ok_or_else(|| {
            option(format!(
                "--column {text}: `{target}` is none of the names there are: {}",
                names::all()
            ))
        })?;
        Ok(Self {
            channel,
            source: source.trim().to_owned(),
        })
    }
}
