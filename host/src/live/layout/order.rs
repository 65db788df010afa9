//! Puts the packets of one kind in order: new, late, repeated, or from a sender that started again.

/// A step back by more than this is no reordering on a network but a new session, microseconds.
const RESTART_US: u64 = 2_000_000;
/// So many packets in a row, older than the newest but rising among themselves, are a new session
/// too (a simulator that was wound back a little).
const RISING_RUN: u8 = 5;

/// What a packet is among those of its kind.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// Newer than all before; so many were lost between, as far as its counter tells.
    New {
        /// Counter values skipped.
        lost: u64,
    },
    /// Older than the newest: another way through the network took longer.
    Late,
    /// The same as the newest.
    Repeated,
    /// The first of a new session of the sender.
    Restart,
}

/// What is remembered of one kind of packet.
#[derive(Clone, Debug, Default)]
pub struct Order {
    newest: Option<Stamp>,
    late: Option<Run>,
}

/// When a packet was made, as it says itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stamp {
    /// Source time, microseconds; `None` for senders without a clock.
    pub time_us: Option<u64>,
    /// Its counter and how many bits that has.
    pub counter: Option<(u64, u32)>,
}

#[derive(Clone, Copy, Debug)]
struct Run {
    last: Stamp,
    length: u8,
}

impl Order {
    /// Places a packet and remembers it.
    pub fn place(&mut self, stamp: Stamp) -> Place {
        let place = match self.newest {
            None => Place::New { lost: 0 },
            Some(newest) => self.after(newest, stamp),
        };
        if matches!(place, Place::New { .. } | Place::Restart) {
            self.newest = Some(stamp);
            self.late = None;
        }
        place
    }

    fn after(&mut self, newest: Stamp, stamp: Stamp) -> Place {
        match compare(stamp, newest) {
            Step::Ahead { lost } => Place::New { lost },
            Step::Same => Place::Repeated,
            Step::Back if far_back(stamp, newest) || self.rises(stamp) => Place::Restart,
            Step::Back => Place::Late,
        }
    }

    /// Whether enough late packets in a row rise among themselves.
    fn rises(&mut self, stamp: Stamp) -> bool {
        let length = match self.late {
            Some(run) if matches!(compare(stamp, run.last), Step::Ahead { lost: 0 }) => {
                run.length.saturating_add(1)
            }
            _ => 1,
        };
        self.late = Some(Run {
            last: stamp,
            length,
        });
        length >= RISING_RUN
    }
}

enum Step {
    Ahead { lost: u64 },
    Same,
    Back,
}

/// Time decides where there is one; the counter only says how many are missing.
fn compare(stamp: Stamp, before: Stamp) -> Step {
    let counted = match (stamp.counter, before.counter) {
        (Some((now, bits)), Some((then, _))) => Some(counter_step(now, then, bits)),
        _ => None,
    };
    match (stamp.time_us, before.time_us) {
        (Some(now), Some(then)) if now == then => Step::Same,
        (Some(now), Some(then)) if now < then => Step::Back,
        (Some(_), Some(_)) => Step::Ahead {
            lost: counted.map_or(0, |c| u64::try_from(c - 1).unwrap_or(0)),
        },
        _ => match counted {
            Some(0) => Step::Same,
            Some(c) if c < 0 => Step::Back,
            Some(c) => Step::Ahead {
                lost: u64::try_from(c - 1).unwrap_or(0),
            },
            None => Step::Ahead { lost: 0 },
        },
    }
}

fn far_back(stamp: Stamp, newest: Stamp) -> bool {
    match (stamp.time_us, newest.time_us) {
        (Some(now), Some(then)) => then.saturating_sub(now) > RESTART_US,
        _ => false,
    }
}

/// The shorter way from one value of a wrapping counter to another.
fn counter_step(now: u64, then: u64, bits: u32) -> i128 {
    let turn = 1i128 << bits;
    let step = (i128::from(now) - i128::from(then)).rem_euclid(turn);
    if step >= turn / 2 { step - turn } else { step }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stamp(time_ms: u64, counter: u64) -> Stamp {
        Stamp {
            time_us: Some(time_ms * 1000),
            counter: Some((counter, 32)),
        }
    }

    fn counted(counter: u64) -> Stamp {
        Stamp {
            time_us: None,
            counter: Some((counter, 8)),
        }
    }

    #[test]
    fn late_repeated_and_lost() {
        let mut order = Order::default();
        assert_eq!(order.place(stamp(1050, 15)), Place::New { lost: 0 });
        assert_eq!(order.place(stamp(1070, 17)), Place::New { lost: 1 });
        assert_eq!(order.place(stamp(1060, 16)), Place::Late);
        assert_eq!(order.place(stamp(1070, 17)), Place::Repeated);
        assert_eq!(order.place(stamp(1080, 18)), Place::New { lost: 0 });
    }

    #[test]
    fn a_counter_wraps_without_loss_and_a_far_step_back_is_a_restart() {
        let mut order = Order::default();
        assert_eq!(
            order.place(stamp(90_020, 0xffff_ffff)),
            Place::New { lost: 0 }
        );
        assert_eq!(order.place(stamp(90_040, 0)), Place::New { lost: 0 });
        assert_eq!(order.place(stamp(0, 0)), Place::Restart);
        assert_eq!(order.place(stamp(20, 1)), Place::New { lost: 0 });
    }

    #[test]
    fn winding_back_a_little_is_believed_after_five() {
        let mut order = Order::default();
        assert_eq!(order.place(stamp(9000, 900)), Place::New { lost: 0 });
        for k in 0..4 {
            assert_eq!(order.place(stamp(8000 + 10 * k, 901 + k)), Place::Late);
        }
        assert_eq!(order.place(stamp(8040, 905)), Place::Restart);
        assert_eq!(order.place(stamp(8050, 906)), Place::New { lost: 0 });
    }

    #[test]
    fn reordered_pairs_never_look_like_a_restart() {
        let mut order = Order::default();
        order.place(stamp(1000, 100));
        for k in 0..50 {
            let t = 1000 + 40 * (k + 1);
            assert!(matches!(
                order.place(stamp(t, 102 + 2 * k)),
                Place::New { .. }
            ));
            assert_eq!(order.place(stamp(t - 20, 101 + 2 * k)), Place::Late);
        }
    }

    #[test]
    fn without_a_clock_the_counter_decides() {
        let mut order = Order::default();
        assert_eq!(order.place(counted(254)), Place::New { lost: 0 });
        assert_eq!(order.place(counted(1)), Place::New { lost: 2 });
        assert_eq!(order.place(counted(0)), Place::Late);
        assert_eq!(order.place(counted(1)), Place::Repeated);
    }
}
