//! The only loop. It merges what arrives (readings, answers, interrupts, deadlines) into one
//! order, feeds the guide, writes each fact down before anyone sees it, and performs what the
//! guide orders. It owns the clock, the journal, the meter's port and the operator; it decides
//! nothing about relays.

mod arrivals;
mod bench;
mod demo;
mod failure;
mod identify;
mod meters;
mod papers;
mod stamp;

pub use bench::{BenchTerms, run_bench};
pub use demo::run_demo;
pub use failure::{Exit, Failure};
pub use identify::{IdentifyTerms, MeterTerms, OperatorChoice, ResumeTerms, resume, run_identify};
pub use meters::run_meters;
pub use papers::{Rendering, Schema, render_report, show_schema, verify};

use crate::event::{Action, Answer, Ask, Event, Input, LinkNews, MeterIdentity};
use crate::guide::identify::Identify;
use crate::journal::Journal;
use crate::operator::{Heard, Operator};
use arrivals::{Arrival, Inbox};
use drivers::port::Port;
use drivers::{Clock, DriverError, Function, Identity, MeterEvent, Order};
use stamp::stamp;
use std::sync::Arc;
use tracing::{debug, warn};

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
    pub guide: Identify,
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
    /// The job folder, as the operator wrote it.
    pub job: String,
    asked: u64,
    open: Option<Ask>,
    measuring: Option<Function>,
}

/// How a run came to its end.
enum Flow {
    GoOn,
    Over(u8, Option<String>),
}

impl<'a> Workbench<'a> {
    /// A bench on which nothing has happened yet.
    pub fn new(
        guide: Identify,
        journal: Journal,
        operator: &'a mut dyn Operator,
        meter: Port,
        inbox: Inbox,
        clock: Arc<dyn Clock>,
        hands: Hands,
        job: String,
    ) -> Self {
        Self {
            guide,
            journal,
            operator,
            meter,
            inbox,
            clock,
            hands,
            job,
            asked: 0,
            open: None,
            measuring: None,
        }
    }

    /// Runs to the end and returns the exit code. Whatever happens, the operator is told that
    /// the run has finished, and the journal says so too unless it cannot be written.
    ///
    /// # Errors
    /// The failure that ended the run, after it has been recorded.
    pub async fn run(&mut self, begin: Event) -> Result<Exit, Failure> {
        let outcome = self.run_to_end(begin).await;
        let (exit, reason) = match &outcome {
            Ok((exit, reason)) => (*exit, reason.clone()),
            Err(failure) => (failure.exit.code(), Some(failure.to_string())),
        };
        let finished = Event::RunFinished { exit, reason, job: self.job.clone() };
        let written = match &outcome {
            Err(failure) if failure.exit == Exit::RecordNotWritten => Ok(()),
            _ => self.journal.append(&finished, stamp(&*self.clock)).map(|_| ()),
        };
        if let Err(gone) = self.operator.show(&finished) {
            debug!("nobody reads any more: {gone}");
        }
        self.meter.close();
        written.map_err(Failure::from)?;
        outcome.map(|(exit, _)| Exit::from_code(exit))
    }

    async fn run_to_end(&mut self, begin: Event) -> Result<(u8, Option<String>), Failure> {
        self.record(&begin)?;
        let mut flow = self.deliver(Input::Begun)?;
        loop {
            if let Flow::Over(exit, reason) = flow {
                return Ok((exit, reason));
            }
            let arrival = self.inbox.next(&*self.clock, self.guide.wake_at()).await;
            flow = self.take(arrival)?;
        }
    }

    /// Turns what arrived into what the guide understands.
    fn take(&mut self, arrival: Arrival) -> Result<Flow, Failure> {
        match arrival {
            Arrival::Meter(event) => self.meter_said(event),
            Arrival::Line(line) => self.heard(&line),
            Arrival::Answer(answer) => self.answered(answer),
            Arrival::EndOfInput if matches!(self.hands, Hands::Alone(_)) => Ok(Flow::GoOn),
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
                known(identity),
                gap.map(|gap| gap.as_secs_f64()),
            )),
            MeterEvent::ReadingTaken { epoch, reading } => {
                self.told(|operator| operator.show_reading(&reading))?;
                self.deliver(Input::ReadingArrived(epoch, reading))
            }
            MeterEvent::OtherFunction { reading, .. } => {
                self.deliver(Input::OtherFunctionArrived(reading.function))
            }
            MeterEvent::Complained(error) => self.complained(&error),
            MeterEvent::WentAway(error) => {
                self.deliver(Input::MeterLost(failure::chain(&error)))
            }
            MeterEvent::Ended(Some(error)) => Err(error.into()),
            MeterEvent::Ended(None) => self.stop("the meter's port was closed"),
        }
    }

    /// A complaint becomes a fact. A refused diode test is news for the guide: it goes on without.
    fn complained(&mut self, error: &DriverError) -> Result<Flow, Failure> {
        warn!("{error}");
        self.record(&Event::MeterComplained { text: failure::chain(error) })?;
        match (error, self.measuring) {
            (DriverError::Refused { .. } | DriverError::Unsupported { .. }, Some(function)) => {
                if function == Function::Resistance {
                    return Ok(Flow::GoOn);
                }
                self.measuring = None;
                self.deliver(Input::FunctionRefused(function))
            }
            _ => Ok(Flow::GoOn),
        }
    }

    fn heard(&mut self, line: &str) -> Result<Flow, Failure> {
        let heard = self.operator.parse(line);
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
        if let (Hands::Led(bench), Some(ask), Answer::Ready) = (&self.hands, &self.open, answer) {
            let _ = bench.perform(ask);
        }
        self.deliver(Input::AnswerReceived(answer))
    }

    /// Feeds the guide, records the facts, and performs orders until none is left.
    fn deliver(&mut self, input: Input) -> Result<Flow, Failure> {
        let facts = self.guide.handle(input, self.clock.now());
        for fact in &facts {
            self.record(fact)?;
        }
        loop {
            match self.guide.next(self.clock.now()) {
                Action::Nothing => return Ok(Flow::GoOn),
                Action::Record(fact) => self.record(&fact)?,
                Action::Ask(ask) => self.ask(ask)?,
                Action::AskAgain(problem) => {
                    self.object(&problem)?;
                }
                Action::Measure(function, epoch) => {
                    self.measuring = Some(function);
                    self.meter.order(Order::Measure { function, epoch });
                }
                Action::Finish(exit, reason) => return Ok(Flow::Over(exit, reason)),
            }
        }
    }

    /// Written and synced, then known, then shown.
    fn record(&mut self, fact: &Event) -> Result<(), Failure> {
        self.journal.append(fact, stamp(&*self.clock))?;
        self.guide.apply(fact);
        if let Event::LinkChanged(LinkNews::Lost { text }) = fact {
            warn!("link lost: {text}");
        }
        if matches!(fact, Event::LeadsPlaced(_)) {
            self.open = None;
        }
        self.told(|operator| operator.show(fact))
    }

    fn ask(&mut self, ask: Ask) -> Result<(), Failure> {
        self.asked += 1;
        let seq = self.asked;
        self.told(|operator| operator.ask(seq, &ask))?;
        if let Hands::Alone(bench) = &self.hands {
            let answer = bench.perform(&ask);
            self.inbox.answer(answer);
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
        tell(self.operator).map_err(|source| Failure::operator_gone(&source))
    }
}

fn known(identity: Identity) -> MeterIdentity {
    MeterIdentity {
        identity: identity.text,
        link: identity.link,
        profile: identity.profile,
        commanded: identity.commanded,
    }
}
