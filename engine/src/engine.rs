//! The stages put together: one sample in, the events it caused out.

use crate::event::Event;
use crate::gate::{Gate, REFUSALS, Refusal};
use crate::progress::Progress;
use crate::reference::ReferenceView;
use crate::sample::Sample;
use crate::thresholds::Config;
use heapless::Vec;

/// The most events one sample can cause.
pub const EVENTS_MAX: usize = 12;

/// The whole engine: configuration and state, nothing borrowed.
///
/// The reference is passed with each sample, so that whoever owns it (a boxed store, a static, a
/// flash slot) can change it between two sessions; call [`Engine::restart`] when it changes.
#[derive(Clone, Debug, Default)]
pub struct Engine {
    config: Config,
    gate: Gate,
    progress: Progress,
    events: Vec<Event, EVENTS_MAX>,
}

impl Engine {
    /// An engine that has seen nothing yet.
    pub fn new(config: Config) -> Self {
        Self {
            config,
            ..Self::default()
        }
    }

    /// Forgets the session, keeps the configuration.
    pub fn restart(&mut self) {
        *self = Self::new(self.config.clone());
    }

    /// Takes one sample through all stages and returns what it caused, oldest first.
    ///
    /// Bounded work for any input; never panics, blocks or allocates. `reference` must be the
    /// same for all samples since the start or the last [`Engine::restart`].
    pub fn feed(&mut self, reference: &ReferenceView<'_>, sample: &Sample) -> &[Event] {
        self.events.clear();
        if let Ok(admitted) = self.gate.admit(&reference.frame, sample) {
            let _place = self.progress.advance(reference, &admitted);
        }
        &self.events
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
