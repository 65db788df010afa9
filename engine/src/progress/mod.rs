//! Where on the reference line the car is, and when it crosses the start line.

mod fusion;
mod laps;
mod line;
mod search;
mod state;
mod track;

use crate::event::{HealthState, Why};
use crate::gate::Admitted;
use crate::reference::{ReferenceView, SourceKind};
use fusion::Fusion;
use laps::{Course, Instant, Laps};
use line::Mark;
use search::Search;
use state::{Conduct, States};
use track::Track;

/// Where the car is on the line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// Metres from the start line along the reference, in `[0, length)`.
    pub progress_m: f32,
    /// Metres left of the reference line, the day's common offset taken out.
    pub offset_m: f32,
    /// Metres of progress gained since the place before.
    pub step_m: f32,
    /// Direction of travel against the line's, radians, left positive; none without a course.
    pub slip_rad: Option<f32>,
    /// Lap under way, from 1; 0 before the first crossing.
    pub lap: u16,
    /// A forward crossing of the start line between the sample before and this one.
    pub crossing: Option<Crossing>,
    /// Whether the place may be used: anything but `Ok` keeps the voice silent.
    pub state: HealthState,
    /// Why it is not `Ok`.
    pub why: Why,
}

/// A forward crossing of the start line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Crossing {
    /// Interpolated source time, microseconds.
    pub time_us: u64,
    /// The lap it closed; `None` for the first crossing or after a lap that was not whole.
    pub closed: Option<Closed>,
}

/// A lap that a crossing closed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Closed {
    /// Its number.
    pub lap: u16,
    /// Its time, microseconds.
    pub time_us: u64,
    /// Driven whole: no gap, pit lane, standing, wrong way or off-track.
    pub valid: bool,
}

/// What the source is found to be off by against the reference, as far as it is known yet.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Correction {
    /// Common offset of the position to the east, metres.
    pub east_m: f32,
    /// Common offset of the position to the north, metres.
    pub north_m: f32,
    /// Standard deviation of the two, metres each.
    pub offset_sd_m: f32,
    /// Seconds by which the speed lags behind the position.
    pub lag_s: f32,
    /// Metres driven for each metre that the speed says.
    pub stretch: f32,
}

/// The memory of the progress stage.
#[derive(Clone, Debug, Default)]
pub struct Progress {
    mode: Mode,
    fusion: Fusion,
    states: States,
    laps: Laps,
}

/// How the car was last seen from the line.
#[derive(Clone, Copy, Debug)]
struct Seen {
    mark: Mark,
    left_m: f32,
    slip_rad: Option<f32>,
    rate_mps: f32,
    step_m: f32,
}

/// Whether the place is known.
#[derive(Clone, Debug)]
enum Mode {
    Searching(Search),
    Following(Track),
}

impl Default for Mode {
    fn default() -> Self {
        Self::Searching(Search::default())
    }
}

impl Progress {
    /// Follows the car to an admitted sample; `None` while lost.
    ///
    /// A sample with `dt_s` 0 begins a new session: the lap under way is dropped.
    pub fn advance(&mut self, line: &ReferenceView<'_>, at: &Admitted) -> Option<Place> {
        if line.nodes.len() < 4 || line.spacing_m.is_nan() || line.spacing_m <= 0.0 {
            return None;
        }
        let course = Course {
            length_m: line.length_m(),
            lap_time_us: line.session.lap_time_us,
        };
        if at.dt_s <= 0.0 {
            self.begin(line.session.source);
        } else if at.broken {
            self.laps.spoil();
            self.states.degrade(Why::Gap);
        }
        let teach = self.states.get().0 == HealthState::Ok;
        let step_m = match &mut self.mode {
            Mode::Searching(search) => {
                let Some(found) = search.advance(line, at) else {
                    self.states.lose(search.why());
                    return None;
                };
                self.fusion.found();
                let track = Track::begin(found.mark, at);
                self.laps
                    .found(track.mark.progress_m(line), at.time_us, &course);
                self.mode = Mode::Following(track);
                0.0
            }
            Mode::Following(track) => match track.follow(line, at, teach, &mut self.fusion) {
                Some(step_m) => step_m,
                None => {
                    self.lose(Why::Searching);
                    return None;
                }
            },
        };
        let Mode::Following(track) = &self.mode else {
            return None;
        };
        let seen = Seen {
            mark: track.mark,
            left_m: track.left_m,
            slip_rad: track.slip_rad,
            rate_mps: track.rate_mps(),
            step_m,
        };
        Some(self.place(line, at, &seen, &course))
    }

    /// What the stage thinks of the place now; also while there is none.
    pub fn health(&self) -> (HealthState, Why) {
        self.states.get()
    }

    /// What the source is off by. [`Place`]s have it taken out already.
    pub fn correction(&self) -> Correction {
        self.fusion.correction()
    }

    fn begin(&mut self, source: SourceKind) {
        let before = self.states.get() == (HealthState::default(), Why::default());
        self.laps.drop_lap();
        self.mode = Mode::default();
        self.fusion = Fusion::new(source);
        self.states
            .lose(if before { Why::Searching } else { Why::Restart });
    }

    fn lose(&mut self, why: Why) {
        self.laps.lose();
        self.states.lose(why);
        self.mode = Mode::default();
    }

    fn place(
        &mut self,
        line: &ReferenceView<'_>,
        at: &Admitted,
        seen: &Seen,
        course: &Course,
    ) -> Place {
        let (state, why, bad) = self.states.follow(&Conduct {
            dt_s: at.dt_s,
            speed_mps: at.speed_mps,
            left_m: seen.left_m,
            slip_rad: seen.slip_rad,
            trust: at.trust,
        });
        let now = Instant {
            time_us: at.time_us,
            past_m: seen.mark.past_start_m(line),
            rate_mps: seen.rate_mps,
            left_m: seen.left_m,
            speed_mps: at.speed_mps,
        };
        let crossing = self.laps.follow(now, seen.step_m, course);
        if bad {
            self.laps.spoil();
        }
        Place {
            progress_m: seen.mark.progress_m(line),
            offset_m: seen.left_m,
            step_m: seen.step_m,
            slip_rad: seen.slip_rad,
            lap: self.laps.lap(),
            crossing,
            state,
            why,
        }
    }
}
