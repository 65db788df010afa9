//! Lines out and back in.

use super::*;
use crate::check::*;
use crate::cue::Advice;
use crate::event::HealthState;

fn cue(size: Size) -> Cue {
    Cue {
        lap: 2,
        corner: 5,
        phase: Phase::Throttle,
        advice: Advice::Sooner,
        told: Told::After,
        size,
        size_s: None,
        loss_s: None,
        time_us: 0,
        progress_m: 0.0,
    }
}

#[test]
fn cue_lines() {
    let kmh = SpeedUnit::Kmh;
    let check = |size, unit, expect: &str| {
        assert_eq!(cue_line(&cue(size), unit).unwrap(), expect);
    };
    check(Size::Metres(12.4), kmh, "05 THROTTLE SOONER 12 m");
    check(Size::Metres(1.25), kmh, "05 THROTTLE SOONER 1.3 m");
    check(Size::Metres(9.96), kmh, "05 THROTTLE SOONER 10 m");
    check(Size::Speed(1.5), kmh, "05 THROTTLE SOONER 5.4 km/h");
    check(
        Size::Speed(1.5),
        SpeedUnit::Mps,
        "05 THROTTLE SOONER 1.5 m/s",
    );
    check(Size::Deceleration(0.8), kmh, "05 THROTTLE SOONER 0.8 m/s2");
    check(Size::Seconds(0.214), kmh, "05 THROTTLE SOONER 0.21 s");
    let ahead = Cue {
        corner: 112,
        phase: Phase::Straight,
        advice: Advice::Better,
        told: Told::Ahead,
        ..cue(Size::Seconds(0.1))
    };
    assert_eq!(
        cue_line(&ahead, kmh).unwrap(),
        "112 CORNER BETTER 0.10 s AHEAD"
    );
    for bad in [f32::NAN, f32::INFINITY, -1.0, 1e9] {
        assert_eq!(cue_line(&cue(Size::Metres(bad)), kmh), None);
    }
}

#[test]
fn every_cue_fits_a_line_and_can_be_read_back() {
    let sizes = |x: f32| {
        [
            Size::Metres(x),
            Size::Speed(x),
            Size::Deceleration(x),
            Size::Seconds(x),
        ]
    };
    for phase in Phase::ALL {
        for advice in Advice::ALL {
            for told in [Told::Now, Told::After, Told::Ahead] {
                for value in [0.0, 0.04, 0.999, 9.949, 9.951, 99.99, 200.0] {
                    for size in sizes(value) {
                        for unit in [SpeedUnit::Mps, SpeedUnit::Kmh] {
                            let cue = Cue {
                                corner: 255,
                                phase,
                                advice,
                                told,
                                ..cue(size)
                            };
                            check_back(&cue, unit);
                        }
                    }
                }
            }
        }
    }
    check_back(&cue(Size::Metres(PROGRESS_MAX_M)), SpeedUnit::Mps);
    check_back(&cue(Size::Seconds(LAP_MAX_S)), SpeedUnit::Mps);
}

fn check_back(cue: &Cue, unit: SpeedUnit) {
    let line = cue_line(cue, unit).unwrap();
    let Some(Said::Cue {
        corner,
        phase,
        advice,
        size,
        told,
    }) = parse(&line)
    else {
        panic!("{line}");
    };
    assert_eq!(
        (corner, phase, advice, told),
        (cue.corner, cue.phase, cue.advice, cue.told)
    );
    let (a, b) = match (size, cue.size) {
        (Size::Metres(a), Size::Metres(b))
        | (Size::Speed(a), Size::Speed(b))
        | (Size::Deceleration(a), Size::Deceleration(b))
        | (Size::Seconds(a), Size::Seconds(b)) => (a, b),
        _ => panic!("{line}"),
    };
    // Half the last digit, which is a whole unit only from ten on.
    let last = if b < 9.0 { 0.0501 } else { 0.501 };
    assert!((a - b).abs() <= last, "{line}: {a} {b}");
    // A line made from what was read is the same line.
    let again = Cue { size, ..*cue };
    assert_eq!(cue_line(&again, unit).unwrap(), line);
}

#[test]
fn laps_health_and_pace() {
    let lap = |time_us, gap_s, valid| {
        let lap = LapEvent {
            lap: 3,
            time_us,
            end_us: 0,
            valid,
            gap_s,
        };
        let line = lap_line(&lap).unwrap();
        (
            parse(&line).unwrap(),
            std::string::String::from(line.as_str()),
        )
    };
    let (said, line) = lap(83_412_400, Some(0.417), true);
    assert_eq!(line, "LAP 3 1:23.412 +0.417");
    assert_eq!(
        said,
        Said::Lap {
            lap: 3,
            time_ms: 83_412,
            gap_ms: Some(417),
            valid: true
        }
    );
    assert_eq!(
        lap(59_999_600, Some(-0.05), false).1,
        "LAP 3 1:00.000 -0.050 INVALID"
    );
    assert_eq!(lap(5_000_000, None, false).1, "LAP 3 0:05.000 INVALID");
    let pace = |ratio| {
        let time_us = 0;
        pace_line(&PaceEvent {
            lap: 3,
            ratio,
            time_us,
        })
    };
    assert_eq!(pace(1.02).unwrap(), "PACE 3 +2.0 %");
    assert_eq!(
        parse("PACE 3 -1.5 %"),
        Some(Said::Pace {
            lap: 3,
            permille: -15
        })
    );
    assert_eq!(pace(f32::NAN), None);
    for state in HealthState::ALL {
        for why in Why::ALL {
            let line = health_line(&HealthEvent {
                state,
                why,
                time_us: 0,
            })
            .unwrap();
            assert_eq!(parse(&line), Some(Said::Health(state, why)), "{line}");
        }
    }
}

#[test]
fn what_is_not_exactly_ours_is_not_read() {
    for bad in [
        "",
        "05",
        "00 THROTTLE SOONER 12 m",
        "05 THROTTLE SOONER 12",
        "05 THROTTLE SOONER -12 m",
        "05 THROTTLE SOONER 12 m LATER",
        "05 THROTTLE SOONER 12 m NOW NOW",
        "05 THROTTLE SOONER 12 ft",
        "05 THROTTLE SOONER 1e3 m",
        "05 THROTTLE SOONER NaN m",
        "05  THROTTLE SOONER 12 m",
        "256 THROTTLE SOONER 12 m",
        "LAP 3 1:23.4123",
        "LAP 3 1:-2.000",
        "LAP 3 83.412",
        "HEALTH FINE",
        "PACE 3 2.0",
    ] {
        assert_eq!(parse(bad), None, "{bad:?}");
    }
    assert!(parse("05 THROTTLE SOONER 12 m\r\n").is_some());
}
