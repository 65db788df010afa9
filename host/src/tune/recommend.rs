//! Which setting to take, and why.

use super::outcome::Outcome;
use std::cmp::Ordering;

/// More flipping than this is left to chance, the share of what is told.
const FLIPS_MOST: f64 = 0.25;
/// Scores this near to the best count as the best.
const ALIKE: f64 = 0.01;

/// A recommended setting.
#[derive(Clone, Debug, PartialEq)]
pub struct Recommended {
    /// Its index.
    pub index: usize,
    /// Why it.
    pub why: String,
}

/// Picks one of the outcomes; `most` is how many cues a lap a driver can take in.
///
/// With marks the best agreement counts; else as much of the loss as can be told steadily. Of those
/// that do equally well, the steadier, then the one that says less.
pub fn recommend(outcomes: &[Outcome], laps: usize, most: f64) -> Option<Recommended> {
    let laps = laps.max(1) as f64;
    let a_lap = |o: &Outcome| f64::from(o.cues()) / laps;
    let told: Vec<usize> = (0..outcomes.len())
        .filter(|i| outcomes[*i].cues() > 0)
        .collect();
    let marked = outcomes.iter().any(|o| {
        o.agreement
            .is_some_and(|a| a.right + a.missed + a.wrong > 0)
    });
    let quiet: Vec<usize> = told
        .iter()
        .copied()
        .filter(|i| a_lap(&outcomes[*i]) <= most)
        .collect();
    let crowded = quiet.is_empty();
    // A coach who marked every cue wants every cue: the marks say how much is too much.
    let among = if marked || crowded { &told } else { &quiet };
    let score = |o: &Outcome| match (marked, o.agreement) {
        (true, Some(agreement)) => agreement.score(),
        _ if crowded => -a_lap(o),
        _ => o.told_s * (1.0 - o.flips.unwrap_or(0.0)),
    };
    let best = among
        .iter()
        .map(|i| score(&outcomes[*i]))
        .max_by(f64::total_cmp)
        // Nothing that is marked is told by any of them: none is better than another.
        .filter(|best| !marked || *best > 0.0)?;
    let near = best - ALIKE * best.abs();
    let index = among
        .iter()
        .copied()
        .filter(|i| score(&outcomes[*i]) >= near)
        .min_by(|a, b| steadier(&outcomes[*a], &outcomes[*b]))?;
    let outcome = &outcomes[index];
    let mut why = match (marked, outcome.agreement) {
        (true, Some(a)) => format!(
            "it agrees best with the marks: {} told as marked, {} told that should not be, {} missed",
            a.right, a.wrong, a.missed
        ),
        _ if crowded => format!(
            "it says least: even so {:.1} cues a lap, more than the {most} a driver can take in",
            a_lap(outcome)
        ),
        _ => format!(
            "of those with at most {most} cues a lap it tells steadily of the most: {:.2} s a lap \
             in {:.1} cues",
            outcome.told_s,
            a_lap(outcome)
        ),
    };
    if let Some(flips) = outcome.flips {
        why.push_str(&format!(
            "; measured once more, {:.0} % of what it tells would be told otherwise",
            flips * 100.0
        ));
        if flips > FLIPS_MOST {
            why.push_str(", which is much: larger thresholds or a better receiver would help");
        }
    }
    Some(Recommended { index, why })
}

fn steadier(a: &Outcome, b: &Outcome) -> Ordering {
    let flips = |o: &Outcome| o.flips.unwrap_or(1.0);
    flips(a).total_cmp(&flips(b)).then(a.cues().cmp(&b.cues()))
}

#[cfg(test)]
mod tests {
    use super::super::marks::Agreement;
    use super::*;

    fn outcome(cues: u32, told_s: f64, flips: f64) -> Outcome {
        Outcome {
            told: [0, cues, 0],
            told_s,
            flips: Some(flips),
            ..Outcome::default()
        }
    }

    #[test]
    fn without_marks_the_most_that_is_steady_within_what_a_driver_can_take_in() {
        let all = [
            outcome(80, 1.4, 0.05),
            outcome(30, 1.0, 0.40),
            outcome(20, 0.9, 0.05),
            outcome(0, 0.0, 0.0),
        ];
        let found = recommend(&all, 10, 4.0).unwrap();
        assert_eq!(found.index, 2, "{}", found.why);
        assert!(
            found.why.contains("0.90 s a lap in 2.0 cues"),
            "{}",
            found.why
        );
        assert_eq!(recommend(&all, 10, 1.0).unwrap().index, 2, "says least");
        assert_eq!(recommend(&all[3..], 10, 4.0), None);
    }

    #[test]
    fn marks_decide_and_a_wrong_cue_weighs_more_than_a_missed_one() {
        let marked = |right, wrong, missed| Outcome {
            agreement: Some(Agreement {
                right,
                wrong,
                missed,
            }),
            ..outcome(right + wrong, 1.0, 0.1)
        };
        let all = [marked(9, 3, 1), marked(8, 0, 2), marked(2, 0, 8)];
        let found = recommend(&all, 10, 4.0).unwrap();
        assert_eq!(found.index, 1);
        assert!(
            found
                .why
                .contains("8 told as marked, 0 told that should not be, 2 missed")
        );
    }
}
