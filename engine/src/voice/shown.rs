//! Which computed corners a passage of the day has shown to be possible.

use super::CORNERS_MAX;
use crate::facts::Facts;
use crate::reference::ReferenceView;

/// Braking this much sooner than the reference shows nothing of its brake point, metres: half a
/// car's length (common practice, no source).
const DEEP_M: f32 = 2.0;
/// Corners in a word.
const WORD: usize = u32::BITS as usize;

/// One bit a corner.
#[derive(Clone, Debug, Default)]
pub struct Shown {
    words: [u32; CORNERS_MAX.div_ceil(WORD)],
}

impl Shown {
    /// Takes a usable passage: as fast as the reference from begin to end and braked as deep, it
    /// shows the corner.
    pub fn take(&mut self, reference: &ReferenceView<'_>, index: usize, facts: &Facts) {
        let Some(corner) = reference.corners.get(index).filter(|c| c.unproven) else {
            return;
        };
        let as_fast = facts.loss_s().is_some_and(|s| s <= 0.0);
        let as_deep = match (facts.brake_m, corner.facts.brake_m) {
            (Some(live), Some(want)) => reference.ahead_m(want.value, live.value) > -DEEP_M,
            _ => true,
        };
        if let (true, Some(word)) = (as_fast && as_deep, self.words.get_mut(index / WORD)) {
            *word |= 1u32.wrapping_shl((index % WORD) as u32);
        }
    }

    /// Whether a corner was shown; those beyond [`CORNERS_MAX`] never are.
    pub fn has(&self, index: usize) -> bool {
        let word = self.words.get(index / WORD).copied().unwrap_or(0);
        word & 1u32.wrapping_shl((index % WORD) as u32) != 0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::facts::Measured;
    use crate::reference::{Corner, ReferenceStore};

    #[test]
    fn only_a_passage_as_fast_and_as_deep_shows_a_computed_corner() {
        let mut store = ReferenceStore::<16, 40, 1>::new();
        store.spacing_m = 50.0;
        for _ in 0..16 {
            store.nodes.push(crate::reference::Node::default()).unwrap();
        }
        let some = |x: f32| Some(Measured::new(x, 0.1));
        for i in 0..40 {
            let mut corner = Corner {
                unproven: i != 3,
                ..Corner::default()
            };
            corner.facts.brake_m = some(100.0);
            store.corners.push(corner).unwrap();
        }
        let passage = |brake_m: f32, loss_s: f32| Facts {
            usable: true,
            brake_m: some(brake_m),
            loss_entry_s: some(loss_s),
            loss_middle_s: some(0.0),
            loss_exit_s: some(0.0),
            ..Facts::default()
        };
        let mut shown = Shown::default();
        shown.take(&store.view(), 33, &passage(100.0, 0.01));
        shown.take(&store.view(), 33, &passage(97.0, -0.1));
        let unknown = Facts {
            loss_exit_s: None,
            ..passage(100.0, -0.1)
        };
        shown.take(&store.view(), 33, &unknown);
        assert!(!shown.has(33));
        shown.take(&store.view(), 33, &passage(99.0, -0.01));
        shown.take(&store.view(), 3, &passage(99.0, -0.01));
        let all: std::vec::Vec<usize> = (0..40).filter(|i| shown.has(*i)).collect();
        assert_eq!(all, [33]);
        assert!(!shown.has(usize::MAX));
    }
}
