//! Published check values, each with its source.

mod framing;
mod receivers;
mod slope;
