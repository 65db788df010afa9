//! The settings and what came of them, as a table: for people, and for other programs.

use super::outcome::Outcome;
use super::recommend::Recommended;
use super::settings::Setting;
use crate::tables::{Cell, Column, Table};
use std::fmt::Write;

/// How many corners a line of the terminal names.
const CORNERS: usize = 3;

/// A row a setting.
pub fn table(
    settings: &[Setting],
    outcomes: &[Outcome],
    laps: usize,
    recommended: Option<&Recommended>,
) -> Table {
    let mut names: Vec<&'static str> = Vec::new();
    for (name, _) in settings.iter().flat_map(|s| &s.values) {
        if !names.contains(name) {
            names.push(name);
        }
    }
    let mut columns: Vec<Column> = names.iter().map(|n| Column::real(n)).collect();
    columns.extend([
        Column::real("cues_per_lap"),
        Column::whole("now"),
        Column::whole("after"),
        Column::whole("ahead"),
        Column::whole("praise"),
        Column::whole("brake"),
        Column::whole("trail"),
        Column::whole("rotation"),
        Column::whole("throttle"),
        Column::real("told_s_per_lap"),
        Column::real("flips"),
        Column::whole("right"),
        Column::whole("wrong"),
        Column::whole("missed"),
        Column::real("precision"),
        Column::real("recall"),
        Column::text("corners"),
        Column::truth("recommended"),
    ]);
    let mut table = Table::new("tune", &columns);
    let real = |v: Option<f64>| v.map_or(Cell::Null, |v| Cell::Real((v * 1e4).round() / 1e4));
    let whole = |v: Option<u32>| v.map_or(Cell::Null, |v| Cell::Whole(v as i32));
    for (index, (setting, outcome)) in settings.iter().zip(outcomes).enumerate() {
        let value = |name: &&str| {
            let found = setting.values.iter().find(|(n, _)| n == name);
            real(found.map(|(_, v)| f64::from(*v)))
        };
        let mut row: Vec<Cell> = names.iter().map(value).collect();
        let agreement = outcome.agreement;
        row.extend([
            real(Some(f64::from(outcome.cues()) / laps.max(1) as f64)),
            whole(Some(outcome.told[0])),
            whole(Some(outcome.told[1])),
            whole(Some(outcome.told[2])),
        ]);
        row.extend(outcome.phases.map(|n| whole(Some(n))));
        row.extend([
            real(Some(outcome.told_s)),
            real(outcome.flips),
            whole(agreement.map(|a| a.right)),
            whole(agreement.map(|a| a.wrong)),
            whole(agreement.map(|a| a.missed)),
            real(agreement.and_then(|a| a.precision())),
            real(agreement.and_then(|a| a.recall())),
            Cell::Text(corners(outcome, usize::MAX)),
            Cell::Truth(recommended.is_some_and(|r| r.index == index)),
        ]);
        table.rows.push(row);
    }
    table
}

/// `5 ×12, 3 ×4`: the corners most spoken of first.
fn corners(outcome: &Outcome, most: usize) -> String {
    let mut all: Vec<(u8, u32)> = outcome.corners.iter().map(|(c, n)| (*c, *n)).collect();
    all.sort_by_key(|(corner, count)| (std::cmp::Reverse(*count), *corner));
    let mut words: Vec<String> = all
        .iter()
        .take(most)
        .map(|(corner, count)| format!("{corner} ×{count}"))
        .collect();
    if all.len() > most {
        words.push(format!("{} more", all.len() - most));
    }
    words.join(", ")
}

/// The table for a terminal; the first setting is the one begun from.
pub fn text(
    settings: &[Setting],
    outcomes: &[Outcome],
    laps: usize,
    recommended: Option<&Recommended>,
) -> String {
    let label = |s: &Setting| {
        let values = s.values.iter().map(|(name, v)| match *name {
            super::settings::ALL => format!("all ×{v}"),
            name => format!("{name} {v}"),
        });
        let values: Vec<String> = values.collect();
        if values.is_empty() {
            "as begun from".to_owned()
        } else {
            values.join("  ")
        }
    };
    let labels: Vec<String> = settings.iter().map(label).collect();
    let width = labels.iter().map(|l| l.chars().count()).max().unwrap_or(0);
    let marked = outcomes.iter().any(|o| o.agreement.is_some());
    let percent = |v: Option<f64>| v.map_or("-".into(), |v| format!("{:.0} %", v * 100.0));
    let mut text = format!("  {:width$}  cues/lap  told s/lap  flips", "setting");
    if marked {
        text.push_str("  right  wrong  missed  precision  recall");
    }
    text.push_str("  corners\n");
    for (index, (label, outcome)) in labels.iter().zip(outcomes).enumerate() {
        let sign = if recommended.is_some_and(|r| r.index == index) {
            '>'
        } else {
            ' '
        };
        let a_lap = f64::from(outcome.cues()) / laps.max(1) as f64;
        let _ = write!(
            text,
            "{sign} {label:width$}  {a_lap:8.1}  {:10.2}  {:>5}",
            outcome.told_s,
            percent(outcome.flips)
        );
        if let Some(a) = outcome.agreement {
            let _ = write!(
                text,
                "  {:5}  {:5}  {:6}  {:>9}  {:>6}",
                a.right,
                a.wrong,
                a.missed,
                percent(a.precision()),
                percent(a.recall())
            );
        }
        let _ = writeln!(text, "  {}", corners(outcome, CORNERS));
    }
    text
}
