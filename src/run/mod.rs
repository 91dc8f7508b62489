//! The only loop. It merges what arrives (readings, answers, interrupts, deadlines) into one
//! order, feeds the guide, writes each fact down before anyone sees it, and performs what the
//! guide orders. It owns the clock, the journal, the meter's port and the operator; it decides
//! nothing about relays.

mod analyse;
mod arrivals;
mod bench;
mod demo;
mod export;
mod failure;
mod identify;
mod instrument;
mod meters;
mod papers;
mod resume;
mod stamp;
mod station;

pub use analyse::{AnalyseTerms, run_analyse};
pub use bench::{BenchTerms, run_bench};
pub use demo::run_demo;
pub use failure::{Exit, Failure};
pub use identify::{IdentifyTerms, run_identify};
pub use instrument::MeterTerms;
pub use meters::{MetersTerms, run_meters};
pub use papers::{Rendering, Schema, make_keys, render_report, show_schema, sign, verify};
pub use resume::{ResumeTerms, resume};
pub use station::OperatorChoice;

use crate::event::{Action, Answer, Ask, Event, Input, MeterIdentity};
use crate::guide::Guide;
use crate::journal::Journal;
use crate::operator::{Heard, Operator};
use arrivals::{Arrival, Inbox};
use drivers::{Clock, DriverError, Function, Identity, MeterEvent, Order, Port};
use stamp::stamp;
use std::sync::Arc;
use tracing::debug;

/// What waits for the loops.
fn runtime() -> Result<tokio::runtime::Runtime, Failure> {
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|e| Failure::new(Exit::Aborted, format!("runtime: {e}"), "try again"))
}

/// The hands of a simulated bench, if there are any.
pub enum Hands {
    /// Real ones: somebody does what is asked.
    Real,
    /// Simulated ones that do what is asked once the operator answers ready.
    Led(crate::bench::Bench),
    /// Simulated ones that also answer.
    Alone(crate::bench::Bench),
}

/// Everything that one run needs.
pub struct Workbench<'a> {
    /// The guide.
    pub guide: Box<dyn Guide>,
    /// The record.
    pub journal: Journal,
    /// Who is asked and shown.
    pub operator: &'a mut dyn Operator,
    /// The meter's port.
    pub meter: Port,
    /// Everything that arrives.
    pub inbox: Inbox,
    /// Time.
    pub clock: Arc<dyn Clock>,
    /// Whose hands.
    pub hands: Hands,
    /// The meter's link, as the operator wrote it.
    pub link: String,
    /// The job folder, as the operator wrote it.
    pub job: String,
}

/// A run under way.
struct Run<'a> {
    on: Workbench<'a>,
    asked: u64,
    open: Option<Ask>,
    measuring: Option<(Function, u64)>,
}

/// How a run came to its end.
enum Flow {
    GoOn,
    Over(u8, Option<String>),
}

impl Workbench<'_> {
    /// Runs to the end and returns the exit code. Whatever happens, the operator is told that
    /// the run has finished, and the journal says so too unless it cannot be written.
    ///
    /// # Errors
    /// The failure that ended the run, after it has been recorded.
    pub async fn run(self, begin: Event) -> Result<Exit, Failure> {
        let mut run = Run { on: self, asked: 0, open: None, measuring: None };
        let outcome = run.until_over(begin).await;
        let Workbench { mut journal, operator, meter, clock, job, .. } = run.on;
        meter.close();
        let (exit, reason) = match &outcome {
            Ok((exit, reason)) => (*exit, reason.clone()),
            Err(failure) => (failure.exit.code(), Some(failure.to_string())),
        };
        let finished = Event::RunFinished { exit, reason, job };
        let written = match &outcome {
            Err(failure) if failure.exit == Exit::RecordNotWritten => Ok(()),
            _ => journal.append(&finished, stamp(&*clock)).map(|_| ()),
        };
        if let Err(gone) = operator.show(&finished) {
            debug!("nobody reads any more: {gone}");
        }
        let (exit, reason) = outcome?;
        written?;
        match (Exit::from_code(exit), reason) {
            (Exit::Instrument, Some(reason)) => Err(Failure::other_meter(reason)),
            (exit, _) => Ok(exit),
        }
    }
}

impl Run<'_> {
    async fn until_over(&mut self, begin: Event) -> Result<(u8, Option<String>), Failure> {
        self.record(&begin)?;
        let mut flow = self.deliver(Input::Begun)?;
        loop {
            if let Flow::Over(exit, reason) = flow {
                return Ok((exit, reason));
            }
            let wake_at = self.on.guide.wake_at();
            let arrival = self.on.inbox.next(&*self.on.clock, wake_at).await;
            flow = self.take(arrival)?;
        }
    }

    /// Turns what arrived into what the guide understands.
    fn take(&mut self, arrival: Arrival) -> Result<Flow, Failure> {
        match arrival {
            Arrival::Meter(event) => self.meter_said(event),
            Arrival::Line(line) => self.heard(&line),
            Arrival::LongLine => self.object("a line that is longer than any answer"),
            Arrival::Answer(answer) => self.answered(answer),
            Arrival::EndOfInput if matches!(self.on.hands, Hands::Alone(_)) => Ok(Flow::GoOn),
            Arrival::EndOfInput => self.stop("the operator's input ended"),
            Arrival::Interrupted => self.stop("interrupted"),
            Arrival::DeadlineReached => self.deliver(Input::DeadlineReached),
        }
    }

    fn stop(&mut self, reason: &str) -> Result<Flow, Failure> {
        self.deliver(Input::StopRequested(reason.into()))
    }

    fn meter_said(&mut self, event: MeterEvent) -> Result<Flow, Failure> {
        match event {
            MeterEvent::Answered { identity, gap } => self.deliver(Input::MeterAnswered(
                self.known(identity),
                gap.map(|gap| gap.as_secs_f64()),
            )),
            MeterEvent::ReadingTaken { epoch, reading } => {
                self.told(|operator| operator.show_reading(&reading))?;
                self.deliver(Input::ReadingArrived(epoch, reading))
            }
            MeterEvent::OtherFunction { .. } => self.deliver(Input::OtherFunctionArrived),
            MeterEvent::Declined { epoch, error } => {
                self.record(&Event::MeterComplained { text: failure::chain(&error) })?;
                match self.measuring {
                    Some((function, ordered)) if ordered == epoch => self.declined(function, error),
                    _ => Ok(Flow::GoOn),
                }
            }
            MeterEvent::Complained(error) => {
                self.record(&Event::MeterComplained { text: failure::chain(&error) })?;
                Ok(Flow::GoOn)
            }
            MeterEvent::WentAway(error) => self.deliver(Input::MeterLost(failure::chain(&error))),
            MeterEvent::Ended(Some(error)) => Err(error.into()),
            MeterEvent::Ended(None) => self.stop("the meter's port was closed"),
        }
    }

    /// Some functions can be done without; the guide knows which.
    fn declined(&mut self, function: Function, error: DriverError) -> Result<Flow, Failure> {
        if self.on.guide.needs(function) {
            return Err(error.into());
        }
        self.deliver(Input::FunctionRefused(function))
    }

    fn heard(&mut self, line: &str) -> Result<Flow, Failure> {
        let heard = self.on.operator.parse(line);
        match (heard, &self.open) {
            (Heard::Nothing, _) => Ok(Flow::GoOn),
            (Heard::Answer(seq, answer), Some(_)) if seq.is_none_or(|seq| seq == self.asked) => {
                self.answered(answer)
            }
            (Heard::Answer(Some(seq), _), Some(_)) => {
                self.object(&format!("ask {seq} is not open; {} is", self.asked))
            }
            (Heard::Answer(_, Answer::Abort), None) => self.stop("stopped by the operator"),
            (Heard::Answer(..), _) => {
                self.told(|operator| operator.object("nothing is asked just now"))?;
                Ok(Flow::GoOn)
            }
            (Heard::Unclear(problem), _) => self.object(&problem),
        }
    }

    fn answered(&mut self, answer: Answer) -> Result<Flow, Failure> {
        if let (Hands::Led(bench), Some(ask), Answer::Ready) = (&self.on.hands, &self.open, answer)
        {
            let _ = bench.perform(ask);
        }
        self.deliver(Input::AnswerReceived(answer))
    }

    /// Feeds the guide, records the facts, and performs orders until none is left.
    fn deliver(&mut self, input: Input) -> Result<Flow, Failure> {
        let facts = self.on.guide.handle(input, self.on.clock.now());
        for fact in &facts {
            self.record(fact)?;
        }
        loop {
            match self.on.guide.next(self.on.clock.now()) {
                Action::Nothing => return Ok(Flow::GoOn),
                Action::Record(fact) => self.record(&fact)?,
                Action::Ask(ask) => self.ask(ask)?,
                Action::AskAgain(problem) => {
                    self.object(&problem)?;
                }
                Action::Measure(function, epoch) => {
                    self.measuring = Some((function, epoch));
                    self.on.meter.order(Order::Measure { function, epoch });
                }
                Action::Finish(exit, reason) => return Ok(Flow::Over(exit, reason)),
            }
        }
    }

    /// Written and synced, then known, then shown.
    fn record(&mut self, fact: &Event) -> Result<(), Failure> {
        self.on.journal.append(fact, stamp(&*self.on.clock))?;
        self.on.guide.apply(fact);
        if fact.closes_an_ask() {
            self.open = None;
        }
        self.told(|operator| operator.show(fact))
    }

    fn ask(&mut self, ask: Ask) -> Result<(), Failure> {
        self.asked += 1;
        let seq = self.asked;
        self.told(|operator| operator.ask(seq, &ask))?;
        if let Hands::Alone(bench) = &self.on.hands {
            let answer = bench.perform(&ask);
            self.on.inbox.answer(answer);
        }
        self.open = Some(ask);
        Ok(())
    }

    /// Says what is wrong, and asks the same again under the same number.
    fn object(&mut self, problem: &str) -> Result<Flow, Failure> {
        self.told(|operator| operator.object(problem))?;
        if let Some(ask) = self.open.clone() {
            let seq = self.asked;
            self.told(|operator| operator.ask(seq, &ask))?;
        }
        Ok(Flow::GoOn)
    }

    /// Tells the operator; if nobody reads any more, the run stops as if aborted.
    fn told(
        &mut self,
        tell: impl FnOnce(&mut dyn Operator) -> std::io::Result<()>,
    ) -> Result<(), Failure> {
        tell(self.on.operator).map_err(|source| Failure::operator_gone(&source))
    }

    fn known(&self, identity: Identity) -> MeterIdentity {
        MeterIdentity {
            identity: identity.text,
            link: self.on.link.clone(),
            profile: identity.profile,
            commanded: identity.commanded,
        }
    }
}

#[cfg(test)]
mod tests;
