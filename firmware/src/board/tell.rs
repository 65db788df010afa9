//! What the engine says, handed to the outputs and the ports.

use crate::output::Output;
use crate::port::Outbox;
use crate::settings::{DisplayPort, Settings};
use cuepost_engine::wire::text::{self, LINE_END, LINE_MAX};
use cuepost_engine::wire::{FRAME_MAX, Message, encode};
use cuepost_engine::{Event, HealthState, Why};
use heapless::String;

/// Everything that is told an event.
pub(super) struct Teller<'t, O, const C: usize, const D: usize> {
    pub settings: &'t Settings,
    pub outputs: &'t mut O,
    pub to_computer: &'t mut Outbox<C>,
    pub to_display: &'t mut Outbox<D>,
    pub health: &'t mut (HealthState, Why),
    pub now_us: u64,
}

impl<O: Output, const C: usize, const D: usize> Teller<'_, O, C, D> {
    /// Tells one event: cues to the outputs, everything to the computer and to a display that reads
    /// frames, what a line is made of to one that reads text.
    pub fn event(&mut self, event: &Event) {
        let mut room = [0; FRAME_MAX];
        let Some(frame) = framed(&Message::from(*event), &mut room) else {
            return;
        };
        self.to_computer.push(frame);
        match self.settings.display {
            DisplayPort::Off => {}
            DisplayPort::Frames => self.to_display.push(frame),
            DisplayPort::Text => self.line(event),
        }
        match event {
            Event::Cue(cue) => self.outputs.show(cue, self.settings, self.now_us),
            Event::Health(health) => *self.health = (health.state, health.why),
            _ => {}
        }
    }

    /// The event as a line of text with its end, for those that have one.
    fn line(&mut self, event: &Event) {
        let mut ended = String::<{ LINE_MAX + LINE_END.len() }>::new();
        if let Some(line) = text::line(event, self.settings.units)
            && ended.push_str(&line).is_ok()
            && ended.push_str(LINE_END).is_ok()
        {
            self.to_display.push(ended.as_bytes());
        }
    }
}

/// A message as a frame. A value the engine should not have made gives none, and is shown nowhere:
/// silence beats a wrong cue.
fn framed<'r>(message: &Message, room: &'r mut [u8; FRAME_MAX]) -> Option<&'r [u8]> {
    let len = encode(message, room).ok()?;
    room.get(..len)
}

/// Puts a message out as a frame.
pub(super) fn push_message<const N: usize>(outbox: &mut Outbox<N>, message: &Message) {
    let mut room = [0; FRAME_MAX];
    if let Some(frame) = framed(message, &mut room) {
        outbox.push(frame);
    }
}
