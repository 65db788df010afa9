//! Sees from what arrives that a serial line is set wrong.

use std::time::Duration;

/// A verdict is passed over this long.
const WINDOW: Duration = Duration::from_secs(3);
/// So many damaged messages in a window are no accident.
const DAMAGED_LEAST: u64 = 3;
/// A line filled by this much of what it can carry is full.
const FULL_SHARE: f64 = 0.85;
/// Bits on the line for each byte: a start bit, eight data bits, a stop bit.
const BITS_A_BYTE: f64 = 10.0;

/// What is wrong with a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Nothing seen.
    Good,
    /// More is sent than the line carries, so that messages arrive cut.
    TooSlow,
    /// Messages arrive damaged, though the line is not full.
    Damaged,
    /// Bytes come, and none of them makes sense.
    Nonsense,
}

/// Watches a line window by window.
#[derive(Debug)]
pub struct LineWatch {
    baud: u32,
    begin: Duration,
    bytes: u64,
    damaged: u64,
    samples: u64,
    last: Verdict,
}

impl LineWatch {
    /// A watch on a line of this rate.
    pub fn new(baud: u32) -> Self {
        Self {
            baud,
            begin: Duration::ZERO,
            bytes: 0,
            damaged: 0,
            samples: 0,
            last: Verdict::Good,
        }
    }

    /// Takes the counts so far; a verdict when a window ended with another than the one before.
    pub fn look(
        &mut self,
        now: Duration,
        bytes: u64,
        damaged: u64,
        samples: u64,
    ) -> Option<Verdict> {
        let over = now.saturating_sub(self.begin);
        if over < WINDOW {
            return None;
        }
        let came = bytes.saturating_sub(self.bytes);
        let hurt = damaged.saturating_sub(self.damaged);
        let gave = samples.saturating_sub(self.samples);
        (self.begin, self.bytes, self.damaged, self.samples) = (now, bytes, damaged, samples);
        let room = f64::from(self.baud) / BITS_A_BYTE * over.as_secs_f64();
        let full = came as f64 >= FULL_SHARE * room;
        let verdict = if came > 0 && gave == 0 && hurt == 0 {
            Verdict::Nonsense
        } else if hurt >= DAMAGED_LEAST && full {
            Verdict::TooSlow
        } else if hurt >= DAMAGED_LEAST {
            Verdict::Damaged
        } else {
            Verdict::Good
        };
        let news = verdict != self.last;
        self.last = verdict;
        news.then_some(verdict)
    }

    /// A verdict in words, with what to do.
    pub fn words(&self, verdict: Verdict) -> String {
        let (baud, bytes) = (self.baud, f64::from(self.baud) / BITS_A_BYTE);
        match verdict {
            Verdict::Good => "the line is good again".into(),
            Verdict::TooSlow => format!(
                "sentences arrive cut: the line is full, {baud} baud carry {bytes:.0} bytes a \
                 second; set a higher baud rate at both ends, or let the receiver send fewer \
                 sentences"
            ),
            Verdict::Damaged => "sentences arrive cut or damaged; check cable, ground and the \
                                 receiver's own baud rate"
                .into(),
            Verdict::Nonsense => format!(
                "bytes come, but nothing that can be read; is {baud} baud what the receiver is \
                 set to? (--baud)"
            ),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn s(n: u64) -> Duration {
        Duration::from_secs(n)
    }

    #[test]
    fn a_full_line_with_cut_sentences_is_too_slow() {
        let mut w = LineWatch::new(9600);
        assert_eq!(w.look(s(1), 960, 5, 3), None, "not long enough");
        assert_eq!(w.look(s(3), 2880, 20, 9), Some(Verdict::TooSlow));
        assert_eq!(w.look(s(6), 5760, 40, 18), None, "told already");
        assert_eq!(w.look(s(9), 6000, 40, 30), Some(Verdict::Good));
        assert!(w.words(Verdict::TooSlow).contains("960 bytes a second"));
    }

    #[test]
    fn a_full_line_alone_is_no_fault() {
        let mut w = LineWatch::new(9600);
        assert_eq!(w.look(s(3), 2880, 0, 30), None);
        assert_eq!(w.look(s(6), 5760, 1, 60), None, "one may always be damaged");
    }

    #[test]
    fn a_wrong_rate_gives_nonsense() {
        let mut w = LineWatch::new(115_200);
        assert_eq!(w.look(s(3), 900, 0, 0), Some(Verdict::Nonsense));
        let mut quiet = LineWatch::new(115_200);
        assert_eq!(quiet.look(s(3), 0, 0, 0), None, "silence is no nonsense");
    }
}
