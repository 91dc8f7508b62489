//! The operator as plain lines, for any terminal, a pipe, or a screen reader: one block of text
//! per ask, one line per fact, nothing that depends on colour, and nothing that moves but the strip
//! of a log. Enter says that the hands are done; words do the rest. A simulated bench is said to be
//! one at the beginning, at every result and at the end.

use super::relay_words::{coil_line, in_words, ladder_lines, measured, percent, pole_line};
use super::{Heard, Operator, Strip, output_words};
use crate::event::visible;
use crate::event::{
    AlarmState, Answer, Ask, BeliefSummary, Capture, DriveState, Event, Finding, IdentifyFinding,
    Latching, LinkNews, Outcome, OutputFinding, PickUpFinding, RunStart, RunTerms,
};
use drivers::{Function, Reading};
use std::io::{self, Write};

/// What a run on simulated instruments says of itself.
const SIMULATED: &str =
    "SIMULATED: the instruments and the part are a computer's; nothing real was measured.";

/// The longest line that words are wrapped into, in characters.
const WIDTH: usize = 78;

/// How often the strip of a log is written, in seconds: over itself on a terminal, and as a line
/// of its own elsewhere.
const STRIP_S: f64 = 0.25;
const STRIP_LINE_S: f64 = 5.0;

/// Writes lines of text.
#[derive(Debug)]
pub struct Lines<W> {
    out: W,
    /// The longest line that words are wrapped into, in characters.
    width: usize,
    simulated: bool,
    /// Whether the strip is written over itself, as a terminal can.
    rewrites: bool,
    strip: Strip,
    /// The log's time when the strip was last written, in seconds.
    strip_at_s: f64,
    /// Whether the strip stands on the terminal's last line, without an end.
    strip_stands: bool,
    /// Whether the ask that is open wants a text.
    wants_text: bool,
    /// The command that goes on with the run where it stopped.
    going_on: &'static str,
}

impl<W: Write> Lines<W> {
    /// An operator that is written to `out`; `rewrites`: whether a live line may be written over.
    pub const fn new(out: W, rewrites: bool) -> Self {
        Self {
            out,
            width: WIDTH,
            simulated: false,
            rewrites,
            strip: Strip::new(),
            strip_at_s: 0.0,
            strip_stands: false,
            wants_text: false,
            going_on: "resume",
        }
    }

    fn line(&mut self, text: &str) -> io::Result<()> {
        if std::mem::take(&mut self.strip_stands) {
            writeln!(self.out)?;
        }
        writeln!(self.out, "{}", visible(text))?;
        self.out.flush()
    }

    fn wrapped(&mut self, indent: &str, text: &str) -> io::Result<()> {
        let mut line = String::new();
        for word in text.split_whitespace() {
            if !line.is_empty() && indent.len() + line.len() + word.len() >= self.width {
                self.line(&format!("{indent}{line}"))?;
                line.clear();
            }
            if !line.is_empty() {
                line.push(' ');
            }
            line.push_str(word);
        }
        self.line(&format!("{indent}{line}"))
    }

    fn found(&mut self, lines: &[String]) -> io::Result<()> {
        lines.iter().try_for_each(|line| self.wrapped(hang(line), line))?;
        if self.simulated { self.wrapped("  ", SIMULATED) } else { Ok(()) }
    }

    fn started(&mut self, start: &RunStart) -> io::Result<()> {
        self.simulated = start.simulated;
        self.going_on = if matches!(start.terms, RunTerms::Job(_)) { "job" } else { "resume" };
        if matches!(start.terms, RunTerms::Job(_)) {
            // A talk: what it asks says what it is.
            return Ok(());
        }
        let again = if start.resumed { ", going on where it stopped" } else { "" };
        self.line(&format!("coilmark {} {}{again}", start.version, start.terms.command()))?;
        match &start.terms {
            RunTerms::Identify(terms) => {
                let pins: Vec<&str> = terms.pins.iter().map(crate::event::Pin::label).collect();
                self.line(&format!("  pins {}", pins.join(" ")))?;
            }
            RunTerms::Board(terms) => self.wrapped("  ", &super::board_words::started(terms))?,
            RunTerms::Fit(_)
            | RunTerms::ZoneDesign(_)
            | RunTerms::ZoneCheck(_)
            | RunTerms::Job(_) => {}
            RunTerms::PickUp(terms) => {
                let [[plus, minus], [a, b]] = [&terms.coil, &terms.contact];
                self.line(&format!("  coil {plus} (+) and {minus}, contact {a} and {b}"))?;
            }
            RunTerms::Output(terms) => self.line(&output_words::begun(terms))?,
        }
        self.line(&format!("  meter {}, profile {}", start.meter, start.profile))?;
        if start.simulated { self.wrapped("  ", SIMULATED) } else { Ok(()) }
    }

    /// On a terminal the strip is written over itself; elsewhere a line now and then is enough.
    fn draw_strip(&mut self) -> io::Result<()> {
        let every = if self.rewrites { STRIP_S } else { STRIP_LINE_S };
        let since = self.strip.t_s() - self.strip_at_s;
        if since.abs() < every {
            return Ok(());
        }
        self.strip_at_s = self.strip.t_s();
        let text = self.strip.line();
        if self.rewrites {
            self.strip_stands = true;
            write!(self.out, "\r{}", visible(&text))?;
            return self.out.flush();
        }
        self.line(&text)
    }

    fn output_result(&mut self, finding: &OutputFinding) -> io::Result<()> {
        self.line("")?;
        for line in output_words::found(finding) {
            self.line(&line)?;
        }
        for warning in &finding.warnings {
            self.wrapped("  note: ", warning)?;
        }
        if self.simulated { self.wrapped("  ", SIMULATED) } else { Ok(()) }
    }

    fn capture(&mut self, c: &Capture) -> io::Result<()> {
        self.line(&format!(
            "      {}-{}{}: {}",
            c.red,
            c.black,
            match &c.drive {
                DriveState::Rest if c.unit == drivers::Unit::Volt => String::new(),
                DriveState::Rest => " at rest".to_owned(),
                DriveState::Energised { volts, .. } => format!(" driven at {volts} V"),
            },
            measured(c)
        ))
    }

    fn belief(&mut self, belief: &BeliefSummary) -> io::Result<()> {
        match belief.candidates.first() {
            Some(first) if first.posterior >= 0.2 => self.line(&format!(
                "      likeliest now: {} ({}){}",
                in_words(first),
                percent(first.posterior),
                placements_left(belief).map_or(String::new(), |left| format!("; {left}"))
            )),
            _ => Ok(()),
        }
    }

    fn pick_up(&mut self, f: &PickUpFinding) -> io::Result<()> {
        self.line("")?;
        let verdict = f.result.to_string().to_uppercase();
        self.wrapped("", &format!("{verdict}: {}", f.reason))?;
        for (name, value) in [("pick-up", &f.pick_up), ("drop-out", &f.drop_out)] {
            if let Some(v) = value {
                self.line(&format!(
                    "  {name}: {:.3} V, U {:.3} V (k = 2); {:.3} V at 20 C, {:.3} V hot",
                    v.volts,
                    2.0 * v.volts_u,
                    v.volts_20,
                    v.volts_hot
                ))?;
            }
        }
        if self.simulated { self.wrapped("  ", SIMULATED) } else { Ok(()) }
    }

    fn result(&mut self, f: &IdentifyFinding) -> io::Result<()> {
        self.line("")?;
        let certainty = percent(f.posterior);
        match f.result {
            Outcome::Identified => self.line(&format!("IDENTIFIED: {} ({certainty})", f.family))?,
            Outcome::Undecided => {
                self.line("UNDECIDED")?;
                self.wrapped("  why: ", f.reason.as_deref().unwrap_or("not enough evidence"))?;
            }
        }
        if f.result == Outcome::Identified {
            for coil in &f.coils {
                self.line(&coil_line(coil))?;
            }
            for pole in &f.poles {
                self.line(&pole_line(pole, &f.marks))?;
            }
        }
        if f.latching != Latching::No {
            let after = f.reset.as_ref().map(|r| format!(", named after the reset drive {r}"));
            self.line(&format!("  it holds its state without drive{}", after.unwrap_or_default()))?;
        }
        for candidate in &f.candidates {
            let p = percent(candidate.posterior);
            self.line(&format!("  possible: {} ({p})", in_words(candidate)))?;
        }
        for fault in &f.faults {
            self.wrapped("  fault: ", &fault.text)?;
        }
        if !f.spares.is_empty() {
            let spares: Vec<&str> = f.spares.iter().map(crate::event::Pin::label).collect();
            self.line(&format!("  connected to nothing: {}", spares.join(" ")))?;
        }
        self.line(&format!(
            "  {} placements, {} lead moves, {} drive changes",
            f.placements, f.lead_moves, f.drive_changes
        ))?;
        if self.simulated { self.wrapped("  ", SIMULATED) } else { Ok(()) }
    }
}

impl Lines<Vec<u8>> {
    /// Words for another operator to show: a sentence stays in one line.
    pub(super) const fn unwrapped() -> Self {
        let mut lines = Self::new(Vec::new(), false);
        lines.width = usize::MAX;
        lines
    }

    /// What was written since the last time.
    pub(super) fn take(&mut self) -> Vec<u8> {
        std::mem::take(&mut self.out)
    }
}

/// The indent of a line that is wrapped again.
fn hang(line: &str) -> &'static str {
    if line.starts_with(' ') { "  " } else { "" }
}

impl<W: Write> Operator for Lines<W> {
    fn ask(&mut self, seq: u64, ask: &Ask) -> io::Result<()> {
        self.wants_text = matches!(ask, Ask::Serial { .. } | Ask::Label { .. });
        match ask {
            Ask::Acknowledge { text, .. } => {
                self.line(&format!("[{seq}] CAUTION"))?;
                self.wrapped("    ", text)?;
                self.line("    type ok when you have read it (q stops)")
            }
            Ask::Place { red, black, function, why, .. } => {
                let function = match function {
                    Function::Resistance => String::new(),
                    other => format!(" ({other})"),
                };
                self.line(&format!("[{seq}] RED lead on {red}, BLACK lead on {black}{function}"))?;
                if let Some(why) = why {
                    self.wrapped("      ", why)?;
                }
                self.line(
                    "    Enter when both touch (s [why] cannot reach, a last one again, q stops)",
                )
            }
            Ask::Drive(DriveState::Rest) => {
                self.line(&format!("[{seq}] Take the drive OFF the coil; leave the leads on"))?;
                self.line("    Enter when it is off (a last one again, q stops)")
            }
            Ask::Drive(DriveState::Energised { plus, minus, volts }) => {
                self.line(&format!(
                    "[{seq}] Put {volts} V on the coil: PLUS on {plus}, MINUS on {minus}; leave the leads on"
                ))?;
                self.line(
                    "    Enter when it is on (s [why] cannot drive it, a last one again, q stops)",
                )
            }
            Ask::Clip { plus, minus } => {
                self.line(&format!(
                    "[{seq}] Clip the SUPPLY's leads: PLUS on {plus}, MINUS on {minus}; it is off now"
                ))?;
                self.line(
                    "    Enter when it is clipped (s [why] cannot, a last one again, q stops)",
                )
            }
            Ask::Alarm { state } => {
                let text = match state {
                    AlarmState::On => "Bring the equipment into ALARM; leave the leads on",
                    AlarmState::Off => "Take the equipment OUT of alarm; leave the leads on",
                };
                self.line(&format!("[{seq}] {text}"))?;
                self.line("    Enter when it is done (s [why] cannot, a last one again, q stops)")
            }
            Ask::Dial { function } => {
                self.line(&format!("[{seq}] Turn the meter's dial to {function}"))?;
                let cannot = if ask.accepts(Answer::Skip) { "s [why] cannot, " } else { "" };
                self.line(&format!(
                    "    Enter when it is there ({cannot}a last one again, q stops)"
                ))
            }
            Ask::Serial { last } => {
                let lines = super::board_words::next_board(seq, last.as_deref());
                lines.iter().try_for_each(|line| self.line(line))
            }
            Ask::Label { .. } | Ask::Step { .. } | Ask::Point { .. } => {
                let Some([title, text, keys]) = super::job_words::asked(ask) else {
                    return Ok(());
                };
                self.line(&format!("[{seq}] {title}"))?;
                self.wrapped("      ", &text)?;
                self.line(&format!("    {keys}"))
            }
        }
    }

    fn object(&mut self, problem: &str) -> io::Result<()> {
        self.line(&format!("    {problem}"))
    }

    fn show(&mut self, event: &Event) -> io::Result<()> {
        match event {
            Event::RunStarted(start) => self.started(start),
            Event::MeterIdentified(meter) => {
                let who = if meter.identity.is_empty() { "(no name)" } else { &meter.identity };
                self.line(&format!("  the meter answers: {who}"))
            }
            Event::ReadingCaptured(capture) => self.capture(capture),
            Event::BeliefUpdated(belief) => self.belief(belief),
            Event::CaptureTakenBack { capture } => {
                self.line(&format!("      capture {capture} is taken back"))
            }
            Event::AskSkipped { .. } => self.line("      skipped"),
            Event::OperatorRemarked { text } => self.wrapped("      ", &format!("because: {text}")),
            Event::FunctionRefused { function } => {
                self.line(&format!("      this meter has no {function}; going on without"))
            }
            Event::LadderPlanned(ladder) => ladder_lines(ladder)
                .iter()
                .try_for_each(|(indent, line)| self.wrapped(indent, line)),
            Event::LinkChanged(LinkNews::Lost { text }) => {
                self.wrapped("  ! ", &format!("{text}; trying to get it back"))
            }
            Event::LinkChanged(LinkNews::Restored { gap_s }) => {
                self.line(&format!("  the meter is back after {gap_s:.1} s"))
            }
            Event::LinkChanged(LinkNews::OtherMeterAccepted { identity }) => {
                self.line(&format!("  another meter is accepted: {identity}"))
            }
            Event::DriveLimited(limit) => self.wrapped("  ! ", &format!("{limit}; it is off")),
            Event::MeterComplained { text } => self.wrapped("  ! ", text),
            Event::AlarmChanged { .. } => Ok(()),
            Event::Logged(news) => {
                self.strip.news(news);
                output_words::news(news).map_or(Ok(()), |text| self.line(&text))
            }
            Event::BoardBegun { serial } => self.line(&format!("BOARD {serial}")),
            Event::CheckJudged(news) => self.line(&super::board_words::so_far(news)),
            Event::LabelStated { label, text } => {
                self.wrapped("  ", &format!("{}: {text}", label.title()))
            }
            Event::PointLookedAt { text, as_designed } => {
                let so = if *as_designed { "so" } else { "NOT SO" };
                self.wrapped("      ", &format!("{so}: {text}"))
            }
            Event::StepSettled { step } => self.line(&format!("done: {}", step.title())),
            Event::ResultReached(finding) => match finding {
                Finding::Identify(finding) => self.result(finding),
                Finding::PickUp(finding) => self.pick_up(finding),
                Finding::Output(finding) => self.output_result(finding),
                Finding::Board(finding) => self.found(&super::board_words::finding(finding)),
                Finding::ZoneCheck(finding) => self.found(&super::zone_words::finding(finding)),
                Finding::Fit(_) | Finding::ZoneDesign(_) => Ok(()),
            },
            Event::RunFinished { exit, reason, job } => {
                if let (4, Some(reason)) = (exit, reason) {
                    self.wrapped("  ", reason)?;
                    let command = self.going_on;
                    self.line(&format!("  `coilmark {command} {job}` goes on"))?;
                }
                Ok(())
            }
            Event::CautionAcknowledged { .. }
            | Event::DialTurned { .. }
            | Event::LeadsPlaced(_)
            | Event::DriveChanged(_) => Ok(()),
        }
    }

    fn show_reading(&mut self, reading: &Reading) -> io::Result<()> {
        if !self.strip.is_open() {
            return Ok(());
        }
        self.strip.reading(reading);
        self.draw_strip()
    }

    fn parse(&self, line: &str) -> Heard {
        match line.trim().to_ascii_lowercase().as_str() {
            "q" | "abort" => Heard::Answer(None, Answer::Abort),
            serial if self.wants_text && !serial.is_empty() => {
                Heard::Text(None, line.trim().to_owned())
            }
            "" | "r" | "ready" => Heard::Answer(None, Answer::Ready),
            "ok" | "acknowledged" => Heard::Answer(None, Answer::Acknowledged),
            "s" | "skip" => Heard::Answer(None, Answer::Skip),
            "a" | "again" => Heard::Answer(None, Answer::Again),
            other if other.starts_with("s ") => Heard::SkipBecause(
                None,
                line.trim().chars().skip(2).collect::<String>().trim().into(),
            ),
            other => {
                let shown: String = other.chars().take(24).collect();
                Heard::Unclear(format!(
                    "`{shown}` is not understood: Enter, ok, s (skip), a (again) or q (stop)"
                ))
            }
        }
    }
}

/// How many placements are likely left, in words.
pub(super) fn placements_left(belief: &BeliefSummary) -> Option<String> {
    let left = belief.placements_left.filter(|left| left.is_finite())?;
    Some(match left.round() {
        left if left <= 1.0 => "about one placement left".into(),
        left => format!("about {left:.0} placements left"),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::event::{Caution, Pin};

    fn said(act: impl FnOnce(&mut Lines<&mut Vec<u8>>) -> io::Result<()>) -> String {
        let mut out = Vec::new();
        act(&mut Lines::new(&mut out, false)).unwrap();
        String::from_utf8(out).unwrap()
    }

    #[test]
    fn nothing_from_outside_reaches_the_terminal_raw() {
        let text =
            said(|o| o.show(&Event::MeterComplained { text: "\u{1b}[2J\u{202e}evil\u{7}".into() }));
        assert!(!text.contains(['\u{1b}', '\u{202e}', '\u{7}']), "{text:?}");
        assert!(text.contains("evil"));
    }

    #[test]
    fn a_stop_names_the_command_that_goes_on() {
        let step = crate::event::JobStep::Output;
        let talk = RunTerms::Job(crate::event::JobStart { step, words: [].into() });
        let fit = RunTerms::Fit(crate::event::FitStart::default());
        for (terms, command) in [(talk, "`coilmark job j`"), (fit, "`coilmark resume j`")] {
            let text = said(|o| {
                o.show(&Event::RunStarted(RunStart::without_meter(terms.clone(), false, 0)))?;
                let reason = Some("stopped by the operator".into());
                o.show(&Event::RunFinished { exit: 4, reason, job: "j".into() })
            });
            assert!(text.contains(command), "{command}: {text}");
        }
    }

    #[test]
    fn a_caution_wants_a_word_and_not_just_enter() {
        let lines = Lines::new(Vec::new(), false);
        let ask = Ask::Acknowledge { caution: Caution::DeadCircuit, text: "t".into() };
        let Heard::Answer(None, enter) = lines.parse("") else { panic!("Enter is an answer") };
        assert!(!ask.accepts(enter));
        assert_eq!(lines.parse("ok"), Heard::Answer(None, Answer::Acknowledged));
    }

    #[test]
    fn a_place_ask_names_both_leads_by_word() {
        let ask = Ask::Place {
            red: Pin::new("3"),
            black: Pin::new("5"),
            function: Function::Resistance,
            drive: crate::event::AskedDrive::Rest,
            why: None,
        };
        assert!(said(|o| o.ask(4, &ask)).starts_with("[4] RED lead on 3, BLACK lead on 5\n"));
    }

    #[test]
    fn certainty_is_never_rounded_up_to_a_hundred() {
        assert_eq!(percent(0.999_999), "over 99.99 %");
        assert_eq!(percent(0.5), "50.00 %");
    }
}
