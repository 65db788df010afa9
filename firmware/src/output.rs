//! What shows a cue to the driver, as the main loop sees it.

use crate::settings::Settings;
use cuepost_engine::{Cue, HealthState, Why};

/// An output's pin, bus or panel answered with an error. Counted by the main loop; the board goes
/// on without it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct OutputFault;

/// One thing that shows cues. The clock is passed in; nothing here waits.
pub trait Output {
    /// Begins to show a cue, in place of one still up.
    fn show(&mut self, cue: &Cue, settings: &Settings, now_us: u64);

    /// Says how the engine thinks of its input, for outputs that have words for it.
    fn state(&mut self, _state: HealthState, _why: Why, _settings: &Settings) {}

    /// Brings the hardware up to what is to be seen now. Called at every step; touches the
    /// hardware only on a change.
    fn tick(&mut self, settings: &Settings, now_us: u64) -> Result<(), OutputFault>;
}

/// A board without outputs of its own.
impl Output for () {
    fn show(&mut self, _: &Cue, _: &Settings, _: u64) {}
    fn tick(&mut self, _: &Settings, _: u64) -> Result<(), OutputFault> {
        Ok(())
    }
}

macro_rules! outputs_together {
    ($($name:ident $index:tt),+) => {
        /// Outputs side by side; each goes on where another fails.
        impl<$($name: Output),+> Output for ($($name,)+) {
            fn show(&mut self, cue: &Cue, settings: &Settings, now_us: u64) {
                $(self.$index.show(cue, settings, now_us);)+
            }
            fn state(&mut self, state: HealthState, why: Why, settings: &Settings) {
                $(self.$index.state(state, why, settings);)+
            }
            fn tick(&mut self, settings: &Settings, now_us: u64) -> Result<(), OutputFault> {
                let mut all = Ok(());
                $(all = self.$index.tick(settings, now_us).and(all);)+
                all
            }
        }
    };
}
outputs_together!(A 0);
outputs_together!(A 0, B 1);
outputs_together!(A 0, B 1, C 2);
outputs_together!(A 0, B 1, C 2, D 3);
