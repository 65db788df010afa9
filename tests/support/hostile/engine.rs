//! The engine, fed with drives that no car could drive.

use super::Bytes;
use cuepost_engine::check::{Check, TIME_MAX_US};
use cuepost_engine::engine::EVENTS_MAX;
use cuepost_engine::{Config, Engine, Event, HealthState, Position, ReferenceView, Sample};
use cuepost_host::demo::car::Car;
use cuepost_host::demo::driver::{Driver, LapPlan, Scatter};
use cuepost_host::demo::plan::Style;
use cuepost_host::demo::quillmere;
use cuepost_host::demo::receiver::{ReceiverModel, sample};
use cuepost_host::learn::{Options, Take, learn};
use cuepost_host::reference_file::HostReference;
use std::sync::OnceLock;

/// The most samples one input makes.
const SAMPLES_MOST: usize = 6_000;

/// The invented circuit's reference, learned once.
pub fn invented() -> &'static HostReference {
    static REFERENCE: OnceLock<Box<HostReference>> = OnceLock::new();
    REFERENCE.get_or_init(|| {
        let circuit = quillmere::circuit().expect("the pieces fit");
        let driver = Driver::practised(&circuit, &Car::touring(), Style::STEADY, Scatter::COACH);
        let coach = driver.drive(&circuit, &[LapPlan::clean(), LapPlan::clean()], 1);
        let samples = sample(&coach, &ReceiverModel::usual(25.0), 1);
        let take = Take {
            name: "coach",
            samples: &samples,
        };
        learn(&[take], &Options::default(), &mut |_, _| {})
            .expect("a reference")
            .reference
    })
}

/// Whatever comes, events are in range and bounded, laps are not shorter than half the
/// reference's, and no cue is given but in good health.
///
/// The bytes are orders: drive on so far, at such a speed, so far beside the line; leap in time;
/// or a sample whose every bit is given.
pub fn engine(data: &[u8]) {
    let reference = invented().view();
    let mut drive = Drive {
        engine: Engine::new(Config::default()),
        reference,
        health: HealthState::Lost,
        lawful: true,
        samples: 0,
        last: None,
    };
    let mut bytes = Bytes(data);
    let mut car = Puppet::default();
    while !bytes.over() && drive.samples < SAMPLES_MOST {
        match bytes.byte() % 8 {
            0 => {
                let raw = raw(&mut bytes);
                drive.feed(&raw);
            }
            1 => {
                let us = i64::from_le_bytes(bytes.take()) >> (bytes.byte() % 64);
                car.time_us = car.time_us.wrapping_add_signed(us);
            }
            2 => car.factor = 0.2 + 1.6 * f64::from(bytes.byte()) / 255.0,
            3 => car.left_m = 40.0 * bytes.signed().powi(3),
            4 => car.along_m += 200.0 * bytes.signed().powi(3),
            5 => car.set(bytes.byte()),
            6 => car.dt_s = 0.005 + f64::from(bytes.byte()).powi(2) * 1e-5,
            _ => {
                let count = usize::from(bytes.byte()) * 8;
                for _ in 0..count {
                    let sample = car.step(&reference);
                    drive.feed(&sample);
                }
            }
        }
    }
    let events = drive.engine.finish(&reference).to_vec();
    drive.check(&events);
}

/// A car that obeys.
#[derive(Clone, Copy)]
struct Puppet {
    time_us: u64,
    along_m: f64,
    left_m: f64,
    factor: f64,
    dt_s: f64,
    course: bool,
    pedals: bool,
    frozen: bool,
    backward: bool,
    stands: bool,
}

impl Default for Puppet {
    fn default() -> Self {
        Self {
            time_us: 1_000_000,
            along_m: 0.0,
            left_m: 0.0,
            factor: 1.0,
            dt_s: 0.04,
            course: true,
            pedals: false,
            frozen: false,
            backward: false,
            stands: false,
        }
    }
}

impl Puppet {
    fn set(&mut self, bits: u8) {
        let on = |bit: u8| bits & (1 << bit) != 0;
        (self.course, self.pedals, self.frozen) = (!on(0), on(1), on(2));
        (self.backward, self.stands) = (on(3), on(4));
    }

    fn step(&mut self, line: &ReferenceView<'_>) -> Sample {
        let length_m = f64::from(line.length_m());
        let here = self.along_m.rem_euclid(length_m) as f32;
        let speed = match self.stands {
            true => 0.0,
            false => f64::from(line.speed_mps(here)) * self.factor,
        };
        let way = if self.backward { -1.0 } else { 1.0 };
        if !self.frozen {
            self.along_m += way * speed * self.dt_s;
        }
        self.time_us = self.time_us.wrapping_add((self.dt_s * 1e6) as u64);
        let at = self.along_m.rem_euclid(length_m) / f64::from(line.spacing_m);
        let count = line.nodes.len();
        let (i, u) = (at as usize % count, at.fract());
        let (a, b) = (&line.nodes[i], &line.nodes[(i + 1) % count]);
        let mix = |a: i32, b: i32| f64::from(a) + (f64::from(b) - f64::from(a)) * u;
        let (de, dn) = (
            f64::from(b.east_mm - a.east_mm),
            f64::from(b.north_mm - a.north_mm),
        );
        let h = de.hypot(dn).max(1.0);
        let heading = (way * dn).atan2(way * de);
        let left_mm = self.left_m * 1e3;
        Sample {
            time_us: self.time_us,
            position: Some(Position::Local {
                east_mm: (mix(a.east_mm, b.east_mm) - left_mm * dn / h) as i64,
                north_mm: (mix(a.north_mm, b.north_mm) + left_mm * de / h) as i64,
            }),
            speed_mps: Some(speed as f32),
            direction_rad: self.course.then_some(heading as f32),
            brake: self.pedals.then_some(0.0),
            throttle: self.pedals.then_some(1.0),
            ..Sample::default()
        }
    }
}

/// A sample of which every bit is given.
fn raw(bytes: &mut Bytes<'_>) -> Sample {
    let has = u16::from_le_bytes(bytes.take());
    let time_us = u64::from_le_bytes(bytes.take());
    let mut number = |bit: u8| (has & (1 << bit) != 0).then(|| f32::from_le_bytes(bytes.take()));
    let speed_mps = number(0);
    let direction_rad = number(1);
    let position_sd_m = number(2);
    let speed_sd_mps = number(3);
    let long_acc_mps2 = number(4);
    let lat_acc_mps2 = number(5);
    let yaw_rate_rps = number(6);
    let brake = number(7);
    let throttle = number(8);
    let steer = number(9);
    let position = match (has >> 10) % 4 {
        0 => None,
        1 => Some(Position::Geodetic {
            lat_e7: i32::from_le_bytes(bytes.take()),
            lon_e7: i32::from_le_bytes(bytes.take()),
        }),
        _ => Some(Position::Local {
            east_mm: i64::from_le_bytes(bytes.take()),
            north_mm: i64::from_le_bytes(bytes.take()),
        }),
    };
    Sample {
        time_us,
        position,
        speed_mps,
        direction_rad,
        position_sd_m,
        speed_sd_mps,
        long_acc_mps2,
        lat_acc_mps2,
        yaw_rate_rps,
        brake,
        throttle,
        steer,
        gear: (has & (1 << 12) != 0).then_some(time_us as i8),
    }
}

struct Drive {
    engine: Engine,
    reference: ReferenceView<'static>,
    health: HealthState,
    /// All times so far are ones that a source can have.
    lawful: bool,
    samples: usize,
    last: Option<u64>,
}

impl Drive {
    fn feed(&mut self, sample: &Sample) {
        self.samples += 1;
        self.lawful &= sample.time_us <= TIME_MAX_US;
        let events = self.engine.feed(&self.reference, sample).to_vec();
        assert!(events.len() <= EVENTS_MAX);
        self.check(&events);
        self.last = Some(sample.time_us);
    }

    fn check(&mut self, events: &[Event]) {
        for event in events {
            let message = cuepost_engine::wire::Message::from(*event);
            if self.lawful {
                assert_eq!(message.check(), Ok(()), "{event:?} after {:?}", self.last);
            }
            match event {
                Event::Health(h) => self.health = h.state,
                Event::Cue(cue) => {
                    assert_eq!(self.health, HealthState::Ok, "{cue:?}");
                    let place = self.engine.place().expect("a cue has a place");
                    assert_eq!(place.state, HealthState::Ok, "{cue:?}");
                }
                Event::Lap(lap) => {
                    let least = self.reference.session.lap_time_us / 2;
                    assert!(lap.time_us >= least, "{lap:?}");
                }
                _ => {}
            }
        }
    }
}
