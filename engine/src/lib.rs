//! Cuepost's engine: a live stream of speed and position goes in, corner by corner cues come out.
//!
//! The stages follow one another in one direction, one file or folder each:
//! [`gate`] → [`progress`] → [`motion`] → [`phase`] → [`facts`] → [`judge`] → [`voice`].
//! [`Engine::feed`] runs them all for one [`Sample`] and returns the [`Event`]s it caused.
//!
//! The engine owns no clock, heap, file or port: time travels in the sample, and the same samples
//! give the same events on a laptop and on a microcontroller.
//!
//! # In another firmware
//!
//! Three things are needed: the bytes of a reference (the file that `cuepost learn` writes, in
//! flash), the bytes of a receiver, and something to show a cue. All of it has a fixed size and
//! nothing of it blocks or panics; give it bytes whenever there are some, and time is what the
//! receiver says.
//!
//! ```
//! use cuepost_engine::receiver::Receiver;
//! use cuepost_engine::reference::{self, ReferenceStore};
//! use cuepost_engine::{Config, Cue, Engine, Event, HealthState, Told, Way};
//!
//! /// Room for 9 km of line at 4.5 m, 32 corners and no landmarks: they are for people.
//! type Store = ReferenceStore<2000, 32, 0>;
//!
//! fn show(cue: &Cue) {
//!     let side = match cue.advice.way() {
//!         Way::Less => "left: sooner or less",
//!         Way::More => "right: later or more",
//!         Way::Keep => "both: keep it",
//!     };
//!     let next = cue.told == Told::Ahead; // a reminder, before the corner
//!     println!("{} {side} {:?}{}", cue.phase.name(), cue.size, if next { " NEXT" } else { "" });
//! }
//!
//! # let (flash, port) = (invented::reference(), invented::receiver());
//! let mut store = Store::new(); // 40 KB: a static, not the stack of a microcontroller
//! reference::decode(&flash, &mut store)?; // the error says which byte is wrong
//! let mut engine = Engine::new(Config::default());
//! let mut receiver = Receiver::default();
//! let (mut laps, mut trusted) = (0, false);
//! for byte in port {
//!     receiver.push(byte, |sample| {
//!         for event in engine.feed(&store.view(), &sample) {
//!             match event {
//!                 Event::Cue(cue) => show(cue),
//!                 Event::Lap(_) => laps += 1,
//!                 Event::Health(health) => trusted = health.state == HealthState::Ok,
//!                 _ => {}
//!             }
//!         }
//!     });
//! }
//! assert!(trusted && laps == 2);
//! # mod invented {
//! #     use cuepost_engine::reference::{self, ReferenceStore};
//! #     use cuepost_engine::{Frame, Node};
//! #     use std::f64::consts::TAU;
//! #     // A ring of 200 m on the equator, driven at 30 m/s.
//! #     const NODES: usize = 280;
//! #     const RADIUS_M: f64 = 200.0;
//! #     const LAP_S: f64 = RADIUS_M * TAU / 30.0;
//! #     const EAST_M: f64 = 0.011_131_949;
//! #     const NORTH_M: f64 = 0.011_057_427;
//! #     pub fn reference() -> Vec<u8> {
//! #         let mut store = Box::new(ReferenceStore::<512, 1, 0>::new());
//! #         store.frame = Frame::Geodetic {
//! #             lat_e7: 0,
//! #             lon_e7: 100_000_000,
//! #             east_m: EAST_M as f32,
//! #             east_lat_m: 0.0,
//! #             north_m: NORTH_M as f32,
//! #             north_lon2_m: 0.0,
//! #         };
//! #         store.spacing_m = (RADIUS_M * TAU / NODES as f64) as f32;
//! #         for i in 0..NODES {
//! #             let turned = i as f64 / NODES as f64;
//! #             let (north, east) = (turned * TAU).sin_cos();
//! #             let node = Node {
//! #                 east_mm: (east * RADIUS_M * 1e3).round() as i32,
//! #                 north_mm: (north * RADIUS_M * 1e3).round() as i32,
//! #                 time_ms: (turned * LAP_S * 1e3).round() as u32,
//! #                 speed_cmps: 3_000,
//! #                 curvature_e5: (1e5 / RADIUS_M) as i16,
//! #             };
//! #             store.nodes.push(node).expect("room");
//! #         }
//! #         store.session.lap_time_us = (LAP_S * 1e6) as u64;
//! #         store.session.rate_hz = 10.0;
//! #         let mut bytes = vec![0; 16_384];
//! #         let length = reference::encode(&store.view(), &mut bytes).expect("valid");
//! #         bytes.truncate(length);
//! #         bytes
//! #     }
//! #     // Ten sentences a second, from a little before the start line to a little behind it.
//! #     pub fn receiver() -> Vec<u8> {
//! #         let mut bytes = Vec::new();
//! #         for i in 0..(LAP_S * 22.0 + 50.0) as u32 {
//! #             let at_s = f64::from(i) * 0.1;
//! #             let angle = (at_s / LAP_S - 0.1) * TAU;
//! #             let (north, east) = angle.sin_cos();
//! #             let lat_min = north * RADIUS_M / NORTH_M * 60e-7;
//! #             let lon_min = east * RADIUS_M / EAST_M * 60e-7;
//! #             let half = if lat_min < 0.0 { 'S' } else { 'N' };
//! #             let (degrees, minutes) = (10.0 + lon_min / 60.0, (60.0 + lon_min) % 60.0);
//! #             let course = (360.0 - angle.to_degrees()).rem_euclid(360.0);
//! #             let body = format!(
//! #                 "GPRMC,12{:02}{:04.1},A,00{:010.7},{half},{:03}{:010.7},E,58.3153,{course:.2},010126,,,A",
//! #                 (at_s / 60.0) as u32, at_s % 60.0, lat_min.abs(), degrees as u32, minutes,
//! #             );
//! #             let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
//! #             bytes.extend(format!("${body}*{sum:02X}\r\n").bytes());
//! #         }
//! #         bytes
//! #     }
//! # }
//! # Ok::<(), cuepost_engine::file::FileFault>(())
//! ```
//!
//! [`wire`] has the frames and text lines that displays and the program understand, and the
//! repository's `firmware` folder lamps, strips, screens and a store that survives a power cut, for
//! anything that has `embedded-hal` pins.
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
pub mod noise;
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
