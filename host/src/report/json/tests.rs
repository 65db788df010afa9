//! Lines of events as other programs read them.

use super::*;
use crate::report::test_reference::with_reference;
use cuepost_engine::{Advice, HealthEvent, HealthState, LapEvent, PaceEvent, Phase, Told, Why};

fn json(event: &Event) -> String {
    with_reference(|r| event_json(event, r, 1_000_000, Units::Metric))
}

fn value(event: &Event) -> serde_json::Value {
    serde_json::from_str(&json(event)).expect("each line is one JSON object")
}

#[test]
fn a_lap_carries_its_time_and_its_end() {
    let lap = Event::Lap(LapEvent {
        lap: 2,
        time_us: 83_412_000,
        end_us: 181_000_000,
        valid: true,
        gap_s: Some(0.418),
    });
    assert_eq!(
        json(&lap),
        r#"{"event":"lap","lap":2,"time_s":83.412,"valid":true,"gap_s":0.418,"end_s":180.0,"text":"Lap 2: 1:23.412, 0.418 s behind the reference"}"#
    );
}

#[test]
fn a_phase_before_the_first_sample_is_negative_not_huge() {
    let phase = Event::Phase(PhaseEvent {
        lap: 0,
        corner: 5,
        phase: Phase::Brake,
        time_us: 900_000,
        progress_m: 1203.4,
    });
    assert_eq!(
        json(&phase),
        r#"{"event":"phase","lap":0,"corner":5,"phase":"brake","time_s":-0.1,"progress_m":1203.4}"#
    );
}

#[test]
fn unknown_facts_are_null() {
    let facts = Event::Corner(Facts {
        lap: 2,
        corner: 1,
        brake_m: Some(Measured::new(1203.4, 0.6)),
        slowest_mps: Some(Measured::new(f32::NAN, f32::INFINITY)),
        loss_entry_s: Some(Measured::new(-0.000_01, 0.0)),
        ..Facts::default()
    });
    let v = value(&facts);
    assert_eq!(v["brake_m"], 1203.4);
    assert_eq!(v["brake_sd_m"], 0.6);
    for key in [
        "turn_in_m",
        "release_m",
        "slowest_m",
        "slowest_mps",
        "throttle_m",
        "full_m",
        "exit_mps",
        "loss_s",
        "loss_middle_s",
        "loss_exit_s",
    ] {
        assert!(
            v.get(key).is_some_and(|x| x.is_null()),
            "{key} must be null"
        );
    }
    assert!(json(&facts).contains("\"loss_entry_s\":0.0,"));
}

#[test]
fn a_cue_has_every_key_of_the_contract() {
    let cue = Event::Cue(Cue {
        lap: 2,
        corner: 2,
        phase: Phase::Throttle,
        advice: Advice::Sooner,
        told: Told::Now,
        size: Size::Metres(12.0),
        size_s: Some(0.21),
        loss_s: Some(0.21),
        time_us: 119_020_000,
        progress_m: 1391.0,
    });
    assert_eq!(
        json(&cue),
        r#"{"event":"cue","lap":2,"corner":2,"phase":"throttle","advice":"sooner","told":"now","size_m":12.0,"size_s":0.21,"size_mps":null,"size_mps2":null,"loss_s":0.21,"time_s":118.02,"progress_m":1391.0,"text":"Corner 2 (Long Left): throttle 12 m sooner (0.21 s lost)"}"#
    );
}

#[test]
fn health_and_pace() {
    let health = value(&Event::Health(HealthEvent {
        state: HealthState::OffTrack,
        why: Why::FarFromLine,
        time_us: 2_500_000,
    }));
    assert_eq!(health["event"], "health");
    assert_eq!(health["state"], "off-track");
    assert_eq!(health["time_s"], 1.5);
    assert_eq!(health["why"], "away from the line");
    let pace = value(&Event::Pace(PaceEvent {
        lap: 3,
        ratio: 1.02,
        time_us: 1_000_000,
    }));
    assert_eq!(pace["ratio"], 1.02);
    assert_eq!(pace["time_s"], 0.0);
    assert_eq!(
        pace["text"],
        "Lap 3: 2.0 % slower than the reference everywhere"
    );
}
