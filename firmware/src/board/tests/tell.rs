//! Who is told what.

use super::bench::{Notes, Port, frame};
use crate::board::tell::Teller;
use crate::port::Outbox;
use crate::settings::{DisplayPort, Settings};
use crate::test_cue::cue;
use cuepost_engine::wire::Message;
use cuepost_engine::{Advice, Event, HealthEvent, HealthState, Phase, Why};
use std::vec::Vec;

/// What outputs, computer and display hear of an event.
fn told(display: DisplayPort, event: Event) -> (Notes, Vec<u8>, Vec<u8>, (HealthState, Why)) {
    let settings = Settings {
        display,
        ..Settings::default()
    };
    let mut notes = Notes::default();
    let (mut to_computer, mut to_display) = (Outbox::<768>::new(), Outbox::<384>::new());
    let mut health = (HealthState::Lost, Why::Searching);
    let mut teller = Teller {
        settings: &settings,
        outputs: &mut notes,
        to_computer: &mut to_computer,
        to_display: &mut to_display,
        health: &mut health,
        now_us: 0,
    };
    teller.event(&event);
    let (mut computer, mut display) = (Port::new(), Port::new());
    to_computer.flush(&mut computer);
    to_display.flush(&mut display);
    (notes, computer.take(), display.take(), health)
}

#[test]
fn a_cue_goes_everywhere() {
    let cue = cue(Phase::Throttle, Advice::Sooner, 12.0);
    let framed = frame(&Message::Cue(cue));
    let (notes, computer, display, _) = told(DisplayPort::Frames, Event::Cue(cue));
    assert_eq!(notes.cues(), [cue]);
    assert_eq!((&computer, &display), (&framed, &framed));
    let (notes, computer, display, _) = told(DisplayPort::Text, Event::Cue(cue));
    assert_eq!(notes.cues(), [cue]);
    assert_eq!(
        (&computer, &display[..]),
        (&framed, &b"05 THROTTLE SOONER 12 m\r\n"[..])
    );
    let (notes, computer, display, _) = told(DisplayPort::Off, Event::Cue(cue));
    assert_eq!(notes.cues(), [cue]);
    assert_eq!((computer, display), (framed, Vec::new()));
}

#[test]
fn health_is_remembered_and_sent() {
    let event = HealthEvent {
        state: HealthState::WrongWay,
        why: Why::Reversed,
        time_us: 5,
    };
    let (notes, computer, display, health) = told(DisplayPort::Frames, Event::Health(event));
    assert_eq!(health, (HealthState::WrongWay, Why::Reversed));
    assert_eq!(computer, frame(&Message::Health(event)));
    assert_eq!((notes.cues().len(), display), (0, computer));
}

#[test]
fn a_cue_that_is_no_number_is_told_to_nobody() {
    let cue = cue(Phase::Throttle, Advice::Sooner, f32::NAN);
    let (notes, computer, display, _) = told(DisplayPort::Frames, Event::Cue(cue));
    assert_eq!(
        (notes.cues().len(), computer.len(), display.len()),
        (0, 0, 0)
    );
}
