//! `cuepost lamp`: any cue as lamp, strip and sounder would show it.

use crate::report::paint;
use cuepost_engine::wire::text::{Said, parse};
use cuepost_engine::{Advice, Phase, Size, Way};
use cuepost_firmware::pattern::{Moment, Pattern};
use cuepost_firmware::sounder::{HIGH_HZ, LOW_HZ, pitch_hz};
use cuepost_firmware::strip::{Colour, DARK, picture};
use std::io::{IsTerminal, Write};
use std::process::ExitCode;
use std::time::{Duration, Instant};

/// What one letter of a drawing stands for, milliseconds.
const LETTER_MS: u64 = 40;
/// Lamps of the strip that is drawn.
const LAMPS: usize = 32;

/// Show any cue as the lamp, the strip and the sounder of a board would
///
/// Pulses count the phase: 1 brake, 2 trail, 3 rotation, 4 throttle. Short and low means sooner or
/// less, long and high later or more. In a terminal the cue is played at its true speed;
/// otherwise, or with --still, it is drawn, one letter for 40 ms.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  cuepost lamp throttle sooner 12 m
  cuepost lamp --times 3 --bell brake later 8 m")]
pub struct Args {
    /// The cue: phase, advice, size and unit (m, m/s, km/h, m/s2 or s)
    #[arg(required = true, num_args = 1.., value_name = "CUE")]
    cue: Vec<String>,
    /// Draw it instead of playing it
    #[arg(long)]
    still: bool,
    /// Play it so many times
    #[arg(long, default_value_t = 1)]
    times: u32,
    /// Ring the terminal's bell with each pulse
    #[arg(long)]
    bell: bool,
}

/// Runs the command.
pub fn run(args: &Args) -> anyhow::Result<ExitCode> {
    let words = args.cue.join(" ");
    let shown = Shown::read(&words)?;
    let out = std::io::stdout();
    if args.still || !out.is_terminal() {
        out.lock().write_all(shown.drawing().as_bytes())?;
    } else {
        for _ in 0..args.times {
            shown.play(&mut out.lock(), args.bell)?;
        }
    }
    Ok(ExitCode::SUCCESS)
}

/// A cue and what becomes of it.
struct Shown {
    phase: Phase,
    advice: Advice,
    size: Size,
    pattern: Pattern,
}

impl Shown {
    fn read(words: &str) -> anyhow::Result<Self> {
        let words = words.split_whitespace().collect::<Vec<_>>().join(" ");
        let whole = match words.split(' ').count() {
            // "better 0.2 s" is of the whole corner.
            3 => format!("01 CORNER {words}"),
            _ => format!("01 {words}"),
        };
        let said = parse(&whole.to_lowercase());
        let Some(Said::Cue {
            phase,
            advice,
            size,
            ..
        }) = said
        else {
            let phases = Phase::ALL.map(Phase::name).join(", ");
            let advices = Advice::ALL.map(Advice::name).join(", ");
            anyhow::bail!(
                "\"{words}\" is not PHASE ADVICE SIZE UNIT, as in \"throttle sooner 12 m\"; phases are {phases}; advices are {advices}"
            );
        };
        let Some(pattern) = Pattern::of(phase, advice) else {
            anyhow::bail!(
                "\"{words}\": a straight is not counted; name brake, trail, rotation or throttle"
            );
        };
        Ok(Self {
            phase,
            advice,
            size,
            pattern,
        })
    }

    /// What it means, in words.
    fn meaning(&self) -> String {
        let length = match self.pattern.way() {
            Way::Less => "short and low",
            Way::More => "long and high",
            Way::Keep => return "steady, low then high: better than the reference, keep it".into(),
        };
        let way = match self.pattern.way() {
            Way::Less => "sooner or less",
            _ => "later or more",
        };
        let pulses = self.pattern.pulses();
        let phase = self.phase.name();
        format!("{pulses} {length}: {phase}, {way} ({})", self.advice.name())
    }

    fn strip(&self) -> [Colour; LAMPS] {
        picture(self.phase, self.advice, self.size)
    }

    fn strip_letters(&self) -> String {
        let mut text = String::new();
        for (i, lamp) in self.strip().iter().enumerate() {
            if i > 0 && i % (LAMPS / 4) == 0 {
                text.push(' ');
            }
            text.push(match (*lamp == DARK, self.pattern.way()) {
                (true, _) => '·',
                (false, Way::Less) => '<',
                (false, Way::More) => '>',
                (false, Way::Keep) => '+',
            });
        }
        text
    }

    fn drawing(&self) -> String {
        let steps = (0..u64::from(self.pattern.length_ms())).step_by(LETTER_MS as usize);
        let lamp: String = steps
            .clone()
            .map(|ms| match self.pattern.at_ms(ms) {
                Moment::On => '█',
                Moment::Off | Moment::Done => '·',
            })
            .collect();
        let sounder: String = steps
            .map(|ms| match pitch_hz(&self.pattern, ms) {
                Some(LOW_HZ) => '▁',
                Some(HIGH_HZ) => '▔',
                _ => ' ',
            })
            .collect();
        format!(
            "{}\nlamp     {lamp}\nsounder  {}\nstrip    {}\n         brake    trail    rotation throttle\n",
            self.meaning(),
            sounder.trim_end(),
            self.strip_letters(),
        )
    }

    /// Plays it in place, in its own time.
    fn play(&self, out: &mut impl Write, bell: bool) -> std::io::Result<()> {
        let colour = paint::allowed();
        writeln!(out, "{}", self.meaning())?;
        let begun = Instant::now();
        let mut lit = false;
        loop {
            let ms = u64::try_from(begun.elapsed().as_millis()).unwrap_or(u64::MAX);
            let moment = self.pattern.at_ms(ms);
            let on = moment == Moment::On;
            let lamp = if on { "(###)" } else { "(   )" };
            let tone = match pitch_hz(&self.pattern, ms) {
                Some(LOW_HZ) => "low ",
                Some(HIGH_HZ) => "high",
                _ => "    ",
            };
            let ring = if bell && on && !lit { "\x07" } else { "" };
            write!(
                out,
                "\r{ring}lamp {lamp}  sounder {tone}  strip {}",
                self.coloured(colour)
            )?;
            out.flush()?;
            lit = on;
            if moment == Moment::Done {
                return writeln!(out);
            }
            std::thread::sleep(Duration::from_millis(15));
        }
    }

    fn coloured(&self, colour: bool) -> String {
        let letters = self.strip_letters();
        let Some(lit) = self.strip().into_iter().find(|lamp| *lamp != DARK) else {
            return letters;
        };
        if !colour {
            return letters;
        }
        let (from, to) = (paint::on(lit), paint::PLAIN);
        let mut text = String::new();
        for letter in letters.chars() {
            if matches!(letter, '<' | '>' | '+') {
                text += &format!("{from}{letter}{to}");
            } else {
                text.push(letter);
            }
        }
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cue_as_it_is_drawn() {
        let drawn = Shown::read("throttle sooner 12 m").unwrap().drawing();
        let expected = "\
4 short and low: throttle, sooner or less (sooner)
lamp     ███·······███·······███·······███·······
sounder  ▁▁▁       ▁▁▁       ▁▁▁       ▁▁▁
strip    ········ ········ ········ ··<<····
         brake    trail    rotation throttle
";
        assert_eq!(drawn, expected);
    }

    #[test]
    fn every_cue_there_is_can_be_shown() {
        for phase in Phase::ALL.into_iter().filter(|p| *p != Phase::Straight) {
            for advice in Advice::ALL {
                let words = format!("{} {} 3.5 m/s", phase.name(), advice.name());
                let drawing = Shown::read(&words).unwrap().drawing();
                assert!(drawing.contains('█'), "{words}");
            }
        }
        assert!(
            Shown::read("Better 0.2 s")
                .unwrap()
                .meaning()
                .contains("keep it")
        );
    }

    #[test]
    fn what_is_no_cue_is_refused_with_what_is() {
        for words in [
            "throttle",
            "clutch sooner 3 m",
            "brake sooner far",
            "straight sooner 3 m",
        ] {
            let error = Shown::read(words).err().map(|e| e.to_string());
            assert!(error.is_some_and(|e| e.contains(words)), "{words}");
        }
    }
}
