//! Nobody is asked to brake later or to go faster than anybody has driven.

use crate::computed::{CAR, learned, samples};
use crate::point::{Point, lap};
use cuepost_engine::{Config, Cue, ReferenceView, Sample};
use cuepost_host::adapt::{Change, adapt};
use cuepost_host::session::measure;

fn cues(reference: &ReferenceView<'_>, driven: &[Sample]) -> Vec<Cue> {
    let all = driven.iter().map(|s| Ok::<_, std::convert::Infallible>(*s));
    measure(all, reference, &Config::default()).0.cues
}

fn asking(cues: &[Cue]) -> usize {
    cues.iter()
        .filter(|c| c.advice.asks_for_more(c.phase))
        .count()
}

#[test]
fn a_computed_reference_asks_for_more_only_once_a_lap_has_shown_it() {
    let base = learned(CAR);
    let change = Change {
        grip: 1.08,
        ..Change::default()
    };
    let computed = adapt(&base.reference, change, false).expect("adapted");
    let trusted = adapt(&base.reference, change, true).expect("adapted");
    let at = |mu: f64| {
        lap(
            Point {
                mu: CAR.mu * mu,
                ..CAR
            },
            &base.bends,
            base.step_m,
        )
    };
    // A driver with the grip of yesterday, in all laps.
    let yesterday = samples(&base.points, &vec![at(1.0); 5]);
    let silent = cues(&computed.reference.view(), &yesterday);
    let told = cues(&trusted.reference.view(), &yesterday);
    println!(
        "asked for more: {} times, vouched for {}",
        asking(&silent),
        asking(&told)
    );
    assert_eq!(asking(&silent), 0, "{silent:#?}");
    assert!(asking(&told) >= 5, "nothing would have been asked anyway");
    // He shows in one lap that it can be driven, and falls back.
    let laps = [at(1.0), at(1.12), at(1.0), at(1.0), at(1.0)];
    let shown = cues(&computed.reference.view(), &samples(&base.points, &laps));
    assert!(asking(&shown) > 0, "{shown:#?}");
    let first = shown
        .iter()
        .find(|c| c.advice.asks_for_more(c.phase))
        .expect("asked");
    assert!(first.lap >= 2, "asked before it was shown: {first:?}");
}
