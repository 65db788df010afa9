//! The same bytes go through the emulated board and through the host: what comes out is the same,
//! byte for byte.

use crate::guest::{Guest, Heard, Pace};
use crate::host::{events, framed, frames, lines, received, told};
use crate::stream::{course, nmea, ubx, wire};
use cuepost_engine::file::id;
use cuepost_engine::wire::{Message, Object, Query, Settings, encode};
use cuepost_engine::{Event, Sample};
use cuepost_firmware::settings::Key;
use cuepost_host::board::Client;

const RECEIVER: usize = 0;
const COMPUTER: usize = 1;
const DISPLAY: usize = 2;
const LAMP: usize = 3;

/// A board with the reference on it, its display and its lamp.
fn board(source: u32, pace: Pace) -> (Guest, Heard, Heard) {
    let guest = Guest::start("cuepost-emulated", 4, pace, &[]);
    let (display, lamp) = (guest.listen(DISPLAY), guest.listen(LAMP));
    let mut client = Client::new(guest.port(COMPUTER));
    let mut steps = 0;
    client
        .send(Object::Reference, &course().reference, |_| steps += 1)
        .expect("the reference is sent");
    assert!(steps > 10);
    let mut changes = Settings::default();
    changes.entries.push((Key::Source as u8, source)).unwrap();
    client.set(changes).expect("the source is set");
    assert_eq!(client.status().unwrap().reference, id(&course().reference));
    (guest, display, lamp)
}

/// Feeds a port and compares everything that comes out with what the host says.
fn compare(source: u32, port: usize, bytes: &[u8], samples: &[Sample]) {
    let events = events(&course().reference, samples);
    let (cues, laps) = (count(&events, is_cue), count(&events, is_lap));
    assert!(
        cues >= 3 && laps >= 2,
        "a drive worth comparing: {cues} cues, {laps} laps"
    );
    let (expected, text) = (frames(&events), lines(&events));
    let (guest, mut display, _lamp) = board(source, Pace::Slow);
    let mut computer = guest.listen(COMPUTER);
    guest.send(port, bytes);
    // A question at the end: once it is answered, nothing more will come.
    let heard = computer
        .until(|heard| heard.len() >= expected.len())
        .to_vec();
    let first = heard.iter().zip(&expected).position(|(a, b)| a != b);
    assert!(
        first.is_none(),
        "byte {first:?} of {} differs",
        expected.len()
    );
    let mut question = [0; 64];
    let len = encode(&Message::Query(Query::Status), &mut question).unwrap();
    guest.send(COMPUTER, &question[..len]);
    let all = computer.until(|heard| heard.len() > expected.len() + 2 && heard.ends_with(&[0]));
    let answers = all[expected.len()..].split(|byte| *byte == 0);
    assert_eq!(
        answers.filter(|frame| !frame.is_empty()).count(),
        1,
        "only the answer"
    );
    let said = display.until(|heard| heard.len() >= text.len());
    assert_eq!(String::from_utf8_lossy(said), text);
}

fn count(events: &[Event], of: fn(&Event) -> bool) -> usize {
    events.iter().filter(|event| of(event)).count()
}

fn is_cue(event: &Event) -> bool {
    matches!(event, Event::Cue(_))
}

fn is_lap(event: &Event) -> bool {
    matches!(event, Event::Lap(_))
}

#[test]
fn a_receiver_that_speaks_ubx() {
    let bytes = ubx(&course().samples);
    let samples = received(&bytes);
    assert!(samples.len() + 2 > course().samples.len());
    compare(0, RECEIVER, &bytes, &samples);
}

#[test]
fn a_receiver_that_speaks_nmea() {
    let bytes = nmea(&course().samples);
    let samples = received(&bytes);
    assert!(samples.len() + 2 > course().samples.len());
    compare(0, RECEIVER, &bytes, &samples);
}

#[test]
fn a_simulator_that_sends_frames() {
    let bytes = wire(&course().samples);
    let samples = framed(&bytes);
    assert_eq!(samples.len(), course().samples.len());
    compare(1, COMPUTER, &bytes, &samples);
}

/// One byte in 400 is another one, and one piece in fifty is missing.
#[test]
fn a_bad_line() {
    let mut bytes = ubx(&course().samples);
    let mut noise = 0x1234_5678_u32;
    let mut draw = || {
        noise ^= noise << 13;
        noise ^= noise >> 17;
        noise ^= noise << 5;
        noise
    };
    for byte in &mut bytes {
        if draw() % 400 == 0 {
            *byte ^= (draw() % 255 + 1) as u8;
        }
    }
    let kept: Vec<u8> = bytes
        .chunks(37)
        .filter(|_| draw() % 50 != 0)
        .flatten()
        .copied()
        .collect();
    let samples = received(&kept);
    assert!(
        samples.len() < course().samples.len() * 9 / 10,
        "much is lost"
    );
    let events = events(&course().reference, &samples);
    let expected = frames(&events);
    let (guest, _display, _lamp) = board(0, Pace::Slow);
    let mut computer = guest.listen(COMPUTER);
    guest.send(RECEIVER, &kept);
    let heard = computer.until(|heard| heard.len() >= expected.len());
    assert!(heard == expected, "the host says something else");
}

/// The lamp shows the first cue: its pulses on the board's clock.
#[test]
fn the_lamp_shows_what_the_cue_says() {
    use cuepost_engine::Way;
    use cuepost_firmware::pattern::{LONG_ON_MS, Pattern, SHORT_ON_MS};
    let all = ubx(&course().samples);
    let told = told(&course().reference, &received(&all));
    let first = told.iter().find_map(|(number, event)| match event {
        Event::Cue(cue) => Some((*number, *cue)),
        _ => None,
    });
    let (number, cue) = first.expect("a cue");
    // No more than it takes: what follows would be there before the lamp is done, and all of this
    // waits in the socket however busy we are.
    let bytes = ubx(&course().samples[..number + 5]);
    let pattern = Pattern::of(cue.phase, cue.advice).expect("a pattern");
    let (guest, _display, mut lamp) = board(0, Pace::Lamp);
    let _computer = guest.listen(COMPUTER);
    guest.send(RECEIVER, &bytes);
    // On and off at power-up, then the pulses.
    let lines = 2 + 2 * pattern.pulses() as usize;
    let enough = |heard: &[u8]| heard.iter().filter(|byte| **byte == b'\n').count() >= lines;
    let heard = String::from_utf8(lamp.until(enough).to_vec()).unwrap();
    let mut times = Vec::new();
    for (i, line) in heard.lines().take(lines).enumerate() {
        let (what, ms) = line.split_once(' ').unwrap();
        assert_eq!(what, if i % 2 == 0 { "on" } else { "off" }, "{heard}");
        times.push(ms.parse::<u32>().unwrap());
    }
    let on_ms = match pattern.way() {
        Way::Less => SHORT_ON_MS,
        _ => LONG_ON_MS,
    };
    for pulse in times[2..].chunks(2) {
        let lit = pulse[1] - pulse[0];
        assert!(
            lit.abs_diff(on_ms) <= 5,
            "{lit} ms instead of {on_ms}: {heard}"
        );
    }
}
