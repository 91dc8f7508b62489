//! Works out how an unknown meter talks, on the one port that the operator named: baud rate,
//! parity, line end, dialect. It listens before it asks: a meter that sends by itself shows its
//! settings by making sense. What it finds comes back as a link and the text of a profile that
//! can be saved and edited. Nothing is asked but `*IDN?` and the polls of shipped profiles.

use crate::clock::Clock;
use crate::error::{DriverError, escape};
use crate::line::{LineAssembler, garbled};
use crate::link::{Flow, Link, LinkSpec, Received};
use crate::profile::{Dialect, LinesDialect, Profile, Terminator};
use crate::scpi::may_be_identity;
use crate::stream::parse_line;
use serialport::{DataBits, Parity};
use std::time::Duration;

/// How long a meter is listened to before it is asked: two lines of the slowest.
const LISTEN_FOR: Duration = Duration::from_millis(1500);
/// How long an answer is waited for.
const ANSWER_WITHIN: Duration = Duration::from_millis(1000);
/// How long it is waited for under a setting that nobody named.
const GUESS_WITHIN: Duration = Duration::from_millis(500);
/// How long a bare line end is given to have its effect.
const SETTLE_FOR: Duration = Duration::from_millis(100);
/// How long a port that somebody else holds is waited for: a service that probes fresh ports takes
/// some ten seconds.
const BUSY_FOR: Duration = Duration::from_secs(15);
/// Baud rates in the order of their likelihood (common practice, no source).
const BAUDS: [u32; 8] = [9600, 115_200, 19_200, 2400, 38_400, 57_600, 4800, 1200];

/// How a meter talks.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Found {
    /// The link, with the line settings that made sense.
    pub link: LinkSpec,
    /// The shipped profile that it follows.
    pub profile: &'static str,
    /// A profile file for it: the shipped one with what was found.
    pub profile_text: String,
    /// What it said: its identification, or a line. Escaped.
    pub said: String,
    /// Whether the program can set its function; if not, it has a dial.
    pub commanded: bool,
}

/// Opens a link with other settings.
type OpenSpec<'a> = dyn FnMut(&LinkSpec) -> Result<Box<dyn Link>, DriverError> + 'a;

/// What was heard under one setting of the line.
enum Heard {
    Meter(Box<Found>),
    /// Bytes that are no text: the settings are wrong.
    Noise(Vec<u8>),
    /// Text that no shipped profile reads.
    Text(String),
    Silence,
}

/// Works out how the meter at `spec` talks; `tell` is told of each step, for people.
///
/// # Errors
/// What opening reports; [`DriverError::Garbled`] with a sample of what came and made no sense;
/// [`DriverError::NoAnswer`] if nothing came.
pub fn work_out(
    spec: &LinkSpec,
    clock: &dyn Clock,
    tell: &mut dyn FnMut(&str),
) -> Result<Found, DriverError> {
    work_out_over(spec, clock, &mut LinkSpec::open, tell)
}

fn work_out_over(
    spec: &LinkSpec,
    clock: &dyn Clock,
    open: &mut OpenSpec<'_>,
    tell: &mut dyn FnMut(&str),
) -> Result<Found, DriverError> {
    let mut worst = None;
    let candidates = candidates(spec);
    // Who sends by itself is noise at a wrong rate, not silence: it is listened for only once.
    let mut listen = true;
    for (index, candidate) in candidates.iter().enumerate() {
        tell(&format!("trying {candidate} ({} of {})", index + 1, candidates.len()));
        let mut link = open_when_free(candidate, clock, open, tell)?;
        let answer_within = if index == 0 { ANSWER_WITHIN } else { GUESS_WITHIN };
        let heard =
            Trial { link: &mut *link, clock, spec: candidate, listen, answer_within }.run()?;
        listen = !matches!(heard, Heard::Silence);
        match heard {
            Heard::Meter(found) => return Ok(*found),
            Heard::Noise(bytes) => {
                tell("bytes that are no text: wrong baud rate or parity");
                worst.get_or_insert_with(|| garbled(&spec.to_string(), "text", &bytes));
            }
            Heard::Text(line) => {
                tell(&format!("text that no shipped profile reads: {line}"));
                let expected = "a line that a shipped profile reads";
                worst = Some(garbled(&spec.to_string(), expected, line.as_bytes()));
            }
            Heard::Silence => tell("silence"),
        }
    }
    Err(worst.unwrap_or_else(|| DriverError::NoAnswer {
        port: spec.to_string(),
        query: "*IDN?".to_owned(),
        waited_ms: u64::try_from(ANSWER_WITHIN.as_millis()).unwrap_or(u64::MAX),
    }))
}

/// Opens a link, once whoever holds it has let go.
fn open_when_free(
    spec: &LinkSpec,
    clock: &dyn Clock,
    open: &mut OpenSpec<'_>,
    tell: &mut dyn FnMut(&str),
) -> Result<Box<dyn Link>, DriverError> {
    let until = clock.now() + BUSY_FOR;
    let mut told = false;
    loop {
        match open(spec) {
            Err(busy @ DriverError::Busy { .. }) if clock.now() < until => {
                if !std::mem::replace(&mut told, true) {
                    tell(&format!("{busy}; waiting for it to be let go"));
                }
                clock.pause(Duration::from_millis(250));
            }
            opened => return opened,
        }
    }
}

/// The link as given, then a serial port's other settings.
fn candidates(spec: &LinkSpec) -> Vec<LinkSpec> {
    let mut all = vec![spec.clone()];
    if let LinkSpec::Serial { path, settings } = spec {
        let frames = [(DataBits::Eight, Parity::None), (DataBits::Seven, Parity::Even)];
        for (data, parity) in frames {
            for baud in BAUDS {
                let mut settings = *settings;
                (settings.baud, settings.data, settings.parity) = (baud, data, parity);
                let candidate = LinkSpec::Serial { path: path.clone(), settings };
                if candidate != *spec {
                    all.push(candidate);
                }
            }
        }
    }
    all
}

struct Trial<'a> {
    link: &'a mut dyn Link,
    clock: &'a dyn Clock,
    spec: &'a LinkSpec,
    listen: bool,
    answer_within: Duration,
}

/// What came within a span.
#[derive(Default)]
struct Catch {
    lines: Vec<String>,
    bytes: Vec<u8>,
}

impl Catch {
    /// Whether a tenth or more of it is no text.
    fn is_noise(&self) -> bool {
        let text = |byte: &&u8| matches!(byte, b' '..=b'~' | b'\t' | b'\r' | b'\n');
        let printable = self.bytes.iter().filter(text).count();
        !self.bytes.is_empty() && printable * 10 <= self.bytes.len() * 9
    }
}

impl Trial<'_> {
    fn run(&mut self) -> Result<Heard, DriverError> {
        if self.link.flow() == Flow::Messages {
            return Ok(self.ask_who(Terminator::Lf)?.unwrap_or(Heard::Silence));
        }
        self.link.clear_input()?;
        let listen_for = if self.listen { LISTEN_FOR } else { SETTLE_FOR };
        let heard = self.catch(listen_for, |_| false)?;
        if heard.is_noise() {
            return Ok(Heard::Noise(heard.bytes));
        }
        // The head of the first line may be missing.
        let lines = heard.lines.get(1..).unwrap_or_default();
        if let Some(found) = self.read_with("ascii-lines", None, lines)? {
            return Ok(found);
        }
        // Who talks by itself cannot be told from who answers.
        if let Some(line) = lines.first() {
            return Ok(Heard::Text(escape(line.as_bytes(), 64)));
        }
        for terminator in [Terminator::Lf, Terminator::CrLf, Terminator::Cr] {
            if let Some(heard) = self.ask_who(terminator)? {
                return Ok(heard);
            }
        }
        for terminator in [Terminator::Lf, Terminator::CrLf, Terminator::Cr] {
            if let Some(heard) = self.poll(terminator)? {
                return Ok(heard);
            }
        }
        Ok(Heard::Silence)
    }

    /// Collects what comes until `enough` of a line, or the end of the span.
    fn catch(
        &mut self,
        span: Duration,
        enough: impl Fn(&str) -> bool,
    ) -> Result<Catch, DriverError> {
        let until = self.clock.now() + span;
        let mut assembler = LineAssembler::new();
        let mut catch = Catch::default();
        let mut buffer = [0; 1024];
        loop {
            let left = until.since(self.clock.now());
            if left.is_zero() || catch.bytes.len() > 64 * 1024 {
                return Ok(catch);
            }
            let wait = left.min(Duration::from_millis(50));
            let Received::Bytes(count) = self.link.read_some(&mut buffer, wait)? else { continue };
            let bytes = buffer.get(..count).unwrap_or_default();
            catch.bytes.extend_from_slice(bytes);
            assembler.push(bytes);
            while let Some(line) = assembler.next() {
                let Ok(line) = line else { continue };
                let done = enough(&line);
                catch.lines.push(line);
                if done {
                    return Ok(catch);
                }
            }
        }
    }

    fn send(&mut self, line: &str, terminator: Terminator) -> Result<(), DriverError> {
        let bytes = [line.as_bytes(), terminator.bytes()].concat();
        match self.link.write(&bytes, ANSWER_WITHIN) {
            // Nobody takes it: that is silence, not the end of the trial.
            Err(DriverError::NoAnswer { .. }) => Ok(()),
            result => result,
        }
    }

    fn ask_who(&mut self, terminator: Terminator) -> Result<Option<Heard>, DriverError> {
        if self.link.flow() == Flow::Stream {
            self.send("", terminator)?;
            self.catch(SETTLE_FOR, |_| false)?;
        }
        self.send("*IDN?", terminator)?;
        let is_answer = |line: &str| line.trim() != "*IDN?" && may_be_identity(line);
        let heard = self.catch(self.answer_within, is_answer)?;
        if let Some(identity) = heard.lines.iter().find(|line| is_answer(line)) {
            let echo = heard.lines.iter().any(|line| line.trim() == "*IDN?");
            return Ok(Some(self.found("scpi", Some(terminator), echo, identity)?));
        }
        Ok(heard.is_noise().then_some(Heard::Noise(heard.bytes)))
    }

    fn poll(&mut self, terminator: Terminator) -> Result<Option<Heard>, DriverError> {
        let profile = Profile::load("polled-lines")?;
        let Dialect::Lines(LinesDialect { poll: Some(poll), .. }) = &profile.dialect else {
            return Ok(None);
        };
        self.send(poll, terminator)?;
        let heard = self.catch(self.answer_within, |line| line.trim() != poll)?;
        self.read_with("polled-lines", Some(terminator), &heard.lines)
    }

    /// The shipped profile if any line is one of its readings, and no line is anything else.
    fn read_with(
        &self,
        name: &'static str,
        terminator: Option<Terminator>,
        lines: &[String],
    ) -> Result<Option<Heard>, DriverError> {
        let profile = Profile::load(name)?;
        let Dialect::Lines(dialect) = &profile.dialect else { return Ok(None) };
        let poll = dialect.poll.as_deref();
        let mut said = lines.iter().filter(|line| Some(line.trim()) != poll).peekable();
        let Some(first) = said.peek().copied() else { return Ok(None) };
        if !said.all(|line| parse_line(line, dialect).is_ok()) {
            return Ok(None);
        }
        self.found(name, terminator, false, first).map(Some)
    }

    fn found(
        &self,
        name: &'static str,
        terminator: Option<Terminator>,
        echo: bool,
        said: &str,
    ) -> Result<Heard, DriverError> {
        let word = match terminator {
            Some(Terminator::CrLf) => "crlf",
            Some(Terminator::Cr) => "cr",
            _ => "lf",
        };
        let mut text = Profile::shipped_text(name).unwrap_or_default().to_owned();
        text = text.replace("terminator = \"lf\"", &format!("terminator = \"{word}\""));
        if echo {
            text = text.replace("kind = \"scpi\"", "kind = \"scpi\"\necho = true");
        }
        let commanded = Profile::parse(name, &text)?.commanded();
        Ok(Heard::Meter(Box::new(Found {
            link: self.spec.clone(),
            profile: name,
            profile_text: text,
            said: escape(said.trim().as_bytes(), 120),
            commanded,
        })))
    }
}

#[cfg(test)]
mod tests;
