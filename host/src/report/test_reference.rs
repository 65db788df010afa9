//! A small reference for the tests of this folder: 1000 m round, two corners, two landmarks.

use cuepost_engine::reference::ReferenceStore;
use cuepost_engine::{Corner, Facts, Landmark, Measured, Node, ReferenceView};

/// Calls `f` with the reference.
pub fn with_reference<R>(f: impl FnOnce(&ReferenceView<'_>) -> R) -> R {
    let mut store: Box<ReferenceStore<200, 4, 4>> = Box::default();
    store.spacing_m = 5.0;
    for _ in 0..200 {
        store.nodes.push(Node::default()).expect("room for 200");
    }
    let corner = |begin_m: f32, name: &str| Corner {
        begin_m,
        facts: Facts {
            brake_m: Some(Measured::new(begin_m + 100.0, 0.5)),
            throttle_m: Some(Measured::new(begin_m + 300.0, 0.5)),
            ..Facts::default()
        },
        name: name.try_into().expect("short"),
        ..Corner::default()
    };
    for c in [corner(0.0, ""), corner(300.0, "Long Left")] {
        store.corners.push(c).expect("room for two");
    }
    for (progress_m, name) in [(394.0, "second board"), (990.0, "bridge")] {
        let landmark = Landmark {
            progress_m,
            side: -1,
            name: name.try_into().expect("short"),
        };
        store.landmarks.push(landmark).expect("room for two");
    }
    f(&store.view())
}
