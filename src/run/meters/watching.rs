//! Live readings of one meter, until Ctrl-C or for a given time: the first thing anyone does with a
//! new cable. A small loop of its own, without a guide and without a record; it counts what comes
//! and shows the counts ([`figures`](super::figures)): on a terminal as one line that is rewritten,
//! otherwise as one line a second. A dial is followed unless a function was named.

use super::super::arrivals::{Arrival, Inbox};
use super::super::failure::{Exit, Failure};
use super::super::instrument::{Instrument, MeterTerms};
use super::MetersTerms;
use super::figures::{Figures, State};
use drivers::link::RoundTrips;
use drivers::watch::Watch;
use drivers::{Clock, DriverError, Function, MeterEvent, Moment, Order, Port, SystemClock};
use rustix::termios::tcgetwinsize;
use std::io::{self, IsTerminal, Write};
use std::sync::Arc;
use std::time::Duration;

/// How long a lost link is tried again.
const RECONNECT_FOR: Duration = Duration::from_secs(30);
/// From one line to the next where lines follow each other.
const LINE_EVERY: Duration = Duration::from_secs(1);
/// From one rewriting of a terminal's line to the next.
const REWRITE_EVERY: Duration = Duration::from_millis(250);

/// Watches until it is interrupted, the time is over, or the link is lost for good.
pub(super) fn watch(link: &str, terms: &MetersTerms) -> Result<Exit, Failure> {
    let function = terms.function.as_deref().map(function_named).transpose()?;
    let mut instrument = Instrument::find_or_replay(&MeterTerms {
        link: link.to_owned(),
        profile: terms.profile.clone(),
        reconnect_for: RECONNECT_FOR,
        trace_link: terms.trace_link.clone(),
        ease: super::super::Ease::default(),
    })?;
    let round_trips = RoundTrips::new(instrument.profile.poll().map(str::to_owned));
    instrument.measure_round_trips(round_trips.clone());
    let runtime = super::super::runtime()?;
    runtime.block_on(async {
        let clock: Arc<dyn Clock> = Arc::new(SystemClock::begin());
        let mut inbox = Inbox::new();
        if let Err(e) = inbox.listen_to_signals() {
            tracing::warn!("interrupts cannot be listened to: {e}");
        }
        let port = instrument.open_when_free(&clock, &mut inbox).await?;
        let shown = Shown::on_stdout(terms.json);
        let ordered = function.unwrap_or(Function::VoltageDc);
        let mut watching = Watching {
            follows: function.is_none(),
            ordered,
            epoch: 0,
            span: terms.span,
            answered_at: None,
            watch: Watch::new(),
            state: State::Waiting,
            port,
            round_trips,
            shown,
            before: (clock.now(), 0),
        };
        watching.run(inbox, &*clock).await
    })
}

fn function_named(name: &str) -> Result<Function, Failure> {
    Function::ALL.into_iter().find(|function| function.name() == name).ok_or_else(|| {
        let shown: String = name.chars().take(40).collect();
        let names = Function::ALL.map(Function::name).join(", ");
        Failure::bad_input(
            format!("--function `{shown}`: no such function"),
            format!("there are {names}"),
        )
    })
}

/// A watch under way.
struct Watching {
    /// Whether the dial says what is watched.
    follows: bool,
    ordered: Function,
    epoch: u64,
    span: Option<Duration>,
    answered_at: Option<Moment>,
    watch: Watch,
    state: State,
    port: Port,
    round_trips: Arc<RoundTrips>,
    shown: Shown,
    /// When figures were shown last, and how many readings there were.
    before: (Moment, u64),
}

/// Why a watch ended.
enum End {
    Interrupted,
    TimeIsOver,
    NobodyReads,
    Failed(DriverError),
}

impl Watching {
    async fn run(&mut self, mut inbox: Inbox, clock: &dyn Clock) -> Result<Exit, Failure> {
        let began = clock.now();
        let end = self.until_over(&mut inbox, clock).await;
        let figures = self.figures(clock.now());
        let since = self.answered_at.unwrap_or(began);
        let seconds = clock.now().since(since).as_secs_f64();
        let word = match &end {
            End::Interrupted => "interrupted",
            End::TimeIsOver => "time",
            End::NobodyReads => return Ok(Exit::Done),
            End::Failed(_) => "failed",
        };
        if self.answered_at.is_some() {
            let _ = self.shown.summary(&figures, seconds, word);
        }
        match end {
            End::Failed(error) => Err(error.into()),
            _ => Ok(Exit::Done),
        }
    }

    async fn until_over(&mut self, inbox: &mut Inbox, clock: &dyn Clock) -> End {
        let every = self.shown.every();
        let mut show_at = clock.now() + every;
        loop {
            let over_at = self.span.zip(self.answered_at).map(|(span, at)| at + span);
            let wake_at = over_at.map_or(show_at, |at| at.min(show_at));
            let ended = match inbox.next(clock, Some(wake_at)).await {
                Arrival::Meter(event) => self.take(event, clock.now()).err(),
                Arrival::Interrupted => Some(End::Interrupted),
                _ => None,
            };
            if let Some(end) = ended {
                return end;
            }
            let now = clock.now();
            if let Some(stuck) = self.port.stuck(now) {
                return End::Failed(stuck);
            }
            if over_at.is_some_and(|at| at <= now) {
                return End::TimeIsOver;
            }
            if show_at <= now {
                show_at = show_at + every;
                let figures = self.figures(now);
                if self.shown.line(&figures).is_err() {
                    return End::NobodyReads;
                }
                self.before = (now, self.watch.readings);
            }
        }
    }

    fn take(&mut self, event: MeterEvent, now: Moment) -> Result<(), End> {
        self.watch.handle(&event);
        match event {
            MeterEvent::Answered { identity, .. } => {
                self.state = State::Answering;
                if self.answered_at.is_none() {
                    self.answered_at = Some(now);
                    self.before = (now, 0);
                    if self.shown.answered(&identity).is_err() {
                        return Err(End::NobodyReads);
                    }
                    self.order(self.ordered);
                }
            }
            MeterEvent::OtherFunction { reading, .. } if self.follows => {
                self.order(reading.function);
            }
            MeterEvent::Complained(error) => tracing::info!("{error}"),
            MeterEvent::WentAway(_) => self.state = State::Away(now),
            MeterEvent::Declined { epoch, error } if epoch == self.epoch => {
                return Err(End::Failed(error));
            }
            MeterEvent::Ended(Some(error)) => return Err(End::Failed(error)),
            MeterEvent::Ended(None) => return Err(End::Interrupted),
            _ => {}
        }
        Ok(())
    }

    fn order(&mut self, function: Function) {
        self.ordered = function;
        self.epoch += 1;
        self.port.order(Order::Measure { function, epoch: self.epoch });
    }

    fn figures(&self, now: Moment) -> Figures<'_> {
        let (then, readings) = self.before;
        let seconds = now.since(then).as_secs_f64();
        let lately = self.watch.readings.saturating_sub(readings) as f64;
        Figures {
            watch: &self.watch,
            state: &self.state,
            round_trips: self.round_trips.times(),
            bytes: self.round_trips.bytes(),
            per_second_lately: (seconds > 0.0).then(|| lately / seconds),
            now,
            watched_s: self.answered_at.map_or(0.0, |at| now.since(at).as_secs_f64()),
        }
    }
}

/// Where figures go, and how.
enum Shown {
    Json,
    Lines,
    /// A line that is rewritten.
    Rewritten,
}

impl Shown {
    fn on_stdout(json: bool) -> Self {
        match (json, io::stdout().is_terminal()) {
            (true, _) => Self::Json,
            (false, true) => Self::Rewritten,
            (false, false) => Self::Lines,
        }
    }

    const fn every(&self) -> Duration {
        match self {
            Self::Rewritten => REWRITE_EVERY,
            Self::Json | Self::Lines => LINE_EVERY,
        }
    }

    fn answered(&self, identity: &drivers::Identity) -> io::Result<()> {
        let who = if identity.text.is_empty() { "a meter without a name" } else { &identity.text };
        let line = match self {
            Self::Json => serde_json::json!({
                "v": crate::event::VERSION,
                "note": "answered",
                "link": identity.link,
                "identity": identity.text,
                "profile": identity.profile,
                "commanded": identity.commanded,
            })
            .to_string(),
            _ => crate::event::visible(&format!("{}: {who}", identity.link)).to_string(),
        };
        say(&format!("{}{line}\n", self.start()))
    }

    fn line(&self, figures: &Figures<'_>) -> io::Result<()> {
        match self {
            Self::Json => say(&format!("{}\n", figures.json("watch"))),
            Self::Lines => say(&format!("{}\n", figures.line())),
            // In one write, and what is left of the old line is erased after the new one.
            Self::Rewritten => {
                let line: String = figures.line().chars().take(columns() - 1).collect();
                say(&format!("\r{line}\x1b[K"))
            }
        }
    }

    fn summary(&self, figures: &Figures<'_>, seconds: f64, ended: &str) -> io::Result<()> {
        match self {
            Self::Json => {
                let mut summary = figures.json("summary");
                summary["ended"] = ended.into();
                say(&format!("{summary}\n"))
            }
            _ => say(&format!("{}{}\n", self.start(), figures.summary(seconds))),
        }
    }

    /// What clears a line that is being rewritten.
    const fn start(&self) -> &'static str {
        match self {
            Self::Rewritten => "\r\x1b[K",
            Self::Json | Self::Lines => "",
        }
    }
}

fn say(text: &str) -> io::Result<()> {
    let mut stdout = io::stdout().lock();
    stdout.write_all(text.as_bytes())?;
    stdout.flush()
}

/// How wide the terminal is; 80 where it does not say.
fn columns() -> usize {
    let size = tcgetwinsize(io::stdout()).ok().map(|size| usize::from(size.ws_col));
    size.filter(|columns| *columns >= 20).unwrap_or(80)
}
