//! One message of every kind, as long as its kind gets.

use super::super::message::*;
use super::super::transfer::Transfer;
use super::super::*;
use crate::cue::{Advice, Cue, Phase, Size, Told};
use crate::event::*;
use crate::facts::{Facts, Measured};
use crate::reference::{CornerKind, SourceKind};
use crate::sample::{Position, Sample};
use heapless::String;
use std::vec::Vec;

/// One message of every kind, each as long as its kind gets.
pub(super) fn longest() -> Vec<Message> {
    let t = crate::check::TIME_MAX_US;
    let m = Some(Measured::new(-1.5, 0.25));
    let p = Some(Measured::new(1.5, 0.25));
    let f = Some(1.0);
    let sample = Sample {
        time_us: t,
        position: Some(Position::Local {
            east_mm: -crate::check::LOCAL_MAX_MM,
            north_mm: crate::check::LOCAL_MAX_MM,
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
        apex_mps: p,
        throttle_m: m,
        full_m: m,
        lifts: 255,
        lift_s: m,
        coast_s: m,
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
    std::vec![
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
                refused: [u32::MAX; crate::gate::REFUSALS],
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
