//! A board whose source falls silent: the session is over, and what waited for more is told.

use crate::host::{events, frames};
use crate::stream::{SAMPLE_US, course, wire};
use cuepost_engine::{Config, Engine, Event, reference};
use cuepost_firmware::board::{Board, Parts, Rooms};
use cuepost_firmware::port::NoPort;
use cuepost_firmware::settings::{Settings, Source};
use cuepost_firmware::store::{Part, Store};
use cuepost_host::reference_file::HostReference;
use cuepost_tests::board::{MemoryFlash, OnePort, Port, REGION};
use std::cell::RefCell;
use std::collections::VecDeque;
use std::io::{Read, Write};
use std::rc::Rc;

/// A line in memory: what comes in, what went out.
#[derive(Clone, Default)]
struct Line(Rc<RefCell<(VecDeque<u8>, Vec<u8>)>>);

impl Read for Line {
    fn read(&mut self, bytes: &mut [u8]) -> std::io::Result<usize> {
        self.0.borrow_mut().0.read(bytes)
    }
}
impl Write for Line {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.borrow_mut().1.write(bytes)
    }
    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

/// So many samples that a corner was just left behind, and what the end of the session tells then.
fn waiting() -> (usize, Vec<Event>) {
    let mut store = Box::new(HostReference::new());
    reference::decode(&course().reference, &mut store).expect("a whole reference");
    let view = store.view();
    let mut engine = Engine::new(Config::default());
    for (number, sample) in course().samples.iter().enumerate() {
        engine.feed(&view, sample);
        if number > 600 {
            let told = engine.clone().finish(&view).to_vec();
            if !told.is_empty() {
                return (number + 1, told);
            }
        }
    }
    panic!("no corner was left behind");
}

#[test]
fn the_last_corner_is_told_once_when_the_source_is_silent() {
    let (count, last) = waiting();
    let samples = &course().samples[..count];
    let line = Line::default();
    let mut store = Store::open(MemoryFlash::new(), REGION).expect("a region that suits");
    let settings = Settings {
        source: Source::Computer,
        ..Settings::default()
    };
    store
        .replace(Part::Reference, &course().reference)
        .expect("room");
    store
        .replace(Part::Settings, &settings.to_bytes())
        .expect("room");
    let parts = Parts {
        receiver: NoPort,
        computer: Port::new(line.clone()),
        display: NoPort,
        outputs: (),
        store,
    };
    let mut rooms = Box::<Rooms>::default();
    let mut board = Board::<OnePort<Line>>::new(parts, &mut rooms);
    let mut now_us = 0;
    for sample in samples {
        line.0.borrow_mut().0.extend(wire(&[*sample]));
        for _ in 0..4 {
            board.step(now_us);
        }
        now_us += SAMPLE_US;
    }
    let mut expected = frames(&events(&course().reference, samples));
    assert!(
        line.0.borrow().1 == expected,
        "the host says something else"
    );
    // Half a second is a gap, two are the end; it is told once.
    board.step(now_us + 500_000);
    assert_eq!(line.0.borrow().1.len(), expected.len());
    board.step(now_us + 2_000_000);
    board.step(now_us + 4_000_000);
    expected.extend(frames(&last));
    assert!(line.0.borrow().1 == expected, "not the last corner once");
}
