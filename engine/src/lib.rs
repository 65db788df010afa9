//! Cuepost's engine: a live stream of speed and position goes in, corner by corner cues come out.
//!
//! The stages follow one another in one direction, one file or folder each:
//! [`gate`] → [`progress`] → [`motion`] → [`phase`] → [`facts`] → [`judge`] → [`voice`].
//! [`Engine::feed`] runs them all for one [`Sample`] and returns the [`Event`]s it caused.
//!
//! The engine owns no clock, heap, file or port: time travels in the sample, and the same samples
//! give the same events on a laptop and on a microcontroller.
#![no_std]
#![forbid(unsafe_code)]
// Nothing that can panic stands where input gets to. Each arithmetic that is allowed by name was
// looked at; the fuzzer runs all of it with overflow checks.
#![cfg_attr(
    not(test),
    deny(
        clippy::unwrap_used,
        clippy::expect_used,
        clippy::indexing_slicing,
        clippy::string_slice,
        clippy::panic,
        clippy::unreachable,
        clippy::arithmetic_side_effects
    )
)]

#[cfg(test)]
extern crate std;

pub mod check;
pub mod cue;
pub mod engine;
pub mod event;
pub mod facts;
pub mod file;
pub mod gate;
pub mod judge;
pub mod math;
#[allow(
    clippy::arithmetic_side_effects,
    reason = "bounded by what is checked around it"
)]
pub mod motion;
#[allow(
    clippy::arithmetic_side_effects,
    reason = "bounded by what is checked around it"
)]
pub mod onset;
pub mod phase;
pub mod progress;
pub mod receiver;
pub mod reference;
pub mod sample;
pub mod thresholds;
pub mod trace;
pub mod voice;
pub mod wire;

pub use cue::{Advice, Cue, Phase, Size, Told, Way};
pub use engine::Engine;
pub use event::{Event, HealthEvent, HealthState, LapEvent, PaceEvent, PhaseEvent, Why};
pub use facts::{Facts, Measured};
pub use reference::{CarCurves, Corner, CornerKind, Frame, Landmark, Node, ReferenceView};
pub use sample::{Position, Sample};
pub use thresholds::{Config, Focus, Thresholds};
