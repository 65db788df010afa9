//! The voice's laws over random streams through the whole engine: drivers with faults of any kind
//! and size on invented circuits, at any rate, with lost samples, with and without pedals, under
//! any thresholds, and with everything going wrong between the car and the engine.
//!
//! Each law is said in words where it stands (`laws.rs`, `focus.rs`).

mod focus;
mod laws;
mod replayed;
mod ride;

use cuepost_engine::Focus;
use laws::Broken;
use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use ride::{Tape, Wish, World, ride, wish};

fn config(cases: u32, seed: u64) -> ProptestConfig {
    ProptestConfig {
        cases,
        rng_seed: RngSeed::Fixed(seed),
        failure_persistence: None,
        max_shrink_iters: 20,
        ..ProptestConfig::default()
    }
}

/// What holds of any stream, however broken.
fn always(tape: &Tape, wish: &Wish) -> Broken {
    let reference = World::at(wish.world).reference();
    laws::clock(tape)?;
    laws::in_good_health(tape, &reference)?;
    laws::once(tape)?;
    laws::fresh(tape)?;
    laws::reminders(tape)
}

proptest! {
    #![proptest_config(config(60, 1))]

    #[test]
    fn a_whole_stream_is_told_lawfully(wish in wish(false, None)) {
        let tape = ride(&wish);
        let held = always(&tape, &wish)
            .and_then(|()| laws::back_dated(&tape))
            .and_then(|()| laws::quiet(&tape, &World::at(wish.world).reference()))
            .and_then(|()| laws::pedals(&tape, &wish));
        prop_assert!(held.is_ok(), "{}", held.unwrap_err());
    }

    #[test]
    fn a_broken_stream_is_told_lawfully(wish in wish(true, None)) {
        let held = always(&ride(&wish), &wish);
        prop_assert!(held.is_ok(), "{}", held.unwrap_err());
    }

    #[test]
    fn one_thing_at_a_time_is_the_costliest_until_it_is_mended(wish in wish(false, Some(Focus::One))) {
        let tape = ride(&wish);
        let held = focus::one_thing(&tape);
        prop_assert!(held.is_ok(), "{}", held.unwrap_err());
    }
}

/// The streams say enough for the laws to mean something: cues of all three kinds, and with one
/// thing in focus as well.
#[test]
fn there_is_something_to_break() {
    use cuepost_engine::{Config, Told};
    let told = |focus, when: Told| {
        (0..6)
            .map(|world| {
                let wish = Wish {
                    world,
                    seed: 1,
                    rate_hz: 25.0,
                    noise_mps: 0.05,
                    pedals: false,
                    drop_every: 0,
                    fault: None,
                    config: Config {
                        focus,
                        ..Config::default()
                    },
                };
                let tape = ride(&wish);
                tape.told.iter().filter(|t| t.cue.told == when).count()
            })
            .sum::<usize>()
    };
    let counts = |focus| [Told::Now, Told::After, Told::Ahead].map(|when| told(focus, when));
    let (every, one) = (counts(Focus::Every), counts(Focus::One));
    println!("now, after, ahead: {every:?}; with one thing in focus {one:?}");
    assert!(
        every[0] >= 5 && every[1] >= 50 && every[2] >= 3,
        "{every:?}"
    );
    assert!(one[1] >= 5, "{one:?}");
}
