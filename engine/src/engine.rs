//! The stages put together: one sample in, the events it caused out.

use crate::event::{Event, HealthEvent, HealthState, LapEvent, PaceEvent, Why};
use crate::facts::{Facts, Passage, Passages, TURN_IN_LEAST_MPS2};
use crate::gate::{Admitted, Gate, REFUSALS, Refusal};
use crate::motion::{Moment, Motion};
use crate::phase::{CHANGES_MAX, Change, Phases};
use crate::progress::{Place, Progress};
use crate::reference::ReferenceView;
use crate::sample::Sample;
use crate::thresholds::Config;
use crate::voice::{View, Voice, Watch};
use heapless::Vec;

/// The most events one sample can cause: health, lap, corner, pace and cue once each, and phases.
pub const EVENTS_MAX: usize = 5 + CHANGES_MAX;
/// A simulator's speed has less noise than this, a receiver's more, m/s.
const NOISY_MPS: f32 = 0.02;
/// So long after a sample without a direction of travel nothing is made of directions, µs.
const COURSELESS_US: u64 = 1_500_000;

/// The whole engine: configuration and state, nothing borrowed.
///
/// The reference is passed with each sample, so that whoever owns it (a boxed store, a static, a
/// flash slot) can change it between two sessions; call [`Engine::restart`] when it changes.
#[derive(Clone, Debug, Default)]
pub struct Engine {
    config: Config,
    gate: Gate,
    progress: Progress,
    place: Option<Place>,
    motion: Motion,
    phases: Phases,
    passages: Passages,
    voice: Voice,
    health: Option<(HealthState, Why)>,
    /// When the source last gave no direction of travel.
    courseless_us: Option<u64>,
    events: Vec<Event, EVENTS_MAX>,
}

/// A stage as it was at the start. A call of its own, so that no two of them are on the stack.
#[inline(never)]
fn renew<T: Default>(stage: &mut T) {
    *stage = T::default();
}

impl Engine {
    /// An engine that has seen nothing yet.
    pub fn new(config: Config) -> Self {
        Self {
            config,
            ..Self::default()
        }
    }

    /// The configuration, to be changed in place. Valid ones only, and [`Engine::restart`] after
    /// it: facts and cues under way are of the one before.
    pub fn config_mut(&mut self) -> &mut Config {
        &mut self.config
    }

    /// Forgets the session, keeps the configuration.
    ///
    /// In place, stage by stage: a new engine in its stead would be on the stack for a moment, and
    /// a board has no room for it there.
    pub fn restart(&mut self) {
        let Self {
            config: _,
            gate,
            progress,
            place,
            motion,
            phases,
            passages,
            voice,
            health,
            courseless_us,
            events,
        } = self;
        renew(gate);
        renew(progress);
        motion.restart();
        renew(phases);
        renew(passages);
        renew(voice);
        *place = None;
        *health = None;
        *courseless_us = None;
        events.clear();
    }

    /// Takes one sample through all stages and returns what it caused, oldest first.
    ///
    /// Bounded work for any input; never panics, blocks or allocates. `reference` must be the
    /// same for all samples since the start or the last [`Engine::restart`].
    pub fn feed(&mut self, reference: &ReferenceView<'_>, sample: &Sample) -> &[Event] {
        self.feed_watched(reference, sample, &mut ())
    }

    /// As [`Engine::feed`]; `watch` sees what the voice is given.
    pub fn feed_watched(
        &mut self,
        reference: &ReferenceView<'_>,
        sample: &Sample,
        watch: &mut impl Watch,
    ) -> &[Event] {
        self.events.clear();
        if !sample.direction_rad.is_some_and(|d| d.abs() < 1e4) {
            self.courseless_us = Some(sample.time_us);
        }
        // What a stage gives is large: looked at where it is, and not moved.
        match &self.gate.admit(&reference.frame, sample) {
            Ok(admitted) => self.follow(reference, admitted, watch),
            Err(_) => {
                let (state, why) = self.gate.health();
                if state != HealthState::Ok {
                    self.tell_health(state, why, sample.time_us);
                }
            }
        }
        &self.events
    }

    /// Ends the session: the facts of a corner left behind that waited for late changes.
    pub fn finish(&mut self, reference: &ReferenceView<'_>) -> &[Event] {
        self.events.clear();
        if let Some(facts) = self.passages.finish(reference) {
            push(&mut self.events, Event::Corner, facts);
        }
        &self.events
    }

    fn follow(
        &mut self,
        reference: &ReferenceView<'_>,
        admitted: &Admitted,
        watch: &mut impl Watch,
    ) {
        if admitted.broken {
            self.cut(watch);
        }
        let place = self.progress.advance(reference, admitted);
        self.place = place;
        let Some(place) = &place else {
            let (state, why) = match self.gate.health() {
                (HealthState::Ok, _) => self.progress.health(),
                worse => worse,
            };
            self.tell_health(state, why, admitted.time_us);
            self.cut(watch);
            self.passages.drop_all();
            return;
        };
        let (state, why) = match self.gate.health() {
            (HealthState::Ok, _) => (place.state, place.why),
            worse => worse,
        };
        self.tell_health(state, why, admitted.time_us);
        self.tell_lap(reference, place);
        if state != HealthState::Ok {
            self.passages.spoil();
            self.voice.hush();
            watch.hushed();
        }
        if let Some(now) = &self.motion.push(reference.car, admitted, place) {
            self.measure(reference, now, state, watch);
        }
    }

    /// The stages behind the motion: what the driver did, the facts of it, and what to say. Like
    /// the others below a call of its own: what each needs of the stack is free again behind it.
    #[inline(never)]
    fn measure(
        &mut self,
        reference: &ReferenceView<'_>,
        now: &Moment,
        state: HealthState,
        watch: &mut impl Watch,
    ) {
        let trace = self.motion.trace();
        let vague = self.progress.vague();
        let finished = self.passages.advance(reference, trace, now, &vague);
        let passage = self.passages.current();
        let turn_mps2 = passage.map_or(TURN_IN_LEAST_MPS2, Passage::turn_mps2);
        // A course found from positions wanders with their noise, and leaps when the source's own
        // is back: when it turns in is not known.
        let courseless = self
            .courseless_us
            .is_some_and(|us| now.time_us.abs_diff(us) < COURSELESS_US);
        let vague = courseless && now.noise_mps > NOISY_MPS;
        let mut changes = Vec::new();
        self.phases.push(trace, now, turn_mps2, &mut changes);
        for change in &changes {
            if vague && matches!(change, Change::TurnIn(_)) {
                continue;
            }
            if let Some(event) = self.passages.take(reference, change) {
                push(&mut self.events, Event::Phase, event);
            }
        }
        if let Some(facts) = &finished {
            self.tell_corner(reference, facts, now.time_us, watch);
        }
        if state != HealthState::Ok {
            return;
        }
        let Some(passage) = self.passages.current() else {
            return;
        };
        let view = View {
            reference,
            now,
            passage,
            doing: self.phases.doing(),
        };
        watch.moment(&view, self.voice.pace());
        if let Some(cue) = self.voice.speak(&view, &self.config) {
            push(&mut self.events, Event::Cue, cue);
        }
    }

    /// The facts of a finished corner: told, and remembered by the voice.
    #[inline(never)]
    fn tell_corner(
        &mut self,
        reference: &ReferenceView<'_>,
        facts: &Facts,
        time_us: u64,
        watch: &mut impl Watch,
    ) {
        push(&mut self.events, Event::Corner, *facts);
        let paced = self.voice.remember(reference, &self.config, facts, time_us);
        watch.finished(facts, time_us, self.voice.pace());
        if let Some(ratio) = paced {
            let pace = PaceEvent {
                lap: facts.lap,
                ratio,
                time_us,
            };
            push(&mut self.events, Event::Pace, pace);
        }
    }

    /// What was under way can't be measured across this.
    fn cut(&mut self, watch: &mut impl Watch) {
        self.motion.cut();
        self.phases.cut();
        self.passages.spoil();
        self.voice.hush();
        watch.hushed();
    }

    fn tell_health(&mut self, state: HealthState, why: Why, time_us: u64) {
        if self.health.map(|(s, _)| s) != Some(state) {
            self.health = Some((state, why));
            push(
                &mut self.events,
                Event::Health,
                HealthEvent {
                    state,
                    why,
                    time_us,
                },
            );
        }
    }

    fn tell_lap(&mut self, reference: &ReferenceView<'_>, place: &Place) {
        let Some(crossing) = place.crossing else {
            return;
        };
        let Some(closed) = crossing.closed else {
            return;
        };
        let reference_us = reference.session.lap_time_us;
        let gap_s = (reference_us > 0)
            .then(|| (closed.time_us as i64).wrapping_sub(reference_us as i64) as f32 * 1e-6);
        push(
            &mut self.events,
            Event::Lap,
            LapEvent {
                lap: closed.lap,
                time_us: closed.time_us,
                end_us: crossing.time_us,
                valid: closed.valid,
                gap_s,
            },
        );
    }

    /// What the last sample (or the end of the session) caused, as it was returned then.
    pub fn events(&self) -> &[Event] {
        &self.events
    }

    /// Where on the line the car was at the newest admitted sample; `None` while lost.
    pub fn place(&self) -> Option<&Place> {
        self.place.as_ref()
    }

    /// What the engine thinks of its input now.
    pub fn health(&self) -> (HealthState, Why) {
        self.health.unwrap_or_default()
    }

    /// Refused samples by reason, in the order of [`Refusal`].
    pub fn refused(&self) -> &[u32; REFUSALS] {
        &self.gate.refused
    }

    /// Refused samples for one reason.
    pub fn refused_for(&self, why: Refusal) -> u32 {
        self.gate.refused.get(why as usize).copied().unwrap_or(0)
    }
}

/// The queue holds more than one sample can cause; should it ever be full, the newest is dropped.
/// A call of its own, as an event is large.
#[inline(never)]
fn push<T>(events: &mut Vec<Event, EVENTS_MAX>, kind: impl FnOnce(T) -> Event, what: T) {
    let _ = events.push(kind(what));
}
