//! What the laps say about each corner, and the one thing to work on first.

use crate::report::places;
use crate::session::{Passage, Session};
use cuepost_engine::judge::Verdict;
use cuepost_engine::{Advice, Config, Facts, Measured, Phase, ReferenceView, Size};

/// Two habits that cost the same within this share are told apart by the straight behind them.
const ALIKE: f32 = 0.85;
/// Less than this a lap without a named cause is not worth a word, seconds.
const UNEXPLAINED_S: f32 = 0.1;

/// The same advice in the same corner, over the laps.
#[derive(Clone, Debug, PartialEq)]
pub struct Habit {
    /// The corner, from 1.
    pub corner: u8,
    /// What it is about.
    pub phase: Phase,
    /// What to change.
    pub advice: Advice,
    /// The laps it happened in.
    pub laps: Vec<u16>,
    /// The lap in which it cost most.
    pub worst_lap: u16,
    /// Its middle size.
    pub size: Size,
    /// What those passages lost, seconds, altogether.
    pub lost_s: f32,
    /// The same over all judged passages of the corner: seconds a lap.
    pub per_lap_s: f32,
    /// Where in those passages it was lost: entry, middle, exit, seconds a time.
    pub parts_s: [f32; 3],
}

/// One corner over all laps.
#[derive(Clone, Debug, PartialEq)]
pub struct CornerFinding {
    /// The corner, from 1.
    pub corner: u8,
    /// Passages that could be judged.
    pub measured: usize,
    /// Passages whose loss counts: the judged ones, and those reached too slowly to be judged in
    /// a lap that was driven whole.
    pub counted: usize,
    /// Passages altogether.
    pub passages: usize,
    /// Mean loss a lap: the whole corner, entry, middle, exit; seconds.
    pub lost_s: [f32; 4],
    /// The least loss of entry, middle, exit over the laps; seconds.
    pub best_s: Option<[f32; 3]>,
    /// The least loss of the whole corner; seconds.
    pub best_whole_s: Option<f32>,
    /// The lap that lost most in it.
    pub worst_lap: Option<u16>,
    /// Metres from where full throttle is reached (or the exit) to the next braking.
    pub straight_m: f32,
    /// What was found, the costliest first.
    pub habits: Vec<Habit>,
    /// How the facts differ from the reference's and scatter.
    pub spreads: Vec<Spread>,
}

/// A fact over the laps.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    /// What it is.
    pub of: &'static str,
    /// Its unit.
    pub kind: SpreadKind,
    /// Passages in which it is known.
    pub count: usize,
    /// Mean difference to the reference.
    pub mean: f32,
    /// Standard deviation over the laps.
    pub sd: f32,
    /// Standard deviation of one measurement.
    pub measured_sd: f32,
}

/// What a spread is measured in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SpreadKind {
    /// Metres.
    Length,
    /// Metres per second.
    Speed,
    /// Seconds.
    Time,
}

/// Looks at every corner of a session.
pub fn corners(
    session: &Session,
    reference: &ReferenceView<'_>,
    config: &Config,
) -> Vec<CornerFinding> {
    (1..=reference.corners.len().min(255) as u8)
        .map(|corner| find(session, reference, config, corner))
        .collect()
}

impl CornerFinding {
    /// What is lost a lap without a cause that could be named, seconds.
    pub fn unexplained_s(&self) -> f32 {
        self.lost_s[0] - self.habits.iter().map(|h| h.per_lap_s).sum::<f32>()
    }
}

/// The corner in which more is lost without a named cause than the first habit costs.
pub fn unexplained(corners: &[CornerFinding]) -> Option<&CornerFinding> {
    let named_s = first(corners).map_or(0.0, |(habit, _)| habit.per_lap_s);
    corners
        .iter()
        .filter(|c| c.counted > 0 && c.unexplained_s() > named_s.max(UNEXPLAINED_S))
        .max_by(|a, b| a.unexplained_s().total_cmp(&b.unexplained_s()))
}

/// The habit to work on first, and the one that comes after it.
pub fn first(corners: &[CornerFinding]) -> Option<(&Habit, Option<&Habit>)> {
    let mut all: Vec<(&Habit, f32)> = corners
        .iter()
        .flat_map(|c| c.habits.iter().map(|h| (h, c.straight_m)))
        .filter(|(h, _)| h.advice != Advice::Better && h.per_lap_s > 0.0)
        .collect();
    all.sort_by(|a, b| b.0.per_lap_s.total_cmp(&a.0.per_lap_s));
    let most_s = all.first()?.0.per_lap_s;
    // Of those that cost nearly the same, the exit before the longest straight.
    let alike = all
        .iter()
        .take_while(|(h, _)| h.per_lap_s >= ALIKE * most_s);
    let (chosen, _) = alike.max_by(|a, b| worth(a).total_cmp(&worth(b)))?;
    let next = all.iter().find(|(h, _)| h.corner != chosen.corner);
    Some((chosen, next.map(|(h, _)| *h)))
}

fn worth((habit, straight_m): &(&Habit, f32)) -> f32 {
    let [entry, middle, exit] = habit.parts_s.map(|s| s.max(0.0));
    let whole = (entry + middle + exit).max(1e-3);
    straight_m * exit / whole
}

fn find(
    session: &Session,
    reference: &ReferenceView<'_>,
    config: &Config,
    corner: u8,
) -> CornerFinding {
    let usable: Vec<&Passage> = session.of_corner(corner).collect();
    let whole = |lap: u16| session.laps.iter().any(|l| l.lap == lap && l.valid);
    let counted: Vec<&Passage> = session
        .passages
        .iter()
        .filter(|p| p.facts.corner == corner && (p.facts.usable || whole(p.facts.lap)))
        .filter(|p| p.facts.loss_s().is_some_and(f32::is_finite))
        .collect();
    let loss_s = |p: &&&Passage| p.facts.loss_s().unwrap_or(0.0);
    let parts: Vec<[f32; 3]> = counted.iter().filter_map(|p| parts(&p.facts)).collect();
    let mean = |k: usize| mean(parts.iter().filter_map(|p| p.get(k).copied()));
    let [entry, middle, exit] = [mean(0), mean(1), mean(2)];
    let least = |k: usize| {
        let values = parts.iter().filter_map(|p| p.get(k).copied());
        values.fold(f32::INFINITY, f32::min)
    };
    let best_whole_s = counted
        .iter()
        .filter_map(|p| p.facts.loss_s())
        .min_by(f32::total_cmp);
    let of_corner = session.passages.iter().filter(|p| p.facts.corner == corner);
    CornerFinding {
        corner,
        measured: usable.len(),
        counted: counted.len(),
        passages: of_corner.count(),
        lost_s: [entry + middle + exit, entry, middle, exit],
        best_s: (!parts.is_empty()).then(|| [least(0), least(1), least(2)]),
        best_whole_s,
        worst_lap: counted
            .iter()
            .max_by(|a, b| loss_s(a).total_cmp(&loss_s(b)))
            .map(|p| p.facts.lap),
        straight_m: places::straight_m(reference, usize::from(corner.saturating_sub(1))),
        habits: habits(&usable, counted.len(), reference, config),
        spreads: spreads(&usable, reference, corner),
    }
}

fn habits(
    usable: &[&Passage],
    counted: usize,
    reference: &ReferenceView<'_>,
    config: &Config,
) -> Vec<Habit> {
    type Members<'a> = Vec<(&'a Passage, Verdict)>;
    let mut found: Vec<(Phase, Advice, Members<'_>)> = Vec::new();
    for passage in usable {
        let Some(v) = passage.verdict(reference, config.at(passage.facts.corner)) else {
            continue;
        };
        match found
            .iter_mut()
            .find(|(p, a, _)| (*p, *a) == (v.phase, v.advice))
        {
            Some((.., members)) => members.push((passage, v)),
            None => found.push((v.phase, v.advice, vec![(passage, v)])),
        }
    }
    let mut habits: Vec<Habit> = found
        .into_iter()
        .filter_map(|(phase, advice, members)| {
            let lost_s: f32 = members.iter().map(|(_, v)| v.loss_s).sum();
            let worst = members
                .iter()
                .max_by(|a, b| a.1.loss_s.abs().total_cmp(&b.1.loss_s.abs()))?;
            let part = |k: usize| {
                let all = members.iter().filter_map(|(p, _)| parts(&p.facts));
                mean(all.filter_map(|p| p.get(k).copied()))
            };
            Some(Habit {
                corner: worst.0.facts.corner,
                phase,
                advice,
                laps: members.iter().map(|(p, _)| p.facts.lap).collect(),
                worst_lap: worst.0.facts.lap,
                size: middle_size(members.iter().map(|(_, v)| v.size).collect())?,
                lost_s,
                per_lap_s: lost_s / counted.max(1) as f32,
                parts_s: [part(0), part(1), part(2)],
            })
        })
        .collect();
    habits.sort_by(|a, b| b.lost_s.total_cmp(&a.lost_s));
    habits
}

/// The middle one of the sizes in the unit that most of them have.
fn middle_size(sizes: Vec<Size>) -> Option<Size> {
    let value = |s: &Size| match *s {
        Size::Metres(v) | Size::Speed(v) | Size::Deceleration(v) | Size::Seconds(v) => v,
    };
    let same = |a: &Size, b: &Size| std::mem::discriminant(a) == std::mem::discriminant(b);
    let most = sizes
        .iter()
        .max_by_key(|a| sizes.iter().filter(|b| same(a, b)).count())
        .copied()?;
    let mut alike: Vec<Size> = sizes.into_iter().filter(|s| same(s, &most)).collect();
    alike.sort_by(|a, b| value(a).total_cmp(&value(b)));
    alike.get(alike.len() / 2).copied()
}

fn parts(facts: &Facts) -> Option<[f32; 3]> {
    Some([
        facts.loss_entry_s?.value,
        facts.loss_middle_s?.value,
        facts.loss_exit_s?.value,
    ])
}

type Get = fn(&Facts) -> Option<Measured>;

const FACTS: [(&str, SpreadKind, Get); 7] = [
    ("brake onset", SpreadKind::Length, |f| f.brake_m),
    ("brake release", SpreadKind::Length, |f| f.release_m),
    ("slowest speed", SpreadKind::Speed, |f| f.slowest_mps),
    ("line at the slowest point", SpreadKind::Length, |f| {
        f.offset_slowest_m
    }),
    ("throttle onset", SpreadKind::Length, |f| f.throttle_m),
    ("full throttle", SpreadKind::Length, |f| f.full_m),
    ("exit speed", SpreadKind::Speed, |f| f.exit_mps),
];

fn spreads(usable: &[&Passage], reference: &ReferenceView<'_>, corner: u8) -> Vec<Spread> {
    let Some(own) = reference.corners.get(usize::from(corner.saturating_sub(1))) else {
        return Vec::new();
    };
    let mut all: Vec<Spread> = FACTS
        .iter()
        .filter_map(|(of, kind, get)| {
            let want = get(&own.facts)?.value;
            let known: Vec<Measured> = usable.iter().filter_map(|p| get(&p.facts)).collect();
            // Only places on the line wrap.
            let place = of.contains("onset") || of.contains("release") || of.contains("full");
            let differences = known.iter().map(|m| match place {
                true => reference.ahead_m(want, m.value),
                false => m.value - want,
            });
            let (mean, sd) = scatter(&differences.collect::<Vec<_>>())?;
            let variance = known.iter().map(|m| m.sd * m.sd).sum::<f32>() / known.len() as f32;
            Some(Spread {
                of,
                kind: *kind,
                count: known.len(),
                mean,
                sd,
                measured_sd: variance.sqrt(),
            })
        })
        .collect();
    let losses: Vec<f32> = usable.iter().filter_map(|p| p.loss_s()).collect();
    if let Some((mean, sd)) = scatter(&losses) {
        all.push(Spread {
            of: "time lost",
            kind: SpreadKind::Time,
            count: losses.len(),
            mean,
            sd,
            measured_sd: 0.0,
        });
    }
    all
}

/// Mean and standard deviation of at least two values.
fn scatter(values: &[f32]) -> Option<(f32, f32)> {
    if values.len() < 2 {
        return None;
    }
    let m = mean(values.iter().copied());
    let squares: f32 = values.iter().map(|v| (v - m) * (v - m)).sum();
    Some((m, (squares / (values.len() - 1) as f32).sqrt()))
}

fn mean(values: impl Iterator<Item = f32>) -> f32 {
    let (sum, count) = values.fold((0.0, 0u32), |(s, n), v| (s + v, n + 1));
    if count == 0 { 0.0 } else { sum / count as f32 }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn habit(corner: u8, per_lap_s: f32, parts_s: [f32; 3]) -> Habit {
        Habit {
            corner,
            phase: Phase::Throttle,
            advice: Advice::Sooner,
            laps: vec![2, 3],
            worst_lap: 3,
            size: Size::Metres(12.0),
            lost_s: 2.0 * per_lap_s,
            per_lap_s,
            parts_s,
        }
    }

    fn corner(number: u8, straight_m: f32, habits: Vec<Habit>) -> CornerFinding {
        CornerFinding {
            corner: number,
            measured: 2,
            counted: 2,
            passages: 2,
            lost_s: [0.0; 4],
            best_s: None,
            best_whole_s: None,
            worst_lap: None,
            straight_m,
            habits,
            spreads: Vec::new(),
        }
    }

    #[test]
    fn the_costliest_comes_first_and_like_costs_go_by_the_straight() {
        let short = corner(1, 50.0, vec![habit(1, 0.20, [0.0, 0.1, 0.1])]);
        let long = corner(2, 600.0, vec![habit(2, 0.18, [0.0, 0.02, 0.16])]);
        let cheap = corner(3, 900.0, vec![habit(3, 0.10, [0.0, 0.0, 0.1])]);
        let all = [short.clone(), long, cheap.clone()];
        let (chosen, next) = first(&all).unwrap();
        assert_eq!((chosen.corner, next.unwrap().corner), (2, 1));
        let all = [short, cheap];
        let (chosen, _) = first(&all).unwrap();
        assert_eq!(chosen.corner, 1, "half the cost is not alike");
        assert!(first(&[corner(1, 10.0, vec![])]).is_none());
    }

    #[test]
    fn the_middle_size_is_of_the_commoner_unit() {
        let sizes = vec![
            Size::Seconds(0.4),
            Size::Metres(9.0),
            Size::Metres(30.0),
            Size::Metres(11.0),
        ];
        assert_eq!(middle_size(sizes), Some(Size::Metres(11.0)));
        assert_eq!(middle_size(vec![]), None);
    }

    #[test]
    fn scatter_is_that_of_a_sample() {
        let (mean, sd) = scatter(&[1.0, 3.0]).unwrap();
        assert_eq!(mean, 2.0);
        assert!((sd - 2f32.sqrt()).abs() < 1e-6);
        assert_eq!(scatter(&[1.0]), None);
    }
}
