//! The coach's desk: what it makes of drives whose faults are known.

#[path = "../live/chrome.rs"]
#[allow(dead_code)]
mod chrome;
mod debrief;
mod many;
mod sliders;
mod stage;
mod tables;
mod tune;
