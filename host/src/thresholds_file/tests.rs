//! Thresholds files, read and written.

use super::*;

#[test]
fn what_is_named_is_set_and_the_rest_is_built_in() {
    let text = "brake_m = 5\nfocus = \"one\"\n[corner.3]\nthrottle_m = 12.5\n";
    let config = parse(text).unwrap();
    assert_eq!(config.focus, Focus::One);
    assert_eq!(config.thresholds.brake_m, 5.0);
    assert_eq!(config.thresholds.full_m, Thresholds::DEFAULT.full_m);
    assert_eq!(config.at(3).throttle_m, 12.5);
    assert_eq!(config.at(3).brake_m, 5.0);
    let (again, _) = Config::decode(&to_bytes(&config).unwrap()).unwrap();
    assert_eq!(again, config);
}

#[test]
fn what_is_written_names_every_threshold_and_reads_back() {
    let mut config = parse("full_m = 0.7e2\n[corner.12]\nloss_s = 0.123\n").unwrap();
    config.focus = Focus::One;
    let text = write(&config);
    for (name, ..) in Thresholds::DEFAULT.ranges() {
        assert!(text.contains(&format!("\n{name} = ")), "{name}:\n{text}");
    }
    assert_eq!(parse(&text).unwrap(), config);
    assert_eq!(
        parse(&write(&Config::default())).unwrap(),
        Config::default()
    );
}

#[test]
fn a_phase_is_scaled_as_a_whole_and_corners_begin_from_it() {
    let text = "brake_m = 5\n[corner.2]\ndecel_ratio = 0.5\n[phase.brake]\nscale = 2\n";
    let config = parse(text).unwrap();
    assert_eq!(config.thresholds.brake_m, 10.0);
    assert_eq!(config.thresholds.decel_ratio, 0.24);
    assert_eq!(config.thresholds.trail_m, Thresholds::DEFAULT.trail_m);
    assert_eq!(
        (config.at(2).brake_m, config.at(2).decel_ratio),
        (10.0, 0.5)
    );
    assert_eq!(parse(&write(&config)).unwrap(), config, "written out");
}

#[test]
fn every_threshold_is_reached_by_its_own_name() {
    for (name, value, ..) in Thresholds::DEFAULT.ranges() {
        let mut t = Thresholds::DEFAULT;
        *field(&mut t, name).unwrap() = 2.0 * value;
        for ((n, x, ..), (_, was, ..)) in t.ranges().iter().zip(Thresholds::DEFAULT.ranges()) {
            assert_eq!(*x, if *n == name { 2.0 * was } else { was }, "{name}: {n}");
        }
    }
}

#[test]
fn what_is_wrong_is_named_with_its_line() {
    let wrong = [
        ("brake_m = ", "line 1: "),
        ("brake_m = 3\n\nbrake_m = [", "line 3: "),
        ("break_m = 3", "line 1: there is no threshold \"break_m\""),
        (
            "\nbrake_m = \"far\"",
            "line 2: brake_m must be a plain number",
        ),
        ("brake_m = nan", "line 1: brake_m is NaN; it must be from"),
        (
            "brake_m = 0.1",
            "line 1: brake_m is 0.1; it must be from 0.5 to 200",
        ),
        ("focus = 3", "line 1: focus is \"every\" or \"one\""),
        ("corner = 3", "line 1: a corner is a section"),
        ("phase = 3", "line 1: a phase is a section"),
        ("[phase.exit]\n", "line 1: there is no phase \"exit\""),
        (
            "[phase.brake]\nscale = 0",
            "line 2: phase brake: scale must be",
        ),
        (
            "[phase.brake]\nbrake_m = 3",
            "line 2: phase brake: only scale",
        ),
        (
            "[phase.brake]\nscale = 90",
            "line 2: phase brake: brake_m is 540",
        ),
        (
            "[corner.x]\nbrake_m = 3",
            "line 1: corner x: a corner is a number",
        ),
        ("[corner.0]\n", "line 1: corner 0: a corner is a number"),
        (
            "[corner.2]\n[corner.02]\n",
            "line 1: corner 2: is there twice",
        ),
        (
            "focus = \"one\"\n[corner.2]\nfull_m = 3\nbrake_m = 500",
            "line 4: corner 2: brake_m is 500",
        ),
    ];
    for (text, says) in wrong {
        let error = parse(text).unwrap_err();
        assert!(error.contains(says), "{text:?}: {error}");
    }
}
