//! When the car begins to turn into a bend.

use super::{CHANGES_MAX, Change};
use crate::motion::Moment;
use crate::onset::Instant;
use heapless::Vec;

/// Turning has ended when the lateral acceleration falls below this share of the level.
const RELEASE: f32 = 0.6;

/// The last moment, and whether the car turns.
#[derive(Clone, Copy, Debug, Default)]
pub struct Turn {
    last: Option<Before>,
    turning: bool,
}

/// What is needed of the last moment.
#[derive(Clone, Copy, Debug)]
struct Before {
    time_us: u64,
    progress_m: f32,
    speed_mps: f32,
    lat_mps2: f32,
    lap: u16,
}

impl Turn {
    /// The crossing of the level, upward, on either side.
    pub fn push(&mut self, now: &Moment, level_mps2: f32, changes: &mut Vec<Change, CHANGES_MAX>) {
        let Some(lat) = now.lat_mps2.map(f32::abs) else {
            self.last = None;
            return;
        };
        if self.turning {
            self.turning = lat > level_mps2 * RELEASE;
        } else if lat > level_mps2 {
            self.turning = true;
            if let Some(before) = self.last {
                let lat_before = before.lat_mps2;
                let share =
                    ((level_mps2 - lat_before) / (lat - lat_before).max(1e-3)).clamp(0.0, 1.0);
                let sd_s = (now.acc_sd_mps2() / ((lat - lat_before) / now.dt_s.max(1e-3)).max(1.0))
                    .min(0.5);
                let _ = changes.push(Change::TurnIn(Instant {
                    time_us: before.time_us
                        + ((now.time_us - before.time_us) as f32 * share) as u64,
                    progress_m: before.progress_m + before.speed_mps * now.dt_s * share,
                    speed_mps: now.speed_mps,
                    lap: before.lap,
                    sd_s,
                }));
            }
        }
        self.last = Some(Before {
            time_us: now.time_us,
            progress_m: now.progress_m,
            speed_mps: now.speed_mps,
            lat_mps2: lat,
            lap: now.lap,
        });
    }
}
