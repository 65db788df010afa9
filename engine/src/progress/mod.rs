//! Where on the reference line the car is, and when it crosses the start line.

mod doubt;
mod fusion;
mod laps;
#[allow(
    clippy::arithmetic_side_effects,
    reason = "bounded by what is checked around it"
)]
mod line;
#[allow(
    clippy::arithmetic_side_effects,
    reason = "bounded by what is checked around it"
)]
mod search;
mod state;
mod track;

use crate::event::{HealthState, Why};
use crate::gate::Admitted;
use crate::math::larger;
use crate::reference::{ReferenceView, SourceKind};
use doubt::Doubt;
use fusion::Known;
use laps::{Course, Instant, Laps};
use line::Mark;
use search::Search;
pub use state::ASIDE_M;
use state::{Conduct, States};
use track::{Told, Track};

/// For how long a leap sideways is held against the place, seconds.
const JUMPED_S: f32 = 1.0;
/// A place that was good so long ago is worth a doubt when positions leap, seconds.
const GOOD_AGO_S: f32 = 0.8;
/// Places that are apart by less than is driven in this time are not late, seconds.
const LATE_S: f32 = 0.15;
/// After a long doubt the lag of the source is looked at for so long, seconds.
const PROVING_S: f32 = 20.0;
/// A place that moved along the line on its own by so much more than what is usual, in seconds of
/// driving, makes no lap time.
const SURGE_MOST_S: f32 = 0.03;
/// What is usual: the wander of a good receiver over some ten seconds, metres.
pub const SURGE_FREE_M: f32 = 0.5;
/// A contradiction that lasts longer is no leap but a wrong speed, seconds.
const CONTRARY_S: f32 = 2.5;
/// Positions that come elsewhere after a longer pause have not leapt, seconds.
const LEAP_S: f32 = 0.6;

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

/// How far the place may be off beyond the noise of one position.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Vague {
    /// What is not known of the day's common offset, metres, one standard deviation.
    pub offset_sd_m: f32,
    /// What the position moved sideways lately and the direction of travel does not explain,
    /// metres.
    pub sway_m: f32,
    /// What the position moved along the line lately and the speed does not explain, metres.
    pub surge_m: f32,
}

/// The memory of the progress stage.
#[derive(Clone, Debug, Default)]
pub struct Progress {
    mode: Mode,
    known: Known,
    doubt: Option<Doubt>,
    /// For how long a leap sideways is still held against the place, seconds.
    jumped_s: f32,
    /// For how long it may still be proven that the source lags as before, seconds.
    proving_s: f32,
    /// For how long the state has not been good, seconds.
    bad_s: f32,
    /// For how long position and speed have contradicted one another, seconds.
    contrary_s: f32,
    states: States,
    laps: Laps,
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
    #[inline(never)]
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
        }
        self.carry_doubt(line, at);
        if at.broken {
            self.laps.spoil();
            self.states.degrade(Why::Gap);
        }
        let teach = self.states.get().0 == HealthState::Ok
            || self.proving_s > 0.0
            || self.known.pace.absurd();
        match &mut self.mode {
            Mode::Searching(search) => {
                let Some(found) = search.advance(line, at) else {
                    self.states.search(search.why());
                    return None;
                };
                self.known.pace.found();
                let track = Track::begin(line, found.mark, found.forward, at, &self.known);
                self.laps
                    .found(track.mark.progress_m(line), at.time_us, &course);
                self.mode = Mode::Following(track);
            }
            Mode::Following(track) => {
                if track.follow(line, at, teach, &mut self.known).is_none() {
                    self.lose();
                    return None;
                }
            }
        }
        let Mode::Following(track) = &mut self.mode else {
            return None;
        };
        let (astray, mark) = (track.astray(), track.mark);
        if track.jumped {
            self.jumped_s = JUMPED_S;
        }
        let told = track.told(line, &self.known);
        if astray && teach {
            self.leapt(mark);
        } else if !astray && let Some(apart_m) = self.doubt.and_then(|d| d.agrees(line, mark)) {
            // A place that is late agrees as well where the car is slow.
            if apart_m <= LATE_S * at.speed_mps {
                self.doubt = None;
            } else {
                self.settle();
            }
        }
        let trust = if astray && at.trust == Why::Good {
            Why::Contradiction
        } else {
            self.trust(at)
        };
        Some(self.place(line, at, trust, &told, &course))
    }

    /// What the stage thinks of the place now; also while there is none.
    pub fn health(&self) -> (HealthState, Why) {
        match self.states.get() {
            (HealthState::Lost, Why::Good) => (HealthState::Lost, Why::Searching),
            known => known,
        }
    }

    /// What the source is off by. [`Place`]s have it taken out already.
    pub fn correction(&self) -> Correction {
        self.known.correction()
    }

    /// How far the place may be off.
    #[inline(never)]
    pub fn vague(&self) -> Vague {
        let (sway_m, surge_m) = match &self.mode {
            Mode::Following(track) => (track.sway_m.abs(), track.surges_m()),
            Mode::Searching(_) => (0.0, 0.0),
        };
        Vague {
            offset_sd_m: self.known.shift.sd_m(),
            sway_m,
            surge_m,
        }
    }

    fn begin(&mut self, source: SourceKind) {
        let before = self.states.get() == (HealthState::default(), Why::default());
        self.laps.drop_lap();
        self.mode = Mode::default();
        self.doubt = None;
        (self.jumped_s, self.contrary_s, self.bad_s) = (0.0, 0.0, 0.0);
        self.proving_s = 0.0;
        self.known = Known::new(source);
        self.states
            .lose(if before { Why::Searching } else { Why::Restart });
    }

    fn lose(&mut self) {
        self.laps.lose();
        self.states.lose(Why::Searching);
        self.mode = Mode::default();
    }

    /// Begins a doubt where positions leap, and carries one on.
    fn carry_doubt(&mut self, line: &ReferenceView<'_>, at: &Admitted) {
        self.jumped_s = larger(self.jumped_s - at.dt_s, 0.0);
        self.contrary_s = match at.trust {
            Why::Contradiction => self.contrary_s + at.dt_s,
            _ => 0.0,
        };
        self.bad_s = match self.states.get().0 {
            HealthState::Ok => 0.0,
            _ => self.bad_s + at.dt_s,
        };
        if let Mode::Following(track) = &self.mode
            && at.dt_s <= LEAP_S
            && at.broken
            && at.trust == Why::Good
        {
            let mark = track.mark;
            self.leapt(mark);
        }
        let driven_m = at.speed_mps * at.gone_s;
        self.proving_s = larger(self.proving_s - at.dt_s, 0.0);
        if self.proving_s > 0.0 && self.known.pace.lag_known() {
            self.proving_s = 0.0;
        }
        // A speed that is wrong itself says nothing of the place, nor does it where the car drives
        // against the line.
        let against = self.states.get().0 == HealthState::WrongWay;
        if self.contrary_s >= CONTRARY_S || at.rough || against {
            self.doubt = None;
        }
        if let Some(doubt) = &mut self.doubt
            && !doubt.carry(line, driven_m, at.dt_s)
        {
            self.settle();
        }
    }

    /// A doubt is over. After a long one the positions may be late since then: the place is not
    /// trusted before that is known.
    fn settle(&mut self) {
        if self.doubt.take().is_some_and(|d| d.is_old()) {
            self.known.pace.doubt_lag();
            self.proving_s = PROVING_S;
        }
    }

    /// Positions leapt away from a place: a doubt begins if it was good until just now.
    fn leapt(&mut self, from: Mark) {
        if let Some(doubt) = &mut self.doubt {
            doubt.renew();
        } else if self.bad_s < GOOD_AGO_S {
            self.doubt = Some(Doubt::begin(from));
        }
    }

    /// Why the place is not to be trusted although it is known.
    fn trust(&self, at: &Admitted) -> Why {
        if self.doubt.is_some() || self.jumped_s > 0.0 || self.proving_s > 0.0 {
            Why::Leap
        } else if self.known.pace.absurd() {
            Why::Contradiction
        } else {
            at.trust
        }
    }

    fn place(
        &mut self,
        line: &ReferenceView<'_>,
        at: &Admitted,
        trust: Why,
        told: &Told,
        course: &Course,
    ) -> Place {
        let (state, why, bad) = self.states.follow(&Conduct {
            // Nothing is known of the time before a broken sample.
            dt_s: if at.broken { 0.0 } else { at.dt_s },
            speed_mps: at.speed_mps,
            left_m: told.left_m,
            slip_rad: told.slip_rad,
            trust,
        });
        let now = Instant {
            time_us: at.time_us,
            past_m: told.mark.past_start_m(line),
            rate_mps: told.rate_mps,
            left_m: told.left_m,
            speed_mps: at.speed_mps,
        };
        let mut crossing = self.laps.follow(now, told.step_m, course);
        // When the line was crossed is not known well enough for either lap.
        let vague_m = SURGE_FREE_M + SURGE_MOST_S * at.speed_mps;
        if let Some(crossing) = &mut crossing
            && (at.broken || self.vague().surge_m > vague_m)
        {
            self.laps.spoil();
            if let Some(closed) = &mut crossing.closed {
                closed.valid = false;
            }
        }
        if bad {
            self.laps.spoil();
        }
        Place {
            progress_m: told.mark.progress_m(line),
            offset_m: told.left_m,
            step_m: told.step_m,
            slip_rad: told.slip_rad,
            lap: self.laps.lap(),
            crossing,
            state,
            why,
        }
    }
}
