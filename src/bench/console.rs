//! The bench by itself: a meter served on a pseudo-terminal or TCP, and the person's place taken
//! over standard input and output. Ask lines of the operator protocol are done and answered; so two
//! processes joined by pipes run a whole identification. The supply may be served beside it. Plain
//! words do for a human. Every line written is one JSON object; what the words are,
//! [`console_words`](super::console_words) knows.

use super::console_words::{HELP, Word};
use super::{Bench, BenchOptions, Hazard, Part, ServeError, Served};
use crate::event::{Answer, Ask, DriveState, VERSION};
use serde::{Deserialize, Serialize};
use std::io::{self, BufRead, Read, Write};
use std::net::SocketAddr;
use std::path::PathBuf;

/// Longest line of input, in bytes.
const LINE_MAX: u64 = 65_536;

/// What a standalone bench is made of.
#[derive(Clone, Debug)]
pub struct StandaloneOptions {
    /// The part on the bench.
    pub part: Part,
    /// Everything else on it.
    pub bench: BenchOptions,
    /// Where the meter is plugged in.
    pub listen: Listen,
    /// Where the supply is plugged in; `None`: nobody commands it, and the hands drive.
    pub supply: Option<Listen>,
    /// How much of the hands' time is really taken before an answer: 0 answers at once, 1 is a
    /// person.
    pub pace: f64,
}

/// Where an instrument is plugged in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Listen {
    /// A pseudo-terminal, with a symbolic link of this name to it.
    Pty {
        /// The name.
        name: Option<PathBuf>,
    },
    /// TCP; port 0 takes a free one.
    Tcp(SocketAddr),
}

/// What happened on a standalone bench.
#[derive(Clone, Debug, PartialEq)]
pub struct StandaloneSummary {
    /// Asks answered.
    pub asks: u64,
    /// Hazards on the way.
    pub hazards: Vec<Hazard>,
}

/// Why a standalone bench ended early.
#[derive(Debug, thiserror::Error)]
pub enum StandaloneError {
    /// The meter, or the supply, cannot be served.
    #[error("an instrument of the bench cannot be served")]
    Serve(#[from] ServeError),
    /// Standard input or output broke.
    #[error("cannot {step}")]
    Stream {
        /// What was being done.
        step: &'static str,
        /// What the system said.
        source: io::Error,
    },
}

impl StandaloneError {
    /// What to do about it.
    #[must_use]
    pub fn hint(&self) -> &'static str {
        match self {
            Self::Serve(error) => error.hint(),
            Self::Stream { .. } => "is the other end of the pipe still there?",
        }
    }
}

/// Runs a bench until its input ends, a `finished` note arrives, or someone says `quit`. The
/// first line of output says where the meter is.
///
/// # Errors
/// [`StandaloneError`] where an instrument cannot be served, or the streams break.
pub fn run_standalone(
    options: StandaloneOptions,
    mut stdin: impl BufRead,
    stdout: impl Write,
) -> Result<StandaloneSummary, StandaloneError> {
    let bench = Bench::new(options.part, options.bench);
    let served = match &options.listen {
        Listen::Pty { name } => bench.serve_pty(name.as_deref())?,
        Listen::Tcp(addr) => bench.serve_tcp(*addr)?,
    };
    let supply = match &options.supply {
        None => None,
        Some(Listen::Pty { name }) => Some(bench.serve_supply_pty(name.as_deref())?),
        Some(Listen::Tcp(addr)) => Some(bench.serve_supply_tcp(*addr)?),
    };
    let (pace, asks, silent) = (options.pace, 0, false);
    let mut console = Console { bench, served, supply, stdout, pace, asks, silent };
    console.announce()?;
    let mut line = Vec::new();
    loop {
        line.clear();
        let count = (&mut stdin)
            .take(LINE_MAX)
            .read_until(b'\n', &mut line)
            .map_err(|source| StandaloneError::Stream { step: "read the next line", source })?;
        if count == 0 || !console.hear(&String::from_utf8_lossy(&line))? {
            break;
        }
    }
    Ok(StandaloneSummary { asks: console.asks, hazards: console.bench.hazards() })
}

struct Console<W> {
    bench: Bench,
    served: Served,
    supply: Option<Served>,
    stdout: W,
    pace: f64,
    asks: u64,
    silent: bool,
}

/// What arrives: an ask, or a note, which only matters where it is the last.
#[derive(Deserialize)]
struct AskLine {
    v: u32,
    seq: u64,
    #[serde(flatten)]
    ask: Ask,
}

#[derive(Deserialize)]
struct NoteLine {
    note: String,
}

#[derive(Serialize)]
struct AnswerLine {
    seq: u64,
    answer: Answer,
}

#[derive(Serialize)]
struct BenchNote<'a> {
    v: u32,
    note: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    meter: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    supply: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    text: Option<&'a str>,
}

impl<W: Write> Console<W> {
    /// One line of input; `false` ends the bench.
    fn hear(&mut self, line: &str) -> Result<bool, StandaloneError> {
        let line = line.trim();
        if line.is_empty() {
            return Ok(true);
        }
        if !line.starts_with('{') {
            return match line.parse::<Word>() {
                Ok(word) => self.do_word(word),
                Err(problem) => self.say("error", &problem).map(|()| true),
            };
        }
        if let Ok(NoteLine { note }) = serde_json::from_str(line) {
            return Ok(note != "finished");
        }
        match serde_json::from_str::<AskLine>(line) {
            Ok(AskLine { v: VERSION, seq, ask }) => self.answer(seq, &ask).map(|()| true),
            Ok(AskLine { v, .. }) => {
                let problem = format!("version {v}: only {VERSION} is understood");
                self.say("error", &problem).map(|()| true)
            }
            Err(error) => self.say("error", &format!("not an ask: {error}")).map(|()| true),
        }
    }

    fn answer(&mut self, seq: u64, ask: &Ask) -> Result<(), StandaloneError> {
        let (answer, took) = self.bench.perform_timed(ask);
        if self.pace > 0.0 {
            // A person's time: here the bench plays one, and the meter goes on meanwhile.
            std::thread::sleep(took.mul_f64(self.pace.min(1000.0)));
        }
        self.asks += 1;
        self.write(&AnswerLine { seq, answer })
    }

    fn do_word(&mut self, word: Word) -> Result<bool, StandaloneError> {
        match word {
            Word::Ask(ask) => {
                let (answer, _) = self.bench.perform_timed(&ask);
                self.say("done", answer.name())?;
            }
            Word::Place(red, black) => {
                let done = self.bench.place(&red, &black);
                self.say("done", if done { "ready" } else { "no such pin" })?;
            }
            Word::Rest => {
                let (answer, _) = self.bench.perform_timed(&Ask::Drive(DriveState::Rest));
                self.say("done", answer.name())?;
            }
            Word::Lift => {
                self.bench.lift();
                self.say("done", "ready")?;
            }
            Word::Unplug => {
                self.served.unplug();
                self.say("done", "unplugged")?;
            }
            Word::Plug => {
                self.served.plug()?;
                self.announce()?;
            }
            Word::SupplyUnplug => {
                let text = match &mut self.supply {
                    Some(supply) => {
                        supply.unplug();
                        "unplugged"
                    }
                    None => "no supply is served",
                };
                self.say("done", text)?;
            }
            Word::SupplyPlug => {
                if let Some(supply) = &mut self.supply {
                    supply.plug()?;
                }
                self.announce()?;
            }
            Word::Silence => {
                self.silent = !self.silent;
                self.served.silence(self.silent);
                self.say("done", if self.silent { "silent" } else { "speaking" })?;
            }
            Word::Garbage => {
                self.served.interject(b"\xff\x80~}\x00#\xfe\r\n");
                self.say("done", "sent")?;
            }
            Word::PowerCycle => {
                self.served.power_cycle();
                self.say("done", "off and on")?;
            }
            Word::Hazards => {
                let kinds: Vec<String> =
                    self.bench.hazards().iter().map(|h| format!("{:?}", h.kind)).collect();
                self.say("done", &format!("{}: {}", kinds.len(), kinds.join(" ")))?;
            }
            Word::Help => self.say("help", HELP)?,
            Word::Quit => return Ok(false),
        }
        Ok(true)
    }

    fn announce(&mut self) -> Result<(), StandaloneError> {
        let (link, supply) = (self.served.link(), self.supply.as_ref().map(Served::link));
        let (meter, supply) = (Some(link.as_str()), supply.as_deref());
        self.write(&BenchNote { v: VERSION, note: "bench", meter, supply, text: None })
    }

    fn say(&mut self, note: &'static str, text: &str) -> Result<(), StandaloneError> {
        self.write(&BenchNote { v: VERSION, note, meter: None, supply: None, text: Some(text) })
    }

    fn write(&mut self, line: &impl Serialize) -> Result<(), StandaloneError> {
        let failed = |source| StandaloneError::Stream { step: "write the next line", source };
        let mut text = serde_json::to_vec(line).map_err(|e| failed(e.into()))?;
        text.push(b'\n');
        self.stdout.write_all(&text).and_then(|()| self.stdout.flush()).map_err(failed)
    }
}
