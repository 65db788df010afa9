//! Pages served from events made here, with everything real behind them but the engine.

use crossbeam_channel::Receiver;
use cuepost_engine::cue::{Advice, Cue, Phase, Size, Told};
use cuepost_engine::{Corner, Event, Facts, HealthState, Landmark, LapEvent, Measured, Node, Why};
use cuepost_host::live::counters::Counters;
use cuepost_host::live::message::{Now, Said, SourceState};
use cuepost_host::live::queue::{Newest, newest};
use cuepost_host::live::sink::page::PageSink;
use cuepost_host::page::{Access, Hub, Limits, Server};
use cuepost_host::reference_file::HostReference;
use cuepost_host::report::Units;
use std::sync::{Arc, Mutex, OnceLock};
use std::time::Instant;

/// A running server and the way to tell it things.
pub struct Served {
    pub server: Option<Server>,
    pub hub: Arc<Hub>,
    pub say: Newest<Said>,
    pub now: Arc<Mutex<Now>>,
    reference: Arc<HostReference>,
}

impl Served {
    pub fn start(limits: Limits) -> Self {
        let hub = Arc::new(Hub::new("testrun".into()));
        let (say, take) = newest(1024);
        let now: Arc<Mutex<Now>> = Arc::default();
        let counters: Arc<Counters> = Arc::default();
        let reference: Arc<HostReference> = Arc::from(circuit());
        counters.watch("page", say.gauge());
        let mut served = Self {
            server: None,
            hub: hub.clone(),
            say,
            now: now.clone(),
            reference: reference.clone(),
        };
        served.serve(limits, "127.0.0.1:0");
        let sink = PageSink {
            hub,
            reference,
            units: Units::Metric,
            now,
            counters,
            start_us: Arc::new(OnceLock::from(0)),
        };
        std::thread::spawn(move || run(sink, take));
        served
    }

    /// Starts the server (again, where it was).
    pub fn serve(&mut self, limits: Limits, at: &str) {
        let json = cuepost_host::page::reference::json(&self.reference.view(), Units::Metric);
        let server = Server::start(
            at.parse().expect("an address"),
            Access::Loopback,
            self.hub.clone(),
            json.expect("plain numbers and names"),
            limits,
            Box::new(|_| {}),
        );
        self.server = Some(server.expect("a free port"));
    }

    pub fn url(&self, path: &str) -> String {
        let server = self.server.as_ref().expect("serving");
        format!("http://{}{path}", server.address())
    }

    pub fn event(&self, event: Event) {
        self.say.push(Said::Event(event, Instant::now()));
    }

    pub fn driving(&self, gap_s: Option<f32>, corner: u8, at: (f32, f32)) {
        *self.now.lock().expect("not poisoned") = Now {
            time_s: 300.0,
            lap: 4,
            corner,
            progress_m: Some(100.0),
            offset_m: Some(0.2),
            position_m: Some(at),
            speed_mps: Some(41.0),
            gap_s,
            state: HealthState::Ok,
            why: Why::Good,
            source: SourceState::Open,
        };
    }
}

fn run(sink: PageSink, take: Receiver<Said>) {
    sink.run(&take);
}

pub fn cue(phase: Phase, advice: Advice, size: Size, told: Told) -> Event {
    Event::Cue(Cue {
        lap: 4,
        corner: 3,
        phase,
        advice,
        told,
        size,
        size_s: None,
        loss_s: Some(0.21),
        time_us: 300_000_000,
        progress_m: 900.0,
    })
}

pub fn lap(number: u16, time_s: f64, gap_s: f32, valid: bool) -> Event {
    Event::Lap(LapEvent {
        lap: number,
        time_us: (time_s * 1e6) as u64,
        end_us: (time_s * 1e6) as u64 * u64::from(number),
        valid,
        gap_s: Some(gap_s),
    })
}

pub fn corner(lap: u16, number: u8, loss_s: f32) -> Event {
    let place = |m: f32| Some(Measured::new(m, 0.3));
    let begin = 300.0 * f32::from(number - 1);
    Event::Corner(Facts {
        lap,
        corner: number,
        usable: true,
        brake_m: place(begin + 60.0 - 30.0 * loss_s),
        slowest_mps: place(22.0 - 6.0 * loss_s),
        throttle_m: place(begin + 160.0 + 70.0 * loss_s),
        exit_mps: place(36.0 - 5.0 * loss_s),
        loss_entry_s: place(loss_s * 0.5),
        loss_middle_s: place(loss_s * 0.2),
        loss_exit_s: place(loss_s * 0.3),
        ..Facts::default()
    })
}

/// An invented circuit of eight corners, 2400 m round.
pub fn circuit() -> Box<HostReference> {
    let mut store = Box::new(HostReference::new());
    store.spacing_m = 5.0;
    for i in 0..480 {
        let a = f64::from(i) / 480.0 * std::f64::consts::TAU;
        let r = 260.0 + 90.0 * (2.0 * a).cos() + 55.0 * (3.0 * a + 0.7).sin();
        let node = Node {
            east_mm: (r * a.cos() * 1.6e3) as i32,
            north_mm: (r * a.sin() * 1e3) as i32,
            time_ms: i as u32 * 150,
            speed_cmps: 3300,
            curvature_e5: 0,
        };
        store.nodes.push(node).expect("room");
    }
    let names = ["", "Hairpin", "", "Long Left", "", "", "Bridge", ""];
    for (number, name) in (0u16..).zip(names) {
        let begin_m = 300.0 * f32::from(number);
        let place = |m: f32| Some(Measured::new(begin_m + m, 0.3));
        let corner = Corner {
            begin_m,
            turn_m: begin_m + 90.0,
            apex_m: begin_m + 140.0,
            exit_m: begin_m + 190.0,
            facts: Facts {
                brake_m: place(60.0),
                slowest_mps: Some(Measured::new(22.0, 0.1)),
                throttle_m: place(160.0),
                exit_mps: Some(Measured::new(36.0, 0.1)),
                ..Facts::default()
            },
            name: name.try_into().expect("short"),
            ..Corner::default()
        };
        store.corners.push(corner).expect("room");
    }
    let board = Landmark {
        progress_m: 655.0,
        side: 1,
        name: "second board".try_into().expect("short"),
    };
    store.landmarks.push(board).expect("room");
    store.session.name = "Test circuit".try_into().expect("short");
    store.session.lap_time_us = 72_000_000;
    store
}
