//! One thing until it is mended, the costliest first.

use crate::laws::Broken;
use crate::ride::{Finished, Tape};
use cuepost_engine::Advice;
use std::collections::BTreeMap;

/// What a coach remembers of a corner.
#[derive(Clone, Copy, Default)]
struct Known {
    /// What it cost, half of it from the last passage and half from before, seconds.
    cost_s: f32,
    /// Whether its last passage had something to mend.
    wrong: bool,
}

/// With one thing in focus, a cue is only of the corner worked on. That is the costliest of those
/// whose last passage was wrong, chosen once all corners were seen, and kept until a passage of it
/// has nothing to mend; before that nothing is told.
pub fn one_thing(tape: &Tape) -> Broken {
    let mut corners: BTreeMap<u8, Known> = BTreeMap::new();
    let (mut round, mut focus) = (false, None);
    let mut next = 0;
    for t in &tape.told {
        for f in &tape.finished[next..t.finished] {
            see(&mut corners, &mut round, &mut focus, f);
        }
        next = t.finished;
        let allowed = round && focus.is_none_or(|c| c == t.cue.corner);
        if !allowed {
            return Err(format!(
                "worked on is {focus:?} (all seen: {round}), told {t:?}"
            ));
        }
    }
    Ok(())
}

fn see(corners: &mut BTreeMap<u8, Known>, round: &mut bool, focus: &mut Option<u8>, f: &Finished) {
    if !f.facts.usable {
        return;
    }
    let number = f.facts.corner;
    *round |= corners.contains_key(&number);
    let lost_s = f.facts.loss_s().unwrap_or(0.0);
    let known = corners.entry(number).or_insert(Known {
        cost_s: lost_s,
        wrong: false,
    });
    known.cost_s = 0.5 * (known.cost_s + lost_s);
    known.wrong = f.verdict.is_some_and(|v| v.advice != Advice::Better);
    if *focus == Some(number) && !known.wrong {
        *focus = None;
    }
    if focus.is_none() && *round {
        let open = corners.iter().filter(|(_, k)| k.wrong);
        let worst = open.max_by(|a, b| a.1.cost_s.total_cmp(&b.1.cost_s));
        *focus = worst.map(|(c, _)| *c);
    }
}
