//! The terminal: the cue large enough to read from the side, and the health of the stream below.

use super::status;
use crate::live::counters::Counters;
use crate::live::message::{Note, Now, Said, SourceState};
use crate::live::queue::{Next, next};
use crate::reference_file::HostReference;
use crate::report::{Glance, Units, words};
use crossbeam_channel::Receiver;
use crossterm::event::{self, Event as Input, KeyCode, KeyModifiers};
use cuepost_engine::{Event, HealthState, LapEvent};
use ratatui::Frame;
use ratatui::layout::{Constraint, Layout, Rect};
use ratatui::style::{Modifier, Style};
use ratatui::text::{Line, Text};
use ratatui::widgets::{Block, Paragraph, Wrap};
use std::collections::VecDeque;
use std::io;
use std::sync::atomic::{AtomicBool, Ordering::Relaxed};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

/// Drawn this often when nothing is said.
const DRAW_EACH: Duration = Duration::from_millis(100);
/// Keys are looked at this often.
const KEYS_EACH: Duration = Duration::from_millis(20);
/// A cue stands this long.
const CUE_SHOWN: Duration = Duration::from_secs(3);
/// Lines kept of each list.
const KEPT: usize = 20;

/// What the terminal sink needs.
pub struct Terminal {
    /// For names and landmarks.
    pub reference: Arc<HostReference>,
    /// The driver's units.
    pub units: Units,
    /// Where things stand.
    pub now: Arc<Mutex<Now>>,
    /// What is counted.
    pub counters: Arc<Counters>,
    /// Set by `q` and Ctrl-C: in raw mode no signal comes.
    pub stop: Arc<AtomicBool>,
    /// Where the pages are, if anywhere.
    pub link: Option<String>,
}

/// What is on the screen.
#[derive(Debug, Default)]
pub struct Screen {
    cue: Option<(Glance, Instant)>,
    told: VecDeque<String>,
    laps: VecDeque<LapEvent>,
    notes: VecDeque<Note>,
    /// The link as a picture to scan, while `p` asks for it.
    picture: Option<String>,
}

impl Terminal {
    /// Draws until the engine ends. The terminal is left as it was found.
    pub fn run(self, take: &Receiver<Said>) -> io::Result<()> {
        let mut terminal = ratatui::try_init()?;
        let result = self.draw(&mut terminal, take);
        ratatui::restore();
        result
    }

    fn draw(
        &self,
        terminal: &mut ratatui::DefaultTerminal,
        take: &Receiver<Said>,
    ) -> io::Result<()> {
        let mut screen = Screen::default();
        let mut drawn: Option<Instant> = None;
        loop {
            match next(take, KEYS_EACH) {
                Next::Item(said) => {
                    screen.hear(said, &self.reference, self.units);
                    // A burst is drawn once.
                    for said in take.try_iter() {
                        screen.hear(said, &self.reference, self.units);
                    }
                    drawn = None;
                }
                Next::Quiet => {}
                Next::End => return Ok(()),
            }
            if self.keys(&mut screen)? {
                drawn = None;
            }
            if drawn.is_some_and(|at| at.elapsed() < DRAW_EACH) {
                continue;
            }
            drawn = Some(Instant::now());
            let now = *self.now.lock().unwrap_or_else(PoisonError::into_inner);
            let facts = status::facts(&self.counters);
            terminal.draw(|frame| {
                screen.draw(frame, &now, &facts, self.units, self.link.as_deref());
            })?;
        }
    }

    /// In raw mode Ctrl-C is a key like any other. True when the screen changed.
    fn keys(&self, screen: &mut Screen) -> io::Result<bool> {
        let mut changed = false;
        while event::poll(Duration::ZERO)? {
            changed = true;
            let Input::Key(key) = event::read()? else {
                continue;
            };
            let control = key.modifiers.contains(KeyModifiers::CONTROL);
            match key.code {
                KeyCode::Char('q') => self.stop.store(true, Relaxed),
                KeyCode::Char('c') if control => self.stop.store(true, Relaxed),
                KeyCode::Char('p') => {
                    screen.picture = match screen.picture {
                        None => self.link.as_deref().and_then(link_picture),
                        Some(_) => None,
                    };
                }
                _ => {}
            }
        }
        Ok(changed)
    }
}

/// A link as a picture that a phone's camera reads.
pub fn link_picture(link: &str) -> Option<String> {
    use qrcode::render::unicode::Dense1x2;
    let code = qrcode::QrCode::new(link).ok()?;
    // Terminals are dark: what is light in the picture is drawn.
    let mut picture = code.render::<Dense1x2>();
    picture
        .dark_color(Dense1x2::Light)
        .light_color(Dense1x2::Dark);
    Some(picture.build())
}

impl Screen {
    /// Takes in what was said.
    pub fn hear(&mut self, said: Said, reference: &HostReference, units: Units) {
        let view = reference.view();
        match said {
            Said::Event(event, _) => {
                match &event {
                    Event::Cue(cue) => {
                        self.cue = Some((Glance::of(cue, units), Instant::now()));
                    }
                    Event::Lap(lap) => keep(&mut self.laps, *lap),
                    Event::Pace(_) => {}
                    _ => return,
                }
                if !matches!(event, Event::Lap(_)) {
                    self.told.extend(words::event(&event, &view, units));
                    self.told.drain(..self.told.len().saturating_sub(KEPT));
                }
            }
            Said::Note(note) => keep(&mut self.notes, note),
            Said::Source(_) => {}
        }
    }

    /// Draws the whole screen.
    pub fn draw(
        &self,
        frame: &mut Frame<'_>,
        now: &Now,
        facts: &[(String, String)],
        units: Units,
        link: Option<&str>,
    ) {
        if let Some(picture) = &self.picture {
            let text = format!("{picture}\n{}   p goes back", link.unwrap_or_default());
            frame.render_widget(Paragraph::new(text), frame.area());
            return;
        }
        let rows = Layout::vertical([
            Constraint::Length(1),
            Constraint::Length(5),
            Constraint::Min(4),
            Constraint::Length(1),
        ]);
        let [head, cue, lists, foot] = rows.areas(frame.area());
        frame.render_widget(Paragraph::new(headline(now, units)), head);
        self.draw_cue(frame, cue, now);
        let wide = lists.width >= 90;
        let split = if wide {
            Layout::horizontal([Constraint::Percentage(60), Constraint::Percentage(40)])
        } else {
            Layout::vertical([Constraint::Percentage(50), Constraint::Percentage(50)])
        };
        let [left, right] = split.areas(lists);
        self.draw_told(frame, left);
        self.draw_health(frame, right, facts);
        let text = match link {
            Some(link) => format!("q ends the drive   p shows a picture to scan   pages: {link}"),
            None => "q ends the drive".into(),
        };
        frame.render_widget(Paragraph::new(text), foot);
    }

    fn draw_cue(&self, frame: &mut Frame<'_>, area: Rect, now: &Now) {
        let standing = self
            .cue
            .as_ref()
            .filter(|(_, since)| since.elapsed() < CUE_SHOWN);
        let (lines, style) = match standing {
            Some((glance, _)) => (
                cue_lines(glance),
                Style::new().add_modifier(Modifier::BOLD | Modifier::REVERSED),
            ),
            None => (vec![String::new(), quiet(now)], Style::new()),
        };
        let text = Text::from(lines.into_iter().map(Line::from).collect::<Vec<_>>());
        let block = Block::bordered();
        frame.render_widget(
            Paragraph::new(text).style(style).centered().block(block),
            area,
        );
    }

    fn draw_told(&self, frame: &mut Frame<'_>, area: Rect) {
        let laps = self.laps.iter().rev().take(4).map(words::lap);
        let told = self.told.iter().rev().cloned();
        let lines: Vec<Line<'_>> = laps.chain(told).map(Line::from).collect();
        let block = Block::bordered().title("Laps and cues");
        let paragraph = Paragraph::new(lines).wrap(Wrap { trim: false });
        frame.render_widget(paragraph.block(block), area);
    }

    fn draw_health(&self, frame: &mut Frame<'_>, area: Rect, facts: &[(String, String)]) {
        let notes = self.notes.iter().rev().take(3);
        let notes = notes.map(|n| Line::from(n.text.clone()).style(Modifier::BOLD));
        let facts = facts.iter().map(|(k, v)| Line::from(format!("{k}: {v}")));
        let lines: Vec<Line<'_>> = notes.chain(facts).collect();
        let block = Block::bordered().title("Stream");
        let paragraph = Paragraph::new(lines).wrap(Wrap { trim: false });
        frame.render_widget(paragraph.block(block), area);
    }
}

fn keep<T>(list: &mut VecDeque<T>, item: T) {
    if list.len() == KEPT {
        list.pop_front();
    }
    list.push_back(item);
}

/// Arrow and words: the direction is in the place and shape of the arrow as well.
fn cue_lines(glance: &Glance) -> Vec<String> {
    let next = if glance.next { "NEXT: " } else { "" };
    let words = format!("{next}{} {}", glance.word, glance.advice);
    let line = match glance.way {
        "less" => format!("<<<  {words}     "),
        "more" => format!("     {words}  >>>"),
        _ => format!("==  {words}  =="),
    };
    vec![line, String::new(), glance.size.clone()]
}

/// Between cues: the gap, or why there are no cues.
fn quiet(now: &Now) -> String {
    match (now.source, now.state, now.gap_s) {
        (SourceState::Gone, ..) => "NO SIGNAL: unplugged".into(),
        (SourceState::Silent, ..) => "NO SIGNAL".into(),
        (SourceState::Ended, ..) => "the source has ended".into(),
        (SourceState::Open, HealthState::Ok, Some(gap)) => format!("{gap:+.1}"),
        (SourceState::Open, HealthState::Ok, None) => "ready".into(),
        (SourceState::Open, ..) => format!("no cues: {}", now.why.name()),
    }
}

fn headline(now: &Now, units: Units) -> String {
    let speed = now
        .speed_mps
        .map_or("-".into(), |v| units.speed(f64::from(v)));
    let place = now
        .progress_m
        .map_or("-".into(), |m| units.length(f64::from(m)));
    format!(
        "Lap {}   corner {}   at {place}   {speed}   {}",
        now.lap,
        now.corner,
        now.state.name()
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::live::message::NoteKind;
    use cuepost_engine::{Advice, Cue, Phase, Size, Told};
    use ratatui::backend::TestBackend;

    fn drawn(width: u16, screen: &Screen, now: &Now) -> String {
        let mut terminal =
            ratatui::Terminal::new(TestBackend::new(width, 20)).expect("a test terminal");
        let facts = [("Rate".to_owned(), "25.0 samples a second".to_owned())];
        let draw = |f: &mut Frame<'_>| screen.draw(f, now, &facts, Units::Metric, None);
        terminal.draw(draw).expect("draws");
        terminal.backend().to_string()
    }

    fn cue() -> Said {
        let cue = Cue {
            lap: 2,
            corner: 5,
            phase: Phase::Throttle,
            advice: Advice::Sooner,
            told: Told::Now,
            size: Size::Metres(12.0),
            size_s: None,
            loss_s: None,
            time_us: 0,
            progress_m: 0.0,
        };
        Said::Event(Event::Cue(cue), Instant::now())
    }

    #[test]
    fn a_cue_stands_alone_in_its_field_with_an_arrow_on_its_side() {
        let mut screen = Screen::default();
        let reference = Box::new(HostReference::new());
        screen.hear(cue(), &reference, Units::Metric);
        let text = drawn(100, &screen, &Now::default());
        assert!(text.contains("<<<  THROTTLE SOONER"), "{text}");
        assert!(text.contains("12 m"));
        assert!(text.contains("Corner 5: throttle 12 m sooner"));
        assert!(text.contains("Rate: 25.0 samples a second"));
    }

    #[test]
    fn between_cues_the_gap_and_when_unplugged_neither() {
        let screen = Screen::default();
        let mut now = Now {
            state: HealthState::Ok,
            gap_s: Some(0.34),
            ..Now::default()
        };
        assert!(drawn(100, &screen, &now).contains("+0.3"));
        now.source = SourceState::Gone;
        let text = drawn(60, &screen, &now);
        assert!(
            text.contains("NO SIGNAL: unplugged") && !text.contains("+0.3"),
            "{text}"
        );
    }

    #[test]
    fn the_link_as_a_picture_fills_the_screen_until_it_is_put_away() {
        let screen = Screen {
            picture: link_picture("http://192.0.2.7:8470/?token=00"),
            ..Screen::default()
        };
        let text = drawn(80, &screen, &Now::default());
        assert!(text.contains('█') && !text.contains("Stream"), "{text}");
    }

    #[test]
    fn notes_are_shown_first() {
        let mut screen = Screen::default();
        let reference = Box::new(HostReference::new());
        let note = Note::new(NoteKind::Recording, "the disk is full");
        screen.hear(Said::Note(note), &reference, Units::Metric);
        assert!(drawn(60, &screen, &Now::default()).contains("the disk is full"));
    }
}
