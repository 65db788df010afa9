//! The host side of Cuepost: read recordings, build references, replay, tune, watch, debrief.

pub mod adapt;
pub mod board;
pub mod brief;
pub mod cli;
pub mod compare;
pub mod conditions;
pub mod debrief;
pub mod demo;
pub mod durable;
pub mod geodesy;
pub mod landmarks;
pub mod learn;
pub mod live;
pub mod page;
pub mod record;
pub mod reference_file;
pub mod replay;
pub mod report;
pub mod session;
pub mod source;
pub mod tables;
pub mod thresholds_file;
pub mod tune;
