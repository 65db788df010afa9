//! Messages to test with: one of every kind as drivers and boards send them, and one of every
//! kind as long as its kind gets.

use cuepost_engine::check::{LOCAL_MAX_MM, TIME_MAX_US};
use cuepost_engine::gate::REFUSALS as GATE_REFUSALS;
use cuepost_engine::reference::SourceKind;
use cuepost_engine::wire::*;
use cuepost_engine::{
    Advice, CornerKind, Cue, Facts, HealthEvent, HealthState, LapEvent, Measured, PaceEvent, Phase,
    PhaseEvent, Position, Sample, Size, Told, Why,
};
use heapless::String;

/// One message of every kind, as they come in use.
pub fn typical() -> Vec<Message> {
    let crc = 0x1A2B_3C4D;
    let object = Object::Reference;
    vec![
        Message::Sample(Sample {
            time_us: 118_020_000,
            position: Some(Position::Geodetic {
                lat_e7: 465_012_345,
                lon_e7: -71_234_567,
            }),
            speed_mps: Some(41.25),
            direction_rad: Some(-0.5),
            position_sd_m: Some(0.5),
            speed_sd_mps: Some(0.0625),
            ..Sample::default()
        }),
        Message::Begin(Begin {
            object,
            total: 14_263,
            crc,
        }),
        Message::Piece(Piece {
            object,
            crc,
            offset: 128,
            data: heapless::Vec::from_slice(&[0, 1, 2, 0xFF]).unwrap(),
        }),
        Message::Commit(Commit {
            object,
            total: 14_263,
            crc,
        }),
        Message::Settings(Settings {
            entries: heapless::Vec::from_slice(&[(1, 0), (2, 115_200)]).unwrap(),
        }),
        Message::Query(Query::Status),
        Message::Header(Header {
            source: SourceKind::Receiver,
            created_by: String::try_from("cuepost 0.1.0").unwrap(),
            began_unix_s: Some(1_750_000_000),
            conditions: String::try_from("dry, 18 °C").unwrap(),
        }),
        Message::Mark(Mark {
            time_us: 118_500_000,
            lap: Some(2),
            corner: Some(5),
            text: String::try_from("late on throttle").unwrap(),
        }),
        Message::Cue(Cue {
            lap: 2,
            corner: 5,
            phase: Phase::Throttle,
            advice: Advice::Sooner,
            told: Told::Now,
            size: Size::Metres(12.0),
            size_s: Some(0.25),
            loss_s: Some(0.21),
            time_us: 118_020_000,
            progress_m: 1391.0,
        }),
        Message::Phase(PhaseEvent {
            lap: 2,
            corner: 5,
            phase: Phase::Brake,
            time_us: 112_344_000,
            progress_m: 1203.5,
        }),
        Message::Lap(LapEvent {
            lap: 2,
            time_us: 83_412_000,
            end_us: 201_756_000,
            valid: true,
            gap_s: Some(0.375),
        }),
        Message::Corner(Facts {
            lap: 2,
            corner: 5,
            usable: true,
            brake_m: Some(Measured::new(1203.5, 0.5)),
            slowest_mps: Some(Measured::new(22.5, 0.125)),
            throttle_m: Some(Measured::new(1391.0, 0.75)),
            ..Facts::default()
        }),
        Message::Health(HealthEvent {
            state: HealthState::Degraded,
            why: Why::Gap,
            time_us: 119_000_000,
        }),
        Message::Pace(PaceEvent {
            lap: 2,
            ratio: 1.015_625,
            time_us: 201_756_000,
        }),
        Message::Ack(Ack {
            kind: 0x03,
            answer: Answer::Refused {
                why: Refuse::Offset,
                expected: 256,
                got: 384,
            },
        }),
        Message::Status(Status {
            firmware: (0, 1, 0),
            uptime_ms: 65_000,
            reference: Some(crc),
            counts: Counts {
                admitted: 1500,
                frames: 1501,
                frames_refused: [0, 0, 0, 2, 0, 0, 0, 0],
                ..Counts::default()
            },
            health: HealthState::Ok,
            ..Status::default()
        }),
    ]
}

/// The frame of a message.
pub fn frame(message: &Message) -> Vec<u8> {
    let mut out = [0; FRAME_MAX];
    let n = encode(message, &mut out).unwrap();
    out[..n].to_vec()
}

/// A frame around any payload, made with the `cobs` crate and not with ours.
pub fn wrap(version: u8, kind: u8, payload: &[u8]) -> Vec<u8> {
    let mut body = vec![version, kind];
    body.extend_from_slice(payload);
    body.extend_from_slice(&frame::crc32(&body).to_le_bytes());
    let mut out = vec![0];
    out.extend(::cobs::encode_vec(&body));
    out.push(0);
    out
}

/// The payload in a frame, by the `cobs` crate.
pub fn payload(frame: &[u8]) -> Vec<u8> {
    let inner = &frame[1..frame.len() - 1];
    let body = ::cobs::decode_vec(inner).unwrap();
    body[2..body.len() - 4].to_vec()
}

/// What a fresh reader makes of some bytes.
pub fn read(bytes: &[u8]) -> Vec<Outcome> {
    let mut reader = FrameReader::<BODY_MAX>::new();
    bytes
        .iter()
        .map(|&b| reader.feed(b))
        .filter(|o| *o != Outcome::Nothing)
        .collect()
}

/// One message of every kind, each as long as its kind gets.
pub fn longest() -> Vec<Message> {
    let t = TIME_MAX_US;
    let m = Some(Measured::new(-1.5, 0.25));
    let p = Some(Measured::new(1.5, 0.25));
    let f = Some(1.0);
    let sample = Sample {
        time_us: t,
        position: Some(Position::Local {
            east_mm: -LOCAL_MAX_MM,
            north_mm: LOCAL_MAX_MM,
        }),
        speed_mps: f,
        direction_rad: f,
        position_sd_m: f,
        speed_sd_mps: f,
        long_acc_mps2: f,
        lat_acc_mps2: f,
        yaw_rate_rps: f,
        brake: f,
        throttle: f,
        steer: f,
        gear: Some(-1),
    };
    let facts = Facts {
        lap: u16::MAX,
        corner: 255,
        kind: CornerKind::Flat,
        usable: true,
        brake_m: m,
        brake_mps: p,
        peak_decel_mps2: m,
        mean_decel_mps2: m,
        turn_in_m: m,
        release_m: m,
        trail_m: m,
        slowest_m: m,
        slowest_mps: p,
        slowed_mps: p,
        throttle_m: m,
        full_m: m,
        lifts: 255,
        lift_s: m,
        dip_mps: m,
        missing_m: m,
        coast_s: m,
        offset_begin_m: m,
        offset_slowest_m: m,
        offset_exit_m: m,
        exit_mps: p,
        loss_entry_s: m,
        loss_middle_s: m,
        loss_exit_s: m,
    };
    let mut entries = heapless::Vec::new();
    for key in 0..SETTINGS_MAX as u8 {
        entries.push((255 - key, u32::MAX)).unwrap();
    }
    let object = Object::Config;
    let (crc, total) = (u32::MAX, 1 << 20);
    vec![
        Message::Sample(sample),
        Message::Begin(Begin { object, total, crc }),
        Message::Piece(Piece {
            object,
            crc,
            offset: total - 1,
            data: heapless::Vec::from_slice(&[0xA5; PIECE_MAX]).unwrap(),
        }),
        Message::Commit(Commit { object, total, crc }),
        Message::Settings(Settings { entries }),
        Message::Query(Query::Settings),
        Message::Header(Header {
            source: SourceKind::Simulator,
            created_by: text::<32>(),
            began_unix_s: Some(t),
            conditions: text::<64>(),
        }),
        Message::Mark(Mark {
            time_us: t,
            lap: Some(u16::MAX),
            corner: Some(255),
            text: text::<96>(),
        }),
        Message::Cue(Cue {
            lap: u16::MAX,
            corner: 255,
            phase: Phase::Throttle,
            advice: Advice::Better,
            told: Told::Ahead,
            size: Size::Seconds(1.0),
            size_s: f,
            loss_s: f,
            time_us: t,
            progress_m: 1.0,
        }),
        Message::Phase(PhaseEvent {
            lap: u16::MAX,
            corner: 255,
            phase: Phase::Throttle,
            time_us: t,
            progress_m: 1.0,
        }),
        Message::Lap(LapEvent {
            lap: u16::MAX,
            time_us: t,
            end_us: t,
            valid: true,
            gap_s: f,
        }),
        Message::Corner(facts),
        Message::Health(HealthEvent {
            state: HealthState::OffTrack,
            why: Why::Restart,
            time_us: t,
        }),
        Message::Pace(PaceEvent {
            lap: u16::MAX,
            ratio: 1.0,
            time_us: t,
        }),
        Message::Ack(Ack {
            kind: 255,
            answer: Answer::Refused {
                why: Refuse::Busy,
                expected: u32::MAX,
                got: u32::MAX,
            },
        }),
        Message::Status(Status {
            firmware: (255, 255, 255),
            uptime_ms: u32::MAX,
            reference: Some(u32::MAX),
            config: Some(u32::MAX),
            transfer: Some(Transfer {
                object,
                crc,
                have: total,
                total,
            }),
            health: HealthState::OffTrack,
            why: Why::Restart,
            counts: Counts {
                admitted: u32::MAX,
                refused: [u32::MAX; GATE_REFUSALS],
                frames: u32::MAX,
                frames_refused: [u32::MAX; REFUSALS],
                receiver: u32::MAX,
                receiver_refused: u32::MAX,
                lost_in: u32::MAX,
                lost_out: u32::MAX,
                fill_in: u16::MAX,
                fill_out: u16::MAX,
                output_faults: u32::MAX,
            },
        }),
    ]
}

fn text<const N: usize>() -> String<N> {
    let mut s = String::new();
    while s.push('x').is_ok() {}
    s
}
