//! What is told when two advices wait for a moment.

use super::*;
use crate::judge::Deviations;
use crate::thresholds::Thresholds;

/// On the way out of a corner, with time to speak or without.
struct Road {
    time_us: u64,
    open: bool,
}

impl Scene for Road {
    fn time_us(&self) -> u64 {
        self.time_us
    }
    fn progress_m(&self) -> f32 {
        0.0
    }
    fn speed_mps(&self) -> f32 {
        30.0
    }
    fn lap(&self) -> u16 {
        1
    }
    fn corner(&self) -> u8 {
        9
    }
    fn overdue(&self) -> Option<Overdue> {
        None
    }
    fn way_out(&self) -> bool {
        false
    }
    fn opening(&self) -> bool {
        self.open
    }
    fn coming(&self) -> Option<Coming> {
        None
    }
    fn deviations(&self, _: &Thresholds) -> Option<Deviations> {
        None
    }
    fn verdict(&self, _: &Thresholds, _: &Pace) -> Option<Verdict> {
        None
    }
}

/// Two corners that lost so much, 3 s apart, and a road that opens so long after the second.
fn told(first_s: f32, second_s: f32, opens_s: f32) -> Option<u8> {
    let config = Config::default();
    let mut voice = Voice::default();
    for (corner, loss_s, time_us) in [(4, first_s, 10_000_000), (5, second_s, 13_000_000)] {
        let facts = Facts {
            lap: 1,
            corner,
            usable: true,
            ..Facts::default()
        };
        let verdict = Verdict {
            phase: Phase::Throttle,
            advice: Advice::Sooner,
            size: Size::Metres(12.0),
            size_s: None,
            loss_s,
        };
        voice.keep(&facts, Some(verdict), time_us);
        let quiet = Road {
            time_us,
            open: false,
        };
        assert_eq!(voice.speak(&quiet, &config), None);
    }
    let open = Road {
        time_us: 13_000_000 + (opens_s * 1e6) as u64,
        open: true,
    };
    let cue = voice.speak(&open, &config);
    let later = Road {
        time_us: open.time_us + 2_000_000,
        open: true,
    };
    assert_eq!(voice.speak(&later, &config), None, "told once");
    cue.map(|cue| cue.corner)
}

#[test]
fn of_two_that_wait_the_costlier_one_is_told() {
    assert_eq!(told(0.3, 0.1, 2.0), Some(4));
    assert_eq!(told(0.1, 0.3, 2.0), Some(5));
}

#[test]
fn what_waits_too_long_is_dropped() {
    assert_eq!(told(0.3, 0.1, 9.5), None);
    assert_eq!(told(0.1, 0.3, 11.5), Some(5));
    assert_eq!(told(0.1, 0.3, 12.5), None);
}
