//! A replayed recording as three tables: laps, facts of corners, cues.
//!
//! The values and their names are those of the JSON lines, so that a column means the same in
//! every format; the recording's name stands before them, for seasons of many.

use super::{Cell, Column, Kind, Table};
use crate::report::Units;
use crate::report::json::event_value;
use cuepost_engine::{Event, ReferenceView};
use serde_json::Value;

/// A row a lap that ended.
pub const LAPS: [Column; 6] = [
    Column::text("recording"),
    Column::whole("lap"),
    Column::real("time_s"),
    Column::truth("valid"),
    Column::real("gap_s"),
    Column::real("end_s"),
];

/// A row a cue.
pub const CUES: [Column; 14] = [
    Column::text("recording"),
    Column::whole("lap"),
    Column::whole("corner"),
    Column::text("phase"),
    Column::text("advice"),
    Column::text("told"),
    Column::real("size_m"),
    Column::real("size_s"),
    Column::real("size_mps"),
    Column::real("size_mps2"),
    Column::real("loss_s"),
    Column::real("time_s"),
    Column::real("progress_m"),
    Column::text("text"),
];

/// A row a passage of a corner.
pub const FACTS: [Column; 53] = [
    Column::text("recording"),
    Column::whole("lap"),
    Column::whole("corner"),
    Column::text("kind"),
    Column::truth("usable"),
    Column::real("brake_m"),
    Column::real("brake_sd_m"),
    Column::real("brake_mps"),
    Column::real("brake_sd_mps"),
    Column::real("peak_decel_mps2"),
    Column::real("peak_decel_sd_mps2"),
    Column::real("mean_decel_mps2"),
    Column::real("mean_decel_sd_mps2"),
    Column::real("turn_in_m"),
    Column::real("turn_in_sd_m"),
    Column::real("release_m"),
    Column::real("release_sd_m"),
    Column::real("trail_m"),
    Column::real("trail_sd_m"),
    Column::real("slowest_m"),
    Column::real("slowest_sd_m"),
    Column::real("slowest_mps"),
    Column::real("slowest_sd_mps"),
    Column::real("slowed_mps"),
    Column::real("slowed_sd_mps"),
    Column::real("throttle_m"),
    Column::real("throttle_sd_m"),
    Column::real("full_m"),
    Column::real("full_sd_m"),
    Column::whole("lifts"),
    Column::real("lift_s"),
    Column::real("lift_sd_s"),
    Column::real("dip_mps"),
    Column::real("dip_sd_mps"),
    Column::real("missing_m"),
    Column::real("missing_sd_m"),
    Column::real("coast_s"),
    Column::real("coast_sd_s"),
    Column::real("offset_begin_m"),
    Column::real("offset_begin_sd_m"),
    Column::real("offset_slowest_m"),
    Column::real("offset_slowest_sd_m"),
    Column::real("offset_exit_m"),
    Column::real("offset_exit_sd_m"),
    Column::real("exit_mps"),
    Column::real("exit_sd_mps"),
    Column::real("loss_s"),
    Column::real("loss_entry_s"),
    Column::real("loss_entry_sd_s"),
    Column::real("loss_middle_s"),
    Column::real("loss_middle_sd_s"),
    Column::real("loss_exit_s"),
    Column::real("loss_exit_sd_s"),
];

/// The three tables of one recording, while it is replayed.
pub struct Tables<'a> {
    recording: &'a str,
    reference: ReferenceView<'a>,
    units: Units,
    laps: Table,
    facts: Table,
    cues: Table,
}

impl<'a> Tables<'a> {
    /// Empty tables; `units` only changes the text of cues.
    pub fn new(recording: &'a str, reference: ReferenceView<'a>, units: Units) -> Self {
        Self {
            recording,
            reference,
            units,
            laps: Table::new("laps", &LAPS),
            facts: Table::new("facts", &FACTS),
            cues: Table::new("cues", &CUES),
        }
    }

    /// Takes the next event.
    pub fn take(&mut self, event: &Event, start_us: u64) {
        let table = match event {
            Event::Lap(_) => &mut self.laps,
            Event::Corner(_) => &mut self.facts,
            Event::Cue(_) => &mut self.cues,
            Event::Phase(_) | Event::Health(_) | Event::Pace(_) => return,
        };
        let object = event_value(event, &self.reference, start_us, self.units);
        let name = Value::from(self.recording);
        let row = table.columns.iter().map(|column| match column.name {
            "recording" => cell(column.kind, Some(&name)),
            other => cell(column.kind, object.get(other)),
        });
        let row = row.collect();
        table.rows.push(row);
    }

    /// Laps, facts and cues, in this order.
    pub fn finish(self) -> [Table; 3] {
        [self.laps, self.facts, self.cues]
    }
}

fn cell(kind: Kind, value: Option<&Value>) -> Cell {
    let known = value.and_then(|value| match kind {
        Kind::Real => value.as_f64().map(Cell::Real),
        Kind::Whole => value.as_i64()?.try_into().ok().map(Cell::Whole),
        Kind::Truth => value.as_bool().map(Cell::Truth),
        Kind::Text => value.as_str().map(|v| Cell::Text(v.to_owned())),
    });
    known.unwrap_or(Cell::Null)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::test_reference::with_reference;
    use cuepost_engine::{Advice, Cue, Facts, LapEvent, Measured, Phase, Size, Told};

    fn events() -> [Event; 3] {
        let m = |v| Some(Measured::new(v, 0.5));
        let facts = Facts {
            lap: 2,
            corner: 1,
            brake_m: m(1203.4),
            loss_entry_s: m(0.1),
            loss_middle_s: m(0.2),
            loss_exit_s: m(0.3),
            ..Facts::default()
        };
        let lap = LapEvent {
            lap: 2,
            time_us: 83_412_000,
            end_us: 181_000_000,
            valid: true,
            gap_s: None,
        };
        let cue = Cue {
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
        };
        [Event::Lap(lap), Event::Corner(facts), Event::Cue(cue)]
    }

    /// Every key of the JSON lines has its column, of its kind, and no column is without a key.
    #[test]
    fn columns_and_keys_are_the_same() {
        with_reference(|r| {
            for (event, columns) in events().iter().zip([&LAPS[..], &FACTS, &CUES]) {
                let object = event_value(event, r, 0, Units::Metric);
                let object = object.as_object().unwrap();
                for column in &columns[1..] {
                    let value = object.get(column.name);
                    assert!(value.is_some(), "{}", column.name);
                    let known = cell(column.kind, value) != Cell::Null;
                    assert!(known || value.unwrap().is_null(), "{}", column.name);
                }
                let left_out = |key: &str| key == "event" || (key == "text" && columns == LAPS);
                for key in object.keys().filter(|k| !left_out(k)) {
                    assert!(columns.iter().any(|c| c.name == key), "{key}");
                }
            }
        });
    }

    #[test]
    fn rows_go_to_their_tables() {
        with_reference(|r| {
            let mut tables = Tables::new("run", *r, Units::Metric);
            for event in &events() {
                tables.take(event, 1_000_000);
            }
            let [laps, facts, cues] = tables.finish();
            assert_eq!(
                laps.rows[0][..3],
                [Cell::Text("run".into()), Cell::Whole(2), Cell::Real(83.412)]
            );
            assert_eq!(laps.rows[0][4], Cell::Null, "no reference time");
            assert_eq!((facts.rows.len(), cues.rows.len()), (1, 1));
        });
    }
}
