//! What the page's script reads: the line, the laps' traces and the passages, small enough for
//! one file.

use super::Debrief;
use crate::report::units::lap_time;
use crate::report::words;
use crate::session::{Grid, LapTrace, Passage};
use cuepost_engine::{Corner, Facts, LapEvent, Measured};
use serde::Serialize;
use std::collections::BTreeSet;

/// Metres between points of a trace when there is room.
const STEP_M: f32 = 5.0;
/// Bytes that the traces of all laps may take up.
const TRACES_MAX: usize = 480_000;
/// Bytes of one point of one lap as text: three numbers of two bytes and two of one, in base 64.
const POINT_BYTES: usize = 8 * 4 / 3 + 1;
/// Points are never fewer, however many laps there are.
const POINTS_LEAST: usize = 120;

#[derive(Serialize)]
pub struct Data {
    length_m: f32,
    step_m: f32,
    points: usize,
    units: UnitData,
    /// Decimetres.
    east: Vec<i32>,
    north: Vec<i32>,
    /// cm/s.
    speed: Vec<i32>,
    corners: Vec<CornerData>,
    landmarks: Vec<LandmarkData>,
    laps: Vec<LapData>,
    passages: Vec<PassageData>,
    first: Option<FirstData>,
}

#[derive(Serialize)]
struct UnitData {
    length: &'static str,
    lengths_a_metre: f64,
    speed: &'static str,
    speeds_a_mps: f64,
}

#[derive(Serialize)]
struct CornerData {
    number: usize,
    name: String,
    kind: &'static str,
    turn: i8,
    begin: f32,
    middle: f32,
    apex: f32,
    middle_end: f32,
    exit: f32,
    marks: Marks,
}

/// Where things began: brake, turn-in, release, slowest, throttle, full; metres to a decimetre.
type Marks = [Option<f32>; 6];

#[derive(Serialize)]
struct LandmarkData {
    at: f32,
    side: i8,
    name: String,
}

#[derive(Serialize)]
struct LapData {
    lap: u16,
    time: String,
    gap_s: Option<f32>,
    valid: bool,
    speed: String,
    gap: String,
    offset: String,
    brake: Option<String>,
    throttle: Option<String>,
}

#[derive(Serialize)]
struct PassageData {
    lap: u16,
    corner: u8,
    usable: bool,
    marks: Marks,
    slowest_mps: Option<f32>,
    exit_mps: Option<f32>,
    loss: [Option<f32>; 3],
    told: Option<String>,
}

#[derive(Serialize)]
struct FirstData {
    corner: u8,
    lap: u16,
}

/// Gathers it; `first` is the corner and the lap that the page opens at.
pub fn gather(debrief: &Debrief<'_>, first: Option<(u8, u16)>) -> Data {
    let reference = debrief.reference;
    let laps = shown_laps(debrief).len().max(1);
    let most = (TRACES_MAX / (laps * POINT_BYTES)).max(POINTS_LEAST);
    let grid = Grid::new(reference, STEP_M, most);
    let nodes = reference.nodes.len().max(1);
    // The nearest node is within half their spacing.
    let node = |at_m: f32| {
        let index = (at_m / reference.spacing_m).round() as usize % nodes;
        reference.nodes.get(index).copied().unwrap_or_default()
    };
    let units = debrief.units;
    Data {
        length_m: reference.length_m(),
        step_m: grid.step_m,
        points: grid.points,
        units: UnitData {
            length: units.length_name(),
            lengths_a_metre: units.lengths_a_metre(),
            speed: units.speed_name(),
            speeds_a_mps: units.speeds_a_mps(),
        },
        east: grid.progress_m().map(|m| node(m).east_mm / 100).collect(),
        north: grid.progress_m().map(|m| node(m).north_mm / 100).collect(),
        speed: grid
            .progress_m()
            .map(|m| (reference.speed_mps(m) * 100.0) as i32)
            .collect(),
        corners: (1..=reference.corners.len())
            .zip(reference.corners)
            .map(|(number, c)| corner(debrief, number, c))
            .collect(),
        landmarks: reference
            .landmarks
            .iter()
            .map(|l| LandmarkData {
                at: l.progress_m,
                side: l.side,
                name: l.name.to_string(),
            })
            .collect(),
        laps: shown_laps(debrief)
            .into_iter()
            .map(|number| {
                let trace = debrief.session.trace(number, &grid, reference);
                let ended = debrief.session.laps.iter().find(|l| l.lap == number);
                lap(number, ended, trace.unwrap_or_default())
            })
            .collect(),
        passages: debrief
            .session
            .passages
            .iter()
            .map(|p| passage(debrief, p))
            .collect(),
        first: first.map(|(corner, lap)| FirstData { corner, lap }),
    }
}

fn corner(debrief: &Debrief<'_>, number: usize, c: &Corner) -> CornerData {
    CornerData {
        number,
        name: words::corner_name(debrief.reference, number.min(255) as u8),
        kind: c.kind.name(),
        turn: c.turn,
        begin: c.begin_m,
        middle: c.middle_begin_m,
        apex: c.apex_m,
        middle_end: c.middle_end_m,
        exit: c.exit_m,
        marks: marks(&c.facts),
    }
}

fn marks(f: &Facts) -> Marks {
    let tenth = |m: Option<Measured>| m.and_then(|m| finite(m.value, 10.0));
    [
        tenth(f.brake_m),
        tenth(f.turn_in_m),
        tenth(f.release_m),
        tenth(f.slowest_m),
        tenth(f.throttle_m),
        tenth(f.full_m),
    ]
}

/// Laps that ended, and those that did not in which a passage was judged: it can be looked at.
fn shown_laps(debrief: &Debrief<'_>) -> BTreeSet<u16> {
    let session = debrief.session;
    let judged = session.passages.iter().filter(|p| p.loss_s().is_some());
    let ended = session.laps.iter().map(|l| l.lap);
    ended.chain(judged.map(|p| p.facts.lap)).collect()
}

fn lap(number: u16, ended: Option<&LapEvent>, trace: LapTrace) -> LapData {
    let words = |v: &[i16]| base64(v.iter().flat_map(|x| x.to_le_bytes()));
    LapData {
        lap: number,
        time: match (ended, number) {
            (Some(event), _) => lap_time(event.time_us),
            (None, 0) => "before the first".to_owned(),
            (None, _) => "not finished".to_owned(),
        },
        gap_s: ended
            .and_then(|event| event.gap_s)
            .and_then(|s| finite(s, 1000.0)),
        valid: ended.is_none_or(|event| event.valid),
        speed: words(&trace.speed_cmps),
        gap: words(&trace.gap_ms),
        offset: words(&trace.offset_cm),
        brake: trace.brake.map(|v| base64(v.into_iter())),
        throttle: trace.throttle.map(|v| base64(v.into_iter())),
    }
}

fn passage(debrief: &Debrief<'_>, p: &Passage) -> PassageData {
    let f = &p.facts;
    let value = |m: Option<Measured>, per: f32| m.and_then(|m| finite(m.value, per));
    let verdict = p.verdict(debrief.reference, debrief.config.at(f.corner));
    PassageData {
        lap: f.lap,
        corner: f.corner,
        usable: p.loss_s().is_some(),
        marks: marks(f),
        slowest_mps: value(f.slowest_mps, 100.0),
        exit_mps: value(f.exit_mps, 100.0),
        loss: [f.loss_entry_s, f.loss_middle_s, f.loss_exit_s].map(|m| value(m, 1000.0)),
        told: verdict.map(|v| super::words::verdict(&v, f.corner, debrief.units)),
    }
}

fn finite(value: f32, per_unit: f32) -> Option<f32> {
    let rounded = (value * per_unit).round() / per_unit;
    rounded.is_finite().then_some(rounded)
}

/// RFC 4648, with padding.
fn base64(bytes: impl Iterator<Item = u8>) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let bytes: Vec<u8> = bytes.collect();
    let mut text = String::with_capacity(bytes.len() / 3 * 4 + 4);
    for chunk in bytes.chunks(3) {
        let at = |i: usize| u32::from(chunk.get(i).copied().unwrap_or(0));
        let group = at(0) << 16 | at(1) << 8 | at(2);
        for k in 0..4 {
            let letter = LETTERS[(group >> (18 - 6 * k) & 63) as usize];
            text.push(if k <= chunk.len() {
                char::from(letter)
            } else {
                '='
            });
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn base64_as_published() {
        // RFC 4648, section 10, test vectors.
        for (plain, coded) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(base64(plain.bytes()), coded);
        }
    }
}
