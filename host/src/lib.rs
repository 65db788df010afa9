//! The host side of Cuepost: read recordings, build references, replay, tune, watch, debrief.

pub mod report;
